"""Who may set up: the administrator a programme, the officer too the schools they look after."""

from __future__ import annotations

from tests.web.access_table import Entry

ADMINISTRATOR = {"administrator"}
BOTH = {"officer", "administrator"}
SCHOOL = {"school_id": "school"}
PROGRAMME = {"programme_id": "programme"}

ROWS = [
    Entry("setup.home", {"administrator", "administrator_elsewhere"}),
    Entry("setup.programme", ADMINISTRATOR, PROGRAMME),
    Entry("setup.change_programme", ADMINISTRATOR, PROGRAMME, {"act": "add-term"}),
    Entry("setup.school", BOTH, SCHOOL),
    Entry("setup.change", BOTH, SCHOOL, {"act": "add-unit"}),
]
