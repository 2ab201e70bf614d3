"""A coordinate with the wrong sign for its zone is noticed, and a right one never is."""

from __future__ import annotations

import attrs
import pytest

from planner_core import compute_frames
from planner_core.plan.model import Plan
from planner_core.plan.zones import mirrored_near_zone
from planner_core.review.light import review_topic
from planner_core.review.words import light as _words  # noqa: F401
from tests.two_towers import plan


def at(latitude_deg: float, longitude_deg: float, zone: str) -> Plan:
    site = attrs.evolve(plan().site, latitude_deg=latitude_deg, longitude_deg=longitude_deg, timezone=zone)
    return attrs.evolve(plan(), site=site)


@pytest.mark.parametrize(
    ("latitude_deg", "longitude_deg", "zone", "meant"),
    [
        (-38.7, -9.15, "Europe/Lisbon", {"site.latitude_deg": 38.7}),
        (38.7, 9.15, "Europe/Lisbon", {"site.longitude_deg": -9.15}),
        (33.9, 18.4, "Africa/Johannesburg", {"site.latitude_deg": -33.9}),
    ],
)
def test_a_place_on_the_other_side_of_the_earth_is_put_back(
    latitude_deg: float, longitude_deg: float, zone: str, meant: dict[str, float]
) -> None:
    wrong = at(latitude_deg, longitude_deg, zone)
    (found,) = [f for f in review_topic(wrong, compute_frames(wrong))[0] if f.code == "sign-odd"]
    assert [dict(remedy.changes) for remedy in found.remedies] == [meant]
    assert "lies far from" in found.message


# from memory, as an atlas has them: places far from their zone's main city, on either side
@pytest.mark.parametrize(
    ("latitude_deg", "longitude_deg", "zone"),
    [
        (38.7, -9.15, "Europe/Lisbon"),
        (42.9, -9.3, "Europe/Madrid"),
        (5.5, 95.3, "Asia/Jakarta"),
        (39.5, 76.0, "Asia/Shanghai"),
        (69.6, 30.0, "Europe/Oslo"),
        (0.3, 32.6, "Africa/Kampala"),
        (-22.0, 24.0, "Africa/Johannesburg"),
        (10.0, 50.0, "UTC"),
    ],
)
def test_a_place_within_its_zone_is_left_alone(latitude_deg: float, longitude_deg: float, zone: str) -> None:
    assert mirrored_near_zone(zone, latitude_deg, longitude_deg) is None
