"""Places for the tests of the scout: level ground or a quay, one subject, few frames."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any
from unittest import mock

import attrs
import numpy as np

from planner_core.maths.angles import compass_deg
from planner_core.plan.file import plan_from_dict
from planner_core.plan.model import Block, Plan
from planner_core.time import ephemeris
from tests.two_towers import rail, turning


def box(
    name: str, role: str, centre: tuple[float, float], size: tuple[float, float, float], **more: Any
) -> dict[str, Any]:
    """A box that stands on the ground."""
    return {
        "name": name,
        "role": role,
        "shape": "box",
        "centre_m": [*centre, size[2] / 2.0],
        "size_m": list(size),
        **more,
    }


def ground(
    name: str, low: tuple[float, float], high: tuple[float, float], top_m: float = 0.0, role: str = "ground"
) -> dict[str, Any]:
    """A plate of ground or water with its top at a height."""
    return {
        "name": name,
        "role": role,
        "shape": "box",
        "centre_m": [(low[0] + high[0]) / 2.0, (low[1] + high[1]) / 2.0, top_m - 0.5],
        "size_m": [high[0] - low[0], high[1] - low[1], 1.0],
    }


def place(*blocks: dict[str, Any], frames: int = 24, **more: Any) -> Plan:
    """A plan at such a place: an evening in March, a slider of 1.5 m with pan and tilt, a 28 mm lens."""
    document: dict[str, Any] = {
        "format": "duskrail-plan",
        "version": 1,
        "title": "Scouted",
        "reason": "to find a shot",
        "site": {"latitude_deg": 45.0, "longitude_deg": 10.0, "timezone": "Europe/Rome"},
        "camera": {
            "sensor_width_mm": 36.0,
            "sensor_height_mm": 24.0,
            "image_width_px": 6000,
            "image_height_px": 4000,
            "focal_length_mm": 28.0,
            "focus_distance_m": 5.0,
        },
        "clip": {"width_px": 1920, "height_px": 1080, "fps": 3},
        "rig": {
            "origin_m": [0.0, 0.0, 0.9],
            "bearing_deg": 90.0,
            "head_height_m": 0.15,
            "settle_s": 0.5,
            "slide": rail(0.0, 1.5),
            "pan": turning(-360.0, 720.0),
            "tilt": turning(-45.0, 45.0),
        },
        "move": {
            "drive": "shoot-move-shoot",
            "ease": 0.2,
            "poses": [
                {"at": 0.0, "slide_m": 0.2, "pan_deg": 0.0, "tilt_deg": 2.0},
                {"at": 1.0, "slide_m": 1.3, "pan_deg": 0.0, "tilt_deg": 2.0},
            ],
        },
        "shoot": {
            "frames": frames,
            "interval_s": 240.0,
            "write_s": 1.0,
            "anchor": {"event": "sunset", "date": "2027-03-14"},
        },
        "composition": {"style": "hold", "subject": "tower"},
        "blocks": list(blocks),
    }
    for path, value in more.items():
        part, _, name = path.partition("__")
        document[part][name] = value
    return plan_from_dict(document)


TOWER = box("tower", "subject", (0.0, 60.0), (6.0, 6.0, 18.0))


# ---------------------------------------------------------------- left for right


def random_place(seed: int) -> Plan:
    """A square with a few things near it and houses behind, turned as they like; some with wishes for light,
    some for a reveal, some with a rail that rises.
    """
    rng = np.random.default_rng(seed)

    def some(low: float, high: float) -> float:
        return round(float(rng.uniform(low, high)), 2)

    def one(name: str, role: str, y: tuple[float, float], size: tuple[float, float]) -> dict[str, Any]:
        aside = 8.0 if role == "foreground" else 30.0
        centre, sides = (some(-aside, aside), some(*y)), (some(*size), some(*size), some(*size))
        return box(name, role, centre, sides, turn_deg=some(0.0, 90.0))

    near = [one(f"thing {i}", "foreground", (4.0, 14.0), (0.3, 1.6)) for i in range(rng.integers(2, 5))]
    far = [one(f"house {i}", "background", (20.0, 50.0), (3.0, 9.0)) for i in range(rng.integers(2, 5))]
    tower = box("tower", "subject", (some(-12.0, 12.0), 60.0), (6.0, 6.0, 18.0))
    square = ground("square", (some(-10.0, -5.0), -6.0), (some(5.0, 10.0), 3.3))
    more: dict[str, Any] = {"site__scene_north_deg": some(0.0, 360.0)}
    more |= ({}, {"composition__light": "back"}, {"composition__sun": "in"})[seed % 3]
    more |= {"composition__style": "reveal"} if seed % 4 == 3 else {}
    more |= {"rig__incline_deg": 8.0} if seed % 5 == 2 else {}
    return place(tower, *near, *far, square, frames=12, rig__origin_m=[some(-3.0, 2.0), -1.0, 0.9], **more)


def mirrored(plan: Plan) -> Plan:
    """The place, its rig and its north seen in a mirror that stands along the scene's Y; of boxes only."""
    rig, pan = plan.rig, plan.rig.pan
    assert pan is not None
    x, y, z = rig.origin_m
    pan = attrs.evolve(pan, min_deg=-pan.max_deg, max_deg=-pan.min_deg)
    return attrs.evolve(
        plan,
        site=attrs.evolve(plan.site, scene_north_deg=-plan.site.scene_north_deg),
        rig=attrs.evolve(rig, origin_m=(-x, y, z), bearing_deg=-rig.bearing_deg, pan=pan),
        move=attrs.evolve(
            plan.move,
            poses=tuple(attrs.evolve(pose, pan_deg=-(pose.pan_deg or 0.0)) for pose in plan.move.poses),
        ),
        blocks=tuple(map(_mirrored_block, plan.blocks)),
    )


def _mirrored_block(block: Block) -> Block:
    assert block.shape == "box"
    assert block.centre_m is not None
    x, y, z = block.centre_m
    return attrs.evolve(block, centre_m=(-x, y, z), turn_deg=-block.turn_deg)


@contextmanager
def mirrored_sky() -> Iterator[None]:
    """Sun and moon go the other way round: at the bearings that a mirror along the meridian shows."""
    seen_from = ephemeris._seen_from

    def turned(*given: Any) -> Any:
        azimuth, *others = seen_from(*given)
        return compass_deg(360.0 - azimuth), *others

    with mock.patch.object(ephemeris, "_seen_from", turned):
        yield
