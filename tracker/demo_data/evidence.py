"""A declared trial, grants that share a school, and last term's checks by another person."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, datetime, timedelta

from tracker.demo_data.book import Book, Cell, Dice
from tracker.demo_data.plan import FIRST_DAY, PROGRAMME, RETROFIT, SCHOOLS, SEED, SET_UP, TERMS
from tracker.intake.spot_draw import seed_text
from tracker.measures.calendar import week_of
from tracker.measures.spot_check import draw, draw_week
from tracker.vocabulary import Better, FittingKind, Measure, SpotFigure, TrialSide

OFFICER = "Tavo Quellin"
CHECKER, CHECKER_ROLE = "Neri Ashvold", "service engineer"
TERM = TERMS[1]
TRIAL = "VAC-1"
DECLARED = datetime(2026, 2, 10, 10, 0)  # noqa: DTZ001 - wall clock of the programme, as the files hold it
# G4 was fitted on the same day although nobody had declared it.
IN_TRIAL = {"OL-10": ("G1", "G2", "G3")}
COMPARED = {"OL-10": ("B1", "B2", "B3"), "OL-06": ("G1", "G2", "G3", "G4"), "OL-12": ("G1", "G2", "G3")}
GRANTS = (
    ("SHORE", "Ombari Lakes School Fund", {"OL-01": 1000, "OL-02": 600, "OL-03": 1000, "OL-04": 1000}),
    ("CIRCLE", "Parents' Circle of the Ombari Lakes", {"OL-02": 400, "OL-06": 1000, "OL-12": 1000}),
)
GRANT_ENDS = date(2026, 8, 31)
DRAWN = datetime(2026, 4, 13, 9, 20)  # noqa: DTZ001 - after the term's last sheet had come
DRAWN_SCHOOLS, FIGURES_EACH = 6, 3
CHECKING_BEGAN = date(2026, 4, 20)  # with the next term, when the schools were open again
NOT_CHECKED_SHARE, DIFFERS_SHARE = 0.1, 0.4


def write_trial(book: Book) -> None:
    """The retrofit as it was declared eleven days before."""
    row: dict[str, Cell] = {
        "trial": TRIAL,
        "question": "Do girls' cabins take less water for a visit with vacuum help?",
    }
    row |= {"fitting": FittingKind.VACUUM, "measure": Measure.LITRES_PER_VISIT, "better": Better.LOWER}
    row |= {"at_least_thousandths": 500, "from_day": RETROFIT[1], "until_day": TERM.last}
    book.add("trials", {**row, "declared_local_time": DECLARED, "declared_by": OFFICER})
    for side, places in ((TrialSide.FITTED, IN_TRIAL), (TrialSide.COMPARISON, COMPARED)):
        for school, units in places.items():
            for unit in units:
                book.add("trial_units", {"trial": TRIAL, "school": school, "unit": unit, "side": side})


def write_grants(book: Book) -> None:
    """Two grants; both have a share of one school."""
    for code, funder, shares in GRANTS:
        book.add("grants", {"grant": code, "funder": funder, "from_day": SET_UP, "until_day": GRANT_ENDS})
        for school, permille in shares.items():
            row: dict[str, Cell] = {"grant": code, "school": school, "from_day": SET_UP, "permille": permille}
            book.add("grant_shares", {**row, "until_day": GRANT_ENDS})


def write_checks(book: Book) -> None:
    """Figures of the second term, drawn when its last sheet had come, most of them counted again."""
    code, dice = f"{TERM.code}-1", Dice(SEED, "spot checks")
    salt = "".join("0123456789abcdef"[dice.whole(0, 15)] for _ in range(32))
    known, seed = on_record(book), seed_text(PROGRAMME, code, salt)
    row: dict[str, Cell] = {"draw": code, "term": TERM.code, "number": 1, "drawn_local_time": DRAWN}
    row |= {"drawn_by": OFFICER, "salt": salt, "schools": DRAWN_SCHOOLS, "figures_each": FIGURES_EACH}
    book.add("spot_draws", row)
    areas = {plan.code: plan.area for plan in SCHOOLS}
    figures = {school: [figure.value for figure in mine] for school, mine in known.items()}
    for check in draw(areas, figures, DRAWN_SCHOOLS, seed, each=FIGURES_EACH).checks:
        figure = SpotFigure(check.figure)
        weeks = known[check.school][figure]
        week = draw_week(check.school, check.figure, weeks, seed)
        key: dict[str, Cell] = {"draw": code, "school": check.school, "figure": figure}
        book.add("spot_checks", {**key, "week": week, "reported": weeks[week]})
        found = _found(dice, weeks[week])
        if found is not None:
            day = CHECKING_BEGAN + timedelta(days=dice.whole(0, 4))
            said: dict[str, Cell] = {"found": found, "checked_by": CHECKER, "checker_role": CHECKER_ROLE}
            book.add("spot_answers", {**key, **said, "checked_on": day})


def _found(dice: Dice, reported: int) -> int | None:
    """What the engineer counted; None where the check was not made."""
    if dice.chance(NOT_CHECKED_SHARE):
        return None
    if not dice.chance(DIFFERS_SHARE):
        return reported
    return max(0, reported + dice.pick((-1, 1)) * max(1, int(reported * dice.share(0.03, 0.2))))


def on_record(book: Book) -> dict[str, dict[SpotFigure, dict[date, int]]]:
    """School → figure → week of the term → what is on record, from the rows written so far."""
    first = week_of(TERM.first, FIRST_DAY.weekday())
    found: dict[str, dict[SpotFigure, dict[date, int]]] = {}
    for school, figure, day, number in _figures(book):
        week = week_of(day, FIRST_DAY.weekday())
        if first <= week <= TERM.last:
            weeks = found.setdefault(school, {}).setdefault(figure, {})
            weeks[week] = weeks.get(week, 0) + number
    return found


def _figures(book: Book) -> Iterator[tuple[str, SpotFigure, date, int]]:
    napkins = {row["product"] for row in book.rows["products"] if row["menstrual"]}
    schools = {row["place"]: row.get("school") for row in book.rows["places"]}
    for row in book.rows["usage_counts"]:
        if row["source"] == "tally":
            yield _of(row, SpotFigure.VISITS, "first_day", "visits")
    for row in book.rows["burns"]:
        yield _of(row, SpotFigure.BURNS, "first_day", "burns")
    for row in book.rows["stock_counts"]:
        if row["product"] in napkins and schools.get(row["place"]):
            yield _of({**row, "school": schools[row["place"]]}, SpotFigure.LEFT, "day", "quantity")
    for row in book.rows["machine_days"]:
        yield _of({**row, "ran_out": int(bool(row["ran_out"]))}, SpotFigure.SOLD_OUT, "day", "ran_out")
    for row in book.rows["awareness_sessions"]:
        yield _of(row, SpotFigure.LESSONS, "day", "minutes")


def _of(row: dict[str, Cell], figure: SpotFigure, day: str, number: str) -> tuple[str, SpotFigure, date, int]:
    on, counted = row[day], row[number]
    if not isinstance(on, date) or not isinstance(counted, int):
        raise TypeError(f"{figure.value} of {row['school']} has no day or no number")
    return str(row["school"]), figure, on, counted
