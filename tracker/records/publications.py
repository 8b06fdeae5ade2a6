"""Published reports: versions, their stored files and contributions, and what a publication looks at before it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from tracker.models.people import Person
from tracker.models.programme import Programme, Term
from tracker.models.publications import Publication, PublicationFile, PublicationLine
from tracker.models.school import School
from tracker.models.sheets import Query, WeekSheet
from tracker.vocabulary import ReportKind, SheetState


@dataclass(frozen=True, slots=True)
class Listed:
    """One version as lists and pages show it; ``latest`` where no later one replaces it."""

    id: int
    kind: ReportKind
    scope: str
    number: int
    term_code: str
    term_name: str
    first_day: date
    last_day: date
    published_at: datetime
    cutoff_at: datetime
    approved_by: str
    reason: str
    content_hash: str
    code_version: str
    latest: bool


@dataclass(frozen=True, slots=True)
class NewVersion:
    """What is stored of a version besides its files and contributions."""

    programme_id: int
    term_id: int
    kind: ReportKind
    scope: str
    cutoff_at: datetime
    published_at: datetime
    code_version: str
    content: str
    content_hash: str
    approved_by_id: int
    reason: str = ""


def programme_ids_by_code(session: Session) -> dict[str, int]:
    """Every programme's id by its code."""
    return {row.code: row.id for row in session.execute(select(Programme.code, Programme.id))}


def former(session: Session, programme_id: int, term_id: int, kind: ReportKind, scope: str = "") -> Publication | None:
    """The latest published version; None where there is none yet."""
    query = select(Publication).where(
        Publication.programme_id == programme_id,
        Publication.term_id == term_id,
        Publication.kind == kind,
        Publication.scope == scope,
    )
    return session.scalars(query.order_by(Publication.number.desc()).limit(1)).first()


def versions(session: Session, programme_id: int, kinds: Iterable[ReportKind] = tuple(ReportKind)) -> list[Listed]:
    """Every published version of a programme, latest term and version first, in one query."""
    query = (
        select(Publication, Term.code, Term.name, Term.first_day, Term.last_day, Person.name)
        .join(Term, Term.id == Publication.term_id)
        .join(Person, Person.id == Publication.approved_by_id)
        .where(Publication.programme_id == programme_id, Publication.kind.in_(list(kinds)))
        .order_by(Term.first_day.desc(), Publication.kind, Publication.scope, Publication.number.desc())
    )
    rows = session.execute(query).all()
    replaced = {row[0].replaces_id for row in rows}
    return [
        Listed(
            id=row.id,
            kind=row.kind,
            scope=row.scope,
            number=row.number,
            term_code=code,
            term_name=name,
            first_day=first,
            last_day=last,
            published_at=row.published_at,
            cutoff_at=row.cutoff_at,
            approved_by=person,
            reason=row.reason,
            content_hash=row.content_hash,
            code_version=row.code_version,
            latest=row.id not in replaced,
        )
        for row, code, name, first, last, person in rows
    ]


def add(
    session: Session,
    new: NewVersion,
    files: Mapping[str, tuple[str, bytes]],
    lines: Sequence[tuple[str, str, str, str]],
) -> Publication:
    """Store a version with its files (name → media type, bytes) and contributions (figure, school, week, digits).

    It follows the version before it. The database refuses later changes.

    Raises:
        ValueError: a version replaces another one and gives no reason.
    """
    before = former(session, new.programme_id, new.term_id, new.kind, new.scope)
    if before is not None and not new.reason:
        raise ValueError("Say why a new version is published.")
    made = Publication(
        programme_id=new.programme_id,
        term_id=new.term_id,
        kind=new.kind,
        scope=new.scope,
        number=before.number + 1 if before else 1,
        cutoff_at=new.cutoff_at,
        published_at=new.published_at,
        code_version=new.code_version,
        content=new.content,
        content_hash=new.content_hash,
        approved_by_id=new.approved_by_id,
        replaces_id=before.id if before else None,
        reason=new.reason if before else "",
    )
    session.add(made)
    session.flush()  # its files and lines need the id
    for name, (media_type, body) in files.items():
        session.add(PublicationFile(publication_id=made.id, name=name, media_type=media_type, content=body))
    for figure, school, week, value in lines:
        session.add(PublicationLine(publication_id=made.id, figure=figure, school=school, week=week, value=value))
    session.flush()
    return made


def file(session: Session, publication_id: int, name: str) -> PublicationFile | None:
    """A stored file by name; None where the version has none of that name."""
    return session.scalar(
        select(PublicationFile).where(PublicationFile.publication_id == publication_id, PublicationFile.name == name)
    )


def file_names(session: Session, publication_id: int) -> list[str]:
    """Names of a version's files, in the order they were stored."""
    query = select(PublicationFile.name).where(PublicationFile.publication_id == publication_id)
    return list(session.scalars(query.order_by(PublicationFile.id)))


def lines(session: Session, publication_id: int, figure: str) -> list[PublicationLine]:
    """What each school and week brought to a published figure, by school and week."""
    query = select(PublicationLine).where(
        PublicationLine.publication_id == publication_id, PublicationLine.figure == figure
    )
    return list(session.scalars(query.order_by(PublicationLine.school, PublicationLine.week)))


def figures(session: Session, publication_id: int) -> list[str]:
    """Keys of the figures whose contributions were stored with a version, in order of storing."""
    query = select(PublicationLine.figure).where(PublicationLine.publication_id == publication_id)
    return list(session.scalars(query.group_by(PublicationLine.figure).order_by(func.min(PublicationLine.id))))


def sheet_counts(session: Session, programme_id: int, first: date, last: date) -> dict[SheetState, int]:
    """Sheets of weeks that have a day in the span, by state; a state without a sheet counts 0."""
    query = (
        select(WeekSheet.state, func.count())
        .join(School, School.id == WeekSheet.school_id)
        .where(School.programme_id == programme_id, WeekSheet.week.between(first - timedelta(days=6), last))
        .group_by(WeekSheet.state)
    )
    found = {row[0]: row[1] for row in session.execute(query)}
    return {state: found.get(state, 0) for state in SheetState}


def open_queries(session: Session, programme_id: int, first: date, last: date) -> int:
    """Queries on sheets of the span that are not closed yet."""
    query = (
        select(func.count())
        .select_from(Query)
        .join(WeekSheet, WeekSheet.id == Query.sheet_id)
        .join(School, School.id == WeekSheet.school_id)
        .where(
            School.programme_id == programme_id,
            Query.closed_at.is_(None),
            WeekSheet.week.between(first - timedelta(days=6), last),
        )
    )
    return session.scalar(query) or 0
