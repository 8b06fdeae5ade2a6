"""Pupils per fixture: published ratios and the fixtures that a number of pupils needs by them.

Ratios differ by country and purpose; none is a verdict on a school. ``confirmed`` is False where the value is
from memory and was not seen in its source: check it before it is quoted in a report.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Ratio:
    """One fixture for every ``per`` pupils (or stalls)."""

    per: int
    fixture: str
    whom: str
    source: str
    confirmed: bool


STATE_CODE = "state building code for day schools, as restated in a study guide"
RATIOS: dict[str, Ratio] = {
    "in.mh.g": Ratio(25, "toilet", "girls", STATE_CODE, True),
    "in.mh.b": Ratio(40, "toilet", "boys", STATE_CODE, True),
    "in.mh.u": Ratio(20, "urinal", "boys", STATE_CODE, True),
    "ke.g": Ratio(25, "latrine", "girls", "health ministry ratio, as restated in a school study note, 2010", True),
    "who09.g": Ratio(25, "toilet", "girls", "WHO standards for schools in low-cost settings, 2009", False),
    "who09.b": Ratio(50, "toilet and urinal", "boys", "WHO standards for schools, 2009", False),
    "sph18.sch.g": Ratio(30, "toilet", "girls", "Sphere Handbook 2018, appendix 4", False),
    "sph18.sch.b": Ratio(60, "toilet", "boys", "Sphere Handbook 2018, appendix 4", False),
    "uk.u5": Ratio(10, "toilet", "pupils under 5", "DfE advice on standards for school premises, restated", True),
    "uk.5up": Ratio(20, "toilet", "pupils from 5", "DfE advice on standards for school premises, restated", True),
    "ngo.70": Ratio(70, "stall", "girls", "an aid programme's standards for urban schools", True),
    "ngo.hw3": Ratio(3, "tap", "stalls", "an aid programme's standards for urban schools", True),
}


def fixtures_needed(count: int, per: int) -> int:
    """Fixtures for ``count`` pupils (or stalls) at one for every ``per``, rounded up; 0 for nobody.

    Raises:
        ValueError: a negative count, or ``per`` below 1.

    >>> fixtures_needed(326, 25)
    14
    """
    if count < 0 or per < 1:
        raise ValueError("the count must be at least 0 and the ratio at least 1")
    return -(-count // per)


def pupils_per_fixture(pupils: int, fixtures: int) -> float | None:
    """Pupils to one fixture; None where there is no fixture (it is not zero and not endless)."""
    return pupils / fixtures if fixtures else None
