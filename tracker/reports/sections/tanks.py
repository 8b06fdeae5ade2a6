"""Tanks and water from other sources: levels, what came in, what was drawn, and cleaning by the clock."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from typing import Any, Final

import pandas as pd

from tracker.measures import tanks
from tracker.measures.cleaning_water import cleaning_taken
from tracker.measures.dials import rows_of
from tracker.measures.figure import Figure, add
from tracker.measures.tank_use import tank_use
from tracker.measures.tanks import TankBalance
from tracker.reports import figures
from tracker.reports.facts import TermFacts
from tracker.reports.printing import short_day
from tracker.reports.report import Cell, Section, Table
from tracker.reports.rows import beside, counts, optional_day, words
from tracker.vocabulary import Basis, UnitKind, WaterSource

LITRES: Final = "L"
ML: Final = 1000
QUARTERS: Final = ("empty", "1 of 4 quarters", "2 of 4 quarters", "3 of 4 quarters", "full")
ASKS, FITS, UNKNOWN = "please check", "within its range", "not all is known"
INTRO: Final = (
    "Levels are noted in quarters, so a tank is known to an eighth either way. A tank is balanced only where all that "
    "comes in is written down and all that draws on it is listed."
)
SOURCE_WORDS: Final = {
    WaterSource.TANKER: "Brought by tanker",
    WaterSource.RAIN: "Caught as rain",
    WaterSource.RECOVERED: "Recovered on site",
}


def tanks_sections(facts: TermFacts, one_school: bool) -> tuple[Section, ...]:
    """One section, or none where no tank's size, delivery, cleaning cycle or hand flush is on record."""
    known = (facts.all.tanks, facts.all.deliveries, facts.all.cleaning, facts.all.hand_flushes)
    if all(frame.empty for frame in known):
        return ()
    return facts.once("tanks", lambda: (_section(facts, one_school),))


def _section(facts: TermFacts, one_school: bool) -> Section:
    spans = spans_table(facts) if one_school else balances_table(facts)
    tables = (levels_table(facts), sources_table(facts), spans, cleaning_table(facts), *hands_tables(facts))
    return Section("tanks", "Tanks and other water", INTRO, tables=tables, cautions=("water", "cleaning"))


def levels_table(facts: TermFacts) -> Table:
    """Each tank with its size and its last level of the period."""
    levels = tank_levels(facts).drop_duplicates("unit_id", keep="last").set_index("unit_id")
    cells: list[tuple[Cell, ...]] = []
    for tank in rows_of(sized(facts).drop_duplicates("unit_id", keep="last")):
        level = levels.loc[tank.unit_id] if tank.unit_id in levels.index else None
        then = None if level is None else _litres_at(int(level["quarters"]), tank.capacity_ml / ML)
        seen = None if level is None else QUARTERS[int(level["quarters"])]
        day = None if level is None else optional_day(level["day"])
        cells.append((facts.codes.get(tank.school_id, ""), tank.unit, tank.capacity_ml / ML, day, seen, then))
    columns = (
        words("school", "School"),
        words("tank", "Tank"),
        counts("capacity_l", "Holds", LITRES),
        words("day", "Last level"),
        words("level", "Level"),
        counts("level_l", "Litres then", LITRES),
    )
    empty = "How much a tank holds is not on record."
    return Table("tank_levels", "Tanks and their last level", columns, tuple(cells), tanks.LEVEL_NOTE, empty)


def sized(facts: TermFacts) -> pd.DataFrame:
    """Tanks with their size in the period, and the names of tank and school; a tank may have several rows."""
    names = facts.units[["unit_id", "unit"]]
    rows = facts.all.tanks.merge(names, on="unit_id")
    first, last = pd.Timestamp(facts.period.first), pd.Timestamp(facts.period.last)
    return rows[(rows["from_day"] <= last) & (rows["until_day"].isna() | (rows["until_day"] >= first))]


def tank_levels(facts: TermFacts) -> pd.DataFrame:
    """Levels of tanks in the period, one a day: unit_id, day, quarters."""
    mine = facts.of_kinds(facts.units, [UnitKind.TANK])["unit_id"]
    levels = facts.days_of(facts.all.levels)
    levels = levels[levels["unit_id"].isin(mine)].dropna(subset=["quarters"])
    return levels.drop_duplicates(["unit_id", "day"], keep="last")


def _litres_at(quarters: int, capacity_l: float) -> Figure:
    value, low, high = tanks.level_l(quarters, capacity_l)
    return Figure(value, LITRES, Basis.ESTIMATED, low, high, 1, 1, records="levels")


def sources_table(facts: TermFacts) -> Table:
    """Water that was brought, caught or recovered, and what is then left for mains, tankers and rain."""
    found = tanks.water_by_source(inflows(facts))
    rows: list[tuple[str, Cell]] = [(said, found[source]) for source, said in SOURCE_WORDS.items()]
    recovered = found[WaterSource.RECOVERED]
    if recovered.recorded:
        taken = figures.of(facts, "water_taken_l")
        rows.append(("Water taken less water recovered", tanks.fresh_water(taken, recovered)))
    note = (
        "As written down for tanks; where nothing was written, nothing is known. Water that mains bring to a tank is "
        "not in it. Each source is known to 5 % (judgement, no published source)."
    )
    empty = "No water was written down as brought, caught or recovered."
    known = rows if any(figure.recorded for figure in found.values()) else []
    return beside("water_sources", "Water that was brought, caught or recovered", known, note, empty)


def inflows(facts: TermFacts) -> pd.DataFrame:
    """Deliveries of the period with a relative uncertainty that nobody gave."""
    return facts.days_of(facts.all.deliveries).assign(u_rel=float("nan"))


def tank_spans(facts: TermFacts) -> list[tuple[Any, TankBalance]]:
    """Balances between levels that follow each other, of tanks whose inflow is written down, with the tank's row."""
    return facts.once("tank balances", lambda: list(_balances(facts)))


def _balances(facts: TermFacts) -> Iterator[tuple[Any, TankBalance]]:
    known = sized(facts)
    known = known[known["inflow_known"]]
    levels = tank_levels(facts).rename(columns={"unit_id": "tank_id"})
    records = tanks.tank_records(levels, inflows(facts), _use(facts, known))
    for tank in rows_of(known):
        last = date.max if pd.isna(tank.until_day) else tank.until_day.date()
        for one in records.balances(tank.unit_id, tank.capacity_ml / ML, (tank.from_day.date(), last)):
            yield tank, one


def _use(facts: TermFacts, known: pd.DataFrame) -> pd.DataFrame:
    scopes = facts.all.tank_scopes
    scopes = scopes[scopes["tank_id"].isin(known["unit_id"])]
    mine = facts.all.water[facts.all.water["unit_id"].isin(scopes["unit_id"])]
    days = facts.all.calendar.school_days
    days = days[days["school_id"].isin(known["school_id"])]
    return tank_use(scopes, facts.all.all_units, mine, cleaning_rows(facts), days, weeks=facts.weeks)


def spans_table(facts: TermFacts) -> Table:
    """Every two levels that follow each other, with what came in and what was drawn."""
    cells = tuple(
        (
            tank.unit,
            short_day(one.first_day),
            short_day(one.last_day),
            _plain_none(one.came_in),
            one.rise,
            one.modelled,
            one.unexplained,
            _state(one),
        )
        for tank, one in tank_spans(facts)
    )
    columns = (
        words("tank", "Tank"),
        words("from", "After"),
        words("to", "Up to"),
        counts("came_l", "Came in", LITRES),
        counts("rise_l", "Level rose", LITRES),
        counts("drawn_l", "Drawn, by rule", LITRES),
        counts("rest_l", "Unexplained", LITRES),
        words("state", "Looks like"),
    )
    return Table("tank_balance", "Water of tanks from level to level", columns, cells, tanks.REST_NOTE, NO_BALANCE)


def _plain_none(figure: Figure) -> Figure:
    """All inflow is written down, so nothing written is nothing that came; it has no range."""
    return replace(figure, low=None, high=None) if figure.value == 0 else figure


NO_BALANCE: Final = "No tank can be balanced: its inflow is not written down, or no two levels are on record."


def _state(one: TankBalance) -> str:
    return UNKNOWN if not one.unexplained.recorded else ASKS if one.query else FITS


def balances_table(facts: TermFacts) -> Table:
    """Per tank: how many spans between levels can be balanced, and how many of them ask for a look."""
    by_tank: dict[int, tuple[Any, list[str]]] = {}
    for tank, one in tank_spans(facts):
        by_tank.setdefault(tank.unit_id, (tank, []))[1].append(_state(one))
    cells = tuple(
        (
            facts.codes.get(tank.school_id, ""),
            tank.unit,
            len(states),
            len(states) - states.count(UNKNOWN),
            states.count(ASKS),
        )
        for tank, states in by_tank.values()
    )
    columns = (
        words("school", "School"),
        words("tank", "Tank"),
        counts("spans", "Spans between levels", "spans"),
        counts("known", "With all that is needed", "spans"),
        counts("asks", "Please check", "spans"),
    )
    note = f"{tanks.REST_NOTE} A span asks for a look beyond twice its standard uncertainty; it does not say why."
    return Table("tank_balance", "Water of tanks from level to level", columns, cells, note, NO_BALANCE)


def cleaning_rows(facts: TermFacts) -> pd.DataFrame:
    """Cleaning water of each unit and week of the period, from ``cleaning_water.unit_week_cleaning``."""
    return facts.weeks_of(facts.all.cleaning)


def cleaning_table(facts: TermFacts) -> Table:
    """Cleaning cycles with their litres, and the water of visits and cleaning together."""
    rows = cleaning_rows(facts)
    lines: list[tuple[Cell, ...]] = [
        (str(cycle), int(part["unit_id"].nunique()), float(part["cycles"].sum()), cleaning_taken(part))
        for cycle, part in rows.groupby("cleaning", sort=True)
        if part["cycles"].sum()
    ]
    taken = figures.of(facts, "water_taken_l")
    if lines and taken.recorded:
        both = add([taken, cleaning_taken(rows)])
        lines.append(("visits and cleaning together", "", "", both))
    columns = (
        words("cycle", "Cycle"),
        counts("units", "Units", "units"),
        counts("cycles", "Cycles", "cycles"),
        counts("cleaning_l", "Water", LITRES),
    )
    note = (
        "Cycles as planned; nobody counted them. Water taken, further up, is that of visits alone. What is put into "
        "the water is laid down by the maker, local rules and trained people."
    )
    empty = "No cleaning cycle is planned."
    return Table("cleaning_water", "Cleaning by the clock", columns, tuple(lines), note, empty)


def hands_tables(facts: TermFacts) -> tuple[Table, ...]:
    """Flushes worked by hand beside the automatic ones, with the share of visits taken for them; none without one."""
    rows = facts.all.hand_flushes.merge(facts.units[["unit_id", "unit", "school"]], on="unit_id")
    first, last = pd.Timestamp(facts.period.first), pd.Timestamp(facts.period.last)
    rows = rows[(rows["from_day"] <= last) & (rows["until_day"].isna() | (rows["until_day"] >= first))]
    if rows.empty:
        return ()
    cells = tuple((row.school, row.unit, row.ml / ML, _share(row), _beside(row)) for row in rows_of(rows))
    columns = (
        words("school", "School"),
        words("unit", "Unit"),
        counts("flush_l", "Litres of a hand flush", "L per visit"),
        counts("share", "Share of visits flushed by hand", "share"),
        words("how", "How"),
    )
    note = (
        "Nobody counts which flush was used. Water taken, further up, holds the hand flush with this share, and its "
        "range holds both ends of the share."
    )
    return (Table("hand_flushes", "Flushes worked by hand beside the automatic ones", columns, cells, note),)


def _share(row: Any) -> Figure:
    share, low, high = (
        number / 1000 for number in (row.share_permille, row.share_low_permille, row.share_high_permille)
    )
    return Figure(share, "share", Basis.SAMPLED if row.share_seen else Basis.ESTIMATED, low, high)


def _beside(row: Any) -> str:
    seen = "seen on a spot check" if row.share_seen else "assumed"
    return f"{seen}; {'instead of' if row.instead else 'as well as'} the automatic flush"
