"""Text for the terminal: the review and the comparison, as a person reads them."""

from __future__ import annotations

import datetime as dt
import re
import shutil
import textwrap
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from planner_core.plan.changes import differences
from planner_core.plan.model import Plan
from planner_core.plan.text import one_line
from planner_core.review.findings import Finding, Quantity, Review, finding_dict, sentences
from planner_core.review.summary import Summary
from planner_core.words.figures import figure

if TYPE_CHECKING:
    from planner_core.fit.result import Fit
    from planner_core.moves.compare import Comparison

HEADINGS = {"stop": "Must change", "warn": "Look at", "note": "Good to know"}


def review_text(report: Review) -> str:
    """The review as paragraphs, the gravest first; then the plan in numbers."""
    width = min(shutil.get_terminal_size((100, 24)).columns, 100)
    lines = [one_line(report.title) or "Untitled plan", ""]
    for level, heading in HEADINGS.items():
        of_level = [finding for finding in report.findings if finding.level == level]
        if not of_level:
            continue
        lines.append(f"{heading} ({len(of_level)})")
        for finding in of_level:
            lines += textwrap.wrap(
                finding_text(finding),
                width,
                initial_indent="  • ",
                subsequent_indent="    ",
                break_on_hyphens=False,  # a code is searched for as one word
            )
        lines.append("")
    if not report.findings:
        lines += ["No problems found.", ""]
    lines += _summary_lines(report.summary)
    return "\n".join(lines).rstrip()


def finding_text(finding: Finding) -> str:
    """A finding as one paragraph: what it says, and what to do."""
    said = sentences(finding)
    return " ".join(filter(None, [said.after_frames, said.fix, f"[{finding.code}]"]))


def fits_dict(before: Plan, fits: Sequence[Fit]) -> dict[str, Any]:
    """What fits made of a plan, as plain values for JSON."""
    from planner_core.fit.everything import FitAll

    everything = [fitted for fitted in fits if isinstance(fitted, FitAll)]
    return {
        "said": [sentence for fitted in fits for sentence in fitted.said],
        "changes": differences(before, fits[-1].plan),
        "steps": [
            {
                "code": step.code,
                "text": step.text,
                "changes": dict(step.remedy.changes),
                "cost": _cost_list(step.remedy.cost),
            }
            for fitted in everything
            for step in fitted.steps
        ],
        "cost": [each for fitted in everything for each in _cost_list(fitted.cost)],
        "left": [finding_dict(finding) for fitted in everything for finding in fitted.left],
    }


def _cost_list(cost: Sequence[Quantity]) -> list[dict[str, Any]]:
    return [{"name": each.name, "value": each.value, "unit": each.unit} for each in cost]


def _summary_lines(summary: Summary) -> list[str]:
    """The plan in numbers, a line a topic; a topic whose numbers the plan doesn't have is left out."""
    texts = {topic: tell(summary) for topic, tell in _TOPICS.items()}
    width = max(len(topic) for topic, text in texts.items() if text)
    return ["In numbers", *(f"  {topic:<{width}}  {_minus(text)}" for topic, text in texts.items() if text)]


def _minus(text: str) -> str:
    """A text whose negative numbers have a minus sign, not a hyphen."""
    return re.sub(r"(?<![\w-])-(?=\d)", "−", text)


def _when(summary: Summary) -> str:
    rig = summary.rig
    first = dt.datetime.fromisoformat(rig.first_frame)
    ends = (dt.datetime.fromisoformat(rig.arrive), dt.datetime.fromisoformat(rig.end))
    clocks_change = ends[0].utcoffset() != ends[1].utcoffset()

    def at(local: str) -> str:
        moment = dt.datetime.fromisoformat(local)
        told = f"{moment:%H:%M}" if moment.date() == first.date() else f"{moment:%A %H:%M}"
        return f"{told} {(moment.tzname() or '').replace('-', '−')}" if clocks_change else told

    return (
        f"{first:%A} {first.day} {first:%B %Y}: arrive {at(rig.arrive)}, first frame {at(rig.first_frame)}, "
        f"last {at(rig.last_frame)}, done {at(rig.end)} ({rig.shoot_length})"
    )


def _sun(summary: Summary) -> str:
    light, turn = summary.light.light, summary.light.turn
    span = f"from {light.sun_altitude_first_deg:.1f}° to {light.sun_altitude_last_deg:.1f}°"
    if turn is None:
        return span
    clock = dt.datetime.fromisoformat(turn.turn_local).strftime("%H:%M")
    text = f"{turn.turn_event.replace('_', ' ')} {clock}, frame {turn.turn_frame}"
    if turn.move_share_at_event is not None:
        text += f", {100 * turn.move_share_at_event:.0f} % of the move"
    return f"{text}; {span}"


def _moon(summary: Summary) -> str:
    light = summary.light.light
    if light.moon_altitude_highest_deg <= 0.0:
        return "below the horizon"
    text = f"{100 * light.moon_lit_fraction:.0f} % lit, up to {light.moon_altitude_highest_deg:.0f}° high"
    seen = summary.light.moon.moon_in_picture_frames
    return text if seen is None else f"{text}; in the picture in frames {seen[0]} to {seen[1]}"


def _milky_way(summary: Summary) -> str:
    galaxy = summary.light.galaxy
    if galaxy is None:
        return ""
    height = galaxy.galactic_centre_highest_deg
    if height <= 0.0:
        return "its middle stays below the horizon"
    return f"its middle stands up to {height:.0f}° high, then at {galaxy.galactic_centre_azimuth_deg:.0f}°"


def _clip(summary: Summary) -> str:
    balance, rig = summary.light.balance, summary.rig
    phases = {
        "day": balance.day,
        "civil twilight": balance.civil_twilight,
        "nautical twilight": balance.nautical_twilight,
        "astronomical twilight": balance.astronomical_twilight,
        "night": balance.night,
    }
    parts = ", ".join(f"{name} {length.clip_s:.1f} s" for name, length in phases.items() if length.frames)
    if rig.frames == 1:
        return f"1 frame: {parts}"
    return f"{rig.frames} frames every {rig.interval_s:g} s make {figure(rig.clip_s, 4)} s: {parts}"


def _light(summary: Summary) -> str:
    light = summary.light.light
    return (
        f"EV {light.ev100_first:.1f} to {light.ev100_last:.1f} at ISO 100; "
        f"{figure(light.illuminance_first_lux, 4)} to {figure(light.illuminance_last_lux, 4)} lux by nature"
    )


def _meter(summary: Summary) -> str:
    ramp = summary.light.exposure
    if ramp is None:
        return ""
    first, last = ramp.metered_ev100_first, ramp.metered_ev100_last
    return f"{_METERED[ramp.meter]}: EV {first:.1f} to {last:.1f} at ISO 100"


def _exposure(summary: Summary) -> str:
    ramp = summary.light.exposure
    if ramp is None:
        return ""
    steps = ramp.setting_changes
    if not steps:
        return f"{ramp.settings_first} throughout"
    return (
        f"{ramp.settings_first} to {ramp.settings_last} in {steps} step{'s' * (steps > 1)}; steepest "
        f"{ramp.steepest_ramp_stops_per_min:.2f} stops a minute at frame {ramp.steepest_ramp_frame}"
    )


def _rig(summary: Summary) -> str:
    rig = summary.rig
    moved = [
        f"{name} {figure(travel, 4)}{unit}"
        for name, travel, unit in (
            ("slide", rig.slide_travel_m, " m"),
            ("pan", rig.pan_travel_deg, "°"),
            ("tilt", rig.tilt_travel_deg, "°"),
        )
        if travel
    ]
    could_be = rig.shortest_interval_s if rig.frames > 1 else 0.0
    needs = f"; the interval could be {could_be:.1f} s" if could_be else ""
    return (", ".join(moved) or "nothing moves") + needs


def _on_screen(summary: Summary) -> str:
    roles = {
        "foreground": summary.rig.foreground,
        "subject": summary.rig.subject,
        "background": summary.rig.background,
    }
    return ", ".join(
        f"{role} {moves.px_a_frame:.1f} px a frame ({moves.speed})" for role, moves in roles.items() if moves
    )


def _picture(summary: Summary) -> str:
    picture = summary.picture
    if picture.weakest_score is None:
        return ""
    score = f"{100 * picture.weakest_score:.0f} of 100"
    return f"weakest at frame {picture.weakest_frame} ({score}): {picture.weakest_part}"


def _sharpness(summary: Summary) -> str:
    focus = summary.light.focus
    if focus is None:
        return ""
    far = "on" if focus.far_sharp_m is None else f"to {focus.far_sharp_m:.1f} m"
    return f"from {focus.near_sharp_m:.2f} m {far}; hyperfocal distance {focus.hyperfocal_m:.2f} m"


_METERED = {
    "ground": "the light on level ground",
    "picture": "the picture's average",
    "sky": "the brightest tenth of the sky, kept under white",
    "subject": "the subject's face",
}
_TOPICS = {
    "when": _when,
    "sun": _sun,
    "moon": _moon,
    "milky way": _milky_way,
    "clip": _clip,
    "light": _light,
    "metered": _meter,
    "exposure": _exposure,
    "rig": _rig,
    "on screen": _on_screen,
    "picture": _picture,
    "sharp": _sharpness,
}


def comparison_text(comparison: Comparison) -> str:
    """The ranked candidates, a line and a sentence each."""
    return "\n".join(comparison.lines())
