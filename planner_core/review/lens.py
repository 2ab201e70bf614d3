"""Findings about the lens at work: how far stars drift during an exposure, and how deep the picture is sharp.

Here too: whether the clip asks for more pixels than the camera has. Sharp is what blurs over no more than the
circle of confusion (optics.circle_of_confusion_mm; 3.2 px of 3840). Limits, common practice without a source,
those of drift and focus as multiples of it:

| finding | note | warn | stop |
|---|---|---|---|
| `clip-enlarged`, times larger than the camera's image | 1.005 | 1.25 | – |
| `star-trails` | 1 | 2 | – |
| `focus-depth`, foreground | 1 | 2 | – |
| `focus-depth`, subject | – | 1 | 3 |
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from planner_core.frames import FrameTable
from planner_core.light.exposure import f_number_label, narrower_f_number
from planner_core.maths.runs import span
from planner_core.picture.optics import (
    blur_disc_mm,
    circle_of_confusion_mm,
    depth_of_field_m,
    focus_between_m,
    hyperfocal_m,
    rule_of_500_s,
    star_drift_px_s,
)
from planner_core.picture.projection import delivered_crop, delivered_image_px, project_px
from planner_core.place.blocking import block_label, block_text, bounding_boxes, subject_indices
from planner_core.plan.model import Plan
from planner_core.review.findings import Finding
from planner_core.words.figures import figure, frames_text

Array = NDArray[np.float64]

STARS_SHOW_DEG = (
    -12.0
)  # the sun's true altitude at nautical dusk; from then stars show plainly (common practice)
STARS_HIDDEN_CLOUD = 3.0  # cloud divisor of average cloud, Circular 171
ENLARGED_NOTE, ENLARGED_WARN = 1.005, 1.25
TRAILS_NOTE, TRAILS_WARN = 1.0, 2.0
FOREGROUND_NOTE, FOREGROUND_WARN = 1.0, 2.0
SUBJECT_WARN, SUBJECT_STOP = 1.0, 3.0
SMALLEST_GOOD_F_NUMBER = 16.0
FOCUS_FRAMES = 5
_LATTICE = np.stack(
    np.meshgrid(np.linspace(-1, 1, 7), np.linspace(-1, 1, 7), np.linspace(-1, 1, 3), indexing="ij"), axis=-1
).reshape(-1, 3)


def review_lens(plan: Plan, frames: FrameTable) -> tuple[list[Finding], dict[str, Any]]:
    """Findings and summary numbers of the clip's pixels and, with an exposure, of star drift and focus."""
    pixels = _enlarged(plan)
    if plan.exposure is None or frames.ramp is None:
        return pixels, {}
    stars, star_numbers = _stars(plan, frames)
    focus, focus_numbers = _focus(plan, frames)
    return pixels + stars + focus, star_numbers | focus_numbers


def _circle_of_confusion_px(plan: Plan) -> float:
    return circle_of_confusion_mm(plan.camera) * _px_per_mm(plan)


def _px_per_mm(plan: Plan) -> float:
    return plan.clip.width_px / delivered_crop(plan.camera, plan.clip).width_mm


# ---------------------------------------------------------------- pixels


def _enlarged(plan: Plan) -> list[Finding]:
    """A clip with more pixels than the camera gives it."""
    clip = plan.clip
    width, height = delivered_image_px(plan.camera, clip)
    factor = max(clip.width_px / width, clip.height_px / height)
    if factor <= ENLARGED_NOTE:
        return []
    warn = factor > ENLARGED_WARN
    shrunk = 2 * math.floor(clip.width_px / factor / 2.0), 2 * math.floor(clip.height_px / factor / 2.0)
    return [
        Finding(
            code="clip-enlarged",
            level="warn" if warn else "note",
            value=factor,
            limit=ENLARGED_WARN if warn else ENLARGED_NOTE,
            unit="times",
            message=f"The clip of {clip.width_px} × {clip.height_px} px takes {width:.0f} × {height:.0f} px "
            f"of the camera's image and enlarges them {figure(factor)} times: it comes out soft.",
            fix=f"Deliver {shrunk[0]} × {shrunk[1]} px, or take a camera with more pixels.",
        )
    ]


# ---------------------------------------------------------------- stars


def _stars(plan: Plan, frames: FrameTable) -> tuple[list[Finding], dict[str, Any]]:
    """Drift of the fastest star in the frame during each exposure that is dark enough to show stars."""
    dark = frames.sun_true_altitude_deg < STARS_SHOW_DEG
    if not np.any(dark) or plan.shoot.cloud_divisor >= STARS_HIDDEN_CLOUD or frames.ramp is None:
        return [], {}
    drift = np.zeros(len(frames))
    rate = np.nan_to_num(star_drift_px_s(plan, frames.camera_rotation[dark]))
    drift[dark] = rate * frames.ramp.shutter_s[dark]
    worst = int(np.argmax(drift))
    rule_s = rule_of_500_s(plan.camera)
    numbers = {"star_drift_px": float(drift[worst]), "rule_of_500_s": rule_s}
    circle = _circle_of_confusion_px(plan)
    where = span(drift > TRAILS_NOTE * circle)
    if where is None:
        return [], numbers
    shutter = float(frames.ramp.shutter_s[worst])
    points = shutter * circle / float(drift[worst])
    warn = bool(drift[worst] > TRAILS_WARN * circle)
    finding = Finding(
        code="star-trails",
        level="warn" if warn else "note",
        frames=where,
        value=float(drift[worst]),
        limit=(TRAILS_WARN if warn else TRAILS_NOTE) * circle,
        unit="px",
        message=f"{frames_text(where)}: stars drift up to {drift[worst]:.1f} px while the shutter is open "
        f"for {figure(shutter)} s (frame {worst + 1}); up to {circle:.1f} px they read as points. The "
        f"rule of 500 gives {rule_s:.0f} s here.",
        fix=f"For points hold exposure.shutter_max_s at {figure(points, 2)} s and win "
        f"{math.log2(shutter / points):.1f} stops by ISO or a wider aperture.",
    )
    return [finding], numbers


# ---------------------------------------------------------------- focus


def _focus(plan: Plan, frames: FrameTable) -> tuple[list[Finding], dict[str, Any]]:
    """Foreground and subject against the depth of field at the planned f-number and focus."""
    assert plan.exposure is not None
    camera, f_number, circle = plan.camera, plan.exposure.f_number, circle_of_confusion_mm(plan.camera)
    focal, focus = camera.focal_length_mm, camera.focus_distance_m
    near, far = (float(d) for d in depth_of_field_m(focus, focal, f_number, circle))
    depths = nearest_depths_m(plan, frames)
    subjects = set(subject_indices(plan))
    suggestion = _suggested_focus(plan, depths, subjects)
    numbers: dict[str, Any] = {
        "hyperfocal_m": float(hyperfocal_m(focal, f_number, circle)),
        "near_sharp_m": near,
        "far_sharp_m": far if math.isfinite(far) else None,
        "suggested_focus_m": suggestion[0],
    }
    foreground = {i: d for i, d in depths.items() if i not in subjects}
    if foreground:
        numbers["nearest_foreground_m"] = min(foreground.values())
    findings = []
    for group, is_subject in ((foreground, False), ({i: depths[i] for i in depths if i in subjects}, True)):
        blurs = {
            i: float(blur_disc_mm(d, focus, focal, f_number)) / circle
            for i, d in group.items()
            if not near <= d <= far
        }
        if blurs:
            fix = _for_subject(plan, suggestion) if is_subject else suggestion[1]
            findings.append(_soft(plan, group, blurs, is_subject, (near, far), fix))
    return findings, numbers


def nearest_depths_m(plan: Plan, frames: FrameTable) -> dict[int, float]:
    """How near the picture's foreground and subject blocks come, by block index.

    Depth along the lens axis of the nearest part of each block's bounding box that is inside the frame, over
    frames spread through the move. Blocks never in the picture are left out, and so is what reaches the lens.
    """
    wanted = [i for i, block in enumerate(plan.blocks) if block.role == "foreground"]
    wanted = sorted({*wanted, *subject_indices(plan)})
    if not wanted:
        return {}
    boxes = bounding_boxes(plan)
    rows = np.flatnonzero(np.isin(boxes.block, wanted))
    local = boxes.half_m[rows, None, :] * _LATTICE
    cos, sin = np.cos(boxes.turn_rad[rows])[:, None], np.sin(boxes.turn_rad[rows])[:, None]
    x, y = local[..., 0] * cos + local[..., 1] * sin, local[..., 1] * cos - local[..., 0] * sin
    points = boxes.centre_m[rows, None, :] + np.stack([x, y, local[..., 2]], axis=-1)
    picked = np.unique(np.linspace(0, len(frames) - 1, FOCUS_FRAMES).round().astype(np.intp))
    xy, depth = project_px(
        plan, points, frames.camera_m[picked, None, None], frames.camera_rotation[picked, None, None]
    )
    inside = np.all((xy >= 0.0) & (xy <= (plan.clip.width_px, plan.clip.height_px)), axis=-1)
    nearest = np.where(inside & (depth > plan.camera.focal_length_mm / 1000.0), depth, np.inf).min(
        axis=(0, 2)
    )
    found: dict[int, float] = {}
    for row, distance in zip(rows, nearest, strict=True):
        if np.isfinite(distance):
            block = int(boxes.block[row])
            found[block] = min(found.get(block, math.inf), float(distance))
    return found


def _suggested_focus(plan: Plan, depths: dict[int, float], subjects: set[int]) -> tuple[float, str]:
    """A focus distance for all that should be sharp, and what to do in words."""
    assert plan.exposure is not None
    camera, f_number, circle = plan.camera, plan.exposure.f_number, circle_of_confusion_mm(plan.camera)
    focal = camera.focal_length_mm
    hyper = float(hyperfocal_m(focal, f_number, circle))
    if not depths:
        return hyper, f"Focus at {figure(hyper)} m, the hyperfocal distance at {f_number_label(f_number)}."
    nearest = min(depths.values())
    subject = max((depths[i] for i in depths if i in subjects), default=math.inf)
    if hyper <= 2.0 * nearest:
        closest = float(depth_of_field_m(hyper, focal, f_number, circle)[0])
        return hyper, (
            f"Focus at {figure(hyper)} m, the hyperfocal distance at {f_number_label(f_number)}: sharp from "
            f"{figure(closest, 2)} m to infinity."
        )
    if len(depths) == 1 and subject == nearest:
        return nearest, f"Focus at {figure(nearest)} m, on the subject."
    for far, what in ((math.inf, "infinity"), (subject, "the subject")):
        focus, needed = focus_between_m(nearest, far, focal, circle) if far > nearest else (nearest, 0.0)
        if needed <= f_number * 1.001:
            return (
                focus,
                f"Focus at {figure(focus)} m: sharp from {figure(nearest, 2)} m to {what} at "
                f"{f_number_label(f_number)}.",
            )
    focus, needed = focus_between_m(nearest, subject, focal, circle)
    stopped = narrower_f_number(needed)
    if stopped is not None and stopped <= SMALLEST_GOOD_F_NUMBER:
        return focus, (
            f"Focus at {figure(focus)} m and stop down to f/{stopped:g} "
            f"({2.0 * math.log2(stopped / f_number):.1f} stops "
            f"less light): sharp from {figure(nearest, 2)} m to "
            f"{'infinity' if math.isinf(subject) else 'the subject'}."
        )
    focus = min(hyper, subject)
    closest = float(depth_of_field_m(focus, focal, f_number, circle)[0])
    return focus, (
        f"No usable f-number holds {figure(nearest, 2)} m and the distance both: focus at {figure(focus)} m "
        f"and keep everything that should be sharp beyond {figure(closest, 2)} m."
    )


def _for_subject(plan: Plan, suggestion: tuple[float, str]) -> str:
    """What to do for the subject: where one focus can't hold the foreground too, the subject comes first."""
    assert plan.exposure is not None
    camera, f_number, circle = plan.camera, plan.exposure.f_number, circle_of_confusion_mm(plan.camera)
    text = suggestion[1]
    if "stop down" not in text:
        return text
    hyper = float(hyperfocal_m(camera.focal_length_mm, f_number, circle))
    closest = float(depth_of_field_m(hyper, camera.focal_length_mm, f_number, circle)[0])
    return (
        f"Focus at {figure(hyper)} m, the hyperfocal distance at {f_number_label(f_number)}: sharp from "
        f"{figure(closest, 2)} m on, "
        f"the foreground softer. For both: {text[0].lower()}{text[1:]}"
    )


def _soft(
    plan: Plan,
    depths: dict[int, float],
    blurs: dict[int, float],
    is_subject: bool,
    sharp: tuple[float, float],
    fix: str,
) -> Finding:
    worst = max(blurs, key=lambda index: blurs[index])
    px = blurs[worst] * _circle_of_confusion_px(plan)
    grave, light = (SUBJECT_STOP, SUBJECT_WARN) if is_subject else (FOREGROUND_WARN, FOREGROUND_NOTE)
    levels = ("stop", "warn") if is_subject else ("warn", "note")
    is_grave = blurs[worst] > grave
    near, far = sharp
    reach = f"from {figure(near)} m" + (f" to {figure(far)} m" if math.isfinite(far) else " on")
    others = f" and {len(blurs) - 1} more are" if len(blurs) > 1 else " is"
    assert plan.exposure is not None
    return Finding(
        code="focus-depth",
        level=levels[0] if is_grave else levels[1],
        value=px,
        limit=(grave if is_grave else light) * _circle_of_confusion_px(plan),
        unit="px",
        message=f"{block_text(plan, worst)} ({'subject' if is_subject else 'foreground'}, "
        f"{figure(depths[worst])} m away)"
        f"{others} out of focus, blurred over {px:.1f} px: with the focus at "
        f"{plan.camera.focus_distance_m:g} m and "
        f"{f_number_label(plan.exposure.f_number)} the picture is sharp {reach}.",
        fix=fix,
        blocks=tuple(block_label(plan, index) for index in blurs),
    )
