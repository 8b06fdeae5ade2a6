"""Lessons held, what inspections found, and money."""

from __future__ import annotations

from datetime import date, timedelta

from tracker.demo_data.book import Book, Cell, Dice
from tracker.demo_data.plan import NOW, SEED, TERMS, SchoolPlan, TermPlan
from tracker.demo_data.school_time import SchoolYear
from tracker.demo_data.setup import GRADES
from tracker.demo_data.units import UnitPlan
from tracker.vocabulary import Group, MoneyKind, Sex, TopicKind, UnitKind

TOPICS = {
    "Hand washing": TopicKind.HANDWASHING,
    "Menstrual health": TopicKind.MENSTRUAL,
    "Keeping the cabins clean": TopicKind.TOILETS,
    "Water and the lake": TopicKind.OTHER,
}
ITEMS = ("when-to-wash", "how-supplies-are-disposed", "whom-to-tell")
PER_TERM = 2
UNANSWERED = 0.06


def write_sessions(book: Book, year: SchoolYear) -> None:
    """About two lessons a term, in weeks whose sheet came, with attendance and some quizzes."""
    dice = Dice(SEED, year.plan.code, "sessions")
    number = 0
    for term in TERMS:
        days = [day for day in year.days if term.first <= day <= term.last and year.sheet_of(day)]
        wanted = PER_TERM + (1 if dice.chance(0.15) else 0) - (1 if dice.chance(0.1) else 0)
        for part in range(wanted):
            day = days[min(len(days) - 1, int(len(days) * (part + dice.share(0.1, 0.9)) / wanted))]
            _session(book, year.plan, day, list(TOPICS)[number % len(TOPICS)], dice)
            number += 1


def _session(book: Book, plan: SchoolPlan, day: date, topic: str, dice: Dice) -> None:
    ref = f"LS-{plan.code}-{day:%y%m%d}"
    if any(row["ref"] == ref for row in book.rows["awareness_sessions"]):
        return
    row: dict[str, Cell] = {"ref": ref, "school": plan.code, "day": day, "topic": topic, "kind": TOPICS[topic]}
    book.add("awareness_sessions", {**row, "minutes": dice.pick((40, 45, 50, 60))})
    grades = list(GRADES[plan.level])
    first = dice.whole(0, max(0, len(grades) - 3))
    share, there = dice.share(0.78, 0.95), 0
    for sex in (Sex.GIRLS, Sex.BOYS):
        for grade in grades[first : first + 3]:
            enrolled = _enrolled(book, plan.code, sex, f"G{grade}", day)
            present = min(enrolled, dice.near(enrolled * share, 0.05))
            if enrolled:
                there += present
                book.add("attendance", {"session": ref, "sex": sex, "grade": f"G{grade}", "present": present})
    if dice.chance(0.55) and there >= 20:
        for item in ITEMS[: dice.whole(1, 3)]:
            _quiz(book, ref, item, int(there * dice.share(0.7, 0.95)), dice)


def _enrolled(book: Book, school: str, sex: Sex, grade: str, day: date) -> int:
    return sum(
        int(str(row["pupils"]))
        for row in book.rows["enrolment"]
        if (row["school"], row["sex"], row["grade"]) == (school, sex, grade)
        and str(row["from_day"]) <= str(day)
        and (row.get("until_day") is None or str(day) <= str(row["until_day"]))
    )


def _quiz(book: Book, ref: str, item: str, answered: int, dice: Dice) -> None:
    both, learnt, lost = (int(answered * dice.share(*limits)) for limits in ((0.3, 0.5), (0.2, 0.35), (0.01, 0.06)))
    row: dict[str, Cell] = {"session": ref, "item": item, "right_right": both, "right_wrong": lost}
    book.add("quizzes", {**row, "wrong_right": learnt, "wrong_wrong": answered - both - learnt - lost})


def write_inspections(book: Book, year: SchoolYear, units: list[UnitPlan]) -> None:
    """One inspection a term; some questions stay without an answer."""
    dice = Dice(SEED, year.plan.code, "inspections")
    for term in TERMS:
        seen_on = [day for day in year.days if day >= term.first][dice.whole(8, 24)]
        for question, answer in _answers(year.plan, term, units, dice).items():
            if not dice.chance(UNANSWERED):
                row: dict[str, Cell] = {"school": year.plan.code, "term": term.code, "question": question}
                book.add("inspections", {**row, "answer": answer, "seen_on": seen_on})


def _answers(plan: SchoolPlan, term: TermPlan, units: list[UnitPlan], dice: Dice) -> dict[str, str]:
    girls = sum(unit.kind is UnitKind.CABIN and unit.group is Group.GIRLS for unit in units)
    boys = sum(unit.kind is UnitKind.CABIN and unit.group is Group.BOYS for unit in units)
    poor = plan.code == "OL-09" and term is TERMS[0]
    return {
        "water_source": "unimproved" if poor else "improved",
        "water_available": "yes" if dice.chance(0.93) else "no",
        "toilet_improved": "yes",
        "single_sex": "yes",
        "usable_girls": str(max(0, girls - (1 if dice.chance(0.3) else 0))),
        "usable_boys": str(max(0, boys - (1 if dice.chance(0.3) else 0))),
        "handwash_facility": "yes",
        "handwash_water": "yes" if dice.chance(0.95) else "no",
        "handwash_soap": "yes" if dice.chance(0.8) else "no",
    }


def write_money(book: Book, year: SchoolYear, given: dict[str, int]) -> None:
    """Costs and income by month. ``given``: minor units that the machines took, by month (2025-09)."""
    plan = year.plan
    dice = Dice(SEED, plan.code, "money")
    cabins = sum(plan.cabins) + 1
    for month in _months(year):
        day = max(one for one in year.days if (one.year, one.month) == (month.year, month.month))
        amounts = {
            MoneyKind.SERVICE: cabins * dice.whole(500, 900) if dice.chance(0.7) else 0,
            MoneyKind.WARRANTY: dice.whole(800, 4000) if dice.chance(0.15) else 0,
            MoneyKind.SUPPLIES: dice.whole(60, 90) * (plan.girls // 10),
            MoneyKind.WATER: dice.whole(900, 1500) * cabins // 3 if plan.meter else 0,
            MoneyKind.POWER: dice.whole(150, 260) * cabins if plan.style == "auto" else 0,
            MoneyKind.VEND_INCOME: given.get(f"{month:%Y-%m}", 0),
            MoneyKind.DISPLAY_RENT: 2500 if plan.code in ("OL-06", "OL-10") else 0,
        }
        for kind, minor in amounts.items():
            if minor:
                ref = f"MN-{plan.code}-{month:%y%m}-{kind.replace(' ', '-')}"
                book.add("money", {"ref": ref, "school": plan.code, "day": day, "kind": kind, "minor": minor})


def _months(year: SchoolYear) -> list[date]:
    firsts = sorted({day.replace(day=1) for day in year.days})
    return [first for first in firsts if first + timedelta(days=31) <= NOW.date()]
