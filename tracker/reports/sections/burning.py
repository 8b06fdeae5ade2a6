"""Incinerators against the maker's plate, an estimate of napkins burnt, energy, ash and bins."""

from __future__ import annotations

from typing import Any, Final

import pandas as pd

from tracker.measures import burning
from tracker.measures.burning import Rating, Spread
from tracker.measures.dials import rows_of
from tracker.measures.figure import Figure, add, not_recorded
from tracker.measures.visits import expected_unit_weeks
from tracker.reports.facts import TermFacts
from tracker.reports.report import Cell, Table
from tracker.reports.rows import as_share, counts, optional_day, words
from tracker.reports.sections.tanks import QUARTERS
from tracker.vocabulary import Basis, UnitKind

# How full burns are: judgement, no published source; the range is wide because nobody looks.
FILL: Final = Spread(0.6, 0.2, 1.0)
RATED: Final = (
    "Ratings are those on the maker's plate, as entered; local rules and licensed practice decide. A share below "
    "100 % does not say that burning is in order. Room counts the pads of one burn by the plate's number and mass; a "
    f"used pad is taken to weigh {burning.pad_mass().low:.1f} to {burning.pad_mass().high:.1f} g: rinsed is heavier."
)
ESTIMATE: Final = (
    "Nobody counts used supplies. Napkins burnt is burns × room × how full a burn is taken to be (0.6, from 0.2 to 1: "
    "judgement, no published source). It is an estimate between bounds, never a target, and is not set against what "
    "was given out, for girls bring their own."
)


def burning_tables(facts: TermFacts) -> tuple[Table, ...]:
    """Tables of the disposal section; none where no incinerator stood."""
    return () if incinerators(facts).empty else facts.once("burning", lambda: _tables(facts))


def _tables(facts: TermFacts) -> tuple[Table, ...]:
    return (ratings_table(facts), burnt_table(facts), outputs_table(facts), bins_table(facts))


def incinerators(facts: TermFacts) -> pd.DataFrame:
    """Incinerators that stood in the period."""
    return facts.of_kinds(facts.units, [UnitKind.INCINERATOR])


def burns_by_unit(facts: TermFacts) -> dict[int, Figure]:
    """Burns started at each incinerator, expected in each week with school."""
    return facts.once("burns by unit", lambda: _burns_by_unit(facts))


def _burns_by_unit(facts: TermFacts) -> dict[int, Figure]:
    machines = incinerators(facts)
    due = expected_unit_weeks(machines.assign(count_way="counter"), facts.occasions, [UnitKind.INCINERATOR])
    rows = facts.all.burns.merge(due[["unit_id", "week"]], on=["unit_id", "week"])
    known = rows.groupby("unit_id")["burns"].agg(["sum", "count"])
    sums, counted = known["sum"].to_dict(), known["count"].to_dict()
    weeks = due.groupby("unit_id").size().to_dict()
    return {
        unit: Figure(
            float(sums[unit]) if counted.get(unit) else None,
            "burns",
            Basis.COUNTED,
            used=int(counted.get(unit, 0)),
            expected=int(weeks.get(unit, 0)),
            records="incinerator-weeks",
        )
        for unit in machines["unit_id"].tolist()
    }


def ratings(facts: TermFacts) -> dict[int, Rating]:
    """The rating of each incinerator that held last in the period."""
    rows = facts.all.ratings
    rows = rows[rows["from_day"] <= pd.Timestamp(facts.period.last)]
    return {
        row.unit_id: Rating(_whole(row.pads), None if pd.isna(row.grams) else float(row.grams), _whole(row.burns_a_day))
        for row in rows_of(rows.drop_duplicates("unit_id", keep="last"))
    }


def _whole(value: Any) -> int | None:
    return None if pd.isna(value) else int(value)


def ratings_table(facts: TermFacts) -> Table:
    """Burns against what each plate allows, on the days in service."""
    days = facts.of_kinds(facts.unit_days, [UnitKind.INCINERATOR])
    in_service = days[days["down_min"] == 0].groupby("unit_id").size()
    found, plates = burns_by_unit(facts), ratings(facts)
    cells = []
    for row in rows_of(incinerators(facts)):
        plate, served = plates.get(row.unit_id, Rating()), int(in_service.get(row.unit_id, 0))
        against = as_share(burning.burns_against_rating(found[row.unit_id], plate, served))
        cells.append((row.school, row.unit, found[row.unit_id], served, plate.burns, against, _room(plate)))
    columns = (
        words("school", "School"),
        words("unit", "Incinerator"),
        counts("burns", "Burns started", "burns"),
        counts("served", "School days not out of service", "school days"),
        counts("rated", "Burns a day by the plate", "burns"),
        counts("share", "Burns against the plate", "share"),
        counts("room", "Room in a burn", "napkins a burn"),
    )
    return Table("burns_rated", "Burns against the maker's plate", columns, tuple(cells), RATED)


def _room(plate: Rating) -> Figure:
    room = burning.room_in_a_burn(plate)
    if room is None:
        return not_recorded("napkins a burn", Basis.ESTIMATED)
    return Figure(room.value, "napkins a burn", Basis.ESTIMATED, room.low, room.high)


def burnt_table(facts: TermFacts) -> Table:
    """Napkins burnt over all incinerators whose room is known: an estimate with bounds."""
    plates, found = ratings(facts), burns_by_unit(facts)
    rows = [
        burning.napkins_burnt(burns, burning.room_in_a_burn(plates.get(unit, Rating())), FILL)
        for unit, burns in found.items()
    ]
    total = _side_by_side(rows)
    columns = (words("what", "What"), counts("burnt", "Napkins burnt, estimated", "napkins"))
    return Table("napkins_burnt", "Napkins burnt, an estimate", columns, (("All incinerators", total),), ESTIMATE)


def _side_by_side(rows: list[Figure]) -> Figure:
    """A sum whose bounds are added up: how full burns are is one assumption for all."""
    total, known = add(rows), [row for row in rows if row.value is not None]
    if not known:
        return total
    return Figure(
        total.value,
        total.unit,
        total.basis,
        sum(row.low or 0.0 for row in known),
        sum(row.high or 0.0 for row in known),
        total.used,
        total.expected,
        total.records,
        about_people=True,
        note=total.note,
    )


def outputs_table(facts: TermFacts) -> Table:
    """Ash and energy as they were weighed and read, and for each burn of the same weeks."""
    due = facts.weeks_of(facts.all.burn_outputs.merge(incinerators(facts)[["unit_id", "school_id"]], on="unit_id"))
    rows = due.merge(facts.all.burns, on=["unit_id", "week"], how="left")
    weeks = {unit: figure.expected for unit, figure in burns_by_unit(facts).items()}
    by_unit, cells = dict(list(rows.groupby("unit_id"))), []
    for row in rows_of(incinerators(facts)):
        if row.unit_id not in by_unit:
            continue
        mine = by_unit[row.unit_id]
        energy, each_energy = _amounts(mine, "energy_wh", "kWh", weeks[row.unit_id])
        ash, each_ash = _amounts(mine, "ash_g", "kg", weeks[row.unit_id])
        cells.append((row.school, row.unit, energy, each_energy, ash, each_ash))
    columns = (
        words("school", "School"),
        words("unit", "Incinerator"),
        counts("energy", "Energy", "kWh"),
        counts("energy_each", "Energy a burn", "kWh a burn"),
        counts("ash", "Ash", "kg"),
        counts("ash_each", "Ash a burn", "kg a burn"),
    )
    note = (
        "As weighed and read; an incinerator of which neither was noted is left out. An amount for a burn takes the "
        "weeks that have both. Ash goes where the route says."
    )
    empty = "No ash was weighed and no energy of an incinerator was read."
    return Table("burn_outputs", "Energy and ash of incinerators", columns, tuple(cells), note, empty)


def _amounts(rows: pd.DataFrame, column: str, unit: str, weeks: int) -> tuple[Figure, Cell]:
    known = rows.dropna(subset=[column])
    basis = Basis.METERED if unit == "kWh" else Basis.COUNTED
    missing: list[float | None] = [None] * max(0, weeks - len(known))
    amount = burning.as_entered([*(known[column] / 1000).tolist(), *missing], unit, basis, "weeks")
    both = known.dropna(subset=["burns"])
    of_both = burning.as_entered((both[column] / 1000).tolist(), unit, basis, "weeks")
    burns = burning.as_entered(both["burns"].tolist(), "burns", Basis.COUNTED, "weeks")
    each = burning.per_burn(of_both, burns)
    return amount, each if each.recorded else None


def bins_table(facts: TermFacts) -> Table:
    """The last level of each bin of used supplies."""
    levels = facts.days_of(facts.all.levels)
    mine = incinerators(facts).set_index("unit_id")
    found = burning.bins_now(levels[levels["unit_id"].isin(mine.index)])
    cells = tuple(
        (
            mine.loc[row.unit_id, "school"],
            mine.loc[row.unit_id, "unit"],
            optional_day(row.day),
            QUARTERS[int(row.quarters)],
            None if pd.isna(row.quarters_per_day) else 7 * row.quarters_per_day,
        )
        for row in rows_of(found)
    )
    columns = (
        words("school", "School"),
        words("unit", "Incinerator"),
        words("day", "Last look"),
        words("level", "Level of the bin"),
        counts("rate", "Rose since it was last lower", "quarters a week"),
    )
    note = "A level that falls means that the bin was emptied. With one look since then nothing is said about the rise."
    return Table("used_bins", "Bins of used supplies", columns, cells, note, "No level of a bin was noted.")
