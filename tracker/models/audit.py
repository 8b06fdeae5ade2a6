"""Who changed what, before and after; sealed in batches so that an edited row shows."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import ForeignKey, String, Text, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from tracker.db import Base, Instant


class Audit(Base):
    """One change of one row (or one load of many)."""

    __tablename__ = "audit"
    seq: Mapped[int] = mapped_column(primary_key=True)
    at: Mapped[datetime] = mapped_column(Instant)
    person_id: Mapped[int | None] = mapped_column(ForeignKey("person.id"))
    role: Mapped[str] = mapped_column(String(16), default="")
    programme_id: Mapped[int | None]
    act: Mapped[str] = mapped_column(String(16))  # added, changed, removed, loaded
    table_name: Mapped[str] = mapped_column(String(40), index=True)
    row_key: Mapped[str] = mapped_column(String(120))
    before: Mapped[str | None] = mapped_column(Text)
    after: Mapped[str | None] = mapped_column(Text)
    reason: Mapped[str] = mapped_column(String(200), default="")


class AuditSeal(Base):
    """Hash over all audit rows up to ``last_seq``, chained on the seal before."""

    __tablename__ = "audit_seal"
    __table_args__ = (UniqueConstraint("last_seq"),)
    id: Mapped[int] = mapped_column(primary_key=True)
    last_seq: Mapped[int]
    at: Mapped[datetime] = mapped_column(Instant)
    seal: Mapped[str] = mapped_column(String(64))
