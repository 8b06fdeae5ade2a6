"""Files of the exchange format that a round's way needs: minutes of driving, where stores stand, delivery hours."""

from __future__ import annotations

from tracker import models as m
from tracker.records.columns import AREA, FROM, SCHOOL, Column, Link, Table, clock, whole

ROADS: tuple[Table, ...] = (
    Table(
        "travel_minutes",
        m.rounds.TravelMinutes,
        "Minutes of driving from one area to another, or between two schools of one area.",
        ("from_area", "to_area"),
        (whole("minutes", 1, 1440, doc="hold both ways, unless the way back is written too"),),
        (Link(("from_area",), "areas", "from_area_id"), Link(("to_area",), "areas", "to_area_id")),
    ),
    Table(
        "delivery_hours",
        m.rounds.DeliveryHours,
        "When a school receives goods on a weekday with school; without a row in its school hours.",
        ("school", "weekday", "from_day"),
        (whole("weekday", 0, 6), clock("opens", "opens_min"), clock("closes", "closes_min"), FROM),
        (SCHOOL,),
    ),
    Table(
        "store_sites",
        m.rounds.StoreSite,
        "Where a central store stands.",
        ("place",),
        (
            Column("latitude_deg", "degrees", "latitude_udeg", False),
            Column("longitude_deg", "degrees", "longitude_udeg", False),
        ),
        (Link(("place",), "places", "place_id"), AREA),
    ),
)
