"""Minutes of driving between the store and schools: as people wrote them for areas, else a first guess.

People know how long the road from one area to another takes, and how far schools of one area lie apart. Only where
nobody wrote it down the straight line between positions is taken at a stated speed, and marked as a guess.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

EARTH_RADIUS_KM: Final = 6371.0088  # mean radius of the 1980 geodetic system (from memory)
GUESS_KMH: Final = 25.0  # common practice, no published source: straight line, bends and bad roads in it
GUESS_LEAST_MIN: Final = 5


@dataclass(frozen=True, slots=True)
class Spot:
    """The store or a school: its area, and its position in degrees where one is recorded."""

    area: int
    latitude: float | None = None
    longitude: float | None = None


@dataclass(frozen=True, slots=True)
class Travel:
    """Minutes of driving between spots. ``guessed`` marks what nobody wrote down.

    Legs that cannot be guessed stand as 0 minutes; their pairs of areas (lower id first) are in ``missing``.
    """

    minutes: npt.NDArray[np.int64]
    guessed: npt.NDArray[np.bool_]
    missing: tuple[tuple[int, int], ...]


def straight_km(one: Spot, other: Spot) -> float | None:
    """Kilometres between two positions over the ground (haversine); None where a position is not recorded.

    Source: R. W. Sinnott, "Virtues of the haversine", Sky and Telescope 68 (1984) 159 (from memory).

    >>> round(straight_km(Spot(1, 0.0, 30.0), Spot(1, 1.0, 30.0)), 2)
    111.2
    """
    if one.latitude is None or one.longitude is None or other.latitude is None or other.longitude is None:
        return None
    up, down = math.radians(one.latitude), math.radians(other.latitude)
    across = math.radians(other.longitude - one.longitude)
    part = math.sin((down - up) / 2) ** 2 + math.cos(up) * math.cos(down) * math.sin(across / 2) ** 2
    return 2 * EARTH_RADIUS_KM * math.asin(min(1.0, math.sqrt(part)))


def guess_min(one: Spot, other: Spot, kmh: float = GUESS_KMH) -> int | None:
    """Whole minutes for the straight line, at least ``GUESS_LEAST_MIN``; None where a position is not recorded.

    >>> guess_min(Spot(1, 0.0, 30.0), Spot(2, 0.1, 30.0))
    27
    """
    km = straight_km(one, other)
    return None if km is None else max(GUESS_LEAST_MIN, math.ceil(km / kmh * 60))


def travel(spots: Sequence[Spot], written: Mapping[tuple[int, int], int], kmh: float = GUESS_KMH) -> Travel:
    """Minutes from every spot to every other.

    Args:
        spots: the store first, then the schools. written: minutes from an area to an area; what is written one way
        holds both ways unless the other is written too; a pair of one area with itself is the usual way between two
        schools of it. kmh: speed of the guess on the straight line.
    Raises:
        ValueError: the speed is not above 0.

    >>> made = travel([Spot(1), Spot(1), Spot(2)], {(1, 1): 15, (1, 2): 50})
    >>> made.minutes.tolist(), made.missing
    ([[0, 15, 50], [15, 0, 50], [50, 50, 0]], ())
    """
    if not kmh > 0:
        raise ValueError("the speed of the guess must be above 0")
    size = len(spots)
    minutes = np.zeros((size, size), dtype=np.int64)
    guessed = np.zeros((size, size), dtype=np.bool_)
    missing: set[tuple[int, int]] = set()
    for one in range(size):
        for other in range(size):
            if one == other:
                continue
            way = spots[one].area, spots[other].area
            known = written.get(way, written.get(way[::-1]))
            found = guess_min(spots[one], spots[other], kmh) if known is None else known
            if found is None:
                missing.add((min(way), max(way)))
            minutes[one, other], guessed[one, other] = found or 0, known is None
    return Travel(minutes, guessed, tuple(sorted(missing)))
