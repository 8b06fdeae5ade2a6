"""Who may use the officer's door."""

from __future__ import annotations

from tests.web.access_table import Entry

OFFICER = {"officer"}
SCHOOL = {"school_id": "school"}
PROGRAMME = {"programme_id": "programme"}
SHEET = {"sheet_id": "sheet"}
FIRST = {"number": 1}

ROWS = [
    Entry("officer.home", {"officer", "officer_area", "officer_elsewhere"}),
    Entry("officer.reports", {"officer", "officer_area", "officer_elsewhere"}),
    Entry("officer.today", {"officer", "officer_area"}, {"programme_id": "programme"}),
    Entry("officer.evidence", {"officer", "officer_area"}, PROGRAMME),
    Entry("officer.add_trial", OFFICER, PROGRAMME),
    Entry("officer.add_grant", OFFICER, PROGRAMME),
    Entry("officer.add_share", OFFICER, {"grant_id": "funding_grant"}),
    Entry("officer.end_share", OFFICER, {"share_id": "grant_share"}),
    Entry("officer.spot_checks", {"officer", "officer_area"}, PROGRAMME | {"term": "term"}),
    Entry("officer.draw_checks", OFFICER, PROGRAMME | {"term": "term"}),
    Entry("officer.answer_check", OFFICER, {"check_id": "spot_check"}),
    Entry("officer.restock", {"officer", "officer_area"}, {"programme_id": "programme"}),
    Entry("officer.restock_file", {"officer", "officer_area"}, {"programme_id": "programme"}, {"name": "report.json"}),
    Entry("officer.school", OFFICER, SCHOOL),
    Entry("officer.danger", OFFICER, SCHOOL),
    Entry("officer.outage", OFFICER, SCHOOL),
    Entry("officer.end_outage", OFFICER, {"outage_id": "outage"}),
    Entry("officer.ask_engineer", OFFICER, {"unit_id": "unit"}),
    Entry("officer.withdraw", OFFICER, {"visit_id": "job"}),
    Entry("officer.sheet", OFFICER, SHEET),
    Entry("officer.accept", OFFICER, SHEET),
    Entry("officer.ask", OFFICER, SHEET),
    Entry("officer.close_query", OFFICER, SHEET, FIRST),
]
