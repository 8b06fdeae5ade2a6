"""Which schools may run out before the next round, as things stand today: the restocking list's rule, little read.

A term report reads everything of a term; this reads only supplies, so that the page of the day stays quick.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pandas as pd

from tracker.measures import dials, supplies
from tracker.measures.dials import rows_of
from tracker.measures.reorder import RestockReason, restock_needs
from tracker.records import frames
from tracker.records.people import schools_of
from tracker.records.settings import setting
from tracker.reports.gathered import STOCK_HISTORY
from tracker.reports.restock_list import REASON_WORDS, need_key
from tracker.vocabulary import Source, UnitKind

NOW = (RestockReason.SOLD_OUT, RestockReason.BEFORE_NEXT_ROUND)


@dataclass(frozen=True, slots=True)
class RunsOut:
    """A school at risk. ``cover_weeks``: school weeks its stock lasts (None: not known); ``packs`` to bring."""

    school_id: int
    school: str
    on_hand: int
    cover_weeks: float | None
    restock_by: date | None
    packs: int | None
    reason: str


@dataclass(frozen=True, slots=True)
class Supplies:
    """Schools at risk by need, the next two rounds (fewer: not planned), and schools whose stock is not recorded."""

    at_risk: list[RunsOut]
    rounds: tuple[date, ...]
    not_recorded: int


def runs_out(session: frames.Session, programme_id: int, at: datetime, area_ids: set[int] | None = None) -> Supplies:
    """Schools that are sold out or may run out before the next planned round; a constant number of queries.

    Demand is that of the running term (in holidays: of the last one), as in the term report's restocking list.
    """
    zone = ZoneInfo(frames.programme(session, programme_id).zone)
    today = at.astimezone(zone).date()
    rounds = frames.rounds_after(session, programme_id, today)[:2]
    begun = [term for term in frames.terms(session, programme_id) if term.first_day <= today]
    if len(rounds) < 2 or not begun:
        return Supplies([], rounds, 0)
    scope = frames.Scope(programme_id, begun[-1].first_day, min(begun[-1].last_day, today))
    service = setting(session, programme_id, "service_permille", today) / 1000
    coming = frames.school_days_ahead(session, frames.Scope(programme_id, today + timedelta(days=1), rounds[1]))
    days: dict[int, list[date]] = {}
    for school, on in zip(coming["school_id"].tolist(), coming["day"].dt.date, strict=True):
        days.setdefault(school, []).append(on)
    stock = _stock(session, scope, zone)
    needs = restock_needs(stock, days, rounds[0], rounds[1], service=service)
    names = {
        school.id: school.name
        for school in schools_of(session, programme_id)
        if area_ids is None or school.area_id in area_ids
    }
    rows = [row for row in sorted(rows_of(needs), key=need_key) if row.school_id in names]
    at_risk = [_line(row, names) for row in rows if RestockReason(row.reason) in NOW]
    unknown = sum(1 for row in rows if RestockReason(row.reason) is RestockReason.STOCK_NOT_RECORDED)
    return Supplies(at_risk, rounds, unknown)


def _stock(session: frames.Session, scope: frames.Scope, zone: ZoneInfo) -> pd.DataFrame:
    """Per school with a machine or cupboard: on_hand, per_day, days_per_week, pack_size."""
    wide = frames.Scope(scope.programme_id, scope.first_day - STOCK_HISTORY, scope.last_day)
    occasions = frames.school_calendar(session, wide, zone).occasions
    units = frames.units(session, wide)
    machines = units[units["kind"] == UnitKind.MACHINE.value]
    readings = frames.readings(session, wide, zone)
    preferred = {int(unit): Source(source) for unit, source in zip(units["unit_id"], units["source"], strict=True)}
    vends = dials.interval_uses(readings[readings["quantity"] == "vends"], preferred=preferred)
    machine_weeks = frames.machine_weeks(session, wide, occasions)
    given = supplies.given_out_weeks(
        machine_weeks, dials.spread_over_weeks(vends, occasions, machines), machines, occasions
    )
    last = occasions["last_school_day"]
    whole = occasions[(last >= pd.Timestamp(scope.first_day)) & (last <= pd.Timestamp(scope.last_day))]
    weeks = whole[["school_id", "week"]]
    demand = supplies.demand_by_school(
        given.merge(weeks, on=["school_id", "week"]), machine_weeks.merge(weeks, on=["school_id", "week"])
    )
    stock = frames.on_hand(session, scope).groupby("school_id", as_index=False)
    held = stock.agg(on_hand=("on_hand", "sum"), pack_size=("pack_size", "min"))
    standing = machines.loc[machines["until_day"].isna(), ["school_id"]].drop_duplicates()
    rows = standing.merge(held, on="school_id", how="outer").merge(
        demand[["school_id", "per_day"]], on="school_id", how="left"
    )
    usual = whole.groupby("school_id")["school_days"].median()
    return rows.assign(days_per_week=rows["school_id"].map(usual), pack_size=rows["pack_size"].fillna(1))


def _line(row: Any, names: dict[int, str]) -> RunsOut:
    school, on_hand, cover, by, packs, reason = (
        getattr(row, name) for name in ("school_id", "on_hand", "cover_weeks", "restock_by", "packs", "reason")
    )
    return RunsOut(
        int(school),
        names[int(school)],
        int(on_hand),
        None if pd.isna(cover) else float(cover),
        None if pd.isna(by) else pd.Timestamp(by).date(),
        None if pd.isna(packs) else int(packs),
        REASON_WORDS[RestockReason(reason)],
    )
