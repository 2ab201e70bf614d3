"""The sentences about balance, the clock and exposure."""

from __future__ import annotations

from planner_core.light.exposure import f_number_label, iso_label, shutter_label
from planner_core.review.findings import Finding, Names, Sentences, speaks
from planner_core.words.figures import figure, frame_count, frames_text

# ---------------------------------------------------------------- balance


@speaks("day-night-balance")
def _day_night_balance(finding: Finding, names: Names) -> Sentences:
    fact = finding.fact
    day, dark, more, less = (fact(name) for name in ("day", "dark", "more", "less"))
    times = (
        f"{figure(fact('ratio'), 2)} times as much {more} as {less}"
        if min(day, dark)
        else f"no {less} at all"
    )
    return Sentences(
        f"The clip has {frame_count(day)} ({fact('day_clip'):.1f} s) of day and {dark} "
        f"({fact('dark_clip'):.1f} s) of twilight and night, {times}; about as much of both feels balanced.",
        _balance_fix(finding, names),
    )


def _balance_fix(finding: Finding, names: Names) -> str:
    better = finding.fact("better_start")
    if better is None:
        return (
            "Choose another date or a shorter shoot: with these frames and this interval no start gives 1:1."
        )
    return f"For 1:1 start at {better} instead of {finding.fact('start')}{_anchor_moved(finding, names)}."


def _anchor_moved(finding: Finding, names: Names) -> str:
    """The anchor's place that moves the whole shoot, in brackets; '' for none."""
    better = finding.fact("better_anchor_at")
    if better is None:
        return ""
    was = names.fraction(finding.fact("anchor_at"))
    return f" ({names.field('shoot.anchor.at')} {names.fraction(better)} instead of {was})"


@speaks("move-midpoint")
def _move_midpoint(finding: Finding, names: Names) -> Sentences:
    fact = finding.fact
    done = fact("done")
    return Sentences(
        f"Frame {fact('frame')}: {done * 100.0:.0f} % of the move is done at "
        f"{fact('event').replace('_', ' ')} ({fact('event_time')}); about half of it then carries day and "
        "night alike.",
        f"Start at {fact('better_start')} instead of {fact('start')}{_anchor_moved(finding, names)}, or move "
        f"{'faster' if done < 0.5 else 'slower'} before the event.",
    )


@speaks("event-missing")
def _event_missing(finding: Finding, names: Names) -> Sentences:
    fact = finding.fact
    what = " and ".join("no " + event for event in fact("missing"))
    first, last = fact("first_phase"), fact("last_phase")
    phases = f"{first} throughout" if first == last else f"from {first} to {last}"
    return Sentences(
        f"At latitude {fact('latitude'):g}° there is {what} on {fact('date')}: the sun is between "
        f"{fact('lowest'):.1f}° and {fact('highest'):.1f}° during the shoot, {phases}.",
        "Fine if that is the light you want; for a day to night choose a date on which the sun sets.",
    )


# ---------------------------------------------------------------- the clock


@speaks("clock-change")
def _clock_change(finding: Finding, names: Names) -> Sentences:
    fact = finding.fact
    by_h = fact("by")
    way = "forward" if by_h > 0.0 else "back"
    frame = fact("frame")
    when = f"before frame {frame}" if frame > 1 else "before the first frame"
    return Sentences(
        f"The clocks go {way} by {figure(abs(by_h))} h, {when}: {fact('old_time')} becomes "
        f"{fact('new_time')}. All times here have that in them.",
        "Leave the camera and the controller on one time until the end, and check by which clock your alarm "
        "goes.",
    )


@speaks("zone-odd")
def _zone_odd(finding: Finding, names: Names) -> Sentences:
    fact = finding.fact
    near = fact("nearest_zone")
    return Sentences(
        f"By the clocks of {fact('zone')} the sun at longitude {fact('longitude'):g}° stands highest at "
        f"about {fact('noon')}.",
        f"Check {names.field('site.longitude_deg')} (east is positive, west negative) and "
        f"{names.field('site.timezone')}" + (f"; {near} lies nearest to these coordinates." if near else "."),
    )


# ---------------------------------------------------------------- exposure


def settings_text(f_number: float, shutter_s: float, iso: float) -> str:
    """f/5.6, 1/125 s, ISO 100."""
    return f"{f_number_label(f_number)}, {shutter_label(shutter_s)}, {iso_label(iso)}"


def _settings(finding: Finding) -> str:
    fact = finding.fact
    nd_stops = fact("nd")
    behind = f" behind {nd_stops:g} stops of ND" if nd_stops else ""
    return settings_text(fact("f_number"), fact("shutter"), fact("iso")) + behind


def _sentence(ways: list[str], joints: str = ", or ") -> str:
    text = joints.join(ways)
    return text[0].upper() + text[1:] + "."


@speaks("exposure-short")
def _exposure_short(finding: Finding, names: Names) -> Sentences:
    assert finding.frames is not None
    head = (
        f"{frames_text(finding.frames)}: up to {finding.fact('missing'):.1f} stops darker than meant "
        f"(frame {finding.fact('worst_frame')}), "
    )
    if finding.fact("cause") == "interval":
        return _held_back(finding, names, head)
    return Sentences(f"{head}with all that the plan allows: {_settings(finding)}.", _brighter(finding, names))


def _held_back(finding: Finding, names: Names, head: str) -> Sentences:
    fact = finding.fact
    room_s = fact("room")
    leaves = f"{shutter_label(room_s)} for the exposure" if room_s is not None else "no time to expose"
    return Sentences(
        f"{head}because the interval of {fact('interval'):g} s leaves {leaves}, where "
        f"{shutter_label(fact('wanted'))} is wanted.",
        f"Lengthen {names.field('shoot.interval_s')} by {fact('longer'):.1f} s or more.",
    )


def _brighter(finding: Finding, names: Names) -> str:
    """The single changes that would each make up for it, or else what they do together."""
    fact = finding.fact
    ways = []
    if fact("less_nd") is not None:
        ways.append(f"use {fact('less_nd'):.1f} stops less ND{names.aside('exposure.nd_stops')}")
    if fact("iso_enough") is not None:
        ways.append(f"allow {iso_label(fact('iso_enough'))}{names.aside('exposure.iso_max')}")
    if fact("f_number_enough") is not None:
        ways.append(f"open to {f_number_label(fact('f_number_enough'))}")
    if fact("shutter_enough") is not None:
        note = ", with a longer interval" if fact("shutter_needs_interval") else ""
        field = names.field("exposure.shutter_max_s")
        ways.append(f"allow {shutter_label(fact('shutter_enough'))} ({field}{note})")
    if fact("darker_night"):
        ways.append(f"accept a darker night{names.aside('exposure.night_look_stops')}")
    if not ways:
        return _together(finding)
    return _sentence([", ".join(ways[:-1]), ways[-1]] if len(ways) > 1 else ways)


def _together(finding: Finding) -> str:
    fact = finding.fact
    longest = fact("longest_shutter")
    longer = f" ({longest:g} s takes a longer interval)" if fact("longest_needs_interval") else ""
    offers = [
        (fact("nd_gain"), "without the ND"),
        (fact("iso_gain"), f"to {iso_label(fact('highest_iso'))}"),
        (fact("aperture_gain"), f"to {f_number_label(fact('widest_f_number'))}"),
        (fact("shutter_gain"), f"to {shutter_label(longest)}{longer}"),
    ]
    useful = [f"{gain:.1f} {way}" for gain, way in offers if gain > 0.0]
    reach = fact("reach")
    rest = (
        "together they are enough"
        if reach >= fact("missing")
        else f"together {reach:.1f}, so the place needs light of its own, or the clip has to end earlier"
    )
    return f"No single change makes up for it. Stops to be had: {', '.join(useful) or 'none'}; {rest}."


@speaks("exposure-long")
def _exposure_long(finding: Finding, names: Names) -> Sentences:
    assert finding.frames is not None
    return Sentences(
        f"{frames_text(finding.frames)}: up to {finding.fact('over'):.1f} stops brighter than meant (frame "
        f"{finding.fact('worst_frame')}), with the least light that the plan allows in: "
        f"{_settings(finding)}.",
        _sentence(_darker(finding, names)),
    )


def _darker(finding: Finding, names: Names) -> list[str]:
    fact = finding.fact
    filter_stops, shortfall = fact("filter"), fact("shortfall")
    price = f"; that leaves the darkest frame {shortfall:.1f} stops short" if shortfall is not None else ""
    size = f"{filter_stops} stop{'s' * (filter_stops > 1)}"
    ways = [f"put {size} of ND on ({names.field('exposure.nd_stops')} {fact('nd_enough'):g}{price})"]
    if fact("f_number_enough") is not None:
        ways.append(f"stop down to {f_number_label(fact('f_number_enough'))}")
    if fact("shutter_enough") is not None:
        ways.append(f"allow {shutter_label(fact('shutter_enough'))}{names.aside('exposure.shutter_min_s')}")
    if fact("iso_enough") is not None:
        ways.append(f"allow {iso_label(fact('iso_enough'))}{names.aside('exposure.iso_min')}")
    return ways


@speaks("ramp-steep")
def _ramp_steep(finding: Finding, names: Names) -> Sentences:
    assert finding.frames is not None
    fact = finding.fact
    return Sentences(
        f"{frames_text(finding.frames)}: the exposure changes by up to {fact('step'):.2f} stop from one "
        f"frame to the next ({figure(fact('speed'), 2)} stops a minute at frame {fact('worst_frame')}, "
        f"{fact('time')}), more than the third of a stop that a camera steps by: brightness will jump.",
        f"Shorten {names.field('shoot.interval_s')} to {figure(fact('interval_enough'), 2)} s or less.",
    )
