"""A school's whole term report worked out a second time from the CSV files, with no code of the project.

Only the standard library, plain loops, and the definitions in docs/. Not quick, and not meant to be.
"""

from __future__ import annotations

from datetime import date, datetime
from pathlib import Path
from typing import Any, NamedTuple

from tests.recompute import care, chance, meters, supplies, visits, water, working
from tests.recompute.files import Asked, Fig, ask, day
from tests.recompute.school_time import all_weeks, calendar
from tests.recompute.working import UnitDay

Rows = list[tuple[Any, ...]]
KINDS = {
    "cabin": "Cabins",
    "incinerator": "Incinerators",
    "machine": "Napkin machines",
    "tap": "Washing points",
    "urinal": "Urinals",
}
WAYS = {
    "counter": "by a counter",
    "drawn": "two breaks drawn at random",
    "grid": "every break",
    "week_total": "a total for the week",
    "none": "not counted",
}
WEEKDAYS = ["Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"]
MONTHS = ["January", "February", "March", "April", "May", "June", "July", "August", "September"]
MONTHS += ["October", "November", "December"]


class Recomputed(NamedTuple):
    """Headlines by key, and the cells of tables by key."""

    lines: dict[str, Fig]
    tables: dict[str, Rows]


def recompute(folder: Path, school: str, term: str, now: datetime) -> Recomputed:
    """The report of a school and term as it stands at an instant."""
    asked = ask(folder, school, term, now)
    world = World(asked)
    lines = world.visit_lines() | world.water_lines() | world.working_lines() | world.care_lines()
    tables = world.visit_tables() | world.water_tables() | world.working_tables() | world.care_tables()
    return Recomputed(lines, tables)


class World:
    """Everything of a school and term, worked out once."""

    def __init__(self, asked: Asked) -> None:
        self.asked = asked
        self.held = calendar(asked)
        self.seen = visits.visits_of(asked, self.held)
        self.water = water.chosen(water.lines(asked, self.held, self.seen), self.seen.expected)
        self.days = working.unit_days(asked, self.held, self.seen.units)
        self.balances = meters.balances(asked, self.held, self.seen, self.water)
        self.given = supplies.given(asked, self.held, self.seen)
        self.machine_days = supplies.machine_days(asked, self.held, self.seen)
        self.routes = care.route_states(asked, self.held, self.seen, self.days)

    def cabin_days(self) -> list[UnitDay]:
        """Days of cabins and urinals."""
        return [one for one in self.days if one.unit["kind"] in ("cabin", "urinal")]

    def visit_lines(self) -> dict[str, Fig]:
        """Visits."""
        return {
            "visits": visits.total(self.seen, self.held, visits.of_cabins(self.seen)),
            "visits_per_pupil_day": visits.per_pupil_day(self.asked, self.seen, self.held),
        }

    def water_lines(self) -> dict[str, Fig]:
        """Water."""
        due, days = self.seen.expected, visits.pupil_days(self.asked, self.held, self.seen.period)
        before = water.before(self.asked, self.water, due)
        lines = {
            "water_taken_l": water.taken(self.water, due),
            "less_than_cistern_l": water.spared(self.water, due, self.asked.settings["reference_cistern_ml"]),
            "litres_per_visit": water.per_visit(self.water, due),
            "litres_per_pupil_day": water.per_pupil_day(self.water, due, days),
            "unexplained_water_l": self.unexplained(),
        }
        return lines if before is None or before.value is None else lines | {"saved_against_before_l": before}

    def unexplained(self) -> Fig:
        """Unexplained water of all meters; their limits in quadrature."""
        found = [one.unexplained for one in self.balances]
        used, expected = sum(one.used for one in found), sum(one.expected for one in found)
        known = [one for one in found if one.value is not None]
        if not known:
            return Fig(None, None, None, used, expected, "modelled")
        value = sum(one.value for one in known)
        below = chance.root([one.value - one.low for one in known])
        above = chance.root([one.high - one.value for one in known])
        return Fig(value, value - below, value + above, used, expected, "modelled")

    def working_lines(self) -> dict[str, Fig]:
        """Working units."""
        days = self.cabin_days()
        return {
            "availability_share": working.availability(days),
            "breaks_lost": working.breaks_lost(self.asked, self.held, days),
            "promise_kept_share": working.promise_kept(self.asked),
            "hours_between_failures": working.between_failures(self.asked, days),
        }

    def care_lines(self) -> dict[str, Fig]:
        """Supplies, disposal, lessons, records."""
        asked, lessons = self.asked, care.lessons(self.asked)
        received = care.sheets(asked, self.held, self.seen, on_time=False)
        held = len(lessons) if lessons or received.used else None
        return {
            "given_out": supplies.total(self.given),
            "sold_out_days": supplies.sold_out(self.machine_days),
            "cover_weeks": supplies.cover(asked, self.held, self.seen, self.given, self.machine_days),
            "route_days": care.route_days(self.routes, as_share=False),
            "route_days_share": care.route_days(self.routes, as_share=True),
            "burns": care.burns(asked, self.seen),
            "sessions_held": Fig(held, None, None, received.used, received.expected),
            "pupils_reached": care.reached(asked, lessons),
            "attendances": care.attendances(asked, lessons),
            "completeness_share": received,
            "timeliness_share": care.sheets(asked, self.held, self.seen, on_time=True),
            "open_queries": care.queried(asked, self.seen),
        }

    def visit_tables(self) -> dict[str, Rows]:
        """Visits by unit and week; who waited at the bell."""
        due = visits.of_cabins(self.seen)
        units: Rows = []
        for unit in self.seen.units:
            if unit["kind"] in ("cabin", "urinal"):
                mine = [pair for pair in due if pair[0] is unit]
                cell = visits.total(self.seen, self.held, mine) if mine else None
                units.append((unit["unit"], unit["block"], unit["group"], WAYS[unit["way"]], cell))
        weeks: Rows = []
        for week in all_weeks(self.asked):
            mine = [pair for pair in due if pair[1] == week]
            running = week in self.seen.period
            weeks.append((week, visits.total(self.seen, self.held, mine, due) if running else self.silence(week)))
        return {"visits_by_unit": units, "visits_week_table": weeks} | self.bell_tables()

    def silence(self, week: date) -> str:
        """Why a week that is not over has no figure."""
        state = care.sheet_states(self.asked, self.held)[week][0]
        return state if state == "not due yet" else "no school"

    def bell_tables(self) -> dict[str, Rows]:
        """Drawn breaks at which somebody noted who still waited."""
        rows = []
        for row in self.asked.mine("bell_counts"):
            if row["waiting"] != "" and self.asked.first <= day(row["day"]) <= self.asked.last:
                rows.append(row)
        groups: Rows = []
        for group in sorted({row["group"] for row in rows}):
            waiting = [int(row["waiting"]) for row in rows if row["group"] == group]
            groups.append((group, len(waiting), sum(1 for number in waiting if number > 0), max(waiting)))
        worst: Rows = []
        crowded = [row for row in rows if int(row["waiting"]) > 0]
        for row in sorted(crowded, key=lambda row: (-int(row["waiting"]), row["day"], row["break"]))[:5]:
            present = int(row["present"]) if row["present"] else None
            worst.append((short(day(row["day"])), row["break"], row["group"], int(row["waiting"]), present))
        return {"waiting": groups, "crowded": worst}

    def water_tables(self) -> dict[str, Rows]:
        """Water by part and week; meters."""
        parts: Rows = []
        weeks: Rows = []
        for part in water.PARTS:
            parts.append((part, water.by_part(self.water, self.seen.expected, part)))
        there = [part for part in water.PARTS if any(line.part == part for line in self.water)]
        for week in all_weeks(self.asked):
            for part in there if week in self.seen.period else []:
                mine = [line.ml for line in self.water if line.week == week and line.part == part]
                weeks.append((week, part, sum(mine) / 1000 if mine else None))
        found: Rows = []
        for one in self.balances:
            look = "please check" if one.look else "within its range"
            found.append((self.asked.school, one.meter, one.metered, one.modelled, one.unexplained, look))
        return {"water_by_part": parts, "water_week_table": weeks, "meters": found}

    def working_tables(self) -> dict[str, Rows]:
        """Working units by kind, by unit, by cause; looks."""
        kinds: Rows = []
        looks: Rows = []
        for kind, name in KINDS.items():
            days = [one for one in self.days if one.unit["kind"] == kind]
            if days:
                out, planned = working.hours_out(days), working.hours_out(days, "planned work")
                kinds.append((name, working.availability(days), out, planned))
                looks.append((name, *working.waits(self.asked, days)))
        units: Rows = []
        for code in sorted({one.unit["unit"] for one in self.days}):
            units.append((code, working.availability([one for one in self.days if one.unit["unit"] == code])))
        causes: Rows = []
        for cause, hours, share in working.by_cause(self.days):
            causes.append((cause, Fig(hours, None, None, 0, 0), Fig(share, None, None, 0, 0)))
        return {
            "availability_by_kind": kinds,
            "looks": looks,
            "availability_by_unit": units,
            "outages_by_cause": causes,
            "open_outages": self.open_outages(),
        }

    def open_outages(self) -> Rows:
        """Outages without an end at the report's instant."""
        codes = {unit["unit"] for unit in self.seen.units}
        stop = working.minute(self.asked.until)
        found: Rows = []
        for outage in sorted(working.outages(self.asked), key=lambda one: one.start):
            if outage.unit in codes and (outage.end is None or outage.end > stop):
                on, at = outage.row["start_local_time"].split("T")
                since = f"{day(on).day} {MONTHS[day(on).month - 1]} {day(on).year}, {at}"
                found.append((self.asked.school, outage.unit, outage.cause, since))
        return found

    def care_tables(self) -> dict[str, Rows]:
        """Supplies, disposal, lessons, levels, sheets."""
        asked = self.asked
        machines: Rows = []
        for machine in supplies.machines(self.seen):
            mine = [row for row in self.machine_days if row.machine == machine["unit"]]
            machines.append((asked.school, machine["unit"], supplies.sold_out(mine)))
        weeks: Rows = []
        for week in all_weeks(asked):
            mine = [row for row in self.given if row.week == week]
            weeks.append((week, supplies.total(mine) if week in self.seen.period else self.silence(week)))
        lessons = care.lessons(asked)
        sexes = [(sex, care.reached(asked, lessons, sex), care.attendances(asked, lessons, sex)) for sex in SEXES]
        states = care.sheet_states(asked, self.held)
        return {
            "given_by_way": list(supplies.by_way(asked, self.seen, self.given)),
            "sold_out_by_machine": machines,
            "given_week_table": weeks,
            "routes": self.routes_table(),
            "lessons_by_topic": list(care.by_topic(asked)),
            "reached_by_sex": list(sexes),
            "service_levels": list(care.levels(asked)),
            "sheets_by_week": [(asked.school, week, states[week][0]) for week in all_weeks(asked)],
        }

    def routes_table(self) -> Rows:
        """Routes with their papers."""
        rows: Rows = []
        for route in self.asked.mine("disposal_routes"):
            if care.holds_in(route, self.asked.first, self.asked.last):
                names = ("permit_until", "operator_until", "siting_checked", "flue_checked")
                papers = [day(route[name]) if route[name] else None for name in names]
                days = care.route_days(self.routes, as_share=False)
                rows.append((self.asked.school, route["kind"], *papers, route["ash_route"] or None, days))
        return rows


SEXES = ("girls", "boys")


def short(of: date) -> str:
    """A day as the report's tables head it."""
    return f"{WEEKDAYS[of.weekday()]} {of.day} {MONTHS[of.month - 1][:3]}"
