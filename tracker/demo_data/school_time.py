"""School time of the demo: hours, breaks, school days, break occasions, drawn breaks and which sheets came."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from tracker.demo_data.book import Book, Cell, Dice, clock
from tracker.demo_data.plan import (
    CLOSURES,
    LAST_WEEK,
    MARKS,
    MUST_SEND,
    NEXT_TERM,
    NOT_YET_SENT,
    NOW,
    PROGRAMME,
    QUERIED,
    ROUNDS,
    SEED,
    SET_UP,
    SILENT,
    TERMS,
    SchoolPlan,
)
from tracker.measures import calendar as school_calendar
from tracker.vocabulary import DayMark, SheetState

WEEK = timedelta(days=7)
FRIDAY = 4
# code, name, Monday to Thursday, Friday; minutes after midnight
DAY_BREAKS = (
    ("first", "First break", (600, 620), (590, 610)),
    ("lunch", "Lunch", (750, 790), (690, 710)),
    ("afternoon", "Afternoon break", (860, 875), None),
)
SHORT_FIRST = ("first", "First break", (600, 615), (590, 605))  # the break that overflows
SHIFTS = {
    "day": ("Day", (480, 930), (480, 780), DAY_BREAKS),
    "morning": (
        "Morning shift", (420, 720), (420, 660),
        (("m1", "Morning first break", (500, 520), (490, 510)), ("m2", "Morning second break", (620, 640), (590, 610))),
    ),
    "noon": (
        "Noon shift", (740, 1040), (680, 920),
        (("n1", "Noon first break", (820, 840), (750, 770)), ("n2", "Noon second break", (940, 960), (850, 870))),
    ),
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Slot:
    """One break as it took place, on the wall clock."""

    day: date
    code: str
    start: datetime
    end: datetime
    shift: str

    @property
    def minutes(self) -> int:
        """Its length."""
        return int((self.end - self.start).total_seconds() // 60)


@dataclass(slots=True)
class Sheet:
    """A week sheet that was sent."""

    week: date
    state: SheetState
    sent: datetime
    version: int
    days: list[date] = field(default_factory=list)

    @property
    def last_day(self) -> date:
        """The school day on which dials are read and supplies are counted."""
        return self.days[-1]

    def read_at(self) -> datetime:
        """When dials are read: at the end of the week's last school day."""
        return at(self.last_day, read_minute(self.last_day))


@dataclass(slots=True)
class SchoolYear:
    """A school's calendar up to the demo's day, and the week sheets that came."""

    plan: SchoolPlan
    days: list[date]
    slots: list[Slot]
    drawn: set[tuple[date, str]]
    sheets: dict[date, Sheet]
    by_day: dict[date, list[Slot]]

    def sheet_of(self, day: date) -> Sheet | None:
        """The sheet of the week that holds a day; None where none came."""
        return self.sheets.get(week_of(day))

    def meter_checks(self) -> list[datetime]:
        """When the engineer read the meter, about once a term."""
        return [at(day, 660) for day in self.days[30::61]]


def at(day: date, minute: int) -> datetime:
    """A wall clock time of a day."""
    return datetime.combine(day, time(minute // 60, minute % 60))


def read_minute(day: date) -> int:
    """The minute of a day at which dials are read."""
    return 745 if day.weekday() == FRIDAY else 910


def week_of(day: date) -> date:
    """The Monday of a day."""
    return school_calendar.week_of(day, 0)


def shifts_of(plan: SchoolPlan) -> tuple[str, ...]:
    """The shift codes of a school."""
    return ("morning", "noon") if plan.double_shift else ("day",)


def breaks_of(plan: SchoolPlan, shift: str) -> tuple[tuple[str, str, tuple[int, int], tuple[int, int] | None], ...]:
    """The breaks of a shift: code, name, start and end on other days, start and end on Friday."""
    breaks = SHIFTS[shift][3]
    return (SHORT_FIRST, *breaks[1:]) if plan.code == "OL-03" else breaks


def write_hours(book: Book, plan: SchoolPlan) -> None:
    """Shifts, hours and breaks of a school."""
    for shift in shifts_of(plan):
        name, usual, friday, _ = SHIFTS[shift]
        place: dict[str, Cell] = {"school": plan.code, "shift": shift}
        book.add("shifts", {**place, "name": name})
        for weekday in range(5):
            opens, closes = friday if weekday == FRIDAY else usual
            hours: dict[str, Cell] = {
                "weekday": weekday,
                "opens": clock(opens),
                "closes": clock(closes),
                "from_day": SET_UP,
            }
            book.add("school_hours", {**place, **hours})
        for code, title, other, last in breaks_of(plan, shift):
            for weekday in range(5):
                span = last if weekday == FRIDAY else other
                if span:
                    row: dict[str, Cell] = {"break": code, "name": title, "weekday": weekday, "from_day": SET_UP}
                    book.add("breaks", {**place, **row, "starts": clock(span[0]), "ends": clock(span[1])})


def school_year(plan: SchoolPlan) -> SchoolYear:
    """The school's calendar, its drawn breaks and its sheets."""
    ordinary, kept = _held(plan, marks=False), _held(plan, marks=True)
    rules = _rules(plan)
    zone = ZoneInfo("UTC")  # wall clock times stay as they are
    drawn: set[tuple[date, str]] = set()
    ahead = school_calendar.break_occasions(ordinary, rules, zone)
    for week in school_calendar.weeks_covering(TERMS[0].first, NOW.date(), 0):
        some = [occasion for occasion in ahead if week <= occasion.day < week + WEEK]
        drawn |= {
            (one.day, one.slot) for one in school_calendar.draw_breaks(some, 2, f"{PROGRAMME}|{plan.code}|{week}")
        }
    shift_of = {rule.code: rule.shift for rule in rules}
    slots = [
        Slot(one.day, one.slot, one.start.replace(tzinfo=None), one.end.replace(tzinfo=None), shift_of[one.slot])
        for one in school_calendar.break_occasions(kept, rules, zone)
        if one.day < NOW.date()
    ]
    days = sorted({held.day for held in kept if held.day < NOW.date()})
    by_day: dict[date, list[Slot]] = {}
    for slot in slots:
        by_day.setdefault(slot.day, []).append(slot)
    return SchoolYear(plan, days, slots, drawn, _sheets(plan, days), by_day)


def _held(plan: SchoolPlan, *, marks: bool) -> list[school_calendar.SchoolDay]:
    terms = [school_calendar.Term(term.first, term.last) for term in TERMS]
    closures = [
        school_calendar.Closure(one.first, one.last) for one in CLOSURES if one.whom in ("", plan.area, plan.code)
    ]
    said = [school_calendar.Mark(day, DayMark(mark)) for code, day, mark in MARKS if code == plan.code and marks]
    hours = []
    for shift in shifts_of(plan):
        _, usual, friday, _ = SHIFTS[shift]
        for weekday in range(5):
            opens, closes = friday if weekday == FRIDAY else usual
            hours.append(school_calendar.Hours(weekday, opens, closes, SET_UP, None, shift))
    return school_calendar.school_days(terms, hours, closures, said)


def _rules(plan: SchoolPlan) -> list[school_calendar.BreakRule]:
    rules = []
    for shift in shifts_of(plan):
        for code, title, other, last in breaks_of(plan, shift):
            for weekday in range(5):
                span = last if weekday == FRIDAY else other
                if span:
                    rules.append(school_calendar.BreakRule(code, title, weekday, *span, SET_UP, None, shift))
    return rules


def _sheets(plan: SchoolPlan, days: list[date]) -> dict[date, Sheet]:
    dice = Dice(SEED, plan.code, "sheets")
    found: dict[date, Sheet] = {}
    weeks = sorted({week_of(day) for day in days})
    for week in weeks:
        lost, late, hour = dice.chance(0.055), dice.chance(0.12), dice.share()
        after, version = dice.whole(5, 12), 2 if dice.chance(0.05) else 1
        if week > LAST_WEEK or not _came(plan.code, week, lost):
            continue
        in_week = [day for day in days if week <= day < week + WEEK]
        sent = at(in_week[-1], 935) + timedelta(minutes=int(hour * 60 * (3 if hour < 0.6 else 66)))
        if late:
            sent = at(week + timedelta(days=4 + after), 500 + int(hour * 400))
        sent = min(sent, NOW - timedelta(minutes=25))
        found[week] = Sheet(week, _state(plan.code, week), sent, version, in_week)
    return found


def _came(code: str, week: date, lost: bool) -> bool:
    if (code, week) in MUST_SEND:
        return True
    silent, first, count = SILENT
    if code == silent and first <= week < first + count * WEEK:
        return False
    return not lost and not (week == LAST_WEEK and code in NOT_YET_SENT)


def _state(code: str, week: date) -> SheetState:
    if (code, week) in QUERIED:
        return SheetState.QUERIED
    return SheetState.SENT if week >= LAST_WEEK - WEEK else SheetState.ACCEPTED


def write_calendar(book: Book) -> None:
    """Terms, closures and rounds."""
    for term in (*TERMS, NEXT_TERM):
        book.add("terms", {"term": term.code, "name": term.name, "first_day": term.first, "last_day": term.last})
    for one in CLOSURES:
        area, school = (one.whom, None) if len(one.whom) == 1 else (None, one.whom or None)
        scope = "school" if school else "area" if area else "programme"
        row = {"ref": one.ref, "scope": scope, "area": area, "school": school, "name": one.name}
        book.add("closures", {**row, "first_day": one.first, "last_day": one.last})
    for day in ROUNDS:
        book.add("rounds", {"day": day})


def write_sheets(book: Book, year: SchoolYear) -> None:
    """Drawn breaks, the sheets that came, and what they say about days."""
    code = year.plan.code
    for day, slot in sorted(year.drawn):
        book.add("drawn_breaks", {"school": code, "day": day, "break": slot})
    for sheet in year.sheets.values():
        row: dict[str, Cell] = {"school": code, "week": sheet.week, "state": sheet.state, "version": sheet.version}
        book.add("week_sheets", {**row, "first_sent_local_time": sheet.sent})
    for school, day, mark in MARKS:
        if school == code:
            book.add("day_marks", {"school": code, "day": day, "mark": mark})
