"""What a reading asked the database and what it was answered, so that it can be asked again.

A reading is worked out from its answers alone. Where every question is answered as before, what was worked out still
holds, whoever wrote something else meanwhile; asking again costs a small part of working out.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from hashlib import blake2b
from pickle import Pickler
from typing import Any, TypeAlias

from sqlalchemy import Connection, Select, event
from sqlalchemy.orm import Session

SOME_ROWS = 2_000
AnyQuery: TypeAlias = "Select[*tuple[Any, ...]]"
Cells: TypeAlias = list[list[Any]]
NAME = "asked"


@dataclass
class Asked:
    """Questions in their order, each with its answer's digest; ``run`` counts all statements the database was given."""

    answers: list[tuple[Callable[[Session], Any], bytes]] = field(default_factory=list)
    run: int = 0

    def same(self, session: Session) -> bool:
        """Whether the database answers every question as it did; False where one was asked past this list."""
        if self.run != len(self.answers):
            return False
        return all(_digest(again(session)) == answer for again, answer in self.answers)


@contextmanager
def listening(session: Session) -> Iterator[Asked]:
    """Note what is asked through ``cells_of`` and ``rows_of`` while the block runs."""
    asked = Asked()

    def count(*_: Any) -> None:
        asked.run += 1

    connection = session.connection()
    event.listen(connection, "before_cursor_execute", count)
    session.info[NAME] = asked
    try:
        yield asked
    finally:
        del session.info[NAME]
        event.remove(connection, "before_cursor_execute", count)


def cells_of(session: Session, query: AnyQuery, width: int) -> Cells:
    """A query's answer by column, as the driver gives it."""
    result = session.connection().execute(query)
    statement, parameters = result.context.statement, result.context.parameters[0]
    cells = _by_column(result, width)
    _note(session, lambda later: _again(later.connection(), statement, parameters, width), cells)
    return cells


def rows_of(session: Session, query: AnyQuery) -> list[Any]:
    """A query's rows."""
    found = list(session.execute(query).all())
    _note(session, lambda later: _plain(later.execute(query).all()), _plain(found))
    return found


def _again(connection: Connection, statement: str, parameters: Any, width: int) -> Cells:
    return _by_column(connection.exec_driver_sql(statement, parameters), width)


def _by_column(result: Any, width: int) -> Cells:
    """Some rows at a time, so that half a million never stand in memory as objects of their own.

    By place and not by ``zip(*rows)``, which makes an object of every row once more and takes twice as long.
    """
    cells: Cells = [[] for _ in range(width)]
    while result.cursor is not None and (rows := result.cursor.fetchmany(SOME_ROWS)):
        for place, cell in enumerate(cells):
            cell.extend([row[place] for row in rows])
    result.close()
    return cells


def _plain(rows: Sequence[Any]) -> list[tuple[Any, ...]]:
    return [tuple(row) for row in rows]


class _Hashing:
    """A file that keeps only the digest of what is written to it."""

    def __init__(self) -> None:
        self.hash = blake2b(digest_size=32)

    def write(self, data: bytes) -> int:
        self.hash.update(data)
        return len(data)


def _digest(answer: Any) -> bytes:
    """Of an answer's values and their types; a large answer is not kept in memory for the sake of comparing."""
    into = _Hashing()
    pickler = Pickler(into, protocol=5)
    pickler.fast = True  # by value alone: the same text twice reads the same, whether or not it is one object
    pickler.dump(answer)
    return into.hash.digest()


def _note(session: Session, again: Callable[[Session], Any], answer: Any) -> None:
    asked = session.info.get(NAME)
    if asked is not None:
        asked.answers.append((again, _digest(answer)))
