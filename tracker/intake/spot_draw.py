"""A term's draw of figures that another person checks: by chance alone, and kept as it fell."""

from __future__ import annotations

import secrets
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy.orm import Session

from tracker.measures.calendar import week_of
from tracker.records.evidence import Drawn, draw_code, draws_of_term, keep_draw
from tracker.records.evidence_reported import reported
from tracker.records.history import SetupError
from tracker.records.people import areas_of, schools_of
from tracker.vocabulary import SpotFigure

SALT_BYTES = 16
NOTHING_YET = "Nothing that can be checked is on record for this term yet. Draw when the first sheets have come."


@dataclass(frozen=True, slots=True)
class Wanted:
    """How much is drawn, who draws and when. reason: why a term is drawn again."""

    schools: int
    figures_each: int
    drawn_by: str
    at: datetime
    reason: str = ""


def seed_text(programme_code: str, code: str, salt: str) -> str:
    """What a draw follows from; with the records as they were, it can be made again from this text.

    >>> seed_text("P", "2026-1-1", "ab12")
    'P|2026-1-1|ab12'
    """
    return f"{programme_code}|{code}|{salt}"


def draw_term(session: Session, programme: Any, term: Any, wanted: Wanted, salt: str | None = None) -> int:
    """Draw figures of a term's weeks on record and keep them; the caller commits.

    Args:
        programme, term: their rows.
        salt: made by chance where none is given.
    Returns:
        how many figures were drawn.
    Raises:
        SetupError: nothing is on record yet, or a term is drawn again without a reason.
    """
    from tracker.measures.spot_check import draw, draw_week  # it brings pandas, which other pages do without

    number = draws_of_term(session, term.id) + 1
    salt = salt or secrets.token_hex(SALT_BYTES)
    seed = seed_text(programme.code, draw_code(term.code, number), salt)
    known = reported(session, programme, week_of(term.first_day, programme.first_weekday), term.last_day)
    areas = {area.id: area.code for area in areas_of(session, programme.id)}
    schools = {school.code: school for school in schools_of(session, programme.id) if school.id in known}
    if not schools:
        raise SetupError("schools", NOTHING_YET)
    figures = {code: [figure.value for figure in known[school.id]] for code, school in schools.items()}
    of_area = {code: areas[school.area_id] for code, school in schools.items()}
    drawn = []
    for check in draw(of_area, figures, wanted.schools, seed, each=wanted.figures_each).checks:
        school, figure = schools[check.school], SpotFigure(check.figure)
        weeks = known[school.id][figure]
        week = draw_week(check.school, check.figure, weeks, seed)
        drawn.append(Drawn(school.id, figure, week, weeks[week]))
    values = {"number": number, "drawn_at": wanted.at, "drawn_by": wanted.drawn_by, "salt": salt}
    values |= {"schools": wanted.schools, "figures_each": wanted.figures_each, "reason": wanted.reason}
    keep_draw(session, term, values, drawn)
    return len(drawn)
