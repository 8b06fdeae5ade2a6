"""Who may use reports: schools' by their coordinator and officer, the programme's by its officers."""

from __future__ import annotations

from tests.web.access_table import Entry

OF_SCHOOL = {"coordinator", "officer"}
OFFICERS = {"officer", "officer_area"}
SCHOOL_TERM = {"school_id": "school", "term": "term"}
PROGRAMME_TERM = {"programme_id": "programme", "term": "term"}
FILE, AGREEMENT = {"name": "report.json"}, {"agreement": "AG"}

ROWS = [
    Entry("reports.school", OF_SCHOOL, {"school_id": "school"}),
    Entry("reports.school_term", OF_SCHOOL, SCHOOL_TERM),
    Entry("reports.school_term_file", OF_SCHOOL, SCHOOL_TERM, FILE),
    Entry("reports.school_term_parts", OF_SCHOOL, SCHOOL_TERM, {"figure": "sessions_held"}),
    Entry("reports.programme", OFFICERS, {"programme_id": "programme"}),
    Entry("reports.programme_term", OFFICERS, PROGRAMME_TERM),
    Entry("reports.programme_term_file", OFFICERS, PROGRAMME_TERM, FILE),
    Entry("reports.programme_term_parts", OFFICERS, PROGRAMME_TERM, {"figure": "sessions_held"}),
    Entry("reports.certificate", OFFICERS, PROGRAMME_TERM, AGREEMENT),
    Entry("reports.certificate_file", OFFICERS, PROGRAMME_TERM, AGREEMENT | FILE),
    Entry("reports.impact", OFFICERS, PROGRAMME_TERM),
    Entry("reports.impact_file", OFFICERS, PROGRAMME_TERM, FILE),
    Entry("reports.publish", OFFICERS, PROGRAMME_TERM),
    Entry("reports.published_parts", OFFICERS, {"publication_id": "publication"}, {"figure": "visits"}),
]
