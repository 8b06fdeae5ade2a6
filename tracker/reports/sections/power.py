"""Energy by rule, against meters, with solar and recovered energy as sources of their own."""

from __future__ import annotations

from typing import Any, Final

import pandas as pd

from tracker.measures import power, power_balance, visits
from tracker.measures.dials import rows_of
from tracker.measures.figure import Figure
from tracker.measures.power import PowerRule
from tracker.measures.power_balance import EnergyBalance
from tracker.reports.facts import TermFacts
from tracker.reports.report import Cell, Section, Table
from tracker.reports.rows import beside, counts, optional_day, words
from tracker.vocabulary import VISITED, EnergySource, PowerPart, UnitKind

KWH: Final = "kWh"
PLATE_U: Final = 0.10  # relative standard uncertainty where none is given: judgement, no published source
INTRO: Final = (
    "Energy is worked out from visits and burns and from what each part takes by its plate or a measurement, and set "
    "against meters of which all they serve is listed. No figure here says that an installation is in order; that is "
    "for a licensed electrician and local rules."
)
ENERGY_USERS: Final = (*VISITED, UnitKind.INCINERATOR)


def power_sections(facts: TermFacts) -> tuple[Section, ...]:
    """One section, or none where nothing is on record about what units take of energy."""
    if facts.all.power_uses.empty:
        return ()
    return facts.once("power", lambda: (_section(facts),))


def _section(facts: TermFacts) -> Section:
    tables = (parts_table(facts), meters_table(facts))
    return Section("power", "Energy", INTRO, tables=tables, cautions=("electrical",))


def energy_rows(facts: TermFacts) -> pd.DataFrame:
    """Energy of the period's units by week and rule, from ``power.unit_week_energy``."""
    return facts.once("energy", lambda: facts.weeks_of(_energy(facts)))


def _energy(facts: TermFacts) -> pd.DataFrame:
    rules: dict[int, list[PowerRule]] = {}
    for row in rows_of(facts.all.power_uses):
        rules.setdefault(row.unit_id, []).append(_rule(row))
    known = list(rules)
    units = facts.all.all_units
    units = units[units["unit_id"].isin(known)]
    used = facts.all.unit_weeks[facts.all.unit_weeks["unit_id"].isin(known)]
    burns = facts.all.burns[facts.all.burns["unit_id"].isin(known)]
    days = facts.all.calendar.school_days
    return power.unit_week_energy(used, burns, units, rules, days[days["school_id"].isin(units["school_id"])])


def _rule(row: Any) -> PowerRule:
    light = row.part == PowerPart.LIGHT_FAN.value
    return PowerRule(
        PowerPart(row.part),
        wh=0.0 if light else row.wh_thousandths / 1000,
        watts=row.watts if light else 0.0,
        minutes=row.seconds / 60 if light else 0.0,
        every_n=row.every_n,
        u_rel=PLATE_U if pd.isna(row.u_permille) else row.u_permille / 1000,
        from_day=row.from_day.date(),
        until_day=optional_day(row.until_day),
    )


def parts_table(facts: TermFacts) -> Table:
    """Energy by what it was used for, and in all."""
    rows, units = energy_rows(facts), facts.units[facts.units["unit_id"].isin(facts.all.power_uses["unit_id"])]
    parts = power.energy_by_part(rows)
    lines: list[tuple[str, Cell]] = [
        (part.value.capitalize(), figure) for part, figure in parts.items() if figure.recorded
    ]
    due = visits.expected_unit_weeks(units.assign(count_way="counter"), facts.occasions, ENERGY_USERS)
    lines.append(("All by rule", power.energy_used(rows, len(due))))
    note = "Only units whose energy is on record are in it."
    return beside("energy_by_part", "Energy by what it was used for", lines, note)


def energy_balances(facts: TermFacts) -> list[EnergyBalance]:
    """Energy meters of the period, from ``power_balance.energy_balances``."""
    return facts.once("energy balances", lambda: _balances(facts))


def _balances(facts: TermFacts) -> list[EnergyBalance]:
    last = pd.Timestamp(facts.period.last)
    readings = facts.all.readings[facts.all.readings["day"] <= last]
    rows = facts.all.scopes
    first = pd.Timestamp(facts.period.first)
    scopes = rows[(rows["from_day"] <= last) & (rows["until_day"].isna() | (rows["until_day"] >= first))]
    return power_balance.energy_balances(
        facts.units,
        scopes,
        readings,
        energy_rows(facts),
        facts.occasions,
        sources=facts.all.energy_given,
        around=facts.all.calendar.occasions,
        since=facts.all.since,
    )


def meters_table(facts: TermFacts) -> Table:
    """Metered, solar, recovered, modelled and unexplained energy of each meter that can be compared."""
    names = dict(zip(facts.units["unit_id"], facts.units["unit"], strict=True))
    cells = tuple(
        (
            facts.codes.get(one.school_id, ""),
            names.get(one.meter_id, ""),
            one.metered,
            _or_none(one.sources[EnergySource.SOLAR]),
            _or_none(one.sources[EnergySource.RECOVERED]),
            one.modelled,
            one.unexplained,
            "not all is known" if not one.unexplained.recorded else "please check" if one.query else "within its range",
        )
        for one in energy_balances(facts)
    )
    columns = (
        words("school", "School"),
        words("meter", "Meter"),
        counts("metered", "Metered", KWH),
        counts("solar", "Solar", KWH),
        counts("recovered", "Recovered", KWH),
        counts("modelled", "By rule", KWH),
        counts("rest", "Unexplained", KWH),
        words("state", "Looks like"),
    )
    empty = "No energy meter serves these units alone, so energy by rule cannot be set against one."
    return Table("energy_meters", "Energy meters against what was used by rule", columns, cells, REST, empty)


REST: Final = (
    f"{power_balance.REST_NOTE} It asks for a look beyond twice its standard uncertainty and does not say what was "
    "wrong. Weeks without a record of a source that a meter has in other weeks are not compared."
)


def _or_none(figure: Figure) -> Cell:
    return figure if figure.recorded else None
