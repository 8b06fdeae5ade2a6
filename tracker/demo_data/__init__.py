"""The demo programme "Ombari Lakes": a made-up lake district, made the same way, byte by byte, every time.

``python -m tracker.demo_data FOLDER`` writes the folder that ``seed_data/`` holds. ``DEMO_NOW`` is the instant at
which the demo is looked at; nothing that happened later is in its files.
"""

from __future__ import annotations

from pathlib import Path

from tracker.demo_data import (
    cleaning,
    coins,
    counts,
    evidence,
    lessons,
    orders,
    repairs,
    rounds,
    school_time,
    setup,
    supplies,
    utilities,
    visits,
)
from tracker.demo_data.book import Book
from tracker.demo_data.plan import DEMO_NOW, SCHOOLS, SchoolPlan
from tracker.demo_data.units import UnitPlan, units_of, write_units

__all__ = ["DEMO_NOW", "make", "write"]


def make() -> Book:
    """All rows of the demo by table."""
    book, ledger = Book(), supplies.Ledger()
    setup.write_programme(book)
    school_time.write_calendar(book)
    supplies.write_products(book)
    orders.write_terms(book)
    rounds.write_roads(book)
    units = {plan.code: units_of(plan) for plan in SCHOOLS}
    for plan in SCHOOLS:
        _set_up(book, plan, units[plan.code])
    for plan in SCHOOLS:
        _play(book, ledger, plan, units[plan.code])
    supplies.write_receipts(book, ledger)
    evidence.write_trial(book)
    evidence.write_grants(book)
    evidence.write_checks(book)
    return book


def _set_up(book: Book, plan: SchoolPlan, units: list[UnitPlan]) -> None:
    setup.write_school(book, plan, units)
    school_time.write_hours(book, plan)
    write_units(book, plan, units)
    supplies.write_places(book, plan)
    supplies.write_dials(book, plan, units)
    utilities.write_set_up(book, plan, units)


def _play(book: Book, ledger: supplies.Ledger, plan: SchoolPlan, units: list[UnitPlan]) -> None:
    year = school_time.school_year(plan)
    outages = repairs.outages_of(year, units)
    happened = visits.what_happened(year, units, outages)
    school_time.write_sheets(book, year)
    counts.write_counts(book, year, units, happened)
    repairs.write_repairs(book, year, units, outages)
    supplies.Supplies(book, ledger, year).play()
    cleaning.play(book, ledger, year)
    supplies.write_disposal(book, year, units)
    lessons.write_sessions(book, year)
    lessons.write_inspections(book, year, units)
    lessons.write_money(book, year, supplies.income(plan, ledger))
    utilities.write_year(book, year, units, happened)
    coins.write_coins(book, plan)


def write(folder: Path) -> None:
    """Write the demo's files into a folder, which is made if it is not there."""
    make().write(folder)
