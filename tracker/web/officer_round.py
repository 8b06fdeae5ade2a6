"""The officer's rounds: the list, making one from a plan, one round with its stops, papers, minutes of driving."""

from __future__ import annotations

import secrets
from dataclasses import dataclass
from typing import Any

from flask import abort, flash, redirect, render_template, request, url_for

from tracker.intake import restock_ask
from tracker.models.programme import Programme
from tracker.models.rounds import Round, RoundDay
from tracker.records import rounds, rounds_goods, rounds_read, rounds_roads
from tracker.records.rounds import PlannedDay, PlannedLine, RoundError, RoundPlan
from tracker.vocabulary import Role
from tracker.web import access, clock, officer_restock
from tracker.web.access import allow
from tracker.web.accesslog import log_view
from tracker.web.database import db
from tracker.web.forms import rounds as forms
from tracker.web.forms.rounds import Typed
from tracker.web.officer_today import bp
from tracker.web.signing import signed

NO_VEHICLE = "No vehicle is on record. Add one to the programme's set-up first."


@dataclass(frozen=True, slots=True)
class Own:
    """A round that the officer may work on, and its programme."""

    round: Round
    programme: Programme
    view: rounds_read.RoundView


@dataclass(frozen=True, slots=True)
class FromPlan:
    """What a plan brings: packs by (school, product), and thousandths of expected unmet requests spared by school."""

    ask: restock_ask.Ask
    packs: dict[tuple[int, int], int]
    needs: dict[int, int]


def load_round(round_id: int) -> Own:
    """The round of the address; 404 for none, for another programme's, and for one beyond the officer's areas."""
    made = db().get(Round, round_id)
    if made is None:
        abort(404)
    programme = access.load_programme(made.programme_id, to="officer")
    view = rounds_read.view(db(), made)
    areas = access.area_ids(Role.OFFICER, programme.id)
    if areas is not None and view.area_ids() - areas:
        abort(404)
    return Own(made, programme, view)


def load_round_day(day_id: int) -> tuple[Own, rounds_read.DayView]:
    """A vehicle-day of a round that the officer may work on."""
    row = db().get(RoundDay, day_id)
    if row is None:
        abort(404)
    own = load_round(row.round_id)
    return own, next(day for day in own.view.days if day.row.id == day_id)


def summary(typed: Typed) -> list[tuple[str, str]]:
    """What is wrong, as the list on top of a page."""
    return list(typed.errors.items())


# --- list and making ----------------------------------------------------------------------------------------------


@bp.get("/programmes/rounds", endpoint="rounds_home")
@allow(Role.OFFICER)
def rounds_home():
    """Lead to the rounds of the only programme, or offer those of each."""
    mine = access.programme_ids(Role.OFFICER)
    if len(mine) == 1:
        return redirect(url_for(".rounds", programme_id=mine[0]))
    return render_template("officer/round_programmes.html", programmes=[db().get_one(Programme, one) for one in mine])


@bp.get("/programmes/<int:programme_id>/rounds", endpoint="rounds")
@allow(Role.OFFICER)
def rounds_page(programme_id: int):
    """Rounds of a programme, newest first."""
    programme = access.load_programme(programme_id, to="officer")
    rows = rounds_read.rows(db(), programme.id, access.area_ids(Role.OFFICER, programme.id))
    log_view("rounds", rows=len(rows))
    return render_template("officer/rounds.html", programme=programme, rows=rows)


@bp.route("/programmes/<int:programme_id>/rounds/new", methods=["GET", "POST"], endpoint="new_round")
@allow(Role.OFFICER)
def new_round(programme_id: int):
    """Make a round from the plan that the address asks for: choose vehicles and days, then it is divided."""
    programme = access.load_programme(programme_id, to="officer")
    planned = _from_plan(programme)
    if planned is None:
        return redirect(url_for(".restock", programme_id=programme.id, **request.args.to_dict(flat=False)))
    bring = rounds_goods.goods(db(), programme.id)
    typed = forms.typed_from(request.form) if request.method == "POST" else _first_days(planned, bring)
    if request.method == "POST" and (made := _make(programme, planned, typed)) is not None:
        db().commit()
        flash(f"Round {made.code} is made. Look at its stops before a vehicle sets out.")
        return redirect(url_for(".round", round_id=made.id))
    return render_template(
        "officer/round_new.html",
        programme=programme,
        planned=planned,
        packs=sum(planned.packs.values()),
        schools=len({school for school, _ in planned.packs}),
        typed=typed,
        errors=summary(typed),
        rows=range(forms.row_count(typed)),
        vehicles=vehicle_choices(bring),
        stores=[(place.id, place.name) for place in rounds_roads.stores(db(), programme.id)],
        no_vehicle="" if bring.vehicles else NO_VEHICLE,
    ), 400 if typed.errors else 200


def _from_plan(programme: Programme) -> FromPlan | None:
    """The plan that the address asks for, made again from the records of the day; None where it cannot be made."""
    from tracker.reports import restock_plan  # it brings pandas, which other pages do without

    areas = access.area_ids(Role.OFFICER, programme.id)
    choices = restock_ask.choices_of(db(), programme.id, clock.today(programme.zone), areas)
    ask = restock_ask.read_ask(officer_restock.typed_of_address(), choices).ask
    if ask is None:
        return None
    try:
        made = restock_plan.make(db(), ask.asked, ask.limits, ask.aim)
    except restock_plan.NoPlanError:
        return None
    lines = made.plan.lines[made.plan.lines["packs"] > 0]
    gained = (lines["unmet_before"] - lines["unmet_after"]).fillna(0.0).clip(lower=0.0)
    needs = (gained * 1000).round().astype("int64").groupby(lines["school_id"]).sum()
    return FromPlan(ask, made.packs(), dict(zip(needs.index.tolist(), needs.tolist(), strict=True)))


def vehicle_choices(bring: rounds_goods.Goods) -> list[tuple[str, str]]:
    """Vehicles to choose from, "none" first."""
    return [("", "no vehicle"), *((str(one.id), one.name) for one in bring.vehicles.values())]


def _first_days(planned, bring: rounds_goods.Goods) -> Typed:
    """One vehicle-day to begin with: the plan's vehicle, else the one with the most room, on the plan's day."""
    code = planned.ask.vehicle.code if planned.ask.vehicle else ""
    chosen = next((one for one in bring.vehicles.values() if one.code == code), None)
    first = chosen or max(bring.vehicles.values(), key=lambda one: one.room_ml or 0, default=None)
    days = [] if first is None else [PlannedDay(first.id, planned.ask.asked.on, 450, 480)]
    typed = forms.day_rows(days, blank=2)
    typed.values |= {"key": secrets.token_hex(16), "stay": str(rounds.STAY_MIN)}
    return typed


def _make(programme: Programme, planned, typed: Typed) -> Round | None:
    from tracker.reports import round_way  # it brings numpy, which other pages do without

    days, stay = forms.read_days(typed), forms.read_stay(typed)
    if typed.errors:
        return None
    try:
        plan = _round_plan(programme, planned, typed, days, stay)
        division = round_way.divide(db(), programme.id, plan).division
        return rounds.create(signed(), programme, plan, division, clock.today(programme.zone))
    except RoundError as refused:
        at_field(typed, refused)
        return None


def at_field(typed: Typed, refused: RoundError) -> None:
    """Put a refusal at its field; one about vehicle-days at the first row."""
    name = refused.field
    first = f"{name}-0"
    typed.wrong(first if first in typed.values else name, str(refused))


def _round_plan(programme: Programme, planned, typed: Typed, days: tuple[PlannedDay, ...], stay: int) -> RoundPlan:
    bring = rounds_goods.goods(db(), programme.id)
    stores = rounds_roads.stores(db(), programme.id)
    store = forms.whole(typed.get("store")) or (stores[0].id if stores else 0)
    lines = tuple(
        PlannedLine(school, product, packs * bring.products[product].pack_size)
        for (school, product), packs in sorted(planned.packs.items())
    )
    return RoundPlan(
        key=typed.get("key")[:64] or secrets.token_hex(16),
        store_id=store,
        day=min([one.day for one in days]),
        next_day=planned.ask.asked.until,
        aim=str(planned.ask.aim.value),
        days=days,
        lines=lines,
        budget_minor=planned.ask.limits.budget_minor,
        stay_min=stay,
        needs=planned.needs,
    )


# --- one round ----------------------------------------------------------------------------------------------------


@bp.get("/programmes/rounds/<int:round_id>", endpoint="round")
@allow(Role.OFFICER)
def round_page(round_id: int):
    """One round: its vehicle-days with their stops, what is left out, what waits for the engineer on the way."""
    own = load_round(round_id)
    log_view("round", rows=sum(len(day.stops) for day in own.view.days))
    return show_round(own, days_typed(own), Typed())


def days_typed(own: Own) -> Typed:
    """The vehicle-days of a round as fields."""
    typed = forms.day_rows([day.planned() for day in own.view.days])
    typed.values["stay"] = str(own.round.stay_min)
    return typed


def show_round(own: Own, days: Typed, order: Typed, code: int = 200):
    """The page of a round; with what was typed where something was refused."""
    from tracker.reports import round_jobs, round_way

    plan = rounds.plan_of(db(), own.round)
    ways, roads_wanted = _ways(round_way, own, plan)
    schools = [stop.school.id for day in own.view.days for stop in day.stops]
    areas = access.area_ids(Role.OFFICER, own.programme.id)
    return render_template(
        "officer/round.html",
        programme=own.programme,
        view=own.view,
        ways=ways,
        roads_wanted=roads_wanted,
        left_words=round_way.LEFT_OUT_WORDS,
        engineer=round_jobs.engineer_side(db(), own.programme.id, clock.now(), schools, areas),
        bring=rounds_goods.goods(db(), own.programme.id),
        days=days,
        order=order,
        errors=summary(days) + summary(order),
        rows=range(forms.row_count(days)),
        today=clock.today(own.programme.zone),
        vehicles=vehicle_choices(rounds_goods.goods(db(), own.programme.id)),
        choices=_day_choices(own),
    ), code


def _day_choices(own: Own) -> list[tuple[str, str]]:
    waiting = [day for day in own.view.days if day.row.set_out_at is None]
    return [("", "left out"), *((str(day.row.id), f"{day.vehicle.name}, {day.row.day:%a %d %b}") for day in waiting)]


def _ways(round_way, own: Own, plan: RoundPlan) -> tuple[dict[int, Any], str]:
    """The way of each vehicle-day by its id, or the sentence that says what must be known first."""
    found = {}
    for day in own.view.days:
        schools = [stop.school.id for stop in day.stops]
        try:
            found[day.row.id] = round_way.day_way(db(), own.programme.id, plan, day.planned(), schools)
        except RoundError as refused:
            return {}, str(refused)
    return found, ""


@bp.get("/programmes/rounds/<int:round_id>/pick-list", endpoint="pick_list")
@allow(Role.OFFICER)
def pick_list(round_id: int):
    """What each vehicle loads, by lot, first expiry first; to print."""
    from tracker.reports import round_papers

    own = load_round(round_id)
    lists = round_papers.pick_lists(db(), own.view)
    log_view("pick list", rows=sum(len(one.lines) for one in lists))
    return render_template("officer/round_pick_list.html", programme=own.programme, view=own.view, lists=lists)


@bp.get("/programmes/rounds/<int:round_id>/notes", endpoint="delivery_notes")
@allow(Role.OFFICER)
def delivery_notes(round_id: int):
    """A note for each stop, to print and sign."""
    from tracker.reports import round_papers

    own = load_round(round_id)
    notes = round_papers.delivery_notes(own.view)
    log_view("delivery notes", rows=len(notes))
    return render_template("officer/round_notes.html", programme=own.programme, view=own.view, notes=notes)


# --- minutes of driving -------------------------------------------------------------------------------------------


@bp.route("/programmes/<int:programme_id>/roads", methods=["GET", "POST"], endpoint="roads")
@allow(Role.OFFICER)
def roads(programme_id: int):
    """Minutes of driving between areas and within them, and where the store stands."""
    programme = access.load_programme(programme_id, to="officer")
    areas, stores = rounds_roads.areas(db(), programme.id), rounds_roads.stores(db(), programme.id)
    typed = forms.typed_from(request.form) if request.method == "POST" else _roads_typed(programme, stores)
    if request.method == "POST" and _write_roads(programme, areas, stores, typed):
        db().commit()
        flash("Saved. Rounds that are planned show the new minutes.")
        return redirect(url_for(".roads", programme_id=programme.id))
    if request.method == "GET":
        log_view("minutes of driving", rows=len(areas))
    return render_template(
        "officer/roads.html",
        programme=programme,
        areas=areas,
        area_choices=[("", "not recorded"), *((str(area.id), area.name) for area in areas)],
        stores=stores,
        typed=typed,
        errors=summary(typed),
    ), 400 if typed.errors else 200


def _roads_typed(programme: Programme, stores) -> Typed:
    written = rounds_roads.minutes_written(db(), programme.id)
    typed = Typed({f"m-{one}-{other}": str(minutes) for (one, other), minutes in written.items()})
    for store in stores:
        site = rounds_roads.site_of(db(), store.id)
        typed.values[f"site-{store.id}"] = "" if site is None else str(site.area_id)
    return typed


def _write_roads(programme: Programme, areas, stores, typed: Typed) -> bool:
    session, ids = signed(), [area.id for area in areas]
    written: dict[tuple[int, int], int | None] = {}
    for pair in ((one, other) for one in ids for other in ids):
        name = f"m-{pair[0]}-{pair[1]}"
        text = typed.get(name)
        written[pair] = forms.whole(text)
        if text and not written[pair]:
            typed.wrong(name, "Write whole minutes from 1 to 1440, or leave it blank.")
    if typed.errors:
        return False
    try:
        rounds_roads.write_minutes(session, programme.id, written)
    except rounds_roads.RoadError as refused:
        typed.wrong(refused.field, str(refused))
        db().rollback()
        return False
    for store in stores:
        area = forms.whole(typed.get(f"site-{store.id}"))
        if area in ids:
            rounds_roads.set_site(session, store.id, area)
    return True
