"""Files of the exchange format about tanks, cleaning, hand flushes, energy and what an incinerator is rated for."""

from __future__ import annotations

from tracker import models as m
from tracker.records.columns import FROM, UNIT, UNTIL, Column, Link, Table, day, text, whole, word, yes
from tracker.vocabulary import EnergySource, Every, LitresBasis, PowerPart

U = whole("u_permille", 0, 1000, required=False, doc="relative standard uncertainty; blank: not known")
TANK = Link(("school", "tank"), "units", "tank_id")
METER = Link(("school", "meter"), "units", "meter_id")


def _share(name: str) -> Column:
    return whole(name, 0, 1000, doc="of the visits at which it is worked")


WATER_SETUP: tuple[Table, ...] = (
    Table(
        "tanks",
        m.water.Tank,
        "How much tanks hold.",
        ("school", "unit", "from_day"),
        (
            whole("capacity_ml", 1, 1_000_000_000),
            yes("inflow_known", doc="yes: all that comes in is written down in water_deliveries"),
            FROM,
            UNTIL,
        ),
        (UNIT,),
    ),
    Table(
        "tank_scopes",
        m.water.TankScope,
        "What draws on a tank.",
        ("school", "tank", "unit", "from_day"),
        (yes("whole", doc="yes: all that draws on it is listed"), FROM, UNTIL),
        (UNIT, TANK),
    ),
    Table(
        "cleaning_plans",
        m.water.CleaningPlan,
        "Cleaning cycles that run by the clock. What is put into the water is not written here.",
        ("school", "unit", "cycle", "from_day"),
        (
            text("cycle", 40, attr="name"),
            whole("cycle_ml", 0, 1_000_000, attr="ml"),
            whole("times", 1, 100),
            word("every", Every),
            word("litres_basis", LitresBasis),
            U,
            FROM,
            UNTIL,
        ),
        (UNIT,),
    ),
    Table(
        "hand_flushes",
        m.water.HandFlush,
        "Flushes worked by hand beside the automatic ones.",
        ("school", "unit", "from_day"),
        (
            whole("flush_ml", 0, 50_000, attr="ml"),
            _share("share_permille"),
            _share("share_low_permille"),
            _share("share_high_permille"),
            yes("share_seen", doc="yes: somebody looked; no: it is assumed"),
            yes("instead", doc="yes: the automatic flush then does not run"),
            word("litres_basis", LitresBasis),
            U,
            FROM,
            UNTIL,
        ),
        (UNIT,),
    ),
    Table(
        "power_uses",
        m.water.PowerUse,
        "What units take of energy, as on the plate or as measured.",
        ("school", "unit", "part", "from_day"),
        (
            word("part", PowerPart),
            whole("watts", 0, 100_000, required=False, doc="light and fan only"),
            whole("visit_seconds", 0, 3600, attr="seconds", required=False, doc="light and fan only, of a visit"),
            whole("wh_thousandths", 0, 100_000_000, required=False, doc="other parts: of a flush, treatment or burn"),
            whole("every_visits", 1, 1000, attr="every_n", doc="treatment: after every so many visits; others: 1"),
            U,
            FROM,
            UNTIL,
        ),
        (UNIT,),
    ),
    Table(
        "incinerator_ratings",
        m.disposal.IncineratorRating,
        "What the maker's plate of an incinerator allows.",
        ("school", "unit", "from_day"),
        (
            whole("burn_pads", 1, 10_000, attr="pads", required=False),
            whole("burn_g", 1, 1_000_000, attr="grams", required=False),
            whole("burns_a_day", 1, 100, required=False),
            FROM,
            UNTIL,
        ),
        (UNIT,),
    ),
)

WATER_HAPPENED: tuple[Table, ...] = (
    Table(
        "energy_given",
        m.water.EnergyGiven,
        "Solar or recovered energy of a week that did not pass the meter.",
        ("school", "meter", "week", "origin"),
        (day("week"), word("origin", EnergySource), whole("energy_wh", 0, attr="wh"), whole("u_permille", 0, 1000)),
        (METER,),
    ),
    Table(
        "burn_outputs",
        m.disposal.BurnOutput,
        "Ash and energy of an incinerator's week, where somebody weighed or read it.",
        ("school", "unit", "week"),
        (
            day("week"),
            whole("ash_g", 0, 1_000_000, required=False),
            whole("energy_wh", 0, 1_000_000_000, required=False),
        ),
        (UNIT,),
    ),
)
