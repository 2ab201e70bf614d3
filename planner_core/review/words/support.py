"""The sentences about head and stand, card and battery."""

from __future__ import annotations

from planner_core.light.exposure import shutter_label
from planner_core.review.findings import Finding, Names, Sentences, speaks
from planner_core.review.words.phrases import limit, measured
from planner_core.words.figures import figure, frame_count

LITTLE_DEG = 0.3  # less isn't worth a word


@speaks("head-level")
def _head_level(finding: Finding, names: Names) -> Sentences:
    fact = finding.fact
    slope = fact("slope")
    return Sentences(
        f"The rail {'rises' if slope > 0.0 else 'falls'} by {figure(abs(slope))}°, and the plan counts on a "
        f"head that stands level on it. Screwed flat to the carriage, {_off_level(finding)}.",
        "Put a levelling base or a ball head under the pan axis, and check with a spirit level at both ends "
        "of the rail.",
    )


def _off_level(finding: Finding) -> str:
    fact = finding.fact
    leans = f"the horizon leans by up to {fact('lean'):.1f}° (frame {fact('worst_frame')})"
    nods = f"the lens looks up to {fact('nod'):.1f}° too {'high' if fact('nods_up') else 'low'}"
    parts = [leans] if fact("lean") >= LITTLE_DEG else []
    return " and ".join([*parts, nods] if fact("nod") >= LITTLE_DEG else parts)


@speaks("wind-shake")
def _wind_shake(finding: Finding, names: Names) -> Sentences:
    fact = finding.fact
    rail = ", with a stand under the middle of the rail" if fact("on_rail") else ""
    return Sentences(
        f"at {fact('focal_length'):g} mm and exposures up to "
        f"{shutter_label(fact('shutter'))}, a breeze is enough to smear the picture: a sway of "
        f"{3600.0 * fact('sway'):.0f}″ is {figure(measured(finding), 2)} px.",
        f"Set up low and in the lee, weigh the tripod down{rail}, and leave off the lens hood and whatever "
        "else catches the wind.",
    )


@speaks("card-space")
def _card_space(finding: Finding, names: Names) -> Sentences:
    fact = finding.fact
    count, full = fact("frames"), fact("full_after")
    head = (
        f"{frame_count(count)} of {fact('frame_size'):g} MB fill{'s' * (count == 1)} "
        f"{figure(measured(finding))} GB"
    )
    if full is not None:
        when = f" after frame {full} ({fact('full_time')})" if full else " at once"
        return Sentences(
            f"{head}; the card of {limit(finding):g} GB{names.aside('camera.card_gb')} is full{when}.",
            otherwise="Bring a larger card.",
            complete=True,
        )
    if finding.level == "warn":
        return Sentences(
            f"{head}, more than a card of {limit(finding):g} GB holds.",
            "Bring two cards or a camera that writes to both, or take fewer frames.",
        )
    if fact("card") is not None:
        return Sentences(f"{head} of the {fact('card'):g} GB card.", "Bring it empty.")
    return Sentences(f"{head}.", "Bring an empty card with room to spare.")


@speaks("battery-short")
def _battery_short(finding: Finding, names: Names) -> Sentences:
    fact = finding.fact
    count = fact("count")
    return Sentences(
        f"A battery lasts for {frame_count(fact('lasts'))}{names.aside('camera.battery_frames')}, fewer in "
        f"the cold: it is empty at {fact('empty_time')}, with {measured(finding) - fact('lasts'):.0f} frames "
        "to go.",
        f"Feed the camera from outside, or bring {count} batteries and a grip that holds "
        f"{'both' if count == 2 else 'more than one'}: nobody changes one without moving the camera.",
        complete=True,
    )
