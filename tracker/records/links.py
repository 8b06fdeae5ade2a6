"""Links to one published version: made, looked up, ended. Whoever holds one reads; it opens nothing else."""

from __future__ import annotations

from datetime import datetime, timedelta

from sqlalchemy import select
from sqlalchemy.orm import Session

from tracker.models.links import ShareLink
from tracker.models.publications import Publication

USUAL_DAYS, MOST_DAYS = 90, 366


def of_publication(session: Session, publication_id: int) -> list[ShareLink]:
    """The links of a version, newest first."""
    rows = select(ShareLink).where(ShareLink.publication_id == publication_id)
    return list(session.scalars(rows.order_by(ShareLink.made_at.desc(), ShareLink.id.desc())))


def make(
    session: Session, publication: Publication, label: str, token_hash: str, *, days: int, at: datetime, person_id: int
) -> ShareLink:
    """Note a link by the hash of its random part.

    Raises:
        ValueError: the version is about one school, or the days are not 1 to 366.
    """
    if publication.scope:
        raise ValueError("what is about one school is not shared by a link")
    if not 1 <= days <= MOST_DAYS:
        raise ValueError(f"a link holds from 1 to {MOST_DAYS} days")
    link = ShareLink(
        publication_id=publication.id,
        label=label,
        token_hash=token_hash,
        made_at=at,
        made_by_id=person_id,
        expires_at=at + timedelta(days=days),
    )
    session.add(link)
    session.flush()
    return link


def open_link(session: Session, token_hash: str, at: datetime) -> tuple[ShareLink, Publication] | None:
    """The link and its version while it holds; None alike for one that ended, that expired, and that never was."""
    row = session.execute(
        select(ShareLink, Publication)
        .join(Publication, Publication.id == ShareLink.publication_id)
        .where(ShareLink.token_hash == token_hash, ShareLink.ended_at.is_(None), ShareLink.expires_at > at)
    ).first()
    return None if row is None else (row[0], row[1])


def find(session: Session, publication_id: int, link_id: int) -> ShareLink | None:
    """A link of the version."""
    link = session.get(ShareLink, link_id)
    return link if link is not None and link.publication_id == publication_id else None


def end(link: ShareLink, at: datetime) -> None:
    """From now on the link opens nothing."""
    link.ended_at = link.ended_at or at
