"""The frames of two terms, read once, with the unit-weeks and litres that history is needed for.

A constant number of queries for one school or for all, for one week or for a year.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from functools import cached_property
from typing import Any
from zoneinfo import ZoneInfo

import pandas as pd

from tracker.measures import dials, flush, supplies, uptime, visits
from tracker.measures.calendar import Scope, Span
from tracker.measures.cleaning_water import Cleaning, unit_week_cleaning
from tracker.measures.manual_flush import ManualFlush, with_manual_flush
from tracker.records import frames
from tracker.records.settings import all_settings
from tracker.vocabulary import CountWay, Every, LitresBasis, Source, UnitKind

STOCK_HISTORY = timedelta(days=70)  # a machine's count before the period may lie before a long holiday
WEEK = timedelta(days=6)


@dataclass(frozen=True, eq=False)
class Gathered:
    """Frames over both terms and the history they need. Names of frames are those of DEVELOPERS.md.

    ``period`` spans both terms; ``since`` is the day from which the calendar was read.
    """

    period: Span
    since: date
    programme: frames.ProgrammeHead
    settings: dict[str, int]
    zone: ZoneInfo
    calendar: frames.SchoolCalendar
    all_units: pd.DataFrame
    tallies: pd.DataFrame
    readings: pd.DataFrame
    unit_weeks: pd.DataFrame
    fittings: pd.DataFrame
    water: pd.DataFrame
    scopes: pd.DataFrame
    outages: pd.DataFrame
    sightings: pd.DataFrame
    used_days: pd.DataFrame
    bell_counts: pd.DataFrame
    machine_weeks: pd.DataFrame
    given: pd.DataFrame
    handed_out: pd.DataFrame
    given_how: pd.DataFrame
    enrolment: pd.DataFrame
    sessions: pd.DataFrame
    attendance: pd.DataFrame
    burns: pd.DataFrame
    routes: pd.DataFrame
    sheets: pd.DataFrame
    queries: pd.DataFrame
    before: pd.DataFrame
    quizzes: pd.DataFrame
    money: pd.DataFrame
    engineer_visits: pd.DataFrame
    service_intervals: pd.DataFrame
    shift_pupils: pd.DataFrame
    stock_spans: pd.DataFrame
    tanks: pd.DataFrame
    tank_scopes: pd.DataFrame
    deliveries: pd.DataFrame
    levels: pd.DataFrame
    cleaning: pd.DataFrame
    hand_flushes: pd.DataFrame
    power_uses: pd.DataFrame
    energy_given: pd.DataFrame
    ratings: pd.DataFrame
    burn_outputs: pd.DataFrame
    grade_ages: dict[str, int]
    baselines: dict[str, frames.BaselineHead]

    @cached_property
    def standing(self) -> pd.DataFrame:
        """Units that can be working or out of service; tanks and meters have levels and readings instead."""
        return self.all_units[~self.all_units["kind"].isin([UnitKind.TANK.value, UnitKind.METER.value])]


@dataclass(frozen=True, eq=False)
class Days:
    """What is kept by unit and day, worked out once for both terms, up to an instant."""

    all: Gathered
    until: datetime

    def known(self, of: Gathered, unit_days: pd.DataFrame, down: pd.DataFrame) -> Days:
        """Days of other frames whose unit-days and lost minutes are known already."""
        found = Days(of, self.until)
        found.__dict__.update(scope=self.scope, unit_days=unit_days, down=down)  # as if they had been worked out
        return found

    @cached_property
    def scope(self) -> Scope:
        """What the uptime measures look at."""
        ids = tuple(sorted(set(self.all.all_units["school_id"].tolist())))
        period = self.all.period
        times = self.all.calendar.times(period.first, period.last, ids)
        return Scope(period, times, self.all.zone, self.until)

    @cached_property
    def unit_days(self) -> pd.DataFrame:
        """One row per unit and school day, from ``uptime.unit_days``."""
        evidence = uptime.evidence_days(self.all.sightings, self.all.used_days)
        return uptime.unit_days(self.all.standing, self.all.outages, evidence, self.scope)

    @cached_property
    def down(self) -> pd.DataFrame:
        """School minutes lost by unit, day and cause."""
        return uptime.down_minutes(self.all.outages, self.all.standing, self.scope)


def read(session: frames.Session, head: frames.ProgrammeHead, wide: frames.Scope, term_from: date) -> Gathered:
    """Read everything about the days of a scope, and before it what floor washes, dials and machines carry on.

    Stock from count to count is that of the days from ``term_from`` on.
    """
    zone = ZoneInfo(head.zone)
    floor = frames.first_floor_wash(session, wide) or wide.first_day
    counted = frames.Scope(head.id, min(floor, wide.first_day), wide.last_day, wide.school_ids)
    stocked = frames.Scope(head.id, wide.first_day - STOCK_HISTORY, wide.last_day, wide.school_ids)
    first = min(counted.first_day, stocked.first_day)
    settings = all_settings(session, head.id, wide.last_day)
    held = frames.school_calendar(session, frames.Scope(head.id, first, wide.last_day + WEEK, wide.school_ids), zone)
    units = frames.units(session, counted)
    usage, tallies = frames.usage(session, counted), frames.tallies(session, counted)
    readings = frames.readings(session, counted, zone)
    counters = (units, usage, tallies, held.occasions, readings)
    unit_weeks = visits.unit_weeks(*counters, preferred=_preferred(units), since=first)
    machine_weeks = frames.machine_weeks(session, stocked, held.occasions)
    fittings = _fittings(session, counted, settings)
    hands = frames.hand_flushes(session, counted)
    litres = _water(session, counted, (wide.first_day, first), settings, (units, unit_weeks, held, readings, fittings))
    return Gathered(
        period=Span(wide.first_day, wide.last_day),
        since=first,
        programme=head,
        settings=settings,
        zone=zone,
        calendar=held,
        all_units=units,
        tallies=tallies,
        readings=readings,
        unit_weeks=unit_weeks,
        fittings=fittings,
        water=_with_hands(litres, hands, settings["litres_u_permille"]),
        hand_flushes=hands,
        cleaning=_cleaning(session, wide, units, held, settings),
        machine_weeks=machine_weeks,
        given=_given(machine_weeks, readings, held.occasions, units),
        sheets=frames.sheets(session, wide, held.occasions, settings["sheet_due_days"], zone),
        grade_ages=frames.grade_ages(session, wide),
        baselines=frames.baselines(session, head.id, wide.last_day),
        stock_spans=frames.stock_spans(session, replace(wide, first_day=term_from)),
        **_of_the_days(session, wide, zone),
    )


def _of_the_days(session: frames.Session, wide: frames.Scope, zone: ZoneInfo) -> dict[str, pd.DataFrame]:
    """The frames that need no history."""
    return {
        "scopes": frames.meter_scopes(session, wide),
        "outages": frames.outages(session, wide, zone),
        "sightings": frames.sightings(session, wide, zone),
        "used_days": frames.used_days(session, wide),
        "bell_counts": frames.bell_counts(session, wide),
        "handed_out": frames.handed_out(session, wide),
        "given_how": frames.given_how(session, wide),
        "enrolment": frames.enrolment(session, wide),
        "sessions": frames.sessions(session, wide),
        "attendance": frames.attendance(session, wide),
        "burns": frames.burns(session, wide),
        "routes": frames.routes(session, wide),
        "queries": frames.queries(session, wide),
        "before": frames.before(session, wide),
        "quizzes": frames.quizzes(session, wide),
        "money": frames.money(session, wide),
        "engineer_visits": frames.engineer_visits(session, wide, zone),
        "service_intervals": frames.service_intervals(session, wide),
        "shift_pupils": frames.shift_pupils(session, wide),
        "tanks": frames.tanks(session, wide),
        "tank_scopes": frames.tank_scopes(session, wide),
        "deliveries": frames.deliveries(session, wide),
        "levels": frames.bin_levels(session, wide),
        "power_uses": frames.power_uses(session, wide),
        "energy_given": frames.energy_given(session, wide),
        "ratings": frames.ratings(session, wide),
        "burn_outputs": frames.burn_outputs(session, wide),
    }


def _preferred(units: pd.DataFrame) -> dict[int, Source]:
    return {int(unit): Source(source) for unit, source in zip(units["unit_id"], units["source"], strict=True)}


def _fittings(session: frames.Session, counted: frames.Scope, settings: dict[str, int]) -> pd.DataFrame:
    """Fittings; a maker's claim without an uncertainty of its own takes the programme's."""
    fittings = frames.fittings(session, counted)
    claimed = fittings["litres_basis"] == LitresBasis.CLAIM.value
    unknown = fittings["u_permille"].isna() & claimed
    return fittings.assign(u_permille=fittings["u_permille"].mask(unknown, float(settings["litres_u_permille"])))


def _water(
    session: frames.Session,
    counted: frames.Scope,
    since: tuple[date, date],
    settings: dict[str, int],
    known: tuple[pd.DataFrame, pd.DataFrame, frames.SchoolCalendar, pd.DataFrame, pd.DataFrame],
) -> pd.DataFrame:
    """Litres from the first of two days on; the calendar ``held`` was read from the second."""
    units, unit_weeks, held, readings, fittings = known
    counters = (frames.long_weeks(session, counted), readings, unit_weeks, held.occasions, units)
    looked = flush.with_long_counters(*counters, preferred=_preferred(units), since=since[1])
    share, low, high = (settings[f"long_share_{name}permille"] / 1000 for name in ("", "low_", "high_"))
    return flush.unit_week_water(
        unit_weeks,
        units,
        fittings,
        looked,
        held.school_days,
        assumed=flush.LongShare(share, low, high),
        period_from=since[0] - WEEK,
    )


def _with_hands(water: pd.DataFrame, hands: pd.DataFrame, claim_u_permille: int) -> pd.DataFrame:
    """The same with flushes worked by hand beside the automatic ones; a unit's rows follow one another."""
    if hands.empty:
        return water
    mine = water["unit_id"].isin(hands["unit_id"])
    rows = water[mine]
    for _, one in hands.groupby(hands.groupby("unit_id").cumcount()):
        rows = with_manual_flush(rows, {row.unit_id: _hand(row, claim_u_permille) for row in dials.rows_of(one)})
    found = pd.concat([water[~mine], rows.set_axis(water.index[mine])])
    return found.sort_index()


def _hand(row: Any, claim_u_permille: int) -> ManualFlush:
    return ManualFlush(
        row.ml,
        flush.LongShare(
            row.share_permille / 1000, row.share_low_permille / 1000, row.share_high_permille / 1000, row.share_seen
        ),
        row.instead,
        LitresBasis(row.litres_basis),
        _usual_u(row, claim_u_permille),
        row.from_day.date(),
        None if pd.isna(row.until_day) else row.until_day.date(),
    )


def _cleaning(
    session: frames.Session,
    wide: frames.Scope,
    units: pd.DataFrame,
    held: frames.SchoolCalendar,
    settings: dict[str, int],
) -> pd.DataFrame:
    """Litres of cleaning by the clock; it runs whether or not a unit's visits are counted."""
    plans: dict[int, list[Cleaning]] = {}
    for row in dials.rows_of(frames.cleaning_plans(session, wide)):
        usual = _usual_u(row, settings["litres_u_permille"])
        days = (row.from_day.date(), None if pd.isna(row.until_day) else row.until_day.date())
        plans.setdefault(row.unit_id, []).append(Cleaning(row.cycle, row.ml, row.times, Every(row.every), usual, *days))
    mine = units[units["unit_id"].isin(list(plans))].assign(count_way=CountWay.COUNTER.value)
    weeks = held.occasions[held.occasions["week"] >= pd.Timestamp(wide.first_day - WEEK)]
    due = visits.expected_unit_weeks(mine, weeks, list(UnitKind))
    days_held = held.school_days[held.school_days["school_id"].isin(mine["school_id"])]
    return unit_week_cleaning(due, days_held, plans)


def _usual_u(row: Any, claim_u_permille: int) -> float:
    """The relative uncertainty of litres, or what is usual for how they are known."""
    measured = row.litres_basis == LitresBasis.MEASURED.value
    usual = flush.MEASURED_U if measured else claim_u_permille / 1000
    return float(usual if pd.isna(row.u_permille) else row.u_permille / 1000)


def _given(
    machine_weeks: pd.DataFrame, readings: pd.DataFrame, occasions: pd.DataFrame, units: pd.DataFrame
) -> pd.DataFrame:
    machines = units[units["kind"] == UnitKind.MACHINE.value]
    vends = readings[readings["quantity"] == "vends"]
    steps = dials.spread_over_weeks(dials.interval_uses(vends, preferred=_preferred(machines)), occasions, machines)
    given = supplies.given_out_weeks(machine_weeks, steps, machines, occasions)
    codes = dict(zip(units["school_id"], units["school"], strict=True))
    return given.assign(school=given["school_id"].map(codes).astype("str"))
