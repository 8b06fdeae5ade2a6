"""A round is planned from what is on record: needs and packs worked by hand, losses by an independent library."""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import replace
from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

import pytest
from scipy import stats

from tests import demo_file, make
from tests.reports.restock_world import UNTIL, World
from tests.web.office import count_queries
from tracker.db import make_engine, reading, writing
from tracker.measures import demand, supplies
from tracker.measures.restock import Aim, Limits
from tracker.models.supplies import Lot
from tracker.records import ledger
from tracker.records.restock_inputs import Asked
from tracker.reports import export, restock_demand, restock_needs, restock_plan, restock_report
from tracker.vocabulary import MoveReason, PlaceKind

DEMO = Asked(1, date(2026, 7, 15), date(2026, 7, 17), date(2026, 9, 21))
FEWEST = Aim.FEWEST_UNMET


@pytest.fixture
def world(session):
    return World(session)


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    engine = make_engine(f"sqlite:///{demo_file.copy_to(tmp_path_factory.mktemp('demo'))}")
    with reading(engine) as session:
        yield session
    engine.dispose()


def one_school(world: World, pieces: int = 22, **given):
    soap = world.product(**given)
    world.stored(soap, pieces)
    school, cupboard = world.school(soap)
    world.ready()
    return soap, school, cupboard


def lost(mean: float, variance: float, stock: int) -> float:
    """Requests expected unmet, summed up from scipy's negative binomial."""
    p = mean / variance
    law = stats.nbinom(mean * p / (1 - p), p)
    return math.fsum((x - stock) * law.pmf(x) for x in range(stock + 1, stock + 400))


def report(made):
    return restock_report.lay_out(made, datetime(2026, 2, 4, 9, tzinfo=UTC), "test")


def table(made, key: str):
    return next(table for table in report(made).tables() if table.key == key)


# --- what is needed -----------------------------------------------------------------------------------------------


def test_needs_are_those_worked_out_by_hand(world, session):
    one_school(world)
    (row,) = restock_needs.read(session, world.asked()).needs.to_dict("records")
    # 20 pieces used on 10 school days: 2 a day, error sqrt(20) / 10. Counted 20 on 30 January; the five school days
    # until the round are expected to take 10 of them.
    assert (row["per_day"], row["counted"], row["on_hand"]) == (pytest.approx(2.0), 20, 10)
    assert (row["days"], row["mean"]) == (10, pytest.approx(20.0))
    assert row["variance"] == pytest.approx(20 + (math.sqrt(20) / 10 * 10) ** 2)
    assert math.isnan(row["room"]) and row["minimum"] == 0 and row["reachable"]


def test_lead_days_lengthen_what_has_to_last(world, session):
    one_school(world)
    (row,) = restock_needs.read(session, world.asked(lead_days=2)).needs.to_dict("records")
    assert row["days"] == 12  # Monday and Tuesday more


def test_what_moved_after_the_count_is_on_hand(world, session):
    soap, _, cupboard = one_school(world)
    lot = session.query(Lot).filter_by(product_id=soap.id).one()
    world.move(world.store, cupboard, lot, date(2026, 2, 3), 8, MoveReason.DELIVERY)
    (row,) = restock_needs.read(session, world.asked()).needs.to_dict("records")
    assert (row["counted"], row["on_hand"]) == (28, 18)


def test_the_store_offers_whole_packs_of_lots_that_last_until_the_next_round(world, session):
    soap = world.product()
    world.stored(soap, 22)  # five packs of four, two pieces loose
    world.stored(soap, 8, "L2", date(2026, 2, 22))  # goes off the day before the next round
    world.stored(soap, 9, "L3", UNTIL)  # two packs
    world.school(soap)
    world.ready()
    needs = restock_needs.read(session, world.asked())
    assert needs.products["store_packs"].tolist() == [5 + 2]
    (gone,) = needs.gone_off
    assert (gone.product, gone.lot, gone.expires_on, gone.packs) == ("Soap", "L2", date(2026, 2, 22), 2)


def test_a_rule_says_what_is_kept_and_what_there_is_room_for(world, session):
    soap, school, _ = one_school(world)
    world.rule(school, soap, minimum=16, room=25)
    (row,) = restock_needs.read(session, world.asked()).needs.to_dict("records")
    assert (row["minimum"], row["room"]) == (16 - 10, 25 - 10)  # ten are expected to be there already


def test_a_minimum_never_asks_for_a_pack_that_has_no_room(world, session):
    soap, school, _ = one_school(world)
    world.rule(
        school, soap, minimum=15, room=15
    )  # five more pieces would be two packs of four, and there is room for one
    (row,) = restock_needs.read(session, world.asked()).needs.to_dict("records")
    assert (row["minimum"], row["room"]) == (4, 5)


# --- the plan -----------------------------------------------------------------------------------------------------


def test_the_plan_is_what_an_independent_sum_says_and_names_its_limit(world, session):
    one_school(world)
    made = restock_plan.make(session, world.asked(), Limits(), FEWEST)
    (line,) = made.plan.lines.to_dict("records")
    assert line["packs"] == 5 and line["reason"] == "limited by stock"
    assert made.plan.unmet_before == pytest.approx(lost(20, 40, 10))
    assert made.plan.unmet_after == pytest.approx(lost(20, 40, 10 + 5 * 4))
    assert made.plan.gap == pytest.approx(0)
    more = dict(zip(made.more["limited"], made.more["drop"], strict=True))
    assert more == {"stock": pytest.approx(lost(20, 40, 30) - lost(20, 40, 34))}


def test_a_week_of_waiting_costs_what_is_asked_for_meanwhile(world, session):
    one_school(world)
    made = restock_plan.make(session, world.asked(), Limits(), FEWEST)
    # 9 to 15 February: five school days, mean 10, variance 10 + (0.4472 * 5)^2 = 15, from the 10 on hand
    assert made.later.waiting == pytest.approx(lost(10, 15, 10))
    assert made.later.unmet >= made.plan.unmet_after
    near = world.asked(until=date(2026, 2, 16))
    assert restock_plan.make(session, near, Limits(), FEWEST).later is None


def test_a_school_that_cannot_be_reached_gets_nothing_and_stays_at_risk_whatever_is_loaded(world, session):
    soap, school, _ = one_school(world)
    other, _ = world.school(soap)
    world.ready()
    asked = world.asked(unreachable=frozenset({school.id}))
    made = restock_plan.make(session, asked, Limits(), FEWEST)
    assert set(made.packs()) == {(other.id, soap.id)}
    rows = table(made, "never").rows
    assert [(row[0], row[3]) for row in rows] == [(school.code, "cannot be reached this time")]


def test_stock_that_was_never_counted_is_named_and_not_planned_for(world, session):
    soap, _, _ = one_school(world)
    silent, _ = world.school(soap, left=())
    world.rule(silent, soap, minimum=0, room=20)
    world.ready()
    made = restock_plan.make(session, world.asked(), Limits(), FEWEST)
    assert [row[0] for row in table(made, "unknown").rows] == [silent.code]
    assert "ask the school to count" in table(made, "unknown").rows[0][2]


def test_the_three_aims_stand_side_by_side(world, session):
    soap, _, _ = one_school(world)
    world.school(soap, left=(30, 15, 0))
    world.ready()
    made = restock_plan.make(session, world.asked(), Limits(), FEWEST)
    rows = table(made, "aims").rows
    assert len(rows) == len(Aim) and "(chosen)" in rows[0][0]
    assert min(row[2] for row in rows) == rows[0][2] == pytest.approx(made.plan.unmet_after)


def test_both_databases_give_the_plan_worked_by_hand(any_engine):
    with writing(any_engine) as session:
        world = World(session)
        soap, school, _ = one_school(world)
        world.rule(school, soap, minimum=12, room=60)
        made = restock_plan.make(session, world.asked(), Limits(), FEWEST)
        assert made.packs() == {(school.id, soap.id): 5}
        assert made.plan.unmet_after == pytest.approx(lost(20, 40, 30))


# --- what cannot be planned ---------------------------------------------------------------------------------------


def refused(session, world, limits=Limits(), **given) -> restock_plan.NoPlanError:  # noqa: B008 - frozen
    with pytest.raises(restock_plan.NoPlanError) as found:
        restock_plan.make(session, world.asked(**given), limits, FEWEST)
    return found.value


def test_minimums_that_break_a_limit_say_which_and_by_how_much(world, session):
    soap, school, _ = one_school(world, pack_ml=500)
    world.rule(school, soap, minimum=22)  # twelve more pieces: three packs at 3.60
    budget = refused(session, world, Limits(budget_minor=1000))
    assert budget.field == "budget"
    assert "10.80 XTS, and the budget is 10.00 XTS: 0.80 XTS too little" in str(budget)
    packs = refused(session, world, Limits(packs=2))
    assert (packs.field, "1 pack too few" in str(packs)) == ("packs", True)
    litres = refused(session, world, Limits(litres=1.0))
    assert (litres.field, "1.5 L, and there is room for 1.0 L" in str(litres)) == ("litres", True)


def test_minimums_beyond_the_store_name_the_product(world, session):
    soap, school, _ = one_school(world, pieces=4)
    world.rule(school, soap, minimum=22)
    found = refused(session, world)
    assert found.field == "products" and "3 packs of Soap, and the store has 1 pack:" in str(found)


def test_days_without_school_are_said_at_the_next_round(world, session):
    one_school(world)
    found = refused(session, world, on=date(2026, 5, 4), until=date(2026, 5, 18))
    assert found.field == "until" and "no school day from 4 May 2026 to 17 May 2026" in str(found)


def test_everything_sold_out_every_week_has_no_finite_demand(world, session):
    soap = world.product()
    world.stored(soap, 40)
    _, cupboard = world.school(soap, left=(0, 0, 0))
    lot = session.query(Lot).filter_by(product_id=soap.id).one()
    for day in (date(2026, 1, 19), date(2026, 1, 26)):
        world.move(world.store, cupboard, lot, day, 4, MoveReason.DELIVERY)
    world.ready()
    found = refused(session, world)
    assert found.field == "on" and "sold out in every week" in str(found)


def test_without_any_record_there_is_no_plan(world, session):
    soap = world.product()
    world.stored(soap, 40)
    world.ready()
    assert "No school has a stock" in str(refused(session, world))


def test_room_in_litres_needs_the_volume_of_a_pack(world, session):
    one_school(world)
    found = refused(session, world, Limits(litres=100.0))
    assert found.field == "litres" and "not recorded for: Soap" in str(found)


# --- how it is asked ----------------------------------------------------------------------------------------------


def test_queries_do_not_grow_with_schools(world, session, engine):
    soap, _, _ = one_school(world)
    one = count_queries(engine, lambda: restock_plan.make(session, world.asked(), Limits(), FEWEST))
    for _ in range(5):
        world.school(soap)
    world.ready()
    assert count_queries(engine, lambda: restock_plan.make(session, world.asked(), Limits(), FEWEST)) == one


def test_another_programmes_schools_and_store_are_not_in_it(world, session):
    soap, school, _ = one_school(world)
    other = World(session)
    theirs = other.product()
    other.stored(theirs, 400)
    other.school(theirs)
    other.ready()
    needs = restock_needs.read(session, world.asked())
    assert set(needs.needs["school_id"]) == {school.id} and needs.products["product_id"].tolist() == [soap.id]


def test_an_area_plans_for_its_own_schools(world, session):
    soap, _, _ = one_school(world)
    elsewhere, _ = world.school(soap, area=make.make_area(session, world.programme))
    world.ready()
    needs = restock_needs.read(session, world.asked(schools=(elsewhere.id,)))
    assert set(needs.needs["school_id"]) == {elsewhere.id}


# --- the ledger ---------------------------------------------------------------------------------------------------


def test_stock_of_the_plan_is_what_the_ledger_has(demo):
    """The plan takes the last counts and what moved since, the ledger adds up every move: both must say the same."""
    needs = restock_needs.read(demo, DEMO)
    at_schools, in_store = Counter(), Counter()
    for row in ledger.balances(demo, 1, DEMO.today):
        if row.kind in (PlaceKind.MACHINE, PlaceKind.CUPBOARD):
            at_schools[row.school_id, row.product_id] += row.quantity
        elif row.kind is PlaceKind.STORE:
            in_store[row.product_id] += row.quantity
    rows = zip(needs.needs["school_id"], needs.needs["product_id"], needs.needs["counted"], strict=True)
    found = {(school, product): counted for school, product, counted in rows}
    assert len(found) > 50 and found == {key: at_schools[key] for key in found}
    lots = restock_demand.frames.store_lots(demo, 1, DEMO.today).groupby("product_id")["pieces"].sum()
    assert lots.to_dict() == dict(in_store)


# --- the demo -----------------------------------------------------------------------------------------------------


def test_a_round_moved_is_a_round_read_anew(demo):
    read = restock_needs.read(demo, DEMO)
    other = replace(DEMO, on=date(2026, 9, 7), unreachable=frozenset({3}))
    assert restock_needs.moved(read, other).needs.equals(restock_needs.read(demo, other).needs)


def test_machines_demand_by_product_adds_up_to_that_of_their_school(demo):
    zone = ZoneInfo("Etc/GMT-3")
    stocked = restock_demand.read(demo, 1, DEMO.today, DEMO.until, None)
    machines = restock_demand._machines(restock_demand.machine_use(demo, stocked, zone))
    occasions = restock_demand._occasions(stocked)
    weeks = restock_demand.frames.machine_weeks(demo, stocked.scope, occasions)
    vends = restock_demand._vends(demo, stocked, zone, occasions)
    whole = demand.machine_demand(supplies.given_out_weeks(weeks, vends, weeks, occasions), weeks)
    assert machines.groupby("school_id")["per_day"].sum().to_numpy() == pytest.approx(
        whole.groupby("school_id")["per_day"].sum().to_numpy()
    )


def test_the_demos_plan_keeps_every_limit_and_adds_up(demo):
    limits = Limits(60_000, 80.0, 60)
    made = restock_plan.make(demo, DEMO, limits, FEWEST)
    products = made.needs.products.set_index("product_id")
    packs = made.plan.lines.groupby("product_id")["packs"].sum()
    assert (packs <= products["store_packs"].reindex(packs.index)).all()
    assert (packs * products["pack_cost_minor"].reindex(packs.index)).sum() == made.plan.used.cost_minor <= 60_000
    assert (packs * products["pack_litres"].reindex(packs.index)).sum() <= 80.0 + 1e-9 and packs.sum() <= 60
    assert made.plan.unmet_after <= min(plan.unmet_after for plan in made.aims.values()) + 1e-6
    assert made.plan.bound <= made.plan.unmet_after <= made.plan.unmet_before


def test_the_files_hold_what_the_page_shows(demo):
    made = report(restock_plan.make(demo, DEMO, Limits(), FEWEST))
    files = export.csv_files(made)
    assert files["lines.csv"].count("\r\n") == len(next(t for t in made.tables() if t.key == "lines").rows) + 1
    assert "Expected requests unmet with this plan" in export.text(made)
    assert export.content(made)["kind"] == "restocking plan"
