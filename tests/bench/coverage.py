"""How often 95 % limits hold the truth: ``python -m tests.bench.coverage``, seeded; results in docs/coverage.md.

Each trial makes a whole truth, lets the records see a part of it, and asks a measure for its limits. Bounds are not a
95 % interval: they must hold the truth always, and are marked so.
"""

from __future__ import annotations

import math
import sys
from collections.abc import Callable
from dataclasses import dataclass
from datetime import timedelta

import numpy as np
import pandas as pd

from tests.measures.frames_by_hand import WEEK_1, fittings, frame, long_weeks, occasions, units, week
from tracker.measures import flush, need, uptime, visit_estimate, visits, water
from tracker.measures.figure import Figure
from tracker.measures.intervals import ratio_of_totals, wilson
from tracker.vocabulary import Basis

RUNS = 2000
SEED = 20_311
Random = np.random.Generator
Trial = Callable[[Random], bool | None]


@dataclass(frozen=True)
class Case:
    """A figure at a size; ``bounds``: not a 95 % interval, it must hold always. None of a trial: no limits given."""

    name: str
    size: str
    trial: Trial
    bounds: bool = False


@dataclass(frozen=True)
class Result:
    """How often the truth was inside, of the trials that gave limits."""

    case: Case
    hits: int
    runs: int

    @property
    def share(self) -> float:
        return self.hits / self.runs


def run(case: Case, runs: int, seed: int = SEED) -> Result:
    """The same seed gives the same result."""
    random = np.random.default_rng(seed)
    found = [case.trial(random) for _ in range(runs)]
    given = [hit for hit in found if hit is not None]
    return Result(case, sum(given), len(given))


def inside(figure: Figure, truth: float) -> bool | None:
    """Whether a figure's limits hold the truth; a hair is forgiven for binary fractions."""
    if figure.low is None or figure.high is None:
        return None
    slack = 1e-9 * max(1.0, abs(truth))
    return figure.low - slack <= truth <= figure.high + slack


# Sampled visits


def true_breaks(random: Random, weeks: int, cabins: int) -> np.ndarray:
    """Visits by week, break occasion (5 days × 2 breaks) and cabin: lunch is busier, days differ, cabins too."""
    busy = np.tile([1.0, 1.6], 5) * random.gamma(10, 1 / 10, (weeks, 10))  # 32 % from break to break
    liked = random.dirichlet(np.full(cabins, 8.0)) * cabins
    return random.poisson(busy[:, :, None] * liked * 6)


def drawn_records(random: Random, schools: int, weeks: int, cabins: int) -> tuple[pd.DataFrame, int]:
    """Tallies of two breaks a week drawn at random at every school, and the true visits of all breaks."""
    rows, truth = [], 0
    for school in range(1, schools + 1):
        counts = true_breaks(random, weeks, cabins)
        truth += int(counts.sum())
        for number in range(weeks):
            for occasion in random.choice(10, 2, replace=False):
                day, slot = week(number + 1) + timedelta(days=int(occasion) // 2), f"B{occasion % 2}"
                rows += [
                    (school * 100 + cabin, week(number + 1), day, slot, int(counts[number, occasion, cabin]))
                    for cabin in range(cabins)
                ]
    made = pd.DataFrame(rows, columns=["unit_id", "week", "day", "slot", "visits"])
    return made.astype({"week": "datetime64[us]", "day": "datetime64[us]", "visits": "float64", "slot": "str"}), truth


def drawn_frames(schools: int, weeks: int, cabins: int) -> tuple[pd.DataFrame, pd.DataFrame]:
    standing = units(
        *(
            {"unit_id": s * 100 + c, "unit": f"G{c}", "school_id": s, "school": f"S{s:02d}", "count_way": "drawn"}
            for s in range(1, schools + 1)
            for c in range(cabins)
        )
    )
    return standing, occasions(*((s, n, 10, 5) for s in range(1, schools + 1) for n in range(1, weeks + 1)))


NO_USAGE = frame([], ["unit_id", "week", "how", "source", "visits", "cells"])
NO_READINGS = frame([], ["unit_id", "quantity", "source", "at", "day", "week", "value"])


def unit_weeks_of(tallies: pd.DataFrame, standing: pd.DataFrame, days: pd.DataFrame) -> pd.DataFrame:
    """As ``visits.unit_weeks`` for units that are tallied on drawn breaks only."""
    from tracker.measures.visits_drawn import cells_of

    schools = dict(zip(standing["unit_id"], standing["school_id"], strict=True))
    breaks = {(s, w.date()): int(b) for s, w, b in zip(days["school_id"], days["week"], days["breaks"], strict=True)}
    rows = [(*key, "drawn", *cell) for key, cell in cells_of(tallies, schools, breaks).items()]
    return pd.DataFrame(rows, columns=list(visits.UNIT_WEEKS)).astype(visits.UNIT_WEEKS)


def sampled_visits(schools: int, weeks: int, cabins: int) -> Trial:
    standing, days = drawn_frames(schools, weeks, cabins)

    def trial(random: Random) -> bool | None:
        tallies, truth = drawn_records(random, schools, weeks, cabins)
        made = unit_weeks_of(tallies, standing, days)
        return inside(visits.visits_total(made, tallies, days, standing), truth)

    return trial


# Weeks that nobody reported


def unreported(schools: int, weeks: int, hidden: float, silent: int = 0) -> Trial:
    """Every school has three cabins counted whole; a share of school-weeks and some whole schools say nothing."""
    standing, days = drawn_frames(schools, weeks, 3)
    no_tallies = pd.DataFrame({"unit_id": [], "week": [], "day": [], "slot": [], "visits": []}).astype(
        {"unit_id": "int64", "week": "datetime64[us]", "day": "datetime64[us]", "slot": "str", "visits": "float64"}
    )

    def trial(random: Random) -> bool | None:
        rate = random.gamma(20, 5, schools)  # schools differ by 22 %
        busy = random.gamma(60, 1 / 60, (schools, weeks))  # weeks by 13 %
        counts = random.poisson((rate[:, None] * busy)[:, :, None] * np.array([0.8, 1.0, 1.2]))
        kept = random.random((schools, weeks)) >= hidden
        kept[random.choice(schools, silent, replace=False)] = False
        if not kept.any():
            return None
        rows = [
            ((int(s) + 1) * 100 + c, week(int(n) + 1), "week_total", float(counts[s, n, c]), 0.0, "counted", 1, 1)
            for s, n in zip(*np.nonzero(kept), strict=True)
            for c in range(3)
        ]
        made = pd.DataFrame(rows, columns=list(visits.UNIT_WEEKS)).astype(visits.UNIT_WEEKS)
        found = visit_estimate.estimated_visits(made, no_tallies, days, standing)
        return inside(found.estimate, float(counts.sum()))

    return trial


# Ratios, shares, water, need, availability


def ratio_by_schools(schools: int, population: int = 60) -> Trial:
    """Visits ÷ pupil-days over schools drawn at random out of a programme's."""

    def trial(random: Random) -> bool | None:
        pupils = random.gamma(9, 60, population)
        uses = pupils * random.gamma(25, 1 / 25, population) * 0.8
        drawn = random.choice(population, schools, replace=False)
        _, low, high = ratio_of_totals(uses[drawn].tolist(), pupils[drawn].tolist(), population)
        return None if low is None or high is None else bool(low <= uses.sum() / pupils.sum() <= high)

    return trial


def promise(faults: int, share: float) -> Trial:
    def trial(random: Random) -> bool | None:
        _, low, high = wilson(int(random.binomial(faults, share)), faults)
        return None if low is None or high is None else low <= share <= high

    return trial


def saved_water(schools: int, weeks: int, *, looked: int) -> Trial:
    """Less than a cistern of 9 L: litres err by the claim's 10 %, visits are sampled, long visits looked at or not."""
    standing, days = drawn_frames(schools, weeks, 3)
    fits = fittings(
        *(
            {"unit_id": unit, "kind": "flush_two_stage", "ml": 1500, "long_ml": 4000, "litres_basis": "claim"}
            for unit in standing["unit_id"].tolist()
        )
    )
    held = frame(
        [
            {"school_id": s, "day": week(n) + timedelta(days=d)}
            for s in range(1, schools + 1)
            for n in range(1, weeks + 1)
            for d in range(5)
        ],
        ["school_id", "day"],
    )
    due = visits.expected_unit_weeks(standing, days)

    def trial(random: Random) -> bool | None:
        tallies, truth = drawn_records(random, schools, weeks, 3)
        made = unit_weeks_of(tallies, standing, days)
        long = float(random.uniform(0.1, 0.4))
        seen = long_weeks(
            *(
                (unit, number, looked, int(random.binomial(looked, long)))
                for unit in standing["unit_id"].tolist()
                for number in range(1, weeks + 1)
                if looked
            )
        )
        rows = flush.unit_week_water(made, standing, fits, seen, held, assumed=flush.LongShare(0.2, 0.1, 0.4))
        scale = 1 + 0.10 * random.standard_normal()
        saved = truth * (9000 - scale * (1500 + long * 2500)) / 1000
        return inside(water.less_than_cistern(rows, due, 9000), saved)

    return trial


def availability(unit_count: int, days: int, looked: float) -> Trial:
    """Units go down for some days; nobody sees what happens on days on which nobody looks."""
    start = pd.Timestamp(WEEK_1)

    def trial(random: Random) -> bool | None:
        down = np.where(random.random((unit_count, days)) < 0.1, random.integers(0, 361, (unit_count, days)), 0)
        observed = random.random((unit_count, days)) < looked
        rows = pd.DataFrame(
            {
                "unit_id": np.repeat(np.arange(unit_count), days),
                "day": np.tile(start + pd.to_timedelta(np.arange(days), unit="D"), unit_count),
                "scheduled_min": 360,
                "down_min": np.where(observed, down, 0).ravel(),
                "observed": observed.ravel(),
            }
        )
        return inside(uptime.availability(rows), 1 - down.sum() / (360 * unit_count * days))

    return trial


def against_need(girls: int) -> Trial:
    """Every assumption anywhere in its range, any of the published curves; who is past menarche falls by chance."""
    given = need.ASSUMPTIONS
    ends = (given.pads, given.cycle_days, given.school_share)

    def trial(random: Random) -> bool | None:
        ages = {
            age: int(number) for age, number in zip(range(10, 17), random.multinomial(girls, [1 / 7] * 7), strict=True)
        }
        curve = need.CURVES[str(random.choice(list(need.CURVES)))]
        past = sum(int(random.binomial(n, need.past_menarche(age, curve))) for age, n in ages.items())
        pads, cycle, share = (float(random.uniform(one.low, one.high)) for one in ends)
        true_need = need.pads_needed(past, 60, pads, cycle, share)
        out = Figure(float(random.integers(1, 8) * girls), "napkins", Basis.COUNTED, about_people=True)
        found = need.given_out_against_need(out, need.estimated_need(need.GirlsByAge(ages, 0), 60))
        return inside(found, out.value / true_need) if true_need and out.value else None

    return trial


CASES = (
    Case("sampled visits", "1 school, 4 weeks, 3 cabins", sampled_visits(1, 4, 3)),
    Case("sampled visits", "1 school, 12 weeks, 5 cabins", sampled_visits(1, 12, 5)),
    Case("sampled visits", "12 schools, 12 weeks, 5 cabins", sampled_visits(12, 12, 5)),
    Case("visits with unreported weeks", "1 school, 12 weeks, 30 % hidden", unreported(1, 12, 0.3)),
    Case("visits with unreported weeks", "6 schools, 12 weeks, 30 % hidden", unreported(6, 12, 0.3)),
    Case("visits with unreported weeks", "12 schools, 12 weeks, 30 % hidden", unreported(12, 12, 0.3)),
    Case("visits with unreported weeks", "40 schools, 12 weeks, 30 % hidden", unreported(40, 12, 0.3)),
    Case("visits with silent schools", "6 schools, 2 silent, 10 % hidden", unreported(6, 12, 0.1, 2)),
    Case("visits with silent schools", "12 schools, 3 silent, 10 % hidden", unreported(12, 12, 0.1, 3)),
    Case("visits with silent schools", "40 schools, 8 silent, 10 % hidden", unreported(40, 12, 0.1, 8)),
    Case("ratio over schools", "6 of 60 schools", ratio_by_schools(6)),
    Case("ratio over schools", "12 of 60 schools", ratio_by_schools(12)),
    Case("ratio over schools", "40 of 60 schools", ratio_by_schools(40)),
    Case("promise kept", "10 faults, 80 % kept", promise(10, 0.8)),
    Case("promise kept", "30 faults, 80 % kept", promise(30, 0.8)),
    Case("promise kept", "100 faults, 80 % kept", promise(100, 0.8)),
    Case("promise kept", "30 faults, 95 % kept", promise(30, 0.95)),
    Case("saved water", "1 school, 12 weeks, long visits looked at", saved_water(1, 12, looked=40)),
    Case("saved water", "6 schools, 12 weeks, long visits looked at", saved_water(6, 12, looked=40)),
    Case("saved water", "1 school, 12 weeks, long share assumed", saved_water(1, 12, looked=0)),
    Case("availability", "20 units, 60 days, 50 % looked at", availability(20, 60, 0.5), bounds=True),
    Case("availability", "8 units, 60 days, 90 % looked at", availability(8, 60, 0.9), bounds=True),
    Case("given out against estimated need", "100 girls", against_need(100), bounds=True),
    Case("given out against estimated need", "400 girls", against_need(400), bounds=True),
)


def main() -> int:
    """All cases as rows of a table; 1 where one is outside 92 to 98 %, or bounds miss."""
    wrong = 0
    for case in CASES:
        found = run(case, RUNS)
        error = 1.96 * math.sqrt(max(found.share * (1 - found.share), 1e-12) / max(found.runs, 1))
        good = found.hits == found.runs if case.bounds else 0.92 <= found.share <= 0.98
        wrong += not good
        kind = "bounds" if case.bounds else "95 %"
        share = f"{100 * found.share:.1f} ± {100 * error:.1f}{'' if good else ' *'}"
        print(f"| {case.name} | {case.size} | {kind} | {found.runs} | {share} |", flush=True)
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
