"""Demand of every product at every school, from the weeks before a day: machines by their counters and counts with
sold-out weeks as "at least", everything else by what was used between two counts."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from zoneinfo import ZoneInfo

import pandas as pd

from tracker.measures import demand, dials, supplies, use
from tracker.measures.intermittent import DemandClass
from tracker.records import frames
from tracker.vocabulary import PlaceKind, Source, UnitKind

LEARNT_FROM = timedelta(days=126)  # 18 weeks, so that a term is behind a plan also where a holiday lies between
PLACED = ["school_id", "product_id", "per_day", "se", "ratio", "at_least", "periods", "ran_out", "kind"]


@dataclass(frozen=True, eq=False)
class Stocked:
    """What was read of stock and school time: frames of ``records.frames``, and the days that were learnt from."""

    scope: frames.Scope
    products: pd.DataFrame
    places: pd.DataFrame
    counts: pd.DataFrame
    moves: pd.DataFrame
    days: pd.DataFrame  # school days from the scope's first day on, also those to come


def read(
    session: frames.Session, programme_id: int, known: date, until: date, schools: tuple[int, ...] | None
) -> Stocked:
    """Read what is on record up to the day ``known``, and the school days up to ``until``."""
    scope = frames.Scope(programme_id, known - LEARNT_FROM, known, schools)
    return Stocked(
        scope,
        frames.products(session, programme_id),
        frames.stock_places(session, scope),
        frames.place_counts(session, scope),
        frames.place_moves(session, scope),
        frames.school_days_ahead(session, frames.Scope(programme_id, scope.first_day, until, schools)),
    )


def by_school(session: frames.Session, stocked: Stocked, zone: ZoneInfo) -> pd.DataFrame:
    """Demand by school and product, from ``use.school_use``; machines of menstrual supplies by ``demand``."""
    machines = _machines(machine_use(session, stocked, zone))
    elsewhere = use.place_demand(other_use(stocked, machines))
    return use.school_use(pd.concat([machines[PLACED], elsewhere[PLACED]], ignore_index=True))


@dataclass(frozen=True, eq=False)
class MachineUse:
    """Weeks of machines by product: ``given`` from ``supplies.given_out_weeks`` and ``weeks`` as the frame
    ``machine_weeks``; in both ``unit_id`` is one number for a machine and a product, unit × ``width`` + product."""

    given: pd.DataFrame
    weeks: pd.DataFrame
    width: int


def machine_use(session: frames.Session, stocked: Stocked, zone: ZoneInfo) -> MachineUse:
    """What machines gave out week by week. A counter tells of the machine's product where it holds one alone."""
    ids = dict(zip(stocked.products["product"], stocked.products["product_id"], strict=True))
    width = max(ids.values(), default=0) + 1
    occasions = _occasions(stocked)
    weeks = frames.machine_weeks(session, stocked.scope, occasions)
    weeks = weeks[weeks["product"] != ""]
    held = weeks[["unit_id", "product"]].drop_duplicates()
    alone = held[~held["unit_id"].duplicated(keep=False)].set_index("unit_id")["product"].map(ids)
    weeks = weeks.assign(unit_id=weeks["unit_id"] * width + weeks["product"].map(ids).astype("int64"))
    vends = _vends(session, stocked, zone, occasions)
    vends = vends[vends["unit_id"].isin(alone.index)]
    vends = vends.assign(unit_id=vends["unit_id"] * width + vends["unit_id"].map(alone).astype("int64"))
    schools = weeks[["unit_id", "school_id"]].drop_duplicates()
    return MachineUse(supplies.given_out_weeks(weeks, vends, schools, occasions), weeks, width)


def _machines(used: MachineUse) -> pd.DataFrame:
    """Demand of each machine and product that has weeks to learn from."""
    found = demand.machine_demand(used.given, used.weeks)
    kind = DemandClass.SMOOTH.value
    product = found["unit_id"] % used.width
    return found.assign(product_id=product, periods=found["weeks"], ran_out=found["sold_out_weeks"], kind=kind)


def _occasions(stocked: Stocked) -> pd.DataFrame:
    """School days of each school and week up to the last day of the scope."""
    days = stocked.days[stocked.days["day"] <= pd.Timestamp(stocked.scope.last_day)]
    grouped = days.groupby(["school_id", "week"], as_index=False)
    return grouped.agg(school_days=("day", "size"), last_school_day=("day", "max"))


def _vends(session: frames.Session, stocked: Stocked, zone: ZoneInfo, occasions: pd.DataFrame) -> pd.DataFrame:
    units = frames.units(session, stocked.scope)
    machines = units[units["kind"] == UnitKind.MACHINE.value]
    readings = frames.readings(session, stocked.scope, zone)
    vends = readings[(readings["quantity"] == "vends") & readings["unit_id"].isin(machines["unit_id"])]
    vends = vends[vends["day"] <= pd.Timestamp(stocked.scope.last_day)]
    preferred = {int(unit): Source(source) for unit, source in zip(units["unit_id"], units["source"], strict=True)}
    return dials.spread_over_weeks(dials.interval_uses(vends, preferred=preferred), occasions, machines)


def other_use(stocked: Stocked, machines: pd.DataFrame) -> pd.DataFrame:
    """Periods between counts at all other places, from ``use.used_between_counts``.

    What left a cupboard of a product that the school's machines hold is mostly refills that nobody wrote down: of it
    only what was handed out by name counts. ``machines``: ``school_id`` and ``product_id`` of those.
    """
    periods = use.used_between_counts(stocked.counts, stocked.moves, stocked.places, stocked.days)
    kinds = stocked.places.set_index("place_id")["kind"]
    menstrual = stocked.products.loc[stocked.products["menstrual"], "product_id"]
    counted = (periods["place_id"].map(kinds) == PlaceKind.MACHINE.value) & periods["product_id"].isin(menstrual)
    periods = periods[~counted]
    by_name = pd.MultiIndex.from_frame(periods[use.PAIR]).isin(pd.MultiIndex.from_frame(machines[use.PAIR]))
    return periods.assign(
        used=periods["used"].mask(by_name, periods["given"]), ran_out=periods["ran_out"].mask(by_name, 0)
    )
