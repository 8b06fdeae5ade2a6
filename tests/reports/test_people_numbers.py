"""Which sums a reader sees in a document: read off its numbers. Worked by hand (no outside source)."""

from __future__ import annotations

from dataclasses import replace

from tests.reports.by_hand import PUPILS, VISITS, line, report
from tracker.reports.people_numbers import read, row_names
from tracker.reports.report import Column, Table

COLUMNS = (Column("who", "Who", numeric=False), Column("n", "Pupils", "pupils"))


def pupils(number):
    return replace(PUPILS, value=float(number))


def sums_of(made):
    """Places of each sum, the total last."""
    found = read(made, 10).sums
    return [sorted((place for place, _ in one), key=lambda place, one=one: one[place, "value"] < 0) for one in found]


def test_a_column_that_adds_up_to_a_headline_is_a_sum():
    rows = (("girls", 30), ("boys", 20), ("not said", None))
    (found,) = sums_of(report(line(pupils(50), key="all"), tables=[Table("t", "T", COLUMNS, rows)]))
    assert found == ["t|girls|n", "t|boys|n", "all|now"]


def test_a_column_with_its_own_total_is_a_sum():
    (found,) = sums_of(report(tables=[Table("grants", "T", COLUMNS, (("G1", 30), ("none", 25), ("all", 55)))]))
    assert found == ["grants|G1|n", "grants|none|n", "grants|all|n"]


def test_a_headline_that_is_two_others_is_a_sum_and_terms_are_not_mixed():
    lines = [line(pupils(number), key=key, last_term=pupils(90)) for key, number in (("a", 30), ("b", 25), ("c", 55))]
    assert sums_of(report(*lines)) == [["a|now", "b|now", "c|now"]]


def test_the_same_count_in_two_tables_is_one():
    tables = [Table(key, key, COLUMNS, (("girls", 30), ("boys", other))) for key, other in (("t", 20), ("u", 21))]
    assert sums_of(report(tables=tables)) == [["t|girls|n", "u|girls|n"]]


def test_other_units_and_numbers_that_are_not_about_people_stand_in_no_sum():
    visits = Table("v", "V", (COLUMNS[0], Column("n", "Visits", "visits")), (("a", 30), ("b", 20)))
    made = report(line(pupils(50), key="all"), line(VISITS), tables=[visits])
    assert read(made, 10).places == {"all|now"} and sums_of(made) == []


def test_a_headline_that_stands_twice_is_one_number():
    short = Table("in_short", "S", (COLUMNS[0], Column("now", "Now")), (("All", pupils(50)),))
    found = read(report(line(pupils(50), key="all"), tables=[short]), 10)
    assert found.places == {"all|now"} and found.cost["all|now", "value"] == 2


def test_rows_of_one_name_are_told_apart():
    assert row_names(["G", "G", "H", None]) == ["G 0", "G 1", "H", " 3"]
