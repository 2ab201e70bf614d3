"""Findings about photographs of the place: where they show the subject, against where the plan has it.

| finding | warn |
|---|---|
| `photo-differs`, the subject's bearing, degrees | 0.5 |

Half a degree is the sun's width: by that the plan would have it set behind something else.
"""

from __future__ import annotations

from planner_core.photo.check import PinCheck, check_photo
from planner_core.photo.pins import pinned_block
from planner_core.place.blocking import subject_parts
from planner_core.plan.model import Photo, Pin, Plan, PlanError
from planner_core.review.findings import Finding, facts

DIFFERS_WARN_DEG = 0.5


def photo_findings(plan: Plan) -> list[Finding]:
    """What the pinned photographs say against the plan: the worst pin on the subject, and lost pins."""
    findings = []
    for photo in plan.photos:
        lost = [number for number, pin in enumerate(photo.pins) if not _is_there(plan, photo, pin)]
        if lost:
            findings.append(_lost(photo, lost))
            continue
        worst = _worst_on_subject(plan, photo)
        if worst is not None and abs(worst.bearing_off_deg) > DIFFERS_WARN_DEG:
            findings.append(_differs(worst))
    return findings


def _is_there(plan: Plan, photo: Photo, pin: Pin) -> bool:
    """Whether what is pinned can be placed: its block is there, its photograph has a time for a disc."""
    if pin.disc:
        return photo.taken is not None
    try:
        return not pin.block or pinned_block(plan, pin, "pin") is not None
    except PlanError:
        return False


def _worst_on_subject(plan: Plan, photo: Photo) -> PinCheck | None:
    names = {plan.blocks[index].name for index in subject_parts(plan)}
    of_subject = [one for one in check_photo(plan, photo) if one.pin.block in names and one.pin.block]
    return max(of_subject, key=lambda one: abs(one.bearing_off_deg), default=None)


def _differs(worst: PinCheck) -> Finding:
    return Finding(
        code="photo-differs",
        level="warn",
        value=abs(worst.bearing_off_deg),
        limit=DIFFERS_WARN_DEG,
        unit="deg",
        facts=facts(
            photo=worst.photo,
            block=worst.pin.block,
            right=worst.bearing_off_deg > 0.0,
            off_px=worst.off_px,
        ),
        blocks=(worst.pin.block,),
    )


def _lost(photo: Photo, lost: list[int]) -> Finding:
    pin = photo.pins[lost[0]]
    return Finding(
        code="photo-pin-lost",
        level="note",
        value=float(len(lost)),
        facts=facts(photo=photo.file, number=lost[0] + 1, block=pin.block or None, disc=pin.disc or None),
    )
