"""Rules about what a round's way needs: where stores stand."""

from __future__ import annotations

from collections.abc import Iterator

from tracker.intake.setup_rules import Clash, ClashRule, Merged
from tracker.vocabulary import PlaceKind


def sites_of_stores(merged: Merged) -> Iterator[Clash]:
    """Only a central store has a site of its own; cupboards and machines stand at their school."""
    kinds = {row.get("place"): row.get("kind") for _, row in merged.get("places", {}).values()}
    for line, row in merged.get("store_sites", {}).values():
        place = row.get("place")
        if line and place in kinds and kinds[place] is not PlaceKind.STORE:
            yield Clash("store_sites", line, "place", f"Place {place} is not a central store. Correct the place.")


ROUNDS_CLASHES = (
    ClashRule("sites_of_stores", ("store_sites",), "Only a central store has a site.", sites_of_stores, ("places",)),
)
