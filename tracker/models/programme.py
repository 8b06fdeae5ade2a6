"""The programme: its zone and settings, areas, terms, weeks and closure days."""

from __future__ import annotations

from datetime import date

from sqlalchemy import CheckConstraint, ForeignKey, String, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from tracker.db import Base, word
from tracker.vocabulary import ClosureScope


class Programme(Base):
    """One programme: everything below belongs to exactly one."""

    __tablename__ = "programme"
    __table_args__ = (
        UniqueConstraint("code"),
        CheckConstraint("first_weekday BETWEEN 0 AND 6", name="weekday"),
        CheckConstraint("length(currency) = 3", name="currency"),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    code: Mapped[str] = mapped_column(String(32))
    name: Mapped[str] = mapped_column(String(120))
    zone: Mapped[str] = mapped_column(String(64))  # IANA name
    currency: Mapped[str] = mapped_column(String(3))  # ISO 4217
    first_weekday: Mapped[int] = mapped_column(default=0)  # 0 is Monday
    phone: Mapped[str] = mapped_column(String(40), default="")  # whom to call in danger
    is_demo: Mapped[bool] = mapped_column(default=False)


class ProgrammeSetting(Base):
    """A dated setting: the value in force from a day on. Keys and defaults stand in records/settings.py."""

    __tablename__ = "programme_setting"
    __table_args__ = (UniqueConstraint("programme_id", "key", "from_day"),)
    id: Mapped[int] = mapped_column(primary_key=True)
    programme_id: Mapped[int] = mapped_column(ForeignKey("programme.id"))
    key: Mapped[str] = mapped_column(String(40))
    from_day: Mapped[date]
    value: Mapped[int]


class Area(Base):
    """A part of the programme that an engineer or an officer looks after."""

    __tablename__ = "area"
    __table_args__ = (UniqueConstraint("programme_id", "code"),)
    id: Mapped[int] = mapped_column(primary_key=True)
    programme_id: Mapped[int] = mapped_column(ForeignKey("programme.id"))
    code: Mapped[str] = mapped_column(String(32))
    name: Mapped[str] = mapped_column(String(120))


class Term(Base):
    """A school term, first and last day included. Terms of a programme do not overlap (trigger)."""

    __tablename__ = "term"
    __table_args__ = (
        UniqueConstraint("programme_id", "code"),
        CheckConstraint("first_day <= last_day", name="order"),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    programme_id: Mapped[int] = mapped_column(ForeignKey("programme.id"))
    code: Mapped[str] = mapped_column(String(32))
    name: Mapped[str] = mapped_column(String(80))
    first_day: Mapped[date]
    last_day: Mapped[date]


class Week(Base):
    """A week of the programme's own calendar, contiguous, holidays included. Derived from terms."""

    __tablename__ = "week"
    __table_args__ = (UniqueConstraint("programme_id", "first_day"),)
    id: Mapped[int] = mapped_column(primary_key=True)
    programme_id: Mapped[int] = mapped_column(ForeignKey("programme.id"))
    first_day: Mapped[date]


class Closure(Base):
    """Days without school for the whole programme, an area or a school."""

    __tablename__ = "closure"
    __table_args__ = (
        UniqueConstraint("programme_id", "ref"),
        CheckConstraint("first_day <= last_day", name="order"),
        CheckConstraint(
            "(scope = 'programme' AND area_id IS NULL AND school_id IS NULL)"
            " OR (scope = 'area' AND area_id IS NOT NULL AND school_id IS NULL)"
            " OR (scope = 'school' AND area_id IS NULL AND school_id IS NOT NULL)",
            name="whom",
        ),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    programme_id: Mapped[int] = mapped_column(ForeignKey("programme.id"))
    ref: Mapped[str] = mapped_column(String(40))
    scope: Mapped[ClosureScope] = mapped_column(word(ClosureScope))
    area_id: Mapped[int | None] = mapped_column(ForeignKey("area.id"))
    school_id: Mapped[int | None] = mapped_column(ForeignKey("school.id"))
    first_day: Mapped[date]
    last_day: Mapped[date]
    name: Mapped[str] = mapped_column(String(80), default="")


class GradeAge(Base):
    """Share of a grade's pupils of an age, per mille, from a day on: where ages are not enrolled directly."""

    __tablename__ = "grade_age"
    __table_args__ = (
        UniqueConstraint("programme_id", "grade", "age", "from_day"),
        CheckConstraint("permille BETWEEN 0 AND 1000", name="permille"),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    programme_id: Mapped[int] = mapped_column(ForeignKey("programme.id"))
    grade: Mapped[str] = mapped_column(String(16))
    age: Mapped[int]
    permille: Mapped[int]
    from_day: Mapped[date]


class Target(Base):
    """What a term should reach, in the figure's unit times 1000 (exact); set before the term, later changes logged."""

    __tablename__ = "target"
    __table_args__ = (UniqueConstraint("programme_id", "term_id", "figure", "set_at"),)
    id: Mapped[int] = mapped_column(primary_key=True)
    programme_id: Mapped[int] = mapped_column(ForeignKey("programme.id"))
    term_id: Mapped[int] = mapped_column(ForeignKey("term.id"))
    figure: Mapped[str] = mapped_column(String(60))
    thousandths: Mapped[int]
    set_at: Mapped[date]
