"""Rules about a whole week: visits of all toilets beside the pupils, and what is left beside what came and went."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator

from tracker.intake.rulebook import Finding, Rule, View
from tracker.intake.rules_usual import units_of_week
from tracker.records.context import pupils
from tracker.vocabulary import UnitKind

TOILETS = (UnitKind.CABIN, UnitKind.URINAL)
Stock = tuple[str, str]


def more_than_pupils_make(view: View) -> Iterator[Finding]:
    """Visits of all cabins and urinals together, beside the pupils of the school, asked at the fullest unit."""
    factor, days = view.context.settings["out_too_many_visits_factor"], len(view.hours)
    who = pupils(view.context, view.context.span.first)
    found = [one for one in units_of_week(view) if view.context.units[one.unit].kind in TOILETS]
    total = sum(one.visits for one in found)
    if len(found) > 1 and who and days and total > who * factor * days:
        most = max(found, key=lambda one: one.visits)
        message = (
            f"{total} visits to all toilets are more than {factor} a school day for each of the {who} pupils. "
            "Look at the paper sheet or the counters again, or write in the note why it is right."
        )
        yield Finding(most.table, most.row, most.column, message)


def more_left_than_came(view: View) -> Iterator[Finding]:
    """More pieces left than stood there before the week and came in it, less what went out, are asked about."""
    stood = view.context.past.stood
    moved = _moved(view)
    for table, row in view.rows("stock_counts"):
        place, product, left = (row.values.get(name) for name in ("place", "product", "quantity"))
        before = stood.get((place or "", product or ""))
        if left is None or place is None or product is None or before is None:
            continue
        expected = max(before + moved[place, product], 0)
        if left > expected:
            message = (
                f"{left} pieces are left, but by the last count and what came and went there can be {expected}. "
                "Count again, write down what came, or confirm that it is right."
            )
            yield Finding(table, row, "quantity", message)


def _moved(view: View) -> dict[Stock, int]:
    """Pieces that came to a place less those that left it, by the sheet and by rounds of the week."""
    moved: dict[Stock, int] = defaultdict(int)
    for _, row in view.rows("stock_moves"):
        pieces, product = row.values.get("quantity") or 0, row.values.get("product") or ""
        moved[row.values.get("to_place") or "", product] += pieces
        moved[row.values.get("from_place") or "", product] -= pieces
    for one, pieces in view.context.brought.items():
        moved[one.place, one.product] += pieces
    return moved


RULES = (
    Rule(
        "more_than_pupils_make",
        ("usage_counts", "readings"),
        "Visits of all cabins and urinals above out_too_many_visits_factor for each pupil and school day (week sheet "
        "only).",
        more_than_pupils_make,
        soft=True,
    ),
    Rule(
        "more_left_than_came",
        ("stock_counts",),
        "More pieces left than stood there before the week and came, less what went out (week sheet only).",
        more_left_than_came,
        soft=True,
    ),
)
