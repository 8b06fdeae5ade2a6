"""Who may set up: the administrator a programme, the officer too the schools they look after."""

from __future__ import annotations

from tests.web.access_table import BY_KEY, PUBLIC, Entry

ADMINISTRATOR = {"administrator"}
BOTH = {"officer", "administrator"}
SCHOOL = {"school_id": "school"}
CHANNEL = {**SCHOOL, "channel_id": "channel"}
KEY = {**SCHOOL, "key_id": "key"}
PROGRAMME = {"programme_id": "programme"}

ROWS = [
    Entry("setup.home", {"administrator", "administrator_elsewhere"}),
    Entry("setup.programme", ADMINISTRATOR, PROGRAMME),
    Entry("setup.change_programme", ADMINISTRATOR, PROGRAMME, {"act": "add-term"}),
    Entry("setup.school", BOTH, SCHOOL),
    Entry("setup.change", BOTH, SCHOOL, {"act": "add-unit"}),
    Entry("setup.devices", BOTH, SCHOOL),
    Entry("setup.add_channel", BOTH, SCHOOL),
    Entry("setup.end_channel", BOTH, CHANNEL),
    Entry("setup.make_key", BOTH, SCHOOL, data=lambda _world, _which: {"label": "box"}),
    Entry("setup.end_key", BOTH, KEY),
    Entry("feed.description", PUBLIC),
    Entry("feed.report_schema", PUBLIC),
    Entry("feed.readings", BY_KEY),
]
