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

import numpy as np
from attrs import frozen

from planner_core.draft.sky import picture_settings_ev100
from planner_core.frames import FrameTable
from planner_core.light.exposure import narrower_f_number
from planner_core.maths.runs import span
from planner_core.picture.block_visibility import NEAR_BY_M
from planner_core.picture.optics import (
    blur_disc_mm,
    circle_of_confusion_mm,
    depth_of_field_m,
    focus_between_m,
    hyperfocal_m,
    rule_of_500_s,
    star_drift_px_s,
)
from planner_core.picture.projection import delivered_crop, delivered_image_px
from planner_core.place.blocking import block_label, subject_indices
from planner_core.plan.model import NEAREST_FOCUS, Plan
from planner_core.review import remedies
from planner_core.review.findings import Finding, Remedy, facts
from planner_core.review.summary import FocusNumbers, StarNumbers

STARS_SHOW_DEG = (
    -12.0
)  # the sun's true altitude at nautical dusk; from then stars show plainly (common practice)
STARS_SHOW_EV100 = 1.0  # of the settings: a lit place is exposed too short for more than a few; from memory
STARS_HIDDEN_CLOUD = 3.0  # cloud divisor of average cloud, Circular 171
ENLARGED_NOTE, ENLARGED_WARN = 1.005, 1.25
TRAILS_NOTE, TRAILS_WARN = 1.0, 2.0
FOREGROUND_NOTE, FOREGROUND_WARN = 1.0, 2.0
SUBJECT_WARN, SUBJECT_STOP = 1.0, 3.0
SMALLEST_GOOD_F_NUMBER = 16.0


def review_lens(
    plan: Plan, frames: FrameTable
) -> tuple[list[Finding], StarNumbers | None, FocusNumbers | None]:
    """Findings and summary numbers of the clip's pixels and, with an exposure, of star drift and focus."""
    pixels = _enlarged(plan)
    if plan.exposure is None or frames.ramp is None:
        return pixels, None, None
    stars, star_numbers = _stars(plan, frames)
    focus, focus_numbers = _focus(plan, frames)
    return pixels + stars + focus, star_numbers, focus_numbers


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
                factor=factor,
                clip_width=(clip.width_px, "px"),
                clip_height=(clip.height_px, "px"),
                image_width=(float(width), "px"),
                image_height=(float(height), "px"),
                width_enough=(shrunk[0], "px"),
                height_enough=(shrunk[1], "px"),
            ),
            remedies=(Remedy(changes={"clip.width_px": shrunk[0], "clip.height_px": shrunk[1]}),),
        )
    ]


# ---------------------------------------------------------------- stars


def _stars(plan: Plan, frames: FrameTable) -> tuple[list[Finding], StarNumbers | None]:
    """Drift of the fastest star in the frame during each exposure that is dark enough to show stars."""
    dark = frames.sun_true_altitude_deg < STARS_SHOW_DEG
    dark &= picture_settings_ev100(frames) < STARS_SHOW_EV100
    if not np.any(dark) or plan.shoot.cloud_divisor >= STARS_HIDDEN_CLOUD or frames.ramp is None:
        return [], None
    drift = np.zeros(len(frames))
    rate = np.nan_to_num(star_drift_px_s(plan, frames.camera_rotation[dark]))
    drift[dark] = rate * frames.ramp.shutter_s[dark]
    worst = int(np.argmax(drift))
    rule_s = rule_of_500_s(plan.camera)
    numbers = StarNumbers(star_drift_px=float(drift[worst]), rule_of_500_s=rule_s)
    circle = _circle_of_confusion_px(plan)
    soft = _stars_out_of_focus(plan, span(drift > 0.0))
    where = span(drift > TRAILS_NOTE * circle)
    if where is None:
        return soft, numbers
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
            point=(circle, "px"),
            worst_frame=worst + 1,
            shutter=(shutter, "s"),
            shutter_enough=(points, "s"),
            rule_of_500=(rule_s, "s"),
        ),
        remedies=remedies.held_exposure(plan, frames, points),
    )
    return [finding, *soft], numbers


def _stars_out_of_focus(plan: Plan, where: tuple[int, int] | None) -> list[Finding]:
    """Stars in the picture, on these frames, with the focus on something too near for them."""
    if where is None or plan.exposure is None:
        return []
    camera, f_number = plan.camera, plan.exposure.f_number
    focal, focus, circle = camera.focal_length_mm, camera.focus_distance_m, circle_of_confusion_mm(camera)
    blur = float(blur_disc_mm(math.inf, focus, focal, f_number)) / circle
    if blur <= FOREGROUND_NOTE:
        return []
    warn = blur > FOREGROUND_WARN
    circle_px = _circle_of_confusion_px(plan)
    return [
        Finding(
            code="stars-soft",
            level="warn" if warn else "note",
            frames=where,
            value=blur * circle_px,
            limit=(FOREGROUND_WARN if warn else FOREGROUND_NOTE) * circle_px,
            unit="px",
            facts=facts(
                focus=(focus, "m"),
                f_number=f_number,
                sharp_to=(float(depth_of_field_m(focus, focal, f_number, circle)[1]), "m"),
            ),
            remedies=tuple(_refocused(plan, {}, _hyperfocal(plan))),
        )
    ]


# ---------------------------------------------------------------- focus


def _focus(plan: Plan, frames: FrameTable) -> tuple[list[Finding], FocusNumbers]:
    """Foreground and subject against the depth of field at the planned f-number and focus."""
    assert plan.exposure is not None
    camera, f_number, circle = plan.camera, plan.exposure.f_number, circle_of_confusion_mm(plan.camera)
    focal, focus = camera.focal_length_mm, camera.focus_distance_m
    near, far = (float(d) for d in depth_of_field_m(focus, focal, f_number, circle))
    depths = nearest_depths_m(plan, frames)
    subjects = set(subject_indices(plan))
    advice = _suggested_focus(plan, depths, subjects)
    foreground = {i: d for i, d in depths.items() if i not in subjects}
    numbers = FocusNumbers(
        hyperfocal_m=float(hyperfocal_m(focal, f_number, circle)),
        near_sharp_m=near,
        far_sharp_m=far if math.isfinite(far) else None,
        suggested_focus_m=advice.focus_m,
        nearest_foreground_m=min(foreground.values(), default=None),
    )
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

    Depth along the lens axis of the nearest part of each block inside the frame, over all frames; what is
    nearer than NEAR_BY_M is foreground, whatever its role. Blocks never in the picture are left out.
    """
    nearest = frames.view.visibility.nearest
    subjects = subject_indices(plan)
    return {
        int(index): float(nearest.depth_m[index])
        for index in np.flatnonzero(np.isfinite(nearest.depth_m))
        if plan.blocks[index].role == "foreground"
        or index in subjects
        or nearest.distance_m[index] < NEAR_BY_M
    }


@frozen(kw_only=True)
class _Advice:
    """Where to focus for all that should be sharp, and what comes of it.

    kind is hyperfocal, on-subject, between, stop-down or not-both; nearest_m how near something comes that
    should be sharp, from_m the nearest that is sharp then, and to what the farthest, infinity or the subject.
    f_number is another than the plan's only for stop-down.
    """

    kind: str
    nearest_m: float
    focus_m: float
    from_m: float
    to: str
    f_number: float


def _suggested_focus(plan: Plan, depths: dict[int, float], subjects: set[int]) -> _Advice:
    """A focus distance for all that should be sharp, stopped down where that is what it takes."""
    assert plan.exposure is not None
    camera, f_number, circle = plan.camera, plan.exposure.f_number, circle_of_confusion_mm(plan.camera)
    focal = camera.focal_length_mm
    nearest = min(depths.values(), default=math.inf)

    def advice(kind: str, focus_m: float, from_m: float, to: str = "", stopped: float = f_number) -> _Advice:
        return _Advice(kind=kind, nearest_m=nearest, focus_m=focus_m, from_m=from_m, to=to, f_number=stopped)

    def sharp_from_m(focus_m: float) -> float:
        return float(depth_of_field_m(focus_m, focal, f_number, circle)[0])

    hyper = float(hyperfocal_m(focal, f_number, circle))
    subject = max((depths[i] for i in depths if i in subjects), default=math.inf)
    if hyper <= 2.0 * nearest:
        return advice("hyperfocal", hyper, sharp_from_m(hyper), "infinity")
    if len(depths) == 1 and subject == nearest:
        return advice("on-subject", nearest, sharp_from_m(nearest), "subject")
    for far, what in ((math.inf, "infinity"), (subject, "subject")):
        focus, needed = focus_between_m(nearest, far, focal, circle) if far > nearest else (nearest, 0.0)
        if needed <= f_number * 1.001:
            return advice("between", focus, nearest, what)
    focus, needed = focus_between_m(nearest, subject, focal, circle)
    stopped = narrower_f_number(needed)
    if stopped is not None and stopped <= SMALLEST_GOOD_F_NUMBER:
        return advice(
            "stop-down", focus, nearest, "infinity" if math.isinf(subject) else "subject", stopped=stopped
        )
    focus = min(hyper, subject)
    return advice("not-both", focus, sharp_from_m(focus))


def _soft(
    plan: Plan,
    depths: dict[int, float],
    blurs: dict[int, float],
    is_subject: bool,
    sharp: tuple[float, float],
    advice: _Advice,
) -> Finding:
    worst = max(blurs, key=lambda index: blurs[index])
    px = blurs[worst] * _circle_of_confusion_px(plan)
    grave, light = (SUBJECT_STOP, SUBJECT_WARN) if is_subject else (FOREGROUND_WARN, FOREGROUND_NOTE)
    levels = ("stop", "warn") if is_subject else ("warn", "note")
    is_grave = blurs[worst] > grave
    near, far = sharp
    assert plan.exposure is not None
    subject_first = _hyperfocal(plan, advice.nearest_m) if is_subject and advice.kind == "stop-down" else None
    wanted = [advice] if subject_first is None else [subject_first, advice]
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
            blur=(px, "px"),
            others=len(blurs) - 1,
            focus=(plan.camera.focus_distance_m, "m"),
            f_number=plan.exposure.f_number,
            sharp_from=(near, "m"),
            sharp_to=(far if math.isfinite(far) else None, "m"),
            advice=advice.kind,
            nearest=(advice.nearest_m, "m"),
            better_from=(advice.from_m, "m"),
        ),
        remedies=tuple(remedy for each in wanted for remedy in _refocused(plan, depths, each)),
        blocks=tuple(block_label(plan, index) for index in blurs),
    )


def _hyperfocal(plan: Plan, nearest_m: float = math.inf) -> _Advice:
    """Where one focus can't hold the foreground too: the hyperfocal distance, for the subject alone."""
    assert plan.exposure is not None
    focal, f_number, circle = (
        plan.camera.focal_length_mm,
        plan.exposure.f_number,
        circle_of_confusion_mm(plan.camera),
    )
    hyper = float(hyperfocal_m(focal, f_number, circle))
    closest = float(depth_of_field_m(hyper, focal, f_number, circle)[0])
    return _Advice(
        kind="hyperfocal",
        nearest_m=nearest_m,
        focus_m=hyper,
        from_m=closest,
        to="infinity",
        f_number=f_number,
    )


def _in_digits(value: float, digits: int, *, up: bool) -> float:
    """So many significant digits: the next higher number where `up`, else the nearest."""
    unit = 10.0 ** (math.floor(math.log10(value)) - digits + 1)
    return float(f"{(math.ceil(value / unit - 1e-9) if up else round(value / unit)) * unit:.{digits}g}")


def _refocused(plan: Plan, depths: dict[int, float], advice: _Advice) -> list[Remedy]:
    """What to set for the advice, in as few digits as hold the blocks; none where it can't hold them."""
    assert plan.exposure is not None
    focal, circle = plan.camera.focal_length_mm, circle_of_confusion_mm(plan.camera)
    for digits in (3, 4, 5, 6):
        focus_m = _in_digits(advice.focus_m, digits, up=advice.kind == "hyperfocal")
        if 1000.0 * focus_m < NEAREST_FOCUS * focal:
            continue
        near, far = (float(d) for d in depth_of_field_m(focus_m, focal, advice.f_number, circle))
        if all(near <= depth <= far for depth in depths.values()):
            stopped = advice.f_number != plan.exposure.f_number
            changes = {"camera.focus_distance_m": focus_m}
            about = facts(
                focus=focus_m,
                hyperfocal=advice.kind == "hyperfocal",
                sharp_from=near,
                sharp_to=far if math.isfinite(far) else None,
            )
            more = {"exposure.f_number": advice.f_number} if stopped else {}
            return [Remedy(changes=changes | more, about=about)]
    return []
