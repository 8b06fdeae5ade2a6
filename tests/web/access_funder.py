"""Who may read what is published: funders the impact summaries of their programme, officers all of it."""

from __future__ import annotations

from tests.web.access_table import Entry

READERS = {"funder", "officer", "officer_area"}
WITH_ROLE = {"funder", "officer", "coordinator"}
PUBLICATION = {"publication_id": "publication"}

ROWS = [
    Entry("funder.home", {"funder", "funder_elsewhere"}),
    Entry("funder.publication", READERS, PUBLICATION, roles=WITH_ROLE),
    Entry("funder.publication_file", READERS, PUBLICATION, {"name": "report.html"}, roles=WITH_ROLE),
]
