"""The officer's stock pages: what stands where, one place, what does not add up, loans, machines and their coins."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, timedelta
from itertools import groupby
from typing import Any

from flask import redirect, render_template, request, url_for

from tracker.models.programme import Programme
from tracker.records import ledger, ledger_counters, ledger_pages
from tracker.records import today as needs
from tracker.reports import printing
from tracker.vocabulary import Role
from tracker.web import access, clock
from tracker.web.access import allow, area_ids, load_place, load_programme
from tracker.web.accesslog import log_view
from tracker.web.database import db
from tracker.web.officer_today import bp

GROUPS = 20  # schools on a page of stock
MOVES = 30  # moves of a place on a page
SHOWN = 50  # differences on a page
WEEKS_BACK = timedelta(days=70)  # periods of machine counters that are shown


@dataclass(frozen=True, slots=True)
class MachineLine:
    """A period between two counts of a machine that counts, with the gap that the balance check finds."""

    place: str
    school: str
    product: str
    span: str
    numbers: tuple[str, ...]  # opening, put in, counter, taken out, left
    gap: str
    state: str


@dataclass(frozen=True, slots=True)
class CoinLine:
    """A period between two emptyings."""

    unit: str
    school: str
    span: str
    vends: str
    expected: str
    cash: str
    state: str


def _page() -> int:
    return max(request.args.get("page", 1, type=int), 1)


@bp.get("/programmes/stock", endpoint="stock_home")
@allow(Role.OFFICER)
def home():
    """Lead to the stock of the only programme, or offer those the officer has."""
    mine = access.programme_ids(Role.OFFICER)
    if len(mine) == 1:
        return redirect(url_for(".stock", programme_id=mine[0]))
    return render_template("officer/stock_programmes.html", programmes=needs.programmes(db(), mine))


@bp.get("/programmes/<int:programme_id>/stock")
@allow(Role.OFFICER)
def stock(programme_id: int):
    """Places with what they hold: stores and vehicles first, then school by school."""
    programme = load_programme(programme_id)
    areas, day = area_ids(Role.OFFICER, programme.id), clock.today(programme.zone)
    every = ledger_pages.places(db(), programme.id, areas)
    groups = [list(lines) for _, lines in groupby(every, key=lambda line: line.school.id if line.school else 0)]
    page, pages = _page(), max(-(-len(groups) // GROUPS), 1)
    shown = groups[(page - 1) * GROUPS : page * GROUPS]
    ledger_pages.fill(db(), programme.id, [line for lines in shown for line in lines], day)
    log_view("stock", rows=sum(len(lines) for lines in shown))
    return render_template(
        "officer/stock.html",
        programme=programme,
        groups=shown,
        day_now=day,
        page=page,
        pages=pages,
        orders=areas is None,  # the store serves the whole programme
        open_count=len(ledger_pages.differences(db(), programme.id, areas)),
        loans=ledger_pages.loans(db(), programme.id, areas),
    )


@bp.get("/places/<int:place_id>/stock")
@allow(Role.OFFICER)
def stock_place(place_id: int):
    """One place: lots, what does not add up, loans, moves newest first, and its acts."""
    place, school = load_place(place_id)
    programme = db().get_one(Programme, place.programme_id)
    day, page = clock.today(programme.zone), _page()
    lines = [ledger_pages.PlaceLine(place, school)]
    ledger_pages.fill(db(), programme.id, lines, day)
    moves = ledger_pages.moves(db(), place.id, (page - 1) * MOVES, MOVES + 1)
    log_view("stock of a place", school.code if school else None, len(moves))
    return render_template(
        "officer/stock_place.html",
        place=place,
        name=ledger.place_words(db(), place),
        school=school,
        held=lines[0].held,
        lots=ledger.balances(db(), programme.id, place_ids=[place.id]),
        names=ledger_pages.product_names(db(), programme.id),
        differences=[one for one in ledger_pages.differences(db(), programme.id) if one.place.id == place.id],
        loans=[one for one in ledger_pages.loans(db(), programme.id) if place.id in (one.lender.id, one.borrower.id)],
        moves=moves[:MOVES],
        more=len(moves) > MOVES,
        page=page,
        day_now=day,
    )


@bp.get("/programmes/<int:programme_id>/stock/differences")
@allow(Role.OFFICER)
def stock_differences(programme_id: int):
    """What does not add up and nobody has explained, newest first."""
    programme = load_programme(programme_id)
    every = ledger_pages.differences(db(), programme.id, area_ids(Role.OFFICER, programme.id))
    page = _page()
    shown = every[(page - 1) * SHOWN : page * SHOWN]
    log_view("stock differences", rows=len(shown))
    return render_template(
        "officer/stock_differences.html",
        programme=programme,
        lines=shown,
        total=len(every),
        page=page,
        pages=max(-(-len(every) // SHOWN), 1),
    )


@bp.get("/programmes/<int:programme_id>/stock/machines")
@allow(Role.OFFICER)
def stock_machines(programme_id: int):
    """Machines that count: counter beside what was put in and left, and beside the coins that were found."""
    programme = load_programme(programme_id)
    areas, day = area_ids(Role.OFFICER, programme.id), clock.today(programme.zone)
    machines, share = _machines(programme, areas, day - WEEKS_BACK)
    coins, gap = _coins(programme, areas)
    log_view("machine counters and coins", rows=len(machines) + len(coins))
    return render_template(
        "officer/stock_machines.html",
        programme=programme,
        machines=machines,
        share=printing.print_figure(share),
        coins=coins,
        gap=printing.print_figure(gap),
        sellers=ledger_pages.sellers(db(), programme.id, areas),
    )


def _machines(programme: Programme, areas: set[int] | None, since: date) -> tuple[list[MachineLine], Any]:
    """Counter periods of ten weeks through the balance check, newest first, and the share that balances."""
    import pandas as pd

    from tracker.measures.stock_balance import MOVES as NUMBERS
    from tracker.measures.stock_balance import balance_check, balanced_share

    lines = {line.place.id: line for line in ledger_pages.places(db(), programme.id, areas)}
    periods = ledger_counters.periods(db(), {key: line.place for key, line in lines.items()}, since)
    names = ledger_pages.product_names(db(), programme.id)
    frame = pd.DataFrame([one._asdict() for one in periods], columns=list(ledger_counters.CounterPeriod._fields))
    checked = balance_check(frame)
    found = []
    for one, gap, state in zip(periods, checked["gap"].tolist(), checked["state"].tolist(), strict=True):
        line = lines[one.place_id]
        values = one._asdict()
        numbers = tuple(printing.bare(values[name], "pieces") for name in NUMBERS)
        found.append(
            MachineLine(
                line.place.name,
                line.school.name if line.school else "",
                names[one.product_id],
                printing.days(one.from_day + timedelta(days=1), one.until_day),
                numbers,
                printing.bare(None if pd.isna(gap) else gap, "pieces"),
                state,
            )
        )
    newest = sorted(zip(periods, found, strict=True), key=lambda pair: pair[0].until_day, reverse=True)
    share = replace(balanced_share(checked), unit="share", records="periods")
    return [line for _, line in newest], share


def _coins(programme: Programme, areas: set[int] | None) -> tuple[list[CoinLine], Any]:
    """Periods between emptyings of each machine, and cash less counter over all of them."""
    from tracker.measures.coins import Emptying, Price, banked_gap, coin_periods
    from tracker.records.ledger_acts import counter_digits

    rows = ledger_pages.boxes(db(), programme.id, areas)
    prices = ledger_pages.prices(db(), {row.unit.id for row in rows})
    every, found = [], []
    for unit_id, group in groupby(rows, key=lambda row: row.unit.id):
        boxes = list(group)
        said = [Emptying(one.row.day, one.row.counter_value, one.row.cash_minor) for one in boxes]
        known = [Price(day, minor) for day, minor in prices.get(unit_id, ())]
        periods = coin_periods(said, known, counter_digits(db(), unit_id) or 12)
        every += periods
        found += [(one, boxes[0]) for one in periods]
    found.sort(key=lambda pair: pair[0].until_day, reverse=True)
    return [_coin_line(one, box, programme.currency) for one, box in found], banked_gap(every, programme.currency)


def _coin_line(one: Any, box: ledger_pages.BoxLine, currency: str) -> CoinLine:
    expected = printing.NOT_RECORDED if one.expected_minor is None else printing.money(one.expected_minor, currency)
    if one.low_minor != one.high_minor:
        expected += f" ({printing.money(one.low_minor, currency)} to {printing.money(one.high_minor, currency)})"
    vends = printing.bare(one.vends, "pieces")
    span = printing.days(one.from_day, one.until_day)
    cash = printing.money(one.cash_minor, currency)
    return CoinLine(box.unit.name, box.school.name, span, vends, expected, cash, one.state.value)
