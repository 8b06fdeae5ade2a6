"""Burning used menstrual supplies: burns against what the incinerator may take, energy, ash, bins.

Nobody counts or weighs used supplies. So napkins burnt is an estimate between bounds, never a target and never
a reason to burn more, and no figure here says that burning is in order: ratings are those on the maker's plate as
entered, and local rules and licensed practice decide. Rinsed pads are heavier and burn badly, so a load is held
against the rated mass as well as the rated count.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import pandas as pd

from tracker.measures.figure import Figure, not_recorded
from tracker.vocabulary import Basis

NEVER_A_TARGET: Final = "an estimate between bounds; nobody counts used supplies, and it is never a target"
BIN_COLUMNS: Final = ["unit_id", "school_id", "day", "quarters", "days_since_low", "quarters_per_day"]


@dataclass(frozen=True, slots=True)
class Spread:
    """A number with the range it may lie in."""

    value: float
    low: float
    high: float

    def __post_init__(self) -> None:
        if not 0 <= self.low <= self.value <= self.high < math.inf:
            raise ValueError("a number lies in its range, and its range is not below 0")


@dataclass(frozen=True, slots=True)
class PadMass:
    """What a used pad weighs (g), and the share of pads that were rinsed before they were thrown away.

    Sources: 11.3 g a soiled pad, an alliance's estimate for India (read, secondary); 23 to 37 % of 613 pads at
    three institutions over 20 g and more than half water, because they were rinsed (J WASH Dev 2021;11(3):474,
    read). 30 % and 25 g, up to 30 g, lie in that range by own choice.
    """

    soiled_g: float = 11.3
    rinsed_g: Spread = Spread(25.0, 20.0, 30.0)
    rinsed_share: Spread = Spread(0.30, 0.23, 0.37)


MASS: Final = PadMass()


@dataclass(frozen=True, slots=True)
class Rating:
    """What the maker's plate allows, as entered; None = not recorded.

    pads: in one burn. grams: in one burn. burns: a day.
    """

    pads: int | None = None
    grams: float | None = None
    burns: int | None = None

    def __post_init__(self) -> None:
        if any(number is not None and number <= 0 for number in (self.pads, self.grams, self.burns)):
            raise ValueError("a rating is above 0, or not recorded")


def load_mass(pads: float, rinsed_share: float = 0.0, soiled_g: float = 11.3, rinsed_g: float = 25.0) -> float:
    """Mass of used pads in grams, some of them rinsed.

    >>> round(load_mass(120), 1), round(load_mass(120, 0.30), 1)
    (1356.0, 1849.2)
    """
    if pads < 0 or not 0 <= rinsed_share <= 1 or min(soiled_g, rinsed_g) <= 0:
        raise ValueError("pads must be at least 0, the share of rinsed pads 0 to 1 and masses above 0")
    return pads * ((1 - rinsed_share) * soiled_g + rinsed_share * rinsed_g)


def pad_mass(mass: PadMass = MASS) -> Spread:
    """Mean mass of one used pad in grams, from the fewest and lightest rinsed pads to the most and heaviest."""
    value, low, high = (
        load_mass(1, share, mass.soiled_g, rinsed)
        for share, rinsed in (
            (mass.rinsed_share.value, mass.rinsed_g.value),
            (mass.rinsed_share.low, mass.rinsed_g.low),
            (mass.rinsed_share.high, mass.rinsed_g.high),
        )
    )
    return Spread(value, low, high)


def room_in_a_burn(rating: Rating, mass: PadMass = MASS) -> Spread | None:
    """Pads that one burn may take: the rated count, or fewer where the rated mass is reached before.

    None where neither is recorded. The low end is with the heaviest pads.

    >>> room_in_a_burn(Rating(pads=200, grams=1500.0)).value < 200
    True
    """
    one = pad_mass(mass)
    by_mass = [rating.grams / grams for grams in (one.value, one.high, one.low)] if rating.grams else None
    if by_mass is None and rating.pads is None:
        return None
    most = float(rating.pads) if rating.pads is not None else math.inf
    value, low, high = (min(most, number) for number in by_mass or (most, most, most))
    return Spread(value, low, high)


def burns_against_rating(burns: Figure, rating: Rating, days: int) -> Figure:
    """Burns started ÷ burns that the rating allows on the days that the incinerator could be used.

    Args:
        burns: from ``disposal.burns_total`` of the incinerator. days: school days it stood and was in service.
    Returns:
        Unit "share of rated burns"; above 1 = more than rated. None where burns, rating or days are missing.
    """
    room = rating.burns * days if rating.burns is not None and days > 0 else None
    value = burns.value / room if burns.value is not None and room else None
    return Figure(
        value, "share of rated burns", Basis.COUNTED, used=burns.used, expected=burns.expected, records=burns.records
    )


@dataclass(frozen=True, slots=True)
class LoadShares:
    """Mean load of a burn against the rated count and against the rated mass (1 = as rated)."""

    by_count: Figure
    by_mass: Figure


def load_against_rating(pads: Figure, burns: Figure, rating: Rating, mass: PadMass = MASS) -> LoadShares:
    """An estimate of how full burns were, by count and by mass.

    Args:
        pads: used pads thought to have been brought to the incinerator (estimated, with its bounds).
        burns: burns started.
    Returns:
        Figures in "share of the rated load", estimated. The mass adds the range of pad masses to the bounds. None
        where pads, burns or the rating are not recorded, or no burn was started.
    """
    one = pad_mass(mass)
    single = Spread(1.0, 1.0, 1.0)
    rated = None if rating.pads is None else float(rating.pads)
    return LoadShares(_load(pads, burns, rated, single), _load(pads, burns, rating.grams, one))


def _load(pads: Figure, burns: Figure, rated: float | None, one: Spread) -> Figure:
    unit = "share of the rated load"
    if pads.value is None or not burns.value or rated is None:
        return not_recorded(unit, Basis.ESTIMATED, expected=burns.expected, records=burns.records)
    low = pads.value if pads.low is None else pads.low
    high = pads.value if pads.high is None else pads.high
    room = burns.value * rated
    return Figure(
        pads.value * one.value / room,
        unit,
        Basis.ESTIMATED,
        low=low * one.low / room,
        high=high * one.high / room,
        used=burns.used,
        expected=burns.expected,
        records=burns.records,
        about_people=True,
        note=NEVER_A_TARGET,
    )


def napkins_burnt(burns: Figure, room: Spread | None, fill: Spread) -> Figure:
    """Napkins burnt: an estimate between bounds, never a target.

    value = burns × room in a burn × assumed fill; low = burns × lowest room × lowest fill; high = burns × highest
    room × highest fill. Girls bring their own, so what was given out is no bound, and the rest is no backlog.

    Args:
        burns: burns started. room: from ``room_in_a_burn``. fill: share of the room that a burn was filled, with
            its range; state where it comes from. given_out: not used in the estimate; refused, so that nobody
            subtracts one from the other.
    Raises:
        ValueError: ``given_out`` is given, or a fill above 1.
    """
    if fill.high > 1:
        raise ValueError("a burn is filled at most to its room")
    if burns.value is None or room is None:
        return not_recorded("napkins", Basis.ESTIMATED, expected=burns.expected, records=burns.records)
    return Figure(
        burns.value * room.value * fill.value,
        "napkins",
        Basis.ESTIMATED,
        low=burns.value * room.low * fill.low,
        high=burns.value * room.high * fill.high,
        used=burns.used,
        expected=burns.expected,
        records=burns.records,
        about_people=True,
        note=NEVER_A_TARGET,
    )


def as_entered(numbers: Sequence[float | None], unit: str, basis: Basis, records: str = "entries") -> Figure:
    """Energy (kWh), ash (kg) or other amounts summed as they were entered; blanks lower completeness.

    Raises:
        ValueError: a negative amount.

    >>> found = as_entered([1.5, None, 2.0], "kWh", Basis.METERED)
    >>> found.value, found.used, found.expected
    (3.5, 2, 3)
    """
    known = [number for number in numbers if number is not None and not math.isnan(number)]
    if any(number < 0 for number in known):
        raise ValueError("energy and ash cannot be negative")
    value = math.fsum(known) if known else None
    return Figure(value, unit, basis, used=len(known), expected=len(numbers), records=records)


def per_burn(amount: Figure, burns: Figure) -> Figure:
    """An amount (energy, ash) a burn; None where one is not recorded or no burn was started.

    The two must be of the same weeks; completeness is that of the amount.
    """
    value = amount.value / burns.value if amount.value is not None and burns.value else None
    return Figure(
        value,
        f"{amount.unit} a burn",
        amount.basis,
        used=amount.used,
        expected=amount.expected,
        records=amount.records,
    )


def bins_now(bin_levels: pd.DataFrame) -> pd.DataFrame:
    """The last level of each bin or tank, and how fast it has filled since it was last lower.

    A level that falls means that it was emptied; filling is counted from the lowest reading since then.

    Args:
        bin_levels: frame ``bin_levels`` (``quarters`` 0 to 4, NaN = not recorded).
    Returns:
        One row a bin: ``unit_id``, ``school_id``, ``day`` and ``quarters`` of the last reading,
        ``days_since_low``, ``quarters_per_day`` (calendar days; NaN with one reading since it was emptied).
    Raises:
        ValueError: a level outside 0 to 4.
    """
    known = bin_levels[bin_levels["quarters"].notna()].sort_values(["unit_id", "day"])
    if not known["quarters"].between(0, 4).all():
        raise ValueError("a level is 0 to 4 quarters")
    falls = known.groupby("unit_id")["quarters"].diff() < 0
    emptied = falls.groupby(known["unit_id"]).cumsum()
    since = known[emptied == emptied.groupby(known["unit_id"]).transform("max")]
    first = since.drop_duplicates("unit_id").reset_index(drop=True)
    last = since.drop_duplicates("unit_id", keep="last").reset_index(drop=True)
    days = (last["day"] - first["day"]).dt.days
    rate = (last["quarters"] - first["quarters"]) / days.where(days > 0)
    types = {"unit_id": "int64", "school_id": "int64", "quarters": "float64", "quarters_per_day": "float64"}
    return last.assign(days_since_low=days, quarters_per_day=rate)[BIN_COLUMNS].astype(types)
