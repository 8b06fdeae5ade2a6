"""The net cost of keeping units open: what was spent on it less what came in.

Net cost = service + supplies + water + power − vend income − display rent. What a warranty covers is paid by
somebody else; it stands apart and is no part of the net cost. Money is whole minor units of one currency throughout.
Source: the programme's own definition (common practice, no published source).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

import pandas as pd

from tracker.measures.figure import Figure
from tracker.vocabulary import Basis, MoneyKind

COSTS: Final = (MoneyKind.SERVICE, MoneyKind.SUPPLIES, MoneyKind.WATER, MoneyKind.POWER)
INCOME: Final = (MoneyKind.VEND_INCOME, MoneyKind.DISPLAY_RENT)
IN_NET: Final = COSTS + INCOME
EXACT: Final = 2**53  # beyond it a figure's number would no longer hold every whole amount
COST_MISSING = "A cost is not recorded ({kinds}); the net cost is higher by it."
INCOME_MISSING = "An income is not recorded ({kinds}); the net cost is lower by it."


@dataclass(frozen=True, slots=True)
class NetCost:
    """Amounts in whole minor units; None is "not recorded", which is not zero.

    amounts: every kind that was asked about, warranty among them. costs, income: sums of what is recorded;
    None where nothing of it is. net: costs − income; None where no cost is recorded. missing:
    kinds of the net cost without any entry.
    """

    currency: str
    amounts: dict[MoneyKind, int | None]
    costs: int | None
    income: int | None
    net: int | None
    missing: tuple[MoneyKind, ...]

    @property
    def warranty(self) -> int | None:
        """What warranty work was worth; no part of the net cost."""
        return self.amounts.get(MoneyKind.WARRANTY)

    @property
    def paid_service(self) -> int | None:
        """What the programme or school paid for service; part of the net cost."""
        return self.amounts.get(MoneyKind.SERVICE)


def net_cost(money: pd.DataFrame, kinds: Iterable[MoneyKind] = tuple(MoneyKind)) -> NetCost:
    """Sum the entries of money by kind, exactly, and the net cost of those that are recorded.

    Args:
        money: kind, minor (whole number, at least 0: the kind says whether it is spent or comes in), currency;
        filter it to a school or a period. An entry of 0 is recorded, a kind without an entry is not.
        kinds: those that apply (a school that rents out no display has no rent that could be missing).
    Raises:
        ValueError: no single currency, an amount that is negative or no whole number, an unknown kind, or an
        entry of a kind that was said not to apply.

    >>> money = pd.DataFrame({"kind": ["service", "water", "vend income"], "minor": [900, 350, 1500]})
    >>> found = net_cost(money.assign(currency="XTS"))
    >>> found.costs, found.income, found.net, [kind.value for kind in found.missing]
    (1250, 1500, -250, ['supplies', 'power', 'display rent'])
    """
    asked = [kind for kind in MoneyKind if kind in set(kinds)]
    amounts: dict[MoneyKind, int | None] = dict.fromkeys(asked)
    for word, minor in zip(money["kind"].tolist(), money["minor"].tolist(), strict=True):
        kind = MoneyKind(word)
        if kind not in amounts:
            raise ValueError(f"{kind.value} was said not to apply, but an amount of it is recorded")
        amounts[kind] = (amounts[kind] or 0) + _whole(minor)
    costs, income = _sum(amounts, COSTS), _sum(amounts, INCOME)
    net = None if costs is None else costs - (income or 0)
    missing = tuple(kind for kind in IN_NET if kind in amounts and amounts[kind] is None)
    return NetCost(_currency(money), amounts, costs, income, net, missing)


def _currency(money: pd.DataFrame) -> str:
    found = set(money["currency"].tolist())
    if len(found) > 1 or any(pd.isna(one) for one in found):
        raise ValueError("amounts of different currencies, or of none, cannot be added; convert them before")
    return str(found.pop()) if found else ""


def _whole(minor: object) -> int:
    if isinstance(minor, bool) or not isinstance(minor, int) or minor < 0:
        raise ValueError(f"an amount of money must be a whole number of minor units, at least 0, got {minor}")
    return minor


def _sum(amounts: dict[MoneyKind, int | None], kinds: Iterable[MoneyKind]) -> int | None:
    known = [amount for kind in kinds if (amount := amounts.get(kind)) is not None]
    return sum(known) if known else None


def net_figure(cost: NetCost) -> Figure:
    """The net cost as a figure, unit "minor units of" its currency; used and expected: kinds of money.

    Raises:
        ValueError: the amount is too large to be printed exactly.
    """
    used, expected = _kinds(cost)
    return Figure(
        _exact(cost.net), _unit(cost), Basis.COUNTED, None, None, used, expected, "kinds of money", note=_note(cost)
    )


def kind_figure(cost: NetCost, kind: MoneyKind) -> Figure:
    """One kind of money as a figure; without value where it is not recorded."""
    amount = cost.amounts.get(kind)
    used = int(amount is not None)
    return Figure(
        _exact(amount), _unit(cost), Basis.COUNTED, None, None, used, int(kind in cost.amounts), "kinds of money"
    )


def cost_per(cost: NetCost, count: Figure, per: str) -> Figure:
    """Net cost per visit, per pupil-term, per unit open: net ÷ count, with the limits that the count has.

    The money is exact, so the limits are net ÷ high and net ÷ low of the count (the other way round where more
    came in than was spent). A count whose low limit is 0 leaves the figure without limits.

    Args:
        count: the visits, the pupils of the term, the units that stood. per: the word for one of it ("visit").
    Returns:
        Unit "minor units of CUR per visit", basis of the count; used and expected: kinds of money. No value where
        money or count is not recorded, or the count is 0.
    """
    used, expected = _kinds(cost)
    unit = f"{_unit(cost)} per {per}"
    blank = Figure(None, unit, count.basis, None, None, used, expected, "kinds of money", note=_note(cost))
    if cost.net is None or not count.value:
        return blank
    limits: tuple[float | None, float | None] = (None, None)
    if count.low is not None and count.high is not None and count.low > 0:
        ends = sorted((cost.net / count.high, cost.net / count.low))
        limits = (ends[0], ends[1])
    value = cost.net / count.value
    return Figure(value, unit, count.basis, *limits, used, expected, "kinds of money", note=_note(cost))


def _exact(amount: int | None) -> float | None:
    if amount is not None and abs(amount) > EXACT:
        raise ValueError("the amount is too large to be shown exactly")
    return None if amount is None else float(amount)


def _unit(cost: NetCost) -> str:
    return f"minor units of {cost.currency}" if cost.currency else "minor units"


def _kinds(cost: NetCost) -> tuple[int, int]:
    expected = sum(1 for kind in IN_NET if kind in cost.amounts)
    return expected - len(cost.missing), expected


def _note(cost: NetCost) -> str:
    notes = []
    for kinds, sentence in ((COSTS, COST_MISSING), (INCOME, INCOME_MISSING)):
        names = [kind.value for kind in kinds if kind in cost.missing]
        if names:
            notes.append(sentence.format(kinds=", ".join(names)))
    return " ".join(notes)
