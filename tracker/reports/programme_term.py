"""All schools of a programme in one term, for its officer."""

from __future__ import annotations

from datetime import datetime

from tracker.records import frames
from tracker.reports.facts import Pair, TermFacts, TermLike, gather
from tracker.reports.report import Report, Section
from tracker.reports.restock_list import ahead, restock_table
from tracker.reports.school_term import report_of, with_tables
from tracker.reports.sections.care import disposal_section, lessons_section, levels_table
from tracker.reports.sections.cost import cost_section
from tracker.reports.sections.crowding import crowding_section
from tracker.reports.sections.demand import demand_table, forecast_check_table, forecast_table, need_tables
from tracker.reports.sections.evidence import checked_section, grants_sections
from tracker.reports.sections.fitting import fitting_sections
from tracker.reports.sections.learning import menstrual_table
from tracker.reports.sections.power import power_sections
from tracker.reports.sections.records import records_section, short_section
from tracker.reports.sections.stock import stock_tables
from tracker.reports.sections.supplies import supplies_section
from tracker.reports.sections.tanks import tanks_sections
from tracker.reports.sections.use import visits_section, water_section
from tracker.reports.sections.working import working_section
from tracker.vocabulary import ReportKind

BY_NEED = (
    "The restocking list is in the order of need, with the reason in words; it says nothing about how a school works."
)


def build(session: frames.Session, programme_id: int, term: TermLike, as_of: datetime, code_version: str) -> Report:
    """The programme term report: every headline with last term and target, schools in the order of their codes.

    Args:
        as_of: the report's instant (aware); a running term is reported to that day, an ended one to its last.
    Raises:
        LookupError: there is no such programme.
        ValueError: the term has not begun.
    """
    pair = gather(session, programme_id, term, as_of)
    facts = pair.now
    targets = frames.targets(session, programme_id, term.id)
    scope = frames.Scope(programme_id, facts.period.first, facts.period.last)
    answers = frames.inspection_answers(session, scope, term.id)
    sections = _sections(session, pair, targets)
    units = next(place for place, section in enumerate(sections) if section.key == "units")
    items = menstrual_table(facts, answers, one_school=False)
    sections[units] = with_tables(sections[units], levels_table(facts, answers, one_school=False), *items)
    whole = (short_section(sections), *sections)
    title = f"{facts.all.programme.name}: programme term report"
    return report_of(pair, ReportKind.PROGRAMME_TERM, title, whole, code_version=code_version, notes=(BY_NEED,))


def _sections(session: frames.Session, pair: Pair, targets: dict[str, frames.TargetHead]) -> list[Section]:
    facts, coming = pair.now, ahead(session, pair.now)
    forecasts = (forecast_table(facts, coming.days, coming.rounds), forecast_check_table(facts))
    more = (*forecasts, demand_table(facts), *need_tables(facts), *stock_tables(facts, one_school=False))
    return [
        visits_section(pair, targets, one_school=False),
        crowding_section(facts, one_school=False),
        water_section(pair, targets, one_school=False),
        *tanks_sections(facts, one_school=False),
        *power_sections(facts),
        working_section(pair, targets, one_school=False),
        supplies_section(pair, targets, (restock_table(facts, coming), *more), one_school=False),
        disposal_section(pair, targets),
        lessons_section(pair, targets, one_school=False),
        cost_section(facts),
        *fitting_sections(pair, _declared(session, facts)),
        *grants_sections(facts, frames.grant_shares(session, _scope(facts)), joined=False),
        records_section(pair, targets, one_school=False),
        checked_section(facts, frames.spot_checks(session, facts.term.id), by_school=True),
    ]


def _scope(facts: TermFacts) -> frames.Scope:
    return frames.Scope(facts.all.programme.id, facts.period.first, facts.period.last)


def _declared(session: frames.Session, facts: TermFacts) -> tuple[frames.TrialHead, ...]:
    """Trials that ran on a day of the two terms."""
    period = facts.all.period
    return frames.trials(session, frames.Scope(facts.all.programme.id, period.first, period.last), facts.zone)
