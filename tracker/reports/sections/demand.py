"""Menstrual supplies in depth: demand behind sold-out days, what was given out against need, what is still to come."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date
from typing import Any, Final

import pandas as pd

from tracker.measures import demand, forecast, need
from tracker.measures.dials import rows_of
from tracker.measures.figure import Figure
from tracker.reports import figures
from tracker.reports.facts import TermFacts
from tracker.reports.printing import day, number
from tracker.reports.report import Cell, Table
from tracker.reports.rows import as_share, beside, counts, limited, words
from tracker.reports.sections.supplies import handed_out
from tracker.vocabulary import Basis

NAPKINS: Final = "napkins"
PER_DAY: Final = demand.PER_DAY
ERROR: Final = "scaled error"
HELD_OUT: Final = 4  # the last weeks, about as long as until the round after next (own choice)
FORECAST_CHECK: Final = "How good such forecasts have been"
CHECK_NOTE: Final = (
    f"The last {HELD_OUT} weeks of each school, of both terms, each forecast from the weeks before it only. "
    "Scaled error is the mean error divided by the mean change from week to week in the weeks before, so that schools "
    "of different size can be compared; smaller is better. Weeks in which a machine ran out are left out. Few weeks "
    "make a rough number."
)
LEAST: Final = "at least so much: a machine ran out in every week"
DEMAND_NOTE: Final = (
    "A week in which a machine ran out counts as a week in which at least so much was asked for, and is not left out. "
    "Ranges are 95 % limits; days without an answer widen them. Requests are not girls."
)


def machine_demand(facts: TermFacts) -> pd.DataFrame:
    """Demand of each machine with sold-out weeks as lower bounds, from ``demand.machine_demand``."""
    return facts.once("machine demand", lambda: demand.machine_demand(facts.given, facts.machine_weeks))


def school_demand(facts: TermFacts) -> pd.DataFrame:
    """The same by school, from ``demand.school_demand``."""
    return facts.once("school demand", lambda: demand.school_demand(machine_demand(facts)))


def demand_cells(facts: TermFacts) -> dict[int, Cell]:
    """School → napkins asked for a school day; in words where a machine that always ran out makes it a least."""
    machines = machine_demand(facts).groupby("school_id")["weeks"].sum()
    due = facts.given.groupby("school_id")["expected"].sum()
    found: dict[int, Cell] = {}
    for row in rows_of(school_demand(facts)):
        used = int(machines[row.school_id])
        found[row.school_id] = _demand_figure(row, used, max(used, int(due[row.school_id])))
        if _is_least(row):
            found[row.school_id] = f"at least {number(_least(row), 1)}"
    return found


def _is_least(row: Any) -> bool:
    return bool(row.machines_known < row.machines)


def _least(row: Any) -> float:
    """What was asked for at least: the demand that is known, or what all machines gave out where that is more."""
    return float(row.at_least) if pd.isna(row.per_day) else max(float(row.per_day), float(row.at_least))


def _demand_figure(row: Any, used: int, expected: int) -> Figure:
    """Demand of a machine or a school with its 95 % limits."""
    value, low, high = limited(row.per_day, row.low, row.high)
    return Figure(value, PER_DAY, Basis.MODELLED, low, high, used, expected, "machine-weeks", about_people=True)


def demand_table(facts: TermFacts) -> Table:
    """What was asked for at each machine a school day, in the order of their codes."""
    names = facts.units.set_index("unit_id")["unit"].to_dict()
    due = facts.given.groupby("unit_id")["expected"].sum()
    rows = tuple(
        (
            facts.codes.get(row.school_id, ""),
            names.get(row.unit_id, str(row.unit_id)),
            _demand_figure(row, int(row.weeks), max(int(row.weeks), int(due[row.unit_id]))),
            float(row.at_least),
            int(row.sold_out_weeks),
            row.flag or "",
        )
        for row in rows_of(machine_demand(facts))
    )
    columns = (
        words("school", "School"),
        words("machine", "Machine"),
        counts("demand", "Asked for a school day", PER_DAY),
        counts("given", "Given out a school day", PER_DAY),
        counts("sold_out", "Weeks in which it ran out", "weeks run out"),
        words("flag", "Said with it"),
    )
    empty = "No machine has a week from which demand could be worked out."
    return Table("demand", "Demand behind sold-out days", columns, rows, DEMAND_NOTE, empty)


def estimated_need(facts: TermFacts) -> Figure:
    """Napkins that girls are estimated to need from their schools in the period's whole weeks.

    Sums of the schools: values, low ends and high ends by themselves, for the assumptions are the same everywhere and
    do not cancel out.
    """
    return facts.once("need", lambda: _need(facts))


def _need(facts: TermFacts) -> Figure:
    days = facts.occasions.groupby("school_id")["school_days"].sum()
    of_school = facts.all.enrolment.groupby("school_id").indices
    found = []
    for school in facts.schools:
        rows = facts.all.enrolment.iloc[of_school.get(school.id, [])]
        girls = need.girls_by_age(rows, facts.all.grade_ages, pd.Timestamp(facts.period.last))
        found.append(need.estimated_need(girls, float(days.get(school.id, 0))))
    known = [figure for figure in found if figure.value is not None]
    whole = Figure(None, NAPKINS, Basis.ESTIMATED, records="girls", about_people=True, note=need.NEED_NOTE)
    whole = replace(whole, used=sum(one.used for one in found), expected=sum(one.expected for one in found))
    if not known:
        return whole
    ends = [sum(getattr(one, end) for one in known) for end in ("value", "low", "high")]
    return replace(whole, value=ends[0], low=ends[1], high=ends[2])


def given_in_all_ways(facts: TermFacts) -> Figure:
    """Napkins given out by machines and, where that was written down, by hand."""
    given, by_hand = figures.of(facts, "given_out"), handed_out(facts)
    more = by_hand.value or 0.0
    if given.value is None:
        return replace(by_hand, parts=())
    ends = [None if end is None else end + more for end in (given.value, given.low, given.high)]
    return replace(given, value=ends[0], low=ends[1], high=ends[2], parts=())


def against_need(facts: TermFacts) -> tuple[Figure, Figure, Figure]:
    """Given out in all ways, estimated need, and the one against the other as a share."""
    given, needed = given_in_all_ways(facts), estimated_need(facts)
    return given, needed, as_share(need.given_out_against_need(given, needed))


def need_tables(facts: TermFacts) -> tuple[Table, Table]:
    """Given out against estimated need, and every assumption behind the estimate."""
    given, needed, share = against_need(facts)
    return need_table(given, needed, share), assumptions_table()


def need_table(given: Figure, needed: Figure, share: Figure) -> Table:
    """Given out against estimated need."""
    rows: list[tuple[str, Cell]] = [
        ("Given out, by machines and by hand", given),
        ("Estimated need from the school, in the same school weeks", needed),
        ("Given out against estimated need", share),
    ]
    note = (
        "Need is an estimate from ages and the assumptions beside it, each at both ends of its range. It counts no "
        "girl and is no target: girls also bring their own. Weeks that were not reported add nothing to what was given "
        "out, so the share can be too low by them."
    )
    return beside("need", "Given out against estimated need", rows, note)


def assumptions_table() -> Table:
    """The curve and the assumptions of the estimate of need, each with its range and source."""
    given, curve = need.ASSUMPTIONS, need.CURVES[need.DEFAULT_CURVE]
    ages = [one.mean for one in need.CURVES.values()]
    rows: list[tuple[Cell, ...]] = [
        ("Mean age at menarche, years", _plain(curve.mean), _plain(min(ages)), _plain(max(ages)), curve.source)
    ]
    labels = {"pads": "Napkins a cycle", "cycle_days": "Days from cycle to cycle"}
    labels["school_share"] = "Share of a school day's napkins that the school means to give"
    for name, label in labels.items():
        one = getattr(given, name)
        rows.append((label, *(_plain(end) for end in (one.value, one.low, one.high)), one.source))
    columns = (
        words("what", "Assumption"),
        words("value", "Taken"),
        words("low", "From"),
        words("high", "To"),
        words("source", "Source"),
    )
    return Table("need_assumptions", "What the estimate of need rests on", columns, tuple(rows))


def _plain(value: float) -> str:
    return number(value, 0 if value == round(value) else 2)


def forecast_table(facts: TermFacts, coming: Mapping[int, Sequence[date]], rounds: Sequence[date]) -> Table:
    """Napkins that will be asked for before the round after next, by school in the order of their codes."""
    columns = (
        words("school", "School"),
        counts("days", "School days until then", "school days"),
        counts("forecast", "Napkins asked for", NAPKINS),
        words("flag", "Said with it"),
    )
    empty = "No two restocking rounds are planned ahead, or no demand is known."
    if len(rounds) < 2:
        return Table("forecast", "Demand until the round after next", columns, (), "", empty)
    asked = list(rows_of(school_demand(facts)))
    least = {row.school_id: _is_least(row) for row in asked}
    rates = [_least(row) if least[row.school_id] else row.per_day for row in asked]
    table = forecast.forecast_schools(school_demand(facts).assign(per_day=rates), coming, rounds[1])
    known = {row.school_id: row for row in rows_of(table)}
    rows = tuple(
        (school.code, int(known[school.id].days_ahead), *_forecast_cells(known[school.id], least[school.id]))
        for school in facts.schools
        if school.id in known
    )
    note = (
        f"On the school days before the round on {day(rounds[1])}, at the demand of this term. The range should hold "
        "what comes in 95 of 100 cases, if the coming weeks are like those of this term."
    )
    return Table("forecast", "Demand until the round after next", columns, rows, note, empty)


def forecast_check_table(facts: TermFacts) -> Table:
    """How far forecasts of the last weeks were off, each made from the weeks before it, beside "as many as last week".

    By school, and over all schools: the mean of their scaled errors, each held-out week counting the same.
    """
    known = {code: found for code, found in _held_out(facts).items() if found.ours is not None}
    rows: list[tuple[Cell, ...]] = [(code, *_check_cells([found])) for code, found in known.items()]
    rows.append(("All schools", *_check_cells(list(known.values()))))
    columns = (
        words("school", "School"),
        counts("weeks", "Weeks held out", "weeks held out"),
        counts("ours", "Scaled error of the forecast", ERROR),
        counts("naive", "The same of “as many as last week”", ERROR),
        words("nearer", "Nearer"),
    )
    empty = "No school has enough weeks of record to try forecasts on."
    return Table("forecast_check", FORECAST_CHECK, columns, tuple(rows) if known else (), CHECK_NOTE, empty)


def _check_cells(found: Sequence[forecast.HeldOut]) -> tuple[Cell, ...]:
    weeks = sum(one.weeks for one in found)
    ours, naive = (
        sum((getattr(one, name) or 0.0) * one.weeks for one in found) / weeks if weeks else None
        for name in ("ours", "naive")
    )
    both = [
        Figure(error, ERROR, Basis.MODELLED, used=weeks, expected=weeks, records="weeks held out")
        for error in (ours, naive)
    ]
    if ours is None or naive is None or ours == naive:
        return weeks, *both, "neither"
    return weeks, *both, "the forecast" if ours < naive else "as many as last week"


def _held_out(facts: TermFacts) -> dict[str, forecast.HeldOut]:
    """Forecasts of each school's last weeks; a week in which a machine ran out or was not recorded is left out."""
    given, days = facts.all.given, facts.all.calendar.occasions
    ran_out = facts.all.machine_weeks.groupby(["school_id", "week"])["sold_out_days"].max().rename("ran_out")
    rows = given.groupby(["school_id", "week"], as_index=False)[["given_out", "used", "expected"]].sum()
    rows = rows[(rows["used"] >= rows["expected"]) & (rows["week"] <= pd.Timestamp(facts.period.last))]
    rows = rows.merge(days[["school_id", "week", "school_days"]], on=["school_id", "week"])
    rows = rows.join(ran_out, on=["school_id", "week"])
    rows = rows[~(rows["ran_out"] > 0)].sort_values("week")
    return {
        code: forecast.held_out(mine["given_out"].tolist(), mine["school_days"].tolist(), HELD_OUT)
        for school, code in facts.codes.items()
        if len(mine := rows[rows["school_id"] == school])
    }


def _forecast_cells(row: Any, least: bool) -> tuple[Cell, Cell]:
    value, low, high = limited(row.value, row.low, row.high)
    shown = Figure(value, NAPKINS, Basis.MODELLED, low, high, about_people=True)
    shown = replace(shown, low=None, high=None) if least else shown
    return shown, row.flag or (LEAST if least else "")
