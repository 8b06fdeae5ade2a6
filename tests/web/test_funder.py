"""The funder's door: only what is published for them, from the stored bytes, no school's name."""

from __future__ import annotations

import json

import pytest

from tests.make import make_person, make_programme, make_term
from tests.reports.by_hand import line, report
from tests.reports.test_publishing import PAGE, publish
from tracker.reports import publishing
from tracker.vocabulary import ReportKind, Role

pytestmark = pytest.mark.usefixtures("app")


@pytest.fixture
def place(session):
    programme = make_programme(session, name="Ombari Lakes")
    return programme, make_term(session, programme, name="Term 1"), make_person(session, programme, Role.OFFICER)


@pytest.fixture
def funder(session, place, login_as):
    return login_as(make_person(session, place[0], Role.FUNDER))


def test_with_nothing_published_the_page_says_so(funder):
    assert "Nothing is published yet." in funder.get("/funder/").get_data(as_text=True)


def test_the_list_shows_the_latest_version_and_its_page_the_stored_bytes(session, place, funder):
    publish(session, place)
    second, _ = publish(session, place, reason="Revision: a late sheet")
    session.commit()
    home = funder.get("/funder/").get_data(as_text=True)
    assert home.count("Impact summary, Term 1") == 1 and "Version 2" in home and "Revision: a late sheet" in home
    text = funder.get(f"/publications/{second}").get_data(as_text=True)
    assert publishing.body_of(PAGE.encode()) in text and "Version 1" in text


def test_earlier_versions_stay_readable(session, place, funder):
    first, _ = publish(session, place)
    publish(session, place, reason="Correction: a wrong count")
    session.commit()
    text = funder.get(f"/publications/{first}").get_data(as_text=True)
    assert "A later version replaces this one." in text and "Correction: a wrong count" in text


def test_files_come_byte_for_byte_with_their_version_in_the_name(session, place, funder):
    found, made = publish(session, place)
    session.commit()
    answer = funder.get(f"/publications/{found}/files/report.json")
    assert answer.get_data(as_text=True) == made.content
    assert answer.headers["Content-Disposition"] == 'attachment; filename="version-1-report.json"'
    assert answer.headers["X-Content-Type-Options"] == "nosniff"
    assert funder.get(f"/publications/{found}/files/other.json").status_code == 404


def test_what_schools_brought_is_not_in_the_funders_files_nor_reachable(session, place, funder):
    found, made = publish(session, place, report(line()))
    session.commit()
    content = json.loads(made.content)
    assert "S1" not in made.content and "parts" not in json.dumps(content)
    assert funder.get(f"/publications/{found}/figures/visits").status_code == 403
    assert "Records behind the numbers" not in funder.get(f"/publications/{found}").get_data(as_text=True)


def test_a_programme_report_of_the_officer_is_not_found_by_the_funder(session, place, funder):
    made = publishing.draft(session, place[0].id, report(kind=ReportKind.PROGRAMME_TERM), None)
    approval = publishing.Approval(place[0].id, place[1].id, place[2].id, made.report.cutoff_at)
    found = publishing.publish(session, made, PAGE, approval)
    session.commit()
    assert funder.get(f"/publications/{found}").status_code == 404
    assert funder.get(f"/publications/{found}/files/report.json").status_code == 404
    assert "rogramme term report" not in funder.get("/funder/").get_data(as_text=True)


def test_no_address_of_the_funder_takes_a_filter(app):
    # Fixed report shapes, so that no difference of two filters can point at a few people.
    rules = [rule for rule in app.url_map.iter_rules() if rule.endpoint.startswith("funder.")]
    assert {name for rule in rules for name in rule.arguments} <= {"publication_id", "name"}


WHO = {"identifier": "XM-EXAMPLE-1", "activity": "XM-EXAMPLE-1-LAKES", "kind": "22", "name": "A made-up organisation"}


def test_the_results_for_iati_come_from_the_published_content(session, place, funder):
    found, _ = publish(session, place)
    session.commit()
    assert funder.get(f"/publications/{found}/iati").status_code == 200
    answer = funder.get(f"/publications/{found}/iati", query_string=WHO)
    assert answer.mimetype == "application/xml" and "XM-EXAMPLE-1-LAKES" in answer.get_data(as_text=True)
    assert answer.headers["Content-Disposition"].endswith('"version-1-iati.xml"')


def test_who_publishes_is_asked_for_at_its_field_and_what_was_typed_stays(session, place, funder):
    found, _ = publish(session, place)
    session.commit()
    answer = funder.get(f"/publications/{found}/iati", query_string={**WHO, "activity": "OTHER-1-A"})
    text = answer.get_data(as_text=True)
    assert answer.status_code == 400 and "begins with the organisation" in text and 'value="OTHER-1-A"' in text
