"""Which groups of schools may be named in what leaves the programme; what of the numbers may, is in ``leaving``."""

from __future__ import annotations

from collections.abc import Sequence

from tracker.measures.disclosure import MIN_SCHOOLS

OTHER_AREAS = "Other areas"


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
