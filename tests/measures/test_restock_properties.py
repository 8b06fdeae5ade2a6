"""What must hold of every plan, on rounds that hypothesis makes up."""

from dataclasses import replace

import numpy as np
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from tests.measures.restock_by_hand import goods, needs
from tracker.measures.restock import Aim, InfeasiblePlan, Limits, plan

LINE = st.fixed_dictionaries(
    {
        "mean": st.one_of(st.just(0.0), st.floats(0.05, 60), st.just(float("nan"))),
        "ratio": st.sampled_from([1.0, 1.5, 4.0]),
        "on_hand": st.one_of(st.integers(0, 40).map(float), st.just(float("nan"))),
        "room": st.one_of(st.just(float("nan")), st.integers(0, 60).map(float)),
        "minimum": st.sampled_from([0, 0, 0, 5]),
        "reachable": st.sampled_from([True, True, True, False]),
    }
)
LIMITS = st.builds(
    Limits,
    st.one_of(st.none(), st.integers(0, 9000)),
    st.one_of(st.none(), st.floats(0, 80)),
    st.one_of(st.none(), st.integers(0, 50)),
)


@st.composite
def rounds(draw):
    products, schools = draw(st.integers(1, 3)), draw(st.integers(1, 5))
    drawn = [draw(LINE) for _ in range(products * schools)]
    names = [f"P{i}" for i in range(products)]
    lines = needs(
        [one["mean"] for one in drawn],
        school_id=np.tile(np.arange(schools), products),
        product_id=np.repeat(names, schools),
        variance=[one["mean"] * one["ratio"] for one in drawn],
        **{name: [one[name] for one in drawn] for name in ("on_hand", "room", "minimum", "reachable")},
    )
    per_product = st.lists(st.integers(1, 12), min_size=products, max_size=products)
    shelf = goods(
        draw(st.lists(st.integers(0, 30), min_size=products, max_size=products)),
        product_id=names,
        pack_size=draw(per_product),
        pack_cost_minor=np.array(draw(per_product)) * 70,
        pack_litres=np.array(draw(per_product)) / 7,
    )
    return lines, shelf, draw(LIMITS)


def planned(*about, **more):
    try:
        return plan(*about, **more)
    except InfeasiblePlan:
        assume(False)


@given(rounds(), st.sampled_from(list(Aim)))
@settings(max_examples=60, deadline=None)
def test_a_plan_keeps_every_limit_in_whole_packs(about, aim):
    lines, shelf, limits = about
    made = planned(lines, shelf, limits, aim)
    packs = made.lines["packs"].to_numpy()
    assert packs.dtype.kind == "i" and (packs >= 0).all()
    size = shelf.set_index("product_id")["pack_size"][lines["product_id"]].to_numpy()
    assert (made.lines["pieces"] == packs * size).all()
    assert (packs[~lines["reachable"]] == 0).all()
    reach = lines["reachable"].to_numpy()
    assert (packs * size <= lines["room"].fillna(np.inf))[reach].all() and (packs * size >= lines["minimum"])[
        reach
    ].all()
    assert (made.pool["used_packs"] <= shelf["store_packs"]).all()
    assert limits.packs is None or made.used.packs <= limits.packs
    assert limits.budget_minor is None or made.used.cost_minor <= limits.budget_minor
    assert limits.litres is None or made.used.litres <= limits.litres + 1e-6 * max(1, made.used.packs)
    assert made.unmet_after <= made.unmet_before + 1e-9 and made.gap >= 0


@given(rounds(), st.sampled_from(["store", "budget", "litres", "packs"]), st.integers(1, 20))
@settings(max_examples=40, deadline=None)
def test_more_of_anything_never_leaves_more_unmet(about, what, more):
    lines, shelf, limits = about
    now = planned(lines, shelf, limits)
    if what == "store":
        shelf = shelf.assign(store_packs=shelf["store_packs"] + more)
    elif what == "budget" and limits.budget_minor is not None:
        limits = replace(limits, budget_minor=limits.budget_minor + more * 50)
    elif what == "litres" and limits.litres is not None:
        limits = replace(limits, litres=limits.litres + more)
    elif limits.packs is not None:
        limits = replace(limits, packs=limits.packs + more)
    assert plan(lines, shelf, limits).unmet_after <= now.unmet_after + 1e-5


@given(rounds(), st.sampled_from(list(Aim)), st.randoms(use_true_random=False))
@settings(max_examples=30, deadline=None)
def test_the_order_of_the_rows_does_not_matter(about, aim, random):
    lines, shelf, limits = about
    made = planned(lines, shelf, limits, aim)
    order = list(range(len(lines)))
    random.shuffle(order)
    mixed = plan(lines.iloc[order].reset_index(drop=True), shelf.iloc[::-1].reset_index(drop=True), limits, aim)
    assert mixed.lines["packs"].tolist() == made.lines["packs"].iloc[order].tolist()
    assert mixed.lines["reason"].tolist() == made.lines["reason"].iloc[order].tolist()
