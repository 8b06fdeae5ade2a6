"""Do the records agree with themselves? The checks of ``measures/consistency.py`` on a term, each with its result."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any, Final

import pandas as pd

from tracker.measures import consistency, need, quality
from tracker.measures.consistency import Check, Outcome, Result
from tracker.measures.figure import Figure
from tracker.reports.checks import METERS_AGREE, RECORDS_AGREE
from tracker.reports.facts import Pair, TermFacts
from tracker.reports.report import Cell, Table
from tracker.reports.rows import beside, counts, words

TITLE: Final = "Do the records agree with themselves"
STOCK_TOLERANCE: Final = 2.0  # napkins a machine-week: a counter is not read in the minute in which a stock is counted
NOTHING: Final = "could not be checked"
AGREES: Final = "nothing was found"
PLACES, MACHINES = "places and products", "weeks of machines with a counter"
TERM: Final = "the term"
VISITS, NAPKINS = "visits a school day", "napkins given out a school day"
PLAIN: Final = {
    Check.STOCK: "Stock: counted before, came in, given on, lost and counted after",
    Check.PER_GIRL: "Napkins given out for each girl past menarche, by estimate: not above 40",
    Check.MODERATE: "2 to 3 standard deviations from the school's mean week",
    Check.EXTREME: "3 standard deviations or more from the school's mean week",
    Check.MEDIAN: "Far from the school's middle week: 3 × 1.4826 × median deviation",
    Check.TERM_BEFORE: "This term beside the last: between 0.67 and 1.5 times",
}
NOTE: Final = (
    "A finding is a question to look into: a fair, a holiday or a new machine makes a number differ too. Missing "
    "numbers are no finding. A series is checked at schools with 6 weeks in which every unit was recorded, or 11 for "
    "3 standard deviations. Limits of use and of ratios are judgement, with no published source."
)


def records_agree_table(pair: Pair, *, named: bool) -> Table:
    """Every check with schools checked, what was found and at how many schools; with their codes for the officer."""
    found = [(of, check) for of, check in pair.now.once(RECORDS_AGREE, lambda: results(pair))]
    rows = [_row(of, one, named) for of, one in found]
    rows.append(_meters(pair.now, named))
    columns = [
        words("check", "Check"),
        words("of", "Of"),
        counts("checked", "Schools checked", "schools"),
        counts("expected", "Of schools", "schools"),
        counts("found", "Found", "records"),
        words("where", "Result"),
    ]
    return Table(RECORDS_AGREE, TITLE, tuple(columns), tuple(rows), NOTE)


def _row(of: str, one: Result, named: bool) -> tuple[Cell, ...]:
    schools = sorted(set(one.rows["school"].tolist()))
    found = len(one.rows) if one.schools else None
    return PLAIN[one.check], of, one.schools, one.expected, found, _result_words(one, schools, named)


def _result_words(one: Result, schools: Sequence[str], named: bool) -> str:
    outcome = one.sentence.rpartition(".")[2]
    if outcome == Outcome.NOTHING_CHECKED:
        return NOTHING
    if outcome == Outcome.NONE_FOUND:
        return AGREES
    return f"to look into at {', '.join(schools)}" if named else "to look into"


def _meters(facts: TermFacts, named: bool) -> tuple[Cell, ...]:
    compared = [one for one in facts.balances if one.unexplained.recorded]
    differ = [one for one in compared if one.query]
    schools = {one.school_id for one in compared}
    codes = sorted({facts.codes[one.school_id] for one in differ})
    said = f"to look into at {', '.join(codes)}" if named else "to look into"
    result = NOTHING if not compared else said if differ else AGREES
    metered = len({one.school_id for one in facts.balances})
    return METERS_AGREE, "meters", len(schools), metered, len(differ) if compared else None, result


def meters_table(facts: TermFacts) -> Table:
    """Share of the term's meters that agree with the litres worked out, of those that could be compared."""
    return beside("meters_agree", "Meters against the model", [("Meters that agree", _meters_share(facts))])


def _meters_share(facts: TermFacts) -> Figure:
    compared = [one for one in facts.balances if one.unexplained.recorded]
    agree = sum(1 for one in compared if not one.query)
    return replace(quality.meter_agreement(agree, len(compared), len(facts.balances)), records="meters")


def results(pair: Pair) -> list[tuple[str, Result]]:
    """The checks on a term, each with what its numbers are; meters stand apart."""
    facts = pair.now
    visits, given = visits_by_week(facts), given_by_week(facts)
    found = [(PLACES, consistency.stock(facts.all.stock_spans))]
    found.append((MACHINES, consistency.stock(counter_stock(facts), STOCK_TOLERANCE)))
    found.append((TERM, consistency.use_per_girl(use(facts))))
    for name, weeks in ((VISITS, visits), (NAPKINS, given)):
        outliers = (consistency.moderate_outliers, consistency.extreme_outliers, consistency.median_outliers)
        found += [(name, check(weeks)) for check in outliers]
    if pair.last is not None:
        before = (visits_by_week(pair.last), given_by_week(pair.last))
        for name, now, then in zip((VISITS, NAPKINS), (visits, given), before, strict=True):
            found.append((name, consistency.term_ratio(_beside(now, then), Check.TERM_BEFORE)))
    return found


def counter_stock(facts: TermFacts) -> pd.DataFrame:
    """Counting machines' weeks as ``consistency.stock`` takes them; a week whose stock was not counted is blank."""
    counted = facts.given[facts.given["gap"].notna()]
    rows = facts.machine_weeks.groupby(["unit_id", "week"], as_index=False)[["left", "refilled"]].sum(min_count=1)
    rows = counted.merge(rows, on=["unit_id", "week"])
    # The gap is what the counter gave out less left before + put in - left after.
    opening = rows["left"] - rows["refilled"] + rows["given_out"] - rows["gap"]
    return pd.DataFrame(
        {
            "school": rows["school"],
            "week": rows["week"],
            "opening": opening,
            "received": rows["refilled"].clip(lower=0),
            "issued": rows["given_out"],
            "lost": (-rows["refilled"]).clip(lower=0),  # more was taken back or lost than put in
            "closing": rows["left"],
        }
    )


def use(facts: TermFacts) -> pd.DataFrame:
    """Given out by machines, and girls past menarche by the curve that the estimate of need takes, by school."""
    given = facts.given[facts.given["used"] == 1].groupby("school")["given_out"].sum()
    of_school = facts.all.enrolment.groupby("school_id").indices
    day, curve = pd.Timestamp(facts.period.last), need.CURVES[need.DEFAULT_CURVE]
    rows = []
    for school in facts.schools:
        enrolled = facts.all.enrolment.iloc[of_school.get(school.id, [])]
        girls = need.girls_by_age(enrolled, facts.all.grade_ages, day)
        known = sum(girls.known.values())
        past = need.girls_past_menarche(girls.known, curve) * girls.total / known if known else None
        rows.append((school.code, given.get(school.code), past))
    return pd.DataFrame(rows, columns=["school", "given_out", "girls"]).astype(
        {"school": "str", "given_out": "float64", "girls": "float64"}
    )


def visits_by_week(facts: TermFacts) -> pd.DataFrame:
    """Visits a school day by school and week, of weeks in which every unit was recorded."""
    due = facts.expected.groupby(["school_id", "week"]).size()
    known = facts.unit_weeks.merge(facts.expected[["unit_id", "week", "school_id"]], on=["unit_id", "week"])
    sums = known.groupby(["school_id", "week"])["visits"].agg(["sum", "count"])
    return _per_school_day(facts, sums.loc[sums["count"] == due.reindex(sums.index), "sum"])


def given_by_week(facts: TermFacts) -> pd.DataFrame:
    """Napkins given out a school day by school and week, of weeks in which every machine was recorded."""
    sums = facts.given.groupby(["school_id", "week"])[["given_out", "used", "expected"]].sum()
    return _per_school_day(facts, sums.loc[sums["used"] >= sums["expected"], "given_out"])


def _per_school_day(facts: TermFacts, sums: pd.Series) -> pd.DataFrame:
    rows = facts.occasions[["school_id", "week", "school_days"]].merge(
        sums.rename("value").reset_index(), on=["school_id", "week"], how="left"
    )
    value = rows["value"] / rows["school_days"]
    return pd.DataFrame({"school": rows["school_id"].map(facts.codes).astype("str"), "week": rows["week"]}).assign(
        value=value.astype("float64")
    )


def _beside(now: pd.DataFrame, then: pd.DataFrame) -> pd.DataFrame:
    """Mean weeks of both terms by school."""
    means: Mapping[str, Any] = {
        name: weeks.groupby("school")["value"].mean() for name, weeks in (("this", now), ("before", then))
    }
    return pd.DataFrame(means).rename_axis("school").reset_index().astype({"school": "str"})
