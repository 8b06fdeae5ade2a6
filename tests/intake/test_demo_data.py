"""The demo's files: made the same every time, in line with themselves, and with the troubles their README lists.

There is no outside source for a made-up programme: what is checked here is what seed_data/README.md promises and
what the exchange format demands. The files are read with the csv module; the sums are loops.
"""

from __future__ import annotations

import csv
import subprocess
import sys
from collections import defaultdict
from datetime import date, datetime, timedelta
from itertools import pairwise
from pathlib import Path

import pytest
from sqlalchemy import select

from tracker import paths
from tracker.demo_data import DEMO_NOW, write
from tracker.demo_data.__main__ import main
from tracker.intake.folder import load_folder
from tracker.intake.rows import header, parse_row
from tracker.intake.tables import BY_NAME, TABLES
from tracker.models.school import DrawnBreak, School

Rows = list[dict[str, str]]
NOW = DEMO_NOW.replace(tzinfo=None)


@pytest.fixture(scope="module")
def made() -> dict[str, Rows]:
    """All rows of the committed files, by table."""
    found = {}
    for table in TABLES:
        with (paths.seed_data() / f"{table.name}.csv").open(encoding="utf-8", newline="") as file:
            found[table.name] = list(csv.DictReader(file))
    return found


def of(rows: Rows, **wanted: str) -> Rows:
    return [row for row in rows if all(row[name] == value for name, value in wanted.items())]


def moment(text: str) -> datetime:
    return datetime.fromisoformat(text)


# --- the files


def test_the_generator_makes_the_committed_files_byte_by_byte(tmp_path):
    write(tmp_path)
    for table in TABLES:
        name = f"{table.name}.csv"
        assert (tmp_path / name).read_bytes() == (paths.seed_data() / name).read_bytes(), name
    assert (tmp_path / "datapackage.json").read_bytes() == (paths.seed_data() / "datapackage.json").read_bytes()
    wanted = {path.name for path in paths.seed_data().glob("*.csv")} | {"datapackage.json"}
    assert {path.name for path in tmp_path.iterdir()} == wanted


def test_another_hash_seed_and_another_run_change_nothing(tmp_path):
    command = [sys.executable, "-m", "tracker.demo_data", str(tmp_path)]
    root = paths.PACKAGE.parent
    subprocess.run(
        command, check=True, cwd=root, env={"PYTHONHASHSEED": "7", "PATH": "", "LC_ALL": "C", "TZ": "Etc/GMT+9"}
    )
    for name in ("readings.csv", "usage_counts.csv", "stock_moves.csv", "outages.csv"):
        assert (tmp_path / name).read_bytes() == (paths.seed_data() / name).read_bytes(), name


def test_without_a_folder_the_command_says_what_to_do(capsys):
    assert main([]) == 2
    assert "Name the folder" in capsys.readouterr().err


def test_the_files_stay_small(made):
    sizes = [path.stat().st_size for path in paths.seed_data().glob("*.csv")]
    assert max(sizes) < 2_000_000
    assert sum(sizes) < 6_000_000
    assert sum(len(rows) for rows in made.values()) < 100_000


@pytest.mark.parametrize("table", TABLES, ids=lambda table: table.name)
def test_every_cell_can_be_read(made, table):
    rows = made[table.name]
    assert rows, "the demo shows every kind of record"
    assert tuple(rows[0]) == header(table)
    for number, row in enumerate(rows, start=2):
        _, problems = parse_row(table, row, number)
        assert not problems, problems[0]


@pytest.mark.parametrize("table", TABLES, ids=lambda table: table.name)
def test_keys_are_unique_and_links_lead_somewhere(made, table):
    keys = [tuple(row[name] for name in table.key) for row in made[table.name]]
    assert len(set(keys)) == len(keys)
    for link in table.links:
        known = {tuple(row[name] for name in BY_NAME[link.target].key) for row in made[link.target]}
        for row in made[table.name]:
            there = tuple(row[name] for name in link.columns)
            assert there in known or (not link.required and "" in there), (table.name, link.target, row)


def test_the_folder_loads_without_a_question_and_a_second_time_changes_nothing(session, made):
    first = load_folder(session, paths.seed_data(), now=DEMO_NOW)
    assert first.added == {name: len(rows) for name, rows in made.items()}
    assert first.problems == []
    second = load_folder(session, paths.seed_data(), now=DEMO_NOW)
    assert sum(second.added.values()) + sum(second.changed.values()) == 0
    drawn = select(School.code, DrawnBreak.day, DrawnBreak.slot).join(School, School.id == DrawnBreak.school_id)
    kept = {tuple(row) for row in session.execute(drawn.where(DrawnBreak.day <= date(2026, 7, 19)))}
    assert kept == {(row["school"], date.fromisoformat(row["day"]), row["break"]) for row in made["drawn_breaks"]}


# --- the district


def test_the_district_is_as_large_as_promised(made):
    pupils = sum(int(row["pupils"]) for row in made["enrolment"] if not row["until_day"])
    assert len(made["schools"]) == 12
    assert len(made["areas"]) == 3
    assert 6_800 <= pupils <= 7_300
    ages = {int(row["age_years"]) for row in made["enrolment"]}
    assert ages == {-1, *range(6, 18)}


def test_particular_schools_are_there(made):
    assert [row["school"] for row in made["schools"] if row["boarders"] == "yes"] == ["OL-06"]
    assert len(of(made["shifts"], school="OL-05")) == 2
    assert not of(made["enrolment"], school="OL-04", sex="boys")
    grown = [row for row in of(made["enrolment"], school="OL-09", sex="girls") if int(row["age_years"]) >= 10]
    assert 0 < sum(int(row["pupils"]) for row in grown) < 10


def test_two_schools_have_a_single_accessible_cabin(made):
    cabins = defaultdict(int)
    for row in of(made["units"], kind="cabin", accessible="yes"):
        cabins[row["school"]] += 1
    assert {"OL-08", "OL-11"} <= {school for school, count in cabins.items() if count == 1}


def test_every_way_of_counting_is_used(made):
    assert {row["way"] for row in made["unit_ways"]} == {"counter", "drawn", "grid", "week_total", "none"}


# --- time


def test_nothing_is_later_than_the_day_of_the_demo(made):
    columns = {
        "usage_counts": "first_day", "readings": "at_local_time", "levels": "day", "sightings": "day",
        "outages": "start_local_time", "stock_moves": "day", "stock_counts": "day", "machine_days": "day",
        "burns": "first_day", "awareness_sessions": "day", "bell_counts": "day", "money": "day",
        "week_sheets": "first_sent_local_time", "inspections": "seen_on",
    }  # fmt: skip
    for table, column in columns.items():
        latest = max(moment(row[column]) for row in made[table])
        assert latest <= NOW, table
    ends = [moment(row["end_local_time"]) for row in made["outages"] if row["end_local_time"]]
    assert max(ends) <= NOW


def test_the_day_of_the_demo_is_the_wednesday_of_the_last_full_week_of_term_3(made):
    term = of(made["terms"], term="2025-T3")[0]
    last = date.fromisoformat(term["last_day"])
    assert NOW.weekday() == 2
    assert NOW.date() <= last <= NOW.date() + timedelta(days=4)
    ahead = [row["day"] for row in made["rounds"] if row["day"] > NOW.date().isoformat()]
    assert len(ahead) == 2


def test_visits_fall_on_school_days_and_drawn_tallies_on_drawn_breaks(made):
    closed = set()
    for row in made["closures"]:
        first, last = date.fromisoformat(row["first_day"]), date.fromisoformat(row["last_day"])
        schools = [s["school"] for s in made["schools"] if row["school"] in ("", s["school"])]
        areas = {s["school"]: s["area"] for s in made["schools"]}
        for school in schools:
            if row["area"] in ("", areas[school]):
                closed |= {(school, first + timedelta(days=n)) for n in range((last - first).days + 1)}
    closed |= {(row["school"], date.fromisoformat(row["day"])) for row in of(made["day_marks"], mark="lost")}
    terms = [(date.fromisoformat(row["first_day"]), date.fromisoformat(row["last_day"])) for row in made["terms"]]
    drawn = {(row["school"], row["day"], row["break"]) for row in made["drawn_breaks"]}
    for row in of(made["usage_counts"], days="1"):
        day = date.fromisoformat(row["first_day"])
        assert day.weekday() < 5
        assert any(first <= day <= last for first, last in terms), row
        assert (row["school"], day) not in closed, row
        assert row["how"] != "drawn" or (row["school"], row["first_day"], row["slot"]) in drawn, row
    assert all((row["school"], row["day"], row["break"]) in drawn for row in made["bell_counts"])


def test_two_breaks_are_drawn_in_every_school_week_on_two_days(made):
    weeks = defaultdict(set)
    for row in made["drawn_breaks"]:
        day = date.fromisoformat(row["day"])
        weeks[row["school"], day - timedelta(days=day.weekday())].add(row["day"])
    assert {len(days) for days in weeks.values()} == {2}


def test_what_a_sheet_brings_lies_in_a_week_whose_sheet_came(made):
    came = {(row["school"], date.fromisoformat(row["week"])) for row in made["week_sheets"]}
    columns = {
        "usage_counts": "first_day", "readings": "at_local_time", "levels": "day", "sightings": "day",
        "outages": "start_local_time", "machine_days": "day", "burns": "first_day", "bell_counts": "day",
        "awareness_sessions": "day", "day_marks": "day", "long_weeks": "week",
    }  # fmt: skip
    for table, column in columns.items():
        for row in made[table]:
            day = moment(row[column]).date()
            if row.get("source", "tally") == "tally":
                assert (row["school"], day - timedelta(days=day.weekday())) in came, (table, row)


# --- dials and the ledger


def test_dials_turn_one_way_but_for_one_roll_over_and_one_exchange(made):
    back = []
    series = defaultdict(list)
    for row in made["readings"]:
        series[row["school"], row["unit"], row["quantity"]].append((row["at_local_time"], int(row["value"])))
    for key, readings in series.items():
        back += [(key, after[0]) for before, after in pairwise(sorted(readings)) if after[1] < before[1]]
    assert [(key[0], key[1]) for key, _ in back] == [("OL-04", "W1"), ("OL-06", "W1")]
    old, new = of(made["dials"], school="OL-04", unit="W1")
    assert old["last_value"] and old["until_local_time"] < new["from_local_time"]
    (rolled,) = of(made["dials"], school="OL-06", unit="W1")
    assert rolled["digits"] == "5"


def test_no_place_is_ever_overdrawn(made):
    inside = {row["place"] for row in made["places"] if row["kind"] in ("store", "cupboard", "machine")}
    balance: dict[tuple[str, str, str], int] = defaultdict(int)
    for row in made["stock_moves"]:
        lot, count = (row["product"], row["lot"]), int(row["quantity"])
        balance[row["to_place"], *lot] += count
        balance[row["from_place"], *lot] -= count
        assert row["from_place"] not in inside or balance[row["from_place"], *lot] >= 0, row


def test_a_count_agrees_with_the_moves_up_to_its_day(made):
    counted = {(row["place"], row["product"], row["day"]): int(row["quantity"]) for row in made["stock_counts"]}
    balance: dict[tuple[str, str], int] = defaultdict(int)
    moves = sorted(made["stock_moves"], key=lambda row: row["day"])
    days = sorted({row["day"] for row in moves} | {day for _, _, day in counted})
    checked = 0
    for day in days:
        while moves and moves[0]["day"] <= day:
            row = moves.pop(0)
            balance[row["to_place"], row["product"]] += int(row["quantity"])
            balance[row["from_place"], row["product"]] -= int(row["quantity"])
        for (place, product, on), quantity in counted.items():
            if on == day:
                assert balance[place, product] == quantity, (place, product, day)
                checked += 1
    assert checked == len(made["stock_counts"])


def test_machines_say_0_put_in_and_now_and_then_nothing(made):
    # Blank is not 0: both are in the demo, in weeks in which the machine was counted (weeks begin on Monday).
    def week(text: str) -> date:
        day = date.fromisoformat(text)
        return day - timedelta(days=day.weekday())

    machines = {row["place"] for row in of(made["places"], kind="machine")}
    counted = {(row["place"], week(row["day"])) for row in made["stock_counts"] if row["place"] in machines}
    refills = of(made["stock_moves"], reason="refill")
    put = {(row["to_place"], week(row["day"])) for row in refills}
    nothing = {(row["to_place"], week(row["day"])) for row in refills if row["quantity"] == "0"}
    assert nothing and nothing <= counted
    assert 0 < len(counted - put) < 0.03 * len(counted)


def test_a_counters_year_is_what_was_given_out(made):
    """Vends between the installation and the last reading = pieces moved from the machine to "given out"."""
    for dial in of(made["dials"], quantity="vends"):
        place = f"{dial['school']}-{dial['unit']}"
        read = of(made["readings"], school=dial["school"], unit=dial["unit"], quantity="vends")
        given = sum(int(row["quantity"]) for row in of(made["stock_moves"], from_place=place, to_place="GIVEN"))
        assert int(read[-1]["value"]) - int(dial["first_value"]) == given, place


# --- water: metered against the rules, by hand


def water_l(made, school: str, first: str, last: str) -> tuple[float, float]:
    """Metered and modelled litres between two days on which everything was read, at a school of counters."""
    (dial,) = of(made["dials"], school=school, unit="W1")
    read = {
        (row["unit"], row["quantity"], row["at_local_time"][:10]): int(row["value"])
        for row in of(made["readings"], school=school, source="tally")
    }

    def turned(unit: str, quantity: str) -> int:
        return read[unit, quantity, last] - read[unit, quantity, first]

    metered = turned("W1", "water") * int(dial["step_ml"])
    modelled = 0
    for unit in (row["unit"] for row in of(made["meter_scopes"], school=school)):
        visits = turned(unit, "visits")
        if unit.startswith("U"):
            modelled += visits * 800
        else:
            long = turned(unit, "long_visits")
            modelled += (visits - long) * 1500 + long * 4000 + visits * 300 + visits // 10 * 6000
    return metered / 1e6, modelled / 1e6


def whole_readings(made, school: str, first: str, last: str) -> list[str]:
    """Days between two days on which every counter of the school and the meter were read."""
    by_day = defaultdict(set)
    for row in of(made["readings"], school=school, source="tally"):
        if row["quantity"] != "vends":
            by_day[row["at_local_time"][:10]].add((row["unit"], row["quantity"]))
    most = max(len(read) for read in by_day.values())
    return [day for day, read in sorted(by_day.items()) if len(read) == most and first <= day <= last]


def test_metered_water_agrees_with_the_rules_within_a_few_per_cent(made):
    days = whole_readings(made, "OL-01", "2025-09-01", "2026-07-15")
    metered, modelled = water_l(made, "OL-01", days[0], days[-1])
    assert modelled > 50
    assert metered == pytest.approx(modelled, rel=0.03)


def test_the_leak_is_far_beyond_what_the_rules_explain(made):
    days = whole_readings(made, "OL-02", "2026-03-01", "2026-05-29")
    metered, modelled = water_l(made, "OL-02", days[0], days[-1])
    assert metered > 1.25 * modelled  # 2 u is about 7 % here: 3 % of the litres and 2 % of the meter
    days = whole_readings(made, "OL-02", "2025-09-01", "2025-12-05")
    metered, modelled = water_l(made, "OL-02", days[0], days[-1])
    assert metered == pytest.approx(modelled, rel=0.04)


# --- troubles


def test_sheets_are_missing_late_queried_and_silent(made):
    sheets = made["week_sheets"]
    weeks = {row["week"] for row in sheets}
    missing = 1 - len(sheets) / (12 * len(weeks))
    assert 0.05 <= missing <= 0.08
    late = [
        row for row in sheets
        if moment(row["first_sent_local_time"]) >= moment(row["week"]) + timedelta(days=10)  # due 3 days after Sunday
    ]  # fmt: skip
    assert 0.04 <= len(late) / len(sheets) <= 0.15
    assert 1 <= len(of(sheets, state="queried")) <= 2
    silent = {"2026-02-02", "2026-02-09", "2026-02-16", "2026-02-23"}
    assert silent <= weeks
    assert not silent & {row["week"] for row in of(sheets, school="OL-08")}
    last = {row["school"] for row in of(sheets, week="2026-07-06")}
    assert {"OL-01", "OL-06", "OL-08", "OL-12"}.isdisjoint(last)
    assert len(last) == 8


def test_girls_wait_at_the_bell_of_every_first_break_of_one_school(made):
    first = [row for row in of(made["bell_counts"], school="OL-03", group="girls") if row["break"] == "first"]
    waiting = [int(row["waiting"]) for row in first if row["waiting"]]
    assert len(waiting) >= 12
    assert min(waiting) >= 10


def test_low_water_is_one_event_of_six_cabins(made):
    low = of(made["outages"], cause="low water")
    assert len(low) == 6
    assert len({(row["event"], row["start_local_time"], row["school"]) for row in low}) == 1
    cabins = {row["unit"] for row in of(made["units"], school=low[0]["school"], kind="cabin")}
    assert {row["unit"] for row in low} == cabins
    assert of(made["water_deliveries"], school=low[0]["school"], origin="tanker")


def test_the_rain_tanks_level_falls_faster_while_somebody_draws_unseen(made):
    # Came in less what the level rose, litres a week; the tank holds 5,000 L, a quarter is 1,250 L.
    levels = of(made["levels"], school="OL-03", unit="K2")
    came = of(made["water_deliveries"], school="OL-03", tank="K2")

    def drawn(first: str, last: str) -> float:
        marks = [row for row in levels if first <= row["day"] <= last]
        inside = (row for row in came if marks[0]["day"] < row["day"] <= marks[-1]["day"])
        rise = (int(marks[-1]["quarters"]) - int(marks[0]["quarters"])) * 1250
        weeks = (date.fromisoformat(marks[-1]["day"]) - date.fromisoformat(marks[0]["day"])).days / 7
        return (sum(int(row["volume_ml"]) for row in inside) / 1000 - rise) / weeks

    assert drawn("2026-02-06", "2026-03-01") > 2 * drawn("2025-09-12", "2026-02-06")
    assert {row["origin"] for row in came} == {"rain", "tanker", "recovered"}


def test_what_the_energy_meter_and_the_sun_gave_is_what_the_plates_say_within_a_few_per_cent(made):
    # Weeks with every record, before the vacuum fittings: a visit 14 W × 150 s and a tenth of 9 Wh, a burn 1,450 Wh.
    readings = [row for row in of(made["readings"], school="OL-10") if row["at_local_time"] < "2026-02-14"]
    sun = {row["week"]: int(row["energy_wh"]) for row in made["energy_given"]}
    burns = {row["first_day"]: int(row["burns"]) for row in of(made["burns"], school="OL-10")}
    by_time = defaultdict(dict)
    for row in readings:
        if row["unit"] == "E1" or (row["quantity"] == "visits" and row["unit"][0] in "GBA"):
            by_time[row["at_local_time"]][row["unit"]] = int(row["value"])
    given, used, weeks = 0.0, 0.0, 0
    for (before, first), (at, last) in pairwise(sorted(by_time.items())):
        week = (moment(at) - timedelta(days=4)).date().isoformat()
        if moment(at) - moment(before) != timedelta(days=7) or not {week} <= sun.keys() & burns.keys():
            continue
        if len(first) == len(last) == 9:
            turned = {unit: last[unit] - first[unit] for unit in last}
            given += turned.pop("E1") * 100 + sun[week]
            used += sum(turned.values()) * (14 * 150 / 3600 + 0.9) + burns[week] * 1450
            weeks += 1
    assert weeks >= 5
    assert abs(given - used) < 0.05 * used


def test_burns_have_ash_and_the_plate_of_one_incinerator_is_not_on_record(made):
    burners = {row["school"] for row in of(made["units"], kind="incinerator")}
    assert burners - {row["school"] for row in made["incinerator_ratings"]} == {"OL-05"}
    burns = {(row["school"], row["first_day"]): int(row["burns"]) for row in made["burns"]}
    for row in made["burn_outputs"]:
        assert (int(row["ash_g"]) > 0) is (burns[row["school"], row["week"]] > 0)


def test_menstrual_health_questions_are_asked_on_the_day_of_the_inspection(made):
    days = defaultdict(set)
    for row in made["inspections"]:
        days[row["school"], row["term"]].add(row["seen_on"])
    assert {len(found) for found in days.values()} == {1}
    asked = {row["question"] for row in made["inspections"] if row["question"].startswith("mh_")}
    assert len(asked) == 8


def test_every_cause_of_an_outage_is_there(made):
    causes = {row["cause"] for row in made["outages"]}
    assert causes == {
        "broken", "drain blocked", "low water", "no power", "locked", "dirty", "danger", "planned work", "sold out",
        "not known",
    }  # fmt: skip


def test_outages_of_one_unit_source_and_cause_do_not_overlap_and_one_pair_of_others_does(made):
    alike, any_source = defaultdict(list), defaultdict(list)
    for row in made["outages"]:
        span = (row["start_local_time"], row["end_local_time"] or "9999")
        assert span[0] < span[1], row
        alike[row["school"], row["unit"], row["source"], row["cause"]].append(span)
        any_source[row["school"], row["unit"]].append(span)
    for spans in alike.values():
        assert all(before[1] <= after[0] for before, after in pairwise(sorted(spans)))
    both = [key for key, spans in any_source.items() for a, b in pairwise(sorted(spans)) if a[1] > b[0]]
    assert ("OL-10", "G2") in both


def test_a_danger_was_closed_by_a_named_person_and_one_is_open(made):
    closed, opened = sorted(of(made["outages"], cause="danger"), key=lambda row: row["start_local_time"])
    assert closed["danger"] == "bare wires or shock"
    assert closed["checked_by"] and closed["checked_on"]
    assert not opened["end_local_time"]


def test_open_outages_past_the_promise_and_at_the_only_accessible_cabin(made):
    opened = [row for row in made["outages"] if not row["end_local_time"]]
    past = [row for row in opened if NOW - moment(row["start_local_time"]) > timedelta(hours=72)]
    assert {(row["school"], row["unit"]) for row in past} == {("OL-10", "G3"), ("OL-11", "A1")}
    assert len(opened) > len(past)
    jobs = {row["outage"] for row in made["service_visits"] if not row["done_local_time"]}
    assert {row["ref"] for row in past} <= jobs


def test_the_retrofit_is_on_a_saturday_within_a_term_with_a_measured_factor(made):
    vacuum = of(made["fittings"], kind="vacuum")
    assert {(row["school"], row["factor_permille"], row["litres_basis"]) for row in vacuum} == {
        ("OL-10", "640", "measured")
    }
    day = date.fromisoformat(vacuum[0]["from_day"])
    assert day.weekday() == 5
    assert date(2026, 1, 12) < day < date(2026, 4, 3)


def test_a_machine_sold_out_again_and_again_and_some_days_are_not_answered(made):
    ran_out = of(made["machine_days"], school="OL-04", unit="M2", ran_out="yes")
    days = {date.fromisoformat(row["day"]) for row in ran_out}
    assert len({day - timedelta(days=day.weekday()) for day in days}) >= 20
    days = {row["day"] for row in of(made["sightings"], school="OL-01")}
    answered = {row["day"] for row in of(made["machine_days"], school="OL-01")}
    assert days - answered


def test_papers_run_out_and_burns_stop(made):
    old, new = of(made["disposal_routes"], school="OL-02")
    assert "2026-01-12" < old["permit_until"] < "2026-04-03" < new["from_day"]
    (route,) = of(made["disposal_routes"], school="OL-07")
    assert route["operator_until"] < NOW.date().isoformat() < route["permit_until"]
    after = [row for row in of(made["burns"], school="OL-07") if row["first_day"] > route["operator_until"]]
    assert after
    assert {row["burns"] for row in after} == {"0"}


def test_about_two_sessions_a_school_and_term_with_quizzes_on_some(made):
    sessions = made["awareness_sessions"]
    assert 60 <= len(sessions) <= 84
    quizzed = {row["session"] for row in made["quizzes"]}
    assert 0 < len(quizzed) < len(sessions)
    present = defaultdict(int)
    for row in made["attendance"]:
        present[row["session"]] += int(row["present"])
    for row in made["quizzes"]:
        answered = sum(int(row[name]) for name in ("right_right", "right_wrong", "wrong_right", "wrong_wrong"))
        assert answered <= present[row["session"]]


def test_targets_are_set_before_their_term(made):
    first = {row["term"]: row["first_day"] for row in made["terms"]}
    figures = defaultdict(set)
    for row in made["targets"]:
        assert row["set_at"] < first[row["term"]]
        figures[row["term"]].add(row["figure"])
    assert set(figures) == {"2025-T1", "2025-T2", "2025-T3"}
    assert {len(names) for names in figures.values()} == {9}


def test_units_are_looked_at_about_every_second_day_with_gaps(made):
    days = defaultdict(set)
    for row in made["sightings"]:
        days[row["school"], row["unit"]].add(row["day"])
    looks = len(days["OL-01", "G1"])
    school_days = len({row["day"] for row in of(made["machine_days"], school="OL-01")})
    assert 0.35 < looks / school_days < 0.65


def test_the_readme_names_every_school_and_every_open_trouble(made):
    text = Path(paths.seed_data() / "README.md").read_text(encoding="utf-8")
    for row in made["schools"]:
        assert f"| {row['school']} | {row['name']} |" in text
    for row in made["outages"]:
        if not row["end_local_time"]:
            assert f"{row['school']}, {row['unit']}" in text
    assert f"{DEMO_NOW:%d %B %Y}" in text
