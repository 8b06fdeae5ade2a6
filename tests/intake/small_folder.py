"""A small made-up folder: one school, two weeks, one cabin of each way of counting. Tests change a cell and load it."""

from __future__ import annotations

import copy
import csv
from pathlib import Path

from tracker.intake.rows import header
from tracker.intake.tables import BY_NAME

FROM = "2026-01-01"
WEEK_ONE = "2026-01-12"  # a Monday; the term is Monday 12 to Friday 23 January 2026
Rows = dict[str, list[dict[str, str]]]


def _unit(code: str, kind: str, block: str = "K1") -> dict[str, str]:
    return {
        "school": "S1", "unit": code, "block": block, "name": f"Unit {code}", "kind": kind, "accessible": "no",
        "from_day": FROM, "until_day": "", "preferred_source": "tally",
    }  # fmt: skip


def _count(unit: str, day: str, slot: str, how: str, visits: str, days: str = "1", note: str = "") -> dict[str, str]:
    return {
        "school": "S1", "unit": unit, "first_day": day, "days": days, "slot": slot, "source": "tally", "how": how,
        "visits": visits, "note": note,
    }  # fmt: skip


def count(unit="G1", day="2026-01-13", slot="B1", how="grid", visits="12", days="1", note=""):
    """A usage count: by default 12 visits at G1 in the first break of Tuesday."""
    return _count(unit, day, slot, how, visits, days, note)


def reading(value="150", at="2026-01-16T12:00", unit="W1", quantity="water", source="tally", note=""):
    """A reading of the water meter on Friday of the first week."""
    return {
        "school": "S1", "unit": unit, "quantity": quantity, "source": source, "at_local_time": at, "value": value,
        "note": note,
    }  # fmt: skip


def outage(ref="O1", unit="G2", cause="broken", start="2026-01-13T08:00", end="2026-01-14T10:00", **more):
    """An outage of G2 from Tuesday to Wednesday."""
    row = {
        "ref": ref, "school": "S1", "unit": unit, "source": "tally", "cause": cause, "start_local_time": start,
        "end_local_time": end, "event": "", "said_by": "", "danger": "", "checked_by": "", "checked_on": "", "note": "",
    }  # fmt: skip
    return row | more


def small() -> Rows:
    """The rows of the folder, to be changed at will."""
    weekdays = [str(n) for n in range(5)]
    breaks = (("B1", "First break", "10:00", "10:20"), ("B2", "Lunch", "12:00", "12:40"))
    return copy.deepcopy(
        {
            "programme": [
                {
                    "programme": "hills", "name": "Hill Schools", "zone": "Etc/GMT-3", "currency": "XTS",
                    "first_weekday": "0", "phone": "000 0100", "is_demo": "no",
                }
            ],
            "areas": [{"area": "A1", "name": "Area 1"}],
            "terms": [{"term": "T1", "name": "Term 1", "first_day": WEEK_ONE, "last_day": "2026-01-23"}],
            "schools": [
                {
                    "school": "S1", "area": "A1", "name": "School 1", "boarders": "no", "from_day": FROM,
                    "until_day": "", "latitude_deg": "", "longitude_deg": "",
                }
            ],
            "closures": [
                {
                    "ref": "C1", "area": "", "school": "", "scope": "programme", "first_day": "2026-01-15",
                    "last_day": "2026-01-15", "name": "Founders' day",
                }
            ],
            "shifts": [{"school": "S1", "shift": "day", "name": "Day"}],
            "school_hours": [
                {
                    "school": "S1", "shift": "day", "weekday": n, "opens": "08:00", "closes": "15:00",
                    "from_day": FROM, "until_day": "",
                }
                for n in weekdays
            ],
            "breaks": [
                {
                    "school": "S1", "shift": "day", "break": code, "name": name, "weekday": n, "starts": starts,
                    "ends": ends, "from_day": FROM, "until_day": "",
                }
                for n in weekdays
                for code, name, starts, ends in breaks
            ],
            "enrolment": [
                {
                    "school": "S1", "shift": "day", "sex": sex, "grade": "6", "age_years": "12", "pupils": "40",
                    "from_day": FROM, "until_day": "",
                }
                for sex in ("girls", "boys")
            ],
            "blocks": [{"school": "S1", "block": "K1", "name": "Block 1"}],
            "block_groups": [{"school": "S1", "block": "K1", "group": "girls", "from_day": FROM}],
            "units": [
                _unit("G1", "cabin"), _unit("G2", "cabin"), _unit("M1", "machine"), _unit("I1", "incinerator"),
                _unit("W1", "meter"),
            ],
            "dials": [
                {
                    "school": "S1", "unit": "W1", "quantity": "water", "from_local_time": "2026-01-05T08:00",
                    "until_local_time": "", "digits": "4", "step_ml": "1000", "u_permille": "20",
                    "first_value": "100", "last_value": "",
                }
            ],
            "products": [
                {
                    "product": "PAD", "name": "Napkin", "menstrual": "yes", "pack_size": "10", "unit_cost_minor": "5",
                    "shelf_life_days": "",
                }
            ],
            "lots": [{"product": "PAD", "lot": "unknown", "expires_on": ""}],
            "places": [
                {"place": "STORE", "school": "", "unit": "", "name": "Store", "kind": "store", "capacity": ""},
                {"place": "S1-M1", "school": "S1", "unit": "M1", "name": "M1", "kind": "machine", "capacity": "50"},
                {"place": "S1-C", "school": "S1", "unit": "", "name": "Cupboard", "kind": "cupboard", "capacity": ""},
            ],
            "drawn_breaks": [
                {"school": "S1", "day": "2026-01-13", "break": "B1"},
                {"school": "S1", "day": "2026-01-16", "break": "B2"},
            ],
            "week_sheets": [
                {
                    "school": "S1", "week": WEEK_ONE, "state": "sent", "first_sent_local_time": "2026-01-17T09:30",
                    "version": "1",
                }
            ],
            "usage_counts": [
                _count("G1", "2026-01-13", "B1", "drawn", "12"),
                _count("G1", "2026-01-16", "B2", "drawn", "0"),
                _count("G2", WEEK_ONE, "all", "week_total", "61", days="7"),
            ],
            "readings": [reading()],
            "outages": [outage()],
            "stock_moves": [
                {
                    "ref": "M-1", "from_place": "STORE", "to_place": "S1-C", "product": "PAD", "lot": "unknown",
                    "quantity": "30", "day": "2026-01-14", "reason": "delivery", "note": "",
                }
            ],
            "stock_counts": [{"place": "S1-M1", "product": "PAD", "day": "2026-01-16", "quantity": "20"}],
            "awareness_sessions": [
                {"ref": "L1", "school": "S1", "day": "2026-01-14", "topic": "Hand washing", "minutes": "40"}
            ],
            "attendance": [{"session": "L1", "sex": "girls", "grade": "6", "present": "38"}],
        }
    )  # fmt: skip


def write(folder: Path, rows: Rows) -> Path:
    """The rows as CSV files."""
    folder.mkdir(exist_ok=True)
    for name, lines in rows.items():
        with (folder / f"{name}.csv").open("w", encoding="utf-8", newline="") as file:
            writer = csv.DictWriter(file, header(BY_NAME[name]), lineterminator="\n")
            writer.writeheader()
            writer.writerows(lines)
    return folder
