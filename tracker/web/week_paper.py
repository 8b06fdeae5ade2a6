"""The printed sheet's way back to the screen: the square that a phone reads, and the code that a person types."""

from __future__ import annotations

import io
from collections.abc import Iterable
from datetime import date

import segno
from markupsafe import Markup
from sqlalchemy.orm import Session

from tracker.models.programme import Programme
from tracker.models.school import School
from tracker.records import calendar, sheets

QUIET = 4  # modules of white around the square, as ISO/IEC 18004 asks (from memory)
LONGEST = 40
UNKNOWN = "There is no sheet with this code at your schools. Look at the top of the paper and type the code again."


def square(address: str) -> Markup:
    """A QR code of an address as SVG, black on white; its size is the style sheet's."""
    drawn = io.BytesIO()
    code = segno.make(address, error="m", micro=False)
    code.save(drawn, kind="svg", border=QUIET, xmldecl=False, svgns=True, omitsize=True, svgclass="qr", lineclass=None)
    return Markup(drawn.getvalue().decode())  # noqa: S704 - made here, of modules alone


def plain_code(text: str) -> str:
    """A typed code without spaces and dashes, in capitals.

    >>> plain_code(" 7f4k-2m ")
    '7F4K2M'
    """
    return "".join(sign for sign in text[:LONGEST].upper() if sign.isalnum())


def found(session: Session, school_ids: Iterable[int], code: str) -> tuple[School, date] | None:
    """The school and week of a sheet's code, among some schools; None where none has it."""
    for number in school_ids:
        school = session.get_one(School, number)
        programme = session.get_one(Programme, school.programme_id)
        for week in calendar.weeks(session, programme.id):
            if sheets.sheet_code(programme.code, school.code, week) == code:
                return school, week
    return None
