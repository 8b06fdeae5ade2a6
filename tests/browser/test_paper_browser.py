"""The paper sheet printed by a real browser: pages, boxes to write in, and the way back to the right week."""

from __future__ import annotations

import re

import pytest
from sqlalchemy import select

from tests.browser.test_coordinator_browser import WEEK, address, chromium, go, log_in
from tracker.db import make_engine, reading, writing
from tracker.models.people import RoleGrant
from tracker.models.school import School
from tracker.vocabulary import Role

__all__ = ["address", "chromium"]
pytestmark = pytest.mark.browser
A4_INSIDE = 726  # CSS pixels: 210 mm less two margins of 9 mm
BOXES = """[...document.querySelectorAll('table.tally td:not(.none)')].map(cell => cell.getBoundingClientRect())
  .map(box => [box.width / 96 * 25.4, box.height / 96 * 25.4]).filter(([wide, high]) => wide < 8 || high < 8)"""


def grant_full_grid(path) -> int:
    """Let the demo's coordinator open the school that tallies seven units in every break."""
    engine = make_engine(f"sqlite:///{path}")
    with writing(engine) as session:
        school = session.scalars(select(School).where(School.code == "OL-11")).one()
        mine = session.scalars(select(RoleGrant).where(RoleGrant.ref == "coordinator-OL-01")).one()
        session.add(
            RoleGrant(
                programme_id=school.programme_id,
                ref="coordinator-too",
                person_id=mine.person_id,
                role=Role.COORDINATOR,
                school_id=school.id,
            )
        )
        number = school.id
        session.commit()
    engine.dispose()
    return number


def number_of(path, code: str) -> int:
    engine = make_engine(f"sqlite:///{path}")
    with reading(engine) as look:
        number = look.scalar(select(School.id).where(School.code == code))
    engine.dispose()
    return number


@pytest.mark.parametrize(("code", "sheets"), [("OL-01", 1), ("OL-03", 1), ("OL-11", 2)])
def test_the_sheet_prints_on_its_pages_on_a4_and_letter_with_boxes_of_8_mm(chromium, address, demo_copy, code, sheets):
    number = grant_full_grid(demo_copy) if code == "OL-11" else number_of(demo_copy, code)
    page = log_in(chromium, address, (A4_INSIDE, 1070))
    page.goto(f"{address}/schools/{number}/weeks/{WEEK}/tally")
    for paper in ("A4", "Letter"):
        assert len(re.findall(rb"/Type\s*/Page\b", page.pdf(format=paper))) == sheets, paper
    page.emulate_media(media="print")
    assert page.locator("table.tally td").count() > 40
    assert page.evaluate(BOXES) == []
    assert page.locator(".paper").count() == sheets
    assert page.locator(".page-total").count() == sheets - 1
    square = page.locator("svg.qr").first.bounding_box()
    assert square["width"] / 96 * 25.4 >= 20  # some 0.4 mm a module, which cheap phones read (common practice)


def test_the_code_of_the_paper_opens_its_week_and_a_wrong_one_is_kept_and_told(chromium, address, demo_copy):
    number = number_of(demo_copy, "OL-03")
    page = log_in(chromium, address, (360, 640), scripts=False)
    page.goto(f"{address}/schools/{number}/weeks/{WEEK}/tally")
    code = page.locator(".paper .code").inner_text()
    page.goto(f"{address}/log/paper")
    page.fill("#code", "ZZZZ")
    go(page, "main button.main")
    assert page.input_value("#code") == "ZZZZ" and "no sheet with this code" in page.inner_text("main")
    page.fill("#code", f"{code[:5].lower()} {code[5:]}")
    go(page, "main button.main")
    assert page.url.endswith(f"/schools/{number}/weeks/{WEEK}")
