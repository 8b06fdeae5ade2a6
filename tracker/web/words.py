"""What keys of the vocabulary are called on pages: the one place where a key becomes plain words."""

from __future__ import annotations

from enum import StrEnum

from tracker.measures.norms import NORM_SETS
from tracker.records.settings import BY_KEY, CHOICE
from tracker.vocabulary import (
    BeforeKind,
    ClosureScope,
    CountWay,
    FittingKind,
    LitresBasis,
    Quantity,
    Route,
    UnitKind,
    VisitPurpose,
)

WORDS: dict[type[StrEnum], dict[str, str]] = {
    FittingKind: {
        "flush_fixed": "Flush, always the same",
        "flush_two_stage": "Two-stage flush",
        "flush_pour": "Flush poured by hand",
        "flush_none": "No flush",
        "vacuum": "Vacuum help",
        "pre_wash": "Wash before entry",
        "floor_wash": "Floor wash",
        "tap": "Tap",
    },
    CountWay: {
        "counter": "By its own counter, read each week",
        "drawn": "By a tally on two breaks drawn at random",
        "grid": "By a tally of every break of every day",
        "week_total": "By one tally for the whole week",
        "none": "Not counted",
    },
    Quantity: {
        "water": "Water",
        "visits": "Visits",
        "long_visits": "Long visits",
        "vends": "Napkins vended",
        "energy": "Energy",
    },
    UnitKind: {"machine": "Napkin machine", "tap": "Washing point", "meter": "Meter", "tank": "Water tank"},
    ClosureScope: {"programme": "The whole programme", "area": "One area", "school": "One school"},
    LitresBasis: {"measured": "Measured here", "claim": "The maker's claim"},
    BeforeKind: {"nothing": "Nothing", "pour_flush": "Pour flush", "cistern": "Cistern"},
    Route: {"burn": "Burning", "collection": "Collection", "burial": "Burial", "other": "Another way"},
    VisitPurpose: {"local look": "A look at it", "service visit": "Service visit", "repair": "Repair"},
}

SETTINGS = {
    "sheet_due_days": "A week sheet is due so long after the week's last day",
    "promise_restore_hours": "An outage must end within so many elapsed hours",
    "look_every_school_days": "Each unit is looked at at least every so many school days",
    "service_visit_days": "Without an agreement the engineer comes at least every so many days",
    "reference_cistern_ml": "The cistern flush that water taken is compared with",
    "small_count_min": "The smallest count about pupils that leaves the programme",
    "long_share_permille": "Share of long visits where nobody looked",
    "long_share_low_permille": "Share of long visits where nobody looked: the least it can be",
    "long_share_high_permille": "Share of long visits where nobody looked: the most it can be",
    "drawn_breaks_per_week": "Breaks drawn at random for the short sheet each week",
    "service_permille": "Restocking aims to meet this share of the requests",
    "out_too_many_visits_factor": "Visits a pupil and day at a unit above which the sheet asks",
    "litres_u_permille": "Uncertainty of a fitting's litres, where none is recorded",
    "fixture_norms": "Named set of pupils to a cabin or urinal that reports show",
}
EVERY_SET = "every named set"
SHARE, MILLILITRES = "per mille", "mL"


def word(value: object) -> str:
    """A key of the vocabulary in plain words; a word that needs none begins with a capital.

    >>> word(FittingKind.FLUSH_NONE), word(UnitKind.CABIN), word("G1")
    ('No flush', 'Cabin', 'G1')
    """
    if not isinstance(value, StrEnum):
        return str(value)
    plain = str(value.value).replace("_", " ")
    return WORDS.get(type(value), {}).get(value.value, plain.capitalize())


def setting_name(key: str) -> str:
    """A setting in plain words; new ones say what they mean until they have a name here."""
    return SETTINGS.get(key) or BY_KEY[key].meaning.rstrip(".")


def setting_unit(key: str) -> str:
    """The unit in which people write a setting."""
    unit = BY_KEY[key].unit
    plain = {SHARE: "percent", MILLILITRES: "millilitres (9000 is 9 L)", CHOICE: "the number of a choice below"}
    return plain.get(unit, unit)


def setting_value(key: str, value: int) -> str:
    """A setting's value with its unit, as people read it.

    >>> setting_value("service_permille", 950), setting_value("reference_cistern_ml", 9000)
    ('95 %', '9 L')
    >>> setting_value("fixture_norms", 3)
    'A health ministry: girls 25, boys 30 (read)'
    """
    unit = BY_KEY[key].unit
    if BY_KEY[key].choices:
        return choice_words(BY_KEY[key].choices[value])
    if unit == SHARE:
        return f"{value / 10:g} %"
    return f"{value / 1000:g} L" if unit == MILLILITRES else f"{value} {unit}"


def choice_words(choice: str) -> str:
    """A named set of norms with how its ratios are known."""
    return NORM_SETS[choice].named if choice in NORM_SETS else EVERY_SET


def choices_words() -> str:
    """Every setting of which a choice is written as a number, with its choices."""
    said = []
    for one in BY_KEY.values():
        if one.choices:
            listed = "; ".join(f"{number}: {choice_words(choice)}" for number, choice in enumerate(one.choices))
            said.append(f"{setting_name(one.key)} — {listed}.")
    return " ".join(said)


def is_share(figure: str) -> bool:
    """Whether a figure is a share, written in percent."""
    return figure.endswith("_share")


def target_value(figure: str, thousandths: int) -> str:
    """What a target should reach, as people write it.

    >>> target_value("availability_share", 950), target_value("breaks_lost", 12000)
    ('95 %', '12')
    """
    return f"{thousandths / 10:g} %" if is_share(figure) else f"{thousandths / 1000:g}"
