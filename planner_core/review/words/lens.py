"""The sentences about the clip's pixels, stars and focus."""

from __future__ import annotations

import math

from planner_core.light.exposure import f_number_label
from planner_core.review.findings import Finding, Names, Sentences, speaks
from planner_core.words.figures import figure


@speaks("clip-enlarged")
def _clip_enlarged(finding: Finding, names: Names) -> Sentences:
    fact = finding.fact
    return Sentences(
        f"The clip of {fact('clip_width')} × {fact('clip_height')} px takes {fact('image_width'):.0f} × "
        f"{fact('image_height'):.0f} px of the camera's image and enlarges them {figure(fact('factor'))} "
        "times: it comes out soft.",
        otherwise="Take a camera with more pixels.",
    )


@speaks("star-trails")
def _star_trails(finding: Finding, names: Names) -> Sentences:
    fact = finding.fact
    shutter_s, points_s = fact("shutter"), fact("shutter_enough")
    return Sentences(
        f"stars drift up to {fact('drift'):.1f} px while the shutter is open "
        f"for {figure(shutter_s)} s (frame {fact('worst_frame')}); up to {fact('point'):.1f} px they read as "
        f"points. The rule of 500 gives {fact('rule_of_500'):.0f} s here.",
        "Or let them trail, with as little time as can be between the frames.",
        otherwise=f"Points take {figure(points_s, 2)} s, {math.log2(shutter_s / points_s):.1f} stops less "
        "light: a lens that opens wider, or a shorter one.",
    )


@speaks("stars-soft")
def _stars_soft(finding: Finding, names: Names) -> Sentences:
    assert finding.value is not None
    fact = finding.fact
    return Sentences(
        f"the stars are out of focus, blurred over {finding.value:.1f} px: "
        f"with the focus at {fact('focus'):g} m and {f_number_label(fact('f_number'))} the picture is sharp "
        f"to {figure(fact('sharp_to'))} m.",
        otherwise="Focus on the stars, and keep what is near out of the picture or soft.",
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
        otherwise=_not_both(finding) if finding.fact("advice") == "not-both" else "",
    )


def _not_both(finding: Finding) -> str:
    fact = finding.fact
    return (
        f"No usable f-number holds {figure(fact('nearest'), 2)} m and the distance both: give one up, "
        f"or set up so that nothing that has to be sharp is nearer than {figure(fact('better_from'), 2)} m."
    )
