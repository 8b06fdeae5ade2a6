"""Who may use the coordinator's routes."""

from __future__ import annotations

from tests.web.access_table import Entry
from tests.web.world import WEEK

COORDINATOR = {"coordinator"}
WARNERS = {"coordinator", "officer", "engineer"}
SCHOOL = {"school_id": "school"}
THE_WEEK = {"week": WEEK.isoformat()}

ROWS = [
    Entry("coordinator.home", {"coordinator", "coordinator_other", "coordinator_elsewhere"}),
    Entry("coordinator.by_code", {"coordinator", "coordinator_other", "coordinator_elsewhere"}),
    Entry("coordinator.school_log", COORDINATOR, SCHOOL),
    Entry("coordinator.week_sheet", COORDINATOR, SCHOOL, THE_WEEK),
    Entry("coordinator.send_week", COORDINATOR, SCHOOL, THE_WEEK),
    Entry("coordinator.tally", COORDINATOR, SCHOOL, THE_WEEK),
    Entry("coordinator.answer_query", COORDINATOR, SCHOOL, {**THE_WEEK, "number": 1}),
    Entry("coordinator.report_now", WARNERS, SCHOOL),
    Entry("coordinator.reported", WARNERS, SCHOOL),
]
