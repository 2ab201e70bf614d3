"""Plans from nothing, each in an unusual corner of the job, with whatever findings come of it.

A corner is what a person with another place, rig or hour would write: no rail, a rail on a slope, a lens of
600 mm, a night in the north, a morning on which the clocks change, a quay at low water. The fields are those
of plans written by hand; nothing is laid out so that advice about it is easy.
"""

from __future__ import annotations

import copy
import datetime as dt
import math
import random
from collections.abc import Callable
from typing import Any

from planner_core import PlanError, compute_frames
from planner_core.plan.file import plan_from_dict

Document = dict[str, Any]
Corner = Callable[[random.Random, Document], None]

PLACES = (  # latitude, longitude, zone: anywhere, and where clocks or days are odd
    (50.0, 8.2, "Europe/Berlin"),
    (43.4, -3.8, "Europe/Madrid"),
    (-44.3, 170.1, "Pacific/Auckland"),
    (-31.6, 159.1, "Australia/Lord_Howe"),
    (64.1, -21.9, "Atlantic/Reykjavik"),
    (0.4, 32.6, "Africa/Kampala"),
    (27.7, 85.3, "Asia/Kathmandu"),
    (40.0, -105.2, "America/Denver"),
    (-54.8, -68.3, "America/Argentina/Ushuaia"),
)
SHAPES_OF_SUBJECTS = (
    (4.0, 4.0, 22.0),
    (30.0, 12.0, 9.0),
    (8.0, 8.0, 14.0),
    (1.5, 1.5, 40.0),
    (90.0, 20.0, 35.0),
)


def cornered(rng: random.Random) -> Document:
    """A plan from nothing with one to three corners in it, that can be computed."""
    while True:
        document = ordinary(rng)
        for corner in rng.sample(CORNERS, rng.choice((1, 1, 2, 2, 3))):
            corner(rng, document)
        try:
            compute_frames(plan_from_dict(copy.deepcopy(document)))
        except PlanError:
            continue
        return document


def ordinary(rng: random.Random) -> Document:
    """A plan of a tower before hills, with houses and perhaps a bollard, without any corner in it."""
    latitude, longitude, zone = rng.choice(PLACES)
    looks_deg = rng.uniform(0.0, 360.0)
    frames = rng.choice((60, 90, 120, 150))
    date = dt.date(2027, 1, 1) + dt.timedelta(days=rng.randrange(365))
    return {
        "format": "duskrail-plan",
        "version": 1,
        "title": "A corner",
        "reason": rng.choice(("", "The light goes over the roofs.")),
        "site": {"latitude_deg": latitude, "longitude_deg": longitude, "timezone": zone},
        "camera": {
            "sensor_width_mm": 36.0,
            "sensor_height_mm": 24.0,
            "image_width_px": 6000,
            "image_height_px": 4000,
            "focal_length_mm": rng.choice((16.0, 24.0, 35.0, 50.0)),
            "focus_distance_m": rng.choice((2.0, 5.0, 12.0, 40.0)),
        },
        "clip": {"width_px": 3840, "height_px": 2160, "fps": rng.choice((24, 25, 30))},
        "rig": _rig(rng, looks_deg),
        "move": _move(rng, looks_deg),
        "shoot": {
            "frames": frames,
            "interval_s": rng.choice((6.0, 12.0, 30.0, 45.0)) * 120.0 / frames,
            "write_s": 1.0,
            "anchor": {"event": "sunset", "date": date.isoformat(), "at": round(rng.uniform(0.2, 0.8), 2)},
        },
        "exposure": {
            "f_number": rng.choice((2.8, 5.6, 8.0, 11.0)),
            "iso_min": 100,
            "iso_max": rng.choice((800, 1600, 6400)),
            "shutter_min_s": 1 / 4000,
            "shutter_max_s": rng.choice((1.0, 4.0, 8.0, 15.0)),
            "artificial_ev100": rng.choice((None, 0.0, 3.0, 5.0)),
            "night_look_stops": rng.choice((0.0, -1.0)),
            "meter": rng.choice(("ground", "picture", "picture", "sky", "subject")),
        },
        "composition": {"style": "hold", "subject": "tower"},
        "blocks": _blocks(rng, looks_deg),
    }


def _axis(unit: str, low: float, high: float, speed: float) -> Document:
    rate = {"m": "m_s", "deg": "deg_s"}[unit]
    return {
        f"min_{unit}": low,
        f"max_{unit}": high,
        f"max_speed_{rate}": speed,
        f"max_acceleration_{rate}2": speed,
        f"step_{unit}": 1e-5 if unit == "m" else 0.01,
    }


def _rig(rng: random.Random, looks_deg: float) -> Document:
    return {
        "origin_m": [0.0, 0.0, round(rng.uniform(0.5, 1.6), 2)],
        "bearing_deg": round((looks_deg + rng.choice((90.0, 90.0, 70.0, 20.0))) % 360.0, 1),
        "head_height_m": 0.15,
        "settle_s": rng.choice((0.0, 0.5, 1.0)),
        "slide": _axis("m", 0.0, rng.choice((1.0, 1.5, 2.0)), 0.05),
        "pan": _axis("deg", -360.0, 720.0, 5.0),
        "tilt": _axis("deg", -60.0, 80.0, 5.0),
    }


def _move(rng: random.Random, looks_deg: float) -> Document:
    pan = round(looks_deg + rng.uniform(-12.0, 12.0), 1)
    return {
        "drive": rng.choice(("shoot-move-shoot", "shoot-move-shoot", "continuous")),
        "ease": rng.choice((0.0, 0.2, 0.4)),
        "poses": [
            {"at": 0.0, "slide_m": 0.1, "pan_deg": pan, "tilt_deg": round(rng.uniform(-3.0, 6.0), 1)},
            {
                "at": 1.0,
                "slide_m": round(rng.uniform(0.2, 0.95), 2),
                "pan_deg": round(pan + rng.uniform(-20.0, 20.0), 1),
                "tilt_deg": round(rng.uniform(-3.0, 8.0), 1),
            },
        ],
    }


def _at(bearing_deg: float, distance_m: float, high_m: float) -> list[float]:
    turn = math.radians(bearing_deg)
    return [
        round(distance_m * math.sin(turn), 2),
        round(distance_m * math.cos(turn), 2),
        round(high_m, 2),
    ]


def _blocks(rng: random.Random, looks_deg: float) -> list[Document]:
    size = rng.choice(SHAPES_OF_SUBJECTS)
    blocks: list[Document] = [
        _solid(
            "tower", "subject", looks_deg, rng.choice((25.0, 60.0, 140.0, 400.0)), size, rng.uniform(0, 90)
        ),
        {
            "name": "hills",
            "role": "background",
            "shape": "ridge",
            "distance_m": rng.choice((900.0, 4000.0)),
            "skyline_deg": [
                [round(looks_deg + 20.0 * step, 1), round(rng.uniform(0.3, 4.0), 2)] for step in range(-5, 6)
            ],
        },
    ]
    for number in range(rng.choice((0, 2, 5))):
        size = (rng.uniform(3.0, 15.0), rng.uniform(3.0, 15.0), rng.uniform(3.0, 20.0))
        blocks.append(
            _solid(
                f"house {number + 1}",
                rng.choice(("background", "foreground")),
                looks_deg + rng.uniform(-40.0, 40.0),
                rng.uniform(20.0, 200.0),
                size,
                rng.uniform(0.0, 90.0),
            )
        )
    if rng.random() < 0.6:
        size = (rng.uniform(0.1, 2.0), rng.uniform(0.1, 0.6), rng.uniform(0.5, 2.5))
        away = rng.uniform(1.0, 4.0)
        blocks.append(_solid("bollard", "foreground", looks_deg + rng.uniform(-25.0, 25.0), away, size, 0.0))
    return blocks


def _solid(
    name: str, role: str, bearing_deg: float, away_m: float, size_m: tuple[float, ...], turn_deg: float
) -> Document:
    return {
        "name": name,
        "role": role,
        "shape": "box",
        "centre_m": _at(bearing_deg, away_m, size_m[2] / 2.0),
        "size_m": [round(each, 2) for each in size_m],
        "turn_deg": round(turn_deg, 1),
    }


# ---------------------------------------------------------------- corners: the hour


def _anchor(document: Document) -> Document:
    """The plan's anchor, put back where another corner has a start instead."""
    document["shoot"].pop("start", None)
    anchor: Document = document["shoot"].setdefault(
        "anchor", {"event": "sunset", "date": "2027-05-10", "at": 0.5}
    )
    return anchor


def _at_sunrise(rng: random.Random, document: Document) -> None:
    _anchor(document).update(event=rng.choice(("sunrise", "civil_dawn")), at=rng.choice((0.3, 0.5, 0.9)))


def _deep_night(rng: random.Random, document: Document) -> None:
    _anchor(document).update(event=rng.choice(("astronomical_dusk", "nautical_dusk")), at=0.0)
    document.setdefault("exposure", {"f_number": 5.6}).update(
        artificial_ev100=None,
        f_number=rng.choice((1.8, 2.8, 4.0)),
        shutter_max_s=rng.choice((10.0, 20.0, 30.0)),
    )
    document["shoot"]["interval_s"] = rng.choice((15.0, 25.0, 35.0))
    document.setdefault("exposure", {"f_number": 5.6})["iso_max"] = rng.choice((1600, 6400, 12800))


def _by_the_moon(rng: random.Random, document: Document) -> None:
    full = rng.choice(("2027-01-22", "2027-03-22", "2027-06-19", "2027-09-15", "2027-12-13"))
    _anchor(document).update(event=rng.choice(("moonrise", "moonset")), date=full, at=rng.choice((0.1, 0.5)))
    document.setdefault("exposure", {"f_number": 5.6})["artificial_ev100"] = rng.choice((None, 0.0))


def _clocks_change(rng: random.Random, document: Document) -> None:
    latitude, longitude, zone, start = rng.choice(
        (
            (50.0, 8.2, "Europe/Berlin", "2027-03-28T01:20:00"),
            (50.0, 8.2, "Europe/Berlin", "2027-10-31T02:40:00+02:00"),
            (40.0, -105.2, "America/Denver", "2027-03-14T01:10:00"),
            (-44.3, 170.1, "Pacific/Auckland", "2027-04-04T01:30:00"),
            (-31.6, 159.1, "Australia/Lord_Howe", "2027-10-03T01:00:00"),
        )
    )
    document["site"].update(latitude_deg=latitude, longitude_deg=longitude, timezone=zone)
    document["shoot"].pop("anchor", None)
    document["shoot"]["start"] = start


def _far_north(rng: random.Random, document: Document) -> None:
    document["site"].update(
        latitude_deg=rng.choice((66.6, 69.6, 78.2)), longitude_deg=18.9, timezone="Europe/Oslo"
    )
    if rng.random() < 0.5:
        document["shoot"].pop("anchor", None)
        document["shoot"]["start"] = rng.choice(
            ("2027-06-21T23:00:00", "2027-12-21T11:00:00", "2027-04-25T21:30:00")
        )


def _at_noon(rng: random.Random, document: Document) -> None:
    _anchor(document).update(event="solar_noon", at=0.5)


def _long_hours(rng: random.Random, document: Document) -> None:
    document["shoot"]["interval_s"] = rng.choice((180.0, 300.0))


# ---------------------------------------------------------------- corners: the rig


def _tripod_only(_rng: random.Random, document: Document) -> None:
    document["rig"].update(slide=None, pan=None, tilt=None)
    first = document["move"]["poses"][0]
    document["move"]["poses"] = [{key: first[key] for key in ("at", "pan_deg", "tilt_deg") if key in first}]


def _tilt_only(rng: random.Random, document: Document) -> None:
    document["rig"].update(slide=None, pan=None)
    pan = document["move"]["poses"][0]["pan_deg"]
    for pose in document["move"]["poses"]:
        pose.pop("slide_m", None)
        pose.update(pan_deg=pan, tilt_deg=round(rng.uniform(-20.0, 40.0), 1))


def _head_only(rng: random.Random, document: Document) -> None:
    document["rig"]["slide"] = None
    for pose in document["move"]["poses"]:
        pose.pop("slide_m", None)
    last = document["move"]["poses"][-1]
    last["pan_deg"] = last.get("pan_deg", 0.0) + rng.choice((-60.0, -9.0, 9.0, 60.0))


def _rail_only(_rng: random.Random, document: Document) -> None:
    document["rig"].update(pan=None, tilt=None)
    pan = document["move"]["poses"][0]["pan_deg"]
    for pose in document["move"]["poses"]:
        pose.pop("tilt_deg", None)
        pose["pan_deg"] = pan


def _sloping_rail(rng: random.Random, document: Document) -> None:
    document["rig"]["incline_deg"] = rng.choice((-25.0, -8.0, 6.0, 18.0, 28.0))


def _longest_lens(rng: random.Random, document: Document) -> None:
    document["camera"].update(focal_length_mm=rng.choice((135.0, 200.0, 400.0, 600.0)), focus_distance_m=60.0)
    document["shoot"]["wind_m_s"] = rng.choice((2.0, 9.0))


def _many_poses(rng: random.Random, document: Document) -> None:
    first, last = (document["move"]["poses"][index] for index in (0, -1))
    inner = [
        {"at": at, "pan_deg": round(first["pan_deg"] + rng.uniform(-15.0, 15.0), 1)}
        for at in sorted(rng.sample((0.2, 0.35, 0.5, 0.65, 0.8), rng.choice((1, 2, 3))))
    ]
    document["move"]["poses"] = [first, *inner, last]


def _short_of_room(rng: random.Random, document: Document) -> None:
    document["camera"].update(
        raw_file_mb=50.0, card_gb=rng.choice((2.0, 4.0)), battery_frames=rng.choice((50, 100))
    )


# ---------------------------------------------------------------- corners: the place and what is wanted


def _low_water(rng: random.Random, document: Document) -> None:
    date = dt.date.fromisoformat(document["shoot"].get("anchor", {}).get("date", "2027-06-21"))
    noon = dt.datetime.combine(date, dt.time(rng.randrange(6, 18)))
    heights = [(dt.timedelta(hours=6.2 * step), 0.4 if step % 2 else 5.1) for step in range(-4, 5)]
    document["site"].update(
        tides=[
            {"time": (noon + after).replace(microsecond=0).isoformat(), "height_m": height}
            for after, height in heights
        ],
        scene_zero_above_chart_m=rng.choice((3.0, 4.5, 6.0)),
        swell_m=rng.choice((0.0, 0.5)),
    )
    document["blocks"].append(
        {
            "name": "sea",
            "role": "water",
            "shape": "box",
            "centre_m": [0.0, 0.0, -3.0],
            "size_m": [4000.0, 4000.0, 0.1],
            "tidal": True,
        }
    )


def _over_a_street(rng: random.Random, document: Document) -> None:
    document["rig"]["origin_m"][2] = rng.choice((5.0, 12.0))
    document["blocks"].append(
        {
            "name": "street",
            "role": "ground",
            "shape": "box",
            "centre_m": [0.0, 0.0, -0.5],
            "size_m": [600.0, 600.0, 1.0],
            "moves": rng.choice(("people", "traffic")),
        }
    )
    document.setdefault("exposure", {"f_number": 5.6})["mains_hz"] = rng.choice((50, 60))


def _walled_in(rng: random.Random, document: Document) -> None:
    subject = document["blocks"][0]["centre_m"]
    fraction = rng.uniform(0.2, 0.6)
    wall = [round(fraction * subject[0], 2), round(fraction * subject[1], 2), 2.0]
    document["blocks"].append(
        {
            "name": "wall",
            "role": "foreground",
            "shape": "box",
            "centre_m": wall,
            "size_m": [rng.uniform(1.0, 12.0), rng.uniform(1.0, 12.0), 4.0],
        }
    )


def _reveal(rng: random.Random, document: Document) -> None:
    _walled_in(rng, document)
    document.setdefault("composition", {"subject": "tower"}).update(
        style="reveal", reveal_by=rng.choice((0.2, 0.5, 0.8))
    )


def _clouded(rng: random.Random, document: Document) -> None:
    document["shoot"]["cloud_divisor"] = rng.choice((3.0, 10.0))


def _with_filters(rng: random.Random, document: Document) -> None:
    document.setdefault("exposure", {"f_number": 5.6}).update(
        nd_stops=rng.choice((0.0, 3.0, 6.0)),
        grad_stops=rng.choice((0.0, 2.0, 3.0)),
        day_look_stops=rng.choice((-1.0, 1.0)),
    )


def _small_sensor(rng: random.Random, document: Document) -> None:
    document["camera"].update(
        sensor_width_mm=17.3,
        sensor_height_mm=13.0,
        image_width_px=4608,
        image_height_px=3456,
        focal_length_mm=12.0,
    )
    document["camera"].update(headroom_stops=2.0, range_stops=10.0)
    document["clip"].update(width_px=rng.choice((1920, 1080)), height_px=1080)


def _bare(_rng: random.Random, document: Document) -> None:
    for key in ("exposure", "composition", "reason"):
        document.pop(key, None)


CORNERS: tuple[Corner, ...] = (
    *(_at_sunrise, _deep_night, _by_the_moon, _far_north, _at_noon, _long_hours, _clocks_change),
    *(_tripod_only, _tilt_only, _head_only, _rail_only, _sloping_rail, _longest_lens, _many_poses),
    *(_short_of_room, _low_water, _over_a_street, _walled_in, _reveal, _clouded, _with_filters),
    *(_small_sensor, _bare),
)
