"""What to pack, worked out from the plan: cards, power, filters, weights, light for the way back.

Battery life, spare shares and what stands on what are practice of the trade, without a source.
"""

from __future__ import annotations

import math

import numpy as np
from attrs import frozen

from planner_core.evening.timetable import PACK_UP_S, end_utc_s
from planner_core.frames import FrameTable
from planner_core.maths.angles import compass_deg
from planner_core.picture.graduated import horizon_height, horizon_stays
from planner_core.place.ground import height_above_ground_m
from planner_core.plan.model import Exposure, Plan
from planner_core.time import ephemeris
from planner_core.time.events import SUN_RISES_AT_DEG

CARD_SIZES_GB = (16, 32, 64, 128, 256, 512, 1024, 2048, 4096)
SPARE_SHARE = 0.2  # for test frames and a second try
BATTERY_HOURS = 2.0
DENSITY_PER_STOP = math.log10(2.0)


@frozen(kw_only=True)
class Item:
    """One thing to take along, and why, with the number it comes from."""

    name: str
    why: str


def card_space_gb(plan: Plan) -> float | None:
    """Gigabytes that the plan's frames fill, 1000 MB each; None where the plan has no file size."""
    size = plan.camera.raw_file_mb
    return None if size is None else plan.shoot.frames * size / 1000.0


def hours_on_location(plan: Plan, frames: FrameTable) -> float:
    """From the arrival to the end of the last frame, hours."""
    return (end_utc_s(frames) - float(frames.utc_s[0]) + plan.shoot.setup_s) / 3600.0


def packing_list(plan: Plan, frames: FrameTable) -> tuple[Item, ...]:
    """What to take along, the things that a plan fails without first."""
    return (
        camera_item(plan),
        _card(plan),
        _power(plan, frames),
        *_filters(plan, frames),
        *_support(plan, frames),
        Item(name="Tape measure, compass, spirit level", why=_direction(plan, frames)),
        *_for_the_dark(plan, frames),
        Item(name="Phone charged, this page on paper, a pen", why="paper doesn’t mind the cold"),
    )


def camera_item(plan: Plan) -> Item:
    """The camera with its lens, and how it is focused."""
    return Item(name=f"Camera, {plan.camera.focal_length_mm:g} mm lens, hood", why=_focus(plan))


def gear_of_shot(plan: Plan, frames: FrameTable) -> tuple[Item, ...]:
    """What a shot wants beside camera, card and power: its filters and what it stands on."""
    return (*_filters(plan, frames), *_support(plan, frames))


def _focus(plan: Plan) -> str:
    f_number = f" at f/{plan.exposure.f_number:g}" if plan.exposure else ""
    return f"focus {plan.camera.focus_distance_m:g} m{f_number}, manual, ring taped"


def _direction(plan: Plan, frames: FrameTable) -> str:
    if plan.rig.slide is not None:
        return f"rail along {compass_deg(plan.rig.bearing_deg):.1f}°"
    return f"lens along {compass_deg(float(frames.lens_bearing_deg[0])):.1f}° at the start"


def _card(plan: Plan) -> Item:
    filled = card_space_gb(plan)
    if filled is None:
        return Item(
            name="Empty card", why=f"{plan.shoot.frames} frames; the plan doesn’t say how large a picture is"
        )
    return Item(
        name=card_name(filled),
        why=f"{plan.shoot.frames} × {plan.camera.raw_file_mb:g} MB = {filled:.1f} GB, a fifth to spare",
    )


def card_name(filled_gb: float) -> str:
    """The card for so many gigabytes, with a fifth to spare."""
    needed = filled_gb * (1.0 + SPARE_SHARE)
    size = next((gb for gb in CARD_SIZES_GB if gb >= needed), None)
    return f"Empty card, {size} GB or more" if size else f"Empty cards, {needed:.0f} GB in all"


def battery_count(plan: Plan, frames: FrameTable) -> int:
    """How many camera batteries the shoot takes: by its frames where the plan says how long one lasts."""
    lasts = plan.camera.battery_frames
    return math.ceil(plan.shoot.frames / lasts if lasts else hours_on_location(plan, frames) / BATTERY_HOURS)


def _power(plan: Plan, frames: FrameTable) -> Item:
    hours, count = hours_on_location(plan, frames), battery_count(plan, frames)
    batteries = f"{count} camera batteries" if count > 1 else "a camera battery"
    motors = ", and for the rig’s motors" if has_motors(plan) else ""
    lasts = plan.camera.battery_frames
    lasting = f"{lasts} frames" if lasts else f"about {BATTERY_HOURS:g} h"
    return Item(
        name=f"Power for {hours:.1f} h: {batteries}{motors}", why=f"{lasting} a battery, half that in frost"
    )


def has_motors(plan: Plan) -> bool:
    """Whether the rig has an axis that is driven."""
    return any((plan.rig.slide, plan.rig.pan, plan.rig.tilt))


def _filters(plan: Plan, frames: FrameTable) -> list[Item]:
    if plan.exposure is None:
        return []
    return [*_nd_filter(plan.exposure, frames), *_graduated_filter(plan, plan.exposure, frames)]


def _graduated_filter(plan: Plan, limits: Exposure, frames: FrameTable) -> list[Item]:
    """The filter, and where its edge comes to lie in the picture: on the horizon."""
    if limits.grad_stops <= 0.0:
        return []
    heights = [horizon_height(plan, float(frames.lens_altitude_deg[k])) for k in (0, -1)]
    first, last = (f"{100.0 * height:.0f} %" for height in heights)
    where = f"edge on the horizon, {first} of the picture’s height up"
    if not horizon_stays(plan, frames.lens_altitude_deg):
        where += f", {last} at the end: move it as the camera tilts"
    return [Item(name=f"Graduated filter, {limits.grad_stops:g} stops, soft edge", why=where)]


def _nd_filter(limits: Exposure, frames: FrameTable) -> list[Item]:
    stops = limits.nd_stops
    if stops > 0.0:
        density = stops * DENSITY_PER_STOP
        return [Item(name=f"ND filter, {stops:g} stops", why=f"density {density:.1f}, on from the start")]
    bright = float(np.max(frames.ramp.error_stops)) if frames.ramp else 0.0
    if bright > 0.5:
        return [Item(name="An ND filter", why=f"without one the brightest frame is {bright:.1f} stops over")]
    return []


def _support(plan: Plan, frames: FrameTable) -> list[Item]:
    rig = plan.rig
    if rig.slide is None:
        height_m = height_above_ground_m(plan, frames.camera_m[0])
        return [Item(name="Tripod, a weight to hang from it", why=f"lens {height_m:.2f} m above the ground")]
    length_m = rig.slide.max_m - rig.slide.min_m
    height_m = height_above_ground_m(plan, rig.origin_m)
    slope = f"rising {rig.incline_deg:g}°" if rig.incline_deg else "level"
    return [
        Item(
            name=f"Rail of {length_m:.2f} m, a stand, weight and strap for each end",
            why=f"start {height_m:.2f} m above the ground, {slope}",
        )
    ]


def _for_the_dark(plan: Plan, frames: FrameTable) -> list[Item]:
    site = plan.site
    span = np.linspace(float(frames.utc_s[0]) - plan.shoot.setup_s, end_utc_s(frames) + PACK_UP_S, 200)
    _, altitude = ephemeris.sun_position(span, site.latitude_deg, site.longitude_deg)
    dark_s = float(np.mean(altitude < SUN_RISES_AT_DEG)) * float(span[-1] - span[0])
    if dark_s <= 0.0:
        return []
    items = [
        Item(
            name="Head torch, spare batteries",
            why=f"{dark_s / 60.0:.0f} min with the sun down until packed up; keep its light out of the "
            f"picture",
        )
    ]
    if float(np.mean(frames.sun_true_altitude_deg < -6.0)) * plan.duration_s > 3600.0:
        items.append(Item(name="Lens heater or cloth, warm clothes", why="over an hour of night: dew"))
    return items
