"""Findings about what the camera stands on and lives on: a level head, a steady rig, card and battery.

Limits, common practice without a source where none is named:

| finding | note | warn | stop |
|---|---|---|---|
| `head-level`, degrees that the rail rises | 0.5 | – | – |
| `wind-shake`, px by the sway of a rig in a breeze | 1 | – | – |
| `card-space`, GB | any | 256 | the card |
| `battery-short`, frames | – | the battery | – |
"""

from __future__ import annotations

import math

import numpy as np

from planner_core.evening import interval
from planner_core.frames import FrameTable
from planner_core.maths.runs import span
from planner_core.picture.projection import delivered_crop
from planner_core.plan.model import Plan, Shoot, field_range
from planner_core.plan.timeline import clock
from planner_core.review.findings import Finding, Remedy, facts

LARGE_CARD_GB = 256.0  # more than one of the usual cards
SLOPES_DEG = 0.5  # half a degree of a leaning horizon is seen
# What a good tripod sways by in a fresh breeze, and the exposure below which that is frozen: from memory
SWAY_DEG = 15.0 / 3600.0
FROZEN_S = 1.0 / 60.0
SWAY_PX = 1.0


def review_support(plan: Plan, frames: FrameTable) -> list[Finding]:
    """Findings of this topic."""
    return [
        *_head_level(plan, frames),
        *_wind(plan, frames),
        *_card_space(plan, frames),
        *_battery(plan, frames),
    ]


# ---------------------------------------------------------------- head and stand


def _head_level(plan: Plan, frames: FrameTable) -> list[Finding]:
    """A rail that slopes: the plan's head stands level on it, one screwed flat to the carriage would not."""
    slope = plan.rig.incline_deg
    if plan.rig.slide is None or abs(slope) < SLOPES_DEG:
        return []
    aside = np.radians(frames.lens_bearing_deg - plan.rig.bearing_deg)
    lean = np.degrees(np.abs(np.arcsin(np.sin(math.radians(slope)) * np.sin(aside))))
    nod = np.degrees(np.arcsin(np.sin(math.radians(slope)) * np.cos(aside)))
    worst, most = int(np.argmax(lean)), int(np.argmax(np.abs(nod)))
    return [
        Finding(
            code="head-level",
            level="note",
            value=abs(slope),
            limit=SLOPES_DEG,
            unit="°",
            facts=facts(
                slope=(slope, "°"),
                lean=(float(lean[worst]), "°"),
                nod=(float(abs(nod[most])), "°"),
                nods_up=bool(nod[most] > 0.0),
                worst_frame=worst + 1,
            ),
        )
    ]


def _wind(plan: Plan, frames: FrameTable) -> list[Finding]:
    """A long lens and exposures long enough for the rig to sway in."""
    if frames.ramp is None:
        return []
    sway_px = delivered_crop(plan.camera, plan.clip).focal_px * math.tan(math.radians(SWAY_DEG))
    shutter_s = frames.ramp.shutter_s
    where = span(shutter_s > FROZEN_S)
    if where is None or sway_px <= SWAY_PX:
        return []
    longest = int(np.argmax(shutter_s))
    return [
        Finding(
            code="wind-shake",
            level="note",
            frames=where,
            value=sway_px,
            limit=SWAY_PX,
            unit="px",
            facts=facts(
                focal_length=(plan.camera.focal_length_mm, "mm"),
                shutter=(float(shutter_s[longest]), "s"),
                sway=(SWAY_DEG, "°"),
                on_rail=plan.rig.slide is not None,
            ),
        )
    ]


# ---------------------------------------------------------------- card and battery


def card_gb(plan: Plan) -> float | None:
    """Gigabytes of 1000 MB that the frames fill; None where the plan has no file size."""
    size = plan.camera.raw_file_mb
    return None if size is None else plan.shoot.frames * size / 1000.0


def _card_space(plan: Plan, frames: FrameTable) -> list[Finding]:
    space, size, card = card_gb(plan), plan.camera.raw_file_mb, plan.camera.card_gb
    if space is None or size is None:
        return []
    full = None if card is None or space <= card else math.floor(card * 1000.0 / size)
    large = space > LARGE_CARD_GB if card is None else full is not None
    return [
        Finding(
            code="card-space",
            level="note" if not large else "warn" if full is None else "stop",
            frames=None if full is None else (min(full + 1, len(frames)), len(frames)),
            value=space,
            limit=LARGE_CARD_GB if card is None else card,
            unit="GB",
            facts=facts(
                frames=plan.shoot.frames,
                frame_size=(size, "MB"),
                card=(card, "GB"),
                full_after=full,
                full_time=None if not full else clock(float(frames.utc_s[full - 1]), plan.zone),
            ),
            remedies=() if full is None else fewer_frames(plan, full),
        )
    ]


def _battery(plan: Plan, frames: FrameTable) -> list[Finding]:
    """More frames than a battery lasts for."""
    lasts = plan.camera.battery_frames
    if lasts is None or len(frames) <= lasts:
        return []
    return [
        Finding(
            code="battery-short",
            level="warn",
            frames=(lasts + 1, len(frames)),
            value=float(len(frames)),
            limit=float(lasts),
            unit="frames",
            facts=facts(
                lasts=(lasts, "frames"),
                empty_time=clock(float(frames.utc_s[lasts - 1]), plan.zone),
                count=math.ceil(len(frames) / lasts),
            ),
            remedies=fewer_frames(plan, lasts),
        )
    ]


def fewer_frames(plan: Plan, most: int) -> tuple[Remedy, ...]:
    """So many frames at most over the same stretch of time, at an interval that the timer has."""
    if most < 2:
        return ()
    longer_s = interval.on_the_timer_s(plan, plan.duration_s / (most - 1))
    if longer_s > field_range(Shoot, "interval_s")[1]:
        return ()
    count = math.floor(plan.duration_s / longer_s + 1e-6) + 1
    return (Remedy(changes={"shoot.frames": min(count, most), "shoot.interval_s": longer_s}),)
