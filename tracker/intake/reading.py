"""One dial read on its own, outside a week sheet: the same checker, the same sentences."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime, timedelta

from sqlalchemy.orm import Session

from tracker.intake.problems import refusing
from tracker.intake.rules import check_facts, parse_facts
from tracker.measures.calendar import Span, week_of
from tracker.records.context import ReadingInfo, SchoolContext, programme_contexts
from tracker.records.heads import programme_of_school
from tracker.vocabulary import Quantity, Source

TABLE = "readings"


def check_reading(
    session: Session, school_id: int, what: tuple[str, Quantity, Source], at: datetime, typed: str
) -> tuple[int | None, date, str]:
    """What a dial showed, checked against its digits and the readings before and after, whoever read them.

    Args:
        what: the unit's code, the quantity, and who read it.
        at: the local time of the reading, without its zone.
        typed: the digits as typed.
    Returns:
        The reading (None where it is refused), its week, and the sentence of what is wrong ("" for nothing).
    """
    unit, quantity, source = what
    row = {
        "unit": unit,
        "quantity": quantity.value,
        "source": source.value,
        "at_local_time": f"{at:%Y-%m-%dT%H:%M}",
        "value": typed,
    }
    facts, problems = parse_facts({TABLE: [row]})
    day = at.date()
    span = Span(day - timedelta(days=7), day)
    context = programme_contexts(session, programme_of_school(session, school_id), span, [school_id])[school_id]
    problems += check_facts(_whoever_read(context, what), facts)
    wrong = next((one.message for one in refusing(problems)), "")
    value = facts[TABLE][0].values.get("value")
    return (None if wrong else value), week_of(day, context.first_weekday), wrong


def _whoever_read(context: SchoolContext, what: tuple[str, Quantity, Source]) -> SchoolContext:
    """The same school as if one source had read this dial always: a dial runs one way for every eye."""
    unit, quantity, source = what
    of_dial = [rows for (code, shown, _), rows in context.readings.items() if (code, shown) == (unit, quantity)]
    every: dict[datetime, ReadingInfo] = {}
    for one in sorted((one for rows in of_dial for one in rows), key=lambda one: one.value):
        every[one.at] = one  # read twice at one moment: the higher counts
    merged = tuple(every[at] for at in sorted(every))
    return replace(context, readings={**context.readings, (unit, quantity, source): merged})
