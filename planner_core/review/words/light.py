"""The sentences about balance, the clock and exposure."""

from __future__ import annotations

from planner_core.light.exposure import f_number_label, iso_label, shutter_label
from planner_core.review.findings import Finding, Names, Sentences, speaks
from planner_core.words.figures import figure, frame_count

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
        f"({fact('dark_clip'):.1f} s) of twilight and night, {times}; equal parts of both feel balanced.",
        otherwise="Another date or a shorter shoot would come closer to equal parts.",
    )


@speaks("move-midpoint")
def _move_midpoint(finding: Finding, names: Names) -> Sentences:
    fact = finding.fact
    done = fact("done")
    return Sentences(
        f"{done * 100.0:.0f} % of the move is done at "
        f"{fact('event').replace('_', ' ')} ({fact('event_time')}); both parts of the clip gain when "
        "about half of it is done by then.",
        otherwise=f"An extra pose lets the move go {'faster' if done < 0.5 else 'slower'} up to there.",
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
    direction = "forward" if by_h > 0.0 else "back"
    frame = fact("frame")
    when = f"before frame {frame}" if frame > 1 else "before the first frame"
    return Sentences(
        f"The clocks go {direction} by {figure(abs(by_h))} h, {when}: {fact('old_time')} becomes "
        f"{fact('new_time')}. All times given here allow for it.",
        "Don't change the clocks of camera and controller until the end, and check which time your alarm "
        "follows.",
        complete=True,
    )


@speaks("zone-odd")
def _zone_odd(finding: Finding, names: Names) -> Sentences:
    fact = finding.fact
    near = fact("nearest_zone")
    return Sentences(
        f"In {fact('zone')} time, the sun at longitude {fact('longitude'):g}° stands highest at "
        f"about {fact('noon')}.",
        otherwise=f"Check {names.field('site.longitude_deg')} (east is positive, west negative) and "
        f"{names.field('site.timezone')}" + (f"; {near} lies nearest to these coordinates." if near else "."),
    )


@speaks("sign-odd")
def _sign_odd(finding: Finding, names: Names) -> Sentences:
    fact = finding.fact
    north_east = "north" if fact("coordinate") == "latitude" else "east"
    south_west = "south" if fact("coordinate") == "latitude" else "west"
    return Sentences(
        f"A {fact('coordinate')} of {fact('given'):g}° lies far from {fact('zone')}; {-fact('given'):g}° "
        "would lie in it.",
        otherwise=f"Check {names.field(fact('field'))} ({north_east} is positive, {south_west} negative) and "
        f"{names.field('site.timezone')}.",
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


_LAGS = (
    "because the light changes faster than the camera follows, by no more than a third of a stop a frame: "
    "otherwise brightness would jump."
)
_SHORTER = "A shorter interval lets it follow."


@speaks("exposure-short")
def _exposure_short(finding: Finding, names: Names) -> Sentences:
    head = f"up to {finding.fact('missing'):.1f} stops too dark (frame {finding.fact('worst_frame')}), "
    if finding.fact("cause") == "interval":
        return _held_back(finding, names, head)
    if finding.fact("cause") == "lag":
        return Sentences(f"{head}{_LAGS}", otherwise=_SHORTER)
    said = f"{head}even with the most exposure that the plan allows: {_settings(finding)}."
    lamps = names.aside("exposure.artificial_ev100")
    fix = f"If the place has lamps, enter their light{lamps}." if finding.fact("lamps_unknown") else ""
    return Sentences(said, fix, otherwise=_together(finding))


def _held_back(finding: Finding, names: Names, head: str) -> Sentences:
    fact = finding.fact
    room_s = fact("room")
    leaves = f"{shutter_label(room_s)} for the exposure" if room_s is not None else "no time to expose"
    return Sentences(
        f"{head}because the interval of {fact('interval'):g} s leaves {leaves}, where "
        f"{shutter_label(fact('wanted'))} is wanted.",
        otherwise="Move less from frame to frame, or shorten the exposure with more ISO or a wider aperture.",
    )


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
    useful = [f"{gain:.1f} {setting}" for gain, setting in offers if gain > 0.0]
    reach = fact("reach")
    rest = (
        "together they are enough"
        if reach >= fact("missing")
        else f"together {reach:.1f}, so the place needs light of its own, or the clip has to end earlier"
    )
    return f"What would help: {', '.join(useful) or 'none'}; {rest}."


@speaks("exposure-long")
def _exposure_long(finding: Finding, names: Names) -> Sentences:
    head = f"up to {finding.fact('over'):.1f} stops too bright (frame {finding.fact('worst_frame')}), "
    if finding.fact("cause") == "lag":
        return Sentences(f"{head}{_LAGS}", otherwise=_SHORTER)
    return Sentences(
        f"{head}even with the least exposure that the plan allows: {_settings(finding)}.",
        otherwise=_darker(finding),
    )


def _darker(finding: Finding) -> str:
    stops, shortfall = finding.fact("filter"), finding.fact("shortfall")
    size = f"{stops} stop{'s' * (stops > 1)}"
    if shortfall is None:
        return f"It takes {size} of ND."
    return (
        f"It takes {size} of ND, which leaves the darkest frame {shortfall:.1f} stops short: take the filter "
        "off on the way, or shoot day and night as two clips."
    )


@speaks("ramp-steep")
def _ramp_steep(finding: Finding, names: Names) -> Sentences:
    fact = finding.fact
    return Sentences(
        f"the exposure changes by up to {fact('step'):.2f} stop from one "
        f"frame to the next ({figure(fact('speed'), 2)} stops a minute at frame {fact('worst_frame')}, "
        f"{fact('time')}), more than the third of a stop that a camera steps by: brightness will jump.",
        otherwise=f"It would take an interval of {figure(fact('interval_enough'), 2)} s or less.",
    )
