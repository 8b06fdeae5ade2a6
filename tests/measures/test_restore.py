"""Time to restore with open outages, lost breaks and visits, days between service visits."""

from __future__ import annotations

from datetime import date, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.stats import CensoredData, ecdf

from tests.measures.test_repairs import events
from tests.measures.test_uptime import MONDAY, at, evidence_days, make_outages, make_scope, make_units, seen
from tracker.measures.calendar import Scope, Span
from tracker.measures.faults import begun_faults
from tracker.measures.intervals import mean_time_between, wilson
from tracker.measures.lost import mean_visits, out_at, unit_breaks, usable_at_breaks, visits_lost
from tracker.measures.repairs import days_between_visits, service_gaps
from tracker.measures.restore import (
    kaplan_meier,
    known_within,
    restore_by,
    restored_within,
    time_to_restore,
    with_fittings,
)
from tracker.measures.uptime import availability, breaks_lost, unit_days

# Freireich et al., Blood 21 (1963) 699-716, 6-MP arm; "+" is still going on. Table as printed by R's survfit (read).
FREIREICH = "6 6 6 6+ 7 9+ 10 10+ 11+ 13 16 17+ 19+ 20+ 22 23 25+ 32+ 32+ 34+ 35+"


def from_marks(marks):
    return [float(mark.rstrip("+")) for mark in marks], [not mark.endswith("+") for mark in marks]


TIMES, ENDED = from_marks(FREIREICH.split())


def as_faults(times, ended, **more):
    return pd.DataFrame({"hours": pd.Series(times, dtype="float64"), "ended": pd.Series(ended, dtype="bool"), **more})


# ------------------------------------------------------------------ published values


def test_km_01_share_not_restored_and_number_at_risk():
    # KM-01, tolerance 1e-6: read to 3 decimals in the published table, recomputed by hand to 6.
    found = kaplan_meier(TIMES, ENDED)
    assert found.time.tolist() == [6, 7, 10, 13, 16, 22, 23]
    assert found.at_risk.tolist() == [21, 17, 15, 12, 11, 7, 6]
    expected = [0.857143, 0.806723, 0.752941, 0.690196, 0.627451, 0.537815, 0.448179]
    assert found.share == pytest.approx(expected, abs=1e-6)


def test_km_02_greenwood_standard_errors():
    # KM-02, tolerance 5e-5: read.
    expected = [0.0764, 0.0869, 0.0963, 0.1068, 0.1141, 0.1282, 0.1346]
    assert kaplan_meier(TIMES, ENDED).se == pytest.approx(expected, abs=5e-5)


def test_km_03_limits_on_the_log_scale_and_the_median():
    # KM-03, tolerance 1e-3: read. The median's limits (16, not reached) follow from the same limits, by hand:
    # low limit .5097 at 13 and .4394 at 16; the high limit never comes down to .5.
    found = kaplan_meier(TIMES, ENDED)
    assert (found.low[0], found.high[0]) == pytest.approx((0.720, 1.0), abs=1e-3)
    assert (found.low[-1], found.high[-1]) == pytest.approx((0.249, 0.807), abs=1e-3)
    assert found.quantile() == (23, 16, None)


def test_km_04_share_within_ten_and_what_closed_ones_alone_would_say():
    # KM-04, tolerance 1e-6: derived by hand, no outside source. 1 − .752941; of the nine that ended, five within 10.
    share = kaplan_meier(TIMES, ENDED).within(10)
    assert share.value == pytest.approx(0.247059, abs=1e-6)
    closed = [time for time, over in zip(TIMES, ENDED, strict=True) if over]
    naive = sum(time <= 10 for time in closed) / len(closed)
    assert naive == pytest.approx(0.555556, abs=1e-6)
    assert share.high < naive  # the naive share is outside the whole interval


def test_closed_outages_alone_make_repairs_look_quicker():
    # True times are exponential with a median of 24 h (rate ln 2 / 24); followed for 30 h at most.
    random = np.random.default_rng(3)
    truth = random.exponential(24 / np.log(2), size=4000)
    limit = random.uniform(0, 30, size=4000)
    over = truth <= limit
    found = kaplan_meier(np.minimum(truth, limit).tolist(), over.tolist())
    assert found.quantile().value == pytest.approx(24, rel=0.08)
    assert np.median(truth[over]) < 12


# ------------------------------------------------------------------ reference libraries, and a data set one ships

LASTED = st.lists(st.tuples(st.integers(0, 40), st.booleans()), min_size=1, max_size=40)


@given(LASTED)
@settings(max_examples=60, deadline=None)
def test_the_curve_agrees_with_two_reference_libraries(rows):
    from statsmodels.duration.survfunc import SurvfuncRight

    times, over = [float(t) for t, _ in rows], [e for _, e in rows]
    assume(any(over))
    found = kaplan_meier(times, over)
    beside = ecdf(CensoredData.right_censored(times, [not e for e in over])).sf
    assert found.share == pytest.approx(beside.evaluate(found.time), abs=1e-10)
    with np.errstate(all="ignore"):
        other = SurvfuncRight(np.array(times), np.array(over, dtype=int))
        errors = np.nan_to_num(other.surv_prob_se)
    assert found.share == pytest.approx(other.surv_prob, abs=1e-10)
    assert found.at_risk.tolist() == other.n_risk.astype(int).tolist()
    assert found.se == pytest.approx(errors, abs=1e-10)


def test_heart_transplant_data_of_a_public_library_through_two_measures():
    # Stanford heart transplants (Miller 1976), shipped with statsmodels: 69 patients, 45 ended, days survived.
    from statsmodels.datasets import heart
    from statsmodels.duration.survfunc import SurvfuncRight

    data = heart.load().data
    times, over = data["survival"].tolist(), data["censors"].eq(1).tolist()
    assert (len(times), sum(over)) == (69, 45)
    other = SurvfuncRight(np.array(times), np.array(over, dtype=int))
    assert kaplan_meier(times, over).quantile().value == other.quantile(0.5)
    # Total time ÷ ends, limits 2T ÷ χ², by scipy.stats.
    from scipy.stats import chi2

    total = sum(times)
    assert mean_time_between(total, 45) == pytest.approx(
        (total / 45, 2 * total / chi2.ppf(0.975, 92), 2 * total / chi2.ppf(0.025, 90)), rel=1e-9
    )


# ------------------------------------------------------------------ edges


def test_without_open_outages_the_curve_is_the_plain_share():
    found = kaplan_meier([1, 2, 3, 4], [True] * 4)
    assert found.within(2).value == 0.5
    assert found.quantile().value == 2


def test_nothing_restored_by_then_has_limits_of_the_known_ones():
    # Three outages, all still open after 5 h: 0 of 3. Greenwood would say 0 to 0; Wilson 0/3: high .5615.
    found = kaplan_meier([5, 6, 7], [False, False, True])
    assert found.within(4) == wilson(0, 3)
    assert found.within(4).high == pytest.approx(0.5615, abs=5e-5)
    assert kaplan_meier([1, 2], [True, True]).within(3) == wilson(2, 2)


def test_a_promise_longer_than_anything_followed_has_no_share_yet():
    found = restored_within(as_faults([2.0, 10.0], [True, False]), 48)
    assert (found.value, found.low) == (None, None)
    assert "not known yet" in found.note
    assert restored_within(as_faults([2.0, 10.0], [True, True]), 48).value == 1


def test_an_open_outage_is_late_only_after_the_promise():
    # Open for exactly 48 h: not late yet, so not known. Open for 49 h: late. Ended after exactly 48 h: kept.
    found = known_within(as_faults([48.0, 49.0, 48.0], [False, False, True]), 48)
    assert (found.value, found.used, found.expected) == (0.5, 2, 3)


def test_the_median_says_when_it_was_not_reached():
    found = time_to_restore(as_faults([1.0, 9.0, 9.0], [True, False, False]))
    assert found.value is None
    assert "not reached" in found.note
    assert (found.used, found.expected, found.unit) == (1, 3, "hours")
    few = time_to_restore(as_faults([1.0, 2.0], [True, False]))
    assert few.value == 1
    assert (few.low, few.high) == (None, None)
    assert "no upper limit" in few.note
    assert time_to_restore(as_faults([], [])).value is None


@pytest.mark.parametrize(("times", "ended"), [([1.0], []), ([-1.0], [True]), ([float("nan")], [True])])
def test_senseless_times_are_refused(times, ended):
    with pytest.raises(ValueError, match="outage"):
        kaplan_meier(times, ended)


def test_a_promise_of_no_hours_is_refused():
    for compute in (restored_within, known_within):
        with pytest.raises(ValueError, match="above 0"):
            compute(as_faults([1.0], [True]), 0)
    with pytest.raises(ValueError, match="above 0"):
        restore_by(as_faults([1.0], [True], cause=["broken"]), "cause", float("nan"))
    with pytest.raises(ValueError, match="between 0 and 1"):
        kaplan_meier([1.0], [True]).quantile(1)


# ------------------------------------------------------------------ properties


@given(LASTED, st.integers(0, 39), st.integers(0, 40))
@settings(max_examples=100, deadline=None)
def test_an_open_outage_that_lasts_longer_never_raises_the_share_restored(rows, which, hours):
    times, over = [float(t) for t, _ in rows], [e for _, e in rows]
    which %= len(rows)
    assume(not over[which])
    before = kaplan_meier(times, over).within(hours).value
    times[which] += 7
    after = kaplan_meier(times, over).within(hours).value
    assume(before is not None and after is not None)
    assert after <= before + 1e-9


@given(LASTED)
@settings(max_examples=60, deadline=None)
def test_the_curve_falls_and_lies_within_its_limits(rows):
    found = kaplan_meier([float(t) for t, _ in rows], [e for _, e in rows])
    assert (np.diff(found.share) < 0).all()
    inside = found.share > 1e-12
    assert (found.low[inside] <= found.share[inside]).all()
    assert (found.share[inside] <= found.high[inside] + 1e-12).all()
    shares = [found.within(hours).value for hours in range(41)]
    known = [share for share in shares if share is not None]
    assert known == sorted(known)


# ------------------------------------------------------------------ faults, groups, fittings

CABINS = make_units((1, "cabin", MONDAY, None), (2, "cabin", MONDAY, None), (3, "tap", MONDAY, None))


def begun(*rows, names=None, planned=False, scope=None):
    marked = events(make_outages(*rows), *(names or [None] * len(rows)))
    return begun_faults(marked, CABINS, scope or make_scope(), planned=planned)


def test_faults_that_began_before_the_period_take_no_part():
    # The second began on Sunday: of Sunday's faults only the long ones would be seen. The fourth unit is not ours.
    found = begun((1, "broken", 8, 10), (2, "broken", -5, 30), (1, "broken", 150, None), (9, "broken", 1, 2))
    assert found[["unit_id", "hours", "ended"]].values.tolist() == [[1, 2.0, True], [1, 18.0, False]]
    assert found["kind"].tolist() == ["cabin", "cabin"]


def test_a_common_event_is_one_fault_of_the_unit_that_went_first():
    rows = [(2, "low water", 9, 20), (1, "low water", 8, 12), (3, "low water", 9, 15)]
    found = begun(*rows, names=["tank"] * 3)
    assert found[["unit_id", "units", "hours", "cause"]].values.tolist() == [[1, 3, 12.0, "low water"]]


def test_the_cause_is_that_of_the_first_outage():
    found = begun((1, "no power", 9, 12), (1, "drain blocked", 8, 10), (2, "dirty", 8, 9), (2, "broken", 8, 10))
    assert found["cause"].tolist() == ["drain blocked", "broken"]
    assert found["hours"].tolist() == [4.0, 2.0]


def test_planned_work_stands_apart_and_does_not_lengthen_a_fault():
    rows = [(1, "broken", 8, 10), (1, "planned work", 9, 30), (2, "sold out", 8, 9)]
    assert begun(*rows)["hours"].tolist() == [2.0]
    assert begun(*rows, planned=True)["hours"].tolist() == [21.0]
    assert begun().empty


def test_the_day_of_a_fault_is_the_local_one():
    zone = ZoneInfo("Asia/Tokyo")
    scope = Scope(Span(MONDAY, MONDAY + timedelta(days=6)), {}, zone, at(24 * 7).to_pydatetime())
    found = begun((1, "broken", 20, 22), scope=scope)
    assert found["day"].dt.date.tolist() == [MONDAY + timedelta(days=1)]


def test_groups_by_cause_with_both_shares():
    # Broken: 2 h and 30 h ended, one open for 100 h; promise 24 h: 1 of 3, and median 30 h.
    # Power: one open for 10 h, not due: not known. By hand.
    faults = as_faults([2, 30, 100, 10], [True, True, False, False], cause=["broken"] * 3 + ["no power"])
    found = restore_by(faults, "cause", 24)
    assert found["cause"].tolist() == ["broken", "no power"]
    first, second = found.iloc[0], found.iloc[1]
    assert (first["outages"], first["ended"], first["known"]) == (3, 2, 3)
    assert first["median_h"] == 30
    assert first["within_share"] == pytest.approx(1 / 3)
    assert first["known_low"] == pytest.approx(wilson(1, 3).low)
    assert second[["median_h", "within_share", "known_share"]].isna().all()
    assert second["known"] == 0
    assert restore_by(faults.iloc[:0], "cause", 24).empty


def test_a_fault_counts_for_every_fitting_in_force_when_it_began():
    # Vacuum until Tuesday, floor wash from Wednesday, a plain flush throughout on unit 1; nothing on unit 2.
    day = pd.Timestamp(MONDAY)
    fittings = pd.DataFrame(
        {
            "unit_id": [1, 1, 1],
            "kind": ["vacuum", "floor_wash", "flush_fixed"],
            "from_day": pd.to_datetime([day, day + pd.Timedelta(days=2), day]).astype("datetime64[us]"),
            "until_day": pd.to_datetime([day + pd.Timedelta(days=1), None, None]).astype("datetime64[us]"),
        }
    )
    faults = begun((1, "broken", 47, 49), (1, "broken", 50, 51), (2, "broken", 8, 9))
    found = with_fittings(faults, fittings)
    pairs = set(found[["hours", "fitting"]].itertuples(index=False, name=None))
    assert len(found) == 5
    assert pairs == {(2.0, "vacuum"), (2.0, "flush_fixed"), (1.0, "floor_wash"), (1.0, "flush_fixed"), (1.0, "none")}
    assert restore_by(found, "fitting", 24)["outages"].sum() == 5


# ------------------------------------------------------------------ lost breaks and visits


def make_breaks(*rows, slot="long break"):
    """Rows of (day number, hour)."""
    days = [MONDAY + timedelta(days=day) for day, _ in rows]
    return pd.DataFrame(
        {
            "school_id": pd.Series([1] * len(rows), dtype="int64"),
            "week": pd.Series([MONDAY] * len(rows), dtype="datetime64[us]"),
            "day": pd.Series(days, dtype="datetime64[us]"),
            "slot": pd.Series([slot] * len(rows), dtype="str"),
            "start": pd.Series([at(24 * day + hour) for day, hour in rows], dtype="datetime64[us, UTC]"),
        }
    )


def make_tallies(*rows):
    """Rows of (unit, day number, visits)."""
    return pd.DataFrame(
        {
            "unit_id": pd.Series([row[0] for row in rows], dtype="int64"),
            "day": pd.Series([MONDAY + timedelta(days=row[1]) for row in rows], dtype="datetime64[us]"),
            "slot": pd.Series(["long break"] * len(rows), dtype="str"),
            "visits": pd.Series([row[2] for row in rows], dtype="float64"),
        }
    )


def five_breaks(outages, units=CABINS, evidence=None):
    scope = make_scope()
    everyday = seen(*[(unit, day) for unit in (1, 2, 3) for day in range(5)])
    days = unit_days(units, outages, everyday if evidence is None else evidence, scope)
    breaks = make_breaks(*[(day, 10) for day in range(5)])
    return unit_breaks(outages, breaks, days, scope), breaks_lost(outages, breaks, days, scope)


OUTAGE = st.tuples(st.integers(1, 3), st.just("broken"), st.integers(-10, 120), st.integers(1, 60))


@given(st.lists(OUTAGE, max_size=8), st.lists(st.tuples(st.integers(1, 3), st.integers(-20, 150)), max_size=12))
@settings(max_examples=80, deadline=None)
def test_out_or_not_agrees_with_looking_at_every_outage(rows, asked):
    outages = make_outages(*[(unit, cause, start, start + length) for unit, cause, start, length in rows])
    zero = int(at(0).timestamp()) // 60
    units = np.array([unit for unit, _ in asked], dtype=np.int64)
    bells = np.array([zero + 60 * hour for _, hour in asked], dtype=np.int64)
    found = out_at(outages, units, bells, zero + 60 * 200)
    plain = [int(any(u == unit and s <= hour < s + n for unit, _, s, n in rows)) for u, hour in asked]
    assert found.tolist() == plain


@given(st.lists(OUTAGE, max_size=5), OUTAGE)
@settings(max_examples=40, deadline=None)
def test_one_more_outage_never_raises_availability_nor_lowers_breaks_lost(rows, more):
    def figures(listed):
        outages = make_outages(*[(unit, cause, start, start + length) for unit, cause, start, length in listed])
        everyday = seen(*[(unit, day) for unit in (1, 2, 3) for day in range(5)])
        return availability(unit_days(CABINS, outages, everyday, make_scope())).value, five_breaks(outages)[1].value

    (up, lost), (up_after, lost_after) = figures(rows), figures([*rows, more])
    assert up_after <= up
    assert lost_after >= lost


def test_visits_lost_are_breaks_lost_times_the_units_own_mean():
    # Unit 1 lost Monday's and Tuesday's break; tallied 10 and 14 while working: mean 12, s² 8, so 24 visits;
    # variance 8 × (2 + 4 ÷ 2) = 32, half-width 1.959964 × 5.656854 = 11.0872. The tally of 0 on lost Monday is no use.
    # Unit 2 lost one break and was never tallied: left out.
    outages = make_outages((1, "broken", 0, 40), (2, "broken", 8, 11))
    table, lost = five_breaks(outages)
    assert lost.value == table["lost"].sum() == 3
    tallies = make_tallies((1, 0, 0), (1, 2, 10), (1, 3, 14), (3, 3, 50))
    assert mean_visits(table, tallies).values.tolist() == [[1, 12, 8, 2]]
    found = visits_lost(table, tallies)
    assert found.value == 24
    assert (found.low, found.high) == pytest.approx((24 - 11.0872, 24 + 11.0872), abs=1e-4)
    assert (found.used, found.expected, found.basis.value) == (2, 3, "modelled")
    assert sum(part.value for part in found.parts) == found.value
    assert "left out" in found.note
    assert "another unit" in found.note


def test_visits_lost_are_not_recorded_where_nobody_looked_or_tallied():
    outages = make_outages((1, "broken", 0, 40))
    table, _ = five_breaks(outages)
    assert visits_lost(table, make_tallies()).value is None
    silent, _ = five_breaks(make_outages(), evidence=evidence_days())
    assert visits_lost(silent, make_tallies((1, 0, 5))).value is None
    none_lost, _ = five_breaks(make_outages())
    assert visits_lost(none_lost, make_tallies()).value == 0


def test_usable_units_break_by_break():
    # Two cabins: five breaks; cabin 1 out on Monday and Tuesday, cabin 2 not observed on Friday: four breaks take
    # part with 1, 1, 2, 2 usable. By hand.
    pair = CABINS[CABINS["kind"] == "cabin"]
    evidence = seen(*[(1, day) for day in range(5)], *[(2, day) for day in range(4)])
    table, _ = five_breaks(make_outages((1, "broken", 0, 40)), pair, evidence)
    found = usable_at_breaks(table, ["school_id", "kind"])
    assert found.to_dict("records") == [
        {
            "school_id": 1,
            "kind": "cabin",
            "standing": 2,
            "usable_mean": 1.5,
            "usable_least": 1,
            "breaks": 4,
            "breaks_expected": 5,
        }
    ]


# ------------------------------------------------------------------ the engineer's visits


def make_visits(*rows):
    """Rows of (school, day number, purpose)."""
    return pd.DataFrame(
        {
            "school_id": pd.Series([row[0] for row in rows], dtype="int64"),
            "day": pd.Series([MONDAY + timedelta(days=row[1]) for row in rows], dtype="datetime64[us]"),
            "purpose": pd.Series([row[2] for row in rows], dtype="str"),
        }
    )


def agreed(*rows):
    """Rows of (school, first day number, interval or None)."""
    return pd.DataFrame(
        {
            "school_id": pd.Series([row[0] for row in rows], dtype="int64"),
            "from_day": pd.Series([MONDAY + timedelta(days=row[1]) for row in rows], dtype="datetime64[us]"),
            "every_days": pd.Series([row[2] for row in rows], dtype="float64"),
        }
    )


def gaps(visits, schools, until=89, as_of=None):
    last = MONDAY + timedelta(days=until)
    return service_gaps(visits, schools, Span(MONDAY, last), as_of or last)


def test_days_between_service_visits_against_the_agreement():
    # Interval 30 days, 90 days of period (day 0 to 89). Last visit before: day −10; then day 15 (25, kept), 60 (45,
    # late); 29 days since: not finished. Repair and local look do not count; two units on one day are one visit.
    rows = [(1, -10, "service visit"), (1, 15, "service visit"), (1, 15, "service visit"), (1, 40, "repair")]
    rows += [(1, 41, "local look"), (1, 60, "service visit"), (1, 95, "service visit")]
    found = gaps(make_visits(*rows), agreed((1, -100, 30)))
    assert found.iloc[0].to_dict() == {
        "school_id": 1,
        "every_days": 30,
        "visits": 2,
        "longest_gap": 45,
        "gaps": 2,
        "kept": 1,
        "gap_days": 70,
    }
    assert days_between_visits(found).value == 0.5
    # Ten days later 39 days have passed since the last one: late without a visit.
    later = gaps(make_visits(*rows[:-1]), agreed((1, -100, 30)), until=99)
    assert later[["gaps", "kept"]].values.tolist() == [[3, 1]]


def test_a_school_that_was_never_visited_is_late_from_its_first_day_on():
    found = gaps(make_visits(), agreed((1, 20, 30), (2, 70, 30), (3, 20, None)))
    assert found[["longest_gap", "gaps"]].values.tolist() == [[69, 1], [19, 0], [69, 0]]
    assert found["kept"].tolist()[0] == 0
    assert np.isnan(found["kept"].tolist()[2])
    assert (days_between_visits(found).value, days_between_visits(found).used) == (0, 1)
    assert days_between_visits(found[found["school_id"] != 1]).value is None


def test_a_gap_of_exactly_the_interval_is_kept():
    found = gaps(make_visits((1, 30, "service visit")), agreed((1, 0, 30)), as_of=date(2026, 2, 12))
    assert found[["gaps", "kept", "longest_gap"]].values.tolist() == [[1, 1, 30]]
