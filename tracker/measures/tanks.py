"""Tanks: what came in, how the level changed, what was used; rain from roofs; and how much to store.

A level is noted in quarters, so it is known to an eighth of the tank either way. What the balance leaves is called
unexplained water and nothing else: it holds level error, uncounted use and rules that do not fit, as well as water
that ran away. Sources: remainder of a water balance, Int. NRW Consulting (read); rectangular distribution and
quadrature, JCGM 100:2008 (from memory); storage and rain formulas as named with each.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from itertools import pairwise
from typing import Any

import pandas as pd

from tracker.measures.balance import unexplained
from tracker.measures.by_day import NOTHING, ByDay, by_day
from tracker.measures.dials import rows_of
from tracker.measures.figure import Figure, not_recorded
from tracker.measures.intervals import sum_u
from tracker.vocabulary import Basis, WaterSource

Z95 = 1.96
ML = 1000
QUARTERS = 4
ALWAYS = (date.min, date.max)
NONE_CAME = not_recorded("L", Basis.COUNTED, records="deliveries")
LEVEL_NOTE = "Levels are noted in quarters; each is known to an eighth of the tank either way."
REST_NOTE = "Unexplained water: what came in less the rise of the level less modelled use."
DELIVERY_U = 0.05  # relative standard uncertainty of a delivery where none is given: judgement, no published source


@dataclass(frozen=True, slots=True)
class Runoff:
    """Share of the rain that reaches the tank, with its range."""

    value: float
    low: float
    high: float
    source: str


TOOLKIT = "rainwater harvesting toolkit, rainwater-toolkit.net (read); the value is the middle of its range"
RUNOFF: dict[str, Runoff] = {
    "corrugated iron": Runoff(0.825, 0.80, 0.85, TOOLKIT),
    "roof, kind not known": Runoff(0.70, 0.50, 0.90, TOOLKIT),
    "compacted soil": Runoff(0.15, 0.10, 0.20, TOOLKIT),
}


@dataclass(frozen=True, slots=True)
class TankBalance:
    """A tank between two levels: ``came_in`` by source, ``rise``, ``used`` by the model, and what is left."""

    tank_id: int
    first_day: date
    last_day: date
    came_in: Figure
    sources: dict[WaterSource, Figure]
    rise: Figure
    modelled: Figure
    unexplained: Figure
    query: bool


# How much to store


def storage_needed_l(people: int, litres: float, days: float, round_to: int = 1000) -> int:
    """Litres to store: people × litres a day × days, rounded up to the next ``round_to``.

    Counts everybody of all shifts, and staff. Source: tank.3d, an aid programme's standards (read): 9 L a day, for
    3, 2 or 1 days.

    Raises:
        ValueError: a number below 0, or nothing to round to.

    >>> storage_needed_l(940, 9, 3)
    26000
    """
    if people < 0 or litres < 0 or days < 0 or round_to < 1:
        raise ValueError("people, litres and days cannot be below 0, and rounding is to 1 L or more")
    return math.ceil(round(people * litres * days / round_to, 9)) * round_to


def storage_days(stored_l: float, people: int, litres: float) -> float | None:
    """Days that a full store lasts at so many litres per person; None where nobody draws on it.

    >>> storage_days(25_380, 940, 9)
    3.0
    """
    need = people * litres
    return stored_l / need if need else None


def dry_season_l(litres: float, people: int, dry_days: int) -> float:
    """Storage by demand over the dry days: C × n × days. Source: rwh.dem, rainwater toolkit (read).

    >>> dry_season_l(20, 6, 25)
    3000
    """
    return litres * people * dry_days


def reliable_tank_l(area_m2: float, rain_mm: float, demand_l: float) -> float:
    """Tank (L) that serves a yearly demand from a roof on 95 % of days: 0.29·e^(4.85·x)·A^1.5, x = D ÷ (A·R).

    Fitted to the rain of Melbourne; elsewhere only a first guess. Source: Khastagir and Jayasuriya (restated, read).

    Raises:
        ValueError: no area or no rain, or a demand above all the rain that falls on the roof.

    >>> round(reliable_tank_l(200, 700, 17_520))
    1505
    """
    if area_m2 <= 0 or rain_mm <= 0 or demand_l < 0:
        raise ValueError("area and rain must be above 0, demand at least 0")
    share = demand_l / (area_m2 * rain_mm)
    if share > 1:
        raise ValueError("the demand is more than all the rain that falls on the roof")
    return 0.29 * math.exp(4.85 * share) * float(area_m2**1.5)


def rain_caught(area_m2: float, rain_mm: float, runoff: Runoff) -> Figure:
    """Litres from a roof: area × rain × run-off; 1 mm on 1 m² is 1 L. The range is that of the run-off.

    Source: rwh.yield, worked example (read). Overflow of a full tank is not taken off.

    Raises:
        ValueError: area or rain is negative.

    >>> round(rain_caught(100, 611, Runoff(0.85, 0.85, 0.85, "example")).value)
    51935
    """
    if area_m2 < 0 or rain_mm < 0:
        raise ValueError("area and rain cannot be below 0")
    fell = area_m2 * rain_mm
    note = f"Run-off {runoff.low:g} to {runoff.high:g} of the rain; overflow of a full tank is not taken off."
    low, high = fell * runoff.low, fell * runoff.high
    return Figure(fell * runoff.value, "L", Basis.ESTIMATED, low, high, 1, 1, records="roofs", note=note)


# Balance


def level_l(quarters: int, capacity_l: float) -> tuple[float, float, float]:
    """Litres in a tank at a level in quarters, with the bounds of an eighth either way, kept inside the tank.

    Raises:
        ValueError: a level outside 0 to 4, or no capacity.

    >>> level_l(2, 1000)
    (500.0, 375.0, 625.0)
    """
    if not 0 <= quarters <= QUARTERS or capacity_l <= 0:
        raise ValueError(f"a level is 0 to 4 quarters of a tank that holds something, got {quarters} of {capacity_l} L")
    middle, eighth = quarters * capacity_l / QUARTERS, capacity_l / (2 * QUARTERS)
    return middle, max(0.0, middle - eighth), min(float(capacity_l), middle + eighth)


def level_change(first: int, last: int, capacity_l: float) -> Figure:
    """Rise of a tank's level (L; below 0 where it fell), with bounds: the two levels' eighths at their worst."""
    start, start_low, start_high = level_l(first, capacity_l)
    end, end_low, end_high = level_l(last, capacity_l)
    low, high = end_low - start_high, end_high - start_low
    return Figure(end - start, "L", Basis.ESTIMATED, low, high, 2, 2, records="levels", note=LEVEL_NOTE)


def level_change_u(capacity_l: float) -> float:
    """Standard uncertainty of a rise: an eighth of the tank ÷ √3 (rectangular) for each of two levels, in quadrature.

    >>> round(level_change_u(1000), 3)
    102.062
    """
    return math.sqrt(2) * capacity_l / (2 * QUARTERS) / math.sqrt(3)


def tank_balances(
    tank_id: int, capacity_l: float, levels: pd.DataFrame, inflows: pd.DataFrame, use: pd.DataFrame
) -> list[TankBalance]:
    """Balance of one tank between each two levels that follow each other.

    unexplained = came in − rise − modelled use; u = √(u_in² + u_rise² + u_use²); interval ± 1.96·u. query:
    |unexplained| > 2·u. It says that somebody should look, not what was wrong.

    Args:
        levels: day, quarters of this tank.
        inflows: day, origin (``WaterSource``), ml, u_rel (NaN: 5 %) that came in. What one source errs is one error:
            side by side within a source. Rows after the first level's day up to the last level's day count.
        use: day, ml, u_ml: modelled use of everything that draws on the tank. A day without a row was not recorded, and
            a balance with such a day has no modelled use: list days without use as 0. u_ml are added side by side.
    Returns:
        In order of days. Without modelled use there is no unexplained water and no query.
    Raises:
        ValueError: an origin that is not a ``WaterSource``.
    """
    mine = (frame.assign(tank_id=tank_id) for frame in (levels, inflows, use))
    return tank_records(*mine).balances(tank_id, capacity_l)


@dataclass(frozen=True, slots=True)
class TankRecords:
    """Levels, inflows and modelled use by tank; grouped once, for looking through all for each tank takes longer."""

    levels: Mapping[int, ByDay]
    inflows: Mapping[int, ByDay]
    use: Mapping[int, ByDay]

    def balances(self, tank_id: int, capacity_l: float, held: tuple[date, date] = ALWAYS) -> list[TankBalance]:
        """``tank_balances`` of one tank, of the levels from the first to the last day of ``held``."""
        known = self.levels.get(tank_id, NOTHING).between(*held)
        came, drawn = self.inflows.get(tank_id, NOTHING), self.use.get(tank_id, NOTHING)
        return [
            _balance(tank_id, capacity_l, ends, (came.after(*_days(ends)), drawn.after(*_days(ends))))
            for ends in pairwise(known)
        ]


def tank_records(levels: pd.DataFrame, inflows: pd.DataFrame, use: pd.DataFrame) -> TankRecords:
    """The frames of ``tank_balances`` of many tanks, each with a column tank_id besides."""
    return TankRecords(
        by_day(levels, "tank_id", ("quarters",)),
        by_day(inflows, "tank_id", ("origin", "ml", "u_rel")),
        by_day(use, "tank_id", ("ml", "u_ml")),
    )


def _days(ends: tuple[Any, Any]) -> tuple[date, date]:
    return ends[0].day, ends[1].day


def _balance(tank_id: int, capacity_l: float, ends: tuple[Any, Any], moved: tuple[list[Any], list[Any]]) -> TankBalance:
    first, last = ends
    came, drawn = moved
    sources = _by_source(came)
    total = math.fsum(figure.value or 0.0 for figure in sources.values())
    u_in = sum_u((figure.high - figure.value) / Z95 for figure in sources.values() if figure.value and figure.high)
    rise = level_change(first.quarters, last.quarters, capacity_l)
    days = (last.day - first.day).days
    modelled, u_use = _used(drawn, days)
    u_in_and_rise = sum_u([u_in, level_change_u(capacity_l)])
    came_in = _litres(total, u_in, Basis.ESTIMATED, (len(came), "deliveries"))
    rest, query = not_recorded("L", Basis.MODELLED, expected=days, records="days"), False
    if modelled.value is not None and rise.value is not None:
        left, u, query = unexplained(total - rise.value, u_in_and_rise, modelled.value, u_use)
        rest = _litres(left, u, Basis.ESTIMATED, (days, "days"), REST_NOTE)
    return TankBalance(tank_id, first.day, last.day, came_in, sources, rise, modelled, rest, query)


def _by_source(rows: Iterable[Any]) -> dict[WaterSource, Figure]:
    by_source: dict[WaterSource, list[Any]] = {}
    for row in rows:
        by_source.setdefault(WaterSource(row.origin), []).append(row)
    return {source: _came_in(by_source[source], source) if source in by_source else NONE_CAME for source in WaterSource}


def _came_in(mine: list[Any], source: WaterSource) -> Figure:
    """Litres of one source; one calibration or one vehicle is one error, so it is taken side by side."""
    litres = math.fsum(row.ml for row in mine) / ML
    u = math.fsum(row.ml * (DELIVERY_U if pd.isna(row.u_rel) else row.u_rel) for row in mine) / ML
    basis = Basis.METERED if source is WaterSource.MAINS else Basis.ESTIMATED
    return _litres(litres, u, basis, (len(mine), "deliveries"))


def _used(rows: list[Any], days: int) -> tuple[Figure, float]:
    seen = {row.day for row in rows}
    if len(seen) < days:
        return Figure(None, "L", Basis.MODELLED, used=len(seen), expected=days, records="days"), 0.0
    u = math.fsum(row.u_ml for row in rows) / ML
    return _litres(math.fsum(row.ml for row in rows) / ML, u, Basis.MODELLED, (days, "days")), u


def _litres(value: float, u: float, basis: Basis, records: tuple[int, str], note: str = "") -> Figure:
    """``records``: how many it rests on, and of what."""
    used, of = records
    return Figure(value, "L", basis, value - Z95 * u, value + Z95 * u, used, used, records=of, note=note)


def water_by_source(inflows: pd.DataFrame) -> dict[WaterSource, Figure]:
    """Litres that came in by source (frame as of ``tank_balances``); a source without a record has no value."""
    return _by_source(rows_of(inflows))


def fresh_water(taken: Figure, recovered: Figure) -> Figure:
    """Litres taken less those that were recovered on site: what mains, tankers and rain had to give.

    Unknown where either is. Intervals in quadrature. More recovered than taken gives a value below 0, which asks
    for a look at the records and is not hidden.

    >>> a = Figure(100.0, "L", Basis.MODELLED, 90.0, 110.0)
    >>> b = Figure(30.0, "L", Basis.METERED)
    >>> fresh_water(a, b).value, fresh_water(a, b).low
    (70.0, 60.0)
    """
    if taken.value is None or recovered.value is None:
        return not_recorded("L", Basis.MODELLED, expected=taken.expected, records=taken.records)
    value = taken.value - recovered.value
    below = sum_u([taken.value - _or(taken.low, taken.value), _or(recovered.high, recovered.value) - recovered.value])
    above = sum_u([_or(taken.high, taken.value) - taken.value, recovered.value - _or(recovered.low, recovered.value)])
    exact = taken.low is None and recovered.low is None
    return Figure(
        value,
        "L",
        Basis.MODELLED,
        low=None if exact else value - below,
        high=None if exact else value + above,
        used=taken.used,
        expected=taken.expected,
        records=taken.records,
    )


def _or(limit: float | None, value: float) -> float:
    return value if limit is None else limit
