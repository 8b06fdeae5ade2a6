"""What was read for a report, kept while the records have not changed, so that opening it again is quick.

Kept by the records' stamp: what was read under another stamp is given back only where the database still answers
every question as it did then. A few reports at a time.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Hashable
from threading import Lock
from typing import Any, TypeVar

from tracker.records.stamp import Stamp

KEPT = 24
T = TypeVar("T")


class Memory:
    """At most ``kept`` things; those asked for last stay longest."""

    def __init__(self, kept: int = KEPT) -> None:
        self.kept, self._lock = kept, Lock()
        self._things: OrderedDict[tuple[str, Hashable], tuple[Stamp, Any]] = OrderedDict()

    def clear(self) -> None:
        """Forget everything."""
        with self._lock:
            self._things.clear()

    def get(
        self, stamp: Stamp | None, key: Hashable, make: Callable[[], T], renew: Callable[[T], T] | None = None
    ) -> T:
        """What was made under this stamp and key, or made now. Without a stamp it is made and not kept.

        ``renew`` makes it from what was made under another stamp; what still holds may be given back as it is.
        """
        if stamp is None:
            return make()
        place = (stamp[0], key)
        with self._lock:
            found = self._things.get(place)
            if found is not None and found[0] == stamp:
                self._things.move_to_end(place)
                made: T = found[1]
                return made
            older = [thing for (_, known), (_, thing) in self._things.items() if known == key]
        latest: T | None = older[-1] if older else None
        fresh = make() if latest is None or renew is None else renew(latest)
        with self._lock:
            self._things[place] = (stamp, fresh)
            self._things.move_to_end(place)
            while len(self._things) > self.kept:
                self._things.popitem(last=False)
        return fresh
