"""Who changed what, when, before and after: written by the session itself, sealed in batches.

Rows added, changed or removed through the session are written at every flush. Bulk statements are not seen by
the session: whoever writes in bulk says so with ``note``. The actor stands in ``session.info["actor"]``, the
reason in ``session.info["reason"]``; ``session.info["now"]`` sets the instant where a run must repeat exactly.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from sqlalchemy import event, func, insert, inspect, select
from sqlalchemy.orm import Session, UOWTransaction

from tracker.db import Base
from tracker.models.audit import Audit, AuditSeal

# derived rows can always be made again; log-ins, drafts and resend keys are no records of the programme
UNWRITTEN = frozenset({"audit", "audit_seal", "week", "school_day", "login_session", "request_key", "sheet_draft"})
MASKED = frozenset({"secret_hash", "token_hash"})
HASHED = frozenset({"payload", "content"})  # kept whole beside; here their hash is enough
OLD_VALUES = "audit_old_values"


@dataclass(frozen=True, slots=True)
class Actor:
    """Who acts in this session: a person in a role (None: the installation itself)."""

    person_id: int | None
    role: str = ""
    programme_id: int | None = None


SYSTEM = Actor(None, "system")


def _plain(column: str, value: Any) -> Any:
    """A column's value as it stands in an audit row."""
    if column in MASKED and value is not None:
        return "***"
    if column in HASHED and value is not None:
        data = value if isinstance(value, bytes) else str(value).encode()
        return "sha256:" + hashlib.sha256(data).hexdigest()
    if value is None or isinstance(value, bool | int | float):
        return value
    return value.isoformat() if hasattr(value, "isoformat") else str(value)


def as_text(values: Mapping[str, Any]) -> str:
    """Values by column as canonical JSON, secrets masked."""
    plain = {column: _plain(column, value) for column, value in values.items()}
    return json.dumps(plain, sort_keys=True, ensure_ascii=False, separators=(",", ":"))


def _line(session: Session, act: str, table: str, row_key: str, **texts: str | None) -> dict[str, Any]:
    actor: Actor = session.info.get("actor") or SYSTEM
    return {
        "at": session.info.get("now") or datetime.now(UTC),
        "person_id": actor.person_id,
        "role": actor.role,
        "programme_id": actor.programme_id,
        "act": act,
        "table_name": table,
        "row_key": row_key[:120],
        "before": texts.get("before"),
        "after": texts.get("after"),
        "reason": str(session.info.get("reason") or "")[:200],
    }


def note(
    session: Session,
    act: str,
    table: str,
    row_key: str,
    *,
    before: Mapping[str, Any] | None = None,
    after: Mapping[str, Any] | None = None,
) -> None:
    """Write one audit row for a change made in bulk (act: added, changed, removed or loaded)."""
    texts = {"before": None if before is None else as_text(before), "after": None if after is None else as_text(after)}
    session.execute(insert(Audit).values(**_line(session, act, table, row_key, **texts)))


def _columns(row: Base) -> list[str]:
    return [attribute.key for attribute in inspect(row).mapper.column_attrs]


def _changed(row: Base) -> list[str]:
    state = inspect(row)
    return [name for name in _columns(row) if state.attrs[name].history.has_changes()]


@event.listens_for(Session, "before_flush")
def _keep_old_values(session: Session, _context: UOWTransaction, _instances: Any) -> None:
    """Read what stood there before, where the session does not know it (set without being read)."""
    old: dict[int, dict[str, Any]] = session.info.setdefault(OLD_VALUES, {})
    for row in session.dirty:
        state = inspect(row)
        if any(not state.attrs[name].history.deleted for name in _changed(row)):
            table = state.mapper.local_table
            where = [column == value for column, value in zip(table.primary_key, state.identity or (), strict=True)]
            found = session.connection().execute(select(table).where(*where)).mappings().first()
            old[id(row)] = dict(found) if found else {}
    for row in session.deleted:
        for name in _columns(row):  # once it is deleted an expired row cannot be read any more
            getattr(row, name)


def _before(session: Session, row: Base, name: str) -> Any:
    state = inspect(row)
    deleted = state.attrs[name].history.deleted
    if deleted:
        return deleted[0]
    column = state.mapper.column_attrs[name].columns[0].name
    return session.info.get(OLD_VALUES, {}).get(id(row), {}).get(column)


def _key(row: Base) -> str:
    state = inspect(row)
    return ",".join(str(part) for part in state.identity or state.mapper.primary_key_from_instance(row))


def _lines(session: Session) -> Iterator[dict[str, Any]]:
    for act, rows in (("added", session.new), ("changed", session.dirty), ("removed", session.deleted)):
        for row in rows:
            table = row.__tablename__
            if table in UNWRITTEN:
                continue
            names = _changed(row) if act == "changed" else _columns(row)
            if not names:
                continue
            now = {name: getattr(row, name) for name in names}
            old = {name: _before(session, row, name) for name in names} if act == "changed" else now
            texts = {
                "before": None if act == "added" else as_text(old),
                "after": None if act == "removed" else as_text(now),
            }
            yield _line(session, act, table, _key(row), **texts)


@event.listens_for(Session, "after_flush")
def _write(session: Session, _context: UOWTransaction) -> None:
    lines = list(_lines(session))
    session.info.pop(OLD_VALUES, None)
    if lines:
        session.connection().execute(insert(Audit), lines)


def _row_text(row: Audit) -> str:
    parts = [row.seq, row.at.astimezone(UTC).isoformat(), row.person_id, row.role, row.programme_id]
    parts += [row.act, row.table_name, row.row_key, row.before, row.after, row.reason]
    return json.dumps(parts, ensure_ascii=False, separators=(",", ":"))


def _hash(session: Session, after_seq: int, last_seq: int | None, chained_on: str) -> tuple[int, str]:
    """Last sequence number and the seal of the rows after ``after_seq``."""
    digest, last = hashlib.sha256(chained_on.encode()), after_seq
    query = select(Audit).where(Audit.seq > after_seq).order_by(Audit.seq).execution_options(yield_per=1000)
    for row in session.scalars(query if last_seq is None else query.where(Audit.seq <= last_seq)):
        digest.update(b"\n" + _row_text(row).encode())
        last = row.seq
    return last, digest.hexdigest()


def last_seq(session: Session) -> int:
    """The number of the newest audit row; 0 where nothing was ever written."""
    return session.scalar(select(func.max(Audit.seq))) or 0


def last_change(session: Session) -> datetime | None:
    """When the newest change was made; None before the first."""
    return session.scalar(select(Audit.at).order_by(Audit.seq.desc()).limit(1))


def seal(session: Session, at: datetime) -> AuditSeal | None:
    """Seal the audit rows written since the last seal; None where there are none.

    The seal is the SHA-256 of the seal before and of every row, so an edited, removed or slipped-in row shows.
    Whoever keeps a seal elsewhere can also tell that the newest rows and seals were not cut off together.
    """
    session.flush()
    before = session.scalars(select(AuditSeal).order_by(AuditSeal.last_seq.desc()).limit(1)).first()
    start, chained = (before.last_seq, before.seal) if before else (0, "")
    last, text = _hash(session, start, None, chained)
    if last == start:
        return None
    made = AuditSeal(last_seq=last, at=at, seal=text)
    session.add(made)
    session.flush()
    return made


def verify(session: Session) -> int | None:
    """The first sequence number of the first sealed batch that is not as it was sealed; None where all are."""
    start, chained = 0, ""
    for one in session.scalars(select(AuditSeal).order_by(AuditSeal.last_seq)).all():
        _, text = _hash(session, start, one.last_seq, chained)
        if text != one.seal:
            return start + 1
        start, chained = one.last_seq, one.seal
    return None
