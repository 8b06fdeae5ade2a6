"""The restocking plan over many schools: time, memory, growth. ``python -m tests.bench.bench_restock``.

Each size runs in a process of its own, so that memory is its own. The budget, the litres and the packs of the vehicle
are all below what the plan would take without them, so that products compete. Eight rounds of each size are drawn with
fixed seeds, because the time of an integer programme varies from one round to the next.
"""

from __future__ import annotations

import json
import os
import resource
import statistics
import subprocess
import sys
import time
from collections import Counter

from tests.measures.restock_by_hand import large_round
from tracker.measures.restock import Aim, Limits, plan, worth

SIZES = (100, 300, 1000, 3000)
PRODUCTS = 3
ROUNDS = 8
LIMIT_MIB = 1024
LIMIT_S = {100: 0.5, 1000: 5.0}


def measured(schools: int) -> dict[str, object]:
    """Eight rounds of this size in this process."""
    plan(*large_round(0, 10))  # libraries are loaded before the clock starts
    own, wall, fair, gaps, methods, broken = [], [], [], [], Counter[str](), 0
    for seed in range(ROUNDS):
        about = large_round(seed, schools, PRODUCTS)
        start, clock = time.process_time(), time.perf_counter()
        made = plan(*about)
        own.append(time.process_time() - start)
        wall.append(time.perf_counter() - clock)
        gaps.append(made.gap)
        methods[made.method.name] += 1
        free = plan(*about[:2], Limits()).used
        limits = about[2]
        broken += free.cost_minor > limits.budget_minor and free.litres > limits.litres and free.packs > limits.packs
        for aim in (Aim.EQUAL_RUN_OUT, Aim.LOWEST_SHARE):
            start = time.process_time()
            plan(*about, aim)
            fair.append(time.process_time() - start)
    start = time.process_time()
    worth(*about)
    return {
        "own": own,
        "wall": wall,
        "fair": fair,
        "gap": max(gaps),
        "methods": methods,
        "all_broken": broken,
        "worth": time.process_time() - start,
        "mib": peak_mib(),
    }


def peak_mib() -> float:
    """The most memory this process has had."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def apart(schools: int) -> dict:
    """The same in a process of its own."""
    command = [sys.executable, "-m", "tests.bench.bench_restock", str(schools)]
    return json.loads(subprocess.run(command, check=True, capture_output=True, text=True).stdout)


def row(schools: int, found: dict) -> str:
    """A line of the table in docs/benchmarks.md."""
    own, wall = found["own"], found["wall"]
    methods = ", ".join(f"{name.lower()} {count}" for name, count in sorted(found["methods"].items()))
    cells = [
        f"{schools:,}",
        f"{statistics.median(own):.2f} ({min(own):.2f} to {max(own):.2f})",
        f"{statistics.median(wall):.2f} ({min(wall):.2f} to {max(wall):.2f})",
        f"{max(found['fair']):.2f}",
        f"{found['worth']:.2f}",
        f"{found['mib']:.0f}",
        f"{found['gap']:.0e}",
        methods,
        f"{found['all_broken']} of {ROUNDS}",
    ]
    return f"| {' | '.join(cells)} |"


def main() -> int:
    """Measure every size, print the table, say whether the targets are kept."""
    if len(sys.argv) > 1:
        print(json.dumps(measured(int(sys.argv[1]))))
        return 0
    print(f"load {os.getloadavg()[0]:.1f}")
    kept = True
    for schools in SIZES:
        found = apart(schools)
        print(row(schools, found), flush=True)
        kept &= max(found["own"]) < LIMIT_S.get(schools, float("inf"))
        kept &= schools > 1000 or found["mib"] < LIMIT_MIB
    print(f"load {os.getloadavg()[0]:.1f}; targets {'kept' if kept else 'MISSED'}")
    return 0 if kept else 1


if __name__ == "__main__":
    sys.exit(main())
