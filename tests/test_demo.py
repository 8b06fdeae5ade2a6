"""The demo's clock passes minutes, and each of its schools has a coordinator."""

from __future__ import annotations

import csv
from datetime import timedelta

from tracker import demo, paths
from tracker.demo_data import DEMO_NOW


def seed_rows(name: str) -> list[dict[str, str]]:
    with (paths.seed_data() / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_the_demo_s_clock_begins_at_its_moment_and_passes_as_real_time_does(monkeypatch):
    monkeypatch.setattr(demo.time, "monotonic", lambda: demo.STARTED)
    assert demo.now() == DEMO_NOW
    monkeypatch.setattr(demo.time, "monotonic", lambda: demo.STARTED + 90)  # a minute and a half later
    assert demo.now() == DEMO_NOW + timedelta(seconds=90)


def test_each_school_of_the_demo_has_a_coordinator_whom_one_can_phone():
    people = {row["email"]: row for row in seed_rows("people")}
    found = {row["school"]: people[row["email"]] for row in seed_rows("role_grants") if row["role"] == "coordinator"}
    assert set(found) == {row["school"] for row in seed_rows("schools")}
    assert all(person["phone"].startswith("000 01") and person["active"] == "yes" for person in found.values())
    phones = [row["phone"] for row in people.values()] + [row["phone"] for row in seed_rows("programme")]
    assert len(set(phones)) == len(phones)
