"""The coordinator's door as plain HTML: no test here runs a script."""

from __future__ import annotations

import gzip
import re
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, date, datetime
from html import unescape

import pytest
from sqlalchemy import event, func, select

from tests.web.coordinator_world import WEEK, body, build, fields, hidden, open_sheet, plain_week, press
from tracker import models as m
from tracker.db import reading, writing
from tracker.vocabulary import Cause, CountWay, Danger, SheetState


@pytest.fixture
def place(session):
    return build(session)


@pytest.fixture
def browser(place, login_as):
    return login_as(place.person)


def count(engine, model) -> int:
    with reading(engine) as look:
        return look.scalar(select(func.count()).select_from(model))


def facts(engine) -> dict[str, int]:
    """Rows of every fact table."""
    models = (m.usage.UsageCount, m.usage.Reading, m.usage.Level, m.supplies.StockCount, m.supplies.StockMove)
    models += (m.school.BellCount, m.outages.Sighting, m.supplies.MachineDay, m.disposal.Burn, m.school.Mark)
    return {model.__tablename__: count(engine, model) for model in models}


def send_plain(browser, place, **more):
    form = open_sheet(browser, place) | plain_week(place) | more
    checked = press(browser, place, form, "check")
    assert checked.status_code == 200, body(checked)
    return press(browser, place, fields(body(checked)), "send")


def test_a_whole_week_takes_two_pages_and_ends_with_a_reference(engine, place, browser):
    answer = send_plain(browser, place)
    assert answer.status_code == 302
    page = body(browser.get(answer.location))
    reference = re.search(r'class="ref">([0-9A-Z]{8})<', page)
    assert reference
    with reading(engine) as look:
        version = look.scalar(select(m.sheets.SheetVersion))
        assert version.reference == reference[1]
        sheet = look.get(m.sheets.WeekSheet, version.sheet_id)
        assert (sheet.week, sheet.state, sheet.version) == (WEEK, SheetState.SENT, 1)
        visits = {(row.slot, row.how.value): row.visits for row in look.scalars(select(m.usage.UsageCount))}
        moves = look.scalars(select(m.supplies.StockMove).order_by(m.supplies.StockMove.id)).all()
        said = [(row.quantity, row.reason.value, row.worked_out and row.worked_out.value) for row in moves]
    # by hand: the four counts of plain_week; the blank cells of G1 made no row
    (_, slot), _ = place.drawn
    assert visits == {("B1", "grid"): 12, ("B2", "grid"): 0, (slot, "drawn"): 7, ("all", "week_total"): 140}
    # "0 put in" is an answer; the machine's first count opens its stock
    assert [said[0], *(one[1:] for one in said[1:])] == [(0, "refill", None), ("count difference", "opening")]


def test_the_check_page_says_totals_blanks_and_change(place, browser):
    form = open_sheet(browser, place) | plain_week(place)
    page = body(press(browser, place, form, "check"))
    assert "G1 Unit G1" in page and ">12<" in page  # 12 + 0, by hand
    # G1: 2 breaks and other times × 5 days = 15 cells, 2 filled, by hand
    assert "G1 Unit G1: 13 of 15 cells" in page
    assert ">+50<" in unescape(page)  # counter 150 after 100, by hand


def test_a_draft_is_kept_as_typed_and_counts_nowhere(engine, place, browser):
    form = open_sheet(browser, place) | {"c.visits:G1:2026-01-26:B1": "1o"}
    answer = press(browser, place, form, "draft")
    assert "Draft kept on the server. Not sent yet." in body(browser.get(answer.location))
    assert open_sheet(browser, place)["c.visits:G1:2026-01-26:B1"] == "1o"
    assert count(engine, m.sheets.WeekSheet) == 0
    assert set(facts(engine).values()) == {0}


def test_a_draft_of_one_person_never_opens_for_another(session, place, browser, login_as):
    press(browser, place, open_sheet(browser, place) | {"c.visits:T1:week": "77"}, "draft")
    from tests.make import make_person
    from tracker.vocabulary import Role

    other = login_as(make_person(session, place.programme, Role.COORDINATOR, school=place.school))
    assert open_sheet(other, place)["c.visits:T1:week"] == ""


BAD = {
    "letters": ("c.visits:G1:2026-01-26:B1", "1o", "whole number"),
    "negative": ("c.visits:T1:week", "-3", "whole number"),
    "not whole": ("c.visits:T1:week", "2.5", "whole number"),
    "formula": ("c.session:1:topic", "=1+1", "formula"),
    "too large": ("c.visits:T1:week", "999999", "whole number"),
    "runs backwards": ("c.reading:M1:water", "50", ""),
    "bad time": ("c.read:time", "25 o'clock", "time of day"),
}


@pytest.mark.parametrize("case", BAD)
def test_bad_input_is_refused_at_its_cell_with_everything_kept_and_nothing_saved(engine, place, browser, case):
    name, text, said = BAD[case]
    form = open_sheet(browser, place) | plain_week(place) | {name: text}
    for act in ("check", "send"):
        answer = press(browser, place, form, act)
        page = body(answer)
        assert answer.status_code == 400, case
        assert "<title>Error: " in page
        assert f'href="#{name}"' in page and f'id="{name}"' in page
        assert said in page
        kept = fields(page)
        assert kept[name] == text
        assert {n: kept[n] for n in plain_week(place) if n != name} == {
            n: v for n, v in plain_week(place).items() if n != name
        }
    assert count(engine, m.sheets.WeekSheet) == 0
    assert set(facts(engine).values()) == {0}


def test_a_sentence_at_a_dial_is_short_and_gives_an_example_of_all_digits(place, browser):
    wrong = {"c.reading:B1:visits": "1o", "c.reading:M1:water": "1o"}
    page = unescape(body(press(browser, place, open_sheet(browser, place) | wrong, "check")))
    # dials of 5 and 8 digits (tests/web/coordinator_world.py); a sentence after a label has one colon
    assert "Unit B1, counter: Write all 5 digits, for example 01234.</" in page
    assert "Unit M1, water meter: Write all 8 digits, for example 01234567.</" in page
    assert not re.search(r'<p class="wrong"[^>]*>[^<]*:[^<]*:', page)


def test_a_meter_that_is_called_one_is_not_named_twice(session, place, browser):
    session.merge(place.units["M1"]).name = "Water meter"
    session.commit()
    page = body(browser.get(place.address))
    assert 'aria-label="Water meter"' in page and "Water meter, water meter" not in page


def test_local_digits_stand_as_0_to_9_beside_last_week_s_and_stay_as_typed_in_the_field(place, browser):
    # decimal digits of another script: the Unicode Standard, general category Nd
    form = open_sheet(browser, place) | {"c.reading:B1:visits": "٠٠٦٦٠", "c.visits:T1:week": "٩٩٩"}
    page = unescape(body(press(browser, place, form, "check")))
    shown = re.sub(r"<input[^>]*>", "", page)
    assert "<td>00660</td><td>00100</td>" in shown and "٦" not in shown
    assert "999" in shown and "٩" not in shown
    back = body(press(browser, place, fields(page), "back"))
    assert fields(back)["c.reading:B1:visits"] == "٠٠٦٦٠"


def test_visits_on_a_closed_day_are_refused_at_their_cell(engine, session, place, browser):
    form = open_sheet(browser, place) | plain_week(place) | {"c.mark:lost:2026-01-26": "yes"}
    answer = press(browser, place, form, "check")
    assert answer.status_code == 400
    assert 'href="#c.visits:G1:2026-01-26:B1"' in body(answer)
    assert fields(body(answer))["c.visits:G1:2026-01-26:B1"] == "12"


def test_overlapping_outages_are_refused(place, browser):
    one = {"unit": "G1", "cause": "broken", "day": "2026-01-27", "time": "09:00"}
    form = open_sheet(browser, place) | {f"c.out:{n}:{p}": v for n in (1, 2) for p, v in one.items()}
    form["c.out:2:time"] = "10:00"
    answer = press(browser, place, form, "check")
    assert answer.status_code == 400 and "already logged as out of service" in body(answer)


def test_a_day_marked_lost_shows_no_school_and_is_stored_as_neither_blank_nor_zero(engine, place, browser):
    form = open_sheet(browser, place) | plain_week(place) | {"c.mark:lost:2026-01-30": "yes"}
    form["c.read:day"] = "2026-01-29"
    page = body(press(browser, place, form, "zeros:grid-G1:4"))
    assert fields(page).get("c.visits:G1:2026-01-30:B1") is None
    assert "no school" in page
    checked = press(browser, place, form, "check")
    assert checked.status_code == 200, body(checked)
    press(browser, place, fields(body(checked)), "send")
    with reading(engine) as look:
        assert look.scalars(select(m.school.Mark.day)).all() == [date(2026, 1, 30)]
        days = look.scalars(select(m.school.SchoolDay.day).where(m.school.SchoolDay.week == WEEK)).all()
    assert date(2026, 1, 30) not in days and len(days) == 4


def test_the_empty_cells_of_a_day_are_filled_with_0_by_name_only(place, browser):
    form = open_sheet(browser, place) | plain_week(place)
    kept = fields(body(press(browser, place, form, "zeros:grid-G1:0")))
    assert [kept[f"c.visits:G1:2026-01-26:{slot}"] for slot in ("B1", "B2", "other")] == ["12", "0", "0"]
    assert kept["c.visits:G1:2026-01-27:B1"] == ""


def test_a_soft_question_never_stops_sending_and_its_note_is_kept(engine, place, browser):
    # 200 pupils are enrolled (tests.make); 19000 visits of one tap in a week is far above any sane factor.
    form = open_sheet(browser, place) | {"c.visits:T1:week": "19000"}
    page = body(press(browser, place, form, "check"))
    assert "Please check 1 figure" in page
    answered = fields(page) | {"c.note:visits:T1:week": "Sports day, many guests"}
    assert press(browser, place, answered, "send").status_code == 302
    with reading(engine) as look:
        query = look.scalar(select(m.sheets.Query))
        assert (query.cell, query.answer) == ("visits:T1:week", "Sports day, many guests")
        assert query.answered_at is not None and query.answered_by_id == place.person.id
        assert look.scalar(select(m.sheets.WeekSheet.state)) is SheetState.SENT


def test_a_soft_question_without_a_note_is_asked_later(engine, place, browser):
    form = open_sheet(browser, place) | {"c.visits:T1:week": "19000"}
    page = body(press(browser, place, form, "check"))
    assert press(browser, place, fields(page), "send").status_code == 302
    with reading(engine) as look:
        assert look.scalar(select(m.sheets.WeekSheet.state)) is SheetState.QUERIED
    page = body(browser.get(place.address))
    assert 'id="query-1"' in page
    answer = browser.post(f"{place.address}/queries/1", data={"answer": "We counted again, it is right."})
    assert answer.status_code == 302
    with reading(engine) as look:
        query = look.scalar(select(m.sheets.Query))
        assert query.question and query.answer == "We counted again, it is right."
        assert look.scalar(select(m.sheets.WeekSheet.state)) is SheetState.SENT


def test_a_blank_answer_is_refused(place, browser):
    page = body(press(browser, place, open_sheet(browser, place) | {"c.visits:T1:week": "19000"}, "check"))
    press(browser, place, fields(page), "send")
    answer = browser.post(f"{place.address}/queries/1", data={"answer": "  "})
    assert answer.status_code == 400 and "Write an answer" in body(answer)


def test_the_same_form_sent_ten_times_makes_one_version_and_one_answer(engine, place, browser):
    checked = press(browser, place, open_sheet(browser, place) | plain_week(place), "check")
    form = fields(body(checked))
    before = facts(engine)
    pages = []
    for _ in range(10):
        answer = press(browser, place, form, "send")
        assert answer.status_code == 302
        pages.append(re.search(r'class="ref">(\w+)<', body(browser.get(answer.location)))[1])
    assert len(set(pages)) == 1
    assert count(engine, m.sheets.SheetVersion) == 1
    assert count(engine, m.sheets.RequestKey) == 1
    assert facts(engine)["usage_count"] == before["usage_count"] + 4


def test_the_same_form_sent_by_eight_at_once_makes_one_version_and_one_answer(engine, place, login_as):
    browsers = [login_as(place.person) for _ in range(8)]
    checked = press(browsers[0], place, open_sheet(browsers[0], place) | plain_week(place), "check")
    form = fields(body(checked))

    def send(browser) -> str:
        answer = press(browser, place, form, "send")
        assert answer.status_code == 302, body(answer)
        return re.search(r'class="ref">(\w+)<', body(browser.get(answer.location)))[1]

    with ThreadPoolExecutor(8) as pool:
        references = list(pool.map(send, browsers))
    assert len(set(references)) == 1
    assert count(engine, m.sheets.SheetVersion) == 1
    assert facts(engine)["usage_count"] == 4


def test_two_who_send_the_same_week_at_once_make_one_record_and_one_conflict(engine, place, login_as):
    # criterion: school and week are unique; a second sheet for them is an edit that sees the first
    browsers = [login_as(place.person) for _ in range(2)]
    forms = []
    for number, browser in enumerate(browsers):
        form = open_sheet(browser, place) | plain_week(place) | {"c.visits:T1:week": str(100 + number)}
        forms.append(fields(body(press(browser, place, form, "check"))))
    with ThreadPoolExecutor(2) as pool:
        codes = list(
            pool.map(lambda pair: press(pair[0], place, pair[1], "send").status_code, zip(browsers, forms, strict=True))
        )
    assert sorted(codes) == [302, 409]
    assert count(engine, m.sheets.WeekSheet) == 1 and count(engine, m.sheets.SheetVersion) == 1


def test_the_same_key_with_other_figures_is_refused_politely(engine, place, browser):
    checked = press(browser, place, open_sheet(browser, place) | plain_week(place), "check")
    form = fields(body(checked))
    press(browser, place, form, "send")
    answer = press(browser, place, form | {"c.visits:T1:week": "9"}, "send")
    assert answer.status_code == 409
    assert "already sent with other figures" in body(answer)
    with reading(engine) as look:
        assert 9 not in look.scalars(select(m.usage.UsageCount.visits)).all()


def test_a_stale_version_shows_yours_theirs_and_now_and_overwrites_nothing(engine, session, place, browser, login_as):
    from tests.make import make_person
    from tracker.vocabulary import Role

    other = login_as(make_person(session, place.programme, Role.COORDINATOR, school=place.school))
    mine = open_sheet(browser, place) | plain_week(place) | {"c.visits:T1:week": "150"}
    send_plain(other, place)
    answer = press(browser, place, mine, "send")
    page = body(answer)
    assert answer.status_code == 409
    assert "Yours: 150" in page and "as it is now: 140" in page
    assert count(engine, m.sheets.SheetVersion) == 1
    # both changed an empty cell: nobody has chosen yet, so going on asks for a choice
    unchosen = fields(page)
    again = press(browser, place, unchosen, "merge", differs="visits:T1:week")
    assert again.status_code == 409 and "Choose yours or theirs" in body(again)
    assert "Yours: 150" in body(again)
    chosen = fields(body(again)) | {"c.visits:T1:week": "150"}
    checked = press(browser, place, chosen, "merge")
    assert checked.status_code == 200, body(checked)
    assert press(browser, place, fields(body(checked)), "send").status_code == 302
    with reading(engine) as look:
        assert look.scalar(select(m.usage.UsageCount.visits).where(m.usage.UsageCount.slot == "all")) == 150
        assert look.scalar(select(m.sheets.WeekSheet.version)) == 2


def test_a_new_version_replaces_the_facts_and_keeps_the_old_one_readable(engine, place, browser):
    send_plain(browser, place)
    before = facts(engine)
    answer = send_plain(browser, place, **{"c.visits:T1:week": "141"})
    assert answer.status_code == 302
    assert facts(engine) == before
    with reading(engine) as look:
        numbers = look.scalars(select(m.sheets.SheetVersion.number).order_by(m.sheets.SheetVersion.number)).all()
        assert numbers == [1, 2]


def test_an_accepted_sheet_that_is_edited_goes_back_to_sent(engine, place, browser):
    send_plain(browser, place)
    with writing(engine) as change:
        sheet = change.scalar(select(m.sheets.WeekSheet))
        sheet.state, sheet.accepted_at = SheetState.ACCEPTED, datetime(2026, 2, 3, tzinfo=UTC)
        change.commit()
    send_plain(browser, place, **{"c.visits:T1:week": "139"})
    with reading(engine) as look:
        sheet = look.scalar(select(m.sheets.WeekSheet))
        assert (sheet.state, sheet.accepted_at) == (SheetState.SENT, None)


def test_after_a_publication_an_edit_needs_a_reason(engine, session, place, browser):
    send_plain(browser, place)
    term = session.scalar(select(m.programme.Term))
    session.add(
        m.publications.Publication(
            programme_id=place.programme.id,
            term_id=term.id,
            kind="impact summary",
            scope="",
            number=1,
            cutoff_at=datetime(2026, 2, 1, tzinfo=UTC),
            published_at=datetime(2026, 2, 1, tzinfo=UTC),
            code_version="test",
            content="{}",
            content_hash="0" * 64,
            approved_by_id=place.officer.id,
        )
    )
    session.commit()
    form = open_sheet(browser, place) | {"c.visits:T1:week": "150"}
    refused = press(browser, place, form, "check")
    assert refused.status_code == 400 and 'href="#reason"' in body(refused)
    checked = press(browser, place, form | {"reason": "Tally found under the desk"}, "check")
    assert press(browser, place, fields(body(checked)), "send").status_code == 302
    with reading(engine) as look:
        versions = look.scalars(select(m.sheets.SheetVersion).order_by(m.sheets.SheetVersion.number)).all()
        assert [version.reason for version in versions] == ["", "Tally found under the desk"]


def test_an_older_outage_is_ended_by_the_sheet_and_opened_again_by_a_correction(engine, session, place, browser):
    outage = m.outages.Outage(
        programme_id=place.programme.id,
        ref="OLD-1",
        unit_id=place.units["G2"].id,
        source="officer",
        cause=Cause.BROKEN,
        start_at=datetime(2026, 1, 20, 9, 0, tzinfo=UTC),
    )
    session.add(outage)
    session.commit()
    end = {"c.still:OLD-1": "back", "c.backday:OLD-1": "2026-01-27", "c.backtime:OLD-1": "11:00"}
    answer = send_plain(browser, place, **end)
    assert answer.status_code == 302
    with reading(engine) as look:
        row = look.scalar(select(m.outages.Outage))
        assert row.end_at == datetime(2026, 1, 27, 8, 0, tzinfo=UTC)  # 11:00 at three hours ahead of UTC, by hand
    again = open_sheet(browser, place)
    assert {name: again[name] for name in end} == end
    send_plain(browser, place, **dict.fromkeys(end, ""))
    with reading(engine) as look:
        row = look.scalar(select(m.outages.Outage))
        assert (row.end_at, row.end_sheet_id) == (None, None)


def test_a_sheet_of_a_week_to_come_waits(place, browser):
    address = f"/schools/{place.school.id}/weeks/2026-02-09"
    form = fields(body(browser.get(address)))
    answer = browser.post(address, data=form | {"act": "check"})
    assert answer.status_code == 400 and "has not begun yet" in body(answer)


@pytest.mark.parametrize("week", ["2026-01-27", "2026-13-01", "soon"])
def test_an_address_that_is_no_week_of_the_programme_is_not_found(place, browser, week):
    assert browser.get(f"/schools/{place.school.id}/weeks/{week}").status_code == 404


def test_count_cells_are_text_with_a_number_keyboard_and_cautions_stand_at_the_act(place, browser):
    page = body(browser.get(place.address))
    counts = re.findall(r'<input type="text" id="c\.(?:visits|reading|left|burns)[^>]*>', page)
    assert len(counts) > 20
    assert all('inputmode="numeric" pattern="[0-9]*"' in tag and 'autocomplete="off"' in tag for tag in counts)
    assert 'type="number"' not in page
    assert page.count('<aside class="caution') == 2  # incinerator and electrical


def test_what_came_of_last_week_stands_first(place, browser):
    send_plain(browser, place)
    page = body(browser.get(f"/schools/{place.school.id}/log"))
    heads = re.findall(r"<h2>(.*?)</h2>", page)
    assert heads[0] == "Received"
    page = body(browser.get(f"/schools/{place.school.id}/log"))  # the reference is shown once
    heads = re.findall(r"<h2>(.*?)</h2>", page)
    assert heads[:2] == ["What came of your last sheet", "This week"]
    assert "Week of 26 January 2026: <strong>received</strong>" in page


def test_weeks_not_reported_are_listed_and_the_coming_breaks_named(place, browser):
    page = body(browser.get(f"/schools/{place.school.id}/log"))
    # the term began on 12 January, today is Wednesday 4 February: the weeks of 12, 19 and 26 January, by hand
    for day in ("12 January", "19 January", "26 January"):
        assert f"Week of {day} 2026" in page.split("Not reported yet")[1]
    assert "Breaks to tally" in page and "Count the visits in these breaks" in page


def test_a_school_that_tallies_no_drawn_break_is_asked_only_who_waits_and_is_present(session, place, browser):
    way = session.query(m.units.UnitWay).filter_by(unit_id=place.units["G2"].id).one()
    way.way = CountWay.GRID
    session.commit()
    page = body(browser.get(f"/schools/{place.school.id}/log"))
    assert "Breaks to watch" in page and "Count the visits in these breaks" not in page
    assert "how many girls and boys still wait at the bell of these breaks, and how many are present that day" in page


def test_the_paper_sheet_has_the_rows_of_the_screen_and_no_field_for_a_name(place, browser):
    page = body(browser.get(f"{place.address}/tally"))
    screen = body(browser.get(place.address))
    on_screen, on_paper = re.findall(r'id="t\.([^"]+)"', screen), re.findall(r'id="p\.([^"]+)"', page)
    assert on_paper == on_screen and len(on_screen) > 10
    for key in set(on_screen) - {"read", "out", "sessions", "paper"}:
        rows = [
            re.findall(r'<th scope="row">([^<]+)', text.split(f'{mark}.{key}"', 1)[1].split("</table>")[0])
            for text, mark in ((screen, "t"), (page, "p"))
        ]
        assert rows[0] == [one.strip() for one in rows[1] if one != "Total"], key
    assert "+00 555 0100" in page and "<input" not in page.split('class="paper"')[1].split("</main>")[0]


def test_danger_closes_the_unit_at_once_and_says_whom_to_phone(engine, place, browser):
    address = f"/schools/{place.school.id}/report-now"
    page = body(browser.get(address))
    assert page.index("tel:+005550100") < page.index("<fieldset")
    data = {"what": Danger.WIRES.value, "where": f"unit:{place.units['G1'].id}", "note": ""}
    answer = browser.post(address, data=data)
    assert answer.status_code == 302
    done = body(browser.get(answer.location))
    assert "out of service now" in done and "+00 555 0100" in done and '<aside class="caution' in done
    browser.post(address, data=data)  # pressed twice
    with reading(engine) as look:
        rows = look.scalars(select(m.outages.Outage)).all()
        assert [(row.cause, row.danger, row.end_at, row.said_by) for row in rows] == [
            (Cause.DANGER, Danger.WIRES, None, "Ama Tolu")
        ]


def test_danger_in_a_whole_block_closes_each_unit_by_one_event(engine, place, browser):
    block = place.units["B1"].block_id
    data = {"what": Danger.FLOOD.value, "where": f"block:{block}"}
    browser.post(f"/schools/{place.school.id}/report-now", data=data)
    with reading(engine) as look:
        rows = look.scalars(select(m.outages.Outage)).all()
    assert {row.unit_id for row in rows} == {place.units["B1"].id, place.units["T1"].id}
    assert len({row.event for row in rows}) == 1 and rows[0].event


def test_report_now_without_a_choice_says_what_is_missing(engine, place, browser):
    answer = browser.post(f"/schools/{place.school.id}/report-now", data={"what": Danger.SMOKE.value})
    page = body(answer)
    assert answer.status_code == 400 and "Choose where it is" in page and 'href="#where-0"' in page
    assert re.search(r'value="smoke or fire"[^>]*checked|checked[^>]*value="smoke or fire"', page)
    assert count(engine, m.outages.Outage) == 0


def test_the_first_visit_of_the_sheet_stays_under_60_kib_without_anything_from_elsewhere(place, browser):
    page = browser.get(place.address, headers={"Accept-Encoding": "gzip"})
    total = len(page.data)
    text = gzip.decompress(page.data).decode()
    for address in {*re.findall(r'(?:href|src)="(/static/[^"]+)"', text), "/worker.js", "/offline"}:
        total += len(browser.get(address, headers={"Accept-Encoding": "gzip"}).data)
    assert total <= 60 * 1024, total
    assert re.findall(r'(?:href|src)="(?:https?:)?//', text) == []
    assert re.findall(r"<script(?! src=\"/static/)", text) == []


def queries_of(engine, browser, address) -> int:
    seen = []

    def note(*args):
        seen.append(args[2])

    event.listen(engine, "before_cursor_execute", note)
    try:
        assert browser.get(address).status_code == 200
    finally:
        event.remove(engine, "before_cursor_execute", note)
    return len(seen)


def test_the_number_of_queries_does_not_grow_with_weeks(engine, place, login_as, clock):
    clock.pass_by(days=14)
    browser = login_as(place.person)
    log = f"/schools/{place.school.id}/log"

    def pages() -> tuple[int, int]:
        browser.get(log)  # the reference is shown once
        return queries_of(engine, browser, log), queries_of(engine, browser, place.address)

    send_plain(browser, place)
    before = pages()
    for week in ("2026-01-19", "2026-02-02", "2026-02-09"):
        address = f"/schools/{place.school.id}/weeks/{week}"
        form = fields(body(browser.get(address))) | {"c.visits:T1:week": "100"}
        checked = body(browser.post(address, data=form | {"act": "check"}))
        assert browser.post(address, data=fields(checked) | {"act": "send"}).status_code == 302
    assert pages() == before
    assert hidden(body(browser.get(place.address)), "base") == "1"


def test_a_total_that_differs_from_the_paper_s_asks_once_points_to_the_unit_and_is_kept_as_a_question(
    session, place, browser
):
    form = open_sheet(browser, place) | plain_week(place) | {"from_paper": "yes"}
    asked = body(press(browser, place, form, "check"))
    assert "The paper&#39;s control total" in asked or "The paper's control total" in asked
    checked = press(browser, place, form | {"c.paper:week": "9999"}, "check")
    page = body(checked)
    assert checked.status_code == 200 and 'name="c.paper:unit:G1"' in page
    # 12 + 0 visits typed for G1 (plain_week), the paper says 21
    parts = fields(page) | {"c.paper:unit:G1": "21"}
    page = body(press(browser, place, parts, "check"))
    assert "The boxes typed here add up to 12, the paper says 21. Look at the paper sheet again: G1." in page
    assert "Back to G1" in page and "#t.grid-G1" in page
    assert press(browser, place, fields(page), "send").status_code == 302
    query = session.scalars(select(m.sheets.Query)).one()
    assert (query.cell, query.raised_by_check, query.answer) == ("paper:unit:G1", True, "")
    version = session.scalars(select(m.sheets.SheetVersion)).one()
    assert version.from_paper and '"paper:week":"9999"' in version.payload.replace(" ", "")
