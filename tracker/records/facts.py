"""Fact rows of a week sheet: written with the sheet's mark, taken out again when a new version comes.

A sheet's facts are rows of the exchange format by table, typed as ``intake.rows.parse_row`` gives them; the
column ``school`` may be left out. Derived columns (week, day, programme) are filled here. The audit trail gets
one row a table: the sheet's version keeps every entry for ever.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from typing import Any

from sqlalchemy import delete, or_, select, update
from sqlalchemy.orm import Session

from tracker.models.outages import Outage, ServiceVisit
from tracker.models.programme import Programme
from tracker.models.school import School
from tracker.models.sheets import WeekSheet
from tracker.records import audit, ledger_facts, ledger_settle
from tracker.records.columns import Table
from tracker.records.lookups import FILE, Lookups, change_row, insert_rows, key_of, lookups_of, to_record
from tracker.records.tables_facts import HAPPENED

Rows = Mapping[str, Iterable[Mapping[str, Any]]]
FACTS: tuple[Table, ...] = tuple(table for table in HAPPENED if table.fact)
OUTAGES = FILE["outages"]
NAMED_BY_FACTS = ("schools", "units", "places", "products", "lots", "outages", "awareness_sessions")
NO_SYNC = {"synchronize_session": False}


def _sheet(session: Session, sheet: WeekSheet | int) -> WeekSheet:
    return session.get_one(WeekSheet, sheet) if isinstance(sheet, int) else sheet


def write_facts(session: Session, sheet: WeekSheet | int, facts: Rows) -> None:
    """Write a sheet's facts. An outage on record under the same ref is changed, never written twice.

    Raises:
        KeyError: a row names a unit, place, product or session that is not on record; the rules refuse it before.
    """
    sheet = _sheet(session, sheet)
    session.flush()  # the sheet's id and rows of other modules must stand before bulk statements
    school = session.get_one(School, sheet.school_id)
    programme = session.get_one(Programme, school.programme_id)
    lookups = lookups_of(session, programme, NAMED_BY_FACTS, school.id)
    with ledger_settle.reported(session, programme.id, ledger_facts.places_of(session, programme.id, sheet, facts)):
        _write_tables(session, sheet, lookups, {"school": school.code}, facts)
    session.expire_all()


def _write_tables(session: Session, sheet: WeekSheet, lookups: Lookups, school: Mapping[str, str], facts: Rows) -> None:
    for table in FACTS:
        rows = [{**school, **row} for row in facts.get(table.name, ())]
        if not rows:
            continue
        if table is OUTAGES:
            rows = _change_known_outages(session, lookups, sheet.id, rows)
        records = [{**to_record(lookups, table, row), "sheet_id": sheet.id} for row in rows]
        if not hasattr(table.model, "sheet_id"):
            records = [{name: value for name, value in one.items() if name != "sheet_id"} for one in records]
        keys = [key_of(table, row) for row in rows] if table.name in NAMED_BY_FACTS else ()
        insert_rows(session, lookups, table, records, keys)
        audit.note(session, "loaded", table.model.__tablename__, sheet.code, after={"rows": len(records)})


def _change_known_outages(
    session: Session, lookups: Lookups, sheet_id: int, rows: list[dict[str, Any]]
) -> list[dict[str, Any]]:
    """Write over outages that are on record; those that are not are given back."""
    new = []
    for row in rows:
        row_id = lookups.ids.get("outages", {}).get(key_of(OUTAGES, row))
        if row_id is None:
            new.append(row)
            continue
        known = session.get_one(Outage, row_id)
        record = to_record(lookups, OUTAGES, row)
        if known.sheet_id == sheet_id:
            if known.end_sheet_id not in (None, sheet_id) and record["end_at"] is None:
                record["end_at"] = known.end_at  # a later sheet said when it ended
            change_row(session, OUTAGES, row_id, record)
        elif record["end_at"] is not None and known.end_at is None:
            ended = {name: record[name] for name in ("end_at", "checked_by", "checked_on")}
            change_row(session, OUTAGES, row_id, {**ended, "end_sheet_id": sheet_id})
    return new


def remove_sheet_facts(session: Session, sheet: WeekSheet | int) -> None:
    """Take a sheet's facts out; outages of other sheets that it ended are open again, jobs lose their outage."""
    sheet = _sheet(session, sheet)
    programme_id = session.get_one(School, sheet.school_id).programme_id
    with ledger_settle.reported(session, programme_id, ledger_facts.places_of(session, programme_id, sheet, {})):
        _remove(session, sheet, ())


def replace_facts(session: Session, sheet: WeekSheet | int, facts: Rows) -> None:
    """A new version's facts in place of the old; outages named again keep their row, their jobs and a later end."""
    sheet = _sheet(session, sheet)
    programme_id = session.get_one(School, sheet.school_id).programme_id
    with ledger_settle.reported(session, programme_id, ledger_facts.places_of(session, programme_id, sheet, facts)):
        _remove(session, sheet, {str(row["ref"]) for row in facts.get("outages", ())})
        write_facts(session, sheet, facts)


def _open_again(session: Session, sheet: WeekSheet) -> None:
    """Outages that this sheet ended go on: those of other sheets, and those that came without one."""
    others = or_(Outage.sheet_id.is_(None), Outage.sheet_id != sheet.id)
    opened = update(Outage).where(Outage.end_sheet_id == sheet.id, others)
    values = {"end_at": None, "end_sheet_id": None, "checked_by": "", "checked_on": None}
    session.execute(opened.values(**values), execution_options=NO_SYNC)


def _remove(session: Session, sheet: WeekSheet, kept_refs: Collection[str]) -> None:
    session.flush()  # what the session holds must stand before bulk statements
    _open_again(session, sheet)
    gone = select(Outage.id).where(Outage.sheet_id == sheet.id, Outage.ref.not_in(kept_refs))
    unlinked = update(ServiceVisit).where(ServiceVisit.outage_id.in_(gone)).values(outage_id=None)
    session.execute(unlinked, execution_options=NO_SYNC)
    for table in reversed(FACTS):
        if not hasattr(table.model, "sheet_id"):
            continue  # goes with the session it belongs to
        taken = delete(table.model).where(table.model.sheet_id == sheet.id)
        if table is OUTAGES:
            taken = taken.where(Outage.ref.not_in(kept_refs))
        count = session.execute(taken, execution_options=NO_SYNC).rowcount  # type: ignore[attr-defined]
        if count:
            audit.note(session, "removed", table.model.__tablename__, sheet.code, before={"rows": count})
    session.expire_all()
