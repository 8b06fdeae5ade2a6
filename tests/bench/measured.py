"""The frames of a term and the measures over them, step by step: what ``bench_measures`` times.

Arguments are those of a term's reports. ``measured_more`` holds the steps on repairs, crowding,
need, cost, tanks and power.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from datetime import UTC, date, datetime
from typing import Any
from zoneinfo import ZoneInfo

import pandas as pd
from sqlalchemy.orm import Session

from tests.bench.big import AHEAD, FIRST, LAST, ROUNDS
from tracker.measures import (
    balance,
    calendar,
    crowding,
    crowding_breaks,
    demand,
    dials,
    disposal,
    flush,
    quality,
    repairs,
    sessions,
    supplies,
    uptime,
    visit_estimate,
    visits,
    water,
)
from tracker.records import frames
from tracker.vocabulary import Group, UnitKind

ZONE = ZoneInfo("Etc/GMT-3")
AS_OF = datetime(2026, 4, 10, tzinfo=UTC)
ASSUMED = flush.LongShare(0.2, 0.1, 0.4)
USE_FRAMES = ("meter_scopes", "enrolment", "sessions", "attendance", "burns", "routes", "bell_counts", "used_days")
OTHER_FRAMES = ("queries", "quizzes", "money", "service_intervals", "shift_pupils", "bin_levels", "on_hand", "schools")
OTHER_FRAMES += ("handed_out", "given_how", "cupboards", "grade_ages", "before", "first_floor_wash")


class Clock:
    """Processor seconds of each step in this process, so that other work on the machine does not decide."""

    def __init__(self) -> None:
        self.steps: dict[str, float] = {}

    def __call__(self, name: str, act: Callable[[], Any]) -> Any:
        start = time.process_time()
        found = act()
        self.steps[name] = self.steps.get(name, 0.0) + time.process_time() - start
        return found


class Read:
    """The frames of a term; ``whole`` False: only those of the core tables."""

    def __init__(self, session: Session, clock: Clock, whole: bool = True) -> None:
        scope = self.asked = frames.Scope(1, date.fromisoformat(FIRST), date.fromisoformat(LAST))
        self.calendar = clock("read calendar", lambda: frames.school_calendar(session, scope, ZONE))
        self.occasions = self.calendar.occasions
        for name in ("units", "usage", "tallies", "fittings", "long_weeks"):
            setattr(self, name, clock(f"read {name}", lambda of=name: getattr(frames, of)(session, scope)))
        for name in ("readings", "outages"):
            setattr(self, name, clock(f"read {name}", lambda of=name: getattr(frames, of)(session, scope, ZONE)))
        self.machine_weeks = clock("read machine weeks", lambda: frames.machine_weeks(session, scope, self.occasions))
        ids = tuple(sorted(set(self.units["school_id"])))
        times = clock("school time", lambda: self.calendar.times(scope.first_day, scope.last_day, ids))
        self.scope = calendar.Scope(calendar.Span(scope.first_day, scope.last_day), times, ZONE, AS_OF)
        if whole:
            self._rest(session, clock)

    def _rest(self, session: Session, clock: Clock) -> None:
        scope = self.asked
        for name in (*USE_FRAMES, *OTHER_FRAMES):
            setattr(self, name, clock(f"read {name}", lambda of=name: getattr(frames, of)(session, scope)))
        for name in ("sightings", "engineer_visits"):
            setattr(self, name, clock(f"read {name}", lambda of=name: getattr(frames, of)(session, scope, ZONE)))
        self.sheets = clock("read sheets", lambda: frames.sheets(session, scope, self.occasions, 3, ZONE))
        self.answers = clock("read answers", lambda: frames.inspection_answers(session, scope, 1))
        self.ahead = clock("read days ahead", lambda: self._ahead(session))

    def _ahead(self, session: Session) -> dict[int, list[date]]:
        later = frames.Scope(1, date.fromisoformat(AHEAD), date.fromisoformat(ROUNDS[1]))
        rows = frames.school_days_ahead(session, later)
        days = rows["day"].to_numpy("datetime64[D]").tolist()
        found: dict[int, list[date]] = {}
        for school, day in zip(rows["school_id"].tolist(), days, strict=True):
            found.setdefault(school, []).append(day)
        return found


def core(read: Read, clock: Clock) -> dict[str, Any]:
    """Litres, down minutes and vends; sold-out days are in the frame of machines' weeks."""
    weeks = clock(
        "visits by unit and week",
        lambda: visits.unit_weeks(read.units, read.usage, read.tallies, read.occasions, read.readings),
    )
    rows = clock(
        "litres by unit and week",
        lambda: flush.unit_week_water(
            weeks, read.units, read.fittings, read.long_weeks, read.calendar.school_days, assumed=ASSUMED
        ),
    )
    down = clock("down minutes", lambda: uptime.down_minutes(read.outages, read.units, read.scope))
    given = clock("given out", lambda: _given(read))
    return {
        "weeks": weeks,
        "water": rows,
        "down": down,
        "given": given,
    }


def _given(read: Read) -> pd.DataFrame:
    machines = read.units[read.units["kind"] == UnitKind.MACHINE.value]
    steps = dials.interval_uses(read.readings[read.readings["quantity"] == "vends"])
    steps = dials.spread_over_weeks(steps, read.occasions, machines)
    given = supplies.given_out_weeks(read.machine_weeks, steps, machines, read.occasions)
    codes = dict(zip(read.units["school_id"], read.units["school"], strict=True))
    return given.assign(school=given["school_id"].map(codes).astype("str"))


def use_measures(read: Read, made: dict[str, Any], clock: Clock) -> None:
    """Visits and water."""
    weeks, rows, units, days = made["weeks"], made["water"], read.units, read.occasions
    due = clock("expected unit-weeks", lambda: visits.expected_unit_weeks(units, days))
    made["due"] = due
    made["visits_total"] = clock(
        "visits in total", lambda: visits.visits_total(weeks, read.tallies, days, units, expected=due)
    )
    made["visits_by_school"] = clock(
        "visits by school", lambda: visits.visits_by(weeks, read.tallies, days, units, "school", expected=due)
    )
    pupil_days = clock("pupil-days", lambda: visits.pupil_days(read.enrolment, days))
    clock("visits a pupil", lambda: visits.visits_per_pupil_day(weeks, read.tallies, days, units, read.enrolment))
    clock(
        "visits a girl, a boy",
        lambda: visit_estimate.visits_per_pupil_day_by_sex(weeks, read.tallies, days, units, read.enrolment),
    )
    kept = weeks[(weeks["unit_id"] // 100 + weeks["week"].dt.day_of_year // 7) % 20 > 0]
    clock(
        "visits, unreported weeks estimated",
        lambda: visit_estimate.estimated_visits(kept, read.tallies, days, units, enrolment=read.enrolment),
    )
    clock("water taken", lambda: water.water_taken(rows, due))
    clock("water by school", lambda: water.water_by(rows, due, "school"))
    clock("water by part", lambda: water.water_parts(rows, due))
    clock("less than a cistern", lambda: water.less_than_cistern(rows, due, 9000))
    clock("litres a visit", lambda: water.litres_per_visit(rows, due))
    made["litres_a_pupil_day"] = clock("litres a pupil-day", lambda: water.litres_per_pupil_day(rows, due, pupil_days))
    clock("meters", lambda: balance.meter_balance(units, read.meter_scopes, read.readings, rows, days))


def service_measures(read: Read, made: dict[str, Any], clock: Clock) -> None:
    """Uptime, repairs, crowded breaks."""
    evidence = clock("evidence", lambda: uptime.evidence_days(read.sightings, read.used_days))
    days = made["days"] = clock("unit-days", lambda: uptime.unit_days(read.units, read.outages, evidence, read.scope))
    cabins = days[days["kind"].isin(["cabin", "urinal"])]
    clock("availability", lambda: uptime.availability(days))
    clock("availability by school", lambda: uptime.availability_by(days, ["school_id", "kind"]))
    clock("down by cause", lambda: uptime.by_cause(made["down"]))
    clock("hours out", lambda: uptime.outage_hours(days))
    clock("breaks lost", lambda: uptime.breaks_lost(read.outages, read.calendar.breaks, cabins, read.scope))
    clock("promise kept", lambda: repairs.promise_kept(read.outages, 48, AS_OF))
    clock("time between failures", lambda: repairs.time_between_failures(read.outages, days, read.scope))
    looked = clock("looks", lambda: repairs.looks(read.sightings, days))
    clock("days between looks", lambda: repairs.days_between_looks(looked))
    usable = made["usable"] = clock(
        "usable cabins",
        lambda: crowding_breaks.usable_cabins(read.units, read.outages, read.calendar.breaks, AS_OF),
    )
    pupils = clock(
        "pupils by week",
        lambda: crowding_breaks.pupils_by_week(read.bell_counts, read.enrolment, read.calendar.breaks),
    )
    arrivals = clock("arrivals", lambda: crowding_breaks.arrivals_from_pupils(pupils, read.units, 0.3, 0.5))
    bursts = clock("bursts", lambda: crowding_breaks.burst_breaks(usable, arrivals))
    for group in (Group.GIRLS, Group.BOYS):
        clock("share served", lambda of=group: crowding.share_served(bursts, of))
        clock("seen waiting", lambda of=group: crowding.seen_waiting(read.bell_counts, read.calendar.breaks, of))


def supply_measures(read: Read, made: dict[str, Any], clock: Clock) -> None:
    """Supplies, disposal, lessons, record quality."""
    given, machine_weeks = made["given"], read.machine_weeks
    made["given_total"] = clock("given out in total", lambda: supplies.given_out_total(given))
    clock("days sold out", lambda: supplies.days_sold_out(machine_weeks))
    clock("demand", lambda: supplies.demand_per_day(given, machine_weeks))
    clock("demand by school", lambda: supplies.demand_by_school(given, machine_weeks))
    made["machine_demand"] = clock("demand behind sold-out weeks", lambda: demand.machine_demand(given, machine_weeks))
    incinerators = read.units[read.units["kind"] == UnitKind.INCINERATOR.value]
    nothing = pd.DataFrame({"unit_id": pd.Series([], dtype="int64"), "day": pd.Series([], dtype="datetime64[us]")})
    seen = read.sightings[read.sightings["unit_id"].isin(incinerators["unit_id"])][["unit_id", "day"]]
    states = clock(
        "disposal routes",
        lambda: disposal.route_day_states(read.routes, read.calendar.school_days, incinerators, nothing, seen),
    )
    clock("days with a route", lambda: disposal.route_days(states, read.calendar.school_days))
    clock("lessons", lambda: sessions.sessions_held(read.sessions))
    clock("attendances", lambda: sessions.attendances(read.sessions, read.attendance))
    made["reach"] = clock("reach", lambda: sessions.reach_by_group(read.sessions, read.attendance, read.enrolment))
    clock("completeness", lambda: quality.completeness(read.sheets, AS_OF))
    clock("timeliness", lambda: quality.timeliness(read.sheets, AS_OF))
