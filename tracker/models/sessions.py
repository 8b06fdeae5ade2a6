"""Awareness sessions: topic, minutes, who was there by sex and grade, quiz totals."""

from __future__ import annotations

from datetime import date

from sqlalchemy import CheckConstraint, ForeignKey, String, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from tracker.db import Base, word
from tracker.vocabulary import Sex, TopicKind


class AwarenessSession(Base):
    """One lesson at a school."""

    __tablename__ = "awareness_session"
    __table_args__ = (UniqueConstraint("programme_id", "ref"), CheckConstraint("minutes > 0", name="minutes"))
    id: Mapped[int] = mapped_column(primary_key=True)
    programme_id: Mapped[int] = mapped_column(ForeignKey("programme.id"))
    ref: Mapped[str] = mapped_column(String(40))
    school_id: Mapped[int] = mapped_column(ForeignKey("school.id"))
    sheet_id: Mapped[int | None] = mapped_column(ForeignKey("week_sheet.id"), index=True)
    day: Mapped[date]
    week: Mapped[date]
    topic: Mapped[str] = mapped_column(String(80))
    kind: Mapped[TopicKind | None] = mapped_column(word(TopicKind))  # none: the words of the topic decide
    minutes: Mapped[int]


class Attendance(Base):
    """Pupils who were there, by sex and grade ("" is all grades together)."""

    __tablename__ = "attendance"
    __table_args__ = (
        UniqueConstraint("session_id", "sex", "grade"),
        CheckConstraint("present >= 0", name="present"),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    session_id: Mapped[int] = mapped_column(ForeignKey("awareness_session.id", ondelete="CASCADE"))
    sex: Mapped[Sex] = mapped_column(word(Sex))
    grade: Mapped[str] = mapped_column(String(16), default="")
    present: Mapped[int]


class Quiz(Base):
    """Of the pupils who answered an item before and after: the four totals, never one pupil's pair."""

    __tablename__ = "quiz"
    __table_args__ = (
        UniqueConstraint("session_id", "item"),
        CheckConstraint(
            "right_right >= 0 AND right_wrong >= 0 AND wrong_right >= 0 AND wrong_wrong >= 0", name="totals"
        ),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    session_id: Mapped[int] = mapped_column(ForeignKey("awareness_session.id", ondelete="CASCADE"))
    item: Mapped[str] = mapped_column(String(40))
    right_right: Mapped[int]
    right_wrong: Mapped[int]
    wrong_right: Mapped[int]
    wrong_wrong: Mapped[int]
