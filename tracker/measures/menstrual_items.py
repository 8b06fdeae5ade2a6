"""Menstrual-health items of schools, from the answers of an inspection.

An item describes what a school has. It says nothing about any girl. A missing answer is not a "no".

Sources: the expanded questions of the WHO/UNICEF Joint Monitoring Programme for schools, 2018 (from memory,
unconfirmed); indicator 2, emergency materials, J. Hennegan et al., Journal of Adolescent Health 73(6) 2023,
992-1001, table 1 (read). Its indicators 1, 3 and 4 ask single girls and are not kept here.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import StrEnum

from tracker.measures.figure import Figure
from tracker.vocabulary import Basis

BOUNDS_NOTE = "The range is what the schools without an answer allow."


class Standing(StrEnum):
    """Whether a school has an item."""

    YES = "yes"
    NO = "no"
    NOT_CLASSIFIED = "not classified"


@dataclass(frozen=True, slots=True)
class Item:
    """One item: every question must be answered yes.

    confirmed: False where the wording is from memory and was not seen in its source.
    """

    title: str
    questions: tuple[str, ...]
    source: str
    confirmed: bool


JMP = "WHO/UNICEF JMP expanded questions for schools, 2018"
ITEMS: dict[str, Item] = {
    "bin": Item("Covered bin in the girls' toilets", ("mh_bin",), JMP, False),
    "disposal": Item("A way to dispose of used menstrual supplies", ("mh_disposal",), JMP, False),
    "washing": Item(
        "Water and soap in a private space", ("mh_wash_private", "mh_wash_water", "mh_wash_soap"), JMP, False
    ),
    "education": Item("Menstrual health is taught", ("mh_education",), JMP, False),
    "materials": Item("Menstrual supplies can be had at the school", ("mh_materials",), JMP, False),
    "emergency": Item(
        "Menstrual supplies for an emergency", ("mh_emergency",), "Hennegan et al. 2023, indicator 2", True
    ),
}


def standing(item: Item, answers: Mapping[str, str]) -> Standing:
    """Whether a school has an item: no when one question was answered no, yes when all were answered yes.

    Args:
        answers: question → "yes" or "no"; a missing or empty answer leaves the school not classified, unless
        another one already says no.
    Raises:
        ValueError: an answer to a question of the item is neither.

    >>> standing(ITEMS["washing"], {"mh_wash_private": "yes", "mh_wash_water": "yes"}).value
    'not classified'
    >>> standing(ITEMS["washing"], {"mh_wash_soap": "no"}).value
    'no'
    """
    given = [answers.get(question, "") for question in item.questions]
    for question, answer in zip(item.questions, given, strict=True):
        if answer not in {"yes", "no", ""}:
            raise ValueError(f'"{question}" must be answered yes or no, got "{answer}"')
    if "no" in given:
        return Standing.NO
    return Standing.NOT_CLASSIFIED if "" in given else Standing.YES


def menstrual_items(answers: Mapping[str, str]) -> dict[str, Standing]:
    """All items of one school, by key of ``ITEMS``.

    Raises:
        ValueError: an answer is neither yes nor no.

    >>> menstrual_items({"mh_bin": "yes"})["bin"].value, menstrual_items({})["bin"].value
    ('yes', 'not classified')
    """
    return {key: standing(item, answers) for key, item in ITEMS.items()}


def share_of_schools(key: str, schools: Iterable[Mapping[str, str]]) -> Figure:
    """Schools that have an item, of those where it is known; bounds: what the other schools allow.

    value = yes ÷ (yes + no); low = yes ÷ all, high = (all − no) ÷ all. Every school is meant to be asked, so
    there is no sampling interval.

    Args:
        key: of ``ITEMS``. schools: the answers of every school; without any, an empty mapping.
    Returns:
        Unit "share"; used: schools classified, expected: all. No value where none is classified.
    Raises:
        ValueError: an answer is neither yes nor no.
        KeyError: no such item.

    >>> found = share_of_schools("bin", [{"mh_bin": "yes"}, {"mh_bin": "no"}, {}, {}])
    >>> found.value, found.low, found.high, found.used, found.expected
    (0.5, 0.25, 0.75, 2, 4)
    """
    found = [standing(ITEMS[key], answers) for answers in schools]
    yes, no, every = found.count(Standing.YES), found.count(Standing.NO), len(found)
    known = yes + no
    if not known:
        return Figure(None, "share", Basis.COUNTED, expected=every, records="schools")
    note = BOUNDS_NOTE if known < every else ""
    low, high = yes / every, (every - no) / every
    return Figure(yes / known, "share", Basis.COUNTED, low, high, known, every, records="schools", note=note)
