"""Crowded breaks on small frames worked by hand; the chances themselves are checked in test_burst."""

from __future__ import annotations

import math
import time as clock
from datetime import UTC, date, datetime

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from tests.measures.frames_by_hand import WEEK_1, enrolment, occasions, unit_weeks, units, week
from tracker.measures.burst import VisitTime, all_done, still_waiting
from tracker.measures.crowding import (
    occasions_of,
    one_break,
    seen_nobody_waiting,
    seen_waiting,
    share_served,
    worst_breaks,
)
from tracker.measures.crowding import still_waiting as left_over
from tracker.measures.crowding_breaks import (
    ADULT_TIMES,
    TimeRange,
    arrivals_from_pupils,
    arrivals_from_visits,
    burst_breaks,
    pupils_by_week,
    usable_cabins,
)
from tracker.measures.crowding_cabins import NoNumber, beside_norm, cabins_for_breaks, wait_if_evenly
from tracker.measures.figure import Figure
from tracker.measures.norms import RATIOS
from tracker.vocabulary import Basis, Group, UnitKind

LATER = datetime(2031, 12, 31, tzinfo=UTC)
FLAT = TimeRange(1.5, 1.5, 1.5, "an example")
TIMES = {(group, kind): FLAT for group in ("girls", "boys", "everyone") for kind in ("cabin", "urinal")}


def breaks(*rows: tuple[int, date, str, int], minutes: int = 15, drawn: bool = False) -> pd.DataFrame:
    """(school, day, slot, hour of its start, UTC)."""
    named = [
        {
            "school_id": school,
            "week": day - pd.Timedelta(days=day.weekday()),
            "day": day,
            "slot": slot,
            "start": pd.Timestamp(day, tz="UTC") + pd.Timedelta(hours=hour),
            "end": pd.Timestamp(day, tz="UTC") + pd.Timedelta(hours=hour, minutes=minutes),
            "drawn": drawn,
        }
        for school, day, slot, hour in rows
    ]
    made = pd.DataFrame(named, columns=["school_id", "week", "day", "slot", "start", "end", "drawn"])
    for name in ("week", "day"):
        made[name] = pd.to_datetime(made[name]).astype("datetime64[us]")
    for name in ("start", "end"):
        made[name] = pd.to_datetime(made[name], utc=True).astype("datetime64[us, UTC]")
    return made.astype({"school_id": "int64", "slot": "str", "drawn": "bool"})


def outages(*rows: tuple[int, str, str | None]) -> pd.DataFrame:
    made = pd.DataFrame(rows, columns=["unit_id", "start", "end"])
    for name in ("start", "end"):
        made[name] = pd.to_datetime(made[name], utc=True).astype("datetime64[us, UTC]")
    return made.assign(cause="broken", planned=False).astype({"unit_id": "int64"})


def arrivals(*rows: tuple[int, int, str, str, float]) -> pd.DataFrame:
    """(school, number of the week, group, kind, arrivals)."""
    made = pd.DataFrame(rows, columns=["school_id", "week", "group", "kind", "arrivals"])
    made["week"] = pd.to_datetime([week(n) for n in made["week"]]).astype("datetime64[us]")
    return made.assign(basis="counted").astype({"arrivals": "float64"})


def cabins(count: int, **also) -> list[dict]:
    first = also.pop("first", 1)
    return [{"unit_id": first + n, "unit": f"U{first + n}"} | also for n in range(count)]


MONDAY, TUESDAY = WEEK_1, date(2031, 1, 7)
TWO_BREAKS = breaks((1, MONDAY, "long", 10), (1, TUESDAY, "long", 10))


def test_outages_take_cabins_away_break_by_break():
    # Cabin 1 is out from Monday 9:00 to Tuesday 10:00: back as the break starts. Cabin 2: two reports at once.
    down = outages(
        (1, "2031-01-06 09:00", "2031-01-07 10:00"),
        (2, "2031-01-07 09:00", None),
        (2, "2031-01-07 09:30", "2031-01-07 12:00"),
        (3, "2031-01-06 10:01", "2031-01-06 10:15"),  # after the break began: it was usable at its start
    )
    found = usable_cabins(units(*cabins(4)), down, TWO_BREAKS, LATER)
    assert found["usable"].tolist() == [3, 3]
    assert found["standing"].tolist() == [4, 4]
    assert found["minutes"].tolist() == [15.0, 15.0]


def test_a_unit_counts_on_the_days_on_which_it_stood_and_staff_never():
    stood = units(
        *cabins(1),
        {"unit_id": 2, "from_day": TUESDAY},
        {"unit_id": 3, "until_day": MONDAY},
        {"unit_id": 4, "group": "staff"},
        {"unit_id": 5, "kind": "tap"},
        {"unit_id": 6, "kind": "urinal", "group": "boys", "from_day": TUESDAY},
    )
    found = usable_cabins(stood, outages(), TWO_BREAKS, LATER)
    girls = found[found["group"] == "girls"]
    assert girls["standing"].tolist() == [2, 2]
    boys = found[found["group"] == "boys"]
    assert boys["day"].tolist() == [pd.Timestamp(TUESDAY)]  # no urinal stood on Monday: no row


def test_breaks_after_the_report_are_left_out_and_none_at_all_is_an_empty_frame():
    before = usable_cabins(units(*cabins(2)), outages(), TWO_BREAKS, datetime(2031, 1, 7, 10, tzinfo=UTC))
    assert before["day"].tolist() == [pd.Timestamp(MONDAY)]
    nothing = usable_cabins(units(), outages(), breaks(), LATER)
    assert nothing.empty
    assert share_served(burst_breaks(nothing, arrivals()), Group.GIRLS).value is None


def test_arrivals_from_visits_by_hand():
    # 300 + 150 visits of two girls' cabins in a week of 15 breaks: 30 a break. A drawn week is breaks only.
    found = arrivals_from_visits(unit_weeks((1, 1, 300), (2, 1, 150)), units(*cabins(2)), occasions((1, 1, 15, 5)))
    assert found["arrivals"].tolist() == [30.0]
    assert found["basis"].tolist() == ["counted"]
    mixed = pd.concat([unit_weeks((1, 1, 300)), unit_weeks((2, 1, 150), way="drawn")], ignore_index=True)
    found = arrivals_from_visits(mixed, units(*cabins(2)), occasions((1, 1, 15, 5)), in_breaks=0.8)
    assert found["arrivals"].tolist() == [pytest.approx(26.0)]  # 240/15 + 150/15
    assert found["basis"].tolist() == ["sampled"]
    with pytest.raises(ValueError, match="between 0 and 1"):
        arrivals_from_visits(mixed, units(), occasions(), in_breaks=2)


def test_a_queue_with_an_unrecorded_unit_has_no_arrivals_that_week():
    weeks = unit_weeks((1, 1, 300), (1, 2, 300), (2, 2, 150))
    found = arrivals_from_visits(weeks, units(*cabins(2)), occasions((1, 1, 15, 5), (1, 2, 15, 5)))
    assert found["week"].dt.date.tolist() == [week(2)]


def bell(*rows: tuple[int, date, str, float | None, float | None]) -> pd.DataFrame:
    """(school, day, group, waiting, present), slot "long"."""
    made = pd.DataFrame(rows, columns=["school_id", "day", "group", "waiting", "present"]).assign(slot="long")
    made["day"] = pd.to_datetime(made["day"]).astype("datetime64[us]")
    return made.astype({"waiting": "float64", "present": "float64", "school_id": "int64"})


def test_arrivals_from_pupils_by_hand():
    # Girls present: 90 and 110 on drawn days, mean 100; boys: 80 enrolled. A fifth of them at a break.
    rolls = enrolment({"pupils": 120}, {"sex": "boys", "pupils": 80})
    counts = bell((1, MONDAY, "girls", 3, 90), (1, TUESDAY, "girls", 0, 110))
    pupils = pupils_by_week(counts, rolls, TWO_BREAKS)
    assert pupils.set_index("sex")["pupils"].to_dict() == {"boys": 80, "girls": 100}
    assert pupils.set_index("sex")["basis"].to_dict() == {"boys": "estimated", "girls": "sampled"}
    stood = units(*cabins(2), *cabins(1, first=5, group="boys"), *cabins(1, first=7, group="boys", kind="urinal"))
    found = arrivals_from_pupils(pupils, stood, share=0.2, urinal_share=0.75)
    expected = found.set_index(["group", "kind"])["arrivals"].to_dict()
    assert expected == {("boys", "cabin"): 4.0, ("boys", "urinal"): 12.0, ("girls", "cabin"): 20.0}


def test_pupils_without_cabins_of_their_own_go_to_those_for_everyone():
    pupils = pupils_by_week(bell(), enrolment({}, {"sex": "boys", "pupils": 50}), TWO_BREAKS)
    shared = arrivals_from_pupils(pupils, units(*cabins(2, group="everyone")), share=0.2, urinal_share=0.5)
    assert shared[["group", "kind", "arrivals"]].values.tolist() == [["everyone", "cabin", 30.0]]
    assert arrivals_from_pupils(pupils, units({"kind": "tap"}), share=0.2).empty
    with pytest.raises(ValueError, match="between 0 and 1"):
        arrivals_from_pupils(pupils, units(), share=1.2)


def test_a_cabin_out_of_service_shows_in_the_share_served():
    # 30 girls, 15 min, 1.5 min a visit: BUR-08 with 6 cabins .978840, with 5 .945216 (derived for this file).
    usable = usable_cabins(units(*cabins(6)), outages((1, "2031-01-07 08:00", None)), TWO_BREAKS, LATER)
    bursts = burst_breaks(usable, arrivals((1, 1, "girls", "cabin", 30.0)), TIMES)
    assert bursts["done"].tolist() == [pytest.approx(0.978840, abs=1e-6), pytest.approx(0.945216, abs=1e-6)]
    found = share_served(bursts, Group.GIRLS, source="an example")
    assert found.value == pytest.approx((0.978840 + 0.945216) / 2, abs=1e-6)
    assert (found.basis, found.unit, found.used, found.expected) == (Basis.MODELLED, "share of breaks", 2, 2)
    assert "Worst case" in found.note and "an example" in found.note
    worst = worst_breaks(bursts, Group.GIRLS, most=1)
    assert worst[["day", "out", "usable", "arrivals"]].values.tolist() == [[pd.Timestamp(TUESDAY), 1, 5, 30.0]]


def test_bounds_come_from_the_range_of_the_time_per_visit():
    girls = ADULT_TIMES[Group.GIRLS, UnitKind.CABIN]
    assert (girls.short_min, girls.long_min) == (79 / 60, 90 / 60)  # norms time.4579 and time.6090, both read
    boys = ADULT_TIMES[Group.BOYS, UnitKind.CABIN]
    assert (boys.short_min, boys.long_min) == (45 / 60, 60 / 60)
    usable = usable_cabins(units(*cabins(4)), outages(), TWO_BREAKS.iloc[:1], LATER)
    bursts = burst_breaks(usable, arrivals((1, 1, "girls", "cabin", 30.0)))
    found, left = share_served(bursts, Group.GIRLS), left_over(bursts, Group.GIRLS)
    assert found.low == pytest.approx(all_done(30, 4, 15, VisitTime(90 / 60)))
    assert found.high == pytest.approx(all_done(30, 4, 15, VisitTime(79 / 60)))
    assert found.low < found.value < found.high
    assert left.high == pytest.approx(still_waiting(30, 4, 15, VisitTime(90 / 60)))
    assert left.low < left.value < left.high
    assert "adults" in found.note


def test_boys_are_served_where_cabins_and_urinals_both_serve_them():
    stood = units(*cabins(2, group="boys"), *cabins(3, first=5, group="boys", kind="urinal"))
    usable = usable_cabins(stood, outages(), TWO_BREAKS, LATER)
    known = arrivals((1, 1, "boys", "cabin", 12.0), (1, 1, "boys", "urinal", 20.0))
    bursts = burst_breaks(usable, known, TIMES)
    time = VisitTime(1.5)
    both = all_done(12, 2, 15, time) * all_done(20, 3, 15, time)
    assert share_served(bursts, Group.BOYS).value == pytest.approx(both)
    left = still_waiting(12, 2, 15, time) + still_waiting(20, 3, 15, time)
    assert left_over(bursts, Group.BOYS).value == pytest.approx(left)
    half = burst_breaks(usable, known.iloc[:1], TIMES)
    assert share_served(half, Group.BOYS).value is None  # nobody counted the urinals: not recorded, not served
    assert share_served(half, Group.BOYS).expected == 2


def test_weeks_without_arrivals_lower_completeness_and_are_never_nobody():
    two_weeks = breaks((1, MONDAY, "long", 10), (1, week(2), "long", 10))
    usable = usable_cabins(units(*cabins(6)), outages(), two_weeks, LATER)
    found = share_served(burst_breaks(usable, arrivals((1, 1, "girls", "cabin", 30.0)), TIMES), Group.GIRLS)
    assert (found.used, found.expected) == (1, 2)
    assert found.value == pytest.approx(0.978840, abs=1e-6)


@pytest.mark.parametrize(("expected", "whole"), [(0.0, 0), (0.2, 1), (2.5, 3), (2.4, 2)])
def test_arrivals_are_whole_pupils_and_somebody_is_at_least_one(expected, whole):
    usable = usable_cabins(units(*cabins(1)), outages(), TWO_BREAKS.iloc[:1], LATER)
    bursts = burst_breaks(usable, arrivals((1, 1, "girls", "cabin", expected)), TIMES)
    assert occasions_of(bursts, Group.GIRLS)["arrivals"].tolist() == [whole]


def test_all_cabins_out_serve_nobody():
    usable = usable_cabins(units(*cabins(1)), outages((1, "2031-01-01", None)), TWO_BREAKS, LATER)
    bursts = burst_breaks(usable, arrivals((1, 1, "girls", "cabin", 8.0)), TIMES)
    assert share_served(bursts, Group.GIRLS).value == 0
    assert left_over(bursts, Group.GIRLS).value == 8


def test_cabins_needed_over_the_breaks_of_a_school():
    usable = usable_cabins(units(*cabins(4)), outages(), TWO_BREAKS, LATER)
    bursts = burst_breaks(usable, arrivals((1, 1, "girls", "cabin", 30.0)), TIMES)
    found = cabins_for_breaks(bursts, Group.GIRLS, FLAT)
    assert isinstance(found, Figure)
    assert (found.value, found.unit, found.low, found.high) == (6, "cabins", 6, 6)  # BUR-08; the mean alone says 3
    # A second week of 10 pupils a break lets fewer cabins reach 95 % over all breaks: (P₅(30) + P₅(10)) ÷ 2.
    two_weeks = breaks((1, MONDAY, "long", 10), (1, week(2), "long", 10))
    usable = usable_cabins(units(*cabins(4)), outages(), two_weeks, LATER)
    known = arrivals((1, 1, "girls", "cabin", 30.0), (1, 2, "girls", "cabin", 10.0))
    found = cabins_for_breaks(burst_breaks(usable, known, TIMES), Group.GIRLS, FLAT)
    time = VisitTime(1.5)
    assert (all_done(30, 5, 15, time) + all_done(10, 5, 15, time)) / 2 > 0.95
    assert (all_done(30, 4, 15, time) + all_done(10, 4, 15, time)) / 2 < 0.95
    assert found.value == 5


def test_no_number_of_cabins_is_an_answer_with_the_best_that_can_be_reached():
    # BUR-09: 10 pupils, 5 min, 1 min a visit: at most (1 − e⁻⁵)¹⁰ = .9346272.
    one = breaks((1, MONDAY, "long", 10), minutes=5)
    usable = usable_cabins(units(*cabins(4)), outages(), one, LATER)
    bursts = burst_breaks(usable, arrivals((1, 1, "girls", "cabin", 10.0)), TIMES)
    found = cabins_for_breaks(bursts, Group.GIRLS, TimeRange(1, 1, 1, "an example"))
    assert isinstance(found, NoNumber)
    assert found.best.value == pytest.approx(0.9346272, abs=1e-7)
    assert "No number of cabins is enough" in found.note
    partly = cabins_for_breaks(bursts, Group.GIRLS, TimeRange(0.5, 0.8, 1.0, "an example"))
    assert isinstance(partly, Figure)
    assert partly.value is not None and partly.low is None
    assert "longer time" in partly.note


def test_cabins_are_asked_for_one_school_at_a_time_and_without_arrivals_there_is_no_answer():
    stood = units(*cabins(1), *cabins(1, first=5, school_id=2))
    usable = usable_cabins(stood, outages(), breaks((1, MONDAY, "long", 10), (2, MONDAY, "long", 10)), LATER)
    both = burst_breaks(usable, arrivals((1, 1, "girls", "cabin", 3.0)), TIMES)
    with pytest.raises(ValueError, match="one school at a time"):
        cabins_for_breaks(both, Group.GIRLS, FLAT)
    second = cabins_for_breaks(both[both["school_id"] == 2], Group.GIRLS, FLAT)
    assert (second.value, second.used, second.expected) == (None, 0, 1)


def test_one_break_in_full():
    found = one_break(30, 4, 15, FLAT)  # BUR-01, 02 and 07
    assert found.all_done.value == pytest.approx(0.8057662818, abs=1e-7)
    assert found.all_entered.value == pytest.approx(0.9924336242, abs=1e-9)
    assert found.served.value == pytest.approx(29.6976017608, abs=1e-7)
    assert (found.mean_wait.value, found.mean_clear.value) == (pytest.approx(4.3875), pytest.approx(12.875))
    assert found.p95_wait.value > found.mean_wait.value
    assert found.p95_clear.value > 15  # done by the bell in 80.6 % of breaks only
    ranged = one_break(30, 4, 15, TimeRange(1.0, 1.5, 2.0, "an example"))
    assert ranged.mean_wait.low < ranged.mean_wait.value < ranged.mean_wait.high


def test_one_break_at_the_edges():
    nobody, shut = one_break(0, 4, 15, FLAT), one_break(5, 0, 15, FLAT)
    assert (nobody.all_done.value, nobody.mean_wait.value, nobody.p95_clear.value) == (1, 0, 0)
    assert (shut.all_done.value, shut.waiting.value) == (0, 5)
    assert (shut.mean_wait.value, shut.mean_wait.note) == (None, "No cabin was usable.")


def test_what_was_seen_at_the_bell():
    # School 1: 4 and 0 waiting; school 2: 2. Mean 2; by schools: residuals 4 − 2·2 = 0 and 2 − 2·1 = 0.
    drawn = breaks((1, MONDAY, "long", 10), (1, TUESDAY, "long", 10), (2, MONDAY, "long", 10), drawn=True)
    counts = bell((1, MONDAY, "girls", 4, None), (1, TUESDAY, "girls", 0, None), (2, MONDAY, "girls", 2, None))
    found = seen_waiting(counts, drawn, Group.GIRLS)
    assert (found.value, found.low, found.high) == (2, 2, 2)
    assert (found.basis, found.about_people, found.used, found.expected) == (Basis.SAMPLED, True, 3, 3)
    # One school: by its breaks, s² = 8, se = √(8 ÷ 2) = 2, t(0.975; 1); never below nobody.
    alone = seen_waiting(counts.iloc[:2], drawn.iloc[:2], Group.GIRLS)
    assert (alone.low, alone.high) == (0, pytest.approx(2 + 2 * stats.t.ppf(0.975, 1)))
    nobody = seen_nobody_waiting(counts, drawn, Group.GIRLS)
    assert nobody.value == pytest.approx(1 / 3)
    assert 0 <= nobody.low <= nobody.value <= nobody.high <= 1
    assert seen_waiting(counts, drawn, Group.BOYS).value is None
    assert seen_waiting(counts, drawn, Group.BOYS).expected == 3


def test_seen_breaks_that_were_all_alike_keep_wilsons_limits():
    drawn = breaks(*((school, MONDAY, "long", 10) for school in range(1, 11)), drawn=True)
    counts = bell(*((school, MONDAY, "girls", 0, None) for school in range(1, 11)))
    found = seen_nobody_waiting(counts, drawn, Group.GIRLS)
    reference = stats.binomtest(10, 10).proportion_ci(method="wilson")
    assert (found.value, found.low) == (1, pytest.approx(reference.low))


def test_the_norm_stands_beside():
    # 320 girls at 1 to 25: 12.8, so 13 (in.mh.g, read).
    found = beside_norm(320, 8, RATIOS["in.mh.g"])
    assert (found.pupils_per_cabin.value, found.needed.value) == (40, 13)
    assert beside_norm(320, 0, RATIOS["in.mh.g"]).pupils_per_cabin.value is None
    assert "from memory" in beside_norm(320, 8, RATIOS["who09.g"]).needed.note
    with pytest.raises(ValueError, match="negative"):
        beside_norm(-1, 3, RATIOS["in.mh.g"])


def test_the_wait_if_pupils_came_evenly_is_shorter():
    # 30 in 15 min, 1.5 min a visit: load 3 of 4 cabins; Erlang C = .509434; wait C·1.5 ÷ 1 = .764151.
    found = wait_if_evenly(30, 4, 15, FLAT)
    assert found.value == pytest.approx(0.7641509, abs=1e-6)
    assert found.value < one_break(30, 4, 15, FLAT).mean_wait.value
    over = wait_if_evenly(40, 4, 15, FLAT)
    assert over.value is None and "more than the cabins can take" in over.note
    edge = wait_if_evenly(30, 4, 15, TimeRange(1.0, 1.5, 2.0, "an example"))
    assert (edge.value, edge.low) == (pytest.approx(0.7641509, abs=1e-6), None)
    assert wait_if_evenly(3, 0, 15, FLAT).value is None
    with pytest.raises(ValueError, match="must last"):
        wait_if_evenly(3, 2, 0, FLAT)


@pytest.mark.parametrize("wrong", [(0, 1, 2), (2, 1, 3), (1, 3, 2), (math.nan, 1, 2)])
def test_a_range_of_times_out_of_order_is_refused(wrong):
    with pytest.raises(ValueError, match="in order"):
        TimeRange(*wrong, source="an example")


def test_a_programme_of_many_schools_takes_time_that_grows_with_its_rows():
    # 100 schools × 60 days × 3 breaks × 3 queues = 54,000 rows; a tenth of the largest programme.
    random = np.random.default_rng(11)
    schools = range(1, 101)
    days = [d.date() for d in pd.bdate_range(MONDAY, periods=60)]
    asked = breaks(
        *((s, d, slot, hour) for s in schools for d in days for slot, hour in (("a", 8), ("b", 10), ("c", 13)))
    )
    stood = units(
        *(
            {"unit_id": 8 * s + n, "school_id": s, "group": "girls" if n < 4 else "boys"}
            | {"kind": "urinal" if n > 5 else "cabin"}
            for s in schools
            for n in range(8)
        )
    )
    expected = arrivals(
        *(
            (s, n, group, kind, float(random.integers(5, 80)))
            for s in schools
            for n in range(1, 13)
            for group, kind in (("girls", "cabin"), ("boys", "cabin"), ("boys", "urinal"))
        )
    )
    begun = clock.perf_counter()
    bursts = burst_breaks(usable_cabins(stood, outages((8, "2031-01-08", None)), asked, LATER), expected)
    figures = [share_served(bursts, group) for group in (Group.GIRLS, Group.BOYS)]
    assert clock.perf_counter() - begun < 5
    assert len(bursts) == 54_000
    assert all(figure.used == 18_000 for figure in figures)
