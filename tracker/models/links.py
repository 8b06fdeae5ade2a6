"""Links that open one published version to whoever holds them, and what was measured before the programme began."""

from __future__ import annotations

from datetime import date, datetime

from sqlalchemy import CheckConstraint, ForeignKey, String, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from tracker.db import Base, Instant, word
from tracker.vocabulary import Basis


class ShareLink(Base):
    """A random address of one version. Only its hash is kept; it is shown once, and it ends by itself."""

    __tablename__ = "share_link"
    __table_args__ = (UniqueConstraint("token_hash"), CheckConstraint("expires_at > made_at", name="expires"))
    id: Mapped[int] = mapped_column(primary_key=True)
    publication_id: Mapped[int] = mapped_column(ForeignKey("publication.id"), index=True)
    label: Mapped[str] = mapped_column(String(60))  # for whom
    token_hash: Mapped[str] = mapped_column(String(64))
    made_at: Mapped[datetime] = mapped_column(Instant)
    made_by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    expires_at: Mapped[datetime] = mapped_column(Instant)
    ended_at: Mapped[datetime | None] = mapped_column(Instant)


class Baseline(Base):
    """A figure as it was measured before the programme worked; in thousandths of its unit, like a target."""

    __tablename__ = "baseline"
    __table_args__ = (UniqueConstraint("programme_id", "figure", "measured_on"),)
    id: Mapped[int] = mapped_column(primary_key=True)
    programme_id: Mapped[int] = mapped_column(ForeignKey("programme.id"))
    figure: Mapped[str] = mapped_column(String(60))
    thousandths: Mapped[int]
    measured_on: Mapped[date]
    basis: Mapped[Basis] = mapped_column(word(Basis))
    note: Mapped[str] = mapped_column(String(120))  # where and how it was measured
