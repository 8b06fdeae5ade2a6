"""What a person asks a restocking plan for, read from what was typed: each mistake gets a sentence at its field.

The page and the command read through here, so that both say the same.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal, InvalidOperation
from typing import Final, TypeVar

from tracker.measures.restock_terms import Aim, Limits
from tracker.records import heads, restock_inputs
from tracker.records.heads import Session
from tracker.records.restock_inputs import Asked, ProductHead, VehicleHead

MOST_LEAD_DAYS: Final = 60
MOST_DAYS: Final = 400  # between two rounds
MOST_AMOUNT: Final = Decimal(10**10)
MOST_PACKS: Final = 10**6
MOST_DIGITS: Final = 9
MOST_NAMED: Final = 40  # signs of what was typed that a sentence repeats
ML_PER_L: Final = 1000
MINOR: Final = 100  # minor units of the main one
SIGNS: Final = "€$£¥₹"
T = TypeVar("T")
DAY_WANTED: Final = "Write a day as year-month-day, for example 2026-02-03."
FIRST_AIM: Final = "fewest"
AIM_CODES: Final = {FIRST_AIM: Aim.FEWEST_UNMET, "equal": Aim.EQUAL_RUN_OUT, "lowest": Aim.LOWEST_SHARE}


@dataclass(frozen=True, slots=True)
class Choices:
    """What can be chosen: the programme, its currency, the day, schools (id, code, name), products, vehicles."""

    programme_id: int
    currency: str
    today: date
    schools: tuple[tuple[int, str, str], ...]
    products: tuple[ProductHead, ...]
    vehicles: tuple[VehicleHead, ...]
    all_schools: bool = True  # whether ``schools`` are all of the programme


def choices_of(session: Session, programme_id: int, today: date, area_ids: Collection[int] | None = None) -> Choices:
    """What can be chosen in a programme, for somebody who has some areas of it or (None) all; four queries."""
    return Choices(
        programme_id,
        heads.programme(session, programme_id).currency,
        today,
        restock_inputs.schools(session, programme_id, today, area_ids),
        restock_inputs.products(session, programme_id),
        restock_inputs.vehicles(session, programme_id),
        area_ids is None,
    )


@dataclass(frozen=True, slots=True)
class Typed:
    """What was typed, as text."""

    on: str = ""
    until: str = ""
    lead: str = ""
    budget: str = ""
    vehicle: str = ""
    litres: str = ""
    packs: str = ""
    aim: str = FIRST_AIM
    out: tuple[str, ...] = ()  # codes of schools that cannot be reached
    products: tuple[str, ...] = ()  # codes; none is all


@dataclass(frozen=True, slots=True)
class Ask:
    """What the plan is asked for, read."""

    asked: Asked
    limits: Limits
    aim: Aim
    vehicle: VehicleHead | None = None


@dataclass(frozen=True, slots=True)
class Reading:
    """A reading: ``errors`` by field, and what is asked for; None where there is a mistake."""

    errors: dict[str, str]
    ask: Ask | None


class _FieldError(ValueError):
    """A field cannot be used; the message says what to write."""


class _Fields:
    """Reads field by field and keeps what is wrong."""

    def __init__(self) -> None:
        self.errors: dict[str, str] = {}

    def take(self, name: str, read: Callable[[], T]) -> T | None:
        try:
            return read()
        except _FieldError as wrong:
            self.errors[name] = str(wrong)
            return None


def read_ask(typed: Typed, choices: Choices) -> Reading:
    """Read what was typed.

    >>> choices = Choices(1, "XTS", date(2026, 7, 15), ((7, "S7", "Lakeside"),), (), ())
    >>> read_ask(Typed(on="2026-07-14", until="2026-07-20"), choices).errors
    {'on': 'This day has passed. Plan for 2026-07-15 or a later day.'}
    >>> read_ask(Typed(on="2026-07-17", until="2026-07-31", budget="500 USD"), choices).errors["budget"]
    'The programme counts in XTS, and this amount says USD. Write it in XTS, for example 500.00.'
    """
    fields = _Fields()
    on = fields.take("on", lambda: _round_day(typed.on, choices.today))
    until = fields.take("until", lambda: _next_day(typed.until, on or choices.today))
    lead = fields.take("lead", lambda: _whole(typed.lead, MOST_LEAD_DAYS))
    out = fields.take("out", lambda: _schools(typed.out, choices.schools))
    products = fields.take("products", lambda: _products(typed.products, choices.products))
    vehicle = fields.take("vehicle", lambda: _vehicle(typed.vehicle, choices.vehicles))
    limits = _limits(fields, typed, choices, vehicle)
    aim = fields.take("aim", lambda: _aim(typed.aim))
    if fields.errors or on is None or until is None or aim is None:
        return Reading(fields.errors, None)
    ids = None if choices.all_schools else tuple(one for one, _, _ in choices.schools)
    days = (choices.today, on, until, lead or 0)
    asked = Asked(choices.programme_id, *days, out or frozenset(), products or (), ids)
    return Reading({}, Ask(asked, limits, aim, vehicle))


def _limits(fields: _Fields, typed: Typed, choices: Choices, vehicle: VehicleHead | None) -> Limits:
    """The limits that were typed; of the vehicle's room and the room typed the smaller."""
    budget = fields.take("budget", lambda: minor_units(typed.budget, choices.currency))
    litres = fields.take("litres", lambda: _amount(typed.litres))
    packs = fields.take("packs", lambda: _whole(typed.packs, MOST_PACKS))
    room_ml, room_packs = (None, None) if vehicle is None else (vehicle.room_ml, vehicle.room_packs)
    room_l = _smaller(None if litres is None else float(litres), None if room_ml is None else room_ml / ML_PER_L)
    most = _smaller(packs, room_packs)
    return Limits(budget, room_l, None if most is None else int(most))


def _smaller(one: float | None, other: float | None) -> float | None:
    known = [limit for limit in (one, other) if limit is not None]
    return min(known) if known else None


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text.strip())
    except ValueError:
        raise _FieldError(DAY_WANTED) from None


def _round_day(text: str, today: date) -> date:
    on = _day(text)
    if on < today:
        raise _FieldError(f"This day has passed. Plan for {today} or a later day.")
    if on > today + timedelta(days=MOST_DAYS):
        raise _FieldError(f"This day is too far ahead. Plan for a day before {today + timedelta(days=MOST_DAYS)}.")
    return on


def _next_day(text: str, after: date) -> date:
    until = _day(text)
    if until <= after:
        raise _FieldError(f"The next round comes after this one. Write a day later than {after}.")
    if until > after + timedelta(days=MOST_DAYS):
        raise _FieldError(f"The next round is too far ahead. Write a day before {after + timedelta(days=MOST_DAYS)}.")
    return until


def _whole(text: str, most: int) -> int | None:
    """A whole number; None where nothing was typed."""
    typed = text.strip()
    if not typed:
        return None
    if not (typed.isascii() and typed.isdecimal()) or len(typed) > MOST_DIGITS or int(typed) > most:
        raise _FieldError(f"Write a whole number from 0 to {most}, or leave it empty.")
    return int(typed)


def _amount(text: str) -> Decimal | None:
    """A number of 0 or more with a decimal point; None where nothing was typed."""
    typed = "".join(text.split())
    if not typed:
        return None
    try:
        found = Decimal(typed)
    except InvalidOperation:
        raise _FieldError("Write a number such as 120 or 120.5, or leave it empty.") from None
    if not found.is_finite() or not 0 <= found < MOST_AMOUNT:
        raise _FieldError("Write a number of 0 or more, or leave it empty.")
    return found


def minor_units(text: str, currency: str) -> int | None:
    """An amount of money in minor units of the programme's currency; None where nothing was typed.

    >>> minor_units("1 250.50 XTS", "XTS"), minor_units("40", "XTS"), minor_units(" ", "XTS")
    (125050, 4000, None)
    """
    named = "".join(sign for sign in text if sign.isalpha() or sign in SIGNS).upper()
    if named and named != currency:
        raise _FieldError(
            f"The programme counts in {currency}, and this amount says {named[:MOST_NAMED]}. "
            f"Write it in {currency}, for example 500.00."
        )
    digits = "".join(sign for sign in text if not (sign.isalpha() or sign in SIGNS))
    amount = _amount(digits)
    if amount is None:
        if named:
            raise _FieldError(f"Write an amount in {currency}, for example 500.00, or leave it empty.")
        return None
    minor = amount * MINOR
    if minor != minor.to_integral_value():
        raise _FieldError("Write an amount with at most two decimals, for example 500.00.")
    return int(minor)


def _vehicle(code: str, vehicles: Sequence[VehicleHead]) -> VehicleHead | None:
    if not code:
        return None
    for one in vehicles:
        if one.code == code:
            return one
    raise _FieldError(f"There is no vehicle {code[:MOST_NAMED]}. {_choose(one.code for one in vehicles)}")


def _aim(code: str) -> Aim:
    if code not in AIM_CODES:
        raise _FieldError(f"Choose an aim: {', '.join(AIM_CODES)}.")
    return AIM_CODES[code]


def _schools(codes: Sequence[str], schools: Sequence[tuple[int, str, str]]) -> frozenset[int]:
    ids = {code: number for number, code, _ in schools}
    for code in codes:
        if code not in ids:
            raise _FieldError(f"There is no school {code[:MOST_NAMED]} to leave out. {_choose(ids)}")
    return frozenset(ids[code] for code in codes)


def _products(codes: Sequence[str], products: Sequence[ProductHead]) -> tuple[str, ...]:
    known = [one.code for one in products]
    for code in codes:
        if code not in known:
            raise _FieldError(f"There is no product {code[:MOST_NAMED]}. {_choose(known)}")
    return tuple(code for code in known if code in codes)


def _choose(codes: Iterable[str]) -> str:
    listed = ", ".join(codes)
    return f"Choose one of: {listed}." if listed else "None is on record yet."
