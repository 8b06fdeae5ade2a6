"""Small frames with the columns of DEVELOPERS.md, each test naming only what it is about."""

from __future__ import annotations

from datetime import date, timedelta

import pandas as pd

WEEK_1 = date(2031, 1, 6)  # a Monday; the weeks of the programme begin on Mondays here
UNIT = {
    "unit_id": 1,
    "unit": "G1",
    "school_id": 1,
    "school": "S01",
    "area": "A",
    "block": "B1",
    "group": "girls",
    "kind": "cabin",
    "accessible": False,
    "from_day": date(2030, 1, 1),
    "until_day": None,
    "count_way": "week_total",
}
READING = {
    "unit_id": 1,
    "quantity": "visits",
    "source": "tally",
    "value": 0,
    "install_from": date(2030, 1, 1),
    "digits": 5,
    "step_ml": None,
    "u_permille": None,
    "first_value": 0,
    "last_value": None,
}
FITTING = {
    "unit_id": 1,
    "kind": "flush_fixed",
    "ml": 6000,
    "long_ml": None,
    "every_n": None,
    "factor_permille": None,
    "litres_basis": "measured",
    "u_permille": None,
    "from_day": date(2030, 1, 1),
    "until_day": None,
}
NUMBERS = ("step_ml", "u_permille", "first_value", "last_value", "ml", "long_ml", "every_n", "factor_permille")
DAYS = ("from_day", "until_day", "install_from", "day", "week")


def week(number: int) -> date:
    return WEEK_1 + timedelta(weeks=number - 1)


def frame(rows: list[dict], columns: list[str]) -> pd.DataFrame:
    made = pd.DataFrame(rows, columns=columns)
    for name in columns:
        if name in DAYS:
            made[name] = pd.to_datetime(made[name]).astype("datetime64[us]")
        elif name in NUMBERS:
            made[name] = made[name].astype("float64")
    return made


def units(*rows: dict) -> pd.DataFrame:
    return frame([UNIT | row for row in rows], list(UNIT))


def fittings(*rows: dict) -> pd.DataFrame:
    return frame([FITTING | row for row in rows], list(FITTING))


def readings(*rows: dict) -> pd.DataFrame:
    """Each row names ``day``; it is read at 13:00 UTC and its week follows from the day."""
    full = []
    for row in rows:
        day = row["day"]
        at = pd.Timestamp(day, tz="UTC") + pd.Timedelta(hours=13)
        full.append(READING | {"at": at, "week": day - timedelta(days=day.weekday())} | row)
    made = frame(full, [*READING, "at", "day", "week"])
    made["at"] = pd.to_datetime(made["at"], utc=True).astype("datetime64[us, UTC]")
    return made


def occasions(*rows: tuple[int, int, int, int]) -> pd.DataFrame:
    """(school, number of the week, breaks, school days)."""
    named = [{"school_id": s, "week": week(n), "breaks": b, "school_days": d} for s, n, b, d in rows]
    return frame(named, ["school_id", "week", "breaks", "school_days"])


def usage(*rows: tuple[int, int, str, float, int]) -> pd.DataFrame:
    """(unit, number of the week, how, visits, cells)."""
    named = [
        {"unit_id": u, "week": week(n), "how": how, "source": "tally", "visits": v, "cells": c}
        for u, n, how, v, c in rows
    ]
    return frame(named, ["unit_id", "week", "how", "source", "visits", "cells"])


def tallies(*rows: tuple[int, int, int, float]) -> pd.DataFrame:
    """(unit, number of the week, day of the week 0 to 6, visits), always in the slot "long break"."""
    named = [
        {"unit_id": u, "week": week(n), "day": week(n) + timedelta(days=d), "slot": "long break", "visits": v}
        for u, n, d, v in rows
    ]
    return frame(named, ["unit_id", "week", "day", "slot", "visits"])


def unit_weeks(*rows: tuple[int, int, float], way: str = "week_total", var: float = 0.0) -> pd.DataFrame:
    """(unit, number of the week, visits)."""
    basis = "sampled" if way == "drawn" else "counted"
    named = [
        {"unit_id": u, "week": week(n), "way": way, "visits": float(v), "var": var, "basis": basis, "cells": 1}
        | {"cells_expected": 1}
        for u, n, v in rows
    ]
    columns = ["unit_id", "week", "way", "visits", "var", "basis", "cells", "cells_expected"]
    return frame(named, columns)


def long_weeks(*rows: tuple[int, int, int, int]) -> pd.DataFrame:
    """(unit, number of the week, seen, long)."""
    named = [{"unit_id": u, "week": week(n), "seen": s, "long": x} for u, n, s, x in rows]
    return frame(named, ["unit_id", "week", "seen", "long"])


def school_days(*weeks: int, school: int = 1, per_week: int = 5) -> pd.DataFrame:
    named = [{"school_id": school, "day": week(n) + timedelta(days=d)} for n in weeks for d in range(per_week)]
    return frame(named, ["school_id", "day"])


def scopes(*rows: dict) -> pd.DataFrame:
    base = {"meter_id": 9, "unit_id": 1, "whole": True, "from_day": date(2030, 1, 1), "until_day": None}
    return frame([base | row for row in rows], list(base))


def enrolment(*rows: dict) -> pd.DataFrame:
    base = {"school_id": 1, "sex": "girls", "grade": "5", "age": None, "pupils": 100}
    base |= {"from_day": date(2030, 1, 1), "until_day": None}
    return frame([base | row for row in rows], list(base))
