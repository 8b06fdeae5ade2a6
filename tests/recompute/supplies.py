"""Napkins given out, days sold out, cover (docs/measures_parts/supplies.md, docs/reports.md)."""

from __future__ import annotations

from datetime import date, timedelta
from itertools import pairwise
from typing import NamedTuple

from tests.recompute import dials
from tests.recompute.files import Asked, Fig, Row, day, holds_in, week_of
from tests.recompute.school_time import Calendar
from tests.recompute.visits import Seen

HISTORY = timedelta(days=70)


class Given(NamedTuple):
    """What a machine gave out in a week; nothing where it is not known."""

    machine: str
    week: date
    pieces: int | None
    basis: str


class MachineDays(NamedTuple):
    """A machine's week: school days, those on which "ran out?" was answered, and those with a yes."""

    machine: str
    week: date
    school_days: int
    asked: int
    out: int


def machines(seen: Seen) -> list[Row]:
    """Machines of the period."""
    return [unit for unit in seen.units if unit["kind"] == "machine"]


def menstrual(asked: Asked) -> set[str]:
    """Products that are menstrual supplies."""
    return {row["product"] for row in asked.rows("products") if row["menstrual"] == "yes"}


def given(asked: Asked, held: Calendar, seen: Seen) -> list[Given]:
    """Every machine's weeks of the period."""
    found = []
    for machine in machines(seen):
        turned = dials.by_week(dials.intervals(asked, held, machine, "vends"))
        stock = {} if turned else from_stock(asked, held, machine)
        for week in seen.period:
            if not holds_in(machine, week, week + timedelta(days=6)):
                continue
            if turned:
                pieces, basis = turned.get(week, (None, "counted"))
            else:
                pieces, basis = stock.get(week), "modelled"
            known = pieces is not None and pieces >= 0
            found.append(Given(machine["unit"], week, pieces if known else None, basis))
    return found


def from_stock(asked: Asked, held: Calendar, machine: Row) -> dict[date, int]:
    """Left the week before + refilled − left, over all products; a week with any of them missing is not there."""
    place = next(row["place"] for row in asked.mine("places") if row["unit"] == machine["unit"])
    since = asked.read_from - HISTORY
    left = last_counts(asked, place, since)
    refilled = refills(asked, place, since)
    products = {product for product, _ in left} | {product for product, _ in refilled}
    weeks = [w for w in sorted(held.school_days) if w + timedelta(days=6) >= since and w <= asked.last]
    found = {}
    for before, week in pairwise(weeks):
        sums = 0
        for product in products:
            numbers = (left.get((product, before)), refilled.get((product, week)), left.get((product, week)))
            if None in numbers:
                break
            sums += numbers[0] + numbers[1] - numbers[2]
        else:
            if products:
                found[week] = sums
    return found


def last_counts(asked: Asked, place: str, since: date) -> dict[tuple[str, date], int]:
    """Product and week → the last count of the week at a place."""
    found: dict[tuple[str, date], int] = {}
    rows = [row for row in asked.rows("stock_counts") if row["place"] == place and row["product"] in menstrual(asked)]
    for row in sorted(rows, key=lambda row: row["day"]):
        week = week_of(day(row["day"]), asked.weekday)
        if week + timedelta(days=6) >= since and day(row["day"]) <= asked.last:
            found[row["product"], week] = int(row["quantity"])
    return found


def refills(asked: Asked, place: str, since: date) -> dict[tuple[str, date], int]:
    """Product and week → pieces put in less those taken back or lost; only weeks with a refill on record, even of 0."""
    sums: dict[tuple[str, date], int] = {}
    put_in = set()
    products = menstrual(asked)
    for row in asked.rows("stock_moves"):
        if row["product"] not in products or row["reason"] in ("given out", "count difference"):
            continue
        week = week_of(day(row["day"]), asked.weekday)
        if week + timedelta(days=6) < since or day(row["day"]) > asked.last:
            continue
        key = (row["product"], week)
        if row["to_place"] == place:
            sums[key] = sums.get(key, 0) + int(row["quantity"])
            if row["reason"] in ("refill", "delivery"):
                put_in.add(key)
        elif row["from_place"] == place:
            sums[key] = sums.get(key, 0) - int(row["quantity"])
    return {key: pieces for key, pieces in sums.items() if key in put_in}


def total(found: list[Given]) -> Fig:
    """What machines gave out."""
    known = [row for row in found if row.pieces is not None]
    if not known:
        return Fig(None, None, None, 0, len(found))
    basis = "modelled" if any(row.basis == "modelled" for row in known) else "counted"
    return Fig(sum(row.pieces or 0 for row in known), None, None, len(known), len(found), basis)


def machine_days(asked: Asked, held: Calendar, seen: Seen) -> list[MachineDays]:
    """Answers to "ran out?" on school days."""
    found = []
    for machine in machines(seen):
        answers: dict[date, bool] = {}
        for row in asked.mine("machine_days"):
            on = day(row["day"])
            if row["unit"] == machine["unit"] and on in held.minutes and on <= asked.last:
                answers[on] = answers.get(on, False) or row["ran_out"] == "yes"
        for week in seen.period:
            if holds_in(machine, week, week + timedelta(days=6)):
                mine = [out for on, out in answers.items() if week_of(on, asked.weekday) == week]
                days = held.school_days[week]
                found.append(MachineDays(machine["unit"], week, days, len(mine), sum(mine)))
    return found


def sold_out(rows: list[MachineDays]) -> Fig:
    """Days sold out, up to all the days that nobody answered for."""
    due, asked = sum(row.school_days for row in rows), sum(row.asked for row in rows)
    if not asked:
        return Fig(None, None, None, 0, due)
    out = sum(row.out for row in rows)
    if asked == due:
        return Fig(out, None, None, asked, due)
    return Fig(out, out, out + due - asked, asked, due)


def cover(asked: Asked, held: Calendar, seen: Seen, found: list[Given], days: list[MachineDays]) -> Fig:
    """School weeks that the stock lasts: on hand ÷ (demand × the median school days of a week)."""
    on_hand = stock(asked)
    if not machines(seen) and on_hand is None:
        return Fig(None, None, None, 0, 0, "modelled")
    per_day = demand(found, days)
    if on_hand is None or not per_day:
        return Fig(None, None, None, 0, 1, "modelled")
    lengths = sorted(held.school_days[week] for week in seen.period)
    middle = len(lengths) // 2
    usual = lengths[middle] if len(lengths) % 2 else (lengths[middle - 1] + lengths[middle]) / 2
    return Fig(on_hand / (per_day * usual), None, None, 1, 1, "modelled")


def demand(found: list[Given], days: list[MachineDays]) -> float | None:
    """Napkins asked for per school day: per machine given out ÷ days not sold out, added up."""
    total_rate, known = 0.0, False
    for machine in sorted({row.machine for row in found}):
        pieces = in_stock = 0
        for row in found:
            if row.machine != machine or row.pieces is None:
                continue
            of_week = next(one for one in days if one.machine == machine and one.week == row.week)
            if of_week.school_days - of_week.out > 0:
                pieces += row.pieces
                in_stock += of_week.school_days - of_week.out
        if in_stock:
            total_rate, known = total_rate + pieces / in_stock, True
    return total_rate if known else None


def stock(asked: Asked) -> int | None:
    """Pieces in machines and cupboard: the last count of each place and product, and what moved on later days."""
    pieces = None
    products = menstrual(asked)
    for place in asked.mine("places"):
        if place["kind"] not in ("machine", "cupboard"):
            continue
        for product in sorted(products):
            counts = [
                row
                for row in asked.rows("stock_counts")
                if row["place"] == place["place"] and row["product"] == product and day(row["day"]) <= asked.last
            ]
            if counts:
                latest = max(counts, key=lambda row: row["day"])
                moved = moved_since(asked, place["place"], product, day(latest["day"]))
                pieces = (pieces or 0) + int(latest["quantity"]) + moved
    return pieces


def moved_since(asked: Asked, place: str, product: str, since: date) -> int:
    """Pieces in less pieces out on the days after a day."""
    pieces = 0
    for row in asked.rows("stock_moves"):
        if row["product"] == product and since < day(row["day"]) <= asked.last:
            if row["to_place"] == place:
                pieces += int(row["quantity"])
            elif row["from_place"] == place:
                pieces -= int(row["quantity"])
    return pieces


def by_way(asked: Asked, seen: Seen, found: list[Given]) -> list[tuple[str, Fig]]:
    """Given out by how the machine gives, and what was handed out from the cupboard."""
    ways: dict[str, list[Given]] = {}
    places = {row["unit"]: row["place"] for row in asked.mine("places") if row["unit"]}
    for row in found:
        hows = [how for how in asked.rows("given_how") if how["place"] == places.get(row.machine)]
        hows = [how for how in hows if day(how["from_day"]) <= asked.last]
        hows.sort(key=lambda how: how["from_day"])
        ways.setdefault(hows[-1]["way"] if hows else "not recorded", []).append(row)
    rows = [(way, total(ways[way])) for way in sorted(ways)]
    return [*rows, ("handed out from the cupboard", handed_out(asked, seen))]


def handed_out(asked: Asked, seen: Seen) -> Fig:
    """Napkins written down as given out by hand."""
    places = {row["place"] for row in asked.mine("places") if row["kind"] == "cupboard"}
    products = menstrual(asked)
    weeks: dict[date, int] = {}
    for row in asked.rows("stock_moves"):
        week = week_of(day(row["day"]), asked.weekday)
        mine = row["from_place"] in places and row["product"] in products and row["reason"] == "given out"
        if mine and week in seen.period and day(row["day"]) <= asked.last:
            weeks[week] = weeks.get(week, 0) + int(row["quantity"])
    if not weeks:
        return Fig(None, None, None, 0, len(seen.period))
    return Fig(sum(weeks.values()), None, None, len(weeks), len(seen.period))
