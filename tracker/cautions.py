"""Cautions shown where something could hurt somebody: four parts, an owner, a version, a day to look again.

They say stop, keep away, tell whom. They hold no settings, no doses, no repair steps, and never say that something
is safe. A qualified person of the country must review each one before real schools rely on it; until then each says
that it is general advice.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from enum import StrEnum

DEFER = "Follow the maker's manual, local rules and a licensed person."


class Signal(StrEnum):
    """How bad it may end: DANGER will kill or badly hurt, WARNING could, CAUTION hurts less, NOTICE harms things."""

    DANGER = "DANGER"
    WARNING = "WARNING"
    CAUTION = "CAUTION"
    NOTICE = "NOTICE"


@dataclass(frozen=True, slots=True)
class Caution:
    """One caution. ``reviewer`` names the qualified person who checked it; "" where nobody has."""

    signal: Signal
    hazard: str  # what and where it comes from
    harm: str  # what may happen
    steps: tuple[str, ...]  # what to do and not to do
    version: int = 1
    review_by: date = date(2027, 5, 25)
    owner: str = "programme administrator"
    reviewer: str = ""
    defer: str = DEFER

    @property
    def standing(self) -> str:
        """Who stands behind it."""
        if self.reviewer:
            return f"Version {self.version}, checked by {self.reviewer}."
        return f"Version {self.version}. General advice, not checked for this site."


CAUTIONS: dict[str, Caution] = {
    "incinerator": Caution(
        Signal.WARNING,
        "An incinerator is hot and gives off smoke that harms.",
        "Burns, fire and poisoning are possible.",
        (
            "Only a trained adult uses it. Pupils never do.",
            "Burn only what its maker allows, with the door shut.",
            "Do not use it inside or beside a cabin unless its manual and local law allow the place and the flue.",
            "On smoke in the room, smell, a hot casing or damage: stop, keep away, report it now.",
            "Let everything cool before anybody touches the ash.",
        ),
    ),
    "live_parts": Caution(
        Signal.DANGER,
        "Bare wires or live parts can be touched.",
        "An electric shock kills.",
        (
            "Do not touch or open anything. Keep everybody away, also from water nearby.",
            "Switch off at the supply only if you can do so without going near.",
            "The unit is out of service until a licensed electrician has checked it.",
        ),
    ),
    "electrical": Caution(
        Signal.WARNING,
        "If a fault is electrical, live parts and water may be near.",
        "An electric shock could kill.",
        (
            "Do not open or touch the parts. Keep others away.",
            "Switch off at the supply only if you can do so without danger.",
            "Mark the unit out of service and call a licensed electrician.",
        ),
        version=2,
    ),
    "cleaning": Caution(
        Signal.WARNING,
        "Cleaning agents burn skin and eyes, and make poisonous gas when mixed.",
        "Breathing it could kill.",
        (
            "Never mix bleach with ammonia, acids, toilet cleaners or any other product.",
            "Adults only. Follow the label, open doors and windows, wear gloves.",
            "Keep agents in their own labelled containers, locked away from children.",
        ),
    ),
    "water": Caution(
        Signal.WARNING,
        "Water that runs is not water that was tested.",
        "Drinking bad water could make people badly ill.",
        (
            "This record says whether water ran. It says nothing about drinking it.",
            "On colour, smell or illness: stop using it for drinking, tell the officer and the health authority.",
        ),
    ),
    "bins": Caution(
        Signal.CAUTION,
        "Used-supply bins hold blood and may hold sharp things.",
        "Cuts and infection are possible.",
        (
            "Wear gloves, close the bag, wash hands afterwards.",
            "If something sharp is inside: stop and call a trained adult.",
        ),
    ),
    "flood": Caution(
        Signal.WARNING,
        "Water on the floor makes people fall, and may reach electric parts.",
        "Falls and electric shock are possible.",
        (
            "Keep everybody out. Do not walk through water near electric parts.",
            "Close the water at its valve only if you can reach it on dry ground.",
            "Nobody goes in until a competent person has checked the place.",
        ),
    ),
    "locked_in": Caution(
        Signal.WARNING,
        "Somebody is locked in a cabin.",
        "Fear, heat and an unseen illness could do serious harm.",
        (
            "Stay at the door and talk with them. Send somebody for help; do not leave.",
            "Use the outside release that the cabin's manual shows. An adult opens.",
            "If they do not answer or are hurt: call the emergency service.",
            "The cabin is out of service until a competent person has checked its door.",
        ),
    ),
    "smoke": Caution(
        Signal.DANGER,
        "Smoke or fire.",
        "Smoke kills within minutes.",
        (
            "Get everybody out and away. Raise the alarm and call the fire service.",
            "Do not go back in. Do not open the unit.",
            "Nothing is used again until a competent person has checked it.",
        ),
    ),
    "other_danger": Caution(
        Signal.WARNING,
        "Something here can hurt people.",
        "Serious injury is possible.",
        (
            "Keep everybody away and tell an adult in charge.",
            "The unit is out of service until a competent person has checked it.",
        ),
    ),
}


def caution_of(key: str) -> Caution:
    """The caution with this key.

    >>> caution_of("live_parts").signal.value
    'DANGER'
    """
    return CAUTIONS[key]


def overdue(on: date) -> list[str]:
    """Keys of the cautions whose day to look again has passed.

    >>> overdue(date(2026, 11, 25))
    []
    """
    return [key for key, caution in CAUTIONS.items() if caution.review_by < on]
