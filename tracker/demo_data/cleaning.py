"""What is used up beside napkins: disinfectant, bin liners, a spare part. From dice of its own."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from tracker.demo_data.book import Book, Cell, Dice
from tracker.demo_data.plan import ROUNDS, SCHOOLS, SEED, SchoolPlan
from tracker.demo_data.school_time import SchoolYear, Sheet
from tracker.demo_data.supplies import GIVEN, STORE, Ledger, Trip, cupboard
from tracker.vocabulary import MoveReason

NOT_COUNTED = 0.07  # of the weeks
ROUND_WEEKS = 4.3  # between two rounds
SCARCE = {"OL-04": 0.7, "OL-08": 0.75, "OL-11": 0.6}  # brought less than was used
KEEPERS = ("OL-04", "OL-06", "OL-10", "OL-12")  # whose cupboards keep the spare part
# who cleans at OL-01 brings their own
CLEANED = tuple(plan.code for plan in SCHOOLS if plan.code != "OL-01")


@dataclass(frozen=True, slots=True)
class Good:
    """A product with what it takes in a week: for each cabin, and at the school besides; how often; who keeps it."""

    product: str
    pack: int
    per_cabin: float
    besides: float
    keepers: tuple[str, ...]
    chance: float = 1.0


GOODS = (
    Good("DISINF", 6, 0.33, 0.4, CLEANED),
    Good("LINER", 20, 1.9, 4.0, CLEANED),
    Good("VALVE", 2, 0.0, 1.4, KEEPERS, chance=0.22),
)


def play(book: Book, ledger: Ledger, year: SchoolYear) -> None:
    """A school's year of these goods."""
    for good in GOODS:
        if year.plan.code in good.keepers:
            _Shelf(book, ledger, year, good).play()


class _Shelf:
    """One good at one school, week by week."""

    def __init__(self, book: Book, ledger: Ledger, year: SchoolYear, good: Good) -> None:
        self.book, self.ledger, self.year, self.good = book, ledger, year, good
        self.place = cupboard(year.plan)
        self.dice = Dice(SEED, year.plan.code, good.product, "used up")

    def play(self) -> None:
        """The whole year."""
        rounds = [day for day in ROUNDS if day <= self.year.days[-1]]
        self._round(rounds.pop(0))
        for day in self.year.days:
            while rounds and rounds[0] <= day:
                self._round(rounds.pop(0))
            sheet = self.year.sheet_of(day)
            if sheet and day == sheet.last_day:
                self._week(sheet)

    def _left(self) -> int:
        return self.ledger.shelf(self.place).left(self.good.product)

    def _round(self, day: date) -> None:
        plan = self.year.plan
        level = week_use(plan, self.good) * ROUND_WEEKS * 1.2 * SCARCE.get(plan.code, 1.0) + 2
        packs = int((level - self._left()) / self.good.pack + 0.5)
        if packs > 0:
            trip = Trip(day, STORE, self.place, MoveReason.DELIVERY)
            self.ledger.bring(trip, self.good.product, packs * self.good.pack)

    def _week(self, sheet: Sheet) -> None:
        used = 0
        if self.dice.chance(self.good.chance):
            used = self.dice.near(week_use(self.year.plan, self.good) / self.good.chance, 0.35)
        trip = Trip(sheet.last_day, self.place, GIVEN, MoveReason.GIVEN_OUT)
        self.ledger.move(trip, self.good.product, used)
        if not self.dice.chance(NOT_COUNTED):
            row: dict[str, Cell] = {"place": self.place, "product": self.good.product, "day": sheet.last_day}
            self.book.add("stock_counts", {**row, "quantity": self._left()})


def week_use(plan: SchoolPlan, good: Good) -> float:
    """Pieces that a school uses in a week, on average."""
    return (sum(plan.cabins) * good.per_cabin + good.besides) * good.chance
