"""An invented evening that several tests share: two towers, and the sun going down between them."""

from __future__ import annotations

import copy
from typing import Any

from planner_core.plan.file import plan_from_dict
from planner_core.plan.model import Plan


def rail(low_m: float, high_m: float) -> dict[str, float]:
    """A slider's axis as a plan has it."""
    return {
        "min_m": low_m,
        "max_m": high_m,
        "max_speed_m_s": 0.05,
        "max_acceleration_m_s2": 0.05,
        "step_m": 1e-5,
    }


def turning(low_deg: float, high_deg: float) -> dict[str, float]:
    """An axis of the head as a plan has it."""
    return {
        "min_deg": low_deg,
        "max_deg": high_deg,
        "max_speed_deg_s": 5.0,
        "max_acceleration_deg_s2": 5.0,
        "step_deg": 0.01,
    }


DOCUMENT: dict[str, Any] = {
    "format": "duskrail-plan",
    "version": 1,
    "title": "Sun between the silos",
    "reason": "The slide brings the far silo out from behind the near one as the sun drops into the gap.",
    "notes": "Ask at the gate for the key to the quay.",
    "site": {
        "name": "Grain quay",
        "latitude_deg": 38.7,
        "longitude_deg": -9.15,
        "elevation_m": 4.0,
        "timezone": "Europe/Lisbon",
        "scene_north_deg": 266.0,
    },
    "camera": {
        "sensor_width_mm": 36.0,
        "sensor_height_mm": 24.0,
        "image_width_px": 6000,
        "image_height_px": 4000,
        "focal_length_mm": 35.0,
        "focus_distance_m": 12.0,
        "raw_file_mb": 45.0,
    },
    "clip": {"width_px": 3840, "height_px": 2160, "fps": 24},
    "rig": {
        "origin_m": [0, 0, 0.9],
        "bearing_deg": 356.0,
        "incline_deg": 0.0,
        "head_height_m": 0.2,
        "pupil_offset_m": 0.05,
        "settle_s": 0.5,
        "slide": rail(0.0, 1.5),
        "pan": turning(180.0, 360.0),
        "tilt": turning(-45.0, 45.0),
    },
    "move": {
        "drive": "shoot-move-shoot",
        "ease": 0.2,
        "poses": [
            {"at": 0.0, "slide_m": 0.1, "pan_deg": 262.0, "tilt_deg": 3.0},
            {"at": 1.0, "slide_m": 1.4, "pan_deg": 270.0, "tilt_deg": 5.0},
        ],
    },
    "shoot": {
        "frames": 360,
        "interval_s": 15.0,
        "write_s": 1.0,
        "anchor": {"event": "sunset", "date": "2027-03-14", "at": 0.5},
        "setup_s": 3000.0,
        "travel_s": 1500.0,
    },
    "exposure": {
        "f_number": 5.6,
        "iso_min": 100,
        "iso_max": 1600,
        "shutter_min_s": 0.0005,
        "shutter_max_s": 8.0,
        "nd_stops": 0.0,
        "night_look_stops": -1.0,
        "artificial_ev100": 2.5,
    },
    "composition": {"style": "hold", "subject": "North silo", "reveal_by": 0.7},
    "blocks": [
        {
            "name": "South silo",
            "role": "background",
            "shape": "box",
            "centre_m": [-27, 300, 30],
            "size_m": [24, 24, 60],
        },
        {
            "name": "North silo",
            "role": "subject",
            "shape": "post",
            "centre_m": [27, 320, 35],
            "size_m": [24, 24, 70],
        },
        {
            "name": "Bollard",
            "role": "foreground",
            "shape": "post",
            "centre_m": [-0.4, 1.6, 0.35],
            "size_m": [0.3, 0.3, 0.7],
        },
        {
            "name": "Shed",
            "role": "background",
            "shape": "prism",
            "footprint_m": [[60, 180], [110, 190], [106, 210], [56, 200]],
            "height_m": 9.0,
        },
        {
            "name": "Far bank",
            "role": "background",
            "shape": "ridge",
            "distance_m": 4000.0,
            "skyline_deg": [[230, 0.4], [250, 0.9], [275, 0.5], [300, 1.1]],
        },
        {
            "name": "Basin",
            "role": "water",
            "shape": "box",
            "centre_m": [0, 150, -0.5],
            "size_m": [300, 280, 1.0],
        },
    ],
}


def document(**changes: Any) -> dict[str, Any]:
    """A copy of the document with some of it replaced; `__` in a name stands for the path's dots."""
    changed = copy.deepcopy(DOCUMENT)
    for path, value in changes.items():
        *parents, last = path.split("__")
        part = changed
        for parent in parents:
            part = part[parent]
        if value is None:
            part.pop(last, None)
        else:
            part[last] = value
    return changed


def plan(**changes: Any) -> Plan:
    """The evening's plan, changed as document is."""
    return plan_from_dict(document(**changes))
