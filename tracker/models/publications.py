"""Published reports: content, files and every figure's contributions, frozen with a number and a hash."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import CheckConstraint, ForeignKey, LargeBinary, String, Text, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from tracker.db import Base, Instant, word
from tracker.vocabulary import ReportKind


class Publication(Base):
    """One published version. Never changed or deleted (trigger); a later one names what it replaces and why."""

    __tablename__ = "publication"
    __table_args__ = (
        UniqueConstraint("programme_id", "term_id", "kind", "scope", "number"),
        CheckConstraint("number >= 1", name="number"),
        CheckConstraint("(replaces_id IS NULL) = (number = 1)", name="replaces"),
        CheckConstraint("number = 1 OR length(reason) > 0", name="reason"),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    programme_id: Mapped[int] = mapped_column(ForeignKey("programme.id"))
    term_id: Mapped[int] = mapped_column(ForeignKey("term.id"))
    kind: Mapped[ReportKind] = mapped_column(word(ReportKind))
    scope: Mapped[str] = mapped_column(String(32), default="")  # a school's code, or "" for the programme
    number: Mapped[int]
    cutoff_at: Mapped[datetime] = mapped_column(Instant)
    published_at: Mapped[datetime] = mapped_column(Instant)
    code_version: Mapped[str] = mapped_column(String(40))
    content: Mapped[str] = mapped_column(Text)  # canonical JSON of the report
    content_hash: Mapped[str] = mapped_column(String(64))
    approved_by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    replaces_id: Mapped[int | None] = mapped_column(ForeignKey("publication.id"))
    reason: Mapped[str] = mapped_column(String(200), default="")


class PublicationFile(Base):
    """The bytes of a file as it was published."""

    __tablename__ = "publication_file"
    __table_args__ = (UniqueConstraint("publication_id", "name"),)
    id: Mapped[int] = mapped_column(primary_key=True)
    publication_id: Mapped[int] = mapped_column(ForeignKey("publication.id"))
    name: Mapped[str] = mapped_column(String(80))
    media_type: Mapped[str] = mapped_column(String(80))
    content: Mapped[bytes] = mapped_column(LargeBinary)


class PublicationLine(Base):
    """What a school and week contributed to a published figure, as printed digits, so that sums stay exact."""

    __tablename__ = "publication_line"
    __table_args__ = (UniqueConstraint("publication_id", "figure", "school", "week"),)
    id: Mapped[int] = mapped_column(primary_key=True)
    publication_id: Mapped[int] = mapped_column(ForeignKey("publication.id"))
    figure: Mapped[str] = mapped_column(String(60))
    school: Mapped[str] = mapped_column(String(32))
    week: Mapped[str] = mapped_column(String(10))
    value: Mapped[str] = mapped_column(String(40))
