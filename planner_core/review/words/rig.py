"""Sentences about rig and move."""

from __future__ import annotations

from planner_core.picture.speed import LEAST_PX, px_text, speed_word
from planner_core.review.findings import Finding, Names, Sentences, speaks
from planner_core.review.words.phrases import (
    amount_text,
    exact,
    limit,
    measured,
    quoted,
    rate_text,
)
from planner_core.words.figures import figure, frame_count, percent


def _speed_text(px_per_frame: float, frame_widths_s: float) -> str:
    text = px_text(px_per_frame)
    return text if px_per_frame < LEAST_PX else f"{text}, {figure(frame_widths_s, 2)} frame widths a second"


def _role_text(finding: Finding) -> str:
    """'the foreground (“bollard 2”, 0.9 m away)'."""
    role, block = finding.fact("role"), finding.fact("block")
    if not block:
        return f"the {role}"
    return f"the {role} ({quoted(block)}, {amount_text(finding.fact('distance'), 'm')} away)"


# ---------------------------------------------------------------- where the axes go


@speaks("axis-range")
def _axis_range(finding: Finding, names: Names) -> Sentences:
    fact, unit, value = finding.fact, finding.unit, measured(finding)
    axis, field, pose = fact("axis"), fact("field"), fact("pose")
    span = f"range of {exact(fact('low'), unit)} to {exact(fact('high'), unit)}"
    if pose is None:
        return Sentences(
            f"No pose gives {names.field(field)}, so the {axis} rests at {exact(value, unit)}, outside its "
            f"{span}.",
            otherwise=f"Give {names.field(field)} in the first pose.",
            complete=True,
        )
    direction = "less" if value > limit(finding) else "more"
    return Sentences(
        f"{names.field(f'move.poses[{pose}].{field}')}: {exact(value, unit)} is outside the {axis}'s {span}.",
        otherwise=f"It has to be {exact(limit(finding), unit)} or {direction}.",
        complete=True,
    )


@speaks("rail-slope")
def _rail_slope(finding: Finding, names: Names) -> Sentences:
    carriage = "most carriages climb." if finding.fact("usual") else "its carriage is good for."
    return Sentences(
        f"The rail slopes by {measured(finding):g}°, more than the {limit(finding):g}° that {carriage}",
        otherwise=f"Lower its upper end{names.aside('rig.incline_deg')}.",
    )


# ---------------------------------------------------------------- time


@speaks("interval-too-short")
def _interval(finding: Finding, names: Names) -> Sentences:
    return _no_room_for_the_longest(finding, names) if finding.level == "warn" else _too_short(finding, names)


def _too_short(finding: Finding, names: Names) -> Sentences:
    fact = finding.fact
    faster = "" if fact("exposure") is not None else ", or write faster"
    return Sentences(
        f"the interval of {limit(finding):g} s is too short for "
        f"{frame_count(fact('late_frames'))}; frame {fact('worst_frame')} needs "
        f"{figure(measured(finding))} s ({_time_spent(finding)}).",
        otherwise=f"Move less from frame to frame{faster}.",
    )


def _time_spent(finding: Finding) -> str:
    fact = finding.fact
    exposure, writing, move, settling = (fact(name) for name in ("exposure", "writing", "move", "settling"))
    parts = [] if exposure is None else [f"exposure {figure(exposure)} s"]
    parts += [f"writing {writing:g} s"] if writing else []
    parts += [] if move is None else [f"move {figure(move, 2)} s"]
    parts += [f"settling {settling:g} s"] if settling else []
    return " + ".join(parts)


def _no_room_for_the_longest(finding: Finding, names: Names) -> Sentences:
    fact, shutter_max = finding.fact, "exposure.shutter_max_s"
    return Sentences(
        f"the longest exposure, {fact('longest'):g} s{names.aside(shutter_max)}, doesn't fit "
        f"the interval of {limit(finding):g} s, which leaves {figure(fact('room'))} s. By the light as "
        "computed no frame needs it; under cloud one may.",
    )


@speaks("axis-speed")
def _axis_speed(finding: Finding, names: Names) -> Sentences:
    return (_driven if finding.fact("drive") == "continuous" else _stepped)(finding, names)


def _stepped(finding: Finding, names: Names) -> Sentences:
    fact = finding.fact
    distance = next(quantity for quantity in finding.facts if quantity.name == "distance")
    value, unit = distance.value, distance.unit
    return Sentences(
        f"the {fact('axis')} takes {figure(measured(finding))} s for the "
        f"{amount_text(value, unit)} from frame {fact('worst_frame')} to the next (up to "
        f"{exact(fact('max_speed'), unit)}/s and {exact(fact('max_acceleration'), unit)}/s²); the "
        f"interval leaves {figure(limit(finding))} s, without any exposure.",
        otherwise="Move less, use more frames, or use a faster motor.",
    )


def _driven(finding: Finding, names: Names) -> Sentences:
    fact = finding.fact
    does = "moves at" if fact("of") == "speed" else "speeds up or slows down by"
    return Sentences(
        f"the {fact('axis')} {does} up to {rate_text(measured(finding), finding.unit)} "
        f"(frame {fact('worst_frame')}); its motor gives {exact(limit(finding), finding.unit)}.",
        otherwise="Move less, or give the move more ease.",
    )


@speaks("step-coarse")
def _step_coarse(finding: Finding, names: Names) -> Sentences:
    fact = finding.fact
    unit = "m" if fact("axis") == "slide" else "°"
    skipped = fact("skipped_frames")
    stands = f", and it can't move on at all after {skipped} of the frames" if skipped else ""
    return Sentences(
        f"The {fact('axis')} moves in steps of {amount_text(fact('step'), unit)}, from frame to frame by "
        f"about {amount_text(fact('frame_to_frame'), unit)}: the picture stutters by up to "
        f"{figure(measured(finding), 2)} px (frame {fact('worst_frame')}){stands}.",
        f"Use a gear that gives the {fact('axis')} steps of {amount_text(fact('fine_step'), unit)} or "
        "less, or stabilise the clip afterwards.",
        complete=True,
    )


# ---------------------------------------------------------------- speed on screen


@speaks("screen-speed")
def _screen_speed(finding: Finding, names: Names) -> Sentences:
    return _creeping(finding) if finding.level == "note" else _too_fast(finding)


def _too_fast(finding: Finding) -> Sentences:
    fact, widths = finding.fact, measured(finding)
    return Sentences(
        f"too fast to look at: {_role_text(finding)} crosses the picture at "
        f"{_speed_text(fact('speed'), widths)} (frame {fact('worst_frame')}), a whole width in "
        f"{figure(1.0 / widths, 2)} s; {1.0 / limit(finding):.0f} s or more reads well.",
        fix=_whole_rail_remark(finding) if finding.remedies else "",
        otherwise=_slower(finding),
    )


def _slower(finding: Finding) -> str:
    fact = finding.fact
    calm = figure(fact("calm"), 2)
    if fact("reduced") == "turn":
        return f"It takes a turn by about {calm}° instead of {figure(fact('now'))}° to be calm."
    travel = f"{amount_text(float(calm), 'm')} of travel instead of {amount_text(fact('now'), 'm')}"
    return f"It takes about {travel} to be calm."


def _whole_rail_remark(finding: Finding) -> str:
    return "A part of the rail is enough for this picture." if finding.fact("whole_rail") else ""


def _creeping(finding: Finding) -> Sentences:
    widths = measured(finding)
    near = "Bring something near into the picture, up to two metres from the lens"
    return Sentences(
        f"The picture hardly moves: its fastest part is {_role_text(finding)} at "
        f"{_speed_text(finding.fact('speed'), widths)}, {speed_word(widths)}.",
        f"{near if finding.fact('slides') else 'Turn farther'}, or take fewer frames.",
    )


@speaks("travel-unused")
def _travel_unused(finding: Finding, names: Names) -> Sentences:
    used, length = measured(finding), finding.fact("rail")
    if finding.fact("unused"):
        return Sentences(
            f"The rig has a rail of {amount_text(length, 'm')}, and the move leaves it unused.",
            "Shoot it without the rail, or slide past something within two metres of the lens.",
        )
    return Sentences(
        f"The move uses {amount_text(used, 'm')} of {amount_text(length, 'm')} of rail "
        f"({percent(used / length)}), and nothing in the picture moves faster than "
        f"{_speed_text(finding.fact('speed'), finding.fact('widths'))}.",
        f"All of the rail would give {figure(length / used, 2)} times that; {names.fit('travel')} finds the "
        "length.",
    )


@speaks("travel-whole")
def _travel_whole(finding: Finding, names: Names) -> Sentences:
    used, length = measured(finding), finding.fact("rail")
    all_of = "all" if used > 0.995 * length else f"{percent(used / length)}"
    return Sentences(
        f"The move uses {all_of} of the {amount_text(length, 'm')} of rail, and slides past nothing near. "
        "That much travel adds little to this picture.",
        "Lay the rail beside something close, up to two metres from the lens, and let "
        f"{names.fit('travel')} choose the length.",
    )


@speaks("motion-blur")
def _motion_blur(finding: Finding, names: Names) -> Sentences:
    fact, front = finding.fact, finding.fact("foreground_blur")
    near = "" if front is None else f" (the foreground by up to {figure(front, 2)} px)"
    return Sentences(
        f"the rig moves while the shutter is open and smears {_role_text(finding)} by up to "
        f"{figure(measured(finding), 2)} px{near} at {figure(fact('shutter'), 2)} s (frame "
        f"{fact('worst_frame')}).",
        otherwise=f"It takes an exposure of {figure(fact('short_enough'), 2)} s at most, or a rig that rests "
        "while the shutter is open.",
    )


# ---------------------------------------------------------------- the rig in its own picture


@speaks("rail-in-frame")
def _rail_in_frame(finding: Finding, names: Names) -> Sentences:
    fact = finding.fact
    return Sentences(
        f"the {fact('part')} itself is in the picture, most of it in frame "
        f"{fact('most_frame')} ({amount_text(fact('nearest'), 'm')} ahead at the nearest), "
        f"{figure(measured(finding), 2)}° inside the edge.",
        otherwise="Raise the head, or lay the rail so that its end stays behind the camera.",
    )


@speaks("rig-shadow")
def _rig_shadow(finding: Finding, names: Names) -> Sentences:
    return Sentences(
        f"with the sun behind, {finding.fact('sun_altitude'):.1f}° high in frame "
        f"{finding.fact('first_frame')}, the shadow of camera and rig lies on the ground in the picture, "
        f"from {amount_text(measured(finding), 'm')} ahead.",
        otherwise="Frame the ground out, set the rig up lower or in the shade, or start later.",
    )


# ---------------------------------------------------------------- what to bring and why


@speaks("no-reason")
def _no_reason(finding: Finding, names: Names) -> Sentences:
    return Sentences(
        "The plan doesn't say why this shot moves.",
        f'Write it down under "{names.field("reason")}": what the move shows that a still shot would not. If '
        "there is nothing, keep the camera still.",
    )
