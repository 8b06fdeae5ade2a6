"""Declaring trials, sharing schools among grants, keeping spot checks: written once, what was written stays."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import select
from sqlalchemy.orm import Session

from tracker.models.evidence import FundingGrant, GrantShare, SpotAnswer, SpotCheck, SpotDraw, Trial, TrialUnit
from tracker.models.people import Person, RoleGrant
from tracker.models.programme import Programme, Term
from tracker.models.school import School
from tracker.models.sheets import SheetVersion, WeekSheet
from tracker.models.units import Unit
from tracker.records.history import SetupError, guard, stop, unused
from tracker.vocabulary import Role, SpotFigure, TrialSide

SAME_PERSON = "{name} reports for this school. Somebody else has to check it; write who did."
Named = tuple[str, str]  # school code, unit code


# --- trials -------------------------------------------------------------------------------------------------------


def unit_ids(session: Session, programme_id: int) -> dict[Named, int]:
    """Ids of a programme's units by the codes of school and unit."""
    query = select(School.code, Unit.code, Unit.id).join(Unit, Unit.school_id == School.id)
    return {(school, unit): found for school, unit, found in session.execute(query.where(_of(School, programme_id)))}


def _of(model: Any, programme_id: int) -> Any:
    return model.programme_id == programme_id


def _in_order(values: Mapping[str, Any]) -> None:
    if values["until_day"] is not None and values["until_day"] < values["from_day"]:
        raise SetupError("until_day", "The last day comes before the first day. Correct one of them.")


def declare_trial(
    session: Session, programme: Programme, values: Mapping[str, Any], sides: Mapping[TrialSide, Iterable[int]]
) -> Trial:
    """A trial with its units. A late one is kept as well: its days say that it was not declared before it started.

    Args:
        values: the columns of ``Trial`` without the programme.
        sides: ids of units by side.
    Raises:
        SetupError: the code is taken, the days run backwards, no unit gets the fitting, or one stands on both sides.
    """
    _in_order(values)
    unused(session, Trial, "code", programme_id=programme.id, code=values["code"])
    fitted, compared = (set(sides.get(side, ())) for side in TrialSide)
    if not fitted:
        raise SetupError("units", "Write at least one unit that gets the fitting.")
    if fitted & compared:
        raise SetupError("comparison_units", "A unit stands on both sides. Leave it out of one of them.")
    trial = Trial(programme_id=programme.id, **values)
    session.add(trial)
    session.flush()  # its units need the id
    for side, ids in ((TrialSide.FITTED, fitted), (TrialSide.COMPARISON, compared)):
        session.add_all(TrialUnit(trial_id=trial.id, unit_id=unit, side=side) for unit in sorted(ids))
    session.flush()
    return trial


@dataclass(frozen=True, slots=True)
class TrialLine:
    """A trial as the officer's page lists it: numbers of units by side, the day of its declaration, whether in time."""

    trial: Trial
    declared_on: date
    in_time: bool
    fitted: int
    compared: int


def trials_of(session: Session, programme_id: int, zone: ZoneInfo) -> list[TrialLine]:
    """A programme's trials, the latest first; two queries."""
    rows = session.scalars(select(Trial).where(_of(Trial, programme_id)).order_by(Trial.from_day.desc(), Trial.code))
    query = select(TrialUnit.trial_id, TrialUnit.side).join(Trial, Trial.id == TrialUnit.trial_id)
    sides: dict[int, list[TrialSide]] = {}
    for trial, side in session.execute(query.where(_of(Trial, programme_id))):
        sides.setdefault(trial, []).append(side)
    found = []
    for row in rows:
        declared_on = row.declared_at.astimezone(zone).date()
        numbers = (sides.get(row.id, []).count(side) for side in TrialSide)
        found.append(TrialLine(row, declared_on, declared_on < row.from_day, *numbers))
    return found


# --- grants -------------------------------------------------------------------------------------------------------


def add_grant(session: Session, programme: Programme, values: Mapping[str, Any]) -> FundingGrant:
    """A grant (code, funder, from_day, until_day).

    Raises:
        SetupError: the code is taken, or the days run backwards.
    """
    _in_order(values)
    unused(session, FundingGrant, "code", programme_id=programme.id, code=values["code"])
    grant = FundingGrant(programme_id=programme.id, **values)
    session.add(grant)
    session.flush()
    return grant


def add_share(
    session: Session, grant: FundingGrant, school_id: int, values: Mapping[str, Any], *, reason: str
) -> GrantShare:
    """A grant's share of a school (permille, from_day, until_day).

    Raises:
        SetupError: the school is another programme's, a share from that day is on record, or a reason is needed.
    """
    school = session.get(School, school_id)
    if school is None or school.programme_id != grant.programme_id:
        raise SetupError("school_id", "Choose a school of this programme.")
    _in_order(values)
    guard(session, grant.programme_id, school.code, values["from_day"], reason)
    key = {"grant_id": grant.id, "school_id": school.id}
    if session.scalar(select(GrantShare.id).filter_by(**key, from_day=values["from_day"])) is not None:
        raise SetupError("from_day", "This grant has a share of this school from that day already. End it first.")
    share = GrantShare(**key, **values)
    session.add(share)
    session.flush()
    return share


def end_share(session: Session, share: GrantShare, last_day: date, *, reason: str) -> None:
    """The last day of a share.

    Raises:
        SetupError: before its first day, after an end on record, or a reason is needed.
    """
    school = session.get_one(School, share.school_id)
    guard(session, school.programme_id, school.code, last_day, reason)
    stop(session, share, last_day)


@dataclass(frozen=True, slots=True)
class GrantLine:
    """A grant with its shares and the schools they are of."""

    grant: FundingGrant
    shares: list[tuple[GrantShare, School]]


def grants_of(session: Session, programme_id: int) -> list[GrantLine]:
    """A programme's grants by code, with their shares; two queries."""
    query = select(GrantShare, School).join(School, School.id == GrantShare.school_id)
    shares: dict[int, list[tuple[GrantShare, School]]] = {}
    rows = session.execute(query.where(_of(School, programme_id)).order_by(School.name, GrantShare.from_day))
    for share, school in rows:
        shares.setdefault(share.grant_id, []).append((share, school))
    found = session.scalars(select(FundingGrant).where(_of(FundingGrant, programme_id)).order_by(FundingGrant.code))
    return [GrantLine(grant, shares.get(grant.id, [])) for grant in found]


# --- spot checks --------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Drawn:
    """A figure that was drawn, and what was on record then."""

    school_id: int
    figure: SpotFigure
    week: date
    reported: int


def draws_of_term(session: Session, term_id: int) -> int:
    """How often a term was drawn."""
    return len(session.scalars(select(SpotDraw.id).where(SpotDraw.term_id == term_id)).all())


def keep_draw(session: Session, term: Term, values: Mapping[str, Any], drawn: Sequence[Drawn]) -> SpotDraw:
    """Keep a draw with its figures; neither can be changed afterwards (a trigger holds it).

    Args:
        values: number, drawn_at, drawn_by, salt, schools, figures_each, reason.
    Raises:
        SetupError: a later draw has no reason.
    """
    if values["number"] > 1 and not values["reason"]:
        raise SetupError("reason", "This term was drawn already. Write why it is drawn again; both draws are shown.")
    code = draw_code(term.code, values["number"])
    row = SpotDraw(programme_id=term.programme_id, term_id=term.id, code=code, **values)
    session.add(row)
    session.flush()  # its figures need the id
    session.add_all(
        SpotCheck(draw_id=row.id, school_id=one.school_id, figure=one.figure, week=one.week, reported=one.reported)
        for one in drawn
    )
    session.flush()
    return row


def draw_code(term_code: str, number: int) -> str:
    """What a draw is called.

    >>> draw_code("2026-1", 2)
    '2026-1-2'
    """
    return f"{term_code}-{number}"


@dataclass(frozen=True, slots=True)
class CheckLine:
    """A drawn figure with its school and its answer, where there is one."""

    check: SpotCheck
    school: School
    answer: SpotAnswer | None


@dataclass(frozen=True, slots=True)
class DrawLine:
    """A draw with its figures."""

    draw: SpotDraw
    checks: list[CheckLine]

    @property
    def answered(self) -> int:
        """How many were checked."""
        return sum(1 for line in self.checks if line.answer is not None)


def draws_of(session: Session, term_id: int, area_ids: Iterable[int] | None = None) -> list[DrawLine]:
    """Draws of a term in their order, with the figures drawn at schools of some areas; two queries."""
    query = (
        select(SpotCheck, School, SpotAnswer)
        .join(SpotDraw, SpotDraw.id == SpotCheck.draw_id)
        .join(School, School.id == SpotCheck.school_id)
        .outerjoin(SpotAnswer, SpotAnswer.check_id == SpotCheck.id)
        .where(SpotDraw.term_id == term_id)
    )
    if area_ids is not None:
        query = query.where(School.area_id.in_(list(area_ids)))
    lines: dict[int, list[CheckLine]] = {}
    for check, school, answer in session.execute(query.order_by(School.name, SpotCheck.figure)):
        lines.setdefault(check.draw_id, []).append(CheckLine(check, school, answer))
    draws = session.scalars(select(SpotDraw).where(SpotDraw.term_id == term_id).order_by(SpotDraw.number))
    return [DrawLine(draw, lines.get(draw.id, [])) for draw in draws]


def answer_of(session: Session, check: SpotCheck) -> SpotAnswer | None:
    """What was found, if it was checked."""
    return session.scalar(select(SpotAnswer).where(SpotAnswer.check_id == check.id))


def answer(session: Session, check: SpotCheck, values: Mapping[str, Any], *, reason: str) -> SpotAnswer:
    """Keep what another person found (found, checked_by, checker_role, checked_on, note).

    Raises:
        SetupError: who checked is who reports, or an answer on record is corrected without a reason.
    """
    named = values["checked_by"]
    if folded(named) in reporters(session, check):
        raise SetupError("checked_by", SAME_PERSON.format(name=named))
    row = answer_of(session, check)
    if row is None:
        row = SpotAnswer(check_id=check.id, **values)
        session.add(row)
    else:
        if not reason:
            raise SetupError("reason", "An answer is on record. To correct it, write the reason.")
        for name, value in values.items():
            setattr(row, name, value)
    session.flush()
    return row


def reporters(session: Session, check: SpotCheck) -> set[str]:
    """Names, folded, of those who sent the week's sheet and of the school's coordinators."""
    senders = (
        select(Person.name)
        .join(SheetVersion, SheetVersion.sent_by_id == Person.id)
        .join(WeekSheet, WeekSheet.id == SheetVersion.sheet_id)
        .where(WeekSheet.school_id == check.school_id, WeekSheet.week == check.week)
    )
    coordinators = (
        select(Person.name)
        .join(RoleGrant, RoleGrant.person_id == Person.id)
        .where(RoleGrant.school_id == check.school_id, RoleGrant.role == Role.COORDINATOR)
    )
    return {folded(name) for query in (senders, coordinators) for name in session.scalars(query)}


def folded(name: str) -> str:
    """A name as it is compared.

    >>> folded("  Ada  BELL ") == folded("Ada Bell")
    True
    """
    return " ".join(name.split()).casefold()


def draw_of(session: Session, check: SpotCheck) -> SpotDraw:
    """The draw that a figure belongs to."""
    return session.get_one(SpotDraw, check.draw_id)
