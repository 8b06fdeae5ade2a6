"""Rules about coin boxes: two people count, the box belongs to a machine, the reading fits on its counter."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from tracker.intake.setup_rules import Clash, ClashRule, Merged, Said, SetupRule
from tracker.vocabulary import Quantity, UnitKind


def two_count(row: Mapping[str, Any]) -> Iterator[Said]:
    """A coin box is counted by two different people."""
    first, second = (str(row[name] or "").strip().casefold() for name in ("first_name", "second_name"))
    if first and first == second:
        yield Said("second_name", "Two different people count a coin box. Write the name of the second one.")


def coins_of_machines(merged: Merged) -> Iterator[Clash]:
    """A coin box is a machine's, and a reading fits on the counter's digits."""
    units = {(row.get("school"), row.get("unit")): row for _, row in merged.get("units", {}).values()}
    digits: dict[tuple[object, object], list[int]] = {}
    for _, row in merged.get("dials", {}).values():
        if row.get("quantity") is Quantity.VENDS and row.get("digits") is not None:
            digits.setdefault((row.get("school"), row.get("unit")), []).append(row["digits"])
    for line, row in merged.get("coin_emptyings", {}).values():
        key = row.get("school"), row.get("unit")
        if not line or key not in units:
            continue
        if units[key].get("kind") is not UnitKind.MACHINE:
            yield Clash("coin_emptyings", line, "unit", f"Unit {key[1]} is not a vending machine. Correct the unit.")
            continue
        value = row.get("counter_value")
        if value is not None and value >= 10 ** max(digits.get(key, [12])):
            message = f"The counter of {key[1]} has {max(digits[key])} digits. Correct the reading."
            yield Clash("coin_emptyings", line, "counter_value", message)


LEDGER_RULES = (SetupRule("two_count", ("coin_emptyings",), "Two different people count a coin box.", two_count),)
LEDGER_CLASHES = (
    ClashRule(
        "coins_of_machines",
        ("coin_emptyings",),
        "A coin box is a machine's; its reading fits on the counter.",
        coins_of_machines,
        ("units", "dials"),
    ),
)
