"""Disposal, lessons, service levels, sheets (docs/measures_parts/disposal.md, sessions.md, ladders.md, quality.md)."""

from __future__ import annotations

from datetime import date, timedelta

from tests.recompute.files import DAY, Asked, Fig, Row, day, holds, holds_in, local, midnight, week_of
from tests.recompute.school_time import Calendar, all_weeks, days_of_term
from tests.recompute.visits import Seen
from tests.recompute.working import UnitDay


def route_states(asked: Asked, held: Calendar, seen: Seen, days: list[UnitDay]) -> list[str]:
    """State of each school day: stands, not seen, none."""
    routes = [row for row in asked.mine("disposal_routes") if holds_in(row, asked.read_from, asked.last)]
    found = []
    for today in days_of_term(asked, held):
        if not routes:
            found.append("not seen")
            continue
        states = {route_state(row, today, seen, days) for row in routes}
        found.append("stands" if "stands" in states else "not seen" if "not seen" in states else "none")
    return found


def route_state(route: Row, today: date, seen: Seen, days: list[UnitDay]) -> str:
    """What one route was on a day."""
    if not holds(route, today) or route["permit_until"] == "" or day(route["permit_until"]) < today:
        return "none"
    if route["kind"] != "burn":
        return "stands"
    if route["operator_until"] == "" or day(route["operator_until"]) < today:
        return "none"
    states = set()
    for unit in seen.units:
        if unit["kind"] == "incinerator" and holds(unit, today):
            of_day = [one for one in days if one.unit is unit and one.day == today]
            if any(one.down for one in of_day):
                states.add("none")
            else:
                states.add("stands" if any(one.observed for one in of_day) else "not seen")
    return "stands" if "stands" in states else "not seen" if "not seen" in states else "none"


def route_days(states: list[str], as_share: bool) -> Fig:
    """Days that stand; up to those on which nobody looked."""
    stands, unseen, every = states.count("stands"), states.count("not seen"), len(states)
    observed = every - unseen
    if not observed:
        return Fig(None, None, None, 0, every)
    below, above = (every, every) if as_share else (1, 1)
    value = stands / observed if as_share else stands
    if not unseen:
        return Fig(value, None, None, observed, every)
    return Fig(value, stands / below, (stands + unseen) / above, observed, every)


def burns(asked: Asked, seen: Seen) -> Fig:
    """Burns started; each incinerator is expected in each week with school."""
    due = {}
    for unit in seen.units:
        for week in seen.period:
            if unit["kind"] == "incinerator" and holds_in(unit, week, week + timedelta(days=6)):
                due[unit["unit"], week] = True
    sums: dict[tuple[str, date], int] = {}
    for row in asked.mine("burns"):
        key = (row["unit"], week_of(day(row["first_day"]), asked.weekday))
        if key in due:
            sums[key] = sums.get(key, 0) + int(row["burns"])
    return Fig(sum(sums.values()) if sums else None, None, None, len(sums), len(due))


def lessons(asked: Asked) -> list[Row]:
    """Lessons of the period."""
    return [row for row in asked.mine("awareness_sessions") if asked.first <= day(row["day"]) <= asked.last]


def lists(asked: Asked, held: list[Row], sex: str | None = None) -> list[Row]:
    """Attendance lists of lessons, of one sex or of all."""
    refs = {row["ref"] for row in held}
    rows = [row for row in asked.rows("attendance") if row["session"] in refs]
    return [row for row in rows if sex in (None, row["sex"])]


def attendances(asked: Asked, held: list[Row], sex: str | None = None) -> Fig:
    """Attendances: a pupil at two lessons counts twice."""
    rows = lists(asked, held, sex)
    used = len({row["session"] for row in rows})
    return Fig(sum(int(row["present"]) for row in rows) if rows else None, None, None, used, len(held))


def reached(asked: Asked, held: list[Row], sex: str | None = None) -> Fig:
    """Pupils reached: at least the largest attendance of a group, at most all that came, or all that are enrolled."""
    days = {row["ref"]: day(row["day"]) for row in held}
    rows = lists(asked, held, sex)
    without_grade = {row["sex"] for row in rows if row["grade"] == ""}
    groups: dict[tuple[str, str], dict[str, int]] = {}
    for row in rows:
        grade = "" if row["sex"] in without_grade else row["grade"]
        group = groups.setdefault((row["sex"], grade), {})
        group[row["session"]] = group.get(row["session"], 0) + int(row["present"])
    low = high = 0
    for (of_sex, grade), came in groups.items():
        least, most = max(came.values()), sum(came.values())
        enrolled = enrolment(asked, of_sex, grade, sorted({days[ref] for ref in came}))
        low += least
        high += most if enrolled is None else max(least, min(most, enrolled))
    used = len({row["session"] for row in rows})
    if not groups:
        return Fig(None, None, None, used, len(held))
    return Fig(low, low, high, used, len(held))


def enrolment(asked: Asked, sex: str, grade: str, days: list[date]) -> int | None:
    """The largest number of a group enrolled on one of some days; not known where no row holds."""
    best = None
    for today in days:
        rows = [row for row in asked.mine("enrolment") if row["sex"] == sex and grade in ("", row["grade"])]
        rows = [row for row in rows if holds(row, today)]
        if rows:
            number = sum(int(row["pupils"]) for row in rows)
            best = number if best is None else max(best, number)
    return best


def by_topic(asked: Asked) -> list[tuple[str, int, Fig, Fig]]:
    """Topic, lessons, minutes, attendances."""
    rows = []
    for topic in sorted({row["topic"] for row in lessons(asked)}):
        held = [row for row in lessons(asked) if row["topic"] == topic]
        minutes = sum(int(row["minutes"]) for row in held)
        rows.append((topic, len(held), Fig(minutes, None, None, len(held), len(held)), attendances(asked, held)))
    return rows


def sheet_states(asked: Asked, held: Calendar) -> dict[date, tuple[str, bool]]:
    """Week → what became of its sheet, and whether it was due by the report's instant."""
    sent = {day(row["week"]): row for row in asked.mine("week_sheets")}
    found = {}
    for week in all_weeks(asked):
        after = week + timedelta(days=6 + asked.settings["sheet_due_days"]) + DAY
        due = midnight(after, asked.zone)
        row = sent.get(week)
        if week not in held.school_days and row is None:
            found[week] = ("no school", False)
        elif row is None or row["state"] == "draft":
            found[week] = ("not reported yet" if due <= asked.now else "not due yet", due <= asked.now)
        elif row["state"] == "queried":
            found[week] = ("queried", due <= asked.now)
        else:
            late = local(row["first_sent_local_time"], asked.zone) > due
            found[week] = ("received late" if late else "received on time", due <= asked.now)
    return found


def sheets(asked: Asked, held: Calendar, seen: Seen, on_time: bool) -> Fig:
    """Share of the sheets due that were received, or received on time."""
    states = sheet_states(asked, held)
    due = [week for week in seen.period if states[week][1]]
    if not due:
        return Fig(None, None, None, 0, 0)
    received = [week for week in due if states[week][0] != "not reported yet"]
    sent = {day(row["week"]): row for row in asked.mine("week_sheets")}
    good = 0
    for week in received:
        end = midnight(week + timedelta(days=7 + asked.settings["sheet_due_days"]), asked.zone)
        good += local(sent[week]["first_sent_local_time"], asked.zone) <= end
    part = good if on_time else len(received)
    return Fig(part / len(due), None, None, len(received), len(due))


def queried(asked: Asked, seen: Seen) -> Fig:
    """Open queries. No file holds a question or an answer; a queried sheet waits for the answer to one."""
    waiting = 0
    for row in asked.mine("week_sheets"):
        if day(row["week"]) in seen.period and row["state"] == "queried":
            waiting += 1
    return Fig(waiting, None, None, waiting, waiting)


def levels(asked: Asked) -> list[tuple[str, str]]:
    """The three service ladders from the term's inspection."""
    answers = {}
    for row in asked.mine("inspections"):
        if row["term"] == asked.term["term"]:
            answers[row["question"]] = row["answer"]
    usable = [answers.get("usable_girls"), answers.get("usable_boys")]
    enough = "no" if "0" in usable else None if None in usable else "yes"
    source, toilet = answers.get("water_source"), answers.get("toilet_improved")
    toilet = {"yes": "improved", "no": "unimproved"}.get(toilet or "", toilet)
    washing, water = answers.get("handwash_facility"), answers.get("handwash_water")
    hygiene = "no service" if "no" in (washing, water) else None
    if hygiene is None:
        hygiene = "not classified" if None in (washing, water) else rung([answers.get("handwash_soap")])
    return [
        ("drinking water", improved(source, [answers.get("water_available")])),
        ("sanitation", improved(toilet, [answers.get("single_sex"), enough])),
        ("hygiene", hygiene),
    ]


def improved(facility: str | None, conditions: list[str | None]) -> str:
    """No service without an improved facility; else by what else must hold."""
    if facility is None:
        return "not classified"
    return rung(conditions) if facility == "improved" else "no service"


def rung(conditions: list[str | None]) -> str:
    """Limited where one does not hold, not classified where an answer is missing, else basic."""
    if "no" in conditions:
        return "limited"
    return "not classified" if None in conditions else "basic"
