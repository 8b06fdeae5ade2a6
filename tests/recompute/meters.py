"""A meter against the model (docs/measures_parts/water.md, balance of a meter)."""

from __future__ import annotations

import math
from datetime import date, timedelta
from typing import NamedTuple

from tests.recompute import chance, dials, water
from tests.recompute.files import Asked, Fig, Row, day, holds_in
from tests.recompute.school_time import Calendar
from tests.recompute.visits import VISITED, Seen


class Balance(NamedTuple):
    """A meter's code, its three figures in litres, and whether somebody should look."""

    meter: str
    metered: Fig
    modelled: Fig
    unexplained: Fig
    look: bool


def balances(asked: Asked, held: Calendar, seen: Seen, found: list[water.Line]) -> list[Balance]:
    """Every meter of which all that it serves is listed."""
    rows = []
    of_energy = {row["unit"] for row in asked.mine("readings") if row["quantity"] == "energy"}
    for meter in seen.units:
        if meter["unit"] in of_energy:
            continue
        scopes = [row for row in asked.mine("meter_scopes") if row["meter"] == meter["unit"]]
        scopes = [row for row in scopes if holds_in(row, asked.first, asked.last)]
        if meter["kind"] == "meter" and any(row["whole"] == "yes" for row in scopes):
            rows.append(balance(asked, held, seen, found, meter, scopes))
    return rows


def comparable(seen: Seen, scopes: list[Row], found: list[water.Line], week: date) -> bool:
    """Whether the scope holds through the week and is whole, and all that it serves has litres for all its visits."""
    end = week + timedelta(days=6)
    mine = [row for row in scopes if holds_in(row, week, end)]
    for row in mine:
        ended = row["until_day"] != "" and day(row["until_day"]) < end
        if row["whole"] != "yes" or day(row["from_day"]) > week or ended:
            return False
    for unit in served(seen, scopes, week):
        whole = [
            line
            for line in found
            if line.unit is unit and line.week == week and line.whole and line.part == water.main_part(unit)
        ]
        if not whole:
            return False
    return bool(mine)


def served(seen: Seen, scopes: list[Row], week: date) -> list[Row]:
    """Cabins, urinals and taps that the meter served and that stood there in a week."""
    end = week + timedelta(days=6)
    codes = {row["unit"] for row in scopes if holds_in(row, week, end)}
    return [u for u in seen.units if u["unit"] in codes and u["kind"] in VISITED and holds_in(u, week, end)]


def compared(asked: Asked, held: Calendar, seen: Seen, meter: Row, good: set[date]) -> list[dials.Interval]:
    """Intervals all of whose weeks can be compared and share none with one that cannot."""
    intervals = dials.intervals(asked, held, meter, "water")
    numbers = [one.number for one in intervals]
    for one in intervals:
        inside = one.after >= one.weeks[0] if one.installed is None else one.installed > one.weeks[0]
        if one.number - 1 not in numbers and inside:
            good = good - {one.weeks[0]}
    while True:
        spoilt = set()
        for one in intervals:
            if any(week not in good for week in one.weeks):
                spoilt.update(one.weeks)
        if not spoilt & good:
            return [one for one in intervals if all(week in good for week in one.weeks)]
        good = good - spoilt


def balance(
    asked: Asked, held: Calendar, seen: Seen, found: list[water.Line], meter: Row, scopes: list[Row]
) -> Balance:
    """Metered, modelled and unexplained litres over the same weeks."""
    good = {week for week in seen.period if comparable(seen, scopes, found, week)}
    kept = compared(asked, held, seen, meter, good)
    weeks = sorted({week for one in kept for week in one.weeks})
    due = len(seen.period)
    if not weeks:
        nothing = Fig(None, None, None, 0, due, "modelled")
        return Balance(meter["unit"], nothing._replace(basis="metered"), nothing, nothing, False)
    metered = sum(steps * int(dial["step_ml"]) for one in kept for _, steps, dial in one.parts)
    rows = []
    for week in weeks:
        codes = [unit["unit"] for unit in served(seen, scopes, week)]
        rows += [line for line in found if line.week == week and line.unit["unit"] in codes]
    modelled = sum(line.ml for line in rows)
    u_model = max(water.distances(rows)) / water.Z
    u_meter = meter_u(kept)
    u = chance.root([u_meter, u_model])

    def figure(ml: float, own_u: float, basis: str) -> Fig:
        half = water.Z * own_u
        return Fig(ml / 1000, (ml - half) / 1000, (ml + half) / 1000, len(weeks), due, basis)

    return Balance(
        meter["unit"],
        figure(metered, u_meter, "metered"),
        figure(modelled, u_model, "modelled"),
        figure(metered - modelled, u, "modelled"),
        abs(metered - modelled) > 2 * u,
    )


def meter_u(kept: list[dials.Interval]) -> float:
    """Standard uncertainty: each dial's own × the volume through it, and two readings for each unbroken run."""
    volume: dict[str, int] = {}
    own: dict[str, float] = {}
    ends = []
    last: dict[str, int] = {}
    for one in kept:
        for name, steps, dial in one.parts:
            step = int(dial["step_ml"])
            volume[name] = volume.get(name, 0) + steps * step
            own[name] = int(dial["u_permille"]) / 1000 if dial["u_permille"] else 0.02
            if last.get(name) != one.number - 1:
                ends.append(math.sqrt(2) * step / math.sqrt(12))
            last[name] = one.number
    return chance.root([*(volume[name] * own[name] for name in volume), *ends])
