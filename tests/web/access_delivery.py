"""Who may use the page of deliveries: an officer or an engineer whose areas hold all stops of the vehicle."""

from __future__ import annotations

from tests.web.access_table import Entry

DRIVERS = {"officer", "engineer"}

ROWS = [
    Entry(
        "delivery.home",
        {f"{role}{rest}" for role in DRIVERS for rest in ("", "_elsewhere")} | {"officer_area", "engineer_other"},
    ),
    Entry("delivery.day", DRIVERS, {"round_id": "round", "day_id": "round_day"}),
    Entry("delivery.stop", DRIVERS, {"stop_id": "round_stop"}),
]
