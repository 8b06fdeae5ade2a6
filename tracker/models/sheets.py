"""Week sheets: the sheet, its immutable versions, drafts, queries, and keys that make a resend harmless."""

from __future__ import annotations

from datetime import date, datetime

from sqlalchemy import CheckConstraint, ForeignKey, Index, String, Text, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from tracker.db import Base, Instant, word
from tracker.vocabulary import SheetState


class WeekSheet(Base):
    """One school's log for one week. It exists from the first sending on; ``version`` is the latest number."""

    __tablename__ = "week_sheet"
    __table_args__ = (
        UniqueConstraint("school_id", "week"),
        UniqueConstraint("code"),
        CheckConstraint("version >= 1", name="version"),
        CheckConstraint("state <> 'draft'", name="sent"),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    school_id: Mapped[int] = mapped_column(ForeignKey("school.id"))
    week: Mapped[date]
    code: Mapped[str] = mapped_column(String(16))  # short code printed on paper
    state: Mapped[SheetState] = mapped_column(word(SheetState))
    version: Mapped[int]
    first_sent_at: Mapped[datetime] = mapped_column(Instant)
    accepted_at: Mapped[datetime | None] = mapped_column(Instant)
    accepted_by_id: Mapped[int | None] = mapped_column(ForeignKey("person.id"))


class SheetVersion(Base):
    """What was sent, whole and unchanged for ever: entries as JSON, and the notes a soft check asked for."""

    __tablename__ = "sheet_version"
    __table_args__ = (UniqueConstraint("sheet_id", "number"), UniqueConstraint("reference"))
    id: Mapped[int] = mapped_column(primary_key=True)
    sheet_id: Mapped[int] = mapped_column(ForeignKey("week_sheet.id"))
    number: Mapped[int]
    reference: Mapped[str] = mapped_column(String(16))
    sent_at: Mapped[datetime] = mapped_column(Instant)
    sent_by_id: Mapped[int | None] = mapped_column(ForeignKey("person.id"))
    payload: Mapped[str] = mapped_column(Text)  # JSON of entries
    payload_hash: Mapped[str] = mapped_column(String(64))
    reason: Mapped[str] = mapped_column(String(200), default="")  # needed after a publication
    from_paper: Mapped[bool] = mapped_column(default=False)


class SheetDraft(Base):
    """What a person has typed for a school's week and not yet sent; cells as JSON, exactly as typed."""

    __tablename__ = "sheet_draft"
    __table_args__ = (UniqueConstraint("person_id", "school_id", "week"),)
    id: Mapped[int] = mapped_column(primary_key=True)
    person_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    school_id: Mapped[int] = mapped_column(ForeignKey("school.id"))
    week: Mapped[date]
    cells: Mapped[str] = mapped_column(Text)
    base_version: Mapped[int] = mapped_column(default=0)  # the version this draft started from
    saved_at: Mapped[datetime] = mapped_column(Instant)


class Query(Base):
    """A question about a cell, raised by a check or an officer, and its answer."""

    __tablename__ = "query"
    __table_args__ = (
        UniqueConstraint("sheet_id", "number"),
        CheckConstraint("(answered_at IS NULL) = (answer = '')", name="answered"),
        Index("ix_query_sheet", "sheet_id"),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    sheet_id: Mapped[int] = mapped_column(ForeignKey("week_sheet.id"))
    number: Mapped[int]
    cell: Mapped[str] = mapped_column(String(80))  # "" is the whole sheet
    question: Mapped[str] = mapped_column(String(200))
    raised_by_check: Mapped[bool] = mapped_column(default=False)
    asked_by_id: Mapped[int | None] = mapped_column(ForeignKey("person.id"))
    asked_at: Mapped[datetime] = mapped_column(Instant)
    answer: Mapped[str] = mapped_column(String(200), default="")
    answered_by_id: Mapped[int | None] = mapped_column(ForeignKey("person.id"))
    answered_at: Mapped[datetime | None] = mapped_column(Instant)
    closed_at: Mapped[datetime | None] = mapped_column(Instant)


class RequestKey(Base):
    """A form's own random key with the hash of what was sent and the answer given: a resend gets the same answer."""

    __tablename__ = "request_key"
    __table_args__ = (UniqueConstraint("key"),)
    id: Mapped[int] = mapped_column(primary_key=True)
    key: Mapped[str] = mapped_column(String(64))
    payload_hash: Mapped[str] = mapped_column(String(64))
    result: Mapped[str] = mapped_column(String(200))
    at: Mapped[datetime] = mapped_column(Instant)
