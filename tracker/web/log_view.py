"""What the coordinator's first page shows: last week's outcome, this week, weeks not reported, breaks to tally."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from tracker.measures.calendar import week_of
from tracker.models.programme import Programme
from tracker.models.school import School
from tracker.records import dangers, sheet_outcomes, sheets
from tracker.records.context import is_counted
from tracker.records.settings import setting
from tracker.records.sheets import WeekState
from tracker.vocabulary import CountWay, SheetState
from tracker.web.database import db
from tracker.web.filters import day as day_said
from tracker.web.filters import minutes, short_day

WEEK = timedelta(days=7)
EARLIER_SHOWN = 8
SENT_STATES = (SheetState.SENT, SheetState.QUERIED, SheetState.ACCEPTED)
SAID = {
    None: "not reported yet",
    SheetState.DRAFT: "draft, not sent yet",
    SheetState.SENT: "received",
    SheetState.QUERIED: "questions to answer",
    SheetState.ACCEPTED: "accepted",
}
BUTTON = {
    None: "Fill in this week's sheet",
    SheetState.DRAFT: "Go on with your draft",
    SheetState.SENT: "Look at it or change it",
    SheetState.QUERIED: "Answer the questions",
    SheetState.ACCEPTED: "Look at it",
}


def schools(ids: Iterable[int]) -> list[School]:
    """The schools, by name."""
    found = [db().get(School, one) for one in ids]
    return sorted((one for one in found if one is not None), key=lambda one: one.name)


def log_of(school: School, programme: Programme, today: date, now: datetime) -> dict[str, Any]:
    """All that the page shows; the number of queries does not grow with weeks."""
    week = week_of(today, programme.first_weekday)
    overview = sheets.week_overview(db(), school.id, until=week)
    due = setting(db(), programme.id, "sheet_due_days", today)
    missing = [one for one in overview if one.state in (None, SheetState.DRAFT) and one.week < week]
    earlier = [{"week": one.week, "said": SAID[one.state]} for one in overview if one.week < week and one.version]
    drawn = sheet_outcomes.drawn_breaks(db(), school.id, today, week + 2 * WEEK - timedelta(days=1))
    return {
        "last": _last(school, programme, overview, week, now),
        "this": _this(overview, week),
        "missing": [{"week": one.week, "has_draft": one.has_draft, "late": _late(one, due, today)} for one in missing],
        "drawn": [_drawn_said(one) for one in drawn],
        "visits_drawn": is_counted(db(), school.id, CountWay.DRAWN, today),
        "drawn_when": "this week and next",
        "drawn_week": drawn[-1].day and week_of(drawn[-1].day, programme.first_weekday) if drawn else None,
        "earlier": earlier[:EARLIER_SHOWN],
        "before": earlier[EARLIER_SHOWN:],
        "dangers": dangers.open_dangers(db(), school_id=school.id),
    }


def _late(one: WeekState, due_days: int, today: date) -> bool:
    return today > one.week + WEEK - timedelta(days=1) + timedelta(days=due_days)


def _this(overview: list[WeekState], week: date) -> dict[str, Any] | None:
    found = next((one for one in overview if one.week == week), None)
    if found is None:
        return None
    return {"week": week, "said": SAID[found.state], "button": BUTTON[found.state]}


def _last(
    school: School, programme: Programme, overview: list[WeekState], week: date, now: datetime
) -> dict[str, Any] | None:
    """The latest sheet that was sent before this week: where it stands, and what was done since its week began."""
    found = next((one for one in overview if one.week < week and one.state in SENT_STATES), None)
    if found is None:
        return None
    sheet = sheets.find_sheet(db(), school.id, found.week)
    queries = sheets.queries_of(db(), sheet.id) if sheet is not None else []
    version = sheets.find_version(db(), sheet) if sheet is not None else None
    return {
        "reference": version.reference if version is not None else "",
        "received_at": version.sent_at if version is not None else None,
        "week": found.week,
        "said": SAID[found.state],
        "questions": [one for one in queries if one.answered_at is None and one.closed_at is None],
        "done": list(_done(school, programme, found.week, now)),
    }


def _done(school: School, programme: Programme, since_day: date, now: datetime) -> Iterable[str]:
    zone = ZoneInfo(programme.zone)
    since = datetime.combine(since_day, time(0), tzinfo=zone).astimezone(UTC)
    for ended in sheet_outcomes.ended_since(db(), school.id, since, now):
        yield f"{ended.unit} is back in service since {short_day(ended.at.astimezone(zone).date())} ({ended.cause})."
    for came in sheet_outcomes.delivered_since(db(), school.id, since_day, now.astimezone(zone).date()):
        yield f"{came.quantity} pieces of {came.product} came on {short_day(came.day)}."
    for job in sheet_outcomes.done_since(db(), school.id, since, now):
        yield f"{job.unit}: the engineer was there on {short_day(job.at.astimezone(zone).date())}. {job.done}"


def _drawn_said(one: sheet_outcomes.Drawn) -> str:
    at = f", {minutes(one.start_min)}" if one.start_min is not None else ""
    return f"{day_said(one.day)}: {one.name}{at}"
