"""One writer and one reader per fact table: cells to a row, a row to cells."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping

from tracker.intake import week_moves
from tracker.intake.week_cells import TALLY, Cells, FactRow, SheetFacts, ref_for
from tracker.intake.week_layout import Layout, key
from tracker.intake.week_plan import PlanOutage
from tracker.intake.week_walk import Filled, Reading, at_reading, read_on
from tracker.vocabulary import ALL_DAY, CountWay, DayMark, Sex

WEEK_DAYS = "7"
UNKNOWN_LOT = "unknown"
STILL_OUT, BACK = "still", "back"
OUTAGE_PARTS = ("unit", "cause", "day", "time", "endday", "endtime", "note", "event", "said")
WAS = ("ref", "lot", "day", "from_place")
SESSION_PARTS = ("day", "topic", "minutes", "girls", "boys")


def _note(cells: Cells, name: str) -> str:
    return cells.get(f"note:{name}", "")


def _typed(layout: Layout, cells: Cells, prefix: str) -> Iterator[tuple[str, str, str, str]]:
    """Filled cells of a family that the sheet asks for: key, text, unit, slot."""
    for cell in layout.cells():
        text = cells.get(cell.key, "")
        if text and cell.key.startswith(prefix + ":"):
            yield cell.key, text, cell.unit, cell.slot


def write_read_on(layout: Layout, cells: Cells, made: SheetFacts) -> None:
    """Remember day and time of reading, also when nothing was read."""
    day, time = read_on(layout, cells)
    if (day, time) != ("", ""):
        made.extra["read"] = {"day": day, "time": time}


def write_marks(layout: Layout, cells: Cells, made: SheetFacts) -> None:
    """Ticks of days that were not ordinary."""
    for mark in DayMark:
        for item in layout.plan.days:
            name = key("mark", mark.value, item.day)
            if cells.get(name):
                row = {"day": item.day.isoformat(), "mark": mark.value}
                made.add("day_marks", row, dict.fromkeys(("day", "mark"), name))


def read_marks(walk: Reading, row: FactRow) -> Filled:
    """A mark is a tick."""
    return {key("mark", row["mark"], row["day"]): "yes"}


def write_visits(layout: Layout, cells: Cells, made: SheetFacts) -> None:
    """Visits counted, each unit in its own way."""
    ways = {unit.code: unit.way for unit in layout.plan.units}
    week = layout.plan.week.isoformat()
    shown = layout.by_key()
    for name, text, unit, slot in _typed(layout, cells, "visits"):
        day = shown[name].day
        row = {
            "unit": unit,
            "first_day": week if day is None else day.isoformat(),
            "days": WEEK_DAYS if day is None else "1",
            "slot": slot,
            "source": TALLY,
            "how": ways[unit].value,
            "visits": text,
            "note": _note(cells, name),
        }
        made.add("usage_counts", row, dict.fromkeys(row, name))


def read_visits(walk: Reading, row: FactRow) -> Filled:
    """A count goes to its break and day, or to the week's total."""
    ways = {unit.code: unit.way.value for unit in walk.layout.plan.units}
    if row["source"] != TALLY or row["how"] != ways.get(row["unit"]):
        return None
    if row["how"] == CountWay.WEEK_TOTAL.value:
        whole = (row["first_day"], row["days"], row["slot"]) == (walk.layout.plan.week.isoformat(), WEEK_DAYS, ALL_DAY)
        return {key("visits", row["unit"], "week"): row["visits"]} if whole else None
    return {key("visits", row["unit"], row["first_day"], row["slot"]): row["visits"]} if row["days"] == "1" else None


def write_long(layout: Layout, cells: Cells, made: SheetFacts) -> None:
    """Visits looked at, and of them long, by week and unit only."""
    for unit in layout.plan.units:
        seen, long = (cells.get(key(what, unit.code), "") for what in ("seen", "long"))
        if not (seen or long):
            continue
        row = {
            "unit": unit.code,
            "week": layout.plan.week.isoformat(),
            "source": TALLY,
            "seen_visits": seen,
            "long_visits": long,
        }
        origin = dict.fromkeys(row, key("seen", unit.code)) | {"long_visits": key("long", unit.code)}
        made.add("long_weeks", row, origin)


def read_long(walk: Reading, row: FactRow) -> Filled:
    """Two cells of one unit."""
    if row["source"] != TALLY:
        return None
    return {key("seen", row["unit"]): row["seen_visits"], key("long", row["unit"]): row["long_visits"]}


def write_bell(layout: Layout, cells: Cells, made: SheetFacts) -> None:
    """Who still waited at the bell, and who was present."""
    for day, slot in layout.plan.drawn:
        for sex in Sex:
            names = {what: key(what, day, slot, sex.value) for what in ("waiting", "present")}
            values = {what: cells.get(name, "") for what, name in names.items()}
            if not any(values.values()):
                continue
            row = {"day": day.isoformat(), "break": slot, "group": sex.value, **values}
            made.add("bell_counts", row, dict.fromkeys(row, names["waiting"]) | {"present": names["present"]})


def read_bell(walk: Reading, row: FactRow) -> Filled:
    """Two cells of one break and sex."""
    return {key(w, row["day"], row["break"], row["group"]): row.get(w, "") for w in ("waiting", "present")}


def write_readings(layout: Layout, cells: Cells, made: SheetFacts) -> None:
    """Dials read, all at the day and time of reading."""
    day, time = read_on(layout, cells)
    for name, text, unit, quantity in _typed(layout, cells, "reading"):
        row = {
            "unit": unit,
            "quantity": quantity,
            "source": TALLY,
            "at_local_time": f"{day}T{time}",
            "value": text,
            "note": _note(cells, name),
        }
        made.add("readings", row, dict.fromkeys(row, name) | {"at_local_time": "read:time"})


def read_readings(walk: Reading, row: FactRow) -> Filled:
    """A reading at the sheet's own day and time."""
    day, _, time = row["at_local_time"].partition("T")
    if row["source"] != TALLY or not at_reading(walk, day, time[:5]):
        return None
    return {key("reading", row["unit"], row["quantity"]): row["value"]}


def write_levels(layout: Layout, cells: Cells, made: SheetFacts) -> None:
    """Levels of tanks and bins, in quarters."""
    day, _ = read_on(layout, cells)
    for name, text, unit, _slot in _typed(layout, cells, "level"):
        row = {"unit": unit, "day": day, "source": TALLY, "quarters": text}
        made.add("levels", row, dict.fromkeys(row, name) | {"day": "read:day"})


def read_levels(walk: Reading, row: FactRow) -> Filled:
    """A level on the day of reading."""
    if row["source"] != TALLY or not at_reading(walk, row["day"]):
        return None
    return {key("level", row["unit"]): row["quarters"]}


def write_outages(layout: Layout, cells: Cells, made: SheetFacts) -> None:
    """Outages that began this week, and older ones that this sheet says are over (their row, with its end)."""
    for number in range(1, layout.rows.outages + 1):
        part = {p: cells.get(key("out", number, p), "") for p in (*OUTAGE_PARTS, "ref")}
        if any(part[p] for p in OUTAGE_PARTS):
            made.add("outages", _outage_row(layout, part, number), _outage_origin(part, number))
    still = []
    for outage in layout.plan.outages:
        now, day, time = (cells.get(key(what, outage.ref), "") for what in ("still", "backday", "backtime"))
        if now == STILL_OUT:
            still.append(outage.ref)
        elif not outage.danger and (now or day or time):
            made.add("outages", _ended_row(layout, outage, f"{day}T{time}"), _ended_origin(outage, day))
    if still:
        made.extra["still"] = still


def _ended_row(layout: Layout, outage: PlanOutage, end: str) -> FactRow:
    return {
        "ref": outage.ref,
        "unit": outage.unit,
        "source": outage.source,
        "cause": outage.cause,
        "start_local_time": f"{outage.start:%Y-%m-%dT%H:%M}",
        "end_local_time": end,
        "event": "",
        "said_by": "",
        "danger": "",
        "checked_by": "",
        "checked_on": "",
        "note": "",
    }


def _ended_origin(outage: PlanOutage, day: str) -> dict[str, str]:
    return dict.fromkeys(("ref", "unit", "cause", "start_local_time"), key("still", outage.ref)) | {
        "end_local_time": key("backtime" if day else "backday", outage.ref)
    }


def _outage_row(layout: Layout, part: Mapping[str, str], number: int) -> FactRow:
    start = f"{part['day']}T{part['time']}" if part["day"] and part["time"] else ""
    end = f"{part['endday']}T{part['endtime']}" if part["endday"] or part["endtime"] else ""
    return {
        "ref": part["ref"] or ref_for(layout.plan.code, f"o{number}"),
        "unit": part["unit"],
        "source": TALLY,
        "cause": part["cause"],
        "start_local_time": start,
        "end_local_time": end,
        "event": part["event"],
        "said_by": part["said"],
        "danger": "",
        "checked_by": "",
        "checked_on": "",
        "note": part["note"],
    }


def _outage_origin(part: Mapping[str, str], number: int) -> dict[str, str]:
    cell = {p: key("out", number, p) for p in OUTAGE_PARTS}
    return {
        "ref": cell["unit"],
        "unit": cell["unit"],
        "cause": cell["cause"],
        "start_local_time": cell["time"] if part["day"] else cell["day"],
        "end_local_time": cell["endtime"] if part["endday"] else cell["endday"],
        "note": cell["note"],
    }


def read_outages(walk: Reading, row: FactRow) -> Filled:
    """An outage of this week that a coordinator may still change; a danger is the officer's."""
    older = {outage.ref for outage in walk.layout.plan.outages}
    if row["ref"] in older:
        day, _, time = row.get("end_local_time", "").partition("T")
        answers = {"still": BACK, "backday": day, "backtime": time[:5]}
        return {key(what, row["ref"]): text for what, text in answers.items()}
    if row["source"] != TALLY or row.get("danger") or row.get("checked_by") or row["cause"] == "danger":
        return None
    number = walk.next_number("out")
    day, _, time = row["start_local_time"].partition("T")
    endday, _, endtime = row.get("end_local_time", "").partition("T")
    values = {
        "unit": row["unit"],
        "cause": row["cause"],
        "day": day,
        "time": time[:5],
        "endday": endday,
        "endtime": endtime[:5],
        "note": row.get("note", ""),
        "event": row.get("event", ""),
        "said": row.get("said_by", ""),
        "ref": row["ref"],
    }
    return {key("out", number, part): text for part, text in values.items()}


def write_sightings(layout: Layout, cells: Cells, made: SheetFacts) -> None:
    """What somebody saw of a unit on a day."""
    shown = layout.by_key()
    for name, text, unit, _slot in _typed(layout, cells, "state"):
        row = {
            "unit": unit,
            "source": TALLY,
            "day": str(shown[name].day),
            "state": text,
        }
        made.add("sightings", row, dict.fromkeys(row, name))


def read_sightings(walk: Reading, row: FactRow) -> Filled:
    """A state is a choice of a day."""
    return {key("state", row["unit"], row["day"]): row["state"]} if row["source"] == TALLY else None


def write_ran_out(layout: Layout, cells: Cells, made: SheetFacts) -> None:
    """Whether a machine ran out, asked by day."""
    shown = layout.by_key()
    for name, text, unit, _slot in _typed(layout, cells, "ranout"):
        row = {
            "unit": unit,
            "source": TALLY,
            "day": str(shown[name].day),
            "ran_out": text,
        }
        made.add("machine_days", row, dict.fromkeys(row, name))


def read_ran_out(walk: Reading, row: FactRow) -> Filled:
    """An answer of a day."""
    return {key("ranout", row["unit"], row["day"]): row["ran_out"]} if row["source"] == TALLY else None


def write_burns(layout: Layout, cells: Cells, made: SheetFacts) -> None:
    """Burns started in the week."""
    for name, text, unit, _slot in _typed(layout, cells, "burns"):
        row = {
            "unit": unit,
            "first_day": layout.plan.week.isoformat(),
            "days": WEEK_DAYS,
            "burns": text,
        }
        made.add("burns", row, dict.fromkeys(row, name))


def read_burns(walk: Reading, row: FactRow) -> Filled:
    """The week's burns of an incinerator."""
    whole = (row["first_day"], row["days"]) == (walk.layout.plan.week.isoformat(), WEEK_DAYS)
    return {key("burns", row["unit"]): row["burns"]} if whole else None


def write_sessions(layout: Layout, cells: Cells, made: SheetFacts) -> None:
    """Lessons held, and who was there by sex."""
    for number in range(1, layout.rows.sessions + 1):
        cell = {p: key("session", number, p) for p in (*SESSION_PARTS, "kind", "ref")}
        part = {p: cells.get(name, "") for p, name in cell.items()}
        if not any(part[p] for p in SESSION_PARTS):
            continue
        ref = part["ref"] or ref_for(layout.plan.code, f"s{number}")
        about = {"kind": part["kind"]} if part["kind"] else {}
        row = {"ref": ref, **{p: part[p] for p in ("day", "topic", "minutes")}, **about}
        made.add("awareness_sessions", row, {**dict.fromkeys(row, cell["day"]), **cell})
        for sex in Sex:
            if part[sex.value]:
                there = {"session": ref, "sex": sex.value, "grade": "", "present": part[sex.value]}
                made.add("attendance", there, dict.fromkeys(there, cell[sex.value]))


def read_session(walk: Reading, row: FactRow) -> Filled:
    """A lesson takes the next free row."""
    number = walk.next_number("session")
    walk.session_of[row["ref"]] = number
    said = {p: row[p] for p in ("day", "topic", "minutes", "ref")} | ({"kind": row["kind"]} if row.get("kind") else {})
    return {key("session", number, p): text for p, text in said.items()}


def read_attendance(walk: Reading, row: FactRow) -> Filled:
    """Pupils there by sex; by grade they are kept as they are."""
    number = walk.session_of.get(row["session"])
    if number is None or row.get("grade"):
        return None
    return {key("session", number, row["sex"]): row["present"]}


WRITERS: tuple[Callable[[Layout, Cells, SheetFacts], None], ...] = (
    write_read_on,
    write_marks,
    write_visits,
    write_long,
    write_bell,
    write_readings,
    write_levels,
    write_outages,
    write_sightings,
    week_moves.write_supplies,
    write_ran_out,
    write_burns,
    write_sessions,
)
READERS: Mapping[str, Callable[[Reading, FactRow], Filled]] = {
    "day_marks": read_marks,
    "usage_counts": read_visits,
    "long_weeks": read_long,
    "bell_counts": read_bell,
    "readings": read_readings,
    "levels": read_levels,
    "outages": read_outages,
    "sightings": read_sightings,
    "stock_counts": week_moves.read_counts,
    "stock_moves": week_moves.read_moves,
    "machine_days": read_ran_out,
    "burns": read_burns,
    "awareness_sessions": read_session,
    "attendance": read_attendance,
}
