"""A pack of sensor measurements (SenML, RFC 8428, JSON) resolved to plain entries: name, unit, instant, value.

Source: RFC 8428, sections 4 and 5 (read in its last draft and in quoted examples). Two things that it allows are
refused, with the reason: times relative to "now", because a pack sent twice must say the same twice, and the sums
(``s``, ``bs``), because counters are sent as they stand.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any, Final

VERSION: Final = 10  # of the format (RFC 8428)
ABSOLUTE_FROM: Final = 2**28  # smaller times are relative to "now" (RFC 8428, section 4.5.3)
LATEST: Final = 2**36  # seconds; about the year 4147, so that a date can hold it
MOST: Final = 2000  # records in a pack
NAME: Final = re.compile(r"[A-Za-z0-9][A-Za-z0-9\-:./_]*", re.ASCII)
TEXTS: Final = ("bn", "bu", "n", "u")
NUMBERS: Final = ("bt", "bv", "t", "v", "ut")
REFUSED: Final = {
    "s": "sums are not taken",
    "bs": "sums are not taken",
    "vs": "texts are not taken",
    "vd": "data are not taken",
}
KNOWN: Final = {*TEXTS, *NUMBERS, *REFUSED, "bver", "vb"}
EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)


class PackError(ValueError):
    """A pack cannot be taken; ``record`` counts from 0 (None: the pack as a whole), the message says what to do."""

    def __init__(self, message: str, record: int | None = None) -> None:
        super().__init__(message)
        self.record = record


@dataclass(frozen=True, slots=True)
class Entry:
    """One measurement: the record it came from, full name, unit ("" where none), instant, number or yes and no."""

    record: int
    name: str
    unit: str
    at: datetime
    value: float | bool


def resolve(pack: Any) -> list[Entry]:
    """The entries of a pack, as parsed from JSON, in its order; base fields hold until the next of their kind.

    Raises:
        PackError: at the first record that cannot be read.

    >>> resolve([{"bn": "tank-1:", "bt": 1780000000, "n": "level", "u": "/", "v": 0.5}])[0].name
    'tank-1:level'
    """
    if not isinstance(pack, list) or not pack:
        raise PackError("Send a list of at least one record.")
    if len(pack) > MOST:
        raise PackError(f"Send at most {MOST} records in a pack; this one has {len(pack)}.")
    return list(_entries(pack))


def _entries(pack: list[Any]) -> Iterator[Entry]:
    base: dict[str, Any] = {"bn": "", "bt": 0, "bu": "", "bv": 0}
    for number, record in enumerate(pack):
        _check(record, number)
        base |= {name: record[name] for name in base if name in record}
        if "v" not in record and "vb" not in record:
            if set(record) - {*base, "bver"}:
                raise PackError("Give each record a value: v for a number, vb for true or false.", number)
            continue  # a record may hold base fields alone
        yield Entry(
            number,
            _name(base["bn"] + record.get("n", ""), number),
            record.get("u", base["bu"]),
            _instant(base["bt"] + record.get("t", 0), number),
            _value(base["bv"], record, number),
        )


def _check(record: Any, number: int) -> None:
    if not isinstance(record, dict):
        raise PackError("Each record must be an object.", number)
    for label, value in record.items():
        if label in REFUSED:
            raise PackError(f"The field {label} is refused: {REFUSED[label]}. Send v or vb.", number)
        if label not in KNOWN and label.endswith("_"):
            raise PackError("A field that must be understood is not known here. Leave it out.", number)
        if label in TEXTS and not isinstance(value, str):
            raise PackError(f"The field {label} must be a text.", number)
        if label in NUMBERS and not _is_number(value):
            raise PackError(f"The field {label} must be a number.", number)
    if record.get("bver", VERSION) != VERSION:
        raise PackError(f"Only version {VERSION} of the format is read.", number)
    if "vb" in record and not isinstance(record["vb"], bool):
        raise PackError("The field vb must be true or false.", number)
    if "v" in record and "vb" in record:
        raise PackError("Give each record one value, not two.", number)


def _is_number(value: Any) -> bool:
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        return False
    return abs(value) < 2**62 if isinstance(value, int) else math.isfinite(value)


def _name(name: str, number: int) -> str:
    if not NAME.fullmatch(name):
        raise PackError(
            "The name must begin with a letter or digit and hold only letters, digits and - : . / _", number
        )
    return name


def _instant(seconds: float, number: int) -> datetime:
    if seconds < ABSOLUTE_FROM:
        raise PackError(
            "Send the time of the reading in seconds since 1970, not the seconds since or before now: "
            "a pack that is sent twice must say the same twice.",
            number,
        )
    if seconds > LATEST:
        raise PackError("This time is too far ahead. Set the device's clock.", number)
    return EPOCH + timedelta(seconds=seconds)


def _value(base: float, record: dict[str, Any], number: int) -> float | bool:
    if "vb" in record:
        return bool(record["vb"])
    value: float = base + record["v"]
    if not _is_number(value):
        raise PackError("The value is too large.", number)
    return value
