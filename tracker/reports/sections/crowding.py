"""Crowded breaks: is everyone served when all come at once, how many cabins that takes, and what was seen.

The model is the worst case; what was seen at the bell of drawn breaks stands beside it, and published ratios of pupils
to a cabin by their names. None of them is a verdict on a school.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

import pandas as pd

from tracker.measures import crowding, crowding_breaks, crowding_cabins, lost
from tracker.measures.dials import rows_of
from tracker.measures.figure import Figure
from tracker.measures.norms import EVERY_SET, NORM_SETS, RATIOS, Beside, Fixtures, beside_set, chosen_sets
from tracker.records.settings import NORM_CHOICES
from tracker.reports.facts import TermFacts
from tracker.reports.printing import number, short_day
from tracker.reports.report import Cell, Section, Table
from tracker.reports.rows import KIND_WORDS, as_share, counts, words
from tracker.vocabulary import CABIN_LIKE, Basis, Group, Sex, UnitKind

GROUPS: Final[tuple[Group, ...]] = (Group.GIRLS, Group.BOYS, Group.EVERYONE)
TIMES: Final = crowding_breaks.ADULT_TIMES
NO_NUMBER: Final = "no number of cabins is enough"
INTRO: Final = (
    "A model of the worst case: all pupils who go at a break stand there when it begins. Pupils at a break are the "
    "visits of the week over its breaks, as if all of them were made in breaks. Its ranges are those of the time per "
    "visit alone."
)
SHARE_NEEDED: Final = 0.95
# Of each ratio the pupils and the fixtures that it speaks of. Those by age, and for taps, are left out.
RATIO_OF: Final[dict[str, tuple[str, UnitKind]]] = {
    **dict.fromkeys(("in.mh.g", "ke.g", "who09.g", "sph18.sch.g", "ngo.70"), (Sex.GIRLS.value, UnitKind.CABIN)),
    **dict.fromkeys(("in.mh.b", "ke.b", "who09.b", "sph18.sch.b"), (Sex.BOYS.value, UnitKind.CABIN)),
    "in.mh.u": (Sex.BOYS.value, UnitKind.URINAL),
    "in.rte.t": ("pupils", UnitKind.CABIN),
}


def crowding_section(facts: TermFacts, one_school: bool) -> Section:
    """Crowded breaks of one school with its worst ones, or of all schools in the order of their codes."""
    return facts.once("crowding", lambda: _section(facts, one_school))


def _section(facts: TermFacts, one_school: bool) -> Section:
    tables = [groups_table(facts)]
    tables += [least_served_table(facts)] if one_school else []
    tables += [cabins_table(facts, one_school), norms_table(facts)]
    return Section("crowding", "Crowded breaks", f"{INTRO} {time_words()}", tables=tuple(tables))


def time_words() -> str:
    """The time per visit that the model takes, and whose it is."""
    girls, boys = (TIMES[group, UnitKind.CABIN] for group in (Group.GIRLS, Group.BOYS))
    spans = [f"{number(one.short_min * 60)} to {number(one.long_min * 60)} seconds" for one in (girls, boys)]
    found = f"Time per visit: girls {spans[0]}, boys {spans[1]} on average, each visit of another length."
    return f"{found} It is that of {girls.source}."


def bursts(facts: TermFacts) -> pd.DataFrame:
    """The worst case of each break and queue, from ``crowding_breaks.burst_breaks``."""
    return facts.once("bursts", lambda: _bursts(facts))


def _bursts(facts: TermFacts) -> pd.DataFrame:
    usable = crowding_breaks.usable_cabins(facts.units, facts.outages, facts.breaks, facts.until)
    arrivals = crowding_breaks.arrivals_from_visits(facts.unit_weeks, facts.units, facts.occasions)
    return crowding_breaks.burst_breaks(usable, arrivals)


def occasions(facts: TermFacts, group: Group) -> pd.DataFrame:
    """The breaks of a group, cabins and urinals together."""
    return facts.once(f"crowded {group}", lambda: crowding.occasions_of(bursts(facts), group))


def _groups(facts: TermFacts) -> list[Group]:
    """Groups that have a cabin or urinal, girls and boys first."""
    there = set(bursts(facts)["group"])
    return [group for group in GROUPS if group in there]


def groups_table(facts: TermFacts) -> Table:
    """Girls and boys: the worst case, beside what was seen at the bell of drawn breaks."""
    seen = facts.days_of(facts.all.bell_counts)
    rows: list[tuple[Cell, ...]] = []
    for group in _groups(facts):
        model = occasions(facts, group)
        rows.append(
            (
                group.value,
                as_share(crowding.served_share(model)),
                crowding.left_over(model),
                *_seen(facts, seen, group),
            )
        )
    columns = (
        words("group", "For"),
        counts("served", "Breaks in which everyone is done before the bell", "share"),
        counts("left", "Pupils left over at a break", "pupils per break"),
        counts("seen_none", "Seen: drawn breaks with nobody waiting", "share"),
        counts("seen", "Seen: still waiting at the bell", "pupils per break"),
    )
    note = (
        "The first two columns are the worst case; the other two are what somebody noted at drawn breaks. Pupils also "
        "come later in a break, or at another time, so what is seen is usually less than the worst case."
    )
    return Table("crowded_groups", "If everyone came at once", columns, tuple(rows), note, "No break has a cabin.")


def _seen(facts: TermFacts, seen: pd.DataFrame, group: Group) -> tuple[Cell, Cell]:
    if group is Group.EVERYONE:
        return "not asked", "not asked"
    nobody = crowding.seen_nobody_waiting(seen, facts.breaks, group)
    return as_share(nobody), crowding.seen_waiting(seen, facts.breaks, group)


def least_served_table(facts: TermFacts, most: int = 5) -> Table:
    """The breaks of a school at which the worst case is worst, with what was seen there."""
    there = _groups(facts)
    groups = [group for group in there if group is not Group.EVERYONE] or there
    found = [crowding.least_served(occasions(facts, group), most) for group in groups]
    table = pd.concat(found) if found else bursts(facts)
    table = table.sort_values(["done", "waiting", "day", "slot"], ascending=[True, False, True, True]).head(most)
    waited = _waited(facts)
    rows = tuple(_least_served(row, waited) for row in rows_of(table))
    columns = (
        words("day", "Day"),
        words("break", "Break"),
        words("group", "For"),
        counts("minutes", "Length", "min"),
        counts("usable", "Usable cabins and urinals"),
        counts("out", "Out of service then"),
        counts("pupils", "Pupils expected", "pupils"),
        counts("done", "Chance that everyone is done", "share"),
        counts("left", "Left over", "pupils"),
        counts("seen", "Seen waiting", "pupils"),
    )
    note = "Seen waiting is noted at drawn breaks only."
    empty = "No break has visits to work it out from."
    return Table("crowded_worst", "Breaks that would be the most crowded", columns, rows, note, empty)


def _waited(facts: TermFacts) -> dict[tuple[Any, str, str], int]:
    known = facts.days_of(facts.all.bell_counts).dropna(subset=["waiting"])
    return {(row.day, row.slot, row.group): int(row.waiting) for row in rows_of(known)}


def _least_served(row: Any, waited: Mapping[tuple[Any, str, str], int]) -> tuple[Cell, ...]:
    return (
        short_day(row.day.date()),
        row.slot,
        row.group,
        float(row.minutes),
        int(row.usable),
        int(row.out),
        int(row.arrivals),
        _modelled(row, "done", "share"),
        _modelled(row, "waiting", "pupils"),
        waited.get((row.day, row.slot, row.group), "not noted"),
    )


def _modelled(row: Any, name: str, unit: str) -> Figure:
    ends = sorted(float(getattr(row, name + end)) for end in crowding_breaks.ENDS)
    return Figure(float(getattr(row, name)), unit, Basis.MODELLED, ends[0], ends[-1], 1, 1, "breaks")


@dataclass(frozen=True, slots=True)
class Cabins:
    """Fixtures of one kind that a school has for some pupils, and the pupils who are there at the same time."""

    pupils: int
    standing: int
    usable: float | None
    least: int | None

    @property
    def per_usable(self) -> float | None:
        """Pupils to one usable fixture."""
        return self.pupils / self.usable if self.usable else None


def _fixtures(facts: TermFacts) -> dict[tuple[int, str, str], Any]:
    """(school, group, kind) → standing and usable units, from ``lost.usable_at_breaks``."""
    return facts.once("fixtures", lambda: _counted(facts))


def _with_fixtures(facts: TermFacts) -> set[int]:
    return facts.once("schools with fixtures", lambda: {school for school, _, _ in _fixtures(facts)})


def unit_breaks(facts: TermFacts) -> pd.DataFrame:
    """Cabins and urinals at every break of the period, from ``lost.unit_breaks``."""
    days = facts.cabin_days
    return facts.once("unit breaks", lambda: lost.unit_breaks(facts.outages, facts.breaks, days, facts.scope))


def _counted(facts: TermFacts) -> dict[tuple[int, str, str], Any]:
    by = ["school_id", "group", "kind"]
    return {(row.school_id, row.group, row.kind): row for row in rows_of(lost.usable_at_breaks(unit_breaks(facts), by))}


def pupils_at_once(facts: TermFacts) -> dict[tuple[int, str], int]:
    """(school, girls, boys or pupils) → enrolled in its largest shift, for they are there at the same time."""
    return facts.once("pupils at once", lambda: _largest_shifts(facts))


def _largest_shifts(facts: TermFacts) -> dict[tuple[int, str], int]:
    found: dict[tuple[int, str], int] = {}
    both: dict[tuple[int, int], int] = {}
    for row in rows_of(facts.all.shift_pupils):
        key = (row.school_id, row.sex)
        found[key] = max(found.get(key, 0), row.pupils)
        both[row.school_id, row.shift_id] = both.get((row.school_id, row.shift_id), 0) + row.pupils
    for (school, _), pupils in both.items():
        found[school, "pupils"] = max(found.get((school, "pupils"), 0), pupils)
    return found


def cabins_of(facts: TermFacts, school: int, whom: str, kind: UnitKind) -> Cabins | None:
    """Fixtures for the girls, the boys or all pupils of a school; without any of their own, those for everyone.

    None where their number is not known: nobody is enrolled on record, or no break was in the period.
    """
    pupils = pupils_at_once(facts).get((school, whom))
    known = _fixtures(facts)
    groups = [group.value for group in GROUPS] if whom == "pupils" else [whom]
    rows = [known[school, group, kind.value] for group in groups if (school, group, kind.value) in known]
    everyone = known.get((school, Group.EVERYONE.value, kind.value))
    rows = rows or ([everyone] if everyone is not None else [])
    if pupils is None or school not in _with_fixtures(facts):
        return None
    seen = [row for row in rows if not pd.isna(row.usable_mean)]
    usable = sum(float(row.usable_mean) for row in seen) if seen and len(seen) == len(rows) else None
    least = sum(int(row.usable_least) for row in seen) if usable is not None else None
    return Cabins(pupils, sum(row.standing for row in rows), usable, least)


def cabins_table(facts: TermFacts, one_school: bool) -> Table:
    """Pupils to a usable cabin or urinal, and how many the worst case would take: each queue of each school."""
    queues = crowding_cabins.queues(bursts(facts), TIMES, share=SHARE_NEEDED)
    standing = bursts(facts).groupby(["school_id", "group", "kind"])["standing"].max().to_dict()
    rows: list[tuple[Cell, ...]] = []
    for school in facts.schools:
        for group in GROUPS:
            for kind in CABIN_LIKE:
                key = (school.id, group.value, kind.value)
                if key in queues:
                    name = f"{group.value}, {KIND_WORDS[kind].lower()}"
                    rows.append((school.code, name, int(standing[key]), *_queue_cells(facts, key, *queues[key])))
    columns = (
        words("school", "School"),
        words("queue", "For"),
        counts("standing", "Standing"),
        counts("usable", "Usable at a break, mean", "usable units"),
        counts("per", "Pupils to a usable one", "pupils per unit"),
        counts("served", "Breaks in which everyone is done", "share"),
        counts("needed", "Needed for 95 % of breaks"),
    )
    note = (
        "Pupils are those enrolled in the largest shift. Usable units are counted at breaks of days on which somebody "
        "looked at all of them. The last two columns are the worst case of each queue by itself."
    )
    title = "Cabins and urinals" if one_school else "Cabins and urinals by school, in the order of their codes"
    return Table("cabins_needed", title, columns, tuple(rows), note, "No cabin is on record.")


def _queue_cells(
    facts: TermFacts, key: tuple[int, str, str], served: Figure, needed: Figure | crowding_cabins.NoNumber
) -> tuple[Cell, ...]:
    school, group, _ = key
    unit = _fixtures(facts).get(key)
    usable = None if unit is None or pd.isna(unit.usable_mean) else float(unit.usable_mean)
    pupils = pupils_at_once(facts).get((school, group))
    per: Cell = "shared" if group == Group.EVERYONE else pupils / usable if pupils is not None and usable else None
    shown: Cell = NO_NUMBER if isinstance(needed, crowding_cabins.NoNumber) else needed
    return usable, per, as_share(served), shown


NOT_TOLD_APART = "The ratios of the chosen set are by age or for taps, which these records do not tell apart by pupils."


def norms_table(facts: TermFacts) -> Table:
    """Fixtures that named sets of ratios would ask for, beside those that stand, added up over the schools.

    The programme chooses one set, or every one.
    """
    rows: list[tuple[Cell, ...]] = []
    choice = NORM_CHOICES[facts.settings["fixture_norms"]]
    for name, one in chosen_sets(choice).items():
        for key in one.ratios:
            found = [row for school in facts.schools if (row := _beside(facts, name, key, school.id)) is not None]
            if found:
                rows.append(_norm_cells(one.title, key, found))
    columns = (
        words("set", "Named set"),
        words("whom", "For"),
        counts("per", "Pupils to one"),
        counts("asked", "It would ask for"),
        counts("standing", "Standing"),
        counts("short", "Fewer than it asks"),
        words("known", "How the ratio is known"),
    )
    note = (
        "Ratios differ by country and purpose, and say nothing about crowding in a break. Ratios by age, and for taps, "
        "are left out. Sources stand in the page on measures."
    )
    if choice != EVERY_SET:
        note = f"The programme chose this set: {NORM_SETS[choice].named}. {note}"
    ratios = {key for one in chosen_sets(choice).values() for key in one.ratios}
    empty = "Pupils or cabins are not on record." if ratios & RATIO_OF.keys() else NOT_TOLD_APART
    return Table("fixture_norms", "Beside named ratios of pupils to a cabin", columns, tuple(rows), note, empty)


def _beside(facts: TermFacts, name: str, key: str, school: int) -> tuple[Beside, int] | None:
    if key not in RATIO_OF:
        return None
    cabins = cabins_of(facts, school, *RATIO_OF[key])
    if cabins is None:
        return None
    fixtures = Fixtures(cabins.pupils, cabins.standing, cabins.usable, cabins.least)
    return beside_set(name, {key: fixtures})[0], cabins.standing


def _norm_cells(title: str, key: str, found: list[tuple[Beside, int]]) -> tuple[Cell, ...]:
    ratio = RATIOS[key]
    known = "read in its source" if ratio.confirmed else "from memory, not confirmed"
    needed, standing, short = (
        sum(row.needed for row, _ in found),
        sum(standing for _, standing in found),
        sum(row.short for row, _ in found),
    )
    fixtures = f"{ratio.fixture.replace(' and ', 's and ')}s"
    return title, f"{fixtures}, {ratio.whom}", ratio.per, needed, standing, short, known
