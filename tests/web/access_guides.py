"""Guides hold no record and are open to everybody."""

from __future__ import annotations

from tests.web.access_table import PUBLIC, Entry

ROWS = [Entry("guides.listed", PUBLIC), Entry("guides.page", PUBLIC, literals={"door": "coordinator"})]
