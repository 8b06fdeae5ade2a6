"""Napkins and soap: rounds from the store, refills, what was given out, what was counted, burns."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, timedelta

from tracker.demo_data.book import Book, Cell, Dice
from tracker.demo_data.plan import (
    FIRST_DAY,
    INSTALLED,
    OPERATOR_LAPSE,
    PERMIT_GAP,
    ROUNDS,
    SEED,
    SET_UP,
    MachinePlan,
    SchoolPlan,
)
from tracker.demo_data.school_time import SchoolYear, Sheet
from tracker.demo_data.units import UnitPlan, first_value
from tracker.vocabulary import GivenWay, MoveReason, PlaceKind, Quantity, Route, Source, UnitKind

REGULAR, LONG_PAD, SOAP = "PAD-R", "PAD-L", "SOAP"
PRODUCTS = (
    (REGULAR, "Napkin, regular", True, 10, 38, 1095),
    (LONG_PAD, "Napkin, long", True, 8, 46, 1095),
    (SOAP, "Soap, bar", False, 12, 90, None),
)
# used up in cleaning and repair; demo_data/cleaning.py plays them
MORE = (
    ("DISINF", "Disinfectant, 1 L bottle", False, 6, 240, 720),
    ("LINER", "Bin liner", False, 20, 9, None),
    ("VALVE", "Flush valve seal", False, 2, 650, None),
)
# the room a pack takes in mL, and what pieces are called
PACKED = {
    REGULAR: (900, "napkins"), LONG_PAD: (1000, "napkins"), SOAP: (1500, "bars"),
    "DISINF": (7500, "bottles"), "LINER": (1200, "liners"), "VALVE": (250, "seals"),
}  # fmt: skip
VEHICLES = (("VAN", "Van", 900_000, None), ("BIKE", "Motorbike with two boxes", 80_000, 60))
# school, product, pieces kept at the least, room in pieces: shelves that are small, and a girls' school that keeps more
SHELF_RULES = (
    ("OL-04", REGULAR, 80, 700), ("OL-09", REGULAR, 10, 80), ("OL-05", "DISINF", 4, 30), ("OL-08", "DISINF", 2, 18),
)  # fmt: skip
LOTS = ((FIRST_DAY, "2501"), (date(2026, 1, 5), "2601"), (date(2026, 4, 13), "2602"))
EXPIRES = {"2501": date(2026, 12, 31), "2601": date(2028, 1, 31), "2602": date(2028, 5, 31)}
GOES_OFF = {("DISINF", "2501"): date(2026, 8, 31), ("DISINF", "2601"): date(2027, 12, 31)}
GOES_OFF |= {("DISINF", "2602"): date(2028, 3, 31)}
RESERVE = {"DISINF": 4, "LINER": 9, "VALVE": 3}  # packs of a lot beyond what goes out
STORE, SUPPLIER, GIVEN, LOSS, DIFFERENCE = "STORE", "SUPPLIER", "GIVEN", "LOSS", "DIFF"
OUTSIDE = (
    (STORE, "Central store", PlaceKind.STORE), (SUPPLIER, "Supplier", PlaceKind.SUPPLIER),
    (GIVEN, "Given out", PlaceKind.GIVEN_OUT), (LOSS, "Lost or spoilt", PlaceKind.LOSS),
    (DIFFERENCE, "Count difference", PlaceKind.DIFFERENCE),
)  # fmt: skip
SHORT = {"OL-04": 0.8, "OL-11": 0.6, "OL-12": 0.55, "OL-02": 0.75}  # brought less than was used
WET = ("OL-03", date(2026, 2, 6), 6, "A leaking roof wetted the box.")
VEND_DIGITS = 5


@dataclass(slots=True)
class Shelf:
    """The ledger's view of one place: pieces by product and lot, first expiry first."""

    lots: dict[tuple[str, str], int] = field(default_factory=dict)

    def left(self, product: str) -> int:
        """Pieces of a product."""
        return sum(count for (name, _), count in self.lots.items() if name == product)

    def take(self, product: str, wanted: int) -> list[tuple[str, int]]:
        """Take pieces, first expiry first; never more than there are."""
        taken = []
        for _, lot in LOTS:
            count = min(wanted, self.lots.get((product, lot), 0))
            if count > 0:
                self.lots[product, lot] -= count
                wanted -= count
                taken.append((lot, count))
        return taken

    def put(self, product: str, lot: str, count: int) -> None:
        """Add pieces."""
        self.lots[product, lot] = self.lots.get((product, lot), 0) + count


@dataclass(frozen=True, slots=True)
class Trip:
    """Why and when something goes from a place to a place."""

    day: date
    source: str
    target: str
    reason: MoveReason
    note: str | None = None


class Ledger:
    """Moves as they are written; keeps every place's balance so that none is overdrawn."""

    def __init__(self) -> None:
        self.shelves: dict[str, Shelf] = {}
        self.moves: list[dict[str, Cell]] = []
        self._refs: dict[str, int] = {}

    def shelf(self, place: str) -> Shelf:
        """A place's shelf."""
        return self.shelves.setdefault(place, Shelf())

    def move(self, trip: Trip, product: str, count: int) -> int:
        """Move pieces of a product, as many as are there; returns how many."""
        lots = self.shelf(trip.source).take(product, count)
        for lot, pieces in lots:
            self.shelf(trip.target).put(product, lot, pieces)
            self._write(trip, product, lot, pieces)
        return sum(pieces for _, pieces in lots)

    def bring(self, trip: Trip, product: str, count: int) -> None:
        """Move pieces of the newest lot in from the store (its receipt is written afterwards) or the outside."""
        lot = lot_on(trip.day)
        self.shelf(trip.target).put(product, lot, count)
        self._write(trip, product, lot, count)

    def nothing(self, trip: Trip, product: str) -> None:
        """Say that nothing was moved, which is not the same as saying nothing."""
        self._write(trip, product, "unknown", 0)

    def _write(self, trip: Trip, product: str, lot: str, count: int) -> None:
        place = trip.source if trip.target in (GIVEN, LOSS, DIFFERENCE) else trip.target
        stem = f"{place}-{product}-{trip.day:%y%m%d}-{trip.reason[:2]}"
        self._refs[stem] = self._refs.get(stem, 0) + 1
        row: dict[str, Cell] = {"ref": f"{stem}-{self._refs[stem]}", "from_place": trip.source, "to_place": trip.target}
        row |= {"product": product, "lot": lot, "quantity": count}
        self.moves.append({**row, "day": trip.day, "reason": trip.reason, "note": trip.note})


def lot_on(day: date) -> str:
    """The newest lot on a day."""
    return [lot for since, lot in LOTS if since <= day][-1]


def write_products(book: Book) -> None:
    """Products, lots, and the places that belong to no school."""
    for code, name, menstrual, pack, cost, life in PRODUCTS + MORE:
        row: dict[str, Cell] = {"product": code, "name": name, "menstrual": menstrual, "pack_size": pack}
        row |= {"pack_ml": PACKED[code][0], "unit_name": PACKED[code][1]}
        book.add("products", {**row, "unit_cost_minor": cost, "shelf_life_days": life})
        for _, lot in LOTS:
            expires = EXPIRES[lot] if menstrual else GOES_OFF.get((code, lot))
            book.add("lots", {"product": code, "lot": lot, "expires_on": expires})
        book.add("lots", {"product": code, "lot": "unknown"})
    for place, name, kind in OUTSIDE:
        book.add("places", {"place": place, "name": name, "kind": kind})
    _write_round_rules(book)


def _write_round_rules(book: Book) -> None:
    """Vehicles, and what some schools keep at the least and have room for."""
    for code, name, room_ml, room_packs in VEHICLES:
        book.add("vehicles", {"vehicle": code, "name": name, "room_ml": room_ml, "room_packs": room_packs})
    for school, product, minimum, room in SHELF_RULES:
        row: dict[str, Cell] = {"school": school, "product": product, "from_day": SET_UP}
        book.add("stock_rules", {**row, "minimum": minimum, "room": room})


def cupboard(plan: SchoolPlan) -> str:
    """The code of a school's cupboard."""
    return f"{plan.code}-CUP"


def machine_place(plan: SchoolPlan, machine: MachinePlan) -> str:
    """The code of a machine as a place."""
    return f"{plan.code}-{machine.code}"


def write_places(book: Book, plan: SchoolPlan) -> None:
    """A school's cupboard and machines, and how they give."""
    book.add("places", {"place": cupboard(plan), "name": "Cupboard", "kind": PlaceKind.CUPBOARD, "school": plan.code})
    given: dict[str, Cell] = {"from_day": SET_UP, "price_minor": 0}
    book.add("given_how", {**given, "place": cupboard(plan), "way": GivenWay.HANDED_OUT})
    for number, machine in enumerate(plan.machines, start=1):
        place = machine_place(plan, machine)
        row: dict[str, Cell] = {"place": place, "name": f"Napkin machine {number}", "kind": PlaceKind.MACHINE}
        book.add("places", {**row, "school": plan.code, "unit": machine.code, "capacity": machine.capacity})
        book.add("given_how", {**given, "place": place, "way": machine.way, "price_minor": machine.price})


def need_per_day(plan: SchoolPlan) -> float:
    """Napkins asked for at a school on a school day, all machines together."""
    grown = {"primary": 0.3, "secondary": 0.88, "tiny": 0.2}[plan.level]
    return plan.girls * grown * 0.085


class Supplies:
    """A school's supplies, played day by day."""

    def __init__(self, book: Book, ledger: Ledger, year: SchoolYear) -> None:
        self.book, self.ledger, self.year, self.plan = book, ledger, year, year.plan
        self.dice = Dice(SEED, year.plan.code, "supplies")
        self.inside = {machine.code: 0 for machine in year.plan.machines}  # what is truly in a machine
        self.refilled: set[str] = set()  # machines into which something was put since their last count
        self.vended = {machine.code: 0 for machine in year.plan.machines}  # since the last given-out move
        self.counter = {
            machine.code: Dice(SEED, year.plan.code, machine.code, "first", Quantity.VENDS).whole(41, 160)
            for machine in year.plan.machines
        }

    def play(self) -> None:
        """The whole year."""
        self._round(ROUNDS[0])
        self._refill(ROUNDS[0])
        rounds = [day for day in ROUNDS[1:] if day <= self.year.days[-1]]
        for day in self.year.days:
            while rounds and rounds[0] <= day:
                self._round(rounds.pop(0))
            sheet = self.year.sheet_of(day)
            if sheet and day == sheet.days[0]:
                self._refill(day)
            self._spoil(day)
            for machine in self.plan.machines:
                self._day(machine, day, sheet)
            if sheet and day == sheet.last_day:
                self._count(sheet)

    def _round(self, day: date) -> None:
        """Bring what is missing to a month's use, in whole packs; some schools get less than they use."""
        trip = Trip(day, STORE, cupboard(self.plan), MoveReason.DELIVERY)
        month = need_per_day(self.plan) * 20 * 1.15 * SHORT.get(self.plan.code, 1.0)
        for product, pack, level in ((REGULAR, 10, month + 30), (LONG_PAD, 8, month * 0.12 + 8), (SOAP, 12, 24)):
            missing = level - self.ledger.shelf(cupboard(self.plan)).left(product)
            packs = int(missing / pack + 0.5)
            if packs > 0:
                self.ledger.bring(trip, product, packs * pack)

    def _refill(self, day: date) -> None:
        for machine in self.plan.machines:
            place = machine_place(self.plan, machine)
            room = machine.capacity - self.inside[machine.code]
            if room > 0:
                trip = Trip(day, cupboard(self.plan), place, MoveReason.REFILL)
                put = self.ledger.move(trip, REGULAR, room)
                self.inside[machine.code] += put
                self.refilled |= {machine.code} if put else set()

    def _spoil(self, day: date) -> None:
        school, when, count, note = WET
        if (self.plan.code, day) == (school, when):
            self.ledger.move(Trip(day, cupboard(self.plan), LOSS, MoveReason.LOSS, note), REGULAR, count)

    def _day(self, machine: MachinePlan, day: date, sheet: Sheet | None) -> None:
        wanted = self.dice.near(need_per_day(self.plan) / len(self.plan.machines), 0.4)
        given = min(wanted, self.inside[machine.code])
        self.inside[machine.code] -= given
        self.vended[machine.code] += given
        self.counter[machine.code] += given
        ran_out, asked = self.inside[machine.code] == 0, not self.dice.chance(0.14)
        if sheet and asked:
            row: dict[str, Cell] = {"school": self.plan.code, "unit": machine.code, "day": day, "ran_out": ran_out}
            self.book.add("machine_days", {**row, "source": Source.TALLY})

    def _count(self, sheet: Sheet) -> None:
        day = sheet.last_day
        for machine in self.plan.machines:
            self._count_machine(machine, sheet)
        shelf = self.ledger.shelf(cupboard(self.plan))
        handed = Trip(day, cupboard(self.plan), GIVEN, MoveReason.GIVEN_OUT)
        for product, use in ((LONG_PAD, need_per_day(self.plan) * 0.4), (SOAP, 3.5)):
            self.ledger.move(handed, product, self.dice.near(use, 0.4))
        for product, _, _, _, _, _ in PRODUCTS:
            if not self.dice.chance(0.06):
                self._stock(cupboard(self.plan), product, day, shelf.left(product))

    def _count_machine(self, machine: MachinePlan, sheet: Sheet) -> None:
        place, day, blank = machine_place(self.plan, machine), sheet.last_day, self.dice.chance(0.04)
        slip = self.dice.pick((0, 0, 0, 0, 0, 0, 0, 0, 1, -1)) if machine.counter else 0
        if machine.counter:
            row: dict[str, Cell] = {"school": self.plan.code, "unit": machine.code, "quantity": Quantity.VENDS}
            row |= {"source": Source.TALLY, "at_local_time": sheet.read_at(), "value": self.counter[machine.code]}
            self.book.add("readings", row)
        elif blank:
            return
        given, self.vended[machine.code] = self.vended[machine.code], 0
        self.ledger.move(Trip(day, place, GIVEN, MoveReason.GIVEN_OUT), REGULAR, given)
        if blank:
            return
        self._nothing_put_in(machine, sheet)
        counted = max(0, self.ledger.shelf(place).left(REGULAR) + slip)
        self._settle(place, day, counted)
        self.inside[machine.code] = counted
        self._stock(place, REGULAR, day, counted)

    def _nothing_put_in(self, machine: MachinePlan, sheet: Sheet) -> None:
        """A counted week without a refill says 0 put in; now and then that cell was left empty."""
        left_empty = Dice(SEED, self.plan.code, machine.code, "nothing put in", sheet.week).chance(0.25)
        if machine.code not in self.refilled and not left_empty:
            trip = Trip(sheet.days[0], cupboard(self.plan), machine_place(self.plan, machine), MoveReason.REFILL)
            self.ledger.nothing(trip, REGULAR)
        self.refilled.discard(machine.code)

    def _settle(self, place: str, day: date, counted: int) -> None:
        """A count that differs makes an adjusting move that says so."""
        gap, note = counted - self.ledger.shelf(place).left(REGULAR), "Counted by hand, differs from the counter."
        if gap < 0:
            self.ledger.move(Trip(day, place, DIFFERENCE, MoveReason.COUNT_DIFFERENCE, note), REGULAR, -gap)
        if gap > 0:
            self.ledger.bring(Trip(day, DIFFERENCE, place, MoveReason.COUNT_DIFFERENCE, note), REGULAR, gap)

    def _stock(self, place: str, product: str, day: date, count: int) -> None:
        self.book.add("stock_counts", {"place": place, "product": product, "day": day, "quantity": count})


def write_receipts(book: Book, ledger: Ledger) -> None:
    """Receipts of the central store, enough for what went out and a reserve, then all moves by day."""
    out: dict[tuple[str, str], int] = {}
    for move in ledger.moves:
        if move["from_place"] == STORE:
            key = (str(move["product"]), str(move["lot"]))
            out[key] = out.get(key, 0) + int(str(move["quantity"]))
    receipts: list[dict[str, Cell]] = []
    for since, lot in LOTS:
        for product, _, _, pack, _, _ in PRODUCTS + MORE:
            count = (out.get((product, lot), 0) // pack + RESERVE.get(product, 40)) * pack
            row: dict[str, Cell] = {"ref": f"STORE-{product}-{lot}-RE", "from_place": SUPPLIER, "to_place": STORE}
            row |= {"product": product, "lot": lot, "quantity": count, "reason": MoveReason.RECEIPT}
            receipts.append({**row, "day": since})
    for move in sorted([*receipts, *ledger.moves], key=lambda row: str(row["day"])):
        book.add("stock_moves", move)


def income(plan: SchoolPlan, ledger: Ledger) -> dict[str, int]:
    """Minor units that a school's machines took, by month (2025-09)."""
    prices = {machine_place(plan, machine): machine.price for machine in plan.machines}
    taken: dict[str, int] = {}
    for move in ledger.moves:
        if move["to_place"] == GIVEN and move["from_place"] in prices:
            month = str(move["day"])[:7]
            taken[month] = taken.get(month, 0) + prices[str(move["from_place"])] * int(str(move["quantity"]))
    return taken


def write_dials(book: Book, plan: SchoolPlan, units: list[UnitPlan]) -> None:
    """The dials of machines that count."""
    for machine in plan.machines:
        unit = next(unit for unit in units if unit.code == machine.code)
        if machine.counter:
            row: dict[str, Cell] = {"school": plan.code, "unit": machine.code, "quantity": Quantity.VENDS}
            row |= {"from_local_time": INSTALLED, "digits": VEND_DIGITS, "step_ml": 1, "u_permille": 0}
            book.add("dials", {**row, "first_value": first_value(plan, unit, Quantity.VENDS)})


def write_disposal(book: Book, year: SchoolYear, units: list[UnitPlan]) -> None:
    """The routes with their papers, burns by week, and the bin's level."""
    plan = year.plan
    _routes(book, plan)
    if not any(unit.kind is UnitKind.INCINERATOR for unit in units):
        return
    dice = Dice(SEED, plan.code, "burns")
    filled = 0.0
    for sheet in year.sheets.values():
        stopped = not _papers(plan, sheet.week)
        burns = 0 if stopped else dice.pick((1, 1, 2, 2, 2, 3))
        filled = min(4.0, filled + dice.share(0.3, 0.8)) if stopped else dice.share(0.4, 2.4)
        place: dict[str, Cell] = {"school": plan.code, "unit": "I1"}
        if not dice.chance(0.05):
            book.add("burns", {**place, "first_day": sheet.week, "days": 7, "burns": burns})
        if not dice.chance(0.05):
            level: dict[str, Cell] = {"day": sheet.last_day, "source": Source.TALLY, "quarters": int(filled + 0.5)}
            book.add("levels", {**place, **level})


def _papers(plan: SchoolPlan, week: date) -> bool:
    school, last, renewed = PERMIT_GAP
    operator_school, operator_last = OPERATOR_LAPSE
    end = week + timedelta(days=4)
    if plan.code == school:
        return not last < end < renewed + timedelta(days=4)
    return not (plan.code == operator_school and end > operator_last)


def _routes(book: Book, plan: SchoolPlan) -> None:
    checked = date(2025, 8, 20)
    row: dict[str, Cell] = {"school": plan.code, "kind": plan.route, "from_day": SET_UP}
    row["permit_until"] = date(2027, 8, 31)
    if plan.route is Route.BURN:
        row |= {"operator_until": date(2027, 3, 31), "siting_checked": checked, "flue_checked": checked}
        row["ash_route"] = "Sealed drum, fetched by the district once a term"
    if plan.code == OPERATOR_LAPSE[0]:
        row["operator_until"] = OPERATOR_LAPSE[1]
    school, last, renewed = PERMIT_GAP
    if plan.code == school:
        book.add("disposal_routes", {**row, "permit_until": last, "until_day": renewed - timedelta(days=1)})
        row["from_day"] = renewed
    book.add("disposal_routes", row)
