"""One dial read on its own, outside a week sheet: the same checker, the same sentences."""

from __future__ import annotations

from datetime import date, datetime, timedelta

from sqlalchemy.orm import Session

from tracker.intake.problems import refusing
from tracker.intake.rules import check_facts, parse_facts
from tracker.measures.calendar import week_of
from tracker.records.context import school_context
from tracker.vocabulary import Quantity, Source

TABLE = "readings"


def check_reading(
    session: Session, school_id: int, what: tuple[str, Quantity, Source], at: datetime, typed: str
) -> tuple[int | None, date, str]:
    """What a dial showed, checked against its digits and the readings before and after.

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
    context = school_context(session, school_id, day - timedelta(days=7), day)
    problems += check_facts(context, facts)
    wrong = next((one.message for one in refusing(problems)), "")
    value = facts[TABLE][0].values.get("value")
    return (None if wrong else value), week_of(day, context.first_weekday), wrong
