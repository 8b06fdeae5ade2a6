"""What a plan is asked for: each mistake gets its sentence at its field, and what is right is read whole."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from tracker.intake.restock_ask import Choices, Typed, read_ask
from tracker.measures.restock_terms import Aim, Limits
from tracker.records.restock_inputs import ProductHead, VehicleHead

TODAY = date(2026, 7, 15)
CHOICES = Choices(
    4,
    "XTS",
    TODAY,
    ((11, "S-1", "Lakeside"), (12, "S-2", "Hilltop")),
    (ProductHead("PAD", "Napkin"), ProductHead("SOAP", "Soap")),
    (VehicleHead("VAN", "Van", 900_000, None), VehicleHead("BIKE", "Motorbike", 80_000, 60)),
)
FINE = Typed(on="2026-07-17", until="2026-09-21")


def test_what_is_typed_right_is_read_whole():
    typed = replace(FINE, lead="3", budget="1 250.50 XTS", vehicle="BIKE", litres="100", packs="40")
    reading = read_ask(replace(typed, aim="equal", out=("S-2",), products=("SOAP", "PAD")), CHOICES)
    assert reading.errors == {}
    asked = reading.ask.asked
    assert (asked.programme_id, asked.today, asked.on, asked.until) == (4, TODAY, date(2026, 7, 17), date(2026, 9, 21))
    assert asked.last == date(2026, 9, 23)  # three days after the day before the next round
    assert asked.unreachable == {12} and asked.products == ("PAD", "SOAP") and asked.schools is None
    assert reading.ask.limits == Limits(125_050, 80.0, 40)  # the smaller of the vehicle's room and the room typed
    assert reading.ask.aim is Aim.EQUAL_RUN_OUT


def test_what_is_left_empty_is_not_limited():
    assert read_ask(FINE, CHOICES).ask.limits == Limits()


def test_somebody_who_has_some_schools_plans_for_those_only():
    assert read_ask(FINE, replace(CHOICES, all_schools=False)).ask.asked.schools == (11, 12)


@pytest.mark.parametrize(
    ("field", "typed", "said"),
    [
        ("on", "", "Write a day as year-month-day"),
        ("on", "17.7.2026", "Write a day as year-month-day"),
        ("on", "2026-07-14", "This day has passed. Plan for 2026-07-15 or a later day."),
        ("on", "2028-07-14", "This day is too far ahead"),
        ("until", "2026-07-17", "Write a day later than 2026-07-17."),
        ("until", "2029-01-01", "The next round is too far ahead"),
        ("lead", "soon", "Write a whole number from 0 to 60"),
        ("lead", "61", "Write a whole number from 0 to 60"),
        ("budget", "500 USD", "The programme counts in XTS, and this amount says USD."),
        ("budget", "$500", "The programme counts in XTS, and this amount says $."),
        ("budget", "XTS", "Write an amount in XTS"),
        ("budget", "-5", "Write a number of 0 or more"),
        ("budget", "1.005", "at most two decimals"),
        ("budget", "1,5,0", "Write a number such as 120"),
        ("budget", "1e999999", "and this amount says E."),
        ("vehicle", "BOAT", "There is no vehicle BOAT. Choose one of: VAN, BIKE."),
        ("litres", "-3", "Write a number of 0 or more"),
        ("litres", "nan", "Write a number of 0 or more"),
        ("packs", "2.5", "Write a whole number"),
        ("packs", "９", "Write a whole number"),
        ("aim", "luck", "Choose an aim: fewest, equal, lowest."),
        ("out", ("S-9",), "There is no school S-9 to leave out. Choose one of: S-1, S-2."),
        ("products", ("TEA",), "There is no product TEA. Choose one of: PAD, SOAP."),
    ],
)
def test_a_mistake_gets_its_sentence_at_its_field(field, typed, said):
    reading = read_ask(replace(FINE, **{field: typed}), CHOICES)
    assert reading.ask is None
    assert list(reading.errors) == [field] and said in reading.errors[field]


def test_today_is_a_day_to_plan_for():
    assert read_ask(replace(FINE, on="2026-07-15"), CHOICES).errors == {}


def test_every_mistake_is_said_at_once_and_a_next_round_in_the_past_too():
    reading = read_ask(Typed(on="x", until="2026-07-01", budget="?", aim="?"), CHOICES)
    assert set(reading.errors) == {"on", "until", "budget", "aim"}
