"""Pupils per fixture: published ratios and the fixtures that a number of pupils needs by them.

Ratios differ by country and purpose; none is a verdict on a school. ``confirmed`` is False where the value is
from memory and was not seen in its source: check it before it is quoted in a report.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Ratio:
    """One fixture for every ``per`` pupils (or cabins)."""

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
    "ke.b": Ratio(30, "latrine", "boys", "health ministry ratio, as restated in a school study note, 2010", True),
    "in.rte.t": Ratio(80, "toilet", "pupils", "a state's notice on essential elements of schools, 2015", True),
    "in.rte.u": Ratio(20, "urinal", "pupils", "a state's notice on essential elements of schools, 2015", True),
    "who09.g": Ratio(25, "toilet", "girls", "WHO standards for schools in low-cost settings, 2009", False),
    "who09.b": Ratio(50, "toilet and urinal", "boys", "WHO standards for schools, 2009", False),
    "sph18.sch.g": Ratio(30, "toilet", "girls", "Sphere Handbook 2018, appendix 4", False),
    "sph18.sch.b": Ratio(60, "toilet", "boys", "Sphere Handbook 2018, appendix 4", False),
    "uk.u5": Ratio(10, "toilet", "pupils under 5", "DfE advice on standards for school premises, restated", True),
    "uk.5up": Ratio(20, "toilet", "pupils from 5", "DfE advice on standards for school premises, restated", True),
    "ngo.70": Ratio(70, "cabin", "girls", "an aid programme's standards for urban schools", True),
    "ngo.hw3": Ratio(3, "tap", "cabins", "an aid programme's standards for urban schools", True),
}


@dataclass(frozen=True, slots=True)
class NormSet:
    """Ratios of one source that belong together; a programme chooses one, and its name is printed beside."""

    title: str
    ratios: tuple[str, ...]

    @property
    def confirmed(self) -> bool:
        """Whether every ratio of the set was read in its source."""
        return all(RATIOS[name].confirmed for name in self.ratios)

    @property
    def named(self) -> str:
        """The title with how its ratios are known, as it stands wherever the set is chosen.

        >>> NORM_SETS["who09"].named
        'WHO, schools in low-cost settings, 2009: girls 25, boys 50 (from memory, not confirmed)'
        """
        return f"{self.title} ({'read' if self.confirmed else 'from memory, not confirmed'})"


EVERY_SET = "all"
NORM_SETS: dict[str, NormSet] = {
    "in.mh": NormSet("A state building code: girls 25, boys 40, urinals 20", ("in.mh.g", "in.mh.b", "in.mh.u")),
    "in.rte": NormSet("A state's school notice: toilets 80, urinals 20", ("in.rte.t", "in.rte.u")),
    "ke": NormSet("A health ministry: girls 25, boys 30", ("ke.g", "ke.b")),
    "who09": NormSet("WHO, schools in low-cost settings, 2009: girls 25, boys 50", ("who09.g", "who09.b")),
    "sph18": NormSet("Sphere Handbook 2018, emergencies: girls 30, boys 60", ("sph18.sch.g", "sph18.sch.b")),
    "uk": NormSet("DfE advice: under 5 years 10, from 5 years 20", ("uk.u5", "uk.5up")),
    "ngo": NormSet("An aid programme, urban schools: girls 70, taps 3 cabins", ("ngo.70", "ngo.hw3")),
}


@dataclass(frozen=True, slots=True)
class Fixtures:
    """Fixtures of one kind for one group of pupils.

    count: pupils (or cabins) whom they serve. standing: how many there are. usable: their mean number at the
    breaks seen, outages taken off; None where nobody looked. least: the fewest at one of these breaks.
    """

    count: int
    standing: int
    usable: float | None = None
    least: int | None = None

    def __post_init__(self) -> None:
        numbers = [self.count, self.standing, *[n for n in (self.usable, self.least) if n is not None]]
        if min(numbers) < 0:
            raise ValueError("pupils and fixtures cannot be negative")
        if max(self.usable or 0, self.least or 0) > self.standing:
            raise ValueError(f"no more than the {self.standing} fixtures standing can be usable")


@dataclass(frozen=True, slots=True)
class Beside:
    """Fixtures beside one ratio of a set; None where it is not known, and where there is no fixture to share.

    short: fixtures that are missing against the ratio, with all that stand usable. short_usable: the same against
    the mean usable number (not rounded). per_standing, per_usable, per_least: pupils to one fixture.
    """

    ratio: str
    needed: int
    short: int
    short_usable: float | None
    per_standing: float | None
    per_usable: float | None
    per_least: float | None


def norm_set(name: str) -> NormSet:
    """The set of this name.

    Raises:
        ValueError: there is none; the message lists the names.
    """
    if name not in NORM_SETS:
        raise ValueError(f"there is no set of norms named {name}; choose one of {', '.join(sorted(NORM_SETS))}")
    return NORM_SETS[name]


def chosen_sets(name: str) -> dict[str, NormSet]:
    """The set of this name, by its name; with "all" every set, in the order of ``NORM_SETS``.

    Raises:
        ValueError: there is no such set.

    >>> list(chosen_sets("ke")), len(chosen_sets("all")) == len(NORM_SETS)
    (['ke'], True)
    """
    return dict(NORM_SETS) if name == EVERY_SET else {name: norm_set(name)}


def beside_set(name: str, fixtures: Mapping[str, Fixtures]) -> tuple[Beside, ...]:
    """Pupils per usable fixture and fixtures needed, by every ratio of a set for which there are fixtures.

    A comparison with a norm, not a verdict. Where a school works in shifts, count the largest shift.

    Args:
        name: of ``NORM_SETS``. fixtures: by the ratio's key ("in.mh.g"); ratios that are absent are left out.
    Raises:
        ValueError: there is no such set, or a key is none of its ratios.

    >>> row = beside_set("in.mh", {"in.mh.g": Fixtures(326, 10, 8.15, 5)})[0]
    >>> row.needed, row.short, row.per_standing, row.per_usable, row.per_least
    (14, 4, 32.6, 40.0, 65.2)
    """
    ratios = norm_set(name).ratios
    strange = sorted(set(fixtures) - set(ratios))
    if strange:
        raise ValueError(f"{strange[0]} is no ratio of the set {name}")
    return tuple(_beside(key, fixtures[key]) for key in ratios if key in fixtures)


def _beside(key: str, found: Fixtures) -> Beside:
    needed = fixtures_needed(found.count, RATIOS[key].per)
    return Beside(
        ratio=key,
        needed=needed,
        short=max(0, needed - found.standing),
        short_usable=None if found.usable is None else max(0.0, needed - found.usable),
        per_standing=pupils_per_fixture(found.count, found.standing),
        per_usable=pupils_per_fixture(found.count, found.usable or 0),
        per_least=pupils_per_fixture(found.count, found.least or 0),
    )


def fixtures_needed(count: int, per: int) -> int:
    """Fixtures for ``count`` pupils (or cabins) at one for every ``per``, rounded up; 0 for nobody.

    Raises:
        ValueError: a negative count, or ``per`` below 1.

    >>> fixtures_needed(326, 25)
    14
    """
    if count < 0 or per < 1:
        raise ValueError("the count must be at least 0 and the ratio at least 1")
    return -(-count // per)


def pupils_per_fixture(pupils: int, fixtures: float) -> float | None:
    """Pupils to one fixture; None where there is no fixture (it is not zero and not endless)."""
    return pupils / fixtures if fixtures else None
