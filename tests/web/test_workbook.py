"""The week sheet as a spreadsheet: what is written in it counts exactly as if it had been typed in the form."""

from __future__ import annotations

import hashlib
import io
import random
import re
from datetime import UTC, date, datetime, timedelta
from html import unescape

import openpyxl
import pytest
from sqlalchemy import inspect, text

from tests.make import make_school
from tests.web.coordinator_world import WEEK, body, build, fields, open_sheet, plain_week, press
from tracker import models as m
from tracker.db import reading
from tracker.intake import workbook_form as form
from tracker.intake import workbook_in as reader
from tracker.intake import workbook_load as loading
from tracker.intake import workbook_out as writer
from tracker.intake.rows import FORMULA
from tracker.intake.week_layout import Kind
from tracker.records import sheets

PAGE = form.sheet_title(WEEK)


def database_hash(engine) -> str:
    """One hash over every row of every table."""
    digest = hashlib.sha256()
    with reading(engine) as session:
        for name in sorted(inspect(session.connection()).get_table_names()):
            rows = sorted(repr(tuple(row)) for row in session.execute(text(f'SELECT * FROM "{name}"')))
            digest.update(repr((name, rows)).encode())
    return digest.hexdigest()


@pytest.fixture
def place(session):
    return build(session)


@pytest.fixture
def browser(place, login_as):
    return login_as(place.person)


def address(place, rest: str = "") -> str:
    return f"/schools/{place.school.id}/workbook{rest}"


def taken(browser, place, rest: str = f"/weeks/{WEEK}.xlsx") -> bytes:
    answer = browser.get(address(place, rest))
    assert answer.status_code == 200
    return answer.data


def places_of(data: bytes, week: date = WEEK) -> dict[str, str]:
    """Address of each cell by its key, as the workbook itself tells it."""
    return dict(next(one for one in reader.read_workbook("w.xlsx", data).weeks if one.week == week).places)


def filled(data: bytes, cells: dict[str, object], week: date = WEEK) -> bytes:
    """The workbook with values written into it by another library than the one that made it."""
    where, book, out = places_of(data, week), openpyxl.load_workbook(io.BytesIO(data)), io.BytesIO()
    for key, value in cells.items():
        cell = book[form.sheet_title(week)][where.get(key, key)]
        cell.value = value
        if isinstance(value, str) and not value.startswith("=SUM"):
            cell.data_type = "s"
    book.save(out)
    return out.getvalue()


def look(browser, place, data: bytes, name: str = "week.xlsx"):
    return browser.post(address(place), data={"file": (io.BytesIO(data), name)}, content_type="multipart/form-data")


def carried(page: str) -> dict[str, str]:
    found = {n: unescape(v) for n, v in re.findall(r'type="hidden" name="(book|key)" value="([^"]*)"', page)}
    assert "book" in found
    return found


def loaded(browser, place, data: bytes, **more: str):
    page = look(browser, place, data)
    assert page.status_code == 200, body(page)
    return browser.post(address(place, "/load"), data=carried(body(page)) | more)


def week_cells(place) -> dict[str, str]:
    return {name.removeprefix("c."): text for name, text in plain_week(place).items()}


def payload_of(engine, place, week: date = WEEK) -> dict:
    with reading(engine) as session:
        return sheets.find_payload(session, place.school.id, week)


def test_the_same_workbook_has_the_same_bytes_and_no_formula(browser, place):
    first = taken(browser, place)
    assert first == taken(browser, place)
    book = openpyxl.load_workbook(io.BytesIO(first))
    assert not [cell for sheet in book for row in sheet.iter_rows() for cell in row if cell.data_type == "f"]
    assert [sheet.title for sheet in book if sheet.sheet_state == "visible"] == [form.COVER, PAGE]
    assert all(sheet.protection.sheet for sheet in book if sheet.sheet_state == "visible")


def test_the_pages_follow_the_week_sheet_in_its_own_order(engine, browser, place):
    with reading(engine) as session:
        now = loading.standing(session, place.school.id, WEEK)
    layout = loading.layout(now.plan, now.rows)
    asked = [cell.key for cell in layout.cells() if cell.kind is not Kind.HIDDEN]
    assert [key for key in places_of(taken(browser, place)) if not key.startswith("note")] == asked
    book = openpyxl.load_workbook(io.BytesIO(taken(browser, place)))
    first_column = [cell.value for cell in book[PAGE]["A"] if cell.value]
    wanted = [text for section in layout.sections for text in (section.title, *(t.caption for t in section.tables))]
    rest = iter(first_column)
    assert all(text in rest for text in wanted)  # each after the one before


def test_a_filled_week_is_looked_at_then_loaded_as_the_form_would_send_it(engine, session, browser, place):
    data = filled(taken(browser, place), week_cells(place))
    before = database_hash(engine)
    page = body(look(browser, place, data))
    assert "<strong>new</strong>" in page and "Load this week" in page
    assert database_hash(engine) == before  # a look writes nothing
    assert loaded(browser, place, data).status_code == 302
    by_workbook = payload_of(engine, place)
    form_cells = open_sheet(browser, place)
    answer = press(browser, place, form_cells, "check")
    assert answer.status_code == 200
    press(browser, place, fields(body(answer)), "send")
    assert payload_of(engine, place) == by_workbook  # the form, sent unchanged, says the very same


def random_week(rng: random.Random, layout) -> dict[str, str]:
    """Cells at random, right ones, of every kind; about a third stays blank."""
    cells = {}
    for cell in layout.cells():
        if rng.random() < 0.35 or cell.kind in {Kind.HIDDEN, Kind.SHUT, Kind.TICK}:
            continue
        if cell.key.startswith(("out:", "session:", "read:", "paper:", "long:", "seen:", "present:")):
            continue
        if cell.kind is Kind.COUNT:
            cells[cell.key] = str(rng.randrange(0, 40))
        elif cell.kind is Kind.DIGITS:
            cells[cell.key] = str(rng.randrange(100, 400)).zfill(cell.digits)
        elif cell.kind is Kind.CHOICE:
            cells[cell.key] = rng.choice(cell.choices)[0]
    return cells


@pytest.mark.parametrize("seed", range(6))
def test_random_weeks_give_the_facts_of_the_form(engine, session, browser, place, seed):
    rng = random.Random(seed)
    with reading(engine) as read:
        now = loading.standing(read, place.school.id, WEEK)
    layout = loading.layout(now.plan, now.rows)
    cells = random_week(rng, layout)
    labels = {key: dict(layout.by_key()[key].choices).get(text, text) for key, text in cells.items()}
    typed = {
        key: int(text) if layout.by_key()[key].kind is Kind.COUNT else " ".join(text.split())
        for key, text in labels.items()
    }
    data = filled(taken(browser, place), typed)
    sheet = open_sheet(browser, place) | {f"c.{key}": text for key, text in cells.items()}
    checked = press(browser, place, sheet, "check")
    page = look(browser, place, data)
    assert page.status_code == checked.status_code
    if checked.status_code == 400:
        said = set(re.findall(r": ([^<:]+\.)</a>", body(checked)))
        assert said and all(unescape(one) in unescape(body(page)) for one in said)
        return
    press(browser, place, fields(body(checked)), "send")
    assert any(table != "sheet" for table in payload_of(engine, place))
    with reading(engine) as read:
        outcome = loading.load(read, reader.read_workbook("w.xlsx", data), by(read, place))[0]
    assert outcome.state == loading.SAME  # not one cell differs from what the form stored


def by(session, place) -> loading.Loading:
    school = session.get(m.school.School, place.school.id)
    return loading.Loading(school, datetime(2026, 2, 4, tzinfo=UTC), date(2026, 2, 4), place.person.id, "key")


def test_the_second_load_changes_nothing(engine, browser, place):
    data = filled(taken(browser, place), week_cells(place))
    page = carried(body(look(browser, place, data)))
    for _ in range(3):
        assert browser.post(address(place, "/load"), data=page).status_code == 302
    after = database_hash(engine)
    assert "on record already, nothing changes" in body(look(browser, place, data))
    assert browser.post(address(place, "/load"), data=page).status_code == 302
    assert database_hash(engine) == after


def test_an_empty_workbook_loads_nothing(engine, browser, place):
    before = database_hash(engine)
    page = body(look(browser, place, taken(browser, place)))
    assert "nothing written on the page" in page and "Load" not in page.split("<main", 1)[1].split("Weeks</h2>")[1]
    assert database_hash(engine) == before


def test_a_term_is_loaded_whole_or_not_at_all(engine, browser, place):
    term = browser.get(address(place))
    rest = re.search(r'workbook(/terms/[^"]+\.xlsx)"', body(term))[1]
    data = taken(browser, place, rest)
    weeks = [one.week for one in reader.read_workbook("w.xlsx", data).weeks]
    assert weeks == [date(2026, 1, 12) + timedelta(days=7 * n) for n in range(4)]  # to 2 February, by hand
    for number, week in enumerate(weeks[:3]):
        data = filled(data, {"visits:T1:week": 100 + number, "reading:B1:visits": f"00{150 + 50 * number}"}, week)
    bad = filled(data, {"visits:T1:week": "1o"}, weeks[2])
    before = database_hash(engine)
    refused = look(browser, place, bad)
    where = places_of(bad, weeks[2])["visits:T1:week"]
    assert refused.status_code == 400
    assert f"Page {form.sheet_title(weeks[2])}, cell {where}" in body(refused) and "“1o”" in body(refused)
    assert browser.post(address(place, "/load"), data=carried(body(refused))).status_code == 400
    assert database_hash(engine) == before
    assert loaded(browser, place, data).status_code == 302
    assert payload_of(engine, place, weeks[0])["usage_counts"][0]["visits"] == "100"
    assert payload_of(engine, place, weeks[2])["usage_counts"][0]["visits"] == "102"
    assert payload_of(engine, place, weeks[3]) == {}  # the empty page of the running week


def test_a_week_is_checked_beside_the_weeks_before_it_in_the_same_workbook(browser, place):
    rest = re.search(r'workbook(/terms/[^"]+\.xlsx)"', body(browser.get(address(place))))[1]
    data = filled(taken(browser, place, rest), {"reading:B1:visits": "00300"}, date(2026, 1, 12))
    data = filled(data, {"reading:B1:visits": "00200"}, date(2026, 1, 19))  # a counter that runs back
    answer = look(browser, place, data)
    where = places_of(data, date(2026, 1, 19))["reading:B1:visits"]
    assert f"Page 19 Jan 2026, cell {where}" in body(answer)


def test_formulas_are_errors_at_their_address_and_text_like_one_stays_text(engine, browser, place):
    data = taken(browser, place)
    where = places_of(data)["visits:T1:week"]
    answer = look(browser, place, filled(data, {"visits:T1:week": "=SUM(1,2)"}))
    assert answer.status_code == 400 and f"cell {where}" in body(answer) and reader.FORMULA in body(answer)
    outage = {"unit": "G1 Unit G1", "cause": "blockage", "day": "Tue 27 Jan", "time": "09:00", "note": "=1+1"}
    cause = next(iter(writer.choices_of(cell_of(engine, place, "out:1:cause"))))
    refused = look(browser, place, filled(data, {f"out:1:{p}": t for p, t in (outage | {"cause": cause}).items()}))
    assert FORMULA in body(refused) and "“=1+1”" in body(refused)  # the form refuses such a text with the same sentence
    where = places_of(data)
    cells = {"burns:I1": 2, "noteat:1": where["burns:I1"], "notesaid:1": "=1+1"}
    assert loaded(browser, place, filled(data, cells)).status_code == 302
    assert payload_of(engine, place)["confirmed"] == {"note:burns:I1": "=1+1"}
    again = body(look(browser, place, filled(data, cells)))
    assert "on record already" in again
    reasons = browser.post(address(place, "/reasons"), data=carried(body(refused)))
    stored = openpyxl.load_workbook(io.BytesIO(reasons.data))[PAGE][where["out:1:note"]]
    assert (stored.value, stored.data_type) == ("'=1+1", "s")  # given out again, no spreadsheet runs it


def cell_of(engine, place, key: str):
    with reading(engine) as session:
        now = loading.standing(session, place.school.id, WEEK)
    return loading.layout(now.plan, now.rows).by_key()[key]


def test_moved_rows_other_versions_and_changed_hidden_pages_ask_for_a_new_workbook(browser, place):
    data = taken(browser, place)

    def changed(act) -> str:
        book, out = openpyxl.load_workbook(io.BytesIO(data)), io.BytesIO()
        act(book)
        book.save(out)
        return unescape(body(look(browser, place, out.getvalue())))

    assert reader.CHANGED in changed(lambda book: book[PAGE].insert_rows(8))
    assert reader.CHANGED in changed(lambda book: book[PAGE].cell(3, 20, "a remark"))
    assert reader.PAGE_GONE in changed(lambda book: setattr(book[PAGE], "title", "Week"))
    assert reader.OLD_FORM in changed(lambda book: book[form.ABOUT].cell(1, 2, "0"))
    assert reader.OLD_FORM in changed(lambda book: book[form.PLACES].cell(2, 3, "visits:G9:week"))
    assert reader.NOT_OURS in changed(lambda book: book.remove(book[form.ABOUT]))


def test_a_school_that_changed_asks_for_a_new_workbook(engine, session, browser, place):
    data = filled(taken(browser, place), week_cells(place))
    session.get(m.units.Unit, place.units["T1"].id).until_day = date(2026, 1, 10)
    session.commit()
    assert loading.OTHER_CELLS in unescape(body(look(browser, place, data)))


def test_another_schools_workbook_is_refused(engine, session, browser, place):
    other = make_school(session, place.programme)
    session.commit()
    with reading(engine) as read:
        pages = [loading.page_for(read, other.id, WEEK)]
    data = writer.workbook(writer.Out(place.programme.code, other.code, other.name, pages))
    assert loading.OTHER_SCHOOL in unescape(body(look(browser, place, data)))
    data = writer.workbook(writer.Out("elsewhere", place.school.code, "x", pages))
    assert loading.OTHER_SCHOOL in unescape(body(look(browser, place, data)))


def test_a_week_that_was_sent_since_is_refused_until_there_is_a_new_workbook(engine, browser, place):
    old = taken(browser, place)
    assert loaded(browser, place, filled(old, week_cells(place))).status_code == 302
    answer = look(browser, place, filled(old, week_cells(place) | {"visits:T1:week": 141}))
    assert answer.status_code == 400 and loading.SENT_SINCE in unescape(body(answer))
    page = look(browser, place, filled(taken(browser, place), {"visits:T1:week": 141}))
    assert "would change a week that was already received</strong>, 1 cell" in body(page)
    assert loaded(browser, place, filled(taken(browser, place), {"visits:T1:week": 141})).status_code == 302
    with reading(engine) as session:
        assert sheets.find_sheet(session, place.school.id, WEEK).version == 2


def test_an_outage_of_old_records_may_end_in_a_later_week(engine, browser, place):
    rest = re.search(r'workbook(/terms/[^"]+\.xlsx)"', body(browser.get(address(place))))[1]
    first = date(2026, 1, 12)
    cause = next(iter(writer.choices_of(cell_of(engine, place, "out:1:cause"))))
    said = {"unit": "G1 Unit G1", "cause": cause, "day": "Tue 13 Jan", "time": "09:00"}
    said |= {"endday": "2026-01-21", "endtime": "10:00"}  # in the second week, by hand
    data = filled(taken(browser, place, rest), {f"out:1:{part}": words for part, words in said.items()}, first)
    data = filled(data, {"visits:T1:week": 80}, date(2026, 1, 19))
    assert loaded(browser, place, data).status_code == 302
    assert payload_of(engine, place, first)["outages"][0]["end_local_time"] == "2026-01-21T10:00"
    assert "on record already, nothing changes" in body(look(browser, place, data))
    assert "“soon”" in body(look(browser, place, filled(data, {"out:1:endday": "soon"}, first)))


def test_choices_are_taken_by_their_words_and_others_are_refused(browser, place):
    data = taken(browser, place)
    where = places_of(data)["state:G1:2026-01-26"]
    answer = look(browser, place, filled(data, {"state:G1:2026-01-26": "more or less"}))
    assert f"cell {where}" in body(answer) and "Write one of:" in body(answer)
    lost = "mark:lost:2026-01-26"
    key = lost if lost in places_of(data) else next(k for k in places_of(data) if k.startswith("mark:"))
    assert "Write one of: yes" in body(look(browser, place, filled(data, {key: "no"})))


def test_questions_are_answered_once_for_all_or_by_a_note_in_the_workbook(engine, browser, place):
    rest = re.search(r'workbook(/terms/[^"]+\.xlsx)"', body(browser.get(address(place))))[1]
    data = filled(taken(browser, place, rest), {"visits:T1:week": 100}, date(2026, 1, 19))
    odd = {"visits:T1:week": 900}  # 9 times the week before, by hand; asked about above 3 times
    page = look(browser, place, filled(data, odd))
    assert page.status_code == 200 and "Please check 1 figure" in body(page)
    where = places_of(data)["visits:T1:week"]
    wrong = look(browser, place, filled(data, odd | {"noteat:1": "ZZ9", "notesaid:1": "x"}))
    assert reader.NOTE_WHERE in body(wrong)
    assert loaded(browser, place, filled(data, odd), note="a fair was held").status_code == 302
    with reading(engine) as session:
        sheet = sheets.find_sheet(session, place.school.id, WEEK)
        assert [one.answer for one in sheets.queries_of(session, sheet.id)] == ["a fair was held"]
    fresh = filled(taken(browser, place), {"visits:T1:week": 800, "noteat:1": where.lower(), "notesaid:1": "counted"})
    assert loaded(browser, place, fresh, note="not this").status_code == 302
    assert payload_of(engine, place)["usage_counts"][0]["note"] == "counted"


def test_what_was_refused_comes_back_with_the_sentences_beside_the_cells(browser, place):
    wrong = {"visits:T1:week": "1o", "reading:B1:visits": "=SUM(1,2)"}
    data = filled(taken(browser, place), week_cells(place) | wrong)
    page = look(browser, place, data)
    answer = browser.post(address(place, "/reasons"), data=carried(body(page)))
    assert answer.status_code == 200
    book = openpyxl.load_workbook(io.BytesIO(answer.data))
    where = places_of(data)
    lines = {row[1]: row for row in book[form.TO_DO].iter_rows(min_row=2, values_only=True)}
    assert set(lines) == {where["visits:T1:week"], where["reading:B1:visits"]}
    assert lines[where["reading:B1:visits"]][3:] == ("'=SUM(1,2)", reader.FORMULA)
    sheet = book[PAGE]
    assert sheet[where["visits:T1:week"]].value == "1o" and sheet[where["visits:G1:2026-01-26:B1"]].value == 12
    row = sheet[where["visits:T1:week"]].row
    assert lines[where["visits:T1:week"]][4] in " ".join(str(cell.value) for cell in sheet[row])
    assert not [c for page in book for line in page.iter_rows() for c in line if c.data_type == "f"]
    mended = filled(answer.data, {"visits:T1:week": 140, "reading:B1:visits": "00150"})
    assert loaded(browser, place, mended).status_code == 302


def test_the_officer_loads_a_workbook_of_any_school(engine, place, browser, login_as):
    data = filled(taken(browser, place), week_cells(place))
    officer = login_as(place.officer)
    to = f"/programmes/{place.programme.id}/workbook"
    page = officer.post(to, data={"file": (io.BytesIO(data), "w.xlsx")}, content_type="multipart/form-data")
    assert place.school.name in body(page) and "Load this week" in body(page)
    assert officer.post(address(place, "/load"), data=carried(body(page))).status_code == 302
    nothing = officer.post(to, data={}, content_type="multipart/form-data")
    assert nothing.status_code == 400 and "Choose the workbook" in body(nothing)


def test_what_a_page_carries_back_is_not_trusted(engine, browser, place):
    before = database_hash(engine)
    for book in ("", "[]", "{}", '{"programme":"x","school":"y","weeks":[]}', "[" * 5000):
        assert browser.post(address(place, "/load"), data={"book": book}).status_code == 400
    assert database_hash(engine) == before


def test_a_page_that_begins_on_another_day_than_the_programmes_weeks_is_refused(browser, place):
    data = filled(taken(browser, place), week_cells(place))
    book = carried(body(look(browser, place, data)))["book"].replace(f'"week":"{WEEK}"', '"week":"2026-01-27"')
    answer = browser.post(address(place, "/load"), data={"book": book, "key": "k"})
    assert answer.status_code == 400 and loading.NO_WEEK in unescape(body(answer))


def test_a_word_on_record_that_no_list_offers_may_stay(engine, browser, place):
    cell = cell_of(engine, place, "out:1:cause")
    with reading(engine) as session:
        now = loading.standing(session, place.school.id, WEEK)
    page = reader.ReadWeek(WEEK, 1, 4, 4, {cell.key: "planned work"}, {cell.key: "D9"})
    layout = loading.layout(now.plan, now.rows)
    assert reader.typed_cells(page, layout, {cell.key: "planned work"}) == ({cell.key: "planned work"}, [])
    (refused,) = reader.typed_cells(page, layout, {})[1]
    assert refused.cell == cell.key and refused.message.startswith("Write one of: ")
