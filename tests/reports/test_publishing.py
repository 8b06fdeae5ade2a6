"""Publishing: checks that refuse, parts that add up exactly, versions that never change and say what they changed."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, date, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st
from sqlalchemy import update
from sqlalchemy.exc import DBAPIError

from tests.make import make_person, make_programme, make_term
from tests.reports.by_hand import BLANK, PUPILS, SHARE, SHEETS, VISITS, WEEKS, line, parts, report, table
from tracker.measures.figure import Figure, Part
from tracker.models.publications import Publication, PublicationFile
from tracker.models.sheets import Query, WeekSheet
from tracker.records import publications
from tracker.reports import checks, opened, publishing
from tracker.reports.printing import rounded
from tracker.reports.report import Column
from tracker.vocabulary import Basis, ReportKind, Role, SheetState

AT = datetime(2026, 4, 5, 8, 0, tzinfo=UTC)
PAGE = f"<html>{publishing.MARKS[0]}<p>One</p>{publishing.MARKS[1]}</html>"


@pytest.fixture
def place(session):
    programme = make_programme(session)
    term = make_term(session, programme, first=date(2026, 1, 12), last=date(2026, 4, 3))
    return programme, term, make_person(session, programme, Role.OFFICER)


def publish(session, place, made=None, reason=""):
    programme, term, person = place
    former = publications.former(session, programme.id, term.id, ReportKind.IMPACT)
    made = publishing.draft(session, programme.id, made or report(), former.content if former else None)
    approval = publishing.Approval(programme.id, term.id, person.id, AT, reason)
    return publishing.publish(session, made, PAGE, approval), made


def check(session, place, made, title):
    return next(one for one in checks.look(session, place[0].id, made) if one.title == title)


# --- checks -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("count", "refused"), [(9.0, True), (10.0, False), (0.0, False), (1.0, True)])
def test_a_headline_about_people_from_1_to_9_refuses_to_publish(session, place, count, refused):
    # Threshold 10, zero may be shown: a state health department's guideline on small numbers.
    made = report(line(replace(PUPILS, value=count), label="Pupils reached"))
    draft = publishing.draft(session, place[0].id, made, None)
    assert draft.refused is refused
    if refused:
        with pytest.raises(ValueError, match="stands in the way"):
            publish(session, place, made)


def test_a_small_count_is_found_in_a_table_an_interval_and_last_term_too(session, place):
    columns = (Column("sex", "Pupils", numeric=False), Column("n", "Attendances", "attendances"))
    small = replace(PUPILS, value=4.0)
    for made in (
        report(tables=[table(("girls", 4), columns=columns)]),
        report(tables=[table(("girls", small), columns=columns)]),
        report(line(replace(PUPILS, low=8.0, high=300.0))),
        report(line(PUPILS, last_term=small)),
    ):
        assert not check(session, place, made, "Small counts").passed


def test_counts_of_things_and_withheld_counts_do_not_stand_in_the_way(session, place):
    hidden = replace(PUPILS, value=None, withheld="fewer than 10")
    made = report(line(replace(VISITS, value=5.0, low=4.0, high=6.0)), line(hidden, key="pupils"))
    assert check(session, place, made, "Small counts").passed


@pytest.mark.parametrize(("base", "passed"), [(19, False), (20, True)])
def test_a_percentage_of_people_on_a_base_under_20_refuses(session, place, base, passed):
    # No percentage below a base of 20: common practice, no published source.
    share = Figure(0.5, "share", Basis.COUNTED, used=base, expected=base, records="pupils", about_people=True)
    found = check(session, place, report(line(share)), "Percentages")
    assert found.passed is passed and found.stops is not passed


def test_a_thin_percentage_of_things_is_noted_and_does_not_refuse(session, place):
    thin = Figure(0.875, "share", Basis.COUNTED, used=8, expected=8, records="outages")
    found = check(session, place, report(line(thin)), "Percentages")
    assert not found.passed and not found.stops


def test_missing_sheets_are_named_with_both_numbers(session, place):
    made = report(line(SHEETS, key="completeness_share"))
    assert check(session, place, made, "Completeness").words.startswith("3 of 4 week sheets were received.")
    assert not check(session, place, report(), "Completeness").passed


def test_open_queries_and_unaccepted_sheets_are_counted(session, place):
    from tests.make import make_school

    programme, _, _ = place
    school = make_school(session, programme)
    states = (SheetState.SENT, SheetState.QUERIED, SheetState.ACCEPTED)
    for week, state in zip(WEEKS, states, strict=False):
        session.add(
            WeekSheet(school_id=school.id, week=week, code=f"C{week:%d%m}", state=state, version=1, first_sent_at=AT)
        )
    session.flush()
    sheet = session.query(WeekSheet).filter_by(state=SheetState.QUERIED).one()
    session.add(Query(sheet_id=sheet.id, number=1, cell="", question="Please check.", asked_at=AT))
    session.add(Query(sheet_id=sheet.id, number=2, cell="", question="Done.", asked_at=AT, closed_at=AT))
    session.flush()
    assert check(session, place, report(), "Queries").words == "Queries still open: 1."
    assert "not yet accepted: 2" in check(session, place, report(), "Sheets accepted").words


@pytest.mark.parametrize(("set_at", "passed"), [(date(2026, 1, 12), True), (date(2026, 1, 13), False)])
def test_a_target_set_after_the_term_began_is_named(session, place, set_at, passed):
    made = report(line(SHARE, label="Usable time", target=0.9, target_set_at=set_at))
    found = check(session, place, made, "Targets")
    assert found.passed is passed and ("Usable time" in found.words) is not passed


@pytest.mark.parametrize(("low", "high", "passed"), [(-5.0, 30.0, True), (1.0, 30.0, False)])
def test_water_that_the_uncertainty_does_not_explain_is_noted(session, place, low, high, passed):
    made = report(line(Figure(20.0, "L", Basis.MODELLED, low=low, high=high), key="unexplained_water_l"))
    assert check(session, place, made, "Meters").passed is passed


def test_a_term_that_still_runs_is_noted(session, place):
    assert not check(session, place, report(last_day=date(2026, 3, 1)), "Term").passed


# --- parts --------------------------------------------------------------------------------------------------------


@given(st.lists(st.floats(0, 1e6).map(lambda value: round(value, 6)), min_size=1, max_size=30))
def test_printed_parts_add_up_exactly_to_the_printed_number(values):
    for unit in ("L", "hours"):
        found = Figure(
            sum(values), unit, Basis.SAMPLED, parts=tuple(Part(f"S{n}", WEEKS[0], v) for n, v in enumerate(values))
        )
        digits = opened.printed_parts(found)
        assert sum(part.digits for part in digits) == rounded(sum(values), 1 if unit == "hours" else 0)
        step = 0.1 if unit == "hours" else 1
        assert all(abs(float(part.digits) - value) < step for part, value in zip(digits, values, strict=True))


def test_parts_below_zero_add_up_too():
    # -1.6 + 0.3 = -1.3, printed -1: cut down to -2 and 0, one unit is missing, and the first lost most (0.4 > 0.3).
    figure = Figure(-1.3, "L", Basis.MODELLED, parts=parts(-1.6, 0.3))
    assert [int(part.digits) for part in opened.printed_parts(figure)] == [-1, 0]


def test_two_contributions_of_one_school_and_week_become_one_line():
    figure = Figure(5.0, "L", Basis.METERED, parts=(Part("S1", WEEKS[0], 2.0), Part("S1", WEEKS[0], 3.0)))
    assert [int(part.digits) for part in opened.printed_parts(figure)] == [5]


def test_a_share_does_not_pretend_to_add_up():
    assert not opened.adds_up(SHARE) and not opened.adds_up(BLANK)
    assert not opened.adds_up(replace(VISITS, parts=parts(1, 2, 3)))
    with pytest.raises(ValueError, match="not the sum"):
        opened.printed_parts(SHARE)


# --- versions -----------------------------------------------------------------------------------------------------


def test_a_version_keeps_its_content_hash_files_and_contributions(session, place):
    import hashlib

    found, made = publish(session, place)
    row = session.get_one(Publication, found)
    assert row.number == 1 and row.replaces_id is None and row.approved_by_id == place[2].id
    # SHA-256 as FIPS 180-4 has it, by the standard library.
    assert row.content_hash == hashlib.sha256(row.content.encode()).hexdigest() == made.content_hash
    assert publications.file_names(session, found) == ["report.html", "report.json", "report-csv.zip", "report.xlsx"]
    assert publications.file(session, found, "report.json").content == row.content.encode()
    digits = [line.value for line in publications.lines(session, found, "visits")]
    assert digits == ["10", "20", "30"] and sum(map(int, digits)) == 60


def test_a_later_version_needs_a_reason_and_names_the_one_it_replaces(session, place):
    first, _ = publish(session, place)
    with pytest.raises(ValueError, match="Say why"):
        publish(session, place)
    second, _ = publish(session, place, reason="Correction: a count was wrong")
    row = session.get_one(Publication, second)
    assert (row.number, row.replaces_id, row.reason) == (2, first, "Correction: a count was wrong")
    listed = publications.versions(session, place[0].id)
    assert [(one.number, one.latest) for one in listed] == [(2, True), (1, False)]


def test_what_changed_is_listed_old_and_new_and_nothing_else(session, place):
    publish(session, place, report(line(), line(SHARE, key="share", label="Usable time")))
    later = report(line(replace(VISITS, value=70.0, parts=())), line(SHARE, key="share", label="Usable time"))
    _, made = publish(session, place, later, reason="Revision: a late sheet")
    assert [change.where for change in made.changes] == ["Visits to cabins"]
    assert made.changes[0].old.startswith("60 visits") and made.changes[0].new.startswith("70 visits")
    assert json.loads(made.content)["changes"][0]["new"].startswith("70 visits")


def test_a_number_that_comes_or_goes_is_a_change(session, place):
    publish(session, place, report(line(key="a", label="Old one")))
    _, made = publish(session, place, report(line(key="b", label="New one")), reason="Revision: renamed")
    assert {change.where: (change.old == "not in the version before", change.new) for change in made.changes}[
        "Old one"
    ] == (False, "no longer shown")
    assert any(change.where == "New one" for change in made.changes)


def test_a_changed_headline_is_one_line_with_difference_and_what_its_records_did(session, place):
    short = table(("Visits to cabins", VISITS), key="in_short")
    publish(session, place, report(tables=[short]))
    more = replace(VISITS, value=70.0, used=4)
    again = table(("Visits to cabins", more), key="in_short")
    _, made = publish(session, place, report(line(more), tables=[again]), reason="Revision: late sheet")
    assert len(made.changes) == 1, "the short table is the headline once more"
    change = made.changes[0]
    assert (change.old, change.new, change.difference) == ("60 visits", "70 visits", "+10 visits")
    assert change.reason == "Rests on 4 of 4 school-weeks; before, 3 of 4."


def test_a_number_that_stays_while_its_range_moves_shows_both_ranges(session, place):
    publish(session, place)
    _, made = publish(session, place, report(line(replace(VISITS, high=80.0))), reason="Revision: x")
    (change,) = made.changes
    assert "40 to 90 visits" in change.old and "40 to 80 visits" in change.new
    assert change.difference.startswith("The number stays")


def test_days_among_the_changes_are_written_in_words(session, place):
    columns = (Column("week", "Week from", numeric=False), Column("n", "Visits", "visits"))
    for count in (4, 6):
        made_of = report(tables=[table((date(2026, 2, 2), count), columns=columns)])
        _, made = publish(session, place, made_of, reason="Revision: x" if count == 6 else "")
    assert made.changes[0].where == "Visits by school: 2 February 2026, Visits"
    assert not made.changes[0].headline


def test_a_changed_cell_of_a_table_is_found_by_its_row_and_column(session, place):
    publish(session, place, report(tables=[table(("Lakeside", 4), ("Hillside", 5))]))
    _, made = publish(session, place, report(tables=[table(("Lakeside", 4), ("Hillside", 6))]), reason="Revision: x")
    assert [(one.where, one.old, one.new) for one in made.changes] == [
        ("Visits by school: Hillside, Visits", "5 visits", "6 visits")
    ]


def test_the_database_refuses_to_change_what_is_published(session, place):
    found, _ = publish(session, place)
    session.commit()
    with pytest.raises(DBAPIError, match="frozen"):
        session.execute(update(PublicationFile).where(PublicationFile.publication_id == found).values(content=b"x"))


def test_the_body_of_a_stored_page_is_what_stands_between_its_marks():
    assert publishing.body_of(PAGE.encode()) == "<p>One</p>"
    with pytest.raises(ValueError, match="no marks"):
        publishing.body_of(b"<html></html>")
