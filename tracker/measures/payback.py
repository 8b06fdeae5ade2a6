"""After how many terms the water that a fitting saves has paid for what it cost more.

Terms = extra cost ÷ (litres saved for each visit × visits of a unit in a term × price of a litre). No interest, no
repairs. Source: simple payback (common practice, no published source).
"""

from __future__ import annotations

from typing import Final

from tracker.measures.figure import Figure, weakest

LITRES_PRICED: Final = 1000  # a price of water is that of so many litres
UNSURE: Final = "Cannot be told: the range of the water saved holds nothing saved, or there is no range."
NOTHING_SAVED: Final = "It does not pay back from water: it took as much or more in the whole range."
UNKNOWN: Final = "Cannot be told: {what} is not recorded."


def payback_terms(extra_minor: int | None, saved: Figure, visits: Figure, price_minor: int | None) -> Figure:
    """Terms until a fitting has paid for itself, as a figure in "terms"; no value, and why, where it cannot be told.

    The limits take the ends of both ranges together, so they are wider than 95 %.

    Args:
        extra_minor: what a unit's fitting cost more, whole minor units; None: not recorded.
        saved: litres saved for each visit, with its range. visits: visits of a unit in a term.
        price_minor: minor units for 1,000 litres; None: not recorded.
    Raises:
        ValueError: an amount below zero, or a price of zero.

    >>> from tracker.vocabulary import Basis
    >>> saved = Figure(2.0, "L per visit", Basis.MODELLED, low=1.0, high=4.0)
    >>> found = payback_terms(30_000, saved, Figure(1000.0, "visits", Basis.COUNTED), 5_000)
    >>> found.value, found.low, found.high
    (3.0, 1.5, 6.0)
    """
    if (extra_minor or 0) < 0 or (price_minor is not None and price_minor <= 0):
        raise ValueError("an extra cost cannot be below zero, and a price must be above it")
    why = _why_not(extra_minor, saved, visits, price_minor)
    blank = Figure(
        None,
        "terms",
        weakest([saved.basis, visits.basis]),
        None,
        None,
        saved.used,
        saved.expected,
        saved.records,
        note=why,
    )
    if why or extra_minor is None or price_minor is None:
        return blank
    value, low, high = (_terms(extra_minor, *ends, price_minor) for ends in _ends(saved, visits))
    return Figure(value, "terms", blank.basis, low, high, saved.used, saved.expected, saved.records)


def _why_not(extra_minor: int | None, saved: Figure, visits: Figure, price_minor: int | None) -> str:
    known = {
        "the extra cost": extra_minor is not None,
        "the price of water": price_minor is not None,
        "the water saved": saved.recorded,
        "the number of visits": bool(visits.value),
    }
    missing = [what for what, there in known.items() if not there]
    if missing:
        return UNKNOWN.format(what=missing[0])
    if saved.high is not None and saved.high <= 0:
        return NOTHING_SAVED
    return UNSURE if saved.low is None or saved.low <= 0 else ""


def _ends(saved: Figure, visits: Figure) -> tuple[tuple[float, float], ...]:
    """(litres, visits) of the value, of the most saved, of the least saved."""
    most, least = visits.high or visits.value or 0.0, visits.low or visits.value or 0.0
    middle = (saved.value or 0.0, visits.value or 0.0)
    return middle, (saved.high or 0.0, most), (saved.low or 0.0, least)


def _terms(extra_minor: int, litres: float, visits: float, price_minor: int) -> float:
    return extra_minor / (litres * visits * price_minor / LITRES_PRICED)
