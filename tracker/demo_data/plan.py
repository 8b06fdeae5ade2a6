"""What the demo is made of: terms, areas, schools, and the troubles that are written in by hand.

Everything here is invented. The positions lie in the open sea, so that no real place is meant.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta, timezone

from tracker.vocabulary import BeforeKind, GivenWay, LitresBasis, Route

ZONE = "Etc/GMT-3"  # the zone's sign runs the other way round: three hours ahead of UTC
PROGRAMME = "ombari"
SEED = "ombari-lakes-1"
DEMO_NOW = datetime(2026, 7, 15, 10, 0, tzinfo=timezone(timedelta(hours=3)))
NOW = DEMO_NOW.replace(tzinfo=None)  # the same instant on the wall clock of the programme
FIRST_DAY = date(2025, 9, 8)  # of school; the programme's weeks begin here
SET_UP = date(2025, 9, 1)  # everything stands from this day on
INSTALLED = datetime(2025, 9, 5, 9, 0)  # noqa: DTZ001 - wall clock of the programme, as the files hold it
COORDINATED = ("OL-01", "OL-03")
ENGINEER_AREA = "C"


@dataclass(frozen=True, slots=True)
class TermPlan:
    """A term, first and last day included."""

    code: str
    name: str
    first: date
    last: date


TERMS = (
    TermPlan("2025-T1", "Term 1, 2025-26", FIRST_DAY, date(2025, 12, 5)),
    TermPlan("2025-T2", "Term 2, 2025-26", date(2026, 1, 12), date(2026, 4, 3)),
    TermPlan("2025-T3", "Term 3, 2025-26", date(2026, 4, 20), date(2026, 7, 17)),
)
# The next school year stands in the calendar, so that rounds can be planned over the long holiday.
NEXT_TERM = TermPlan("2026-T1", "Term 1, 2026-27", date(2026, 9, 7), date(2026, 12, 4))

AREAS = {"A": "Zulvena Shore", "B": "Ombrithe Hills", "C": "Quendari Plains"}


@dataclass(frozen=True, slots=True)
class MachinePlan:
    """A napkin machine: with a counter or not, how it gives, its price and room."""

    code: str
    counter: bool
    way: GivenWay
    price: int
    capacity: int


@dataclass(frozen=True, slots=True)
class MeterPlan:
    """A water meter: whether it serves the toilets alone, its dial, and what else flows through it in mL a day."""

    whole: bool
    digits: int
    step_ml: int
    first_value: int
    other_ml_day: int = 0


@dataclass(frozen=True, slots=True)
class SchoolPlan:
    """One school. style: auto (counters), drawn (fixed flush), pour, grid."""

    code: str
    name: str
    area: str
    level: str  # primary, secondary, tiny
    girls: int
    boys: int
    style: str
    cabins: tuple[int, int]  # girls, boys
    urinals: int
    taps: int
    machines: tuple[MachinePlan, ...]
    meter: MeterPlan | None
    route: Route
    before: tuple[BeforeKind, int | None, LitresBasis | None]
    position: tuple[str, str]
    boarders: bool = False
    double_shift: bool = False
    one_accessible: bool = False
    taps_counted: bool = False
    claim: bool = False
    other_rate: float = 0.07  # visits of a pupil and day outside breaks
    buyer: str = "Ombari Lakes School Fund"


def _sold(code: str, capacity: int, *, counter: bool = True, price: int = 200) -> MachinePlan:
    return MachinePlan(code, counter, GivenWay.SOLD, price, capacity)


MEASURED, CLAIM = LitresBasis.MEASURED, LitresBasis.CLAIM
CISTERN_MEASURED = (BeforeKind.CISTERN, 9000, MEASURED)
CISTERN_CLAIM = (BeforeKind.CISTERN, 12000, CLAIM)
POURED = (BeforeKind.POUR_FLUSH, 2500, CLAIM)
NOTHING = (BeforeKind.NOTHING, None, None)
CIRCLE = "Parents' Circle of the Ombari Lakes"

SCHOOLS = (
    SchoolPlan(
        "OL-01", "Zulvena Landing Primary School", "A", "primary", 386, 374, "auto", (4, 3), 2, 2,
        (_sold("M1", 80),), MeterPlan(True, 6, 1000, 12), Route.BURN, CISTERN_MEASURED, ("8.112", "60.204"),
    ),
    SchoolPlan(
        "OL-02", "Pindoreth Primary School", "A", "primary", 301, 309, "auto", (3, 2), 1, 2,
        (_sold("M1", 60, counter=False),), MeterPlan(True, 6, 1000, 4), Route.BURN, CISTERN_MEASURED,
        ("8.149", "60.251"), buyer=CIRCLE,
    ),
    SchoolPlan(
        "OL-03", "Amgarelle Primary School", "A", "primary", 290, 266, "pour", (2, 2), 1, 2,
        (_sold("M1", 60, counter=False),), None, Route.BURIAL, NOTHING, ("8.174", "60.188"), other_rate=0.03,
    ),
    SchoolPlan(
        "OL-04", "Ulbessin Girls' Secondary School", "A", "secondary", 524, 0, "auto", (6, 0), 0, 3,
        (_sold("M1", 150), _sold("M2", 50, counter=False)), MeterPlan(True, 6, 1000, 31), Route.COLLECTION,
        CISTERN_MEASURED, ("8.205", "60.230"), taps_counted=True,
    ),
    SchoolPlan(
        "OL-05", "Wexaro Primary School", "B", "primary", 514, 533, "drawn", (4, 2), 2, 3,
        (_sold("M1", 80, counter=False),), MeterPlan(False, 6, 10000, 205, 2_400_000), Route.BURN, POURED,
        ("8.322", "60.377"), double_shift=True, claim=True, other_rate=0.02,
    ),
    SchoolPlan(
        "OL-06", "Tolquinda Secondary School", "B", "secondary", 309, 331, "auto", (4, 3), 2, 2,
        (_sold("M1", 120), _sold("M2", 60)), MeterPlan(True, 5, 10000, 91_480), Route.BURN, CISTERN_CLAIM,
        ("8.351", "60.431"), boarders=True, claim=True, buyer=CIRCLE,
    ),
    SchoolPlan(
        "OL-07", "Ebbunara Primary School", "B", "primary", 352, 338, "auto", (3, 2), 2, 2,
        (_sold("M1", 70, counter=False),), MeterPlan(True, 6, 1000, 77), Route.BURN, POURED, ("8.398", "60.402"),
    ),
    SchoolPlan(
        "OL-08", "Kyrsaleen Primary School", "B", "primary", 236, 244, "drawn", (2, 2), 1, 2,
        (_sold("M1", 50, counter=False),), MeterPlan(True, 6, 1000, 15), Route.BURIAL, POURED, ("8.420", "60.468"),
        one_accessible=True, other_rate=0.02,
    ),
    SchoolPlan(
        "OL-09", "Ondrusk Primary School", "C", "tiny", 22, 24, "pour", (1, 1), 0, 1,
        (MachinePlan("M1", False, GivenWay.FREE, 0, 30),), None, Route.BURIAL, NOTHING, ("8.511", "60.102"),
        other_rate=0.03,
    ),
    SchoolPlan(
        "OL-10", "Yavemmin Secondary School", "C", "secondary", 342, 374, "auto", (4, 3), 2, 2,
        (_sold("M1", 150),), MeterPlan(True, 6, 1000, 9), Route.BURN, CISTERN_CLAIM, ("8.540", "60.055"),
    ),
    SchoolPlan(
        "OL-11", "Jorzabel Primary School", "C", "primary", 275, 288, "grid", (3, 2), 1, 2,
        (_sold("M1", 60, counter=False),), MeterPlan(True, 6, 1000, 2), Route.COLLECTION, NOTHING, ("8.575", "60.148"),
        one_accessible=True,
    ),
    SchoolPlan(
        "OL-12", "Quistamo Secondary School", "C", "secondary", 296, 312, "auto", (3, 3), 2, 2,
        (MachinePlan("M1", True, GivenWay.FREE, 0, 120),), MeterPlan(True, 6, 1000, 58), Route.BURN, CISTERN_MEASURED,
        ("8.602", "60.090"), taps_counted=True, buyer=CIRCLE,
    ),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class ClosurePlan:
    """Days without school. whom: blank for the programme, an area or a school code."""

    ref: str
    whom: str
    first: date
    last: date
    name: str


CLOSURES = (
    ClosurePlan("CL-01", "", date(2025, 10, 13), date(2025, 10, 17), "Mid-term holiday"),
    ClosurePlan("CL-02", "", date(2025, 11, 19), date(2025, 11, 19), "Lakes day"),
    ClosurePlan("CL-03", "", date(2026, 3, 2), date(2026, 3, 2), "Founders' day"),
    ClosurePlan("CL-04", "", date(2026, 6, 4), date(2026, 6, 5), "Mid-year holiday"),
    ClosurePlan("CL-05", "A", date(2026, 1, 28), date(2026, 1, 28), "Flood on the shore road"),
    ClosurePlan("CL-06", "OL-10", date(2026, 3, 26), date(2026, 3, 27), "Examination hall needed"),
    ClosurePlan("CL-07", "OL-02", date(2025, 11, 7), date(2025, 11, 7), "Water pipe laid through the yard"),
)
MARKS = (
    ("OL-01", date(2025, 9, 30), "half"),
    ("OL-01", date(2026, 5, 20), "exam"),
    ("OL-02", date(2026, 2, 4), "lost"),
    ("OL-04", date(2025, 11, 26), "exam"),
    ("OL-04", date(2025, 11, 27), "exam"),
    ("OL-05", date(2026, 1, 20), "half"),
    ("OL-06", date(2026, 5, 27), "half"),
    ("OL-07", date(2026, 5, 14), "lost"),
    ("OL-08", date(2025, 10, 8), "lost"),
    ("OL-09", date(2026, 3, 14), "out of hours"),
    ("OL-10", date(2026, 6, 17), "exam"),
    ("OL-11", date(2025, 12, 3), "half"),
    ("OL-12", date(2026, 6, 23), "lost"),
    ("OL-12", date(2026, 7, 1), "half"),
)

SILENT = ("OL-08", date(2026, 2, 2), 4)  # school, first silent week, weeks
LAST_WEEK = date(2026, 7, 6)
NOT_YET_SENT = ("OL-01", "OL-06", "OL-08", "OL-12")  # whose sheet of the last week is missing on the demo's day
MUST_SEND = (  # sheets that carry one of the troubles below, so chance does not lose them
    ("OL-01", date(2026, 6, 29)), ("OL-02", date(2026, 6, 29)), ("OL-04", date(2026, 2, 16)),
    ("OL-05", date(2026, 6, 29)), ("OL-06", date(2026, 3, 16)), ("OL-07", date(2026, 5, 11)),
    ("OL-07", date(2026, 5, 18)), ("OL-09", date(2026, 3, 9)), ("OL-09", date(2026, 6, 15)),
    ("OL-10", date(2026, 7, 6)),
    ("OL-10", date(2026, 2, 16)), ("OL-11", date(2026, 7, 6)),
)  # fmt: skip
QUERIED = (("OL-05", date(2026, 6, 29)), ("OL-02", LAST_WEEK))

LEAK = ("OL-02", date(2026, 2, 23), date(2026, 5, 29), 200_000)  # school, first and last day, mL a day
LOW_WATER = ("OL-07", datetime(2026, 5, 11, 9, 0), datetime(2026, 5, 18, 8, 30), "OL-07-tank-low-2026-05")  # noqa: DTZ001
RETROFIT = ("OL-10", date(2026, 2, 21), 640)  # a Saturday; girls' cabins; per mille of the flush that is left
METER_EXCHANGE = ("OL-04", datetime(2026, 2, 18, 14, 0), datetime(2026, 2, 18, 14, 30), 3)  # noqa: DTZ001
PERMIT_GAP = ("OL-02", date(2026, 2, 20), date(2026, 4, 20))  # last day of the old permit, first day of the new
OPERATOR_LAPSE = ("OL-07", date(2026, 5, 29))
URINAL_GONE = ("OL-12", "U2", date(2025, 12, 5))
CABIN_ADDED = ("OL-12", "G4", date(2026, 1, 12))
ROUNDS = (
    date(2025, 9, 8), date(2025, 10, 6), date(2025, 11, 3), date(2025, 12, 1), date(2026, 1, 12), date(2026, 2, 9),
    date(2026, 3, 9), date(2026, 4, 20), date(2026, 5, 18), date(2026, 6, 15), date(2026, 7, 17), date(2026, 9, 21),
)  # fmt: skip
PEOPLE = (
    ("coordinator@ombari.example", "Imbeth Soradal"),
    ("officer@ombari.example", "Tavo Quellin"),
    ("engineer@ombari.example", "Neri Ashvold"),
    ("funder@ombari.example", "Osmi Drevante"),
    ("administrator@ombari.example", "Ludo Perrakin"),
)
# one coordinator for each school that has none with a log-in; nobody can log in as them
COORDINATORS = (
    ("OL-02", "wenda.korrast@ombari.example", "Wenda Korrast"),
    ("OL-04", "pirro.zelvane@ombari.example", "Pirro Zelvane"),
    ("OL-05", "ansel.vodrique@ombari.example", "Ansel Vodrique"),
    ("OL-06", "mirtha.osquell@ombari.example", "Mirtha Osquell"),
    ("OL-07", "jorun.talvessi@ombari.example", "Jorun Talvessi"),
    ("OL-08", "keddi.nambrose@ombari.example", "Keddi Nambrose"),
    ("OL-09", "solvi.ardennik@ombari.example", "Solvi Ardennik"),
    ("OL-10", "thessa.gorlune@ombari.example", "Thessa Gorlune"),
    ("OL-11", "bram.ilquost@ombari.example", "Bram Ilquost"),
    ("OL-12", "yanni.ferrodel@ombari.example", "Yanni Ferrodel"),
)
ENGINEER = "engineer@ombari.example"
