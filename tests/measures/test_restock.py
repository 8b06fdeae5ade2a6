"""The plan: what comes back, why a line gets no more, minimums that cannot be met, and input that makes no sense."""

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from tests.measures.restock_by_hand import goods, needs
from tracker.measures.counts import CountLaw
from tracker.measures.restock import (
    AIM_WORDS,
    Aim,
    InfeasiblePlan,
    Limited,
    Limits,
    Method,
    Reason,
    plan,
)
from tracker.measures.restock_loss import above, smallest, unmet
from tracker.measures.restock_score import LINES


def reasons(made) -> list[str]:
    return made.lines["reason"].tolist()


def test_the_loss_of_a_column_is_that_of_each_law():
    # CountLaw is checked against published values (INV-15 to INV-17) in test_stock_levels.py.
    rng = np.random.default_rng(4)
    mean = rng.uniform(0, 90, 400)
    variance = mean * rng.choice([0.5, 1, 1.3, 6], 400)
    stock = rng.integers(0, 150, 400).astype(float)
    laws = [CountLaw(m, v) for m, v in zip(mean, variance, strict=True)]
    pairs = list(zip(laws, stock.astype(int).tolist(), strict=True))
    assert unmet(mean, variance, stock) == pytest.approx([law.short(s) for law, s in pairs], abs=1e-9)
    assert above(mean, variance, stock) == pytest.approx([law.above(s) for law, s in pairs], abs=1e-12)
    assert smallest(mean, variance, 0.975).tolist() == [law.smallest(0.975) for law in laws]


def test_a_variance_just_above_the_mean_is_as_a_poisson_count():
    near = unmet(np.array([40.0]), np.array([40.0 * (1 + 1e-12)]), np.array([38.0]))
    assert near == pytest.approx(unmet(np.array([40.0]), np.array([40.0]), np.array([38.0])), abs=1e-9)


def test_a_line_says_what_is_expected_before_and_after():
    made = plan(needs([15.0], on_hand=[7.9], per_day=[1.5]), goods([2], pack_size=8), Limits())
    line = made.lines.iloc[0]
    law = stats.poisson(15)  # 7 whole pieces there, 16 brought: 23
    assert (line["packs"], line["pieces"], line["on_hand"]) == (2, 16, 7.9)
    assert (line["low"], line["high"]) == (law.ppf(0.025), law.ppf(0.975))
    assert line["run_out_before"] == pytest.approx(law.sf(7)) and line["run_out_after"] == pytest.approx(law.sf(23))
    assert line["unmet_before"] == pytest.approx(law.sf(np.arange(7, 200)).sum())
    assert line["unmet_after"] == pytest.approx(law.sf(np.arange(23, 200)).sum())
    assert line["served_after"] == pytest.approx(1 - line["unmet_after"] / 15)
    assert line["cover_days_before"] == pytest.approx(7 / 1.5) and line["cover_days_after"] == pytest.approx(23 / 1.5)
    assert made.unmet_after == line["unmet_after"] and made.unmet_before == line["unmet_before"]


def test_what_is_used_is_added_up():
    lines = needs([9.0, 9.0], product_id=["P0", "P1"])
    shelf = goods([2, 3], pack_size=[4, 2], pack_cost_minor=[250, 100], pack_litres=[1.5, 0.25])
    made = plan(lines, shelf, Limits())
    assert (made.used.packs, made.used.cost_minor, made.used.litres) == (5, 800, 3.75)
    assert made.pool.to_dict("list") == {
        "product_id": ["P0", "P1"],
        "store_packs": [2, 3],
        "used_packs": [2, 3],
        "left_packs": [0, 0],
        "cost_minor": [500, 300],
        "litres": [3.0, 0.75],
    }


def test_a_price_that_is_not_recorded_is_not_a_price_of_nothing():
    made = plan(needs([9.0]), goods([2], pack_cost_minor=np.nan, pack_litres=np.nan), Limits(packs=1))
    assert (made.used.packs, made.used.cost_minor, made.used.litres) == (1, None, None)
    with pytest.raises(ValueError, match="Product N: pack_cost_minor is not recorded"):
        plan(needs([9.0]), goods([2], pack_cost_minor=np.nan), Limits(budget_minor=100))
    with pytest.raises(ValueError, match="pack_litres is not recorded"):
        plan(needs([9.0]), goods([2], pack_litres=np.nan), Limits(litres=3.0))


# Reasons


def test_each_line_says_why_it_gets_no_more():
    lines = needs(
        [20.0, 20.0, np.nan, 20.0, 20.0, 3.0, 20.0],
        on_hand=[0, np.nan, 5, 0, 60, 0, 0],
        reachable=[False, True, True, True, True, True, True],
        room=[np.nan, np.nan, np.nan, 17, np.nan, np.nan, np.nan],
        minimum=[8, 8, 9, 0, 0, 0, 0],
    )
    made = plan(lines, goods([9], pack_size=8), Limits())
    assert reasons(made) == [
        Reason.CANNOT_BE_REACHED,  # not even its minimum
        Reason.STOCK_NOT_RECORDED,  # the minimum only: 8 pieces, 1 pack
        Reason.DEMAND_NOT_KNOWN,  # 9 pieces, 2 packs
        Reason.ROOM,  # 17 pieces: 2 packs
        Reason.NOTHING_NEEDED,
        Reason.ENOUGH,
        Reason.STOCK,
    ]
    assert made.lines["packs"].tolist() == [0, 1, 2, 2, 0, 1, 3]
    assert made.lines["unmet_after"].isna().tolist() == [False, True, True, False, False, False, False]


@pytest.mark.parametrize(
    ("limits", "reason"),
    [
        (Limits(budget_minor=299), Reason.BUDGET),
        (Limits(litres=2.9), Reason.VEHICLE),
        (Limits(packs=2), Reason.VEHICLE),
        (Limits(budget_minor=250, litres=2.5), Reason.VEHICLE),
        (Limits(), Reason.STOCK),
    ],
)
@pytest.mark.parametrize("aim", Aim)
def test_a_shared_limit_is_named(limits, reason, aim):
    made = plan(needs([30.0, 30.0]), goods([4], pack_size=5, pack_cost_minor=100, pack_litres=1.0), limits, aim)
    assert reasons(made) == [reason, reason]
    assert made.used.packs == (4 if reason is Reason.STOCK else 2)


def test_litres_that_just_fit_fit():
    # three packs of 0.1 l in 0.3 l: as binary fractions their sum is above the limit
    made = plan(needs([30.0]), goods([4], pack_litres=0.1), Limits(litres=0.3))
    assert made.used.packs == 3


def test_a_pack_that_meets_almost_nothing_stays_in_the_store():
    made = plan(needs([4.0]), goods([99]), Limits())
    last = int(made.lines["packs"].iloc[0])
    assert stats.poisson(4).sf(last - 1) >= 0.01 > stats.poisson(4).sf(last)
    assert plan(needs([4.0]), goods([99]), Limits(), enough_below=1e-6).used.packs > last


# Minimums


def test_minimums_that_cannot_be_met_are_named_with_what_is_missing():
    lines = needs([5.0, 5.0], minimum=[20, 9], room=[17, np.nan])
    shelf = goods([4], pack_size=8, pack_cost_minor=100, pack_litres=2.5)
    with pytest.raises(InfeasiblePlan) as caught:
        plan(lines, shelf, Limits(budget_minor=450, litres=10.0, packs=1))
    # 20 pieces are 3 packs of 8, 9 pieces are 2: 5 packs, 500 minor units, 12.5 litres
    found = {one.limited: (one.needed, one.available, one.missing) for one in caught.value.shortfalls}
    assert found == {
        Limited.ROOM: (24, 17, 7),
        Limited.STOCK: (5, 4, 1),
        Limited.BUDGET: (500, 450, 50),
        Limited.LITRES: (12.5, 10.0, 2.5),
        Limited.PACKS: (5, 1, 4),
    }
    assert "The minimums need 5 packs of N and the store has 4: 1 too few." in str(caught.value)
    assert "The minimum of N for school 1 is 24 pieces in whole packs and there is room for 17: 7 too many." in str(
        caught.value
    )


@pytest.mark.parametrize("aim", Aim)
def test_a_minimum_is_brought_first_in_whole_packs(aim):
    made = plan(needs([1.0, 50.0], minimum=[9, 0]), goods([3], pack_size=8), Limits(), aim)
    assert made.lines["packs"].tolist() == [2, 1]


# Nothing to do, and input that makes no sense


@pytest.mark.parametrize("aim", Aim)
def test_no_schools_make_an_empty_plan(aim):
    made = plan(needs([]), goods([5]), Limits(100, 5.0, 3), aim)
    assert list(made.lines.columns) == LINES and len(made.lines) == 0
    assert (made.unmet_before, made.unmet_after, made.gap, made.used.packs) == (0, 0, 0, 0)
    assert plan(needs([]), goods([]), Limits(), aim).used.packs == 0


@pytest.mark.parametrize("aim", Aim)
@pytest.mark.parametrize("mean", [0.0, np.nan])
def test_without_any_demand_nothing_is_brought(aim, mean):
    made = plan(needs([mean, mean]), goods([5]), Limits(100, 5.0, 3), aim)
    assert made.used.packs == 0 and made.unmet_after == 0
    reason = Reason.NOTHING_NEEDED if mean == 0 else Reason.DEMAND_NOT_KNOWN
    assert reasons(made) == [reason, reason]
    assert made.lines["served_after"].isna().all()


@pytest.mark.parametrize(
    ("column", "value", "sentence"),
    [
        ("variance", np.inf, "School 2, product N: variance is inf. Enter a finite number"),
        ("mean", np.inf, "mean is inf"),
        ("mean", -1.0, "mean is -1.0"),
        ("on_hand", -3.0, "on_hand is -3.0"),
        ("minimum", np.nan, "minimum is nan"),
        ("room", -1.0, "room is -1.0"),
        ("school_id", 1, "School 1, product N stands twice"),
        ("product_id", "Q", "School 2, product Q: this product is not in the list"),
    ],
)
def test_a_need_that_makes_no_sense_is_refused_at_its_place(column, value, sentence):
    lines = needs([4.0, 4.0])
    lines.loc[1, column] = value
    with pytest.raises(ValueError, match=sentence):
        plan(lines, goods([3]), Limits())


@pytest.mark.parametrize(
    ("column", "value", "sentence"),
    [
        ("pack_size", 0, "Product N: pack_size is 0. Enter how many pieces are in a pack, at least 1."),
        ("pack_size", 2.5, "pack_size is 2.5"),
        ("pack_size", np.nan, "pack_size is nan"),
        ("store_packs", -1, "store_packs is -1"),
        ("pack_cost_minor", -5, "pack_cost_minor is -5"),
    ],
)
def test_a_product_that_makes_no_sense_is_refused(column, value, sentence):
    with pytest.raises(ValueError, match=sentence):
        plan(needs([4.0]), goods([3], **{column: value}), Limits())


def test_more_packs_than_memory_allows_are_refused():
    with pytest.raises(ValueError, match="too many packs to plan one by one"):
        plan(needs([9e6]), goods([9_000_000]), Limits())


def test_a_table_that_lacks_a_column_or_has_a_product_twice_is_refused():
    with pytest.raises(ValueError, match="The table of needs lacks the columns room, days"):
        plan(needs([4.0]).drop(columns=["room", "days"]), goods([3]), Limits())
    with pytest.raises(ValueError, match="Product N stands twice"):
        plan(needs([4.0]), pd.concat([goods([3]), goods([3])]), Limits())
    with pytest.raises(ValueError, match="say whether the school can be reached"):
        plan(needs([4.0], reachable=pd.array([None], dtype="boolean")), goods([3]), Limits())
    with pytest.raises(ValueError, match="The limit on litres is -1"):
        Limits(litres=-1)


def test_each_aim_is_said_in_a_sentence():
    assert set(AIM_WORDS) == set(Aim) and all(words.endswith(".") for words in AIM_WORDS.values())
    methods = {aim: plan(needs([4.0, 9.0]), goods([5]), Limits(), aim).method for aim in Aim}
    assert methods == {
        Aim.FEWEST_UNMET: Method.MARGINAL,
        Aim.EQUAL_RUN_OUT: Method.RUN_OUT,
        Aim.LOWEST_SHARE: Method.LOWEST,
    }
