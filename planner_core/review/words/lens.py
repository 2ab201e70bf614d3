"""The sentences about the clip's pixels, stars and focus."""

from __future__ import annotations

import math

from planner_core.light.exposure import f_number_label
from planner_core.review.findings import Finding, Names, Sentences, speaks
from planner_core.words.figures import figure, frames_text


@speaks("clip-enlarged")
def _clip_enlarged(finding: Finding, names: Names) -> Sentences:
    fact = finding.fact
    return Sentences(
        f"The clip of {fact('clip_width')} × {fact('clip_height')} px takes {fact('image_width'):.0f} × "
        f"{fact('image_height'):.0f} px of the camera's image and enlarges them {figure(fact('factor'))} "
        "times: it comes out soft.",
        f"Deliver {fact('width_enough')} × {fact('height_enough')} px, or take a camera with more pixels.",
    )


@speaks("star-trails")
def _star_trails(finding: Finding, names: Names) -> Sentences:
    assert finding.frames is not None
    fact = finding.fact
    shutter_s, points_s = fact("shutter"), fact("shutter_enough")
    return Sentences(
        f"{frames_text(finding.frames)}: stars drift up to {fact('drift'):.1f} px while the shutter is open "
        f"for {figure(shutter_s)} s (frame {fact('worst_frame')}); up to {fact('point'):.1f} px they read as "
        f"points. The rule of 500 gives {fact('rule_of_500'):.0f} s here.",
        f"For points hold {names.field('exposure.shutter_max_s')} at {figure(points_s, 2)} s and win "
        f"{math.log2(shutter_s / points_s):.1f} stops by ISO or a wider aperture.",
    )


@speaks("focus-depth")
def _focus_depth(finding: Finding, names: Names) -> Sentences:
    fact = finding.fact
    far = fact("sharp_to")
    reach = f"from {figure(fact('sharp_from'))} m" + (f" to {figure(far)} m" if far is not None else " on")
    others = f" and {fact('others')} more are" if fact("others") else " is"
    return Sentences(
        f"“{fact('block')}” ({fact('role')}, {figure(fact('distance'))} m away){others} out of focus, "
        f"blurred over {fact('blur'):.1f} px: with the focus at {fact('focus'):g} m and "
        f"{f_number_label(fact('f_number'))} the picture is sharp {reach}.",
        _focus_fix(finding),
    )


def _focus_fix(finding: Finding) -> str:
    fact = finding.fact
    text = _FOCUS_ADVICE[fact("advice")](finding)
    if fact("subject_first_focus") is None:
        return text
    return (
        f"Focus at {figure(fact('subject_first_focus'))} m, the hyperfocal distance at "
        f"{f_number_label(fact('f_number'))}: sharp from {figure(fact('subject_first_from'), 2)} m on, the "
        f"foreground softer. For both: {text[0].lower()}{text[1:]}"
    )


def _hyperfocal(finding: Finding) -> str:
    fact = finding.fact
    return (
        f"Focus at {figure(fact('better_focus'))} m, the hyperfocal distance at "
        f"{f_number_label(fact('f_number'))}: sharp from {figure(fact('better_from'), 2)} m to infinity."
    )


def _on_subject(finding: Finding) -> str:
    return f"Focus at {figure(finding.fact('better_focus'))} m, on the subject."


def _between(finding: Finding) -> str:
    fact = finding.fact
    return (
        f"Focus at {figure(fact('better_focus'))} m: sharp from {figure(fact('better_from'), 2)} m to "
        f"{_far(finding)} at {f_number_label(fact('f_number'))}."
    )


def _stop_down(finding: Finding) -> str:
    fact = finding.fact
    stopped = fact("better_f_number")
    return (
        f"Focus at {figure(fact('better_focus'))} m and stop down to {f_number_label(stopped)} "
        f"({2.0 * math.log2(stopped / fact('f_number')):.1f} stops less light): sharp from "
        f"{figure(fact('better_from'), 2)} m to {_far(finding)}."
    )


def _not_both(finding: Finding) -> str:
    fact = finding.fact
    return (
        f"No usable f-number holds {figure(fact('nearest'), 2)} m and the distance both: focus at "
        f"{figure(fact('better_focus'))} m and keep everything that should be sharp beyond "
        f"{figure(fact('better_from'), 2)} m."
    )


def _far(finding: Finding) -> str:
    return "the subject" if finding.fact("better_to") == "subject" else "infinity"


_FOCUS_ADVICE = {
    "hyperfocal": _hyperfocal,
    "on-subject": _on_subject,
    "between": _between,
    "stop-down": _stop_down,
    "not-both": _not_both,
}
