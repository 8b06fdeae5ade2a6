"""The programme, its people and schools, as they were set up before the first day."""

from __future__ import annotations

from datetime import date

from tracker.demo_data.book import Book, Cell, Dice, share_out
from tracker.demo_data.plan import (
    AREAS,
    COORDINATED,
    COORDINATORS,
    ENGINEER,
    ENGINEER_AREA,
    PEOPLE,
    PROGRAMME,
    SEED,
    SET_UP,
    TERMS,
    ZONE,
    SchoolPlan,
)
from tracker.demo_data.school_time import shifts_of
from tracker.demo_data.units import UnitPlan
from tracker.vocabulary import Role, Sex, UnitKind

SETTINGS = (
    ("sheet_due_days", 3),
    ("promise_restore_hours", 72),
    ("look_every_school_days", 2),
    ("reference_cistern_ml", 9000),
    ("small_count_min", 10),
    ("service_visit_days", 90),
    ("drawn_breaks_per_week", 2),
)
GRADES = {"primary": range(1, 9), "secondary": range(9, 13), "tiny": range(1, 7)}
TOP_AGE = 17
OLDER = (0.68, 0.26, 0.06)  # share of a grade's pupils who are of its age, one and two years older
MOVED = ("OL-10", "G11", date(2026, 4, 20), 6)  # boys of the usual age who came in term 3
AGES_NOT_KNOWN = ("OL-05", "noon")  # here only the grades are known
COORDINATORS_FROM = 21  # last two digits of the first one's telephone number
# figure, thousandths of its unit in terms 1 to 3
TARGETS = (
    ("visits", (150_000_000, 150_000_000, 150_000_000)),
    ("water_taken_l", (380_000_000, 380_000_000, 370_000_000)),
    ("less_than_cistern_l", (640_000_000, 650_000_000, 660_000_000)),
    ("availability_share", (950, 955, 960)),
    ("given_out", (8_000_000, 8_000_000, 8_500_000)),
    ("sold_out_days", (60_000, 50_000, 40_000)),
    ("route_days_share", (950, 950, 960)),
    ("pupils_reached", (4_500_000, 4_700_000, 4_800_000)),
    ("completeness_share", (930, 940, 950)),
)
BEFORE_ALL = date(2025, 6, 20)
# figure, thousandths of its unit, basis, how it was measured before the programme worked
BASELINES = (
    ("litres_per_visit", 6_400, "metered", "Meters of four schools against tallies of two weeks."),
    ("availability_share", 720, "sampled", "One look a day for two weeks at six schools."),
)


def write_programme(book: Book) -> None:
    """The programme, settings, areas, people, targets and grade ages."""
    row: dict[str, Cell] = {"programme": PROGRAMME, "name": "Ombari Lakes", "zone": ZONE, "currency": "XTS"}
    book.add("programme", {**row, "first_weekday": 0, "phone": "000 0112", "is_demo": True})
    for key, value in SETTINGS:
        book.add("settings", {"key": key, "from_day": SET_UP, "value": value})
    for code, name in AREAS.items():
        book.add("areas", {"area": code, "name": name})
    for number, (email, name) in enumerate(PEOPLE, start=1):
        _person(book, email, name, number)
    _coordinators(book)
    _grant(book, "officer", PEOPLE[1][0], Role.OFFICER)
    _grant(book, f"engineer-{ENGINEER_AREA}", ENGINEER, Role.ENGINEER, area=ENGINEER_AREA)
    _grant(book, "funder", PEOPLE[3][0], Role.FUNDER)
    _grant(book, "administrator", PEOPLE[4][0], Role.ADMINISTRATOR)
    for figure, values in TARGETS:
        for term, value, day in zip(TERMS, values, (SET_UP, date(2026, 1, 5), date(2026, 4, 13)), strict=True):
            book.add("targets", {"term": term.code, "figure": figure, "set_at": day, "target_thousandths": value})
    for figure, value, basis, note in BASELINES:
        row = {"figure": figure, "measured_on": BEFORE_ALL, "baseline_thousandths": value}
        book.add("baselines", row | {"basis": basis, "note": note})
    _grade_ages(book)


def _person(book: Book, email: str, name: str, number: int) -> None:
    book.add("people", {"email": email, "name": name, "phone": f"000 01{number:02d}", "active": True})


def _coordinators(book: Book) -> None:
    """Each school has a coordinator: two the one who can log in, the others somebody of their own."""
    for school in COORDINATED:
        _grant(book, f"coordinator-{school}", PEOPLE[0][0], Role.COORDINATOR, school=school)
    for number, (school, email, name) in enumerate(COORDINATORS, start=COORDINATORS_FROM):
        _person(book, email, name, number)
        _grant(book, f"coordinator-{school}", email, Role.COORDINATOR, school=school)


def _grant(book: Book, ref: str, email: str, role: Role, *, area: str | None = None, school: str | None = None) -> None:
    book.add("role_grants", {"ref": ref, "email": email, "role": role, "area": area, "school": school})


def _ages(grade: int) -> list[int]:
    return [min(TOP_AGE, grade + 5 + more) for more in range(len(OLDER))]


def _grade_ages(book: Book) -> None:
    for grade in range(1, 13):
        shares: dict[int, int] = {}
        for age, share in zip(_ages(grade), OLDER, strict=True):
            shares[age] = shares.get(age, 0) + round(share * 1000)
        for age, permille in shares.items():
            row: dict[str, Cell] = {"grade": f"G{grade}", "age_years": age, "from_day": SET_UP}
            book.add("grade_ages", {**row, "permille": permille})


def write_school(book: Book, plan: SchoolPlan, units: list[UnitPlan]) -> None:
    """A school, who learns and works there, what stood there before, and its agreement."""
    latitude, longitude = plan.position
    row: dict[str, Cell] = {"school": plan.code, "area": plan.area, "name": plan.name, "boarders": plan.boarders}
    book.add("schools", {**row, "from_day": SET_UP, "latitude_deg": latitude, "longitude_deg": longitude})
    place: dict[str, Cell] = {"school": plan.code, "from_day": SET_UP}
    book.add("staff", {**place, "staff": 4 if plan.level == "tiny" else (plan.girls + plan.boys) // 24})
    kind, flush_ml, basis = plan.before
    book.add("before", {**place, "kind": kind, "flush_ml": flush_ml, "litres_basis": basis})
    for sex, pupils in ((Sex.GIRLS, plan.girls), (Sex.BOYS, plan.boys)):
        _enrol(book, plan, sex, pupils)
    _agree(book, plan, units)


def _enrol(book: Book, plan: SchoolPlan, sex: Sex, pupils: int) -> None:
    dice = Dice(SEED, plan.code, sex, "enrolment")
    grades = list(GRADES[plan.level])
    sizes = share_out(pupils, [dice.share(0.9, 1.1) * (1.3 - 0.05 * number) for number, _ in enumerate(grades)])
    shifts = shifts_of(plan)
    for grade, size in zip(grades, sizes, strict=True):
        for shift, count in zip(shifts, share_out(size, [1.0] * len(shifts)), strict=True):
            row: dict[str, Cell] = {"school": plan.code, "shift": shift, "sex": sex, "grade": f"G{grade}"}
            row["from_day"] = SET_UP
            if (plan.code, shift) == AGES_NOT_KNOWN:
                if count:
                    book.add("enrolment", {**row, "age_years": -1, "pupils": count})
                continue
            for age, some in by_age(grade, count).items():
                _enrol_age(book, row, age, some)


def by_age(grade: int, count: int) -> dict[int, int]:
    """A grade's pupils by age; ages with nobody are left out."""
    found: dict[int, int] = {}
    for age, some in zip(_ages(grade), share_out(count, OLDER), strict=True):
        if some:
            found[age] = found.get(age, 0) + some
    return found


def _enrol_age(book: Book, row: dict[str, Cell], age: int, pupils: int) -> None:
    school, grade, day, more = MOVED
    moved = (row["school"], row["grade"], row["sex"]) == (school, grade, Sex.BOYS) and age == int(grade[1:]) + 5
    until = date.fromordinal(day.toordinal() - 1) if moved else None
    book.add("enrolment", {**row, "age_years": age, "pupils": pupils, "until_day": until})
    if moved:
        book.add("enrolment", {**row, "age_years": age, "pupils": pupils + more, "from_day": day})


def _agree(book: Book, plan: SchoolPlan, units: list[UnitPlan]) -> None:
    code = f"AG-{plan.code[-2:]}"
    row: dict[str, Cell] = {"agreement": code, "school": plan.code, "buyer": plan.buyer}
    row |= {"accepted_on": date(2025, 9, 5), "warranty_from": date(2025, 9, 5), "warranty_until": date(2026, 9, 4)}
    row |= {"clock_stops": "While the road is closed or the school's own water or power is off."}
    price = 60_000 + 9_000 * sum(unit.kind is UnitKind.CABIN for unit in units)
    book.add("agreements", {**row, "promise_hours": 72, "visit_every_days": 90, "price_minor": price})
    served = (UnitKind.CABIN, UnitKind.URINAL, UnitKind.MACHINE, UnitKind.INCINERATOR)
    for number, unit in enumerate((unit for unit in units if unit.kind in served), start=1):
        serial = f"S{plan.code[-2:]}{number:03d}"
        book.add("agreement_units", {"agreement": code, "school": plan.code, "unit": unit.code, "serial": serial})
