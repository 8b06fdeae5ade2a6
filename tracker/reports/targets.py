"""Whether a target was reached: which way each figure is meant to go, and what an interval allows to be said.

A figure of which neither more nor less is better (visits, napkins given out) has no side: its target is a plan, and is
printed as one. Which side a figure has is common practice, no published source.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum

from tracker.measures.figure import Figure
from tracker.reports.printing import DECIMALS, day, print_figure, rounded
from tracker.reports.report import Line, Report


class Side(StrEnum):
    """Where a figure should lie, seen from its target."""

    AT_LEAST = "at least"
    AT_MOST = "at most"


class Verdict(StrEnum):
    """What can be said of a target."""

    REACHED = "reached"
    NOT_REACHED = "not reached"
    UNKNOWN = "cannot be told"
    PLANNED = "planned"


SIDES: dict[str, Side] = {
    "water_taken_l": Side.AT_MOST,
    "less_than_cistern_l": Side.AT_LEAST,
    "litres_per_visit": Side.AT_MOST,
    "availability_share": Side.AT_LEAST,
    "breaks_lost": Side.AT_MOST,
    "promise_kept_share": Side.AT_LEAST,
    "sold_out_days": Side.AT_MOST,
    "route_days": Side.AT_LEAST,
    "route_days_share": Side.AT_LEAST,
    "sessions_held": Side.AT_LEAST,
    "pupils_reached": Side.AT_LEAST,
    "completeness_share": Side.AT_LEAST,
    "timeliness_share": Side.AT_LEAST,
    "open_queries": Side.AT_MOST,
}
# Sums over records: what is missing from them adds nothing, so they can only be too low.
SUMS = frozenset(
    {"water_taken_l", "less_than_cistern_l", "breaks_lost", "sold_out_days", "route_days", "sessions_held"}
)


@dataclass(frozen=True, slots=True)
class Standing:
    """A headline with a target: where it stands, and why where that cannot be told."""

    line: Line
    verdict: Verdict
    reason: str = ""


def side_of(line: Line) -> Side | None:
    """At least or at most; None where the target is a plan.

    >>> str(side_of(Line("availability_share", "", None)))  # type: ignore[arg-type]
    'at least'
    """
    return SIDES.get(line.key)


def standing(line: Line) -> Standing | None:
    """Where a headline stands against its target; None where none was set.

    Printed digits are compared, so that nobody reads "95.0 %, target 95.0 %, not reached". An interval that lies on
    both sides of the target leaves it open; so does a withheld or missing figure, and a sum that would stand on the
    other side if the missing records were like those that are there.

    >>> from tracker.measures.figure import Figure
    >>> from tracker.vocabulary import Basis
    >>> share = Figure(0.93, "share", Basis.COUNTED, low=0.9, high=0.97)
    >>> found = standing(Line("availability_share", "Usable", share, target=0.95))
    >>> found.verdict.value, found.reason
    ('cannot be told', 'the range lies on both sides of the target')
    """
    if line.target is None:
        return None
    side, figure = side_of(line), line.figure
    if side is None:
        return Standing(line, Verdict.PLANNED)
    if figure.value is None:
        return Standing(line, Verdict.UNKNOWN, figure.withheld or "the figure is not recorded")
    ends = [end for end in (figure.low, figure.high) if end is not None] or [figure.value]
    met = {_meets(end, line.target, figure.unit, side) for end in ends}
    if len(met) > 1:
        return Standing(line, Verdict.UNKNOWN, "the range lies on both sides of the target")
    filled = {_meets(_as_if_whole(end, line), line.target, figure.unit, side) for end in ends}
    if filled != met:
        return Standing(line, Verdict.UNKNOWN, "the missing records may decide it")
    return Standing(line, Verdict.REACHED if met == {True} else Verdict.NOT_REACHED)


def _as_if_whole(value: float, line: Line) -> float:
    """A sum as it would be if the missing records were like those that are there; other figures as they are."""
    figure = line.figure
    if line.key not in SUMS or not 0 < figure.used < figure.expected:
        return value
    return value * figure.expected / figure.used


def _meets(value: float, target: float, unit: str, side: Side) -> bool:
    shown, aim = _digits(value, unit), _digits(target, unit)
    return shown >= aim if side is Side.AT_LEAST else shown <= aim


def _digits(value: float, unit: str) -> Decimal:
    return rounded(value * 100 if unit == "share" else value, DECIMALS.get(unit, 0))


def verdict(line: Line) -> Verdict | None:
    """Reached, not reached, cannot be told, or planned; None where no target was set."""
    found = standing(line)
    return found.verdict if found else None


def goal_words(line: Line) -> str:
    """The target's amount with its side, as in "at least 95.0 %"; "" where none was set.

    >>> from tracker.measures.figure import Figure
    >>> from tracker.vocabulary import Basis
    >>> goal_words(Line("sold_out_days", "", Figure(9.0, "machine days", Basis.COUNTED), target=5.0))
    'at most 5 machine days'
    """
    if line.target is None:
        return ""
    goal = print_figure(Figure(line.target, line.figure.unit, line.figure.basis)).value
    side = side_of(line)
    return f"{side.value} {goal}" if side else f"{goal} planned"


def verdict_words(line: Line) -> str:
    """What the target was and whether it was reached, without a full stop; "" where none was set."""
    found = standing(line)
    if found is None:
        return ""
    if found.verdict is Verdict.PLANNED:
        return goal_words(line)
    reason = f": {found.reason}" if found.reason else ""
    return f"{goal_words(line)}, {found.verdict.value}{reason}"


def target_words(line: Line) -> str:
    """The target, whether it was reached, and the day it was set; or that there is none.

    >>> from datetime import date
    >>> from tracker.measures.figure import Figure
    >>> from tracker.vocabulary import Basis
    >>> share = Figure(0.9, "share", Basis.COUNTED)
    >>> target_words(Line("availability_share", "A", share, None, 0.95, date(2026, 1, 1)))
    'Target: at least 95.0 %, not reached. It was set on 1 January 2026.'
    """
    if line.target is None:
        return "No target was set."
    set_on = f" It was set on {day(line.target_set_at)}." if line.target_set_at else ""
    return f"Target: {verdict_words(line)}.{set_on}"


def standings(report: Report) -> tuple[Standing, ...]:
    """Where every headline with a target stands, each once, in reading order."""
    seen: dict[str, Standing] = {}
    for line in report.lines():
        found = standing(line)
        if found is not None:
            seen.setdefault(line.key, found)
    return tuple(seen.values())


def lists(report: Report) -> tuple[tuple[str, tuple[str, ...]], ...]:
    """(title, sentences) of targets not reached and of those that cannot be told; none where no target has a side."""
    every = [found for found in standings(report) if found.verdict is not Verdict.PLANNED]
    if not every:
        return ()
    titles = ((Verdict.NOT_REACHED, "Targets not reached"), (Verdict.UNKNOWN, "Targets of which it cannot be told"))
    return tuple(
        (title, tuple(_sentence(found) for found in every if found.verdict is wanted) or ("None.",))
        for wanted, title in titles
    )


def _sentence(found: Standing) -> str:
    line, shown = found.line, print_figure(found.line.figure)
    ends = f" ({shown.interval})" if shown.interval else ""
    reason = f"; {found.reason}" if found.reason else ""
    return f"{line.label}: {shown.value}{ends}; target {goal_words(line)}{reason}."
