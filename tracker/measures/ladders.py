"""The published school ladders for drinking water, sanitation and hygiene.

A school is placed by what was answered at an inspection. A missing answer is not a "no": where it could change
the level, the school is not classified. "Advanced" needs a nationally set rule; without one a school tops out
at basic. Source: WHO/UNICEF Joint Monitoring Programme (JMP), service ladders for schools.
"""

from __future__ import annotations

from enum import StrEnum


class Level(StrEnum):
    """A rung of a ladder."""

    BASIC = "basic"
    LIMITED = "limited"
    NO_SERVICE = "no service"
    NOT_CLASSIFIED = "not classified"


class Facility(StrEnum):
    """The kind of the main water source or toilet."""

    IMPROVED = "improved"
    UNIMPROVED = "unimproved"
    NONE = "none"


def drinking_water_level(source: Facility | None, available: bool | None) -> Level:
    """Drinking water: basic = improved source and water available when asked; limited = improved, none available.

    No service = unimproved source or none. None = not answered.

    Source: JMP schools page, washdata.org/monitoring/schools (read).

    >>> drinking_water_level(Facility.IMPROVED, None).value
    'not classified'
    """
    if source in (Facility.UNIMPROVED, Facility.NONE):
        return Level.NO_SERVICE
    return Level.NOT_CLASSIFIED if source is None else _rung(available)


def sanitation_level(toilet: Facility | None, single_sex: bool | None, usable: bool | None) -> Level:
    """Sanitation: basic = improved, single-sex and usable; limited = improved but not both; else no service.

    ``usable``: at least one usable toilet for each sex at the school (accessible, functional, private).

    Source: basic from the JMP core indicators and questions for schools (read); limited and no service from the
    JMP core and expanded questions, 2018 (from memory, unconfirmed).

    >>> sanitation_level(Facility.IMPROVED, single_sex=False, usable=None).value
    'limited'
    """
    if toilet in (Facility.UNIMPROVED, Facility.NONE):
        return Level.NO_SERVICE
    return Level.NOT_CLASSIFIED if toilet is None else _rung(single_sex, usable)


def hygiene_level(facility: bool | None, water: bool | None, soap: bool | None) -> Level:
    """Hygiene: basic = handwashing facility with water and soap; limited = water but no soap; else no service.

    Source: basic from the JMP core indicators and questions for schools (read); limited and no service from the
    JMP core and expanded questions, 2018 (from memory, unconfirmed).

    >>> hygiene_level(facility=True, water=False, soap=True).value
    'no service'
    """
    if facility is False or water is False:
        return Level.NO_SERVICE
    return Level.NOT_CLASSIFIED if facility is None or water is None else _rung(soap)


def _rung(*conditions: bool | None) -> Level:
    """Basic when all hold, limited when one fails, not classified when a missing answer decides."""
    if False in conditions:
        return Level.LIMITED
    return Level.NOT_CLASSIFIED if None in conditions else Level.BASIC
