"""Programme settings: keys, defaults, bounds and meaning; the value in force on a day."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from sqlalchemy import select
from sqlalchemy.orm import Session

from tracker.models.programme import ProgrammeSetting
from tracker.records.asked import rows_of


@dataclass(frozen=True, slots=True)
class SettingKey:
    """One setting: its key, the value where a programme sets none, the bounds, the unit and what it means.

    choices: where the value is the number of a choice, what each number stands for, from 0.
    """

    key: str
    default: int
    low: int
    high: int
    unit: str
    meaning: str
    choices: tuple[str, ...] = ()


EVERY_SET = "all"
NORM_CHOICES = (EVERY_SET, "in.mh", "in.rte", "ke", "who09", "sph18", "uk", "ngo")  # new ones go to the end
CHOICE = "choice"

KEYS: tuple[SettingKey, ...] = (
    SettingKey("sheet_due_days", 3, 0, 28, "days", "A week sheet is due so many days after the week's last day."),
    SettingKey("promise_restore_hours", 72, 1, 2000, "hours", "An outage must end within so many elapsed hours."),
    SettingKey("look_every_school_days", 2, 1, 30, "school days", "Each unit is looked at at least every so many."),
    SettingKey("service_visit_days", 30, 1, 400, "days", "The engineer comes at least so often, without an agreement."),
    SettingKey("reference_cistern_ml", 9000, 1, 50000, "mL", "A cistern flush that water taken is compared with."),
    SettingKey("small_count_min", 10, 10, 1000, "pupils", "The smallest count about pupils that leaves the programme."),
    SettingKey("long_share_permille", 300, 0, 1000, "per mille", "Share of long visits where nobody looked."),
    SettingKey("long_share_low_permille", 150, 0, 1000, "per mille", "Its lower bound."),
    SettingKey("long_share_high_permille", 500, 0, 1000, "per mille", "Its upper bound."),
    SettingKey("drawn_breaks_per_week", 2, 1, 10, "breaks", "Breaks drawn at random for the short sheet each week."),
    SettingKey("service_permille", 950, 500, 999, "per mille", "Restocking aims to meet this share of the requests."),
    SettingKey(
        "out_too_many_visits_factor", 3, 1, 50, "visits", "More visits a pupil and day at a unit are asked about."
    ),
    SettingKey("litres_u_permille", 100, 0, 1000, "per mille", "Uncertainty of a fitting's litres, if not known."),
    SettingKey(
        "fixture_norms",
        0,
        0,
        len(NORM_CHOICES) - 1,
        CHOICE,
        "Named set of pupils to a fixture that reports show.",
        NORM_CHOICES,
    ),
)

BY_KEY = {one.key: one for one in KEYS}


def all_settings(session: Session, programme_id: int, day: date) -> dict[str, int]:
    """Every setting of a programme in force on a day; defaults where the programme set none by then."""
    found = {one.key: one.default for one in KEYS}
    rows = rows_of(
        session,
        select(ProgrammeSetting.key, ProgrammeSetting.value)
        .where(ProgrammeSetting.programme_id == programme_id, ProgrammeSetting.from_day <= day)
        .order_by(ProgrammeSetting.from_day),
    )
    found.update({key: value for key, value in rows if key in BY_KEY})
    return found


def setting(session: Session, programme_id: int, key: str, day: date) -> int:
    """One setting in force on a day.

    Raises:
        KeyError: there is no such setting.
    """
    if key not in BY_KEY:
        raise KeyError(f"there is no setting {key!r}")
    return all_settings(session, programme_id, day)[key]


def refusal(key: str, value: int) -> str | None:
    """Why a value may not be set, in a sentence that says what to do; None where it may.

    >>> refusal("small_count_min", 5)
    'small_count_min goes from 10 to 1000 pupils. Write a number in between.'
    """
    if key not in BY_KEY:
        return f"There is no setting {key}. Use one of: {', '.join(BY_KEY)}."
    one = BY_KEY[key]
    if not one.low <= value <= one.high:
        return f"{key} goes from {one.low} to {one.high} {one.unit}. Write a number in between."
    return None


OPENING = """# Settings

A programme's settings are dated: a value holds from its day on, and the default where none was set by then. In the
exchange format they stand in `settings.csv`. The defaults are common practice, with no published source, unless the
measure that uses them names one. The smallest count that may be shown can be raised, never lowered.

| key | default | from | to | unit | means |
| --- | --- | --- | --- | --- | --- |
"""
CHOICES_OPENING = """Choices of `{key}`. "all" shows every named set. docs/measures.md has their ratios and
sources, and says which were read in their source and which are from memory.

| value | named set |
| --- | --- |
"""


def settings_text() -> str:
    """The text of docs/settings.md."""
    rows = (f"| `{one.key}` | {one.default} | {one.low} | {one.high} | {one.unit} | {one.meaning} |\n" for one in KEYS)
    return OPENING + "".join(rows) + "".join(map(_choices_text, filter(lambda one: one.choices, KEYS)))


def _choices_text(one: SettingKey) -> str:
    """The numbers of a setting's choices."""
    rows = (f"| {number} | `{choice}` |\n" for number, choice in enumerate(one.choices))
    return f"\n{CHOICES_OPENING.format(key=one.key)}" + "".join(rows)
