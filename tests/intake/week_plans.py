"""A made-up school's week with every kind of question in it."""

from __future__ import annotations

from datetime import date, datetime, timedelta

from tracker.intake.week_plan import (
    PlanBreak,
    PlanDay,
    PlanDial,
    PlanOutage,
    PlanStock,
    PlanUnit,
    SheetPlan,
)
from tracker.vocabulary import CountWay, Group, PlaceKind, Quantity, UnitKind

WEEK = date(2026, 2, 2)  # a Monday
TUESDAY = WEEK + timedelta(days=1)
THURSDAY = WEEK + timedelta(days=3)


def plan(**given) -> SheetPlan:
    """Monday to Friday with Wednesday closed; one unit of each way of counting, a machine, an incinerator, a tank."""
    days = tuple(
        PlanDay(WEEK + timedelta(days=n), 900, ("B1", "B2", "B3"), "harvest day" if n == 2 else "") for n in range(5)
    )
    fields = {
        "school": "S1",
        "week": WEEK,
        "code": "ABCDEFGH",
        "days": days,
        "breaks": (
            PlanBreak("B1", "First break", 600),
            PlanBreak("B2", "Lunch", 720),
            PlanBreak("B3", "Last break", 840),
        ),
        "drawn": ((TUESDAY, "B1"), (THURSDAY, "B2")),
        "units": (
            PlanUnit("G1", "Girls cabin 1", UnitKind.CABIN, Group.GIRLS, "GB", CountWay.GRID),
            PlanUnit("G2", "Girls cabin 2", UnitKind.CABIN, Group.GIRLS, "GB", CountWay.DRAWN, two_stage=True),
            PlanUnit(
                "B1",
                "Boys cabin 1",
                UnitKind.CABIN,
                Group.BOYS,
                "BB",
                CountWay.COUNTER,
                True,
                dials=(PlanDial(Quantity.VISITS, 5, 1200, WEEK), PlanDial(Quantity.LONG_VISITS, 5)),
            ),
            PlanUnit("T1", "Tap 1", UnitKind.TAP, Group.EVERYONE, "GB", CountWay.WEEK_TOTAL),
            PlanUnit(
                "V1",
                "Napkin machine",
                UnitKind.MACHINE,
                Group.GIRLS,
                "GB",
                dials=(PlanDial(Quantity.VENDS, 6, 345, WEEK),),
            ),
            PlanUnit("I1", "Incinerator", UnitKind.INCINERATOR, Group.GIRLS, "GB"),
            PlanUnit("K1", "Roof tank", UnitKind.TANK, Group.EVERYONE, "GB"),
            PlanUnit(
                "M1",
                "Water meter",
                UnitKind.METER,
                Group.EVERYONE,
                "GB",
                dials=(PlanDial(Quantity.WATER, 8, 123456, WEEK),),
            ),
        ),
        "stocks": (
            PlanStock("S1-V1", "Machine", PlaceKind.MACHINE, "V1", "pad", "napkins", "S1-cupboard", 12),
            PlanStock("S1-cupboard", "Cupboard", PlaceKind.CUPBOARD, "", "pad", "napkins", "store", 80, "given"),
        ),
        "outages": (PlanOutage("R-77", "G2", "drain blocked", datetime(2026, 1, 29, 9, 30)),),
    }
    return SheetPlan(**(fields | given))
