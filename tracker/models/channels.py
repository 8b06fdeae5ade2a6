"""Counting devices: what each reports, the keys they send with, and the little that is kept of what they sent."""

from __future__ import annotations

from datetime import date, datetime

from sqlalchemy import BigInteger, CheckConstraint, ForeignKey, String, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from tracker.db import Base, Instant, word
from tracker.vocabulary import Cause, Signal


class Channel(Base):
    """A name under which a school's device reports one signal of one unit.

    ``cause``: of the outage that a fault opens. Other units that it closes are ``ChannelUnit`` rows.
    """

    __tablename__ = "channel"
    __table_args__ = (
        UniqueConstraint("school_id", "name"),
        CheckConstraint("until_day IS NULL OR until_day >= from_day", name="order"),
        CheckConstraint("(signal = 'fault') = (cause IS NOT NULL)", name="fault_cause"),
        CheckConstraint("cause IS NULL OR cause NOT IN ('danger', 'planned work', 'sold out')", name="cause_kind"),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    school_id: Mapped[int] = mapped_column(ForeignKey("school.id"))
    name: Mapped[str] = mapped_column(String(80))
    unit_id: Mapped[int] = mapped_column(ForeignKey("unit.id"))
    signal: Mapped[Signal] = mapped_column(word(Signal))
    cause: Mapped[Cause | None] = mapped_column(word(Cause))
    from_day: Mapped[date]
    until_day: Mapped[date | None]


class ChannelUnit(Base):
    """A unit that is out of use while the channel says so: one low tank closes the cabins it feeds."""

    __tablename__ = "channel_unit"
    __table_args__ = (UniqueConstraint("channel_id", "unit_id"),)
    id: Mapped[int] = mapped_column(primary_key=True)
    channel_id: Mapped[int] = mapped_column(ForeignKey("channel.id"))
    unit_id: Mapped[int] = mapped_column(ForeignKey("unit.id"))


class FeedToken(Base):
    """A key with which a school's devices send. Only its hash is kept; it is shown once."""

    __tablename__ = "feed_token"
    __table_args__ = (UniqueConstraint("token_hash"),)
    id: Mapped[int] = mapped_column(primary_key=True)
    school_id: Mapped[int] = mapped_column(ForeignKey("school.id"), index=True)
    label: Mapped[str] = mapped_column(String(60))
    token_hash: Mapped[str] = mapped_column(String(64))
    made_at: Mapped[datetime] = mapped_column(Instant)
    ended_at: Mapped[datetime | None] = mapped_column(Instant)


class DeviceCounter(Base):
    """What is kept of a counter's readings in one hour, day or week (by signal): no time finer than that.

    ``highest`` of all readings, ``after_turn`` the highest in the dial's lowest tenth. Both are maxima, so that the
    row is the same in whatever order and how often readings come.
    """

    __tablename__ = "device_counter"
    __table_args__ = (
        UniqueConstraint("channel_id", "until_at"),
        CheckConstraint("highest >= 0", name="highest"),
        CheckConstraint("after_turn IS NULL OR after_turn <= highest", name="after_turn"),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    channel_id: Mapped[int] = mapped_column(ForeignKey("channel.id"))
    until_at: Mapped[datetime] = mapped_column(Instant)  # the last minute of the hour, day or week
    highest: Mapped[int] = mapped_column(BigInteger)
    after_turn: Mapped[int | None] = mapped_column(BigInteger)


class DeviceState(Base):
    """What a state channel said at an instant; where it said both at once, on."""

    __tablename__ = "device_state"
    __table_args__ = (UniqueConstraint("channel_id", "at"),)
    id: Mapped[int] = mapped_column(primary_key=True)
    channel_id: Mapped[int] = mapped_column(ForeignKey("channel.id"))
    at: Mapped[datetime] = mapped_column(Instant)
    on: Mapped[bool]
