"""The availability certificate of one agreement and term: units, warranty, promise, availability, outages."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from itertools import pairwise
from typing import Any

import pandas as pd

from tracker.measures import repairs, uptime
from tracker.measures.dials import rows_of
from tracker.records import frames
from tracker.reports.facts import TermFacts, TermLike, gather
from tracker.reports.gathered import Days
from tracker.reports.printing import day, number
from tracker.reports.report import Cell, Line, Report, Section, Table
from tracker.reports.rows import counts, optional_day, share_of, words
from tracker.reports.school_term import report_of
from tracker.reports.sections.working import cause_chart, kind_table, open_table
from tracker.vocabulary import ReportKind

REPEATS = "This certificate repeats the records; it is no inspection and no verdict on safety."


def build(
    session: frames.Session,
    agreement: frames.AgreementHead,
    term: TermLike,
    as_of: datetime,
    code_version: str,
) -> Report:
    """The certificate of an agreement's units in a term; what was agreed stands beside what the records show.

    Raises:
        LookupError: the agreement's school was not in the programme in this term.
        ValueError: the term has not begun.
    """
    pair = gather(session, agreement.programme_id, term, as_of, (agreement.school_id,))
    if not pair.now.schools:
        raise LookupError(f"the school of agreement {agreement.code} was not in the programme in term {term.code}")
    facts = _under(pair.now, agreement)
    last = None if pair.last is None else _under(pair.last, agreement)
    scope = frames.Scope(agreement.programme_id, facts.period.first, facts.period.last, (agreement.school_id,))
    visits = frames.service_visits(session, scope, facts.zone)
    sections = (
        _agreed(facts, agreement),
        _kept(facts, last, agreement, visits[visits["unit_id"].isin(agreement.serials)]),
    )
    title = f"Availability certificate: {agreement.buyer}, {facts.schools[0].name}"
    about = {"scope": agreement.code, "code_version": code_version}
    return report_of(pair, ReportKind.CERTIFICATE, title, sections, notes=(REPEATS,), **about)


def _under(facts: TermFacts, agreement: frames.AgreementHead) -> TermFacts:
    """The facts of the units under the agreement only, with its promise."""
    units = facts.units[facts.units["unit_id"].isin(agreement.serials)].reset_index(drop=True)
    outages = facts.all.outages[facts.all.outages["unit_id"].isin(agreement.serials)]
    only = replace(facts.all, outages=outages)
    return replace(facts, all=only, days=Days(only, facts.days.until), units=units)


def _agreed(facts: TermFacts, agreement: frames.AgreementHead) -> Section:
    rows: tuple[tuple[Cell, ...], ...] = (
        ("Agreement", agreement.code),
        ("Buyer", agreement.buyer),
        ("School", facts.schools[0].name),
        ("Accepted on", agreement.accepted_on),
        ("Warranty from", agreement.warranty_from),
        ("Warranty until", agreement.warranty_until),
        ("An outage must end within", f"{number(agreement.promise_hours)} hours"),
        ("The engineer comes at least every", f"{number(agreement.visit_every_days)} days"),
        ("What stops the clock", agreement.clock_stops or "nothing was agreed"),
    )
    what = Table("agreed", "What was agreed", (words("what", "What"), words("agreed", "Agreed")), rows)
    return Section("agreed", "What was agreed", tables=(what, units_table(facts, agreement)))


def units_table(facts: TermFacts, agreement: frames.AgreementHead) -> Table:
    """Units under the agreement with serial number and usable school time."""
    shares = {row.unit_id: share_of(row) for row in rows_of(uptime.availability_by(facts.unit_days, ["unit_id"]))}
    cells: tuple[tuple[Cell, ...], ...] = tuple(
        (
            row.unit,
            row.name,
            agreement.serials[row.unit_id] or None,
            optional_day(row.from_day),
            shares.get(row.unit_id),
        )
        for row in rows_of(facts.units)
    )
    columns = (
        words("unit", "Unit"),
        words("name", "Name"),
        words("serial", "Serial number"),
        words("since", "In use since"),
        counts("availability", "Usable school time", "share"),
    )
    return Table("agreement_units", "Units under the agreement", columns, cells)


def _kept(facts: TermFacts, last: TermFacts | None, agreement: frames.AgreementHead, visits: pd.DataFrame) -> Section:
    lines = (
        _line("availability_share", "School time in which the units could be used", _availability, (facts, last)),
        _line("promise_kept_share", "Outages ended within the promised time", _promise(agreement), (facts, last)),
        _line("hours_between_failures", "School hours between failures of a unit", _between, (facts, last)),
    )
    tables = (kind_table(facts), _visits_table(facts, agreement, visits), open_table(facts))
    intro = "Outages that the agreed clock does not count are in these figures; the causes below tell them apart."
    return Section("kept", "What the records show", intro, lines, tables, (cause_chart(facts),))


def _line(key: str, label: str, compute: Any, terms: tuple[TermFacts, TermFacts | None]) -> Line:
    now, last = terms
    return Line(key, label, compute(now), compute(last) if last else None)


def _availability(facts: TermFacts) -> Any:
    return uptime.availability(facts.unit_days)


def _between(facts: TermFacts) -> Any:
    return repairs.time_between_failures(facts.outages, facts.unit_days, facts.scope)


def _promise(agreement: frames.AgreementHead) -> Any:
    return lambda facts: repairs.promise_kept(facts.outages, agreement.promise_hours, facts.until)


def _visits_table(facts: TermFacts, agreement: frames.AgreementHead, visits: pd.DataFrame) -> Table:
    """Days on which the engineer came, and the longest time between them in the period."""
    days = sorted(set(visits["day"].dt.date))
    marks = [facts.period.first, *days, facts.period.last]
    longest = max((after - before).days for before, after in pairwise(marks))
    rows: tuple[tuple[Cell, ...], ...] = (
        ("Days on which the engineer came", number(len(days))),
        ("Last came on", day(days[-1]) if days else None),
        ("Longest time without a visit in this term", f"{number(longest)} days"),
        ("Agreed", f"at least every {number(agreement.visit_every_days)} days"),
    )
    columns = (words("what", "What"), words("found", "On record"))
    return Table("engineer_visits", "The engineer's visits", columns, rows)
