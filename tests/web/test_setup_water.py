"""Setting up tanks, cleaning, hand flushes, energy and plates: dated rows, refusals at their place, cautions shown."""

from __future__ import annotations

from datetime import date

import pytest

from tests.make import FIRST, make_block, make_person, make_programme, make_school, make_term, make_unit
from tracker.db import reading
from tracker.models.disposal import BurnOutput, IncineratorRating
from tracker.models.usage import WaterDelivery
from tracker.models.water import CleaningPlan, EnergyGiven, HandFlush, PowerUse, Tank, TankScope
from tracker.records import calendar
from tracker.vocabulary import CountWay, EnergySource, PowerPart, Role, UnitKind

MARCH, DAY_BEFORE = date(2026, 3, 2), date(2026, 3, 1)  # the tests' clock says 4 February 2026
FROM = {"from_day": "2026-03-02"}
MEASURED = {"litres_basis": "measured"}


@pytest.fixture
def programme(session):
    return make_programme(session)


@pytest.fixture
def school(session, programme):
    found = make_school(session, programme)
    make_term(session, programme)
    calendar.rebuild(session, programme.id)
    return found


@pytest.fixture
def units(session, school):
    block = make_block(session, school)
    kinds = (UnitKind.CABIN, UnitKind.TANK, UnitKind.METER, UnitKind.INCINERATOR)
    return {str(kind.value): make_unit(session, school, block, way=CountWay.NONE, kind=kind) for kind in kinds}


@pytest.fixture
def administrator(session, programme, school, units, login_as):
    return login_as(make_person(session, programme, Role.ADMINISTRATOR))


@pytest.fixture
def change(administrator, school):
    def send(act: str, data: dict, row: int):
        return administrator.post(f"/schools/{school.id}/setup/{act}?row={row}", data=data)

    return send


@pytest.fixture
def saved(engine):
    with reading(engine) as session:
        yield session


def test_a_tank_holds_more_from_a_day_on_and_what_it_held_before_stays(change, units, saved):
    tank = units["tank"].id
    assert change("tank-size", {"litres": "5000", "from_day": FIRST.isoformat()}, tank).status_code == 302
    assert change("tank-size", {"litres": "8000", "inflow_known": "y"} | FROM, tank).status_code == 302
    rows = saved.query(Tank).order_by(Tank.from_day).all()
    assert [(row.capacity_ml, row.inflow_known, row.until_day) for row in rows] == [
        (5_000_000, False, DAY_BEFORE),
        (8_000_000, True, None),
    ]
    empty = change("tank-size", {"litres": "0"} | FROM, tank)
    assert "more than 0" in empty.text
    assert 'value="0"' in empty.text


def test_what_draws_on_a_tank_is_dated(change, units, saved):
    tank, cabin = units["tank"].id, units["cabin"].id
    data = {"served": str(cabin), "whole": "y", "from_day": FIRST.isoformat()}
    assert change("tank-scope", data, tank).status_code == 302
    assert "Choose a later day." in change("tank-scope", data, tank).text
    row = saved.query(TankScope).one()
    assert (row.tank_id, row.unit_id, row.whole, row.until_day) == (tank, cabin, True, None)


def test_a_cleaning_cycle_is_planned_and_ended(change, units, saved):
    data = {"name": "rinse", "litres": "4.5", "times": "2", "every": "school day"} | MEASURED | FROM
    page = change("cleaning", data | {"litres": ""}, units["cabin"].id)
    assert "Write litres, for example 1.5." in page.text
    assert "Never mix" in page.text  # the caution about agents stands on the page
    assert change("cleaning", data, units["cabin"].id).status_code == 302
    plan = saved.query(CleaningPlan).one()
    assert (plan.name, plan.ml, plan.times, plan.every.value, plan.until_day) == ("rinse", 4500, 2, "school day", None)
    assert change("end-cleaning", {"last_day": "2026-03-31"}, plan.id).status_code == 302
    saved.rollback()  # look anew
    assert saved.query(CleaningPlan).one().until_day == date(2026, 3, 31)


def test_the_share_of_hand_flushes_lies_between_its_ends(change, units, saved):
    data = {"litres": "6", "share": "30", "share_low": "40", "share_high": "60", "instead": "y"} | MEASURED | FROM
    refused = change("hand-flush", data, units["cabin"].id)
    assert "between its low and its high end" in refused.text
    assert change("hand-flush", data | {"share_low": "10"}, units["cabin"].id).status_code == 302
    row = saved.query(HandFlush).one()
    shares = (row.share_low_permille, row.share_permille, row.share_high_permille)
    assert (shares, row.share_seen, row.instead) == ((100, 300, 600), False, True)


def test_a_part_needs_its_own_numbers_and_leaves_the_others_out(change, units, saved):
    light = {"part": "light and fan", "watts": "12", "watt_hours": "9"} | FROM
    assert "This part needs this number." in change("power", light, units["cabin"].id).text
    assert change("power", light | {"seconds": "150"}, units["cabin"].id).status_code == 302
    row = saved.query(PowerUse).one()
    assert (row.part, row.watts, row.seconds, row.wh_thousandths) == (PowerPart.LIGHT_FAN, 12, 150, None)
    burn = {"part": "incinerator", "watt_hours": "1400"} | FROM
    refused = change("power", burn, units["cabin"].id)
    assert "Energy of burns is an incinerator" in refused.text
    assert change("power", burn, units["incinerator"].id).status_code == 302


def test_a_plate_says_at_least_one_thing(change, units, saved):
    refused = change("plate", FROM, units["incinerator"].id)
    assert "Write at least one number" in refused.text
    assert "trained adult" in refused.text  # the caution about incinerators
    assert change("plate", {"grams": "800"} | FROM, units["incinerator"].id).status_code == 302
    row = saved.query(IncineratorRating).one()
    assert (row.pads, row.grams, row.burns_a_day) == (None, 800, None)


def test_a_plate_is_an_incinerators_and_a_tank_a_tank(change, units, saved):
    assert "is a cabin" in change("plate", {"pads": "40"} | FROM, units["cabin"].id).text
    assert "is a cabin" in change("tank-size", {"litres": "500"} | FROM, units["cabin"].id).text
    assert saved.query(IncineratorRating).count() == saved.query(Tank).count() == 0


def test_water_that_came_is_noted_with_a_reference_of_its_own(change, units, saved):
    data = {"origin": "rain", "litres": "250.5", "day": "2026-02-03"}
    for _ in range(2):
        assert change("delivery", data, units["tank"].id).status_code == 302
    rows = saved.query(WaterDelivery).all()
    assert [(row.origin, row.ml, row.day) for row in rows] == [("rain", 250_500, date(2026, 2, 3))] * 2
    assert len({row.ref for row in rows}) == 2
    assert "lies in the future" in change("delivery", data | {"day": "2026-02-05"}, units["tank"].id).text
    assert "more than 0" in change("delivery", data | {"litres": "0"}, units["tank"].id).text
    assert "did not stand" in change("delivery", data | {"day": "2025-12-31"}, units["tank"].id).text


def test_the_suns_energy_belongs_to_a_week_and_is_noted_once(change, units, saved):
    data = {"origin": "solar", "wh": "2400", "uncertainty": "3", "day": "2026-02-03"}
    assert change("energy", data, units["meter"].id).status_code == 302
    row = saved.query(EnergyGiven).one()
    assert (row.week, row.origin, row.wh, row.u_permille) == (date(2026, 2, 2), EnergySource.SOLAR, 2400, 30)
    again = change("energy", data | {"day": "2026-02-04"}, units["meter"].id)
    assert "This week is on record already." in again.text


def test_ash_or_energy_of_a_week_is_noted_or_nothing_is(change, units, saved):
    burner = units["incinerator"].id
    assert "Write the ash, the energy or both." in change("ash", {"day": "2026-02-03"}, burner).text
    assert change("ash", {"day": "2026-02-03", "ash_g": "0"}, burner).status_code == 302
    row = saved.query(BurnOutput).one()
    assert (row.week, row.ash_g, row.energy_wh) == (date(2026, 2, 2), 0, None)


@pytest.mark.parametrize(
    ("act", "kind"),
    [("delivery", "cabin"), ("energy", "tank"), ("ash", "cabin"), ("hand-flush", "tank"), ("cleaning", "meter")],
)
def test_an_act_of_another_kind_of_unit_is_not_there(administrator, school, units, act, kind):
    assert administrator.get(f"/schools/{school.id}/setup/{act}?row={units[kind].id}").status_code == 404


def test_the_school_page_shows_what_was_said_and_where_to_say_more(administrator, school, change, units):
    change("tank-size", {"litres": "5000", "inflow_known": "y"} | FROM, units["tank"].id)
    change(
        "cleaning", {"name": "rinse", "litres": "4", "times": "1", "every": "week"} | MEASURED | FROM, units["cabin"].id
    )
    change("power", {"part": "pump", "watt_hours": "1.5"} | FROM, units["cabin"].id)
    change("plate", {"pads": "40"} | FROM, units["incinerator"].id)
    page = administrator.get(f"/schools/{school.id}/setup").text
    for said in ("Holds 5000 L", "rinse, 4 L, 1 in each week", "pump, 1.5 Wh", "40 pads a burn", "Water came"):
        assert said in page
