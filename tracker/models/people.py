"""Staff accounts: the only personal data kept."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import CheckConstraint, ForeignKey, String, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from tracker.db import Base, Instant, word
from tracker.vocabulary import Role


class Person(Base):
    """Somebody who works with the programme."""

    __tablename__ = "person"
    __table_args__ = (UniqueConstraint("email"), CheckConstraint("email = lower(email)", name="lower"))
    id: Mapped[int] = mapped_column(primary_key=True)
    email: Mapped[str] = mapped_column(String(120))
    name: Mapped[str] = mapped_column(String(80))
    phone: Mapped[str] = mapped_column(String(40), default="")
    active: Mapped[bool] = mapped_column(default=True)


class Credential(Base):
    """A password's argon2 hash. ``is_demo`` marks the demo's, which a real installation refuses."""

    __tablename__ = "credential"
    __table_args__ = (
        UniqueConstraint("person_id", "kind"),
        CheckConstraint("kind IN ('password')", name="kind"),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    person_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    kind: Mapped[str] = mapped_column(String(16), default="password")
    secret_hash: Mapped[str] = mapped_column(String(200))
    set_at: Mapped[datetime] = mapped_column(Instant)
    is_demo: Mapped[bool] = mapped_column(default=False)
    failures: Mapped[int] = mapped_column(default=0)  # in a row


class RoleGrant(Base):
    """A role in a programme, at one school or area, or all of it, until it is ended."""

    __tablename__ = "role_grant"
    __table_args__ = (
        UniqueConstraint("programme_id", "ref"),
        CheckConstraint("role <> 'coordinator' OR school_id IS NOT NULL", name="coordinator_school"),
        CheckConstraint("area_id IS NULL OR school_id IS NULL", name="one_scope"),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    programme_id: Mapped[int] = mapped_column(ForeignKey("programme.id"))
    ref: Mapped[str] = mapped_column(String(60))
    person_id: Mapped[int] = mapped_column(ForeignKey("person.id"), index=True)
    role: Mapped[Role] = mapped_column(word(Role))
    area_id: Mapped[int | None] = mapped_column(ForeignKey("area.id"))
    school_id: Mapped[int | None] = mapped_column(ForeignKey("school.id"))
    ended_at: Mapped[datetime | None] = mapped_column(Instant)


class LoginSession(Base):
    """A log-in that can be ended from the server. Only the token's hash is kept."""

    __tablename__ = "login_session"
    __table_args__ = (UniqueConstraint("token_hash"),)
    id: Mapped[int] = mapped_column(primary_key=True)
    token_hash: Mapped[str] = mapped_column(String(64))
    person_id: Mapped[int] = mapped_column(ForeignKey("person.id"), index=True)
    created_at: Mapped[datetime] = mapped_column(Instant)
    expires_at: Mapped[datetime] = mapped_column(Instant)
    ended_at: Mapped[datetime | None] = mapped_column(Instant)
