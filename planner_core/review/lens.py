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
from collections.abc import Sequence
from typing import Any

import numpy as np
from attrs import frozen
from numpy.typing import NDArray

from planner_core.frames import FrameTable
from planner_core.light.exposure import narrower_f_number
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
from planner_core.place.blocking import block_label, bounding_boxes, subject_indices
from planner_core.plan.model import Plan
from planner_core.review.findings import Finding, Remedy, facts

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
            facts=facts(
                clip_width=(clip.width_px, "px"),
                clip_height=(clip.height_px, "px"),
                image_width=(float(width), "px"),
                image_height=(float(height), "px"),
                factor=factor,
                width_enough=(shrunk[0], "px"),
                height_enough=(shrunk[1], "px"),
            ),
            remedies=(Remedy(changes={"clip.width_px": shrunk[0], "clip.height_px": shrunk[1]}),),
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
        facts=facts(
            drift=(float(drift[worst]), "px"),
            shutter=(shutter, "s"),
            worst_frame=worst + 1,
            point=(circle, "px"),
            rule_of_500=(rule_s, "s"),
            shutter_enough=(points, "s"),
        ),
        remedies=(Remedy(changes={"exposure.shutter_max_s": _shorter(points)}),),
    )
    return [finding], numbers


def _shorter(shutter_s: float) -> float:
    """A shutter rounded down to two digits, so that it still holds."""
    unit = 10.0 ** (math.floor(math.log10(shutter_s)) - 1)
    return float(f"{math.floor(shutter_s / unit) * unit:.6g}")


# ---------------------------------------------------------------- focus


@frozen(kw_only=True)
class FocusAdvice:
    """Where to focus for all that should be sharp: kind is which of the cases it is, f_number what it takes.

    sharp_from_m is the nearest distance that is then sharp; to_subject says whether the subject or infinity
    is the farthest.
    """

    kind: str
    focus_m: float
    f_number: float
    nearest_m: float = math.inf
    sharp_from_m: float = math.inf
    to_subject: bool = False


def _focus(plan: Plan, frames: FrameTable) -> tuple[list[Finding], dict[str, Any]]:
    """Foreground and subject against the depth of field at the planned f-number and focus."""
    assert plan.exposure is not None
    camera, f_number, circle = plan.camera, plan.exposure.f_number, circle_of_confusion_mm(plan.camera)
    focal, focus = camera.focal_length_mm, camera.focus_distance_m
    near, far = (float(d) for d in depth_of_field_m(focus, focal, f_number, circle))
    depths = nearest_depths_m(plan, frames)
    subjects = set(subject_indices(plan))
    advice = _advised_focus(plan, depths, subjects)
    numbers: dict[str, Any] = {
        "hyperfocal_m": float(hyperfocal_m(focal, f_number, circle)),
        "near_sharp_m": near,
        "far_sharp_m": far if math.isfinite(far) else None,
        "suggested_focus_m": advice.focus_m,
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
            findings.append(_soft(plan, group, blurs, is_subject, (near, far), advice))
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


def _advised_focus(plan: Plan, depths: dict[int, float], subjects: set[int]) -> FocusAdvice:
    """Where to focus for foreground and subject, and at which f-number."""
    assert plan.exposure is not None
    camera, f_number, circle = plan.camera, plan.exposure.f_number, circle_of_confusion_mm(plan.camera)
    focal = camera.focal_length_mm
    hyper = float(hyperfocal_m(focal, f_number, circle))
    if not depths:
        return FocusAdvice(kind="hyperfocal", focus_m=hyper, f_number=f_number)
    nearest = min(depths.values())
    subject = max((depths[i] for i in depths if i in subjects), default=math.inf)
    if hyper <= 2.0 * nearest:
        closest = float(depth_of_field_m(hyper, focal, f_number, circle)[0])
        return FocusAdvice(
            kind="hyperfocal", focus_m=hyper, f_number=f_number, nearest_m=nearest, sharp_from_m=closest
        )
    if len(depths) == 1 and subject == nearest:
        return FocusAdvice(kind="on-subject", focus_m=nearest, f_number=f_number, nearest_m=nearest)
    for far in (math.inf, subject):
        focus, needed = focus_between_m(nearest, far, focal, circle) if far > nearest else (nearest, 0.0)
        if needed <= f_number * 1.001:
            return FocusAdvice(
                kind="between",
                focus_m=focus,
                f_number=f_number,
                nearest_m=nearest,
                sharp_from_m=nearest,
                to_subject=far == subject and not math.isinf(far),
            )
    focus, needed = focus_between_m(nearest, subject, focal, circle)
    stopped = narrower_f_number(needed)
    if stopped is not None and stopped <= SMALLEST_GOOD_F_NUMBER:
        return FocusAdvice(
            kind="stop-down",
            focus_m=focus,
            f_number=stopped,
            nearest_m=nearest,
            sharp_from_m=nearest,
            to_subject=not math.isinf(subject),
        )
    focus = min(hyper, subject)
    closest = float(depth_of_field_m(focus, focal, f_number, circle)[0])
    return FocusAdvice(
        kind="not-both", focus_m=focus, f_number=f_number, nearest_m=nearest, sharp_from_m=closest
    )


def _subject_first(plan: Plan, advice: FocusAdvice) -> FocusAdvice | None:
    """Focus for the subject, where no focus at the plan's f-number holds the foreground too."""
    assert plan.exposure is not None
    if advice.kind != "stop-down":
        return None
    camera, f_number, circle = plan.camera, plan.exposure.f_number, circle_of_confusion_mm(plan.camera)
    hyper = float(hyperfocal_m(camera.focal_length_mm, f_number, circle))
    closest = float(depth_of_field_m(hyper, camera.focal_length_mm, f_number, circle)[0])
    return FocusAdvice(kind="hyperfocal", focus_m=hyper, f_number=f_number, sharp_from_m=closest)


def _focus_remedies(plan: Plan, advices: Sequence[FocusAdvice]) -> tuple[Remedy, ...]:
    """Each way to focus as the fields that it sets, to a centimetre."""
    assert plan.exposure is not None
    remedies = []
    for advice in advices:
        changes = {"camera.focus_distance_m": round(advice.focus_m, 2)}
        if advice.f_number != plan.exposure.f_number:
            changes["exposure.f_number"] = advice.f_number
        remedies.append(Remedy(changes=changes))
    return tuple(remedies)


def _soft(
    plan: Plan,
    depths: dict[int, float],
    blurs: dict[int, float],
    is_subject: bool,
    sharp: tuple[float, float],
    advice: FocusAdvice,
) -> Finding:
    worst = max(blurs, key=lambda index: blurs[index])
    px = blurs[worst] * _circle_of_confusion_px(plan)
    grave, light = (SUBJECT_STOP, SUBJECT_WARN) if is_subject else (FOREGROUND_WARN, FOREGROUND_NOTE)
    levels = ("stop", "warn") if is_subject else ("warn", "note")
    is_grave = blurs[worst] > grave
    near, far = sharp
    first = _subject_first(plan, advice) if is_subject else None
    assert plan.exposure is not None
    return Finding(
        code="focus-depth",
        level=levels[0] if is_grave else levels[1],
        value=px,
        limit=(grave if is_grave else light) * _circle_of_confusion_px(plan),
        unit="px",
        facts=facts(
            block=block_label(plan, worst),
            role="subject" if is_subject else "foreground",
            distance=(depths[worst], "m"),
            others=len(blurs) - 1,
            blur=(px, "px"),
            focus=(plan.camera.focus_distance_m, "m"),
            f_number=plan.exposure.f_number,
            sharp_from=(near, "m"),
            sharp_to=(far if math.isfinite(far) else None, "m"),
            advice=advice.kind,
            better_focus=(advice.focus_m, "m"),
            better_f_number=advice.f_number,
            better_from=(advice.sharp_from_m, "m"),
            better_to="subject" if advice.to_subject else "infinity",
            nearest=(advice.nearest_m, "m"),
            subject_first_focus=(first.focus_m if first else None, "m"),
            subject_first_from=(first.sharp_from_m if first else None, "m"),
        ),
        remedies=_focus_remedies(plan, [first, advice] if first else [advice]),
        blocks=tuple(block_label(plan, index) for index in blurs),
    )
