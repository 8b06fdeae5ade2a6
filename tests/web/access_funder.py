"""Who may read what is published: funders the impact summaries of their programme, officers all of it."""

from __future__ import annotations

from tests.web.access_table import PUBLIC, Entry

READERS = {"funder", "officer", "officer_area"}
OFFICERS = {"officer", "officer_area"}
WITH_ROLE = {"funder", "officer", "coordinator"}
PUBLICATION = {"publication_id": "publication"}

ROWS = [
    Entry("funder.home", {"funder", "funder_elsewhere"}),
    Entry("funder.publication", READERS, PUBLICATION, roles=WITH_ROLE),
    Entry("funder.publication_iati", READERS, PUBLICATION),
    Entry("links.list_of", OFFICERS, PUBLICATION),
    Entry("links.make", OFFICERS, PUBLICATION, data=lambda _world, _which: {"label": "A funder", "days": "30"}),
    Entry("links.end", OFFICERS, {**PUBLICATION, "link_id": "link"}),
    Entry("links.shared", PUBLIC, literals={"token": "opened"}),
    Entry("links.shared_file", PUBLIC, literals={"token": "opened", "name": "report.html"}),
    Entry("funder.publication_file", READERS, PUBLICATION, {"name": "report.html"}, roles=WITH_ROLE),
]
