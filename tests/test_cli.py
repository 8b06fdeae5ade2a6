"""The command: help for each act, exit codes, errors on standard error, a report in three shapes."""

from __future__ import annotations

import csv
import io
import json
import sqlite3
from contextlib import closing

import pytest
from click.testing import CliRunner

from tests.demo_file import copy_to
from tracker import cli
from tracker.config import DEMO_SECRET
from tracker.demo_data import DEMO_NOW

SECRET = "only-for-tests-" + "x" * 32
COMMANDS = sorted(cli.main.commands)
DONE, REFUSED, WRONG_INPUT = 0, 1, 2


@pytest.fixture
def run(tmp_path, monkeypatch):
    monkeypatch.setattr(cli, "utc_now", lambda: DEMO_NOW)
    environment = {"WASHBELL_DATABASE": f"sqlite:///{tmp_path}/real.db", "WASHBELL_SECRET": SECRET}

    def call(*words: str, typed: str | None = None, **env: str | None):
        return CliRunner().invoke(cli.main, list(words), env=environment | env, input=typed)

    return call


@pytest.fixture
def in_demo(run, tmp_path):
    address = f"sqlite:///{copy_to(tmp_path)}"
    return lambda *words, **given: run(*words, WASHBELL_DATABASE=address, **given)


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_has_help_that_says_what_it_does(run, name):
    found = run(name, "--help")
    assert found.exit_code == DONE and name in found.stdout
    assert cli.main.commands[name].help.split("\n")[0].endswith(".")


def test_the_commands_of_the_job_are_there():
    assert {"init-db", "load", "demo", "serve", "report", "add-administrator", "check-audit", "plan"} <= set(COMMANDS)


def test_without_settings_it_says_which_to_set_on_standard_error(run):
    found = run("init-db", WASHBELL_DATABASE=None, WASHBELL_SECRET=None)
    assert found.exit_code == REFUSED and found.stdout == ""
    assert "WASHBELL_DATABASE" in found.stderr and "WASHBELL_SECRET" in found.stderr


def test_a_database_is_made_and_making_it_again_changes_nothing(run):
    assert run("init-db").exit_code == DONE
    again = run("init-db")
    assert again.exit_code == DONE and "ready" in again.stdout


def test_a_folder_that_is_wrong_is_listed_on_standard_error_and_nothing_is_loaded(run, tmp_path):
    run("init-db")
    folder = tmp_path / "folder"
    folder.mkdir()
    (folder / "nonsense.csv").write_text("a,b\n1,2\n", encoding="utf-8")
    found = run("load", str(folder))
    assert found.exit_code == WRONG_INPUT and found.stdout == ""
    assert "Nothing was loaded" in found.stderr


def test_serving_refuses_the_demos_secret(run):
    run("init-db")
    found = run("serve", WASHBELL_SECRET=DEMO_SECRET)
    assert found.exit_code == REFUSED and "Set a secret of your own" in found.stderr


def test_serving_refuses_a_database_without_tables(run):
    found = run("serve")
    assert found.exit_code == REFUSED and "init-db" in found.stderr


@pytest.mark.parametrize("port", ["-1", "65536", "99999"])  # a port is a number of 16 bits (RFC 9293, section 3.1)
def test_a_port_that_cannot_be_is_wrong_input(run, port):
    for act in ("demo", "serve"):
        found = run(act, "--port", port)
        assert found.exit_code == WRONG_INPUT and "0<=x<=65535" in found.stderr


def test_a_school_report_prints_as_text_with_what_stands_beside_each_figure(in_demo):
    found = in_demo("report", "school", "--school", "OL-01", "--term", "2025-T2")
    assert found.exit_code == DONE and found.stderr == ""
    assert found.stdout.startswith("Zulvena Landing Primary School: term report\n")
    assert "Visits to cabins and urinals: " in found.stdout and "Last term: " in found.stdout


def test_json_and_csv_hold_the_same_numbers(in_demo, tmp_path):
    words = ("report", "school", "--school", "OL-01", "--term", "2025-T2")
    content = json.loads(in_demo(*words, "--format", "json").stdout)
    out = tmp_path / "out"
    found = in_demo(*words, "--format", "csv", "--out", str(out))
    assert found.exit_code == DONE and "files written" in found.stdout
    rows = {row["key"]: row for row in csv.DictReader(io.StringIO((out / "headlines.csv").read_text(encoding="utf-8")))}
    lines = [line for section in content["sections"] for line in section["lines"]]
    assert lines
    for line in lines:
        value = line["figure"]["value"]
        assert rows[line["key"]]["value"] == ("" if value is None else rows[line["key"]]["value"])
        assert value is None or float(rows[line["key"]]["value"]) == value


def test_the_funders_summary_prints_and_names_no_school(in_demo):
    found = in_demo("report", "impact", "--term", "2025-T2")
    assert found.exit_code == DONE
    assert "impact summary" in found.stdout and "Zulvena Landing" not in found.stdout


def test_json_can_go_to_a_file(in_demo, tmp_path):
    out = tmp_path / "report.json"
    found = in_demo("report", "impact", "--term", "2025-T1", "--format", "json", "--out", str(out))
    assert found.exit_code == DONE and found.stdout == ""
    assert json.loads(out.read_text(encoding="utf-8"))["kind"] == "impact summary"


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("school", "--term", "2025-T2"), "--school CODE"),
        (("impact", "--school", "OL-01", "--term", "2025-T2"), "Leave --school out"),
        (("programme", "--term", "2025-T2", "--format", "csv"), "--out FOLDER"),
        (("school", "--school", "NO", "--term", "2025-T2"), "There is no school NO. Schools of this programme: OL-"),
        (("impact", "--term", "NO"), "There is no term NO. Terms of this programme: 2025-T1"),
        (("impact", "--term", "2026-T1"), "has not begun"),
        (("impact", "--term", "2025-T2", "--programme", "NO"), "There is no programme NO. Programmes: "),
        (("impact", "--term", "2025-T2", "--as-of", "soon"), "Write it like 2026-02-03T18:00"),
        (("impact", "--term", "2025-T2", "--as-of", "2031-01-01T08:00"), "has not come yet"),
    ],
)
def test_wrong_input_is_answered_on_standard_error_with_what_to_do(in_demo, words, said):
    found = in_demo("report", *words)
    assert found.exit_code == WRONG_INPUT and found.stdout == ""
    assert said in found.stderr and "Traceback" not in found.stderr


def test_a_kind_of_report_that_is_not_there_is_wrong_input(run):
    found = run("report", "nonsense", "--term", "2025-T2")
    assert found.exit_code == WRONG_INPUT and "nonsense" in found.stderr


def test_a_report_as_known_earlier_stops_at_that_day(in_demo):
    found = in_demo("report", "school", "--school", "OL-01", "--term", "2025-T2", "--as-of", "2026-02-13T18:00")
    assert found.exit_code == DONE and "12 January to 13 February 2026" in found.stdout


def test_the_audit_trail_is_sealed_and_checked(in_demo):
    found = in_demo("check-audit")
    assert found.exit_code == DONE and "whole" in found.stdout


def test_stock_balances_are_compared_with_their_moves_and_made_anew(run, tmp_path):
    path = copy_to(tmp_path)
    address = f"sqlite:///{path}"
    assert "sum of its moves" in run("check-stock", WASHBELL_DATABASE=address).stdout
    with closing(sqlite3.connect(path)) as database:
        database.execute(
            "UPDATE stock_balance SET quantity = quantity + 3 WHERE place_id = (SELECT id FROM stock_place"
            " WHERE code = 'STORE') AND lot_id = (SELECT MIN(lot_id) FROM stock_balance)"
        )
        database.commit()
    found = run("check-stock", WASHBELL_DATABASE=address)
    assert found.exit_code == REFUSED and "STORE, PAD-R, lot 2501" in found.stderr and "check-stock" in found.stderr
    again = run("check-stock", "--rebuild", WASHBELL_DATABASE=address)
    assert again.exit_code == DONE and "changed: 0" in again.stdout


def programme_code(run) -> str:
    return (
        run("report", "impact", "--term", "2025-T2", "--programme", "NO").stderr.strip().rsplit(" ", 1)[-1].rstrip(".")
    )


@pytest.mark.parametrize(
    ("typed", "code"),
    [("short\nshort\n", WRONG_INPUT), ("seven green herons wade\nseven green herons wade\n", DONE)],
)
def test_an_administrator_is_added_with_a_long_password_only(in_demo, typed, code):
    found = in_demo("add-administrator", programme_code(in_demo), "new@test.example", "New", typed=typed)
    assert found.exit_code == code, found.stderr
    assert ("can log in" in found.stdout) is (code == DONE)


def test_an_administrator_of_no_programme_is_refused(in_demo):
    typed = "seven green herons wade\n" * 2
    found = in_demo("add-administrator", "NO", "new@test.example", "New", typed=typed)
    assert found.exit_code == WRONG_INPUT and "There is no programme NO" in found.stderr


ROUND = ("plan", "--on", "2026-07-17", "--next", "2026-09-21")


def test_a_round_is_planned_as_text_with_its_bound_and_reasons(in_demo):
    found = in_demo(*ROUND, "--budget", "600", "--vehicle", "BIKE", "--unreached", "OL-03")
    assert found.exit_code == DONE, found.stderr
    assert "Expected requests unmet with this plan" in found.stdout
    assert "No plan within these limits is expected to leave fewer" in " ".join(found.stdout.split())
    assert "cannot be reached this time" in found.stdout and "limited by" in found.stdout


def test_the_plan_goes_into_a_file_of_each_kind(in_demo, tmp_path):
    assert in_demo(*ROUND, "--out", f"{tmp_path}/plan.csv").exit_code == DONE
    rows = list(csv.DictReader(io.StringIO((tmp_path / "plan.csv").read_text(encoding="utf-8"))))
    assert in_demo(*ROUND, "--out", f"{tmp_path}/plan.json").exit_code == DONE
    content = json.loads((tmp_path / "plan.json").read_text(encoding="utf-8"))
    (store,) = [table for section in content["sections"] for table in section["tables"] if table["key"] == "store"]
    assert sum(int(row["Packs"]) for row in rows) == sum(loaded for _, _, loaded, _ in store["rows"]) > 0
    assert in_demo(*ROUND, "--out", f"{tmp_path}/plan.xls").exit_code == WRONG_INPUT


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--budget", "500 USD"), "--budget: The programme counts in XTS"),
        (("--product", "TEA"), "--product: There is no product TEA"),
        (("--unreached", "XX-01"), "--unreached: There is no school XX-01"),
        (("--next", "2026-07-17"), "--next: The next round comes after this one"),
        (("--on", "2026-07-14"), "--on: This day has passed"),
        (("--vehicle", "BOAT"), "--vehicle: There is no vehicle BOAT"),
    ],
)
def test_what_cannot_be_planned_is_said_with_its_option(in_demo, words, said):
    found = in_demo(*ROUND, *words)
    assert found.exit_code == WRONG_INPUT and found.stdout == ""
    assert said in found.stderr and "There is no plan." in found.stderr
