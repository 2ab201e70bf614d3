"""Places for the tests of the scout: level ground or a quay, one subject, few frames."""

from __future__ import annotations

from typing import Any

from planner_core.plan.file import plan_from_dict
from planner_core.plan.model import Plan


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
            "slide": {
                "min_m": 0.0,
                "max_m": 1.5,
                "max_speed_m_s": 0.05,
                "max_acceleration_m_s2": 0.05,
                "step_m": 1e-5,
            },
            "pan": {
                "min_deg": -360.0,
                "max_deg": 720.0,
                "max_speed_deg_s": 5.0,
                "max_acceleration_deg_s2": 5.0,
                "step_deg": 0.01,
            },
            "tilt": {
                "min_deg": -45.0,
                "max_deg": 45.0,
                "max_speed_deg_s": 5.0,
                "max_acceleration_deg_s2": 5.0,
                "step_deg": 0.01,
            },
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
