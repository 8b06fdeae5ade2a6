"""What to bring to whom on the next round: schools by need, each with its reason in words."""

from __future__ import annotations

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
    words("reason", "Reason"),
)


def restock_table(session: frames.Session, facts: TermFacts) -> Table:
    """The restocking list of the next planned round, in two queries.

    Schools with the fewest days of cover before the next round come first; those whose stock or demand is not
    known come after those at risk. Without two planned rounds there is no level to fill up to, and the list says so.
    """
    last = facts.period.last
    rounds = frames.rounds_after(session, facts.all.programme.id, last)
    if len(rounds) < 2:
        note = "Plan the next two rounds in the programme's settings; then this list says what to bring."
        return Table("restock", "Restocking list", COLUMNS, (), note, "No two restocking rounds are planned ahead.")
    scope = frames.Scope(facts.all.programme.id, last + timedelta(days=1), rounds[1], _ids(facts))
    coming = frames.school_days_ahead(session, scope)
    needs = needs_of(facts, coming, (rounds[0], rounds[1]))
    rows = sorted(rows_of(needs), key=need_key)
    note = (
        f"Listed by need: days of cover before the next round on {day(rounds[0])}. Packs lift the stock to what lasts "
        f"until the round after it on {day(rounds[1])}, with the chosen service. The aim is few requests unmet."
    )
    return Table("restock", "Restocking list", COLUMNS, tuple(_cells(facts, row) for row in rows), note, EMPTY)


def _ids(facts: TermFacts) -> tuple[int, ...]:
    return tuple(school.id for school in facts.schools)


def needs_of(facts: TermFacts, coming: pd.DataFrame, rounds: tuple[date, date]) -> pd.DataFrame:
    """``reorder.restock_needs`` for the schools with supplies, from stock and demand of the period."""
    days: dict[int, list[date]] = {}
    for school, on in zip(coming["school_id"].tolist(), coming["day"].dt.date, strict=True):
        days.setdefault(school, []).append(on)
    stock = facts.cover.assign(pack_size=facts.cover["pack_size"].fillna(1))
    return restock_needs(stock, days, *rounds, service=facts.settings["service_permille"] / 1000)


def need_key(row: Any) -> tuple[int, float, float]:
    """Order of need: the reason first, then school weeks left, then the chance of running out."""
    cover = float("inf") if pd.isna(row.cover_weeks) else row.cover_weeks
    risk = 0.0 if pd.isna(row.run_out_probability) else row.run_out_probability
    return ORDER.index(RestockReason(row.reason)), cover, -risk


def _cells(facts: TermFacts, row: Any) -> tuple[Cell, ...]:
    return (
        facts.codes.get(row.school_id, ""),
        facts.school_name(row.school_id),
        count(row.on_hand),
        None if pd.isna(row.cover_weeks) else float(row.cover_weeks),
        optional_day(row.restock_by) or "not in the days looked at",
        count(row.packs),
        REASON_WORDS[RestockReason(row.reason)],
    )
