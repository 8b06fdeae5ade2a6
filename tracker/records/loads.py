"""Sheets that come from a folder, written in bulk."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import insert
from sqlalchemy.orm import Session

from tracker.models.sheets import SheetVersion
from tracker.records.sheets import canonical, payload_hash, reference


@dataclass(frozen=True, slots=True)
class LoadedVersion:
    """A sheet's version that comes from a folder: what was sent, when, and why it replaces an earlier one."""

    sheet_id: int
    sheet_code: str
    number: int
    sent_at: datetime
    payload: Mapping[str, Any]
    reason: str = ""


def load_versions(session: Session, versions: Sequence[LoadedVersion]) -> None:
    """Write versions in bulk; their references are made from their content, so that a repeat gives the same."""
    made: list[dict[str, Any]] = []
    for one in versions:
        digest = payload_hash(one.payload)
        made.append(
            {
                "sheet_id": one.sheet_id,
                "number": one.number,
                "reference": reference(one.sheet_code, one.number, digest),
                "sent_at": one.sent_at,
                "sent_by_id": None,
                "payload": canonical(one.payload),
                "payload_hash": digest,
                "reason": one.reason[:200],
                "from_paper": False,
            }
        )
    taken: set[str] = set()
    for row, one in zip(made, versions, strict=True):
        salt = 0
        while row["reference"] in taken:
            salt += 1
            row["reference"] = reference(one.sheet_code, one.number, row["payload_hash"], salt)
        taken.add(row["reference"])
    if made:
        session.execute(insert(SheetVersion), made)
