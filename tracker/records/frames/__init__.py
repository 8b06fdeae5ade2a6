"""What reports read: query results as frames with fixed columns, sums made by the database.

Each function asks a constant number of queries, however many schools and weeks there are. Only what was sent
stands in the fact tables, so no draft can come in. The frames are described in DEVELOPERS.md.
"""

from sqlalchemy.orm import Session

from tracker.records.frames.base import Scope
from tracker.records.frames.calendar import SchoolCalendar, break_names, school_calendar, school_days_ahead
from tracker.records.frames.evidence import TrialHead, grant_shares, spot_checks, trials
from tracker.records.frames.heads import BaselineHead, SchoolHead, baselines, before, inspection_answers, schools
from tracker.records.frames.outages import bell_counts, outages, service_visits, sightings
from tracker.records.frames.pupils import grade_ages, shift_pupils
from tracker.records.frames.restock import place_counts, place_moves, products, stock_places, stock_rules, store_lots
from tracker.records.frames.service import engineer_visits, money, service_intervals
from tracker.records.frames.sessions import (
    attendance,
    bin_levels,
    burns,
    enrolment,
    queries,
    quizzes,
    routes,
    sessions,
    sheets,
)
from tracker.records.frames.stock import stock_spans
from tracker.records.frames.supplies import cupboards, given_how, handed_out, machine_weeks, on_hand
from tracker.records.frames.usage import (
    first_floor_wash,
    fittings,
    long_weeks,
    meter_scopes,
    readings,
    tallies,
    units,
    usage,
    used_days,
)
from tracker.records.frames.water import (
    burn_outputs,
    cleaning_plans,
    deliveries,
    energy_given,
    hand_flushes,
    power_uses,
    ratings,
    tank_scopes,
    tanks,
)
from tracker.records.heads import (
    AgreementHead,
    ProgrammeHead,
    TargetHead,
    TermHead,
    agreements,
    programme,
    programme_of_school,
    rounds_after,
    targets,
    terms,
)

__all__ = [
    "AgreementHead",
    "BaselineHead",
    "ProgrammeHead",
    "SchoolCalendar",
    "SchoolHead",
    "Scope",
    "Session",
    "TargetHead",
    "TermHead",
    "TrialHead",
    "agreements",
    "attendance",
    "baselines",
    "before",
    "bell_counts",
    "bin_levels",
    "break_names",
    "burn_outputs",
    "burns",
    "cleaning_plans",
    "cupboards",
    "deliveries",
    "energy_given",
    "engineer_visits",
    "enrolment",
    "first_floor_wash",
    "fittings",
    "given_how",
    "grade_ages",
    "grant_shares",
    "hand_flushes",
    "handed_out",
    "inspection_answers",
    "long_weeks",
    "machine_weeks",
    "meter_scopes",
    "money",
    "on_hand",
    "outages",
    "place_counts",
    "place_moves",
    "power_uses",
    "products",
    "programme",
    "programme_of_school",
    "queries",
    "quizzes",
    "ratings",
    "readings",
    "rounds_after",
    "routes",
    "school_calendar",
    "school_days_ahead",
    "schools",
    "service_intervals",
    "service_visits",
    "sessions",
    "sheets",
    "shift_pupils",
    "sightings",
    "spot_checks",
    "stock_places",
    "stock_rules",
    "stock_spans",
    "store_lots",
    "tallies",
    "tank_scopes",
    "tanks",
    "targets",
    "terms",
    "trials",
    "units",
    "usage",
    "used_days",
]
