"""Schools: shifts, hours, breaks, derived school days, enrolment, what stood there before."""

from __future__ import annotations

from datetime import date

from sqlalchemy import CheckConstraint, ForeignKey, Index, String, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from tracker.db import Base, word
from tracker.vocabulary import BeforeKind, DayMark, Group, LitresBasis, Sex


class School(Base):
    """A school of a programme. ``boarders`` marks that pupils sleep there; position is optional."""

    __tablename__ = "school"
    __table_args__ = (
        UniqueConstraint("programme_id", "code"),
        CheckConstraint("latitude_udeg IS NULL OR latitude_udeg BETWEEN -90000000 AND 90000000", name="latitude"),
        CheckConstraint("longitude_udeg IS NULL OR longitude_udeg BETWEEN -180000000 AND 180000000", name="longitude"),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    programme_id: Mapped[int] = mapped_column(ForeignKey("programme.id"))
    area_id: Mapped[int] = mapped_column(ForeignKey("area.id"))
    code: Mapped[str] = mapped_column(String(32))
    name: Mapped[str] = mapped_column(String(120))
    boarders: Mapped[bool] = mapped_column(default=False)
    from_day: Mapped[date]
    until_day: Mapped[date | None]  # last day in the programme
    latitude_udeg: Mapped[int | None]
    longitude_udeg: Mapped[int | None]


class Shift(Base):
    """Pupils who come at the same hours. A one-shift school has the shift "day"."""

    __tablename__ = "shift"
    __table_args__ = (UniqueConstraint("school_id", "code"),)
    id: Mapped[int] = mapped_column(primary_key=True)
    school_id: Mapped[int] = mapped_column(ForeignKey("school.id"))
    code: Mapped[str] = mapped_column(String(16))
    name: Mapped[str] = mapped_column(String(60))


class SchoolHours(Base):
    """Opening minutes of a shift on a weekday (0 Monday), local minutes after midnight, from a day on."""

    __tablename__ = "school_hours"
    __table_args__ = (
        UniqueConstraint("shift_id", "weekday", "from_day"),
        CheckConstraint("weekday BETWEEN 0 AND 6", name="weekday"),
        CheckConstraint("opens_min >= 0 AND opens_min < closes_min AND closes_min <= 1440", name="order"),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    shift_id: Mapped[int] = mapped_column(ForeignKey("shift.id"))
    weekday: Mapped[int]
    opens_min: Mapped[int]
    closes_min: Mapped[int]
    from_day: Mapped[date]
    until_day: Mapped[date | None]


class SchoolBreak(Base):
    """A named interval of a weekday in which the pupils of a shift may leave class."""

    __tablename__ = "school_break"
    __table_args__ = (
        UniqueConstraint("shift_id", "code", "weekday", "from_day"),
        CheckConstraint("weekday BETWEEN 0 AND 6", name="weekday"),
        CheckConstraint("start_min >= 0 AND start_min < end_min AND end_min <= 1440", name="order"),
        CheckConstraint("code NOT IN ('other', 'all')", name="code"),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    shift_id: Mapped[int] = mapped_column(ForeignKey("shift.id"))
    code: Mapped[str] = mapped_column(String(16))
    name: Mapped[str] = mapped_column(String(60))
    weekday: Mapped[int]
    start_min: Mapped[int]
    end_min: Mapped[int]
    from_day: Mapped[date]
    until_day: Mapped[date | None]


class SchoolDay(Base):
    """Derived: a day on which a shift had school, and its minutes. Rebuilt from terms, hours, closures, marks."""

    __tablename__ = "school_day"
    __table_args__ = (
        UniqueConstraint("shift_id", "day"),
        CheckConstraint("opens_min >= 0 AND opens_min < closes_min AND closes_min <= 1440", name="order"),
        Index("ix_school_day_school_day", "school_id", "day"),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    school_id: Mapped[int] = mapped_column(ForeignKey("school.id"))
    shift_id: Mapped[int] = mapped_column(ForeignKey("shift.id"))
    day: Mapped[date]
    week: Mapped[date]
    opens_min: Mapped[int]
    closes_min: Mapped[int]


class DrawnBreak(Base):
    """A break drawn at random for the short sheet, ahead of its week. Kept, so that nobody picks the quiet ones."""

    __tablename__ = "drawn_break"
    __table_args__ = (UniqueConstraint("school_id", "day", "slot"),)
    id: Mapped[int] = mapped_column(primary_key=True)
    school_id: Mapped[int] = mapped_column(ForeignKey("school.id"))
    week: Mapped[date]
    day: Mapped[date]
    slot: Mapped[str] = mapped_column(String(16))


class Mark(Base):
    """What the coordinator says of a day: lost, half, exam, or used out of hours."""

    __tablename__ = "day_mark"
    __table_args__ = (UniqueConstraint("school_id", "day", "mark"),)
    id: Mapped[int] = mapped_column(primary_key=True)
    school_id: Mapped[int] = mapped_column(ForeignKey("school.id"))
    sheet_id: Mapped[int | None] = mapped_column(ForeignKey("week_sheet.id"), index=True)
    day: Mapped[date]
    mark: Mapped[DayMark] = mapped_column(word(DayMark))


class Enrolment(Base):
    """Pupils of a shift by sex and grade (and age, where known; -1 is "not known") from a day on."""

    __tablename__ = "enrolment"
    __table_args__ = (
        UniqueConstraint("shift_id", "sex", "grade", "age", "from_day"),
        CheckConstraint("pupils >= 0", name="pupils"),
        CheckConstraint("age = -1 OR age BETWEEN 3 AND 25", name="age"),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    shift_id: Mapped[int] = mapped_column(ForeignKey("shift.id"))
    sex: Mapped[Sex] = mapped_column(word(Sex))
    grade: Mapped[str] = mapped_column(String(16))
    age: Mapped[int] = mapped_column(default=-1)
    pupils: Mapped[int]
    from_day: Mapped[date]
    until_day: Mapped[date | None]


class StaffCount(Base):
    """Adults who work at a school, from a day on."""

    __tablename__ = "staff_count"
    __table_args__ = (UniqueConstraint("school_id", "from_day"), CheckConstraint("staff >= 0", name="staff"))
    id: Mapped[int] = mapped_column(primary_key=True)
    school_id: Mapped[int] = mapped_column(ForeignKey("school.id"))
    staff: Mapped[int]
    from_day: Mapped[date]


class Before(Base):
    """What stood at the school before, and its litres a flush; a saving is claimed only where they were measured."""

    __tablename__ = "before_state"
    __table_args__ = (
        UniqueConstraint("school_id", "from_day"),
        CheckConstraint("ml IS NULL OR ml >= 0", name="ml"),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    school_id: Mapped[int] = mapped_column(ForeignKey("school.id"))
    kind: Mapped[BeforeKind] = mapped_column(word(BeforeKind))
    ml: Mapped[int | None]
    litres_basis: Mapped[LitresBasis | None] = mapped_column(word(LitresBasis))
    from_day: Mapped[date]


class InspectionAnswer(Base):
    """An answer of the term's inspection, by question code; no answer is no row."""

    __tablename__ = "inspection_answer"
    __table_args__ = (UniqueConstraint("school_id", "term_id", "question"),)
    id: Mapped[int] = mapped_column(primary_key=True)
    school_id: Mapped[int] = mapped_column(ForeignKey("school.id"))
    term_id: Mapped[int] = mapped_column(ForeignKey("term.id"))
    question: Mapped[str] = mapped_column(String(40))
    answer: Mapped[str] = mapped_column(String(40))
    seen_on: Mapped[date]


class BellCount(Base):
    """On a drawn break: how many of a group still waited at the bell, and how many pupils were present that day."""

    __tablename__ = "bell_count"
    __table_args__ = (
        UniqueConstraint("school_id", "day", "slot", "grp"),
        CheckConstraint("waiting IS NULL OR waiting >= 0", name="waiting"),
        CheckConstraint("present IS NULL OR present >= 0", name="present"),
        CheckConstraint("waiting IS NOT NULL OR present IS NOT NULL", name="something"),
        CheckConstraint("grp IN ('girls', 'boys')", name="sexes"),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    school_id: Mapped[int] = mapped_column(ForeignKey("school.id"))
    sheet_id: Mapped[int | None] = mapped_column(ForeignKey("week_sheet.id"), index=True)
    day: Mapped[date]
    slot: Mapped[str] = mapped_column(String(16))
    grp: Mapped[Group] = mapped_column(word(Group))
    waiting: Mapped[int | None]
    present: Mapped[int | None]
