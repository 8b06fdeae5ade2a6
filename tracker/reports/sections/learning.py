"""What pupils answered before and after lessons, napkins asked for around lessons, menstrual-health items."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

import pandas as pd

from tracker.measures import knowledge, menstrual_items, uptake
from tracker.measures.differences import Pairs
from tracker.reports.facts import TermFacts
from tracker.reports.report import Cell, Column, Table
from tracker.reports.rows import as_points, as_share, beside, counts, words
from tracker.vocabulary import Sex, TopicKind

ASKED: Final = tuple(question for item in menstrual_items.ITEMS.values() for question in item.questions)


def knowledge_table(facts: TermFacts) -> Table:
    """Of each item of a quiz the shares right before and after, of the same pupils."""
    return facts.once("knowledge", lambda: _knowledge(facts))


def _knowledge(facts: TermFacts) -> Table:
    rows: list[tuple[Cell, ...]] = []
    for item, quizzes in facts.days_of(facts.all.quizzes).groupby("item", sort=True):
        schools = quizzes.groupby("school")[["right_right", "right_wrong", "wrong_right", "wrong_wrong"]].sum()
        pairs = [Pairs(*(int(number) for number in totals)) for totals in schools.itertuples(index=False)]
        found = knowledge.paired_change(pairs)
        shares = (as_share(found.before), as_share(found.after))
        rows.append((str(item).replace("-", " "), len(pairs), *shares, as_points(found.difference)))
    columns = (
        words("item", "Item"),
        counts("schools", "Schools", "schools"),
        counts("before", "Right before", "share"),
        counts("after", "Right after", "share"),
        counts("difference", "After less before", "percentage points"),
    )
    note = (
        "The same pupils answered before and after; only four totals are kept, never one pupil's answers. It describes "
        "what they answered and does not show that the lesson was the cause. Limits are by school where there are two "
        "or more; with one school they take pupils as independent and are too narrow."
    )
    return Table("knowledge", "Answers before and after lessons", columns, tuple(rows), note, "No quiz was recorded.")


def uptake_table(facts: TermFacts) -> Table:
    """Napkins given out before and after lessons on menstrual health, beside schools without one: a description."""
    return facts.once("uptake", lambda: _uptake(facts))


def _uptake(facts: TermFacts) -> Table:
    lessons = facts.sessions[facts.sessions["kind"] == TopicKind.MENSTRUAL.value]
    title = "Napkins given out before and after lessons on menstrual health"
    if lessons.empty:
        return beside("uptake", title, (), "", "No lesson of this period was about menstrual health.")
    found = uptake.uptake_around(_weeks(facts), lessons, _girls(facts))
    rows: list[tuple[str, Cell]] = [
        ("Schools with a lesson: mean change", found.with_lesson),
        ("Schools without one: mean change over the same weeks", found.comparison),
        ("Difference of the two", found.difference),
    ]
    weeks = f"Up to {uptake.WEEKS} weeks before the week of a school's first such lesson against as many after it."
    return beside("uptake", title, rows, f"{weeks} {found.cannot_show}")


def _weeks(facts: TermFacts) -> pd.DataFrame:
    """School weeks of both terms: given out by all machines (NaN where one was not recorded), whether one ran out."""
    given = facts.all.given
    rows = given.assign(known=given["given_out"].where(given["used"] == 1))
    weeks = rows.groupby(["school_id", "week"], as_index=False).agg(
        given_out=("known", "sum"), used=("known", "count"), machines=("known", "size")
    )
    weeks["given_out"] = weeks["given_out"].where(weeks["used"] == weeks["machines"])
    sold = facts.all.machine_weeks.groupby(["school_id", "week"], as_index=False)[["sold_out_days"]].max()
    days = facts.all.calendar.occasions[["school_id", "week", "school_days"]]
    found = weeks.merge(sold, on=["school_id", "week"], how="left").merge(days, on=["school_id", "week"])
    return found.assign(sold_out=found["sold_out_days"] > 0)


def _girls(facts: TermFacts) -> dict[object, float]:
    rows = facts.all.shift_pupils
    girls = rows[rows["sex"] == Sex.GIRLS.value].groupby("school_id")["pupils"].sum()
    return {school: float(pupils) for school, pupils in girls.items()}


def menstrual_table(facts: TermFacts, answers: Mapping[int, Mapping[str, str]], one_school: bool) -> tuple[Table, ...]:
    """Menstrual-health items of the inspection; nothing where no such question was answered anywhere."""
    schools = [answers.get(school.id, {}) for school in facts.schools]
    if not any(question in given for given in schools for question in ASKED):
        return ()
    rows = tuple(_item_cells(key, schools, one_school) for key in menstrual_items.ITEMS)
    columns = (words("item", "Item"), _standing(one_school), words("source", "Question from"), words("known", "Known"))
    note = "An item describes what a school has and says nothing about any girl. A missing answer is not a no."
    return (Table("menstrual_items", "Menstrual-health items at the inspection", columns, rows, note),)


def _standing(one_school: bool) -> Column:
    return words("standing", "At the school") if one_school else counts("schools", "Schools that have it", "share")


def _item_cells(key: str, schools: Sequence[Mapping[str, str]], one_school: bool) -> tuple[Cell, ...]:
    item = menstrual_items.ITEMS[key]
    shown: Cell = menstrual_items.share_of_schools(key, schools)
    if one_school:
        shown = menstrual_items.standing(item, schools[0]).value
    return item.title, shown, item.source, "read" if item.confirmed else "from memory, not confirmed"
