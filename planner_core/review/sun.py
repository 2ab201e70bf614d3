"""Findings about the sun against the place: in the picture, and taken away by a skyline before it sets.

Limits, common practice without a source: the subject in shade 5 minutes before the almanac's sunset (or as
long after sunrise) earns a note, 15 a warning; a sun higher than 5° in the picture of a lens of 100 mm (full
frame) or more earns a warning, any other sun in the picture a note.
"""

from __future__ import annotations

from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from planner_core.evening.balance import Turn, sun_times_utc_s
from planner_core.evening.sunlight import (
    OPEN,
    SunDay,
    Sunlight,
    subject_spot,
    sun_day,
    sun_in_picture_frames,
    sunlight,
)
from planner_core.frames import FrameTable
from planner_core.picture.optics import full_frame_focal_mm
from planner_core.place.blocking import block_label, subject_indices
from planner_core.plan.model import Plan
from planner_core.plan.timeline import clock, local_datetime
from planner_core.review.findings import Finding, Quantity, facts
from planner_core.review.summary import SunNumbers, SunTimes


class BodyInPicture(Protocol):
    """Sun or moon in each frame, as Sunlight and MoonView have it."""

    @property
    def up(self) -> NDArray[np.bool_]: ...
    @property
    def camera_behind(self) -> NDArray[np.intp]: ...
    @property
    def picture_px(self) -> NDArray[np.float64]: ...


HIDDEN_NOTE_S, HIDDEN_WARN_S = 300.0, 900.0
LONG_LENS_MM, HIGH_SUN_DEG = 100.0, 5.0


def review_sun(plan: Plan, frames: FrameTable, turn: Turn | None) -> tuple[list[Finding], SunNumbers]:
    """Findings and summary numbers of the sun against blocks and picture."""
    sun = sunlight(frames)
    at_camera: SunDay | None = None
    at_subject: SunDay | None = None
    findings = _in_picture(plan, frames, sun)
    if np.any(sun.up) or turn is not None:
        hidden, at_camera, at_subject = _horizon(plan, frames, turn)
        findings += hidden
    in_picture = sun_in_picture_frames(sun)
    in_shade = None if sun.subject_lit is None else int(np.count_nonzero(sun.up & ~sun.subject_lit))
    numbers = SunNumbers(
        camera=None if at_camera is None else _times(plan, at_camera),
        subject=None if at_subject is None else _times(plan, at_subject),
        sun_in_picture_frames=in_picture,
        camera_in_shade_frames=int(np.count_nonzero(sun.up & ~sun.camera_lit)),
        subject_in_shade_frames=in_shade,
    )
    return findings, numbers


# ---------------------------------------------------------------- in the picture


def _in_picture(plan: Plan, frames: FrameTable, sun: Sunlight) -> list[Finding]:
    in_picture = sun_in_picture_frames(sun)
    if in_picture is None:
        return []
    first, last = in_picture
    count = int(np.count_nonzero(sun.in_picture))
    long_lens = full_frame_focal_mm(plan.camera) >= LONG_LENS_MM
    highest = float(frames.sun_altitude_deg[sun.in_picture].max())
    danger = long_lens and highest > HIGH_SUN_DEG
    return [
        Finding(
            code="sun-in-frame",
            level="warn" if danger else "note",
            frames=(first, last),
            value=float(count),
            limit=0.0,
            unit="frames",
            facts=(
                *facts(
                    count=(count, "frames"),
                    highest=(highest, "°"),
                    first_time=clock(float(frames.utc_s[first - 1]), plan.zone),
                    last_time=clock(float(frames.utc_s[last - 1]), plan.zone),
                    focal_length=(plan.camera.focal_length_mm, "mm"),
                    safe_below=(HIGH_SUN_DEG, "°"),
                    dangerous=danger,
                    rising=bool(frames.sun_altitude_deg[last - 1] > frames.sun_altitude_deg[first - 1]),
                ),
                *coming_and_going(plan, frames, sun, first, last),
            ),
        )
    ]


def coming_and_going(
    plan: Plan, frames: FrameTable, body: BodyInPicture, first: int, last: int
) -> tuple[Quantity, ...]:
    """What sun or moon comes in past before frame number `first`, and goes out past after `last`.

    None where it is in the first frame or the last one.
    """
    n = len(frames)
    comes, comes_name = _out_of_picture(plan, body, first - 2) if first > 1 else (None, "")
    goes, goes_name = _out_of_picture(plan, body, last) if last < n else (None, "")
    return facts(
        comes_past=comes,
        comes_past_name=comes_name,
        goes_past=goes,
        goes_past_name=goes_name,
        gone_time=clock(float(frames.utc_s[last]), plan.zone) if last < n else None,
    )


def _out_of_picture(plan: Plan, body: BodyInPicture, frame: int) -> tuple[str, str]:
    """Why it is not in the picture of a frame (from 0): horizon, block or edge, and which of them."""
    if not body.up[frame]:
        return "horizon", ""
    if body.camera_behind[frame] != OPEN:
        return "block", block_label(plan, int(body.camera_behind[frame]))
    x, y = body.picture_px[frame]
    over = {"left": -x, "right": x - plan.clip.width_px, "upper": -y, "lower": y - plan.clip.height_px}
    return "edge", max(over, key=lambda name: over[name] if np.isfinite(over[name]) else -np.inf)


# ---------------------------------------------------------------- the horizon of the place


def _horizon(
    plan: Plan, frames: FrameTable, turn: Turn | None
) -> tuple[list[Finding], SunDay, SunDay | None]:
    """When the sun really comes and goes, at the camera and at the subject."""
    middle = len(frames) // 2
    date = local_datetime(turn.utc_s if turn else float(frames.utc_s[middle]), plan.zone).date()
    at_camera = sun_day(plan, frames.camera_m[middle], date)
    spot, own = subject_spot(plan)
    at_subject = None if spot is None else sun_day(plan, spot, date, ignoring=own)
    if turn is None:
        return [], at_camera, at_subject
    evening = turn.event == "sunset" or turn.event.endswith("dusk")
    level = sun_times_utc_s(plan, "sunset" if evening else "sunrise", date)
    name = None if at_subject is None else block_label(plan, subject_indices(plan)[0])
    day = at_camera if at_subject is None else at_subject
    hidden = _hidden(plan, day, name, evening, level[-1] if evening else level[0]) if level else []
    return hidden, at_camera, at_subject


def _times(plan: Plan, day: SunDay) -> SunTimes:
    def local(utc_s: float | None) -> str | None:
        return None if utc_s is None else local_datetime(utc_s, plan.zone).isoformat(timespec="seconds")

    return SunTimes(sunrise_local=local(day.rise_utc_s), sunset_local=local(day.set_utc_s))


def _hidden(plan: Plan, day: SunDay, subject: str | None, evening: bool, level_utc_s: float) -> list[Finding]:
    """A skyline that takes the sun away from a place long before sunset, or holds it back after sunrise."""
    reached, behind = (day.set_utc_s, day.set_behind) if evening else (day.rise_utc_s, day.rise_behind)
    event = "sunset" if evening else "sunrise"
    if reached is None or behind == OPEN:
        return []
    off_s = level_utc_s - reached if evening else reached - level_utc_s
    if off_s < HIDDEN_NOTE_S:
        return []
    warn = off_s >= HIDDEN_WARN_S
    return [
        Finding(
            code="sun-hidden",
            level="warn" if warn else "note",
            value=off_s / 60.0,
            limit=(HIDDEN_WARN_S if warn else HIDDEN_NOTE_S) / 60.0,
            unit="minutes",
            facts=facts(
                event=event,
                event_time=clock(level_utc_s, plan.zone),
                time=clock(reached, plan.zone),
                **{"early" if evening else "late": (off_s / 60.0, "minutes")},
                subject=subject,
                hider=block_label(plan, behind),
            ),
            blocks=(block_label(plan, behind),),
        )
    ]
