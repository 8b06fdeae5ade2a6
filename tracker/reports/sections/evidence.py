"""Figures that somebody else checked, and whose money stands behind the pupils: for the officer and for funders."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Final

import pandas as pd

from tracker.measures.dials import rows_of
from tracker.measures.disclosure import MIN_SCHOOLS
from tracker.measures.figure import Figure, add
from tracker.measures.grant_share import NOT_UNDER, GrantShare, claim_pupils
from tracker.measures.spot_check import Agreement, agreement
from tracker.reports.facts import TermFacts
from tracker.reports.printing import day, number
from tracker.reports.report import Cell, Section, Table
from tracker.reports.rows import as_share, counts, optional_day, sentences, words
from tracker.reports.sections.declared import key_part
from tracker.vocabulary import Basis

CHECKED_INTRO: Final = (
    "Schools and figures are drawn by chance once a term. Another person, who does not report for the school, counts "
    "them again from the paper, the log or the shelf. A difference is a question to both, not a fault of either."
)
DRAWN_NOTE: Final = (
    "Drawn from what was on record on that day. What was reported is kept as it stood then, so a later correction "
    "does not make a figure agree. A term that was drawn again shows every draw."
)
NO_DRAW: Final = "No figure was drawn for a check by another person in this term."
GRANTS_INTRO: Final = (
    "Grants have agreed shares of schools. Each pupil stands under one grant or under none, so that two funders do not "
    "claim the same pupil. Shares say who may report a pupil, not what caused anything."
)
SMALL_GRANTS: Final = f"Grants of fewer than {MIN_SCHOOLS} schools are not shown apart."
OTHERS: Final = "Other grants, and what no grant pays for"
ALL: Final = "All schools"
PUPILS: Final = (
    counts("enrolled", "Pupils enrolled", "pupils"),
    counts("reached", "Pupils reached by lessons, at least", "pupils"),
)
NO_FUNDER: Final = {NOT_UNDER: "none", OTHERS: "several, or none"}
REST_NOTE: Final = "A grant may report the pupils of its own row; the rest of all schools' pupils is others'."


# --- checked by someone else --------------------------------------------------------------------------------------


def checked_section(facts: TermFacts, checks: pd.DataFrame, *, by_school: bool) -> Section:
    """What another person found beside what was reported; schools are named only to the officer.

    Args:
        checks: frame ``spot_checks`` of the term.
    """
    if checks.empty:
        found = (sentences("spot_draws", "Checked by another person", (), NO_DRAW),)
        return Section("checked", "Checked by someone else", CHECKED_INTRO, tables=found)
    local = checks.assign(drawn_at=checks["drawn_at"].dt.tz_convert(facts.zone))
    draws = {name: local[local["draw"] == name] for name in sorted(set(local["draw"].tolist()))}
    agreed = {name: agreement(rows, most=len(rows)) for name, rows in draws.items()}
    tables = [_draws_table(draws, agreed), _factors_table(draws, agreed)]
    if by_school:
        tables.append(_differences_table(checks, agreed))
    return Section("checked", "Checked by someone else", CHECKED_INTRO, tables=tuple(tables))


def _called(name: int, rows: pd.DataFrame) -> str:
    return f"Draw {name}, {day(rows['drawn_at'].iloc[0].date())}"


def _draws_table(draws: Mapping[int, pd.DataFrame], agreed: Mapping[int, Agreement]) -> Table:
    rows: tuple[tuple[Cell, ...], ...] = tuple(
        (
            _called(name, found),
            len(found),
            int(found["found"].notna().sum()),
            as_share(agreed[name].within),
            found["reason"].iloc[0] or "first draw of the term",
        )
        for name, found in draws.items()
    )
    columns = (
        words("draw", "Draw"),
        counts("drawn", "Figures drawn", "figures"),
        counts("checked", "Checked", "figures"),
        counts("agree", "Of them agree", "share"),
        words("why", "Why it was drawn"),
    )
    return Table("spot_draws", "Figures drawn, checked and found to agree", columns, rows, DRAWN_NOTE)


def _factors_table(draws: Mapping[int, pd.DataFrame], agreed: Mapping[int, Agreement]) -> Table:
    rows: tuple[tuple[Cell, ...], ...] = tuple(
        (_called(name, found), figure, factor)
        for name, found in draws.items()
        for figure, factor in agreed[name].factors.items()
    )
    columns = (
        words("draw", "Draw"),
        words("figure", "Figure"),
        counts("factor", "Found ÷ reported", "found ÷ reported"),
    )
    note = (
        "1 where both are the same; above 1 where more was found than reported. One school, or schools that all came "
        "out alike, give no range."
    )
    return Table("spot_factors", "Found against reported", columns, rows, note)


def _differences_table(checks: pd.DataFrame, agreed: Mapping[int, Agreement]) -> Table:
    """Every drawn figure by school; the officer asks both sides about those that differ."""
    within = {
        (name, row.school, row.figure): bool(row.within)
        for name, one in agreed.items()
        for row in rows_of(one.differences)
    }
    rows: tuple[tuple[Cell, ...], ...] = tuple(
        (
            row.school,
            row.figure,
            row.week.date(),
            int(row.reported),
            None if pd.isna(row.found) else int(row.found),
            {True: "yes", False: "no"}.get(within.get((row.draw, row.school, row.figure)), "not checked yet"),  # type: ignore[arg-type]
            optional_day(row.checked_on),
            row.draw,
        )
        for row in rows_of(checks.sort_values(["school", "draw", "figure"]))
    )
    columns = (
        words("school", "School"),
        words("figure", "Figure"),
        words("week", "Week from"),
        counts("reported", "Reported"),
        counts("found", "Found"),
        words("agrees", "Agrees"),
        words("checked", "Checked on"),
        counts("draw", "Draw"),
    )
    return Table("spot_differences", "Reported and found, by school", columns, rows)


def checked_sentence(checks: pd.DataFrame) -> str:
    """How much another person checked, for the list of what the figures rest on; "" where nothing was."""
    checked = int(checks["found"].notna().sum())
    if not checked:
        return ""
    return (
        f"{number(checked)} of {number(len(checks))} figures drawn by chance were counted again by another person; how "
        "many agree stands under “Checked by someone else”."
    )


# --- grants -------------------------------------------------------------------------------------------------------


def grants_sections(facts: TermFacts, shares: pd.DataFrame, *, joined: bool) -> tuple[Section, ...]:
    """Each grant's share of the pupils, of none and of all; no section where no grant has a share of a school.

    Args:
        shares: frame ``grant_shares`` of the period.
        joined: grants of few schools are not shown apart, for what leaves the programme names no school.
    """
    if shares.empty:
        return ()
    funders = {str(row.grant): str(row.funder) for row in rows_of(shares)}
    schools = {str(grant): int(rows["school"].nunique()) for grant, rows in shares.groupby("grant")}
    small = {grant for grant, held in schools.items() if joined and held < MIN_SCHOOLS}
    both = [_Claimed(facts, shares, pupils) for pupils in (_enrolled(facts), _reached(facts))]
    apart = [grant for grant in sorted(funders) if grant not in small]
    rest = OTHERS if small else NOT_UNDER
    rows: list[tuple[Cell, ...]] = [(grant, funders[grant], *(one.of(grant) for one in both)) for grant in apart]
    rows += [(rest, NO_FUNDER[rest], *(one.rest(apart) for one in both)), (ALL, "", *(one.all() for one in both))]
    columns = (words("grant", "Grant"), words("funder", "Funder or buyer"), *PUPILS)
    note = f"{REST_NOTE} {SMALL_GRANTS}" if small else REST_NOTE
    whole = Table("grants", "Each grant's share of the pupils", columns, tuple(rows), note)
    each = [_own_table(grant, funders[grant], both) for grant in apart]
    return (Section("grants", "Grants and their shares of the pupils", GRANTS_INTRO, tables=(whole, *each)),)


def _own_table(grant: str, funder: str, both: Sequence[_Claimed]) -> Table:
    """What one grant may report, and that the rest is others'."""
    rows: tuple[tuple[Cell, ...], ...] = (
        ("Under this grant", *(one.of(grant) for one in both)),
        ("Others'", *(one.rest([grant]) for one in both)),
        (ALL, *(one.all() for one in both)),
    )
    title = f"Grant {grant} of {funder}: its share, and others'"
    return Table(f"grant_{key_part(grant)}", title, (words("whose", "Whose"), *PUPILS), rows)


class _Claimed:
    """A number of pupils of each school, shared among grants."""

    def __init__(self, facts: TermFacts, shares: pd.DataFrame, pupils: Mapping[str, int | None]) -> None:
        self.pupils, self.period = pupils, facts.period
        self.shares = [
            GrantShare(row.school, row.grant, int(row.permille), row.from_day.date(), optional_day(row.until_day))
            for row in rows_of(shares)
        ]
        self.claims = self._shared(self.shares)

    def _shared(self, shares: Sequence[GrantShare]) -> dict[str, Figure]:
        return claim_pupils(self.pupils, shares, self.period.first, self.period.last)

    def of(self, grant: str) -> Figure:
        """What a grant may report."""
        return self.claims.get(grant, self._nothing())

    def rest(self, apart: Sequence[str]) -> Figure:
        """What is not of these grants; each of its schools counts once, however many others have a share of it."""
        others = [figure for grant, figure in self.claims.items() if grant not in apart]
        if not others:
            return self._nothing()
        known = self._shared([share for share in self.shares if share.grant in apart])[NOT_UNDER]
        return replace(add(others), used=known.used, expected=known.expected)

    def all(self) -> Figure:
        """All schools' pupils."""
        known = [number_of for number_of in self.pupils.values() if number_of is not None]
        value = float(sum(known)) if known else None
        return replace(self._nothing(), value=value, used=len(known), expected=len(self.pupils))

    def _nothing(self) -> Figure:
        """No pupil at all: the whole of every school is elsewhere."""
        return Figure(0.0, "pupils", Basis.COUNTED, records="schools", about_people=True)


def _enrolled(facts: TermFacts) -> dict[str, int | None]:
    """Pupils enrolled on the last day by school's code; None where no enrolment is on record."""
    last, rows = pd.Timestamp(facts.period.last), facts.all.enrolment
    held = rows[(rows["from_day"] <= last) & (rows["until_day"].isna() | (rows["until_day"] >= last))]
    return _by_code(facts, held.groupby("school_id")["pupils"].sum())


def _reached(facts: TermFacts) -> dict[str, int | None]:
    """Pupils reached by lessons, at least, by school's code; None where no lesson's attendance is on record."""
    return _by_code(facts, facts.reach.groupby("school_id")["low"].sum())


def _by_code(facts: TermFacts, sums: pd.Series) -> dict[str, int | None]:
    known = {int(school): int(pupils) for school, pupils in sums.items()}  # type: ignore[call-overload]
    return {code: known.get(school) for school, code in facts.codes.items()}
