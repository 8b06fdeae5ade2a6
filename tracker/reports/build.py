"""Find what a person or the command names, and build its report."""

from __future__ import annotations

from datetime import UTC, date, datetime
from typing import TypeAlias
from zoneinfo import ZoneInfo

from tracker import __version__
from tracker.records import audit, heads, people, publications
from tracker.records.settings import setting
from tracker.reports.printing import day
from tracker.reports.report import Report

Session: TypeAlias = heads.Session


def term_of(session: Session, programme_id: int, named: str) -> heads.TermHead:
    """A programme's term by its code, or by its number in the database.

    Raises:
        LookupError: there is none; the message lists those that there are.
    """
    known = heads.terms(session, programme_id)
    for term in known:
        if term.code == named:
            return term
    for term in known:
        if str(term.id) == named:
            return term
    codes = ", ".join(term.code for term in known) or "none yet"
    raise LookupError(f"There is no term {named}. Terms of this programme: {codes}.")


def begun(session: Session, programme_id: int, as_of: datetime) -> list[heads.TermHead]:
    """Terms that have begun by an instant, latest first."""
    today = as_of.astimezone(ZoneInfo(heads.programme(session, programme_id).zone)).date()
    return [term for term in reversed(heads.terms(session, programme_id)) if term.first_day <= today]


def known_by(session: Session, at: datetime) -> datetime:
    """The instant a report opened at ``at`` is made for: the last full hour, or the newest change since.

    All records known at ``at`` are in it, and open outages run to it. Reports opened in one hour with nothing written
    between are so made for one instant, and are made once.
    """
    hour = at.replace(minute=0, second=0, microsecond=0)
    changed = audit.last_change(session)
    return hour if changed is None else max(hour, min(changed, at))


def school(session: Session, school_id: int, term: heads.TermHead, as_of: datetime) -> Report:
    """A school's term report.

    Raises:
        LookupError: the term has not begun.
    """
    from tracker.reports import school_term

    _check_begun(session, heads.programme_of_school(session, school_id), term, as_of)
    return school_term.build(session, school_id, term, as_of, __version__)


def programme(session: Session, programme_id: int, term: heads.TermHead, as_of: datetime) -> Report:
    """A programme's term report.

    Raises:
        LookupError: the term has not begun.
    """
    from tracker.reports import programme_term

    _check_begun(session, programme_id, term, as_of)
    return programme_term.build(session, programme_id, term, as_of, __version__)


def impact(session: Session, programme_id: int, term: heads.TermHead, as_of: datetime) -> Report:
    """The funder's impact summary, small counts withheld.

    Raises:
        LookupError: the term has not begun.
    """
    from tracker.reports import impact_summary

    _check_begun(session, programme_id, term, as_of)
    return impact_summary.build(session, programme_id, term, as_of, __version__)


def certificate(session: Session, agreement: heads.AgreementHead, term: heads.TermHead, as_of: datetime) -> Report:
    """The availability certificate of an agreement, small counts withheld as in all that leaves the programme.

    Raises:
        LookupError: the term has not begun.
    """
    from tracker.reports import certificate as certificates
    from tracker.reports.leaving import protected

    _check_begun(session, agreement.programme_id, term, as_of)
    report = certificates.build(session, agreement, term, as_of, __version__)
    return protected(report, setting(session, agreement.programme_id, "small_count_min", report.last_day))


def by_code(
    session: Session,
    kind: str,
    term: str,
    *,
    programme_code: str | None = None,
    school_code: str | None = None,
    as_of: str | None = None,
    now: datetime,
) -> Report:
    """The report that the command names.

    Args:
        kind: "school", "programme" or "impact".
        as_of: local time of the programme, such as 2026-02-03T18:00; None is ``now``.
    Raises:
        LookupError: something named is not there or not yet; the message says what to do.
    """
    programme_id = _programme(session, programme_code)
    moment = instant(as_of, heads.programme(session, programme_id).zone, now)
    found = term_of(session, programme_id, term)
    if kind == "school":
        return school(session, _school(session, programme_id, school_code or ""), found, moment)
    if kind == "programme":
        return programme(session, programme_id, found, moment)
    return impact(session, programme_id, found, moment)


def programme_and_day(session: Session, code: str | None, now: datetime) -> tuple[int, date]:
    """The programme of that code (None: the only one there is), and its local day.

    Raises:
        LookupError: there is none, or several and none was named.
    """
    programme_id = _programme(session, code)
    return programme_id, now.astimezone(ZoneInfo(heads.programme(session, programme_id).zone)).date()


def instant(as_of: str | None, zone: str, now: datetime) -> datetime:
    """A local time as an instant; ``now`` where none is given.

    Raises:
        LookupError: it cannot be read, or has not come yet.

    >>> instant("2026-02-03T18:00", "Etc/GMT-3", datetime(2026, 2, 4, tzinfo=UTC)).isoformat()
    '2026-02-03T15:00:00+00:00'
    """
    if as_of is None:
        return now
    try:
        moment = datetime.fromisoformat(as_of)
    except ValueError:
        raise LookupError(f"{as_of} is not a time. Write it like 2026-02-03T18:00.") from None
    if moment.tzinfo is None:
        moment = moment.replace(tzinfo=ZoneInfo(zone))
    if moment > now:
        raise LookupError(f"{as_of} has not come yet. Leave --as-of out, or give a time that has passed.")
    return moment.astimezone(UTC)


def _check_begun(session: Session, programme_id: int, term: heads.TermHead, as_of: datetime) -> None:
    today = as_of.astimezone(ZoneInfo(heads.programme(session, programme_id).zone)).date()
    if today < term.first_day:
        raise LookupError(f"{term.name} has not begun. Its first day is {day(term.first_day)}.")


def _school(session: Session, programme_id: int, code: str) -> int:
    found = people.school_by_code(session, programme_id, code)
    if found is None:
        codes = ", ".join(one.code for one in people.schools_of(session, programme_id))
        raise LookupError(f"There is no school {code}. Schools of this programme: {codes or 'none yet'}.")
    return found.id


def _programme(session: Session, code: str | None) -> int:
    known = publications.programme_ids_by_code(session)
    listed = ", ".join(sorted(known)) or "none yet"
    if code is None:
        if len(known) == 1:
            return next(iter(known.values()))
        raise LookupError(f"Say which programme with --programme CODE. Programmes: {listed}.")
    if code not in known:
        raise LookupError(f"There is no programme {code}. Programmes: {listed}.")
    return known[code]
