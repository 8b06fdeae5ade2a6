"""What to bring to whom on the next round: schools by need, each with its reason in words."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

import pandas as pd

from tracker.measures.dials import rows_of
from tracker.measures.reorder import RestockReason, restock_needs
from tracker.records import frames
from tracker.reports.facts import TermFacts
from tracker.reports.printing import day
from tracker.reports.report import Cell, Table
from tracker.reports.rows import count, counts, optional_day, words
from tracker.reports.sections.demand import PER_DAY, demand_cells

REASON_WORDS = {
    RestockReason.SOLD_OUT: "nothing is left on record",
    RestockReason.BEFORE_NEXT_ROUND: "may run out before the next round",
    RestockReason.BEFORE_ROUND_AFTER: "lasts to the next round, not to the one after",
    RestockReason.ENOUGH: "enough until the round after the next",
    RestockReason.DEMAND_NOT_KNOWN: "demand is not known yet",
    RestockReason.STOCK_NOT_RECORDED: "stock is not recorded; ask the school to count",
}
ORDER = tuple(RestockReason)
EMPTY = "No school has a napkin machine or cupboard on record."
COLUMNS = (
    words("school", "School"),
    words("name", "Name"),
    counts("on_hand", "On hand", "napkins"),
    counts("cover", "School weeks left", "weeks"),
    words("restock_by", "Restock by"),
    counts("packs", "Packs to bring", "packs"),
    counts("demand", "Asked for a school day", PER_DAY),
    counts("chance", "Chance of running out before the next round", "share"),
    words("reason", "Reason"),
)


@dataclass(frozen=True, slots=True)
class Ahead:
    """The next two planned rounds (fewer: not planned), and per school the school days until the later one."""

    rounds: tuple[date, ...]
    days: dict[int, list[date]]


def ahead(session: frames.Session, facts: TermFacts) -> Ahead:
    """What is planned after the period's last day, in two queries."""
    return facts.once("ahead", lambda: _ahead(session, facts))


def _ahead(session: frames.Session, facts: TermFacts) -> Ahead:
    last = facts.period.last
    rounds = frames.rounds_after(session, facts.all.programme.id, last)[:2]
    if len(rounds) < 2:
        return Ahead(rounds, {})
    scope = frames.Scope(facts.all.programme.id, last + timedelta(days=1), rounds[1], _ids(facts))
    return Ahead(rounds, _days(frames.school_days_ahead(session, scope)))


def restock_table(facts: TermFacts, coming: Ahead) -> Table:
    """The restocking list of the next planned round.

    Schools with the fewest days of cover before the next round come first; those whose stock or demand is not
    known come after those at risk. Without two planned rounds there is no level to fill up to, and the list says so.
    """
    return facts.once("restock", lambda: _restock(facts, coming))


def _restock(facts: TermFacts, coming: Ahead) -> Table:
    if len(coming.rounds) < 2:
        note = "Plan the next two rounds in the programme's settings; then this list says what to bring."
        return Table("restock", "Restocking list", COLUMNS, (), note, "No two restocking rounds are planned ahead.")
    rounds = coming.rounds
    rows = sorted(rows_of(_needs(facts, coming.days, (rounds[0], rounds[1]))), key=need_key)
    note = (
        f"Listed by need: days of cover before the next round on {day(rounds[0])}. Packs lift the stock to what lasts "
        f"until the round after it on {day(rounds[1])}, with the chosen service. The aim is few requests unmet. The "
        "list and the chance go by what was given out on days in stock; what was asked for a school day also takes "
        "weeks in which a machine ran out as weeks in which more was wanted. On hand is counted; weeks left, packs and "
        "the chance are modelled."
    )
    asked = demand_cells(facts)
    cells = tuple(_cells(facts, row, asked.get(row.school_id)) for row in rows)
    return Table("restock", "Restocking list", COLUMNS, cells, note, EMPTY)


def _ids(facts: TermFacts) -> tuple[int, ...]:
    return tuple(school.id for school in facts.schools)


def needs_of(facts: TermFacts, coming: pd.DataFrame, rounds: tuple[date, date]) -> pd.DataFrame:
    """``reorder.restock_needs`` for the schools with supplies, from stock and demand of the period."""
    return _needs(facts, _days(coming), rounds)


def _days(coming: pd.DataFrame) -> dict[int, list[date]]:
    days: dict[int, list[date]] = {}
    for school, on in zip(coming["school_id"].tolist(), coming["day"].dt.date, strict=True):
        days.setdefault(school, []).append(on)
    return days


def _needs(facts: TermFacts, days: dict[int, list[date]], rounds: tuple[date, date]) -> pd.DataFrame:
    stock = facts.cover.assign(pack_size=facts.cover["pack_size"].fillna(1))
    return restock_needs(stock, days, *rounds, service=facts.settings["service_permille"] / 1000)


def need_key(row: Any) -> tuple[int, float, float]:
    """Order of need: the reason first, then school weeks left, then the chance of running out."""
    cover = float("inf") if pd.isna(row.cover_weeks) else row.cover_weeks
    risk = 0.0 if pd.isna(row.run_out_probability) else row.run_out_probability
    return ORDER.index(RestockReason(row.reason)), cover, -risk


def _cells(facts: TermFacts, row: Any, asked: Cell) -> tuple[Cell, ...]:
    return (
        facts.codes.get(row.school_id, ""),
        facts.school_name(row.school_id),
        count(row.on_hand),
        None if pd.isna(row.cover_weeks) else float(row.cover_weeks),
        optional_day(row.restock_by) or "not in the days looked at",
        count(row.packs),
        asked,
        None if pd.isna(row.run_out_probability) else float(row.run_out_probability),
        REASON_WORDS[RestockReason(row.reason)],
    )
