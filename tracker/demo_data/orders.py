"""On which terms the demo's products are bought. Nothing here is drawn by chance."""

from __future__ import annotations

from tracker.demo_data.book import Book, Cell
from tracker.demo_data.plan import SET_UP
from tracker.demo_data.supplies import MORE, PRODUCTS

MENSTRUAL = ("Osiba Paper Works", 21, 30, 20)  # supplier, lead days, review days, smallest order in packs
OTHER = ("Ombari Household Supplies", 7, 30, 2)


def write_terms(book: Book) -> None:
    """One row a product, at the price of its pieces."""
    for code, _, menstrual, pack, cost, _ in PRODUCTS + MORE:
        supplier, lead, review, least = MENSTRUAL if menstrual else OTHER
        row: dict[str, Cell] = {"product": code, "from_day": SET_UP, "supplier": supplier, "lead_days": lead}
        row |= {"review_days": review, "min_packs": least, "pack_price_minor": pack * cost}
        book.add("supplier_terms", row)
