"""Measures over a term of a large programme: time, memory, growth, and the same sums written directly in SQL.

``python -m tests.bench.bench_measures`` builds 100, 300 and 1,000 schools in throw-away databases, each measured in a
process of its own so that memory is its own. ``--profile`` prints where the time of 300 schools goes.
"""

from __future__ import annotations

import cProfile
import json
import os
import pstats
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pandas as pd
from sqlalchemy.orm import Session

from tests.bench.big import CLOSES, FIRST, LAST, OPENS, build
from tracker.db import make_engine, reading
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
SIZES = (100, 300, 1000)
LIMIT_S, LIMIT_MIB, LIMIT_SQL = 10.0, 1024, 3.0
ASSUMED = flush.LongShare(0.2, 0.1, 0.4)


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
    """The frames of a term."""

    def __init__(self, session: Session, clock: Clock) -> None:
        scope = frames.Scope(1, date.fromisoformat(FIRST), date.fromisoformat(LAST))
        self.calendar = clock("read calendar", lambda: frames.school_calendar(session, scope, ZONE))
        self.occasions = self.calendar.occasions
        for name in ("units", "usage", "tallies", "fittings", "long_weeks", "meter_scopes", "enrolment", "sessions"):
            setattr(self, name, clock(f"read {name}", lambda of=name: getattr(frames, of)(session, scope)))
        for name in ("attendance", "burns", "routes", "bell_counts", "used_days", "queries"):
            setattr(self, name, clock(f"read {name}", lambda of=name: getattr(frames, of)(session, scope)))
        for name in ("readings", "outages", "sightings"):
            setattr(self, name, clock(f"read {name}", lambda of=name: getattr(frames, of)(session, scope, ZONE)))
        self.machine_weeks = clock("read machine weeks", lambda: frames.machine_weeks(session, scope, self.occasions))
        self.sheets = clock("read sheets", lambda: frames.sheets(session, scope, self.occasions, 3, ZONE))
        ids = tuple(sorted(set(self.units["school_id"])))
        times = clock("school time", lambda: self.calendar.times(scope.first_day, scope.last_day, ids))
        self.scope = calendar.Scope(calendar.Span(scope.first_day, scope.last_day), times, ZONE, AS_OF)


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
    clock("visits in total", lambda: visits.visits_total(weeks, read.tallies, days, units))
    clock("visits by school", lambda: visits.visits_by(weeks, read.tallies, days, units, "school"))
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
    clock("litres a pupil-day", lambda: water.litres_per_pupil_day(rows, due, pupil_days))
    clock("meters", lambda: balance.meter_balance(units, read.meter_scopes, read.readings, rows, days))


def service_measures(read: Read, made: dict[str, Any], clock: Clock) -> None:
    """Uptime, repairs, crowded breaks."""
    evidence = clock("evidence", lambda: uptime.evidence_days(read.sightings, read.used_days))
    days = clock("unit-days", lambda: uptime.unit_days(read.units, read.outages, evidence, read.scope))
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
    usable = clock(
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
    clock("given out in total", lambda: supplies.given_out_total(given))
    clock("days sold out", lambda: supplies.days_sold_out(machine_weeks))
    clock("demand", lambda: supplies.demand_per_day(given, machine_weeks))
    clock("demand by school", lambda: supplies.demand_by_school(given, machine_weeks))
    clock("demand behind sold-out weeks", lambda: demand.machine_demand(given, machine_weeks))
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
    clock("reach", lambda: sessions.reach_by_group(read.sessions, read.attendance, read.enrolment))
    clock("completeness", lambda: quality.completeness(read.sheets, AS_OF))
    clock("timeliness", lambda: quality.timeliness(read.sheets, AS_OF))


SQL_LITRES = """
WITH v AS (SELECT unit_id, week, sum(visits) AS n FROM usage_count WHERE how = 'grid' GROUP BY unit_id, week),
r AS (SELECT v.*, sum(n) OVER (PARTITION BY unit_id ORDER BY week) AS after FROM v)
SELECT r.unit_id, r.week, f.kind, CASE f.kind
  WHEN 'flush_two_stage' THEN CAST(round(r.n * (f.ml + 1.0 * l.long_visits / l.seen * (f.long_ml - f.ml))) AS INTEGER)
  WHEN 'floor_wash' THEN (r.after / f.every_n - (r.after - r.n) / f.every_n) * f.ml ELSE r.n * f.ml END
FROM r JOIN fitting f ON f.unit_id = r.unit_id
LEFT JOIN long_week l ON l.unit_id = r.unit_id AND l.week = r.week"""
SQL_DOWN = f"""
WITH o AS (SELECT u.id, u.school_id, o.cause, julianday(o.start_at) * 1440 + 180 AS a,
  julianday(o.end_at) * 1440 + 180 AS b FROM outage o JOIN unit u ON u.id = o.unit_id),
h AS (SELECT school_id, day, julianday(day) * 1440 + {OPENS} AS a, julianday(day) * 1440 + {CLOSES} AS b
  FROM school_day)
SELECT o.id, h.day, o.cause, CAST(round(sum(min(o.b, h.b) - max(o.a, h.a))) AS INTEGER) AS down
FROM o JOIN h ON h.school_id = o.school_id AND h.b > o.a AND h.a < o.b GROUP BY o.id, h.day, o.cause"""
SQL_VENDS = """
WITH r AS (SELECT value, lag(value) OVER (PARTITION BY unit_id ORDER BY at) AS before, unit_id, week
  FROM reading WHERE quantity = 'vends')
SELECT r.unit_id, r.week, (r.value - coalesce(r.before, d.first_value) + 10000) % 10000
FROM r JOIN meter_install d ON d.unit_id = r.unit_id AND d.quantity = 'vends'"""
SQL_SOLD_OUT = """
SELECT m.unit_id, s.week, sum(m.ran_out) FROM machine_day m JOIN unit u ON u.id = m.unit_id
JOIN school_day s ON s.school_id = u.school_id AND s.day = m.day GROUP BY m.unit_id, s.week"""
SQL = (SQL_LITRES, SQL_DOWN, SQL_VENDS, SQL_SOLD_OUT)
CORE_READS = ("calendar", "units", "usage", "tallies", "fittings", "long_weeks", "readings", "outages", "machine weeks")
CORE_STEPS = ("visits by unit and week", "litres by unit and week", "down minutes", "given out", "school time")


def in_sql(session: Session) -> tuple[float, list[list[tuple[Any, ...]]]]:
    """The core tables written directly: seconds, and their rows, each with its number last."""
    start = time.process_time()
    connection = session.connection()
    found = [[tuple(row) for row in connection.exec_driver_sql(query)] for query in SQL]
    return time.process_time() - start, found


def as_in_sql(made: dict[str, Any], machine_weeks: pd.DataFrame) -> list[list[tuple[Any, ...]]]:
    """The measures' tables with the columns of ``SQL``."""
    kinds = made["water"]["fitting"].str.split(" ").str[0]
    tables = (
        (made["water"].assign(kind=kinds), ["unit_id", "week", "kind", "ml"]),
        (made["down"], ["unit_id", "day", "cause", "down_min"]),
        (made["given"], ["unit_id", "week", "given_out"]),
        (machine_weeks, ["unit_id", "week", "sold_out_days"]),
    )
    found = []
    for frame, columns in tables:
        rows = frame[columns].assign(**{columns[1]: frame[columns[1]].dt.strftime("%Y-%m-%d")})
        rows[columns[-1]] = rows[columns[-1]].astype("int64")
        found.append(list(rows.itertuples(index=False, name=None)))
    return found


def measure(path: str) -> dict[str, Any]:
    """Everything over one database."""
    engine, clock = make_engine(f"sqlite:///{path}"), Clock()
    with reading(engine) as session:
        in_sql(session)  # once, so that neither side finds the file cold
        start, worked = time.perf_counter(), time.process_time()
        read = Read(session, clock)
        made = core(read, clock)
        use_measures(read, made, clock)
        service_measures(read, made, clock)
        supply_measures(read, made, clock)
        total, process = time.perf_counter() - start, time.process_time() - worked
        direct_s, direct = in_sql(session)
    for ours, theirs in zip(as_in_sql(made, read.machine_weeks), direct, strict=True):
        if sorted(ours) != sorted(theirs):
            raise AssertionError(f"the measures and SQL differ, for example in {sorted(set(ours) ^ set(theirs))[:4]}")
    core_s = sum(clock.steps[f"read {name}"] for name in CORE_READS) + sum(clock.steps[name] for name in CORE_STEPS)
    return {
        "total_s": total,
        "process_s": process,
        "core_s": core_s,
        "sql_s": direct_s,
        "mib": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024,
        "steps": clock.steps,
        "sums": [sum(row[-1] for row in rows) for rows in direct],
    }


def one_size(schools: int) -> dict[str, Any]:
    """Build a database of one size, and measure it in a new process."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "big.db"
        engine = make_engine(f"sqlite:///{path}")
        counts = build(engine, schools)
        engine.dispose()
        run = subprocess.run(
            [sys.executable, "-m", "tests.bench.bench_measures", "--measure", str(path)],
            capture_output=True,
            text=True,
            check=True,
        )
        return json.loads(run.stdout) | {"schools": schools, "counts": counts}


def show(found: dict[str, Any]) -> bool:
    """Print one size; whether its limits are kept (they are those of 1,000 schools)."""
    ratio = found["core_s"] / found["sql_s"]
    print(
        f"{found['schools']:>5} schools, {found['counts']:>9,} counts: {found['total_s']:6.2f} s "
        f"({found['process_s']:.2f} s of the process), {found['mib']:5.0f} MiB; "
        f"core {found['core_s']:.2f} s, in SQL {found['sql_s']:.2f} s, {ratio:.2f} times"
    )
    return found["total_s"] < LIMIT_S and found["mib"] < LIMIT_MIB and ratio < LIMIT_SQL


def profiled(path: str) -> None:
    """Where the time of one database goes."""
    profile = cProfile.Profile()
    profile.runcall(measure, path)
    pstats.Stats(profile).sort_stats("tottime").print_stats(40)


def main(arguments: list[str]) -> int:
    """Build, measure, print; 1 where a limit is missed."""
    if arguments[:1] == ["--measure"]:
        print(json.dumps(measure(arguments[1])))
        return 0
    if arguments[:1] == ["--profile"]:
        profiled(arguments[1])
        return 0
    print(f"{os.cpu_count()} processors")
    found = [one_size(size) for size in SIZES]
    kept = [show(each) for each in found]
    for name, seconds in sorted(found[-1]["steps"].items(), key=lambda step: -step[1])[:25]:
        print(f"    {name:<36}{seconds:6.2f} s")
    return 0 if kept[-1] else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
