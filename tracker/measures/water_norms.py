"""Published litres beside the measured ones: each norm by its name, what it is about, and whether it was read.

Norms differ by country and purpose and none is a verdict on a school; choose those that apply and print the name
beside the figure. ``confirmed`` is False where the value is from memory and was not seen in its source: check it
before it is quoted in a report.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum

from tracker.measures.figure import Figure

GALLON_L = 3.785412  # a US liquid gallon


class Per(StrEnum):
    """What litres are divided by."""

    PUPIL_DAY = "L per pupil and school day"
    PERSON_DAY = "L per person and day"
    VISIT = "L per visit"
    WASH = "L per hand wash"


class Against(StrEnum):
    """Where a figure lies beside a norm; no word of praise or blame."""

    BELOW = "below"
    WITHIN = "within"
    ABOVE = "above"
    OPEN = "the interval reaches over an end of the norm"


@dataclass(frozen=True, slots=True)
class WaterNorm:
    """Litres from ``low`` to ``high`` (equal for a single value)."""

    code: str
    name: str
    low: float
    high: float
    per: Per
    scope: str
    source: str
    confirmed: bool

    @property
    def how_known(self) -> str:
        """Words for the reader: whether the value was seen in its source."""
        return "read in its source" if self.confirmed else "from memory, not confirmed"


WHO = "WHO, Water, sanitation and hygiene standards for schools in low-cost settings, 2009"
IS1172 = "IS 1172:1993 / National Building Code of India"
SPHERE = "Sphere Handbook 2018, WASH appendix 3"
COMPENDIUM = "Compendium of Sanitation Technologies in Emergencies, U.4"
WATERMARK = "Smart Approved WaterMark, WELS toilets"
AUDIT = "Mphephethe PS water audit, 4 Aug 2020"
STORAGE = "an aid programme's standards for water storage in urban schools"

_ROWS = (
    ("who09.w.day", "basic water, day school", 5, 5, Per.PERSON_DAY, "pupils and staff", WHO, False),
    ("who09.w.res", "basic water, boarding school", 20, 20, Per.PERSON_DAY, "residential", WHO, False),
    ("who09.w.flush", "additional for flush toilets", 10, 20, Per.PERSON_DAY, "add to basic", WHO, False),
    ("who09.w.pour", "additional for pour-flush", 1.5, 3, Per.PERSON_DAY, "add to basic", WHO, False),
    ("who09.w.anal", "additional for anal washing", 1, 2, Per.PERSON_DAY, "add to basic", WHO, False),
    ("sph18.sch.w", "school water", 3, 3, Per.PUPIL_DAY, "drinking and hands, toilets excluded", SPHERE, False),
    ("is1172.day", "water demand, day school", 45, 45, Per.PERSON_DAY, "India", IS1172, False),
    ("is1172.board", "water demand, boarding school", 135, 135, Per.PERSON_DAY, "India", IS1172, False),
    ("tank.3d", "water for storage, day school", 9, 9, Per.PERSON_DAY, "all shifts and staff", STORAGE, True),
    ("pour.13", "pour flush", 1, 3, Per.VISIT, "international", COMPENDIUM, True),
    ("cist.69", "modern cistern flush", 6, 9, Per.VISIT, "international", COMPENDIUM, True),
    ("us.gpf", "federal largest flush", 1.6 * GALLON_L, 1.6 * GALLON_L, Per.VISIT, "USA", "US EPA fact sheet", True),
    (
        "us.ws",
        "water-saving flush limit",
        1.28 * GALLON_L,
        1.28 * GALLON_L,
        Per.VISIT,
        "USA",
        "US EPA fact sheet",
        True,
    ),
    ("au.4star", "4-star average flush", 3.5, 3.5, Per.VISIT, "Australia", WATERMARK, True),
    ("au.6star", "6-star average flush", 2.5, 2.5, Per.VISIT, "Australia", WATERMARK, True),
    ("us.urinal", "urinal limits", 0.5 * GALLON_L, GALLON_L, Per.VISIT, "USA", "US law of 1992 and EPA", False),
    ("vac", "vacuum toilet", 0.5, 1.5, Per.VISIT, "general", "general engineering knowledge", False),
    ("hw.01", "low-flow outlet", 0.1, 0.1, Per.WASH, "a course on school toilets", "Drangert, slide set 5.3", True),
    ("hw.tippy", "tippy-tap, measured", 0.0625, 0.0625, Per.WASH, "one school class", AUDIT, True),
    ("hw.tank", "tank tap, measured", 2.5, 2.5, Per.WASH, "one school class", AUDIT, True),
)
NORMS: dict[str, WaterNorm] = {row[0]: WaterNorm(*row) for row in _ROWS}


@dataclass(frozen=True, slots=True)
class Beside:
    """A figure beside a norm; ``place`` is None where there is no figure."""

    norm: WaterNorm
    place: Against | None


def choose(codes: Iterable[str]) -> list[WaterNorm]:
    """The norms of these codes, in their order.

    Raises:
        ValueError: a code that is not known; the message names those that are.
    """
    wanted = list(codes)
    unknown = [code for code in wanted if code not in NORMS]
    if unknown:
        raise ValueError(f"no water norm {', '.join(unknown)}; known are {', '.join(NORMS)}")
    return [NORMS[code] for code in wanted]


def beside(figure: Figure, codes: Iterable[str]) -> list[Beside]:
    """A figure of litres beside the chosen norms of the same unit.

    With an interval: below or above only where all of it is, within where all of it lies in the norm; else open.

    Raises:
        ValueError: a norm is per something else than the figure. Norms per person and day may stand beside litres
            per pupil and school day; the norm's scope says whom they count.

    >>> from tracker.vocabulary import Basis
    >>> [row.place.value for row in beside(Figure(4.0, "L per visit", Basis.MODELLED), ["pour.13", "cist.69"])]
    ['above', 'below']
    """
    rows = choose(codes)
    alike = {str(Per.PUPIL_DAY), str(Per.PERSON_DAY)}
    for norm in rows:
        if figure.unit != norm.per and not (figure.unit in alike and norm.per in alike):
            raise ValueError(f"norm {norm.code} is {norm.per}, the figure is {figure.unit}")
    return [Beside(norm, _place(figure, norm)) for norm in rows]


def _place(figure: Figure, norm: WaterNorm) -> Against | None:
    if figure.value is None:
        return None
    low = figure.value if figure.low is None else figure.low
    high = figure.value if figure.high is None else figure.high
    if high < norm.low:
        return Against.BELOW
    if low > norm.high:
        return Against.ABOVE
    return Against.WITHIN if norm.low <= low and high <= norm.high else Against.OPEN


def day_need_l(people: int, codes: Iterable[str]) -> tuple[float, float]:
    """Litres a day for so many people by the sum of the chosen norms, from their low to their high values.

    Raises:
        ValueError: a negative number of people, an unknown code, or a norm that is not per day.

    >>> day_need_l(520, ["who09.w.day", "who09.w.pour"])
    (3380.0, 4160.0)
    """
    rows = choose(codes)
    if people < 0:
        raise ValueError(f"people cannot be fewer than 0, got {people}")
    for norm in rows:
        if norm.per not in (Per.PUPIL_DAY, Per.PERSON_DAY):
            raise ValueError(f"norm {norm.code} is {norm.per}, not per day")
    return people * math.fsum(norm.low for norm in rows), people * math.fsum(norm.high for norm in rows)
