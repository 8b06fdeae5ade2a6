"""What leaves the programme passes here: small counts about people are replaced by words, with what gives them away."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from tracker.measures.disclosure import Hidden, Withheld, hide_figure, is_small, withhold_row
from tracker.measures.figure import Figure
from tracker.reports.report import Cell, Line

MIN_SCHOOLS = 3
OTHER_AREAS = "Other areas"


def shown(figure: Figure, threshold: int) -> Figure:
    """The figure, or the same without a value and with the words that stand in its place.

    Contributions by school and week stay with a figure that is shown: they are stored with a publication for those
    who may open them, and no file or page of the funder holds them.
    """
    found = hide_figure(figure, threshold)
    if isinstance(found, Withheld):
        return replace(figure, value=None, low=None, high=None, parts=(), note="", withheld=found.words)
    return figure


def shown_line(line: Line, threshold: int) -> Line:
    """A headline with this term's and last term's figure as they may be shown."""
    last = None if line.last_term is None else shown(line.last_term, threshold)
    return replace(line, figure=shown(line.figure, threshold), last_term=last)


def beside_total(values: Sequence[int | None], threshold: int) -> tuple[Cell, ...]:
    """Counts as they may stand in a report that also shows their total.

    Where hiding one more count does not protect a small one while the total is known, every count above zero is
    withheld with one wording.

    >>> beside_total([120, 4, 60], 10)
    (120, 'fewer than 10', 'withheld so that another count stays hidden')
    >>> beside_total([300, 4, 0], 10)
    ('withheld so that another count stays hidden', 'fewer than 10', 0)
    """
    known = [value or 0 for value in values]
    total = sum(known)
    row = withhold_row(list(values), total, threshold)
    if isinstance(row.total, Withheld) and not is_small(total, threshold):
        words = Withheld(Hidden.SOME_SMALL, threshold).words
        return tuple(words if value else value for value in values)
    return tuple(cell.words if isinstance(cell, Withheld) else cell for cell in row.values)


def area_groups(areas: Sequence[tuple[str, str]]) -> dict[str, str]:
    """School code → the name under which its area is shown, from (school code, area name) pairs.

    An area of fewer than three schools is joined with the others of that kind; where those are still fewer than
    three, no group can be shown and the result is empty.

    >>> area_groups([("a", "North"), ("b", "North"), ("c", "North"), ("d", "South")])
    {}
    """
    sizes: dict[str, int] = {}
    for _, area in areas:
        sizes[area] = sizes.get(area, 0) + 1
    small = sum(size for size in sizes.values() if size < MIN_SCHOOLS)
    if 0 < small < MIN_SCHOOLS:
        return {}
    return {code: area if sizes[area] >= MIN_SCHOOLS else OTHER_AREAS for code, area in areas}
