"""Who may use the engineer's door."""

from __future__ import annotations

from tests.web.access_table import Entry

ENGINEER = {"engineer"}
EVERY = {"engineer", "engineer_other", "engineer_elsewhere"}

ROWS = [
    Entry("engineer.home", EVERY),
    Entry("engineer.jobs", EVERY),
    Entry("engineer.job", ENGINEER, {"visit_id": "job"}),
    Entry("engineer.unit", ENGINEER, {"unit_id": "unit"}),
    Entry("engineer.seen", ENGINEER, {"unit_id": "unit"}),
    Entry("engineer.school", ENGINEER, {"school_id": "school"}),
    Entry("engineer.service", ENGINEER, {"school_id": "school"}),
]
