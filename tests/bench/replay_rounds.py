"""Plan the demo's past rounds with what was known then, and see what the weeks after them asked for.

``python -m tests.bench.replay_rounds`` prints the tables of docs/restock.md. For each past round the same packs are
given out in four ways: by the plan (fewest expected requests unmet), the same to every school, as the round before, and
as the real round did. Each way starts from the same stock at the schools and is scored against the requests of the
weeks until the next round, of which the plan knew nothing.

Requests of the held-out weeks: what a machine gave out, or a stock lost between two counts. Where it ran out, the
requests are more than that: E[X | X ≥ what was given out], X with the rate and spread that the whole year shows for
that machine or stock, sold-out weeks taken as "at least". A week that nobody wrote down counts with that rate.
"""

from __future__ import annotations

import sys
import tempfile
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pandas as pd
from sqlalchemy import func, select
from sqlalchemy.orm import Session

from tests.demo_file import copy_to
from tracker.db import make_engine, reading
from tracker.demo_data.plan import ROUNDS, ZONE
from tracker.measures import demand
from tracker.measures.counts import CountLaw
from tracker.measures.restock import Limits, Plan, flat, habit, plan
from tracker.measures.use import PAIR, place_demand
from tracker.models.supplies import Lot, StockMove, StockPlace
from tracker.records import frames
from tracker.records.restock_inputs import Asked
from tracker.reports import restock_demand, restock_needs
from tracker.reports.restock_demand import Stocked
from tracker.vocabulary import MoveReason

PROGRAMME = 1
FIRST_LEARNT = 2  # rounds before the first that is replayed: eight weeks to learn from
LAST_WEEK = date(2026, 7, 13)  # nothing is recorded from this day on
SHARES = (1.0, 0.7)  # of the packs that the real round brought
SMALLEST = 1e-12  # a chance below it says that the rate of the year has nothing to do with this week
WAYS = ("plan", "flat", "habit", "real")


@dataclass(frozen=True)
class Replayed:
    """A round replayed: requests of the held-out weeks, and how many each way would have left unmet."""

    on: date
    until: date
    packs: int
    requests: float
    expected: float  # unmet, by the plan itself
    unmet: dict[str, float]


def replay(session: Session, share: float) -> list[Replayed]:
    """Every past round that has weeks before it and after it."""
    year = whole_year(session)
    return [replay_one(session, days, year, share) for days in past_rounds()]


def past_rounds() -> list[tuple[date, date, date]]:
    """Each round that is replayed, with the one before and the one after it."""
    rounds = [*(day for day in ROUNDS if day < LAST_WEEK), LAST_WEEK]
    return [(rounds[at - 1], rounds[at], rounds[at + 1]) for at in range(FIRST_LEARNT, len(rounds) - 1)]


def replay_one(session: Session, days: tuple[date, date, date], year: Year, share: float) -> Replayed:
    """One round; ``days`` are those of the round before, of this one and of the next."""
    before, on, until = days
    asked = Asked(PROGRAMME, on - timedelta(days=1), on, until)
    needs = restock_needs.read(session, asked)
    real, last = (_brought(session, needs.products, day) for day in (on, before))
    loaded = (real.groupby("product_id")["packs"].sum() * share).astype("int64")
    store = needs.products["product_id"].map(loaded).fillna(0).astype("int64")
    products = needs.products.assign(store_packs=store)
    lines = needs.needs.assign(minimum=0.0)
    ways = {
        "plan": plan(lines, products, Limits()),
        "flat": flat(lines, products, Limits()),
        "habit": habit(last, lines, products, Limits()),
        "real": habit(real, lines, products, Limits()),
    }
    asked_for = requests(year, on, until)
    unmet = {name: _unmet(made, asked_for) for name, made in ways.items()}
    total = float(asked_for["requests"].sum())
    return Replayed(on, until, int(store.sum()), total, ways["plan"].unmet_after, unmet)


def _brought(session: Session, products: pd.DataFrame, day: date) -> pd.DataFrame:
    """Packs that the real round of a day brought to each school."""
    query = select(StockPlace.school_id, Lot.product_id, func.sum(StockMove.quantity))
    query = query.join(StockPlace, StockPlace.id == StockMove.to_place_id).join(Lot, Lot.id == StockMove.lot_id)
    query = query.where(StockMove.day == day, StockMove.reason == MoveReason.DELIVERY)
    rows = session.execute(query.group_by(StockPlace.school_id, Lot.product_id)).all()
    moved = pd.DataFrame([tuple(row) for row in rows], columns=[*PAIR, "pieces"]).merge(products, on="product_id")
    return moved.assign(packs=moved["pieces"] // moved["pack_size"])[[*PAIR, "packs"]]


def _unmet(made: Plan, asked_for: pd.DataFrame) -> float:
    rows = made.lines.merge(asked_for, on=PAIR)
    there = rows["on_hand"].fillna(0.0) + rows["pieces"]
    return float((rows["requests"] - there).clip(lower=0).sum())


# --- what was asked for -------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Year:
    """What was used in the whole year.

    rows: a machine's week or a stock's period between counts: school_id, product_id, place, since (excluded), day
    (included), used, ran_out. rates: by place, per_day and ratio. days: school days, by school.
    """

    rows: pd.DataFrame
    rates: pd.DataFrame
    days: pd.DataFrame


def whole_year(session: Session) -> Year:
    last = LAST_WEEK - timedelta(days=1)
    scope = frames.Scope(PROGRAMME, ROUNDS[0], last)
    held = frames.school_days_ahead(session, scope)
    read = (frames.stock_places, frames.place_counts, frames.place_moves)
    stocked = Stocked(scope, frames.products(session, PROGRAMME), *(one(session, scope) for one in read), held)
    used = restock_demand.machine_use(session, stocked, ZoneInfo(ZONE))
    machines = demand.machine_demand(used.given, used.weeks)
    machines = machines.assign(product_id=machines["unit_id"] % used.width, place=-machines["unit_id"])
    periods = restock_demand.other_use(stocked, machines)
    others = place_demand(periods)
    place = others["place_id"] * used.width + others["product_id"]
    rates = pd.concat([machines, others.assign(place=place)], ignore_index=True)
    periods = periods.assign(place=periods["place_id"] * used.width + periods["product_id"])
    rows = pd.concat([_machine_rows(used), periods], ignore_index=True)
    return Year(rows[[*PAIR, "place", "since", "day", "used", "ran_out"]], rates.set_index("place"), held)


def _machine_rows(used: restock_demand.MachineUse) -> pd.DataFrame:
    out = used.weeks.groupby(["unit_id", "week"])["sold_out_days"].max().reset_index()
    rows = used.given[used.given["used"] == 1].merge(out, on=["unit_id", "week"])
    return rows.assign(
        product_id=rows["unit_id"] % used.width,
        place=-rows["unit_id"],
        since=rows["week"] - pd.Timedelta(days=1),
        day=rows["week"] + pd.Timedelta(days=6),
        used=rows["given_out"],
        ran_out=(rows["sold_out_days"] > 0).astype("int64"),
    )


def requests(year: Year, on: date, until: date) -> pd.DataFrame:
    """Requests by school and product from a round's day to the day before the next."""
    first, last = pd.Timestamp(on), pd.Timestamp(until) - pd.Timedelta(days=1)
    found = [(*_owner(year, place), _at_place(year, place, first, last)) for place in year.rates.index]
    return pd.DataFrame(found, columns=[*PAIR, "requests"]).groupby(PAIR, as_index=False)["requests"].sum()


def _owner(year: Year, place: int) -> tuple[int, int]:
    row = year.rates.loc[place]
    return int(row["school_id"]), int(row["product_id"])


def _at_place(year: Year, place: int, first: pd.Timestamp, last: pd.Timestamp) -> float:
    """Requests at one machine or stock: each period by its share of school days, days without a record by the rate."""
    rate = year.rates.loc[place]
    per_day = rate["per_day"] if pd.notna(rate["per_day"]) else rate["at_least"]
    days = year.days.loc[year.days["school_id"] == rate["school_id"], "day"]
    wanted = days[(days >= first) & (days <= last)]
    mine = year.rows[(year.rows["place"] == place) & (year.rows["day"] >= first) & (year.rows["since"] < last)]
    total, covered = 0.0, pd.Series(False, index=wanted.index)
    for row in mine.itertuples():
        whole = days[(days > row.since) & (days <= row.day)]
        inside = (wanted > row.since) & (wanted <= row.day)
        if len(whole):
            asked = _asked(float(row.used), bool(row.ran_out), per_day * len(whole), float(rate["ratio"]))
            total += asked * int(inside.sum()) / len(whole)
            covered |= inside
    return total + per_day * int((~covered).sum())


def _asked(used: float, ran_out: bool, mean: float, ratio: float) -> float:
    """Requests of a period: what was used; where it ran out E[X | X ≥ used] = used + E[(X − used)⁺] ÷ P(X ≥ used)."""
    if not ran_out:
        return used
    law, count = CountLaw(mean, max(1.0, ratio) * mean), int(used)
    chance = law.above(count - 1)
    return used + law.short(count) / chance if chance > SMALLEST else used


# --- printing -----------------------------------------------------------------------------------------------------


def table(found: list[Replayed]) -> str:
    """The rounds as a table of Markdown, with their sum."""
    heads = ("round", "until", "packs", "requests", "plan", "flat", "habit", "as it was", "plan expected")
    lines = [f"| {' | '.join(heads)} |", f"|---|---|{'---:|' * (len(heads) - 2)}"]
    lines += [line(one) for one in found]
    sums = [sum(one.requests for one in found), *(sum(one.unmet[way] for one in found) for way in WAYS)]
    sums.append(sum(one.expected for one in found))
    packs = sum(one.packs for one in found)
    lines.append(f"| **all** | | **{packs}** | {' | '.join(f'**{cell:,.0f}**' for cell in sums)} |")
    return "\n".join(lines)


def line(one: Replayed) -> str:
    """A round as a line of the table."""
    cells = [one.requests, *(one.unmet[way] for way in WAYS), one.expected]
    return f"| {one.on} | {one.until} | {one.packs} | {' | '.join(f'{cell:,.0f}' for cell in cells)} |"


def main() -> int:
    """Replay and print."""
    with tempfile.TemporaryDirectory() as folder:
        engine = make_engine(f"sqlite:///{copy_to(Path(folder))}")
        with reading(engine) as session:
            for share in SHARES:
                sys.stdout.write(f"\n{share:.0%} of the packs that the real round brought\n\n")
                sys.stdout.write(table(replay(session, share)) + "\n")
        engine.dispose()
    return 0


if __name__ == "__main__":
    sys.exit(main())
