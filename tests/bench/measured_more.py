"""More steps of a term: repairs, crowding, need and supplies ahead, lessons, cost, fittings, water, energy, checks."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any

import numpy as np
import pandas as pd

from tests.bench.big import FIRST, LAST, ROUNDS
from tests.bench.measured import AS_OF, Clock, Read
from tracker.measures import (
    burning,
    cleaning_water,
    comparison,
    consistency,
    cost,
    crowding,
    crowding_breaks,
    crowding_cabins,
    demand,
    disposal,
    faults,
    forecast,
    grant_share,
    knowledge,
    ladders,
    lost,
    manual_flush,
    menstrual_items,
    need,
    norms,
    power,
    power_balance,
    quality,
    reorder,
    repairs,
    restore,
    sessions,
    spot_check,
    stock_balance,
    stock_levels,
    tank_use,
    tanks,
    trials,
    uptake,
    use,
    water,
    water_norms,
)
from tracker.measures.counts import CountLaw
from tracker.measures.dials import rows_of
from tracker.measures.differences import Pairs
from tracker.measures.figure import Figure
from tracker.vocabulary import Basis, Group, Measure, MoneyKind, PowerPart, Sex, UnitKind, WaterSource

PROMISE_H = 48
NORMS = ("who09.w.day", "sph18.sch.w", "pour.13", "cist.69")
ROUND_DAYS = tuple(date.fromisoformat(day) for day in ROUNDS)
CLEANING = cleaning_water.Cleaning("disinfection", 4000, 1)
BY_HAND = manual_flush.ManualFlush(6000, manual_flush.LongShare(0.1, 0.05, 0.2))
LIGHT = power.PowerRule(PowerPart.LIGHT_FAN, watts=20, minutes=2)
BURN = power.PowerRule(PowerPart.BURN, wh=900)
QUIZ = ["right_right", "right_wrong", "wrong_right", "wrong_wrong"]


def repair_measures(read: Read, made: dict[str, Any], clock: Clock) -> None:
    """Faults, time to restore, breaks lost one by one, the engineer's visits."""
    found = clock("faults", lambda: faults.begun_faults(read.outages, read.units, read.scope))
    clock("time to restore", lambda: restore.time_to_restore(found))
    clock("restored within", lambda: restore.restored_within(found, PROMISE_H))
    clock("known within", lambda: restore.known_within(found, PROMISE_H))
    fitted = clock("faults by fitting", lambda: restore.with_fittings(found, read.fittings))
    for rows, by in ((found, "cause"), (found, "kind"), (fitted, "fitting"), (found, "school_id")):
        clock(f"restore by {by}", lambda of=rows, name=by: restore.restore_by(of, name, PROMISE_H))
    cabins = made["days"][made["days"]["kind"].isin(["cabin", "urinal"])]
    breaks = clock("units at breaks", lambda: lost.unit_breaks(read.outages, read.calendar.breaks, cabins, read.scope))
    made["fixtures"] = clock("usable", lambda: lost.usable_at_breaks(breaks, ["school_id", "group", "kind"]))
    clock("visits lost", lambda: lost.visits_lost(breaks, read.tallies))
    every = read.service_intervals.assign(every_days=30.0)
    span = read.scope.period
    gaps = clock("service gaps", lambda: repairs.service_gaps(read.engineer_visits, every, span, AS_OF.date()))
    clock("days between visits", lambda: repairs.days_between_visits(gaps))


def crowding_measures(read: Read, made: dict[str, Any], clock: Clock) -> None:
    """Crowded breaks from visits, cabins needed at every queue, fixtures beside named sets."""
    usable = made["usable"]
    arrivals = clock(
        "arrivals from visits",
        lambda: crowding_breaks.arrivals_from_visits(made["weeks"], read.units, read.occasions),
    )
    bursts = clock("bursts of visits", lambda: crowding_breaks.burst_breaks(usable, arrivals))
    for group in (Group.GIRLS, Group.BOYS):
        breaks = clock("breaks of a group", lambda of=group: crowding.occasions_of(bursts, of))
        clock("left over", lambda of=breaks: crowding.left_over(of))
        clock("least served", lambda of=breaks: crowding.least_served(of))
        clock(
            "nobody waiting", lambda of=group: crowding.seen_nobody_waiting(read.bell_counts, read.calendar.breaks, of)
        )
    clock("cabins needed, each queue", lambda: _cabins(bursts))
    clock("named sets, each school", lambda: _named_sets(read, made["fixtures"]))


def _cabins(bursts: pd.DataFrame) -> list[Any]:
    return list(dict(sorted(crowding_cabins.queues(bursts).items())).values())


def _named_sets(read: Read, fixtures: pd.DataFrame) -> list[Any]:
    pupils = {(row.school_id, row.sex): row.pupils for row in rows_of(read.shift_pupils)}
    girls = fixtures[(fixtures["group"] == "girls") & (fixtures["kind"] == "cabin")]
    of = [
        norms.Fixtures(pupils[row.school_id, Sex.GIRLS.value], row.standing, row.usable_mean, row.usable_least)
        for row in rows_of(girls)
    ]
    return [
        norms.beside_set(name, {key: one})
        for name, known in norms.NORM_SETS.items()
        for key in known.ratios
        for one in of
    ]


def need_measures(read: Read, made: dict[str, Any], clock: Clock) -> None:
    """Need by age, given out against it, forecasts, levels and what to bring, stock that balances."""
    days = read.occasions.groupby("school_id")["school_days"].sum().to_dict()
    found = clock("estimated need, each school", lambda: _need(read, days))
    clock(
        "given out against need", lambda: [need.given_out_against_need(made["given_total"], one) for one in found[:1]]
    )
    asked = clock("demand of schools", lambda: demand.school_demand(made["machine_demand"]))
    clock("forecast", lambda: forecast.forecast_schools(asked, read.ahead, ROUND_DAYS[1]))
    clock("restocking needs", lambda: reorder.restock_needs(_stock(read, asked), read.ahead, *ROUND_DAYS))
    clock("levels, each school", lambda: [_levels(row) for row in rows_of(asked.dropna(subset=["per_day"]))])
    clock("forecasts held out, each machine", lambda: _held_out(made["given"], read.machine_weeks))
    clock("use between counts", lambda: use.place_demand(_between_counts(read)))
    five = clock("stock of a term", lambda: _balance_frame(read))
    clock("stock balance", lambda: stock_balance.balanced_share(stock_balance.balance_check(five)))
    clock("consistency", lambda: _checks(read, made, five))


def _need(read: Read, days: dict[int, float]) -> list[Any]:
    last, of_school = pd.Timestamp(LAST), read.enrolment.groupby("school_id").indices
    return [
        need.estimated_need(need.girls_by_age(read.enrolment.iloc[places], read.grade_ages, last), days[school])
        for school, places in of_school.items()
    ]


def _stock(read: Read, asked: pd.DataFrame) -> pd.DataFrame:
    sums = read.on_hand.groupby("school_id", as_index=False).agg(
        on_hand=("on_hand", "sum"), pack_size=("pack_size", "min")
    )
    rows = sums.merge(asked[["school_id", "per_day"]], on="school_id", how="left")
    return rows.assign(days_per_week=5.0)


def _levels(row: Any) -> tuple[Any, ...]:
    law = CountLaw(row.per_day, row.per_day * row.ratio).times(10)
    normal = stock_levels.order_up_to_normal(row.per_day, row.per_day**0.5, 10, 2, 0.95)
    fill = stock_levels.level_for_fill(law, 0.95)
    return normal, fill, stock_levels.level_for_cycle(law, 0.95), stock_levels.fill_rate(law, fill)


def _held_out(given: pd.DataFrame, machine_weeks: pd.DataFrame) -> list[Any]:
    rows = given.merge(machine_weeks[["unit_id", "week", "sold_out_days"]], on=["unit_id", "week"])
    kept = rows[rows["sold_out_days"] == 0].sort_values(["unit_id", "week"])
    used, days = kept["given_out"].to_numpy(), np.full(len(kept), 5.0)
    return [
        (forecast.held_out(used[at], days[at], 3), forecast.period_forecast(used[at]))
        for at in kept.reset_index(drop=True).groupby("unit_id").indices.values()
    ]


def _between_counts(read: Read) -> pd.DataFrame:
    rows = read.machine_weeks.rename(columns={"unit_id": "place_id"}).assign(product_id=1, given=0.0)
    counts = rows.assign(day=rows["week"] + pd.Timedelta(days=4))[["place_id", "product_id", "day", "left"]]
    moves = rows.assign(day=rows["week"], pieces=rows["refilled"])[["place_id", "product_id", "day", "pieces", "given"]]
    places = rows[["place_id", "school_id"]].drop_duplicates()
    return use.used_between_counts(counts, moves, places, read.calendar.school_days[["school_id", "day"]])


def _balance_frame(read: Read) -> pd.DataFrame:
    weeks = read.machine_weeks.sort_values(["unit_id", "week"]).groupby("school_id", as_index=False)
    rows = weeks.agg(opening=("left", "first"), received=("refilled", "sum"), closing=("left", "last"))
    issued = rows["opening"] + rows["received"] - rows["closing"]
    return rows.assign(school=rows["school_id"].astype("str"), issued=issued.clip(lower=0), lost=0.0)


def _checks(read: Read, made: dict[str, Any], five: pd.DataFrame) -> Any:
    weeks = made["given"][["school", "week", "given_out"]].rename(columns={"given_out": "value"})
    girls = read.enrolment[read.enrolment["sex"] == "girls"].groupby("school_id")["pupils"].sum()
    use = five.assign(given_out=five["issued"], girls=five["school_id"].map(girls))
    terms = use.assign(this=use["given_out"], before=use["opening"])
    results = [consistency.stock(five), consistency.use_per_girl(use), consistency.moderate_outliers(weeks)]
    results += [consistency.extreme_outliers(weeks), consistency.median_outliers(weeks)]
    results.append(consistency.term_ratio(terms, consistency.Check.TERM_BEFORE))
    return consistency.table(results), [consistency.found_share(one) for one in results]


def lesson_measures(read: Read, made: dict[str, Any], clock: Clock) -> None:
    """Who was reached, what was answered before and after, uptake around lessons, inspection."""
    bounds = made["reach"]
    for sex in Sex:
        known = (read.sessions, read.attendance, read.enrolment, sex)
        clock("pupils reached", lambda of=known: sessions.pupils_reached(*of, bounds=bounds))
    clock("minutes", lambda: sessions.minutes_taught(read.sessions))
    day = pd.Timestamp(LAST)
    clock("reach by grade", lambda: sessions.reach_by_sex_and_grade(bounds, read.enrolment, day))
    clock("knowledge", lambda: [_knowledge(rows) for _, rows in read.quizzes.groupby("item")])
    clock("uptake", lambda: _uptake(read, made["given"]))
    answers = [read.answers.get(school.id, {}) for school in read.schools]
    clock("ladders, each school", lambda: [_ladders(one) for one in answers])
    clock("inspection items", lambda: [menstrual_items.share_of_schools(key, answers) for key in menstrual_items.ITEMS])


def _ladders(answers: dict[str, str]) -> tuple[ladders.Level, ...]:
    known = {question: answer == "yes" for question, answer in answers.items()}
    improved = ladders.Facility(answers["water_source"]), ladders.Facility(answers["toilet_improved"])
    return (
        ladders.drinking_water_level(improved[0], known["water_available"]),
        ladders.sanitation_level(improved[1], known["single_sex"], answers["usable_girls"] != "0"),
        ladders.hygiene_level(known["handwash_facility"], known["handwash_water"], known["handwash_soap"]),
    )


def _knowledge(rows: pd.DataFrame) -> tuple[Any, Any]:
    totals = rows.groupby("school")[QUIZ].sum().itertuples(index=False)
    pairs = [Pairs(*(int(number) for number in one)) for one in totals]
    right = [
        (
            knowledge.Right(one.yes_yes + one.yes_no, sum((one.yes_yes, one.yes_no, one.no_yes, one.no_no))),
            knowledge.Right(one.yes_yes + one.no_yes, sum((one.yes_yes, one.yes_no, one.no_yes, one.no_no))),
        )
        for one in pairs
    ]
    return knowledge.paired_change(pairs), knowledge.unpaired_change(right)


def _uptake(read: Read, given: pd.DataFrame) -> Any:
    weeks = given.groupby(["school_id", "week"], as_index=False).agg(given_out=("given_out", "sum"))
    sold = read.machine_weeks.groupby(["school_id", "week"], as_index=False)[["sold_out_days"]].max()
    weeks = weeks.merge(sold, on=["school_id", "week"]).merge(read.occasions, on=["school_id", "week"])
    lessons = read.sessions[read.sessions["topic"].str.startswith("Menstrual")]
    girls = read.shift_pupils[read.shift_pupils["sex"] == "girls"].groupby("school_id")["pupils"].sum()
    return uptake.uptake_around(
        weeks.assign(sold_out=weeks["sold_out_days"] > 0), lessons, girls.astype(float).to_dict()
    )


def cost_measures(read: Read, made: dict[str, Any], clock: Clock) -> None:
    """Cost in all and at each school, fittings compared, grants' shares, a draw of what is looked at again."""
    money = read.money.assign(currency="XTS")
    whole = clock("net cost", lambda: cost.net_cost(money))
    clock("cost per visit", lambda: cost.cost_per(whole, made["visits_total"], "visit"))
    clock("net cost, each school", lambda: _costs(money))
    rows = clock("unit weeks with a fitting", lambda: _fitted(read, made))
    for measure in (Measure.LITRES_PER_VISIT, Measure.AVAILABILITY, Measure.OUTAGES_PER_1000_VISITS):
        clock(f"compare {measure}", lambda of=measure: _compared(rows, of))
    clock("grants' shares", lambda: _grants(read, made))
    clock("spot checks", lambda: _spot_checks(made["visits_by_school"]))


def _costs(money: pd.DataFrame) -> list[Any]:
    found = [cost.net_cost(money.iloc[places]) for places in money.groupby("school_id").indices.values()]
    return [(cost.net_figure(one), cost.kind_figure(one, MoneyKind.WATER)) for one in found]


def _fitted(read: Read, made: dict[str, Any]) -> pd.DataFrame:
    key = ["unit_id", "week"]
    days = made["days"][made["days"]["observed"]].merge(read.calendar.school_days, on=["school_id", "day"])
    sums = days.assign(up_min=days["scheduled_min"] - days["down_min"]).groupby(key, as_index=False)
    litres = made["water"].groupby(key, as_index=False)[["ml"]].sum()
    begun = faults.begun_faults(read.outages, read.units, read.scope).merge(
        read.calendar.school_days, on=["school_id", "day"]
    )
    outages = begun.groupby(key, as_index=False).agg(outages=("cause", "size"))
    rows = made["due"][made["due"]["kind"] == "cabin"].merge(
        made["weeks"][[*key, "visits", "basis"]], on=key, how="left"
    )
    rows = rows.merge(litres, on=key, how="left").merge(sums[["up_min", "scheduled_min"]].sum(), on=key, how="left")
    rows = rows.merge(outages, on=key, how="left")
    return comparison.label_weeks(rows.assign(outages=rows["outages"].fillna(0)), read.fittings, "pre_wash")


def _compared(rows: pd.DataFrame, measure: Measure) -> Any:
    design = comparison.possible_design(rows)
    found = comparison.compare(rows, measure, design, Basis.MODELLED)
    return comparison.difference_figure(found), trials.evidence(found, None)


def _grants(read: Read, made: dict[str, Any]) -> Any:
    codes = sorted(set(read.units["school"]))
    shares = [grant_share.GrantShare(code, "G1", 600, date.fromisoformat(FIRST)) for code in codes[::2]]
    due = read.occasions.merge(read.units[["school_id", "school"]].drop_duplicates(), on="school_id")
    weeks = list(zip(due["school"], due["week"].dt.date, strict=True))
    claimed = grant_share.claim_pupils(
        dict.fromkeys(codes, 40), shares, read.scope.period.first, read.scope.period.last
    )
    return grant_share.attribute(made["given_total"], shares, weeks), claimed


def _spot_checks(by_school: Mapping[str, Figure]) -> Any:
    area = {school: f"A{place % 10}" for place, school in enumerate(by_school)}
    drawn = spot_check.draw(area, dict.fromkeys(area, ("visits", "litres")), len(area) // 10, "large term 1")
    numbers = {school: figure.value for school, figure in by_school.items()}
    rows = pd.DataFrame(
        {"school": [one.school for one in drawn.checks], "figure": [one.figure for one in drawn.checks]}
    )
    reported = rows["school"].map(numbers)
    return spot_check.agreement(rows.assign(reported=reported, found=reported * 0.98))


def water_measures(read: Read, made: dict[str, Any], clock: Clock) -> None:
    """Norms, cleaning, flushes by hand, tanks, energy, burning, bins, queries."""
    clock("norms of water", lambda: water_norms.beside(made["litres_a_pupil_day"], NORMS[:2]))
    cabins = made["due"].loc[made["due"]["kind"] == "cabin", "unit_id"].unique().tolist()
    plans = dict.fromkeys(cabins, (CLEANING,))
    cleaned = clock(
        "cleaning water", lambda: cleaning_water.unit_week_cleaning(made["due"], read.calendar.school_days, plans)
    )
    clock("cleaning in all", lambda: cleaning_water.cleaning_taken(cleaned))
    by_hand = dict.fromkeys(cabins[::5], BY_HAND)
    mixed = clock("flushes by hand", lambda: manual_flush.with_manual_flush(made["water"], by_hand))
    clock("water with flushes by hand", lambda: water.water_taken(mixed, made["due"]))
    clock("tanks", lambda: _tanks(read, made, cleaned))
    burners = read.units.loc[read.units["kind"] == UnitKind.INCINERATOR.value, "unit_id"].tolist()
    rules = {**dict.fromkeys(cabins, (LIGHT,)), **dict.fromkeys(burners, (BURN,))}
    energy = clock(
        "energy",
        lambda: power.unit_week_energy(made["weeks"], read.burns, read.units, rules, read.calendar.school_days),
    )
    clock("energy in all", lambda: (power.energy_used(energy), power.energy_by_part(energy)))
    clock(
        "energy meters",
        lambda: power_balance.energy_balances(read.units, read.meter_scopes, read.readings, energy, read.occasions),
    )
    schools = dict(zip(read.units["unit_id"], read.units["school"], strict=True))
    burns = clock("burns", lambda: disposal.burns_total(read.burns, schools, len(read.burns)))
    rating = burning.Rating(pads=20, burns=4)
    clock("burns against rating", lambda: burning.burns_against_rating(burns, rating, 60 * len(burners)))
    clock(
        "bins", lambda: (burning.bins_now(read.bin_levels), disposal.bin_full_days(read.bin_levels, len(read.sheets)))
    )
    clock("queries", lambda: (quality.open_queries(read.queries), quality.query_table(read.queries)))
    clock("sheets by week", lambda: quality.sheet_table(read.sheets, AS_OF))
    clock("sheets by school", lambda: quality.sheet_table(read.sheets, AS_OF, "school_id"))


def _tanks(read: Read, made: dict[str, Any], cleaned: pd.DataFrame) -> list[Any]:
    """Each school's tank against the modelled use of its counted units."""
    units = read.units[read.units["kind"].isin(["cabin", "urinal", "tap"]) & (read.units["count_way"] == "grid")]
    scopes = pd.DataFrame({"tank_id": units["school_id"] * 100 + 13, "unit_id": units["unit_id"], "whole": True})
    scopes = scopes.assign(from_day=pd.Timestamp(FIRST), until_day=pd.NaT)
    first = [day.date() for day in pd.date_range(FIRST, periods=12, freq="7D")]
    used = tank_use.tank_use(scopes, read.units, made["water"], cleaned, read.calendar.school_days, weeks=first)
    levels = read.bin_levels[read.bin_levels["unit_id"] % 100 == 13].rename(columns={"unit_id": "tank_id"})
    inflow = pd.DataFrame({"day": pd.to_datetime(first), "origin": WaterSource.TANKER.value})
    inflow = inflow.assign(day=inflow["day"] + pd.Timedelta(days=2), ml=4_000_000, u_rel=0.05)
    records = tanks.tank_records(levels, levels[["tank_id"]].drop_duplicates().merge(inflow, how="cross"), used)
    return [records.balances(tank, 5000.0) for tank in records.levels]
