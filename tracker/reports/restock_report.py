"""The restocking plan as a report: what to bring, who stays at risk, the aims side by side, what more would do."""

from __future__ import annotations

from datetime import datetime
from typing import Any, Final

import pandas as pd

from tracker.measures.dials import rows_of
from tracker.measures.figure import Figure
from tracker.measures.restock import AIM_WORDS, Aim, Limited, Plan, Reason
from tracker.reports.printing import amount, day, days
from tracker.reports.report import Cell, Report, Section, Table
from tracker.reports.restock_plan import RoundPlan
from tracker.reports.rows import beside, counts, limited, words
from tracker.vocabulary import Basis, WorkPaper

REQUESTS: Final = "requests"
PIECES: Final = "pieces"
STOCKS: Final = "stocks"
SCHOOL_DAYS: Final = "school days"
CHIEF: Final = Aim.FEWEST_UNMET
NO_GAP: Final = 0.05  # requests; less is not shown
KEY: Final = ("school_id", "product_id")
AIM_NOTE: Final = (
    "The aim counts expected requests unmet. Requests are not girls: some bring their own, some ask twice, some never "
    "ask. A request counts the same for every product."
)
AS_IN: Final = "if the coming weeks are like those that were learnt from"


def lay_out(made: RoundPlan, known_at: datetime, version: str) -> Report:
    """The report of a planned round."""
    asked = made.needs.asked
    return Report(
        kind=WorkPaper.RESTOCK_PLAN,
        title=f"Restocking plan for {day(asked.on)}",
        programme=made.programme,
        scope="",
        term=f"Round of {day(asked.on)}",
        first_day=asked.on,
        last_day=asked.last,
        term_last_day=asked.last,
        cutoff_at=known_at,
        code_version=version,
        sections=(_short(made), _bring(made), _risk(made), _aims(made), _more(made), _store(made)),
        notes=_notes(made),
    )


# --- the plan in short --------------------------------------------------------------------------------------------


def _short(made: RoundPlan) -> Section:
    now = made.plan
    rows: list[tuple[str, Cell]] = [
        ("Expected requests unmet with this plan", _requests(made, now.unmet_after)),
        ("Expected requests unmet without this round", _requests(made, now.unmet_before)),
        ("Packs to load", Figure(float(now.used.packs), "packs", Basis.COUNTED)),
        ("What they cost", _cost(now, made.currency)),
        ("Room they take", Figure(now.used.litres, "L", Basis.MODELLED)),
        ("No plan within these limits leaves fewer unmet than", _requests(made, now.bound)),
        ("This plan is above that by", _requests(made, now.gap)),
    ]
    note = f"{AIM_NOTE} How the packs were found: {now.method.value}."
    table = beside("plan_short", "The plan in short", rows, note)
    return Section("short", "The plan in short", f"{AIM_WORDS[now.aim or CHIEF]} {_certificate(now)}", tables=(table,))


def _certificate(plan: Plan) -> str:
    """How far the plan may be from the fewest requests unmet, in a sentence."""
    least, above = amount(plan.bound, REQUESTS), amount(plan.gap, REQUESTS)
    none = f"No plan within these limits is expected to leave fewer than {least} unmet"
    if plan.gap < NO_GAP:
        return f"{none}: this is the best there is."
    if plan.aim is CHIEF:
        return f"{none}; this one leaves at most {above} more."
    return f"{none}; for this aim the plan leaves {above} more."


def _requests(made: RoundPlan, value: float) -> Figure:
    lines = made.plan.lines
    known = int(lines["unmet_after"].notna().sum())
    return Figure(value, REQUESTS, Basis.MODELLED, used=known, expected=len(lines), records=STOCKS, about_people=True)


def _cost(plan: Plan, currency: str) -> Figure:
    cost = plan.used.cost_minor
    return Figure(None if cost is None else float(cost), f"minor units of {currency}", Basis.MODELLED)


# --- what to bring ------------------------------------------------------------------------------------------------


def _bring(made: RoundPlan) -> Section:
    asked = made.needs.asked
    intro = (
        f"It has to last from {day(asked.on)} through {day(asked.last)}. Packs are whole. Left on the day is the "
        "last count with what moved since, less what is expected to be used until then."
    )
    return Section("bring", "What to bring", intro, tables=(_packs_table(made), _lines_table(made)))


def _packs_table(made: RoundPlan) -> Table:
    """Packs by school and product, schools that get something or could not be reached."""
    products = made.needs.products
    lines = made.plan.lines.merge(products[["product_id", "name"]], on="product_id")
    wide = lines.pivot_table(index="school_id", columns="name", values="packs", aggfunc="sum", fill_value=0)
    used = [name for name in products["name"] if name in wide.columns and wide[name].sum() > 0]
    columns = (
        words("school", "School"),
        words("name", "Name"),
        *(counts(f"packs_{place}", name) for place, name in enumerate(used)),
        counts("all", "All packs"),
    )
    rows: list[tuple[Cell, ...]] = []
    for school, (code, name) in sorted(made.needs.schools.items(), key=lambda item: item[1]):
        if school in wide.index and wide.loc[school].sum() > 0:
            packs = [int(count) for count in wide.loc[[school], used].to_numpy().ravel()]
            rows.append((code, name, *packs, sum(packs)))
    empty = "No pack is brought: nothing is needed, or the limits leave no room for one."
    return Table("packs", "Packs for each school", columns, tuple(rows), "", empty)


LINE_COLUMNS: Final = (
    words("school", "School"),
    words("product", "Product"),
    counts("asked_for", "Asked for until the next round", PIECES),
    counts("left", "Left on the day", PIECES),
    counts("packs", "Packs", "packs"),
    counts("pieces", "Brought", PIECES),
    counts("lasts_before", "Lasts without", SCHOOL_DAYS),
    counts("lasts_after", "Lasts with", SCHOOL_DAYS),
    counts("chance_before", "Chance of running out without", "share"),
    counts("chance_after", "Chance of running out with", "share"),
    words("reason", "Why this many"),
)


def _lines_table(made: RoundPlan) -> Table:
    """Every school and product: forecast, stock, packs, how long it lasts, the chance of running out, the reason."""
    rows = tuple(_line(made, row) for row in rows_of(_joined(made)))
    note = (
        f"Asked for is modelled, with the range that should hold what comes in 95 of 100 cases, {AS_IN}. The chance is "
        "that of running out before what the next round brings can be used. Where a stock ran out in every week, what "
        "was used is the least that was asked for."
    )
    return Table("lines", "Every school and product", LINE_COLUMNS, rows, note)


def _joined(made: RoundPlan) -> pd.DataFrame:
    needs = made.needs.needs[[*KEY, "counted_on", "least", "kind", "periods", "reachable"]]
    lines = made.plan.lines.merge(needs, on=list(KEY)).merge(made.needs.products, on="product_id")
    codes = lines["school_id"].map({school: code for school, (code, _) in made.needs.schools.items()})
    return lines.assign(code=codes).sort_values(["code", "product"], kind="stable", ignore_index=True)


def _line(made: RoundPlan, row: Any) -> tuple[Cell, ...]:
    value, low, high = limited(row.mean, row.low, row.high)
    least = "at least: it ran out in a place in every week" if row.least else ""
    forecast = Figure(value, PIECES, Basis.MODELLED, low, high, about_people=bool(row.menstrual), note=least)
    return (
        row.code,
        _named(row),
        forecast,
        Figure(_number(row.on_hand), PIECES, Basis.MODELLED),
        int(row.packs),
        int(row.pieces),
        *(_number(end) for end in (row.cover_days_before, row.cover_days_after)),
        *(_number(end) for end in (row.run_out_before, row.run_out_after)),
        row.reason,
    )


def _named(row: Any) -> str:
    """A product with what its pieces are called."""
    return f"{row.name} ({row.unit_name})" if row.unit_name else str(row.name)


def _number(value: float) -> float | None:
    return None if pd.isna(value) else float(value)


# --- who stays at risk --------------------------------------------------------------------------------------------


def _risk(made: RoundPlan) -> Section:
    """Stocks above the programme's chance of running out: those that no loading could help first."""
    rows = _joined(made)
    above = rows[rows["run_out_after"] > made.threshold].sort_values(["run_out_after", "code"], ascending=[False, True])
    known = int(rows["run_out_after"].notna().sum())
    share = amount(made.threshold, "share")
    intro = (
        f"With this plan, {len(above)} of {known} stocks keep a chance above {share} of running out before the next "
        "round. The share is the programme's setting."
    )
    never = set(zip(made.risk["school_id"], made.risk["product_id"], strict=True))
    lost = [row for row in rows_of(above) if (row.school_id, row.product_id) in never]
    tables = (_never(lost), _at_risk(above), *_unknown(rows[rows["unmet_after"].isna()]))
    return Section("risk", "Who stays at risk", intro, tables=tables)


def _never(rows: list[Any]) -> Table:
    columns = (
        words("school", "School"),
        words("product", "Product"),
        counts("best", "Chance of running out", "share"),
        words("why", "Why"),
    )
    cells = tuple((row.code, row.name, _number(row.run_out_best), _why(row)) for row in rows)
    empty = "None: with enough in the store, the money and the vehicle, every stock could be made to last."
    return Table("never", "At risk whatever is loaded", columns, cells, "", empty)


def _why(row: Any) -> str:
    if row.reason == Reason.CANNOT_BE_REACHED.value:
        return str(row.reason)
    return "its places hold no more than that"


def _at_risk(above: pd.DataFrame) -> Table:
    columns = (
        words("school", "School"),
        words("product", "Product"),
        counts("chance", "Chance of running out with this plan", "share"),
        counts("best", "With all it could take", "share"),
        words("why", "Why no more is brought"),
    )
    cells = tuple(
        (row.code, row.name, _number(row.run_out_after), _number(row.run_out_best), row.reason)
        for row in rows_of(above)
    )
    note = "With all it could take: as if the store, the money and the vehicle had no limit."
    return Table("risk", "At risk with this plan", columns, cells, note, "No stock is.")


def _unknown(rows: pd.DataFrame) -> tuple[Table, ...]:
    """Stocks of which nothing can be said; no table where there is none."""
    columns = (words("school", "School"), words("product", "Product"), words("why", "What is missing"))
    missing = {
        Reason.STOCK_NOT_RECORDED.value: "no count in the weeks looked at; ask the school to count",
        Reason.DEMAND_NOT_KNOWN.value: "no two counts to learn the demand from",
    }
    cells = tuple((row.code, row.name, missing.get(row.reason, row.reason)) for row in rows_of(rows))
    return (Table("unknown", "Not in these figures", columns, cells),) if cells else ()


# --- the aims side by side ----------------------------------------------------------------------------------------


def _aims(made: RoundPlan) -> Section:
    columns = (
        words("aim", "Aim"),
        words("says", "What it does"),
        counts("unmet", "Expected requests unmet", REQUESTS),
        counts("lowest", "Lowest share of requests met", "share"),
        counts("earliest", "Earliest stock to run out", SCHOOL_DAYS),
        counts("packs", "Packs", "packs"),
        counts("cost", "Cost", f"minor units of {made.currency}"),
    )
    rows = tuple(_aim_row(made, aim, plan) for aim, plan in made.aims.items())
    note = (
        "Each aim within the same limits. The lowest share and the earliest stock are of the schools that are reached."
    )
    table = Table("aims", "The three aims side by side", columns, rows, note)
    return Section("aims", "If the aim were another", tables=(table,))


def _aim_row(made: RoundPlan, aim: Aim, plan: Plan) -> tuple[Cell, ...]:
    lines = plan.lines.merge(made.needs.needs[[*KEY, "reachable"]], on=list(KEY))
    lines = lines[lines["reachable"] & lines["unmet_after"].notna()]
    lowest, earliest = lines["served_after"].min(), lines["cover_days_after"].min()
    chosen = " (chosen)" if aim is made.plan.aim else ""
    return (
        aim.value.capitalize() + chosen,
        AIM_WORDS[aim],
        float(plan.unmet_after),
        _number(lowest),
        _number(earliest),
        plan.used.packs,
        None if plan.used.cost_minor is None else float(plan.used.cost_minor),
    )


# --- what more would do -------------------------------------------------------------------------------------------


def _more(made: RoundPlan) -> Section:
    names = dict(zip(made.needs.products["product_id"], made.needs.products["name"], strict=True))
    ranked = made.more[made.more["drop"] >= NO_GAP].sort_values("drop", ascending=False, kind="stable")
    rows = tuple((_more_words(row, names, made.currency), float(row.drop)) for row in rows_of(ranked))
    columns = (words("what", "One more"), counts("fewer", "Expected requests unmet fall by", REQUESTS))
    note = "Each by itself, with the plan made again for the fewest requests unmet. What changes nothing is not listed."
    empty = "No single pack, coin or litre more would change anything."
    table = Table("more", "One more of each", columns, rows, note, empty)
    return Section("more", "What a little more would do", tables=(table, _later(made)))


def _more_words(row: Any, names: dict[int, str], currency: str) -> str:
    if row.limited == Limited.STOCK.value:
        return f"1 pack of {names[int(row.product_id)]} in the store"
    if row.limited == Limited.BUDGET.value:
        return f"{amount(float(row.more), f'minor units of {currency}')} of budget"
    return "1 litre of room in the vehicle" if row.limited == Limited.LITRES.value else "1 more pack in the vehicle"


def _later(made: RoundPlan) -> Table:
    asked = made.needs.asked
    columns = (words("when", "When"), counts("unmet", "Expected requests unmet", REQUESTS))
    rows: tuple[tuple[Cell, ...], ...] = ()
    if made.later is not None:
        now, then = float(made.plan.unmet_after), made.later
        rows = (
            (f"On {day(asked.on)}", now),
            ("A week later", then.unmet),
            ("Of them in the week of waiting", then.waiting),
        )
    note = f"All counted from {day(asked.on)} through {day(asked.last)}, with the same limits and the same next round."
    empty = "The next round comes within a week, or the minimums could not be kept a week later."
    return Table("later", "The same round a week later", columns, rows, note if rows else "", empty)


# --- the store ----------------------------------------------------------------------------------------------------


def _store(made: RoundPlan) -> Section:
    pool = made.plan.pool.merge(made.needs.products[["product_id", "product", "name"]], on="product_id")
    columns = (
        words("product", "Product"),
        counts("store", "In the store", "packs"),
        counts("loaded", "Loaded", "packs"),
        counts("left", "Left", "packs"),
    )
    rows = tuple(
        (row.name, int(row.store_packs), int(row.used_packs), int(row.left_packs))
        for row in rows_of(pool.sort_values("product"))
    )
    tables = [Table("store", "Packs in the central store", columns, rows)]
    if made.needs.gone_off:
        tables.append(_gone_off(made))
    tables += [_limits(made)]
    return Section("store", "Store, money and room", tables=tuple(tables))


def _gone_off(made: RoundPlan) -> Table:
    columns = (
        words("product", "Product"),
        words("lot", "Lot"),
        words("expires", "Goes off on"),
        counts("packs", "Packs", "packs"),
    )
    rows = tuple((one.product, one.lot, one.expires_on, one.packs) for one in made.needs.gone_off)
    note = f"They go off before the next round on {day(made.needs.asked.until)}, so the plan leaves them in the store."
    return Table("gone_off", "Lots that go off too soon", columns, rows, note)


def _limits(made: RoundPlan) -> Table:
    limits, used = made.limits, made.plan.used
    unit = f"minor units of {made.currency}"
    given = (
        ("Budget", used.cost_minor, limits.budget_minor, unit),
        ("Room by volume", used.litres, limits.litres, "L"),
        ("Room by packs", used.packs, limits.packs, "packs"),
    )
    rows = tuple(
        (name, _of(taken, unit), "no limit" if most is None else _of(most, unit)) for name, taken, most, unit in given
    )
    columns = (words("limit", "Limit"), counts("used", "Taken by this plan"), counts("most", "There is"))
    return Table("limits", "Limits of this round", columns, rows)


def _of(value: float | None, unit: str) -> Figure:
    return Figure(None if value is None else float(value), unit, Basis.COUNTED)


def _notes(made: RoundPlan) -> tuple[str, ...]:
    first, last = made.needs.learnt
    out = [made.needs.schools[one][1] for one in sorted(made.needs.asked.unreachable) if one in made.needs.schools]
    notes = [
        f"Demand was learnt from the records of {days(first, last)}. A week in which a stock ran out counts "
        "as one in which at least so much was asked for.",
        "What comes now and then is forecast by Croston's method with the correction of Syntetos and Boylan.",
    ]
    if out:
        notes.append(f"Not reached this time: {', '.join(out)}.")
    return tuple(notes)
