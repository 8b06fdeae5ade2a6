"""Units, their fittings and meters, and what was counted and read at them."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
from sqlalchemy import ColumnElement, and_, func, or_, select
from sqlalchemy.orm import Session, aliased

from tracker.models.programme import Area
from tracker.models.school import School
from tracker.models.units import Block, BlockGroup, Dial, Fitting, MeterScope, Unit, UnitWay
from tracker.models.usage import LongWeek, Reading, UsageCount
from tracker.records.asked import AnyQuery, rows_of
from tracker.records.frames.base import (
    DAY,
    INSTANT,
    Scope,
    day_in,
    holds_in,
    read,
    schools_in,
    stored,
    week_in,
    words,
)
from tracker.vocabulary import ALL_DAY, CountWay, FittingKind, Group, Source

UNITS = {
    "unit_id": "int64",
    "unit": "str",
    "school_id": "int64",
    "school": "str",
    "area": "str",
    "block": "str",
    "group": "str",
    "kind": "str",
    "accessible": "bool",
    "from_day": DAY,
    "until_day": DAY,
    "count_way": "str",
    "source": "str",
    "name": "str",
}
USAGE = {"unit_id": "int64", "week": DAY, "how": "str", "source": "str", "visits": "float64", "cells": "int64"}
# Of each unit and week how many counts are of a way or source; the first of each is what is left over.
COUNTED_WAYS = (CountWay.GRID, CountWay.DRAWN, CountWay.WEEK_TOTAL)
SOURCES = (Source.TALLY, Source.DEVICE, Source.OFFICER, Source.ENGINEER)
APART = (*COUNTED_WAYS[1:], *SOURCES[1:])
WIDE_USAGE = {"unit_id": "int64", "week": DAY, "visits": "float64", "cells": "int64"}
WIDE_USAGE |= {str(word): "int64" for word in APART}
SOME_UNITS = 5_000  # in one list of ids
USED_DAYS = {"unit_id": "int64", "day": DAY}
TALLIES = {"unit_id": "int64", "week": DAY, "day": DAY, "slot": "str", "visits": "float64"}
READINGS = {
    "unit_id": "int64",
    "quantity": "str",
    "source": "str",
    "at": INSTANT,
    "day": DAY,
    "week": DAY,
    "value": "int64",
    "install_from": INSTANT,
    "digits": "int64",
    "step_ml": "float64",
    "u_permille": "float64",
    "first_value": "float64",
    "last_value": "float64",
}
LONG_WEEKS = {"unit_id": "int64", "week": DAY, "seen": "int64", "long": "int64"}
FITTINGS = {
    "unit_id": "int64",
    "kind": "str",
    "ml": "float64",
    "long_ml": "float64",
    "every_n": "float64",
    "factor_permille": "float64",
    "litres_basis": "str",
    "u_permille": "float64",
    "from_day": DAY,
    "until_day": DAY,
}
METER_SCOPES = {"meter_id": "int64", "unit_id": "int64", "whole": "bool", "from_day": DAY, "until_day": DAY}


def units(session: Session, scope: Scope) -> pd.DataFrame:
    """Frame ``units``: units that stood in the scope, with group and way of counting as of its last day.

    ``source`` is the unit's preferred source, ``name`` its name in words; ``area`` is the area's code. A unit
    without a group is for everyone; one without a way of counting is not counted ("none").
    """
    group = _latest(BlockGroup.grp, BlockGroup.block_id == Unit.block_id, BlockGroup.from_day, scope.last_day)
    way = _latest(UnitWay.way, UnitWay.unit_id == Unit.id, UnitWay.from_day, scope.last_day)
    query = (
        select(
            Unit.id,
            Unit.code,
            Unit.school_id,
            School.code,
            Area.code,
            Block.code,
            func.coalesce(group, Group.EVERYONE.value),
            words(Unit.kind),
            Unit.accessible,
            Unit.from_day,
            Unit.until_day,
            func.coalesce(way, CountWay.NONE.value),
            words(Unit.preferred_source),
            Unit.name,
        )
        .join(School, School.id == Unit.school_id)
        .join(Area, Area.id == School.area_id)
        .join(Block, Block.id == Unit.block_id)
        .where(Unit.school_id.in_(schools_in(scope)), holds_in(Unit, scope))
    )
    return read(session, UNITS, query.order_by(School.code, Unit.code))


def _latest(value: Any, owner: ColumnElement[bool], from_day: Any, last: date) -> Any:
    query = select(words(value)).where(owner, from_day <= last).order_by(from_day.desc()).limit(1)
    return query.correlate(Unit).scalar_subquery()


def _of_units(query: AnyQuery, unit_id: Any, scope: Scope) -> AnyQuery:
    # A list of units, not a join: the rows then come in the order of the unit's index and need no sorting.
    return query.where(unit_id.in_(select(Unit.id).where(Unit.school_id.in_(schools_in(scope)))))


def usage(session: Session, scope: Scope) -> pd.DataFrame:
    """Frame ``usage``: visits summed in the database by unit, week, way and source; ``cells`` that were recorded.

    Sums by unit and week come in the order of the index and need no sorting. Only units with a week of several ways
    or sources are summed once more by those.
    """
    row = UsageCount
    # Whole numbers: the least and the greatest word of each group take the database twice as long.
    of_each = [func.count().filter(row.how == way) for way in COUNTED_WAYS[1:]]
    of_each += [func.count().filter(row.source == source) for source in SOURCES[1:]]
    query = select(row.unit_id, stored(row.week), func.sum(row.visits), func.count(), *of_each)
    query = _of_units(query, row.unit_id, scope).where(week_in(row.week, scope))
    found = read(session, WIDE_USAGE, query.group_by(row.unit_id, row.week).order_by(row.unit_id, row.week))
    found = found.assign(how=_of_all(found, COUNTED_WAYS), source=_of_all(found, SOURCES))
    mixed = (found["how"] == "") | (found["source"] == "")
    if not mixed.any():
        return found[list(USAGE)]
    several = sorted(set(found.loc[mixed, "unit_id"].tolist()))
    parts = [_usage_of(session, scope, several[at : at + SOME_UNITS]) for at in range(0, len(several), SOME_UNITS)]
    rows = pd.concat([found.loc[~found["unit_id"].isin(several), list(USAGE)], *parts])
    return rows.sort_values(["unit_id", "week", "how", "source"], ignore_index=True)


def _of_all(found: pd.DataFrame, known: Sequence[CountWay | Source]) -> Any:
    """The way or source of all counts of a row; "" where they are of several."""
    apart = found[[str(word) for word in known[1:]]].to_numpy()
    counts = np.column_stack([found["cells"].to_numpy() - apart.sum(axis=1), apart])
    place = np.where((counts == found["cells"].to_numpy()[:, None]).any(axis=1), counts.argmax(axis=1), len(known))
    return pd.array([*(str(word) for word in known), ""], dtype="str").take(place)


def _usage_of(session: Session, scope: Scope, units: Sequence[int]) -> pd.DataFrame:
    keys = (UsageCount.unit_id, UsageCount.week, UsageCount.how, UsageCount.source)
    query = select(
        keys[0], stored(keys[1]), words(keys[2]), words(keys[3]), func.sum(UsageCount.visits), func.count(UsageCount.id)
    )
    query = query.where(UsageCount.unit_id.in_(units), week_in(UsageCount.week, scope))
    return read(session, USAGE, query.group_by(*keys).order_by(*keys))


def used_days(session: Session, scope: Scope) -> pd.DataFrame:
    """Days on which visits of a unit were counted, at least one: unit_id, day. They vouch that it was in use."""
    keys = (UsageCount.unit_id, UsageCount.first_day)
    query = _of_units(select(keys[0], stored(keys[1])), UsageCount.unit_id, scope).where(
        day_in(UsageCount.first_day, scope), UsageCount.days == 1, UsageCount.visits > 0
    )
    return read(session, USED_DAYS, query.distinct().order_by(*keys))


def tallies(session: Session, scope: Scope) -> pd.DataFrame:
    """Frame ``tallies``: the tallied drawn breaks, each by itself, for they are the sample."""
    days = (stored(UsageCount.week), stored(UsageCount.first_day))
    query = select(UsageCount.unit_id, *days, UsageCount.slot, UsageCount.visits)
    query = _of_units(query, UsageCount.unit_id, scope).where(
        week_in(UsageCount.week, scope),
        UsageCount.how == CountWay.DRAWN,
        UsageCount.days == 1,
        UsageCount.slot != ALL_DAY,
    )
    order = (UsageCount.unit_id, UsageCount.first_day, UsageCount.slot)
    return read(session, TALLIES, query.order_by(*order, UsageCount.source))


def readings(session: Session, scope: Scope, zone: ZoneInfo) -> pd.DataFrame:
    """Frame ``readings`` of the scope, with the last reading before it of each dial and source.

    ``install_from`` is the local clock time of the installation, written as if it were UTC, so that its day is the
    local day. A reading belongs to the dial that was in place at its instant; one without a dial is left out.
    """
    in_place = and_(
        Dial.unit_id == Reading.unit_id,
        Dial.quantity == Reading.quantity,
        Dial.from_at <= Reading.at,
        or_(Dial.until_at.is_(None), Reading.at < Dial.until_at),
    )
    query = (
        select(
            Reading.unit_id,
            words(Reading.quantity),
            words(Reading.source),
            stored(Reading.at),
            stored(Reading.day),
            stored(Reading.week),
            Reading.value,
            stored(Dial.from_at),
            Dial.digits,
            Dial.step_ml,
            Dial.u_permille,
            Dial.first_value,
            Dial.last_value,
        )
        .join(Dial, in_place)
        .order_by(Reading.unit_id, Reading.quantity, Reading.at)
    )
    query = _of_units(query, Reading.unit_id, scope).where(
        or_(week_in(Reading.week, scope), and_(Reading.week < scope.first_day, Reading.at == _last_before(scope)))
    )
    frame = read(session, READINGS, query)
    local = frame["install_from"].dt.tz_convert(zone).dt.tz_localize(None).dt.tz_localize("UTC")
    return frame.assign(install_from=local)


def _last_before(scope: Scope) -> Any:
    """The instant of the last reading of the same dial and source in a week before the scope."""
    older = aliased(Reading)
    return (
        select(func.max(older.at))
        .where(
            older.unit_id == Reading.unit_id,
            older.quantity == Reading.quantity,
            older.source == Reading.source,
            older.week < scope.first_day,
            ~week_in(older.week, scope),
        )
        .correlate(Reading)
        .scalar_subquery()
    )


def long_weeks(session: Session, scope: Scope) -> pd.DataFrame:
    """Frame ``long_weeks``: visits looked at in a week and of them long, never finer than a week."""
    keys = (LongWeek.unit_id, LongWeek.week)
    query = select(*keys, func.sum(LongWeek.seen), func.sum(LongWeek.long_visits))
    query = _of_units(query, LongWeek.unit_id, scope).where(week_in(LongWeek.week, scope))
    return read(session, LONG_WEEKS, query.group_by(*keys).order_by(*keys))


def fittings(session: Session, scope: Scope) -> pd.DataFrame:
    """Frame ``fittings``: every fitting that was in place on a day of the scope."""
    query = select(
        Fitting.unit_id,
        words(Fitting.kind),
        Fitting.ml,
        Fitting.long_ml,
        Fitting.every_n,
        Fitting.factor_permille,
        words(Fitting.litres_basis),
        Fitting.u_permille,
        Fitting.from_day,
        Fitting.until_day,
    )
    query = _of_units(query, Fitting.unit_id, scope).where(holds_in(Fitting, scope))
    return read(session, FITTINGS, query.order_by(Fitting.unit_id, Fitting.from_day, Fitting.id))


def first_floor_wash(session: Session, scope: Scope) -> date | None:
    """First day of the oldest floor wash that was in place in the scope: its visits are carried from there on."""
    query = _of_units(select(func.min(Fitting.from_day)), Fitting.unit_id, scope)
    rows = rows_of(session, query.where(Fitting.kind == FittingKind.FLOOR_WASH, holds_in(Fitting, scope)))
    return rows[0][0] if rows else None


def meter_scopes(session: Session, scope: Scope) -> pd.DataFrame:
    """Frame ``meter_scopes``: what each meter served on some day of the scope."""
    query = select(MeterScope.meter_id, MeterScope.unit_id, MeterScope.whole, MeterScope.from_day, MeterScope.until_day)
    query = _of_units(query, MeterScope.meter_id, scope).where(holds_in(MeterScope, scope))
    return read(session, METER_SCOPES, query.order_by(MeterScope.meter_id, MeterScope.unit_id))
