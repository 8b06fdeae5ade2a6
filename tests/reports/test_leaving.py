"""What leaves is hidden over the whole document: published versions are attacked with linear bounds over every number
that was printed, by a reader who knows which sums hold and which numbers were not corrected.

Threshold 10 and linear bounds: as in tests/measures/test_disclosure.py. Documents are worked by hand (no outside
source); the attack is written apart from the code under test.
"""

from __future__ import annotations

import io
import json
import math
import zipfile
from dataclasses import replace
from datetime import UTC, date, datetime

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import linprog

from tests.make import make_person, make_programme, make_term
from tests.reports.by_hand import PUPILS, chart, line, report
from tracker.measures.figure import Figure
from tracker.models.programme import ProgrammeSetting
from tracker.records import publications
from tracker.reports import checks, export, publishing
from tracker.reports.leaving import given_away, protected
from tracker.reports.report import Column, Section, Table
from tracker.reports.rows import sentences
from tracker.vocabulary import Basis, ReportKind, Role

AT = datetime(2026, 4, 5, 8, 0, tzinfo=UTC)
PAGE = f"<html>{publishing.MARKS[0]}<p>One</p>{publishing.MARKS[1]}</html>"
SAID = {
    "withheld so that another count stays hidden": (10, None),
    "withheld so that small counts stay hidden": (0, None),
}
SEXES, AREAS = ("girls", "boys"), ("North", "South", "West")
# Sums that the documents of this page have: sexes and areas each add up to all, and lessons by topic to girls.
SUMS = [
    {"girls": 1, "boys": 1, "all": -1},
    {"North": 1, "South": 1, "West": 1, "all": -1},
]


def came(count):
    return replace(PUPILS, value=float(count), unit="attendances")


def table(key, names, counts):
    columns = (Column("who", "Who", numeric=False), Column("n", "Attendances", "attendances"))
    return Table(key, key, columns, tuple(zip(names, counts, strict=True)))


def document(girls, boys, areas):
    """Attendances of girls and boys, of three areas, and of all, in a headline, two tables and the short one."""
    total = came(girls + boys)
    short = Table(
        "in_short", "In short", (Column("what", "What", numeric=False), Column("now", "Now")), (("All", total),)
    )
    tables = [table("by_sex", SEXES, (girls, boys)), table("by_area", AREAS, areas), short]
    return report(line(total, key="attendances", label="Attendances"), tables=tables)


def numbers_in(content):
    """Every number of a version as it was printed: shown, or what the words say of it."""
    found = {}
    (section,) = content["sections"]
    figure = section["lines"][0]["figure"]
    found["all"] = figure["withheld"] or figure["value"]
    for one in section["tables"][:2]:
        found |= dict(one["rows"])
    return {key: _limits(cell) for key, cell in found.items()}


def _limits(cell):
    if isinstance(cell, str):
        return SAID.get(cell) or (1, int(cell.removeprefix("fewer than ")) - 1)
    return (cell, cell)


def work_out(versions, same, goal):
    """Least and greatest of a number (version, key)."""
    keys = [(at, key) for at, version in enumerate(versions) for key in version]
    rows = [[one.get(key, 0) if at == mine else 0 for mine, key in keys] for at in range(len(versions)) for one in SUMS]
    if len(versions) > 1:
        rows += [[{(0, key): 1, (1, key): -1}.get(place, 0) for place in keys] for key in same]
    ends = []
    for sign in (1, -1):
        weights = [sign * (place == goal) for place in keys]
        bounds = [versions[at][key] for at, key in keys]
        found = linprog(weights, A_eq=rows, b_eq=[0] * len(rows), bounds=bounds)
        assert found.status in {0, 3}, "the true numbers fit what was printed"
        ends.append(sign * found.fun if found.status == 0 else -sign * math.inf)
    return ends


def attack(documents, contents):
    """Small counts and small changes that a reader narrows down, of true documents and what was printed of them."""
    versions = [numbers_in(content) for content in contents]
    truth = [dict(zip(("all", *SEXES, *AREAS), (g + b, g, b, *areas), strict=True)) for g, b, areas in documents]
    same = [key for key in truth[0] if truth[0][key] == truth[-1][key]]
    found = []
    for at, numbers in enumerate(truth):
        for key, number in numbers.items():
            if 0 < number < 10:
                low, high = work_out(versions, same, (at, key))
                found += [(at, key)] if low > 1 + 1e-6 or high < 9 - 1e-6 else []
    for key in truth[0]:
        change = truth[-1][key] - truth[0][key]
        shown = versions[0][key][0] == versions[0][key][1]
        if 0 < abs(change) < 10 and shown and len(versions) > 1:
            low, high = work_out(versions, same, (1, key))
            ends = sorted(truth[0][key] + math.copysign(step, change) for step in (1, 9))
            found += [("change", key)] if low > max(0, ends[0]) + 1e-6 or high < max(0, ends[1]) - 1e-6 else []
    return found


def says_nothing_new(contents):
    """Whether a next version shows only zeros and numbers that the version before shows."""
    first, last = map(numbers_in, contents)
    return all(last[key] in {first[key], (0, 0)} for key in last if last[key][0] == last[key][1])


def published(documents):
    """Each document as it leaves, the second beside the first."""
    first = export.content(protected(document(*documents[0]), 10))
    return [first, *(export.content(protected(document(*one), 10, first)) for one in documents[1:])]


# --- one version --------------------------------------------------------------------------------------------------

FEW_GIRLS = (7, 203, (100, 60, 50))


def test_a_small_count_takes_others_with_it_over_two_tables_of_one_total():
    assert attack([FEW_GIRLS], [export.content(document(*FEW_GIRLS))]) == [(0, "girls")], "the attack sees a naive one"
    (content,) = published([FEW_GIRLS])
    assert attack([FEW_GIRLS], [content]) == []
    assert "fewer than 10" in export.canonical(content)


def test_each_table_hidden_by_itself_would_give_the_count_away():
    # Areas 4, 100, 106 of 210; girls 4, boys 206. By itself the table of sexes could hide the total and the table of
    # areas another area: with all and North shown elsewhere both 4s follow.
    documents = [(4, 206, (4, 100, 106))]
    naive = export.content(document(*documents[0]))
    naive["sections"][0]["tables"][0]["rows"][0][1] = "fewer than 10"
    naive["sections"][0]["tables"][1]["rows"][0][1] = "fewer than 10"
    assert set(attack(documents, [naive])) == {(0, "girls"), (0, "North")}
    assert attack(documents, published(documents)) == []


def test_the_same_count_is_hidden_in_the_headline_and_in_the_short_table():
    (content,) = published([(3, 4, (7, 0, 0))])
    section = content["sections"][0]
    assert section["lines"][0]["figure"]["value"] is None
    assert section["tables"][2]["rows"][0][1]["value"] is None


COUNTS = st.integers(0, 60)


@settings(max_examples=25, deadline=None, derandomize=True)
@given(st.lists(st.one_of(st.integers(0, 12), COUNTS), min_size=3, max_size=3), st.floats(0, 1))
def test_no_document_with_tiny_counts_gives_one_away(areas, share):
    girls = round(sum(areas) * share)
    documents = [(girls, sum(areas) - girls, tuple(areas))]
    assert attack(documents, published(documents)) == []


# --- the next version ---------------------------------------------------------------------------------------------


def test_two_versions_each_hidden_by_itself_give_a_count_away_and_together_they_do_not():
    # West 6 and South 50 are hidden; then South is corrected to 80 and West to 40, which alone would hide nothing.
    documents = [(100, 56, (100, 50, 6)), (120, 100, (100, 80, 40))]
    apart = [export.content(protected(document(*one), 10)) for one in documents]
    together = published(documents)
    assert attack(documents, together) == []
    documents[1] = (110, 80, (100, 50, 40))  # South stands: 156 - 100 - 50 = 6 for who sees it now
    apart[1] = export.content(protected(document(*documents[1]), 10))
    assert (0, "West") in attack(documents, apart)
    assert attack(documents, published(documents)) == []


def test_a_late_sheet_of_three_pupils_is_not_told_by_two_totals():
    documents = [(100, 110, (100, 60, 50)), (103, 110, (103, 60, 50))]
    apart = [export.content(protected(document(*one), 10)) for one in documents]
    assert ("change", "all") in attack(documents, apart)
    assert attack(documents, published(documents)) == []


def test_a_term_that_grew_shows_its_numbers_again():
    # 3 in the first week of a term; 210 at its end. Nothing of the 3 follows from the larger numbers.
    documents = [(3, 0, (3, 0, 0)), (100, 110, (110, 60, 40))]
    contents = published(documents)
    assert attack(documents, contents) == []
    assert contents[1]["sections"][0]["lines"][0]["figure"]["value"] == 210


@settings(max_examples=25, deadline=None, derandomize=True)
@given(
    st.lists(st.one_of(st.integers(0, 12), COUNTS), min_size=3, max_size=3),
    st.lists(st.sampled_from([0, 0, 0, 3, 25, -4]), min_size=3, max_size=3),
    st.floats(0, 1),
)
def test_no_two_versions_give_a_count_or_a_change_away(areas, steps, share):
    later = tuple(max(0, one + step) for one, step in zip(areas, steps, strict=True))
    girls = round(sum(areas) * share)
    more = min(sum(later), girls + max(0, sum(later) - sum(areas)))
    documents = [(girls, sum(areas) - girls, tuple(areas)), (more, sum(later) - more, later)]
    contents = published(documents)
    # What a version before has said cannot be taken back: "fewer than 10" twice is a total of 2 or more.
    assert attack(documents, contents) == [] or says_nothing_new(contents)


# --- what is published --------------------------------------------------------------------------------------------


@pytest.fixture
def place(session):
    programme = make_programme(session)
    term = make_term(session, programme, first=date(2026, 1, 12), last=date(2026, 4, 3))
    return programme, term, make_person(session, programme, Role.OFFICER)


def publish(session, place, made, reason=""):
    programme, term, person = place
    former = publications.former(session, programme.id, term.id, ReportKind.IMPACT)
    draft = publishing.draft(session, programme.id, protected(made, 10), former.content if former else None)
    assert not draft.refused
    return publishing.publish(session, draft, PAGE, publishing.Approval(programme.id, term.id, person.id, AT, reason))


def test_published_versions_and_their_files_withstand_the_attack(session, place):
    documents = [(100, 56, (100, 50, 6)), (110, 80, (100, 50, 40))]
    first = publish(session, place, document(*documents[0]))
    stored = publications.file(session, first, "report.json").content
    second = publish(session, place, document(*documents[1]), "Correction: a sheet was wrong")
    contents = [json.loads(publications.file(session, one, "report.json").content)["report"] for one in (first, second)]
    assert attack(documents, contents) == []
    # The first version stays as it was, byte for byte.
    assert publications.file(session, first, "report.json").content == stored
    for one, hidden in ((first, "6"), (second, "40")):
        archive = zipfile.ZipFile(io.BytesIO(publications.file(session, one, "report-csv.zip").content))
        cells = archive.read("by_area.csv").decode().splitlines()
        assert not any(row.startswith(f"West,{hidden}") for row in cells)


def test_a_version_that_was_not_withheld_beside_the_first_is_refused(session, place):
    programme = place[0]
    publish(session, place, document(100, 56, (100, 50, 6)))
    old = publications.former(session, programme.id, place[1].id, ReportKind.IMPACT).content
    careless = document(110, 80, (100, 50, 40))  # as it stands: nothing in it is small
    assert not publishing.draft(session, programme.id, careless, None).refused
    assert publishing.draft(session, programme.id, careless, old).refused
    assert given_away(careless, 10, json.loads(old)["report"]) != []


def test_a_count_that_follows_from_a_total_is_refused(session, place):
    columns = (Column("who", "Who", numeric=False), Column("n", "Attendances", "attendances"))
    rows = (("girls", "fewer than 10"), ("boys", 203))
    made = report(line(came(210), key="attendances"), tables=[Table("by_sex", "By sex", columns, rows)])
    whole = document(*FEW_GIRLS)
    found = checks.look(session, place[0].id, replace(made, unwithheld=whole))
    assert [one.title for one in found if one.stops and not one.passed] == ["Sums"]


def test_a_raised_smallest_count_hides_more(session, place):
    programme = place[0]
    session.add(ProgrammeSetting(programme_id=programme.id, key="small_count_min", from_day=date(2025, 1, 1), value=20))
    session.flush()
    made = protected(document(15, 195, (100, 60, 50)), 20)
    assert "fewer than 20" in export.text(made)
    assert not publishing.draft(session, programme.id, made, None).refused
    assert publishing.draft(session, programme.id, protected(document(15, 195, (100, 60, 50)), 10), None).refused


def test_the_smallest_count_cannot_be_lowered():
    with pytest.raises(ValueError, match="not lowered"):
        protected(document(*FEW_GIRLS), 5)


# --- percentages, charts, sentences -------------------------------------------------------------------------------


def share(part, base, records="pupils"):
    return Figure(part / base, "share", Basis.COUNTED, used=base, expected=base, records=records, about_people=True)


@pytest.mark.parametrize(
    ("part", "base", "words"),
    [
        (8, 16, "too few for a percentage"),  # a base under 20
        (0, 40, "too few for a percentage"),  # nobody: says the same of everybody
        (40, 40, "too few for a percentage"),  # everybody
        (37, 40, "too few for a percentage"),  # the rest is 3
        (20, 40, ""),
    ],
)
def test_percentages_of_few_and_of_everybody_are_withheld(part, base, words):
    # Base of 20, 0 % and 100 %: common practice, no published source.
    made = protected(report(line(share(part, base), key="right")), 10)
    assert made.line("right").figure.withheld == words


def test_a_percentage_that_gives_a_hidden_count_back_is_withheld_with_it():
    # 7 of 700 are 1.0 %: with 700 and 1.0 % shown the 7 would stand there.
    few, many = came(7), came(700)
    of_all = Figure(0.01, "share", Basis.ESTIMATED, used=60, expected=60, records="machine-weeks", about_people=True)
    made = protected(report(line(few, key="few"), line(many, key="many"), line(of_all, key="share")), 10)
    assert made.line("few").figure.withheld == "fewer than 10"
    assert made.line("share").figure.value is None and made.line("many").figure.value == 700


@pytest.mark.parametrize(("given", "need", "words"), [(12, 19, "too few for a percentage"), (12, 40, "")])
def test_a_percentage_of_a_printed_number_under_20_is_withheld(given, need, words):
    part, whole = came(given), came(need)
    of = Figure(given / need, "share", Basis.ESTIMATED, used=6, expected=6, records="machine-weeks", about_people=True)
    made = protected(report(line(part, key="part"), line(whole, key="whole"), line(of, key="share")), 10)
    assert made.line("share").figure.withheld == words


def test_a_part_that_is_not_printed_is_protected_too():
    # 114 in all ways less 111 by machines: 3 by hand.
    machines, every = (replace(PUPILS, value=float(n), unit="napkins", records="machine-weeks") for n in (111, 114))
    columns = (Column("what", "What", numeric=False), Column("figure", "Figure"))
    need = Table("need", "Need", columns, (("Given out, by machines and by hand", every),))
    short = table("in_short", ("Given out",), (machines,))
    made = protected(report(line(machines, key="given_out"), tables=[need, short]), 10)
    # The headline stands twice, so hiding it would cost more.
    assert next(iter(made.tables())).rows[0][1].value is None and made.line("given_out").figure.value == 111


def test_a_chart_whose_table_hides_a_number_is_not_drawn():
    drawn = chart("bar_by_name", [{"name": "girls", "value": 7}], unit="pupils", cells=[("girls", 7), ("boys", 80)])
    made = protected(report(charts=[drawn]), 10)
    (section,) = made.sections
    assert section.charts == () and section.tables[0].rows[0] == ("girls", "fewer than 10")
    assert (
        protected(report(charts=[chart("bar_by_name", [], cells=[("boys", 80)], unit="pupils")]), 10).sections[0].charts
    )


def test_sentences_beside_a_hidden_number_lose_their_numbers():
    said = sentences("said", "In words", ["7 of 210 attendances were of girls.", "Lessons were held."], "")
    section = Section("one", "One", tables=(table("by_sex", SEXES, (7, 203)), said))
    made = protected(replace(document(*FEW_GIRLS), sections=(section,)), 10)
    assert made.sections[0].tables[1].rows == (("Lessons were held.",),)


def test_nothing_that_is_printed_holds_the_numbers_before():
    made = protected(document(*FEW_GIRLS), 10)
    assert made.unwithheld is not None
    whole = export.json_text(made) + export.text(made) + "".join(export.csv_files(made).values()) + repr(made)
    assert "fewer than 10" in whole and "203" not in whole.replace("2030", "")
