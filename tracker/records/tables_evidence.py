"""Files of the exchange format that say what was declared, drawn, checked and paid for. They come after the set-up."""

from __future__ import annotations

from tracker.models import evidence as e
from tracker.models.links import Baseline
from tracker.records.columns import FROM, SCHOOL, UNIT, UNTIL, Link, Table, day, moment, text, whole, word
from tracker.vocabulary import Basis, Better, FittingKind, Measure, SpotFigure, TrialSide

TRIAL = Link(("trial",), "trials", "trial_id")
GRANT = Link(("grant",), "grants", "grant_id")
CHECK_KEY = ("draw", "school", "figure")

EVIDENCE: tuple[Table, ...] = (
    Table(
        "trials",
        e.Trial,
        "Comparisons, declared before they start.",
        ("trial",),
        (
            text("trial", 32, attr="code"),
            text("question", 200),
            word("fitting", FittingKind, doc="what the units get"),
            word("measure", Measure, doc="not cost per visit, which is kept by school"),
            word("better", Better, doc="direction of the success"),
            whole(
                "at_least_thousandths",
                doc="size of the success, in thousandths of the measure's unit (availability: of a share)",
            ),
            FROM,
            day("until_day", doc="last day"),
            moment("declared_local_time", "declared_at"),
            text("declared_by", 80),
        ),
    ),
    Table(
        "trial_units",
        e.TrialUnit,
        "Units of a trial and those they are compared with.",
        ("trial", "school", "unit"),
        (word("side", TrialSide),),
        (TRIAL, UNIT),
    ),
    Table(
        "baselines",
        Baseline,
        "Figures as they were measured before the programme worked, in thousandths of the figure's unit.",
        ("figure", "measured_on"),
        (
            text("figure", 60),
            day("measured_on"),
            whole("baseline_thousandths", 0, attr="thousandths"),
            word("basis", Basis),
            text("note", 120, doc="where and how it was measured"),
        ),
    ),
    Table(
        "grants",
        e.FundingGrant,
        "Grants.",
        ("grant",),
        (text("grant", 32, attr="code"), text("funder", 80, doc="funder or buyer"), FROM, UNTIL),
    ),
    Table(
        "grant_shares",
        e.GrantShare,
        "Shares of a school that grants stand for; together 1000 at most on every day.",
        ("grant", "school", "from_day"),
        (whole("permille", 1, 1000, doc="thousandths of the school's pupils"), FROM, UNTIL),
        (GRANT, SCHOOL),
    ),
    Table(
        "spot_draws",
        e.SpotDraw,
        "Draws of figures that another person checks.",
        ("draw",),
        (
            text("draw", 40, attr="code", doc="the term's code, a dash, the number"),
            whole("number", 1, 99, doc="1 is the term's draw; a later one says why"),
            moment("drawn_local_time", "drawn_at"),
            text("drawn_by", 80),
            text("salt", 64, doc="with the draw's code it gives the same draw again"),
            whole("schools", 1, 1000),
            whole("figures_each", 1, 5),
            text("reason", 200, required=False),
        ),
        (Link(("term",), "terms", "term_id"),),
    ),
    Table(
        "spot_checks",
        e.SpotCheck,
        "Drawn figures, with what was on record when they were drawn.",
        CHECK_KEY,
        (word("figure", SpotFigure), day("week", doc="first day of the week"), whole("reported")),
        (Link(("draw",), "spot_draws", "draw_id"), SCHOOL),
    ),
    Table(
        "spot_answers",
        e.SpotAnswer,
        "What another person found.",
        CHECK_KEY,
        (
            whole("found"),
            text("checked_by", 80, doc="another person than those who report for the school"),
            text("checker_role", 80),
            day("checked_on"),
            text("note", 200, required=False),
        ),
        (Link(CHECK_KEY, "spot_checks", "check_id"),),
    ),
)
