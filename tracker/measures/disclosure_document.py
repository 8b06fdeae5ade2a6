"""Numbers about people that one document prints in several places, hidden together; and its next version.

A document is seen as a reader sees it: numbers under keys, sums in which they stand (the areas of a table add up to a
headline, the same count stands in two tables), and numbers that are shown or hidden as one (a figure and the ends of
its interval). Numbers that no sum connects are hidden apart from each other.

Source: linear bounds and least cost, European handbook on statistical disclosure control. A reader who knows which
numbers of an earlier version were corrected, and may suppose it of hidden ones: judgement, no published source.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from itertools import combinations
from typing import Any, Final, TypeAlias

from tracker.measures.disclosure_bounds import SLACK, THRESHOLD, Hidden, by_cost, is_small, possible_values

Key: TypeAlias = Any  # whatever names a number and can be hashed
Sum: TypeAlias = Mapping[Key, int]
Limits: TypeAlias = tuple[float, float | None]
Block: TypeAlias = frozenset[Key]

MOST_BLOCKS: Final = 10  # further blocks that may be hidden, up to which sets are tried
MOST_KEPT: Final = 8  # numbers hidden in both versions, up to which every supposition about them is tried
OLD, NEW = "old", "new"


@dataclass(frozen=True, slots=True)
class Former:
    """What an earlier version printed under the same keys: numbers, and what the words say of hidden ones."""

    shown: Mapping[Key, float] = field(default_factory=dict)
    hidden: Mapping[Key, Limits] = field(default_factory=dict)


NOTHING_BEFORE: Final = Former()


def hide_numbers(
    numbers: Mapping[Key, float],
    sums: Sequence[Sum],
    blocks: Sequence[Block] = (),
    *,
    threshold: int = THRESHOLD,
    former: Former = NOTHING_BEFORE,
    times: Mapping[Key, int] | None = None,
) -> dict[Key, Hidden]:
    """Which numbers of a document to hide, and in which words.

    Every number from 1 to 9 is hidden, and with it the numbers of the smallest sum after which it can still be any of
    1 to 9, for a reader who knows the sums, the shown numbers and what the words say. Where an earlier version was
    published: what was hidden and may be unchanged stays hidden; what changed by 1 to 9 is hidden until the change
    could be any of these; and no number that was hidden is narrowed down further inside 1 to 9 by both versions.

    Args:
        numbers: by key, 0 or more.
        sums: keys with signs 1 and -1 that add up to zero.
        blocks: numbers that are shown or hidden together; all others stand alone.
        former: the version before, its numbers printed under the same keys.
        times: how often a number stands in the document, where not once; hiding it costs so much more. 0: it is not
            printed but can be worked out, so that hiding it is no use.
    Returns:
        Hidden keys. Words that tell small numbers ("fewer than 10") from others are used where some set of numbers
        can be hidden in such words; else, for a small sum of several numbers, and where an earlier version hides one
        of the numbers or one changed by 1 to 9, all have one wording.
    Raises:
        ValueError: a number is negative, a sum does not add up, or the threshold is below 10.

    >>> areas = {"north": 60, "south": 45, "west": 6, "all": 111}
    >>> found = hide_numbers(areas, [{"north": 1, "south": 1, "west": 1, "all": -1}])
    >>> {key: kind.name for key, kind in found.items()}
    {'south': 'COMPLEMENT', 'west': 'SMALL'}
    """
    found: dict[Key, Hidden] = {}
    for part in _parts(numbers, sums, blocks, (threshold, former, times or {})):
        found |= part.hide()
    return {key: found[key] for key in numbers if key in found}


def numbers_reveal(
    numbers: Mapping[Key, float],
    sums: Sequence[Sum],
    hidden: Mapping[Key, Hidden],
    *,
    threshold: int = THRESHOLD,
    former: Former = NOTHING_BEFORE,
    times: Mapping[Key, int] | None = None,
) -> list[Key]:
    """Small numbers, and small changes, that the shown numbers give away; empty is what may be published.

    >>> numbers_reveal({"a": 4, "b": 40, "all": 44}, [{"a": 1, "b": 1, "all": -1}], {"a": Hidden.SMALL})
    ['a']
    """
    found = set()
    for part in _parts(numbers, sums, (), (threshold, former, times or {})):
        found |= set(part.exposed({key: kind for key, kind in hidden.items() if key in part.numbers}))
    return [key for key in numbers if key in found]


def _parts(
    numbers: Mapping[Key, float],
    sums: Sequence[Sum],
    blocks: Sequence[Block],
    known: tuple[int, Former, Mapping[Key, int]],
) -> Iterator[_Part]:
    threshold, former, times = known
    _check(numbers, sums)
    for keys in _connected(numbers, [*map(frozenset, sums), *blocks]):
        shown = {key: former.shown[key] for key in keys if key in former.shown}
        hidden = {key: former.hidden[key] for key in keys if key in former.hidden}
        yield _Part(
            {key: numbers[key] for key in keys},
            [one for one in sums if keys & one.keys()],
            _whole(keys, blocks),
            threshold,
            Former(shown, hidden),
            times,
        )


def _check(numbers: Mapping[Key, float], sums: Sequence[Sum]) -> None:
    if any(number < 0 for number in numbers.values()):
        raise ValueError("numbers about people cannot be negative")
    for one in sums:
        if abs(math.fsum(sign * numbers[key] for key, sign in one.items())) > SLACK:
            raise ValueError(f"a sum does not add up: {', '.join(map(str, one))}")


def _connected(numbers: Iterable[Key], ties: Iterable[frozenset[Key]]) -> list[frozenset[Key]]:
    """Keys in groups that no tie crosses."""
    groups = [frozenset({key}) for key in numbers]
    for tie in ties:
        touched = [group for group in groups if group & tie]
        groups = [group for group in groups if not group & tie] + [frozenset().union(*touched)]
    return groups


def _whole(keys: frozenset[Key], blocks: Sequence[Block]) -> list[Block]:
    mine = [block for block in blocks if block & keys]
    alone = keys - frozenset().union(*mine)
    return [*mine, *(frozenset({key}) for key in alone)]


@dataclass(frozen=True)
class _Part:
    """Numbers that sums connect: which to hide, and what a reader can work out."""

    numbers: Mapping[Key, float]
    sums: Sequence[Sum]
    blocks: Sequence[Block]
    threshold: int
    former: Former
    times: Mapping[Key, int]
    ceilings: dict[tuple[frozenset[Key], tuple[str, Key]], tuple[float, float]] = field(default_factory=dict)

    def hide(self) -> dict[Key, Hidden]:
        """The cheapest set of blocks that keeps everything open; all of them where no set does."""
        first = self.first
        if not first:
            return {}
        others = self.candidates(first)
        for apart in (True, False) if self.may_tell_apart else (False,):
            found = self._least(first, others, apart)
            if found is not None:
                return found
        return self.words(first.union(*(block for _, block in others)), apart=False)

    def _least(self, first: Block, others: list[tuple[int, Block]], apart: bool) -> dict[Key, Hidden] | None:
        if len(self.kept) > MOST_KEPT:
            return None
        if len(others) > MOST_BLOCKS:
            return self._step_by_step(first, others, apart)
        for _, added in by_cost(others):
            kinds = self.words(first.union(*added), apart)
            if next(self._narrow(kinds), None) is None:
                return kinds
        return None

    def _step_by_step(self, first: Block, others: list[tuple[int, Block]], apart: bool) -> dict[Key, Hidden] | None:
        """Everything hidden, then shown again from the largest on as long as all stays open."""
        kept = [block for _, block in others]
        found = self.words(first.union(*kept), apart)
        if next(self._narrow(found), None) is not None:
            return None
        for block in reversed(kept.copy()):
            fewer = [one for one in kept if one != block]
            kinds = self.words(first.union(*fewer), apart)
            if next(self._narrow(kinds), None) is None:
                kept, found = fewer, kinds
        return found

    @cached_property
    def first(self) -> Block:
        """What is hidden in any case, with the numbers that go with it."""
        return frozenset().union(*(block for block in self.blocks if block & self.to_hide))

    def candidates(self, first: Block) -> list[tuple[int, Block]]:
        """Blocks that hiding would help with: above zero, and not known from the version before."""
        open_blocks = [block for block in self.blocks if not block & first and any(map(self.numbers.get, block))]
        useful = [
            block for block in open_blocks if any(key not in self.known and self.times.get(key, 1) for key in block)
        ]
        costs = [
            (math.ceil(max(self.numbers[key] * self.times.get(key, 1) for key in block)), block) for block in useful
        ]
        return sorted(costs, key=lambda one: (one[0], sorted(map(str, one[1]))))

    def words(self, keys: Iterable[Key], apart: bool) -> dict[Key, Hidden]:
        """Hidden keys with their words."""
        if not apart:
            return dict.fromkeys(keys, Hidden.SOME_SMALL)
        return {key: Hidden.SMALL if self.small(self.numbers[key]) else Hidden.COMPLEMENT for key in keys}

    def small(self, number: float) -> bool:
        return is_small(number, self.threshold)

    @cached_property
    def may_tell_apart(self) -> bool:
        """Whether "fewer than 10" may be said: not of a small sum, nor of one number of a figure only, nor later."""
        small = {key for key, number in self.numbers.items() if self.small(number)}
        totals = {
            key
            for one in self.sums
            for key, sign in one.items()
            if sum(1 for other, side in one.items() if side == -sign and self.numbers[other] > 0) > 1
        }
        mixed = any(block & small and not block <= small for block in self.blocks)
        return not (small & totals or mixed or self.kept or self.steps)

    @cached_property
    def to_hide(self) -> frozenset[Key]:
        """Small numbers, what was hidden before, and what changed a little."""
        small = {key for key, number in self.numbers.items() if self.small(number)}
        return frozenset({*small, *self.maybe_same, *self.steps})

    @cached_property
    def kept(self) -> tuple[Key, ...]:
        """Numbers that the version before hides."""
        return tuple(key for key in self.numbers if key in self.former.hidden)

    @cached_property
    def maybe_same(self) -> frozenset[Key]:
        """Numbers that the version before hides, and that may be what they were as far as a reader can tell."""
        return frozenset(
            key for key in self.kept if self.before[key][0] - SLACK <= self.numbers[key] <= self.before[key][1] + SLACK
        )

    @cached_property
    def before(self) -> dict[Key, tuple[float, float]]:
        """What the version before alone leaves open of the numbers that it hides."""
        found = {}
        for key in self.kept:
            ends = possible_values(self.old_sums, self.former.shown, self.former.hidden, key)
            found[key] = (0.0, math.inf) if ends is None else ends
        return found

    @cached_property
    def known(self) -> frozenset[Key]:
        """Numbers that the version before shows and that were not corrected."""
        return frozenset(key for key, old in self.former.shown.items() if self.numbers[key] == old)

    @cached_property
    def steps(self) -> dict[Key, tuple[float, float]]:
        """Numbers that were shown and changed by 1 to 9, with the range that the new one must be able to have."""
        most = self.threshold - 1
        found = {}
        for key, old in self.former.shown.items():
            change = self.numbers[key] - old
            if self.small(abs(change)):
                ends = sorted((old + math.copysign(1, change), old + math.copysign(most, change)))
                found[key] = (max(0.0, ends[0]), max(0.0, ends[1]))
        return found

    def exposed(self, kinds: Mapping[Key, Hidden]) -> list[Key]:
        """Keys of which a reader works out more than may be known."""
        found = {key for key in self.to_hide if key not in kinds and self.numbers[key] > 0}
        found |= {key for key in self.maybe_same if key not in kinds}
        return sorted(found | set(self._narrow(kinds)), key=str)

    def _narrow(self, kinds: Mapping[Key, Hidden]) -> Iterator[Key]:
        """Hidden numbers that a reader narrows down further than need be."""
        for same in self.suppositions:
            world = self.world(kinds, same)
            for key, most in self.wanted(kinds).items():
                wanted = self.attainable(same, key, most)
                if (wanted[0] < wanted[1] and world.alone(key)) or not world.covers(key, wanted):
                    yield key[1]

    def attainable(
        self, same: frozenset[Key], key: tuple[str, Key], wanted: tuple[float, float]
    ) -> tuple[float, float]:
        """So much of a range as stays open where all that can be hidden is: a version before may have said more."""
        if self.former == NOTHING_BEFORE:
            return wanted
        if (same, key) not in self.ceilings:
            first = self.first
            every = first.union(*(block for _, block in self.candidates(first)))
            world = self.world(self.words(every, apart=False), same)
            self.ceilings[same, key] = possible_values(world.sums, world.shown, world.limits, key) or (0.0, math.inf)
        low, high = self.ceilings[same, key]
        return max(low, wanted[0]), min(high, wanted[1])

    def wanted(self, kinds: Mapping[Key, Hidden]) -> dict[tuple[str, Key], tuple[float, float]]:
        """The range that must stay open of each number that is to be protected."""
        found: dict[tuple[str, Key], tuple[float, float]] = {}
        for key in kinds:
            if self.small(self.numbers[key]):
                found[NEW, key] = (1.0, self.threshold - 1.0)
            elif key in self.steps:
                found[NEW, key] = self.steps[key]
        return found | self.left_open

    @cached_property
    def left_open(self) -> dict[tuple[str, Key], tuple[float, float]]:
        """The same inside 1 to 9, which both versions together must not narrow."""
        most = self.threshold - 1.0
        clipped = {(OLD, key): (max(low, 1.0), min(high, most)) for key, (low, high) in self.before.items()}
        return {key: ends for key, ends in clipped.items() if ends[0] <= ends[1]}

    @cached_property
    def old_sums(self) -> list[Sum]:
        """Sums whose numbers all stood in the version before, as far as they fit its numbers."""
        found: list[Sum] = []
        if not self.kept:
            return found
        there = self.former.shown.keys() | self.former.hidden.keys()
        for one in self.sums:
            whole = one.keys() <= there
            if whole and possible_values([*found, one], self.former.shown, self.former.hidden, self.kept[0]):
                found.append(one)
        return found

    @cached_property
    def suppositions(self) -> list[frozenset[Key]]:
        """Largest sets of numbers, hidden before, that can be unchanged: what a reader may know of corrections."""
        found: list[frozenset[Key]] = []
        for size in range(len(self.kept), 0, -1):
            for chosen in map(frozenset, combinations(self.kept, size)):
                if not any(chosen <= larger for larger in found) and self._can_be_same(chosen):
                    found.append(chosen)
        return found or [frozenset()]

    def _can_be_same(self, same: frozenset[Key]) -> bool:
        shown = {**self.former.shown, **{key: self.numbers[key] for key in same}}
        limits = {key: ends for key, ends in self.former.hidden.items() if key not in same}
        inside = all(_inside(self.numbers[key], self.former.hidden[key]) for key in same)
        free: dict[Key, Limits] = {**limits, _NOBODY: (0, None)}
        return inside and self._fits(shown) and possible_values(self.old_sums, shown, free, _NOBODY) is not None

    def _fits(self, shown: Mapping[Key, float]) -> bool:
        """Whether sums of which every number is given add up."""
        whole = (one.items() for one in self.old_sums if one.keys() <= shown.keys())
        return all(abs(math.fsum(sign * shown[key] for key, sign in one)) <= SLACK for one in whole)

    def world(self, kinds: Mapping[Key, Hidden], same: frozenset[Key]) -> _World:
        """Both versions as a reader sees them who knows that ``same`` were not corrected."""
        shown: dict[Key, float] = {(NEW, key): number for key, number in self.numbers.items() if key not in kinds}
        shown |= {(OLD, key): number for key, number in self.former.shown.items()}
        limits: dict[Key, Limits] = {(NEW, key): self.limits(kind) for key, kind in kinds.items()}
        limits |= {(OLD, key): ends for key, ends in self.former.hidden.items()}
        sums: list[Sum] = [{(NEW, key): sign for key, sign in one.items()} for one in self.sums]
        sums += [{(OLD, key): sign for key, sign in one.items()} for one in self.old_sums]
        sums += [{(NEW, key): 1, (OLD, key): -1} for key in (*same, *self.known)]
        return _World(shown, limits, sums)

    def limits(self, kind: Hidden) -> Limits:
        """What the words of a hidden number say."""
        if kind is Hidden.SMALL:
            return 1, self.threshold - 1
        return (self.threshold, None) if kind is Hidden.COMPLEMENT else (0, None)


_NOBODY: Final = object()  # stands in no sum, for the question whether any numbers fit


def _inside(number: float, limits: Limits) -> bool:
    return limits[0] <= number and (limits[1] is None or number <= limits[1])


@dataclass(frozen=True, slots=True)
class _World:
    shown: Mapping[Key, float]
    limits: Mapping[Key, Limits]
    sums: Sequence[Sum]

    def alone(self, key: Key) -> bool:
        """Whether a number is the only hidden one of a sum."""
        return any(key in one and sum(other in self.limits for other in one) == 1 for one in self.sums)

    def covers(self, key: Key, wanted: tuple[float, float]) -> bool:
        """Whether a number can have every value of a range."""
        if key not in self.limits:
            return False
        ends = possible_values(self.sums, self.shown, self.limits, key)
        return ends is not None and ends[0] <= wanted[0] + SLACK and ends[1] >= wanted[1] - SLACK
