"""What a round's way needs in the demo: minutes of driving between areas, where the store stands, delivery hours."""

from __future__ import annotations

from tracker.demo_data.book import Book, Cell, Dice, clock
from tracker.demo_data.plan import AREAS, SCHOOLS, SEED, SET_UP
from tracker.demo_data.supplies import STORE

STORE_AREA = "A"
STORE_POSITION = ("8.130", "60.215")
WITHIN = {"A": 20, "B": 30, "C": 25}
BETWEEN = {("A", "B"): 55, ("A", "C"): 40, ("B", "C"): 70, ("B", "A"): 45}  # down from the hills is quicker
SOME = 0.5  # of the schools receive goods in hours of their own
OPENS, CLOSES = (8 * 60, 8 * 60 + 30, 9 * 60), (11 * 60 + 30, 12 * 60, 13 * 60)


def write_roads(book: Book) -> None:
    """Minutes between areas and the store's site; hours of their own for about half of the schools."""
    for area in AREAS:
        book.add("travel_minutes", {"from_area": area, "to_area": area, "minutes": WITHIN[area]})
    for (start, end), minutes in BETWEEN.items():
        book.add("travel_minutes", {"from_area": start, "to_area": end, "minutes": minutes})
    latitude, longitude = STORE_POSITION
    book.add("store_sites", {"place": STORE, "area": STORE_AREA, "latitude_deg": latitude, "longitude_deg": longitude})
    for plan in SCHOOLS:
        dice = Dice(SEED, plan.code, "delivery hours")
        if not dice.chance(SOME):
            continue
        opens, closes = dice.pick(OPENS), dice.pick(CLOSES)
        for weekday in range(5):
            row: dict[str, Cell] = {"school": plan.code, "weekday": weekday, "from_day": SET_UP}
            book.add("delivery_hours", {**row, "opens": clock(opens), "closes": clock(closes)})
