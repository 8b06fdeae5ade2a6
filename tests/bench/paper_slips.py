"""How many wrong digits the totals of a paper sheet find: ``python -m tests.bench.paper_slips``.

A sheet of 6 units x 5 days x 3 breaks (90 cells) is filled with made-up counts. Into each cell, one at a time, every
possible wrong digit is put; then each figure is left out. The paper's own totals
are right: a person who adds up wrongly gets a question more, never one less.
"""

from __future__ import annotations

import random
from collections.abc import Iterator, Mapping
from datetime import timedelta

from tests.intake.week_plans import WEEK, plan
from tracker.intake.week_layout import Kind, Layout, layout
from tracker.intake.week_plan import PlanDay, PlanUnit
from tracker.intake.week_totals import CONTROL, added_up, differing, parts
from tracker.vocabulary import OTHER_TIMES, CountWay, Group, UnitKind

SEED = 20260202
Slip = tuple[str, str]


def full_grid() -> tuple[Layout, dict[str, str]]:
    """The full sheet and its 90 right figures; visits at other times stay empty and are left out."""
    days = tuple(PlanDay(WEEK + timedelta(days=n), 900, ("B1", "B2", "B3")) for n in range(5))
    units = tuple(
        PlanUnit(f"U{n}", f"Cabin {n}", UnitKind.CABIN, Group.GIRLS, "GB", CountWay.GRID) for n in range(1, 7)
    )
    sheet = layout(plan(days=days, units=units, stocks=(), drawn=(), outages=()))
    drawn = random.Random(SEED)
    asked = [c for c in sheet.cells() if c.kind is Kind.COUNT and c.unit and c.slot != OTHER_TIMES]
    return sheet, {cell.key: str(drawn.randint(0, 60)) for cell in asked}


def slips(cells: Mapping[str, str]) -> Iterator[Slip]:
    """Every wrong digit at every place of every cell."""
    for name, text in cells.items():
        for place, right in enumerate(text):
            for wrong in "0123456789":
                if wrong != right:
                    yield name, text[:place] + wrong + text[place + 1 :]


def left_out(cells: Mapping[str, str]) -> Iterator[Slip]:
    """Each cell left empty, one at a time."""
    yield from ((name, "") for name in cells)


def caught(sheet: Layout, cells: Mapping[str, str], wrong: Iterator[Slip]) -> dict[str, int]:
    """How many slips the control total finds, and for how many the totals of the units name the right unit."""
    found = parts(sheet.tables())
    units = {one.key: str(added_up(one, cells)) for one in found}
    total = {CONTROL: str(sum(added_up(one, cells) for one in found))}
    home = {name: one.key for one in found for name in one.cells}
    result, touched = {"slips": 0, "week": 0, "unit named": 0}, set()
    for name, text in wrong:
        typed = {**cells, name: text}
        result["slips"] += 1
        touched.add(name)
        result["week"] += bool(differing(sheet.tables(), typed | total))
        result["unit named"] += [one for one, _ in differing(sheet.tables(), typed | total | units)] == [home[name]]
    return result | {"cells": len(touched)}


if __name__ == "__main__":
    the_sheet, right = full_grid()
    print("wrong digits:", caught(the_sheet, right, slips(right)))
    print("left empty:", caught(the_sheet, right, left_out(right)))
