"""What all weeks would come to beside what was reported; girls and boys apart; litres beside published norms."""

from __future__ import annotations

from typing import Final

from tracker.measures import visit_estimate, water_norms
from tracker.measures.figure import Figure
from tracker.measures.visit_estimate import VisitEstimate
from tracker.reports import figures
from tracker.reports.facts import TermFacts
from tracker.reports.printing import number
from tracker.reports.report import Cell, Table
from tracker.reports.rows import beside, counts, words

VISIT_NORMS: Final = ("pour.13", "cist.69", "us.gpf", "us.ws", "au.4star", "au.6star", "us.urinal", "vac")
DAY_NORMS: Final = ("who09.w.day", "who09.w.flush", "who09.w.pour", "sph18.sch.w", "is1172.day", "tank.3d")


def all_weeks(facts: TermFacts) -> VisitEstimate:
    """Visits reported, and the estimate for all unit-weeks, from ``visit_estimate.estimated_visits``."""
    return facts.once("visit estimate", lambda: _estimated(facts))


def _estimated(facts: TermFacts) -> VisitEstimate:
    known = (facts.unit_weeks, facts.tallies, facts.occasions, facts.units)
    return visit_estimate.estimated_visits(*known, enrolment=facts.all.enrolment, expected=facts.expected)


def visits_estimate_table(facts: TermFacts) -> Table:
    """The reported total, never changed, beside the estimate for all weeks."""
    found = all_weeks(facts)
    rows: list[tuple[str, Cell]] = [
        ("Reported; weeks that were not reported add nothing", figures.of(facts, "visits")),
        ("Estimate for all weeks, also those not reported", found.estimate),
    ]
    return beside("visits_estimate", "Visits reported, and an estimate for all weeks", rows, found.estimate.note)


def visits_by_sex_table(facts: TermFacts) -> Table:
    """Visits per girl and per boy and school day."""
    known = (facts.unit_weeks, facts.tallies, facts.occasions, facts.units, facts.all.enrolment)
    found = facts.once("visits by sex", lambda: visit_estimate.visits_per_pupil_day_by_sex(*known))
    rows: list[tuple[str, Cell]] = [(sex.value.capitalize(), figure) for sex, figure in found.items()]
    note = " ".join(dict.fromkeys(figure.note for figure in found.values() if figure.note))
    return beside("visits_by_sex", "Visits of girls and of boys", rows, note)


def water_norms_table(facts: TermFacts) -> Table:
    """Litres of a visit and of a pupil-day, each beside the published litres of the same unit."""
    rows = [*_norm_rows(figures.of(facts, "litres_per_visit"), VISIT_NORMS)]
    rows += _norm_rows(figures.of(facts, "litres_per_pupil_day"), DAY_NORMS)
    columns = (
        words("norm", "Named norm"),
        words("scope", "What it counts"),
        words("litres", "Litres"),
        counts("here", "Here"),
        words("place", "Here against it"),
        words("known", "How the norm is known"),
    )
    note = (
        "Norms differ by country and purpose, and none is a verdict. Litres of a visit here hold pre-wash and floor "
        "wash as well as the flush; norms of a visit are of the flush alone."
    )
    return Table("water_norms", "Water beside published norms", columns, tuple(rows), note)


def _norm_rows(figure: Figure, codes: tuple[str, ...]) -> list[tuple[Cell, ...]]:
    return [
        (
            f"{row.norm.name} ({row.norm.source})",
            row.norm.scope,
            f"{_litres(row.norm.low, row.norm.high)} {row.norm.per}",
            figure,
            row.place.value if row.place else None,
            row.norm.how_known,
        )
        for row in water_norms.beside(figure, codes)
    ]


def _litres(low: float, high: float) -> str:
    ends = [number(end, 0 if end == round(end) else 1) for end in dict.fromkeys((low, high))]
    return " to ".join(ends)
