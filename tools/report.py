"""Text for the terminal: the review and the comparison, as a person reads them."""

from __future__ import annotations

import datetime as dt
import shutil
import textwrap
from typing import Any

from planner_core.plan.text import one_line
from planner_core.review.findings import Finding, Review, sentences
from planner_core.words.figures import figure, frames_text

HEADINGS = {"stop": "Must change", "warn": "Look at", "note": "Good to know"}


def review_text(report: Review) -> str:
    """The review as paragraphs, the gravest first; then the plan in numbers."""
    width = min(shutil.get_terminal_size((100, 24)).columns, 100)
    lines = [one_line(report.title) or "Untitled plan", ""]
    for level, heading in HEADINGS.items():
        found = [finding for finding in report.findings if finding.level == level]
        if not found:
            continue
        lines.append(f"{heading} ({len(found)})")
        for finding in found:
            lines += textwrap.wrap(
                finding_text(finding), width, initial_indent="  • ", subsequent_indent="    "
            )
        lines.append("")
    if not report.findings:
        lines += ["Nothing to object to.", ""]
    lines += _summary_lines(report.summary)
    return "\n".join(lines).rstrip()


def finding_text(finding: Finding) -> str:
    """A finding as one paragraph: what it says, and what to do."""
    said = sentences(finding)
    where = frames_text(finding.frames) if finding.frames else ""
    message = said.message if said.message.startswith(where) else f"{where}: {said.message}"
    return " ".join(filter(None, [message, said.fix, f"[{finding.code}]"]))


def _summary_lines(summary: dict[str, Any]) -> list[str]:
    """The plan in numbers, a line a topic; a topic whose numbers the plan doesn't have is left out."""
    rows = []
    summary = {name: value for name, value in summary.items() if value is not None}
    for topic, tell in _TOPICS.items():
        try:
            text = tell(summary)
        except KeyError:
            continue
        if text:
            rows.append((topic, text))
    width = max((len(topic) for topic, _ in rows), default=0)
    return ["In numbers", *(f"  {topic:<{width}}  {text}" for topic, text in rows)] if rows else []


def _clock(iso: str) -> str:
    return dt.datetime.fromisoformat(iso).strftime("%H:%M")


def _when(s: dict[str, Any]) -> str:
    first = dt.datetime.fromisoformat(s["first_frame"])
    day = f"{first:%A} {first.day} {first:%B %Y}"

    def at(name: str) -> str:
        moment = dt.datetime.fromisoformat(s[name])
        return f"{moment:%H:%M}" if moment.date() == first.date() else f"{moment:%A %H:%M}"

    return (
        f"{day}: arrive {at('arrive')}, first frame {at('first_frame')}, last {at('last_frame')}, "
        f"done {at('end')} ({s['shoot_length']})"
    )


def _sun(s: dict[str, Any]) -> str:
    turn = ""
    if "turn_event" in s:
        turn = f"{s['turn_event'].replace('_', ' ')} {_clock(s['turn_local'])}, frame {s['turn_frame']}"
        if "move_share_at_event" in s:
            turn += f", {100 * s['move_share_at_event']:.0f} % of the move"
        turn += "; "
    return f"{turn}from {s['sun_altitude_first_deg']:.1f}° to {s['sun_altitude_last_deg']:.1f}°"


def _moon(s: dict[str, Any]) -> str:
    if s["moon_altitude_highest_deg"] <= 0.0:
        return "below the horizon"
    return f"{100 * s['moon_lit_fraction']:.0f} % lit, up to {s['moon_altitude_highest_deg']:.0f}° high"


def _clip(s: dict[str, Any]) -> str:
    kinds = ("day", "civil_twilight", "nautical_twilight", "astronomical_twilight", "night")
    parts = [f"{kind.replace('_', ' ')} {s[kind + '_clip_s']:.1f} s" for kind in kinds if s[kind + "_frames"]]
    clip = figure(s["clip_s"], 4)
    if s["frames"] == 1:
        return f"1 frame: {', '.join(parts)}"
    return f"{s['frames']} frames every {s['interval_s']:g} s make {clip} s: {', '.join(parts)}"


def _light(s: dict[str, Any]) -> str:
    return (
        f"EV {s['ev100_first']:.1f} to {s['ev100_last']:.1f} at ISO 100; "
        f"{figure(s['illuminance_first_lux'], 4)} to {figure(s['illuminance_last_lux'], 4)} lux by nature"
    )


def _exposure(s: dict[str, Any]) -> str:
    steps = s["setting_changes"]
    if not steps:
        return f"{s['settings_first']} throughout"
    return (
        f"{s['settings_first']} to {s['settings_last']} in {steps} step{'s' * (steps > 1)}; steepest "
        f"{s['steepest_ramp_stops_per_min']:.2f} stops a minute at frame {s['steepest_ramp_frame']}"
    )


def _rig(s: dict[str, Any]) -> str:
    travel = (("slide", "m"), ("pan", "°"), ("tilt", "°"))
    keys = {"slide": "slide_travel_m", "pan": "pan_travel_deg", "tilt": "tilt_travel_deg"}
    moved = [
        f"{name} {figure(s[keys[name]], 4)} {unit}".replace(" °", "°")
        for name, unit in travel
        if s.get(keys[name])
    ]
    needs = (
        f"; the interval could be {s['shortest_interval_s']:.1f} s"
        if s.get("shortest_interval_s") and s["frames"] > 1
        else ""
    )
    return (", ".join(moved) or "nothing moves") + needs


def _on_screen(s: dict[str, Any]) -> str:
    parts = [
        f"{role} {s[role + '_px_a_frame']:.1f} px a frame ({s[role + '_speed']})"
        for role in ("foreground", "subject", "background")
        if s.get(role + "_px_a_frame") is not None
    ]
    return ", ".join(parts)


def _picture(s: dict[str, Any]) -> str:
    score = f"{100 * s['weakest_score']:.0f} of 100"
    return f"weakest at frame {s['weakest_frame']} ({score}): {s['weakest_part']}"


def _sharpness(s: dict[str, Any]) -> str:
    far = f"to {s['far_sharp_m']:.1f} m" if "far_sharp_m" in s else "on"
    return f"from {s['near_sharp_m']:.2f} m {far}; hyperfocal distance {s['hyperfocal_m']:.2f} m"


_TOPICS = {
    "when": _when,
    "sun": _sun,
    "moon": _moon,
    "clip": _clip,
    "light": _light,
    "exposure": _exposure,
    "rig": _rig,
    "on screen": _on_screen,
    "picture": _picture,
    "sharp": _sharpness,
}


def comparison_text(comparison: Any) -> str:
    """The ranked candidates, a line and a sentence each."""
    return "\n".join(comparison.lines())
