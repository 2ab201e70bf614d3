"""Findings about the moon in the picture.

A note wherever it shows: like the sun it is wanted or not, and people go out for it. A warning (common
practice, no source) where it is a disc to look at, more than a crescent and a hundredth of the picture wide,
and drifts by more than a tenth of its width during an exposure: then it is an oval without detail.
"""

from __future__ import annotations

import math

import numpy as np

from planner_core.evening.moonlight import MoonView, moon_view
from planner_core.frames import FrameTable
from planner_core.maths.angles import compass_deg
from planner_core.maths.runs import span
from planner_core.picture import composition
from planner_core.plan.model import Plan
from planner_core.plan.timeline import clock
from planner_core.review.findings import Finding, facts
from planner_core.review.summary import MoonNumbers
from planner_core.review.sun import coming_and_going

OVAL_SHARE = 0.1  # of its width
LARGE_SHARE = 0.01  # of the picture's width
CRESCENT_LIT = 0.1


def review_moon(plan: Plan, frames: FrameTable) -> tuple[list[Finding], MoonNumbers]:
    """Findings and summary numbers of the moon against blocks and picture."""
    moon = moon_view(frames)
    seen = span(moon.in_picture)
    exposed = bool(np.isfinite(moon.smear_px).any())
    numbers = MoonNumbers(
        moon_in_picture_frames=seen,
        moon_smear_px=float(np.nanmax(moon.smear_px)) if exposed else None,
        moon_over_stops=float(np.nanmax(moon.over_stops)) if exposed else None,
    )
    return [_in_picture(plan, frames, moon, seen)] if seen else _missing(plan, frames), numbers


def _missing(plan: Plan, frames: FrameTable) -> list[Finding]:
    """A moon that the plan is about, and that no frame shows."""
    anchor, wish = plan.shoot.anchor, plan.composition.moon if plan.composition else "any"
    about_it = anchor is not None and anchor.event in ("moonrise", "moonset")
    if wish == "out" or not (about_it or wish == "in"):
        return []
    risen = frames.moon_altitude_deg > 0.0
    frame = int(np.argmax(risen)) if risen.any() else int(np.argmax(frames.moon_altitude_deg))
    half_deg = composition.view_deg(plan)[0] / 2.0
    lens_deg = float(frames.lens_bearing_deg[frame])
    return [
        Finding(
            code="moon-missing",
            level="warn" if wish == "in" or not risen.any() else "note",
            facts=facts(
                risen=bool(risen.any()),
                frame=frame + 1,
                time=clock(float(frames.utc_s[frame]), plan.zone),
                bearing=(float(frames.moon_azimuth_deg[frame]), "°"),
                altitude=(float(frames.moon_altitude_deg[frame]), "°"),
                reach=((compass_deg(lens_deg - half_deg), compass_deg(lens_deg + half_deg)), "°"),
            ),
        )
    ]


def _in_picture(plan: Plan, frames: FrameTable, moon: MoonView, seen: tuple[int, int]) -> Finding:
    first, last = seen
    count = int(np.count_nonzero(moon.in_picture))
    exposed = bool(np.isfinite(moon.smear_px).any())
    worst = int(np.nanargmax(moon.smear_px)) if exposed else first - 1
    smear = float(moon.smear_px[worst]) if exposed else 0.0
    lit = float(frames.moon_lit_fraction[worst])
    is_large = moon.disc_px > LARGE_SHARE * plan.clip.width_px and lit > CRESCENT_LIT
    is_oval = is_large and smear > OVAL_SHARE * moon.disc_px
    round_s = None
    if is_oval and frames.ramp is not None:
        round_s = float(frames.ramp.shutter_s[worst]) * OVAL_SHARE * moon.disc_px / smear
    brightest = int(np.nanargmax(moon.over_stops)) if exposed else None
    return Finding(
        code="moon-in-frame",
        level="warn" if is_oval else "note",
        frames=seen,
        value=smear if is_oval else float(count),
        limit=OVAL_SHARE * moon.disc_px if is_oval else 0.0,
        unit="px" if is_oval else "frames",
        facts=(
            *facts(
                count=(count, "frames"),
                lit=lit,
                highest=(float(frames.moon_altitude_deg[moon.in_picture].max()), "°"),
                first_time=clock(float(frames.utc_s[first - 1]), plan.zone),
                last_time=clock(float(frames.utc_s[last - 1]), plan.zone),
                over=(None if brightest is None else float(moon.over_stops[brightest]), "stops"),
                brightest_frame=None if brightest is None else brightest + 1,
                headroom=(plan.camera.headroom_stops, "stops"),
                width=(moon.disc_px, "px"),
                smear=(smear if exposed else None, "px"),
                smear_frame=worst + 1,
                shutter=(float(frames.ramp.shutter_s[worst]) if frames.ramp is not None else None, "s"),
                round_shutter=(None if round_s is None else math.floor(round_s * 10.0) / 10.0, "s"),
            ),
            *coming_and_going(plan, frames, moon, first, last),
        ),
    )
