"""A good plan from a few facts: lens, framing, focus, travel and interval chosen, and each choice said.

The lens, where it is free, goes by the sizes of subject and foreground; the framing is the best scored of a
few; the interval goes by twilight and by what the darkest frame takes. What the review then calls a `stop` is
put right by fit, or the plan is refused.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterator
from itertools import product

import attrs
import numpy as np
from attrs import frozen

from planner_core.begin.clock import guess_zone
from planner_core.begin.conflicts import alternatives, fact_text, instead_text
from planner_core.begin.facts import Facts, Thing
from planner_core.edit import kit
from planner_core.edit.starter import PlanDefaults, bare_plan
from planner_core.evening.balance import TURNING_EVENTS
from planner_core.evening.interval import long_enough, on_the_timer_s, with_timing
from planner_core.fit.everything import MINE, fit_all
from planner_core.fit.travel import fit_travel
from planner_core.frames import compute_frames
from planner_core.maths.angles import compass_deg, unwound_deg
from planner_core.moves.measured import Measured
from planner_core.moves.score import shot_score
from planner_core.picture.aiming import LENSES_MM
from planner_core.picture.composition import view_deg
from planner_core.picture.optics import circle_of_confusion_mm, focus_between_m, hyperfocal_m
from planner_core.plan.changes import changed
from planner_core.plan.file import plan_from_dict, plan_to_dict
from planner_core.plan.model import Anchor, Composition, Plan, PlanError, field_range
from planner_core.plan.timeline import anchor_utc_s
from planner_core.review.findings import Finding
from planner_core.review.remedy import PLAN_FILE, Remedy, remedy_text
from planner_core.review.report import review
from planner_core.rig import geometry
from planner_core.time import events
from planner_core.words.figures import percent

EVENT, NO_TURN_EVENT = "sunset", "solar_noon"
# Common practice, no source: how high the subject stands in the picture, how far beside it the foreground …
LARGEST_SHARE, MOST_SHARE, ASIDE_SHARE = 0.45, 0.85, 0.28
# … and what wide and middling lenses are stopped down to: so far by choice, and at most where a thing is near
F_NUMBERS, CHOSEN_F = (5.6, 8.0, 11.0, 13.0, 16.0), 11.0
FOREGROUND_KIND, FOREGROUND_M = "post", 1.5
# A box near the rail is no house; and nothing reaches from where it stands to the rig: ours
NEAR_M, NEAR_BOX_M, MOST_OF_DISTANCE = 10.0, 0.8, 0.8
# The shoot reaches from its event to the end of the blue hour, within these limits on either side
AFTERGLOW_S, LEAST_HALF_S, MOST_HALF_S, OTHER_HALF_S = 480.0, 1800.0, 4500.0, 2160.0
LEAST_INTERVAL_S = 8.0
MOST_REPAIRS = 3
# Where the subject stands in the picture: across it from the middle in picture widths, and the horizon up it
ACROSS, HORIZON_DOWN = (-1.0 / 6.0, 0.0, 1.0 / 6.0), (1.0 / 6.0, 0.04)
LEAST_TURN_SHARE = 0.02  # of the picture's width: a head that turns less only shows its steps
EDGE_SHARE = 0.06  # of the picture's height, kept free over and under the subject


@frozen(kw_only=True)
class FirstPlan:
    """A plan made from facts; said are the choices, a sentence each, and findings what its review says."""

    plan: Plan
    said: tuple[str, ...]
    findings: tuple[Finding, ...]


def first_plan(facts: Facts, usual: PlanDefaults | None = None) -> FirstPlan:
    """A plan whose review has no `stop`, from facts and what somebody usually works with.

    Raises PlanError for facts that contradict each other, by the names that the facts have: it names the one
    that would have to give way, and what was tried in its place and does.
    """
    usual = usual or PlanDefaults()
    said: list[str] = []
    plan = _repaired(_chosen(facts, usual, said)[0], said)
    if next(_stops(plan), None) is not None:
        fitted = fit_all(plan)
        stop = next(_stops(fitted.plan), None)
        if stop is not None:
            raise _refusal(facts, usual, stop)
        plan = fitted.plan
        said.extend(step.text for step in fitted.steps)
    return FirstPlan(plan=plan, said=tuple(said), findings=tuple(Measured(plan).findings))


def _chosen(facts: Facts, usual: PlanDefaults, said: list[str]) -> tuple[Plan, Facts]:
    """The plan with everything chosen, before its review, and the facts with what was chosen among them."""
    facts = _with_zone(facts, said)
    facts = _with_event(facts, said)
    facts = _with_rail(facts, usual, said)
    plan = _with_lens(_bare(facts, usual), facts, usual, said)
    plan, facts = _with_things(plan, facts, said)
    plan = _focused(plan, facts, said)
    plan = _with_interval(plan, said)
    plan = _framed(plan, facts, said)
    return plan, attrs.evolve(facts, focal_length_mm=plan.camera.focal_length_mm)


# ---------------------------------------------------------------- when and where


def _with_zone(facts: Facts, said: list[str]) -> Facts:
    if facts.timezone is not None:
        return facts
    guess = guess_zone(facts.latitude_deg, facts.longitude_deg, facts.date)
    why = "by the longitude, no town being near" if guess.by_sun else "the zone whose main city is nearest"
    rival = f"; if the clocks there go by {guess.rival}, give that zone: they differ" if guess.rival else ""
    said.append(f"Time zone: {guess.zone}, {why}{rival}.")
    return attrs.evolve(facts, timezone=guess.zone)


def _with_event(facts: Facts, said: list[str]) -> Facts:
    """The facts with an event that happens on their date. Raises PlanError where the one named doesn't."""
    happens = _events_of(facts)
    if facts.event is not None:
        if facts.event in happens:
            return facts
        raise PlanError(
            "event",
            f"{facts.event} on {facts.date}",
            f"does not happen at latitude {facts.latitude_deg:g} on that date; "
            f"what does: {', '.join(sorted(happens)) or 'nothing'}",
        )
    event = EVENT if EVENT in happens else NO_TURN_EVENT
    if event not in happens:
        raise PlanError("event", None, f"has to be named: no sunset on {facts.date}; {', '.join(happens)}")
    other = "" if event == EVENT else "; the sun doesn't set that day"
    said.append(f"Event: {event.replace('_', ' ')}, half-way through the move{other}.")
    return attrs.evolve(facts, event=event)


def _events_of(facts: Facts) -> list[str]:
    assert facts.timezone is not None
    _check_facts(facts)
    times = events.day_events(facts.date, facts.latitude_deg, facts.longitude_deg, facts.timezone)
    return [name for name, instants in times.items() if instants]


def _check_facts(facts: Facts) -> None:
    """Raise PlanError, by the facts' own names, where zone, date or lens can't be those of a plan."""
    try:
        bare_plan(_defaults(facts, PlanDefaults()), facts.date)
    except PlanError as error:
        names = {"timezone": "zone", "date": "date", "focal_length_mm": "lens", "max_m": "rail"}
        last = error.path.rpartition(".")[2]
        raise PlanError(names.get(last, error.path), error.value, error.expected) from None


def _with_rail(facts: Facts, usual: PlanDefaults, said: list[str]) -> Facts:
    if facts.rail_m is not None:
        return facts
    said.append(f"Rail: {usual.rail_m:g} m long, {usual.rail_height_m:g} m over the ground.")
    return attrs.evolve(facts, rail_m=usual.rail_m)


def _defaults(facts: Facts, usual: PlanDefaults) -> PlanDefaults:
    return attrs.evolve(
        usual,
        latitude_deg=facts.latitude_deg,
        longitude_deg=facts.longitude_deg,
        timezone=usual.timezone if facts.timezone is None else facts.timezone,
        rail_m=facts.rail_m or usual.rail_m,
        focal_length_mm=facts.focal_length_mm or usual.focal_length_mm,
    )


def _bare(facts: Facts, usual: PlanDefaults) -> Plan:
    """The rig looking at the subject, on the day and at the event; bearings count from the rail's middle."""
    looks = round(facts.subject.bearing_deg, 3)
    plan = bare_plan(_defaults(facts, usual), facts.date, north_deg=looks, looks_deg=looks)
    assert facts.event is not None
    anchor = Anchor(event=facts.event, date=facts.date, at=0.5)
    plan = attrs.evolve(plan, shoot=attrs.evolve(plan.shoot, anchor=anchor))
    return plan_from_dict(plan_to_dict(attrs.evolve(plan, composition=Composition(style="hold"))))


# ---------------------------------------------------------------- lens, blocks and focus


def _with_lens(plan: Plan, facts: Facts, usual: PlanDefaults, said: list[str]) -> Plan:
    """The lens asked for, or the longest that has both the subject and the foreground well in its picture."""
    if facts.focal_length_mm is not None:
        return plan
    lenses = [lens for lens in LENSES_MM if lens <= 200.0]
    fitting = [lens for lens in lenses if _takes_in(_with_focal(plan, lens), facts, LARGEST_SHARE)]
    enough = [lens for lens in lenses if _holds(_with_focal(plan, lens), facts, MOST_SHARE)]
    near = min(fitting or enough or lenses[:1], key=lambda lens: abs(math.log(lens / usual.focal_length_mm)))
    lens = max(fitting, default=near)
    fraction = _height_deg(plan, facts.subject) / view_deg(_with_focal(plan, lens))[1]
    said.append(
        f"Lens: {lens:g} mm; the {facts.subject.name} takes {percent(fraction)} of the picture's height."
    )
    return _with_focal(plan, lens)


def _with_focal(plan: Plan, focal_mm: float) -> Plan:
    return attrs.evolve(plan, camera=attrs.evolve(plan.camera, focal_length_mm=focal_mm))


def _holds(plan: Plan, facts: Facts, fraction: float) -> bool:
    return _height_deg(plan, facts.subject) <= fraction * view_deg(plan)[1]


def _takes_in(plan: Plan, facts: Facts, fraction: float) -> bool:
    """Whether the subject takes this fraction of the height at most, with a sharp foreground inside."""
    near_m = FOREGROUND_M if facts.foreground is None else facts.foreground.distance_m
    focal, circle = plan.camera.focal_length_mm, circle_of_confusion_mm(plan.camera)
    _, needed = focus_between_m(near_m, max(facts.subject.distance_m, 1.001 * near_m), focal, circle)
    aside_deg = 0.0
    if facts.foreground is not None:
        aside_deg = abs(unwound_deg(facts.foreground.bearing_deg - facts.subject.bearing_deg, 0.0))
    inside = aside_deg <= 0.42 * view_deg(plan)[0]
    return _holds(plan, facts, fraction) and needed <= CHOSEN_F and inside


def _size_m(thing: Thing) -> tuple[float, float, float]:
    """Width, depth and height of a thing: its kind's, grown to its height, no wider than there is room."""
    width, depth, height = kit.PIECES[thing.kind].size_m
    grown = 1.0 if thing.height_m is None else thing.height_m / height
    if thing.kind == "box" and thing.height_m is None and thing.distance_m < NEAR_M:
        grown = NEAR_BOX_M / height
    narrowed = min(1.0, MOST_OF_DISTANCE * thing.distance_m / (grown * depth))
    return tuple(
        max(round(grown * extent, 2), 0.01) for extent in (narrowed * width, narrowed * depth, height)
    )  # type: ignore[return-value]


def _eye_m(plan: Plan) -> float:
    return plan.rig.origin_m[2] + plan.rig.head_height_m


def _height_deg(plan: Plan, thing: Thing) -> float:
    low, high = _altitudes_deg(plan, thing)
    return high - low


def _altitudes_deg(plan: Plan, thing: Thing) -> tuple[float, float]:
    """Altitudes of a thing's foot and top as the camera sees them, on level ground."""
    eye = _eye_m(plan)
    foot, top = -eye, _size_m(thing)[2] - eye
    return tuple(math.degrees(math.atan2(z, thing.distance_m)) for z in (foot, top))  # type: ignore[return-value]


def _with_things(plan: Plan, facts: Facts, said: list[str]) -> tuple[Plan, Facts]:
    """The plan with its subject and a foreground, the rail's middle where bearings were counted from."""
    if facts.subject.height_m is None:
        said.append(f"Subject: {_size_m(facts.subject)[2]:g} m high, as such a thing often is.")
    if facts.foreground is None:
        bearing = compass_deg(facts.subject.bearing_deg - ASIDE_SHARE * view_deg(plan)[0])
        near_m = min(FOREGROUND_M, 0.5 * facts.subject.distance_m)
        near = Thing(name=FOREGROUND_KIND, bearing_deg=round(bearing, 1), distance_m=near_m)
        said.append(
            f"Foreground: a {near.name} {near_m:g} m from the rail at {near.bearing_deg:g}°, so that the "
            "slide shows; put what is there in its place."
        )
        facts = attrs.evolve(facts, foreground=near)
    assert facts.foreground is not None
    for thing, role in ((facts.subject, "subject"), (facts.foreground, "foreground")):
        made = kit.piece_blocks(
            plan, thing.kind, _spot(plan, thing), _size_m(thing), role=role, name=thing.name
        )
        plan = kit.with_blocks(plan, made)
    slide = plan.rig.slide
    assert slide is not None
    back = -0.5 * (slide.min_m + slide.max_m) * geometry.rail_direction(plan)
    x, y, z = (round(float(v), 4) + 0.0 for v in np.asarray(plan.rig.origin_m) + back)
    plan = attrs.evolve(plan, rig=attrs.evolve(plan.rig, origin_m=(x, y, z)))
    return _entitled(plan, facts), facts


def _spot(plan: Plan, thing: Thing) -> kit.Spot:
    """Where a thing stands on level ground; bearings and distances count from the rail's middle."""
    middle = attrs.evolve(plan, rig=attrs.evolve(plan.rig, origin_m=(0.0, 0.0, plan.rig.origin_m[2])))
    return kit.spot_by_bearing(middle, thing.bearing_deg, thing.distance_m, foot_m=0.0)


def _entitled(plan: Plan, facts: Facts) -> Plan:
    """The plan with a title, and with what the move is for as far as the facts say."""
    assert facts.event is not None
    assert facts.foreground is not None
    event = facts.event.replace("_", " ")
    name, near = facts.subject.name, facts.foreground.name
    return attrs.evolve(
        plan,
        title=f"{name[:1].upper()}{name[1:]}, {event}",
        reason=f"The {near} slides past while the {name} stays, and the light changes about {event}.",
    )


def _focused(plan: Plan, facts: Facts, said: list[str]) -> Plan:
    """Focus and f-number at which foreground and subject are sharp; where none does, the subject is."""
    assert facts.foreground is not None
    assert plan.exposure is not None
    focal, circle = plan.camera.focal_length_mm, circle_of_confusion_mm(plan.camera)
    near_m = _nearest_m(plan, facts.foreground)
    near_m, far_m = sorted((near_m, facts.subject.distance_m))
    focus, needed = focus_between_m(near_m, max(far_m, 1.001 * near_m), focal, circle)
    f_number = next((n for n in F_NUMBERS if n >= needed), None)
    if f_number is None:
        f_number = 8.0
        focus = min(float(hyperfocal_m(focal, f_number, circle)), facts.subject.distance_m)
    least_m = math.ceil(1.3 * focal) / 1000.0  # lenses focus no nearer, see plan.model.NEAREST_FOCUS
    focus = max(round(focus, 2), least_m)
    said.append(f"Focus: {focus:g} m at f/{f_number:g}.")
    return attrs.evolve(
        plan,
        camera=attrs.evolve(plan.camera, focus_distance_m=focus),
        exposure=attrs.evolve(plan.exposure, f_number=f_number),
    )


def _nearest_m(plan: Plan, thing: Thing) -> float:
    """How near a thing's face comes to the lens as the carriage goes from the first pose to the last."""
    width, depth, _ = _size_m(thing)
    spot = _spot(plan, thing)
    slides = [pose.slide_m for pose in plan.move.poses if pose.slide_m is not None]
    along = np.linspace(min(slides), max(slides), 9)
    offsets_m = np.asarray(spot.foot_m)[:2] - geometry.carriage_position_m(plan, along)[:, :2]
    return max(float(np.linalg.norm(offsets_m, axis=1).min()) - 0.5 * min(width, depth), 0.1)


# ---------------------------------------------------------------- how often


def _with_interval(plan: Plan, said: list[str]) -> Plan:
    """Frames as usual, and an interval for event and twilight that leaves the darkest frame its time."""
    half_s = _half_s(plan)
    wanted = max(2.0 * half_s / (plan.shoot.frames - 1), LEAST_INTERVAL_S)
    plan = with_timing(plan, interval_s=on_the_timer_s(plan, round(wanted)))
    frames = long_enough(plan)
    if frames is None:
        raise PlanError(
            "event", plan.shoot.anchor and plan.shoot.anchor.event, "is too dark for any interval"
        )
    held = frames.plan
    minutes = held.duration_s / 60.0
    clip_s = held.shoot.frames / held.clip.fps
    said.append(
        f"Timing: {held.shoot.frames} frames every {held.shoot.interval_s:g} s, {minutes:.0f} minutes for "
        f"a clip of {clip_s:g} s."
    )
    return held


def _half_s(plan: Plan) -> float:
    """Seconds on either side of the event: as far as the end of its civil twilight and a little more."""
    anchor = plan.shoot.anchor
    assert anchor is not None
    if anchor.event not in TURNING_EVENTS:
        return OTHER_HALF_S
    dark = "civil_dusk" if anchor.event == "sunset" or anchor.event.endswith("dusk") else "civil_dawn"
    instant, limits = anchor_utc_s(plan, anchor), (LEAST_HALF_S, MOST_HALF_S)
    site = plan.site
    times_s = [
        time
        for day in (anchor.date - dt.timedelta(days=1), anchor.date, anchor.date + dt.timedelta(days=1))
        for time in events.event_times_utc_s(dark, day, site.latitude_deg, site.longitude_deg, site.timezone)
    ]
    away = min((abs(time - instant) for time in times_s), default=limits[1])
    return min(max(away + AFTERGLOW_S, limits[0]), limits[1])


# ---------------------------------------------------------------- framing and travel


def _framed(plan: Plan, facts: Facts, said: list[str]) -> Plan:
    """The best scored of a few framings, with as much of the rail as keeps the foreground calm."""
    shots = [_aimed(plan, facts, across, down) for across, down in product(ACROSS, HORIZON_DOWN)]
    best = max((Measured(shot) for shot in shots), key=_points)
    fitted = fit_travel(best.plan).plan
    fitted = max((best, Measured(fitted)), key=_points).plan
    held = long_enough(fitted)
    plan = best.plan
    if held is not None and _points(Measured(held.plan, held)) >= _points(best):
        plan = held.plan
    first, last = plan.move.poses[0], plan.move.poses[-1]
    said.append(
        f"Move: {_number(first.slide_m)} to {_number(last.slide_m)} m along the rail, pan "
        f"{_number(first.pan_deg)}° to {_number(last.pan_deg)}°, tilt {_number(first.tilt_deg)}°."
    )
    return plan


def _number(value: float | None) -> str:
    return "–" if value is None else f"{value:g}"


def _points(shot: Measured) -> tuple[int, float]:
    """Fewer stops first, then the score."""
    return -sum(finding.level == "stop" for finding in shot.findings), shot_score(shot).total


def _aimed(plan: Plan, facts: Facts, across: float, down: float) -> Plan:
    """The plan with every pose turned so that the subject stands across picture widths right of the middle,
    and the horizon `down` heights below it, as far as that leaves the subject whole.
    """
    wide, high = (math.tan(math.radians(angle / 2.0)) for angle in view_deg(plan))
    off_deg = math.degrees(math.atan(2.0 * across * wide))
    tilt = round(_tilt_deg(plan, facts.subject, math.degrees(math.atan(2.0 * down * high))), 2)
    spot = _spot(plan, facts.subject)
    carriage_m = geometry.carriage_position_m(plan, np.array([pose.slide_m for pose in plan.move.poses]))
    bearings, _ = geometry.bearing_and_altitude(
        np.asarray(spot.foot_m) - carriage_m, plan.site.scene_north_deg
    )
    pans = unwound_deg(bearings - off_deg, facts.subject.bearing_deg)
    if np.ptp(pans) < LEAST_TURN_SHARE * view_deg(plan)[0]:
        pans = np.full(len(pans), pans.mean())
    poses = tuple(
        attrs.evolve(pose, pan_deg=round(float(pan), 2), tilt_deg=tilt)
        for pose, pan in zip(plan.move.poses, pans, strict=True)
    )
    return attrs.evolve(plan, move=attrs.evolve(plan.move, poses=poses))


def _tilt_deg(plan: Plan, subject: Thing, wanted_deg: float) -> float:
    """The tilt nearest to the wanted one that has all of the subject in the picture, or else its middle."""
    foot, top = _altitudes_deg(plan, subject)
    half = view_deg(plan)[1] * (0.5 - EDGE_SHARE)
    low, high = top - half, foot + half
    tilt = (top + foot) / 2.0 if low > high else min(max(wanted_deg, low), high)
    slack = field_range(type(plan.move.poses[0]), "tilt_deg")[1]
    axis = plan.rig.tilt
    return min(max(tilt, axis.min_deg if axis else -slack), axis.max_deg if axis else slack)


# ---------------------------------------------------------------- what the review says


def _repaired(plan: Plan, said: list[str]) -> Plan:
    """The plan, put right where its review has a stop by remedies that the review has tried."""
    for _ in range(MOST_REPAIRS):
        if next(_stops(plan), None) is None:
            break
        remedy = next(_remedies(plan), None)
        if remedy is None:
            break
        said.append(f"Put right: {remedy_text(remedy, PLAN_FILE)}")
        plan = changed(plan, remedy.changes)
    return plan


def _refusal(facts: Facts, usual: PlanDefaults, stop: Finding) -> PlanError:
    """What to say of facts that leave a stop: the fact to give up, and what came of the others."""
    why = f"doesn't go with the other facts: {stop.message}"
    for name, other in alternatives(facts):
        full = _without_a_stop(other, usual)
        if full is not None:
            return PlanError(name, fact_text(facts, name), f"{why} {instead_text(facts, full)} would do")
    return PlanError("subject", fact_text(facts, "subject"), f"{why} Stand farther away, or turn elsewhere")


def _without_a_stop(facts: Facts, usual: PlanDefaults) -> Facts | None:
    """The facts with what is chosen for them, where a plan without a stop comes of them."""
    try:
        plan, full = _chosen(facts, usual, [])
    except PlanError:
        return None
    return full if next(_stops(_repaired(plan, [])), None) is None else None


def _remedies(plan: Plan) -> Iterator[Remedy]:
    """What the review has tried against stops and found to help, as far as it leaves the facts alone."""
    for finding in review(plan, compute_frames(plan)).findings:
        if finding.level == "stop":
            yield from (r for r in finding.remedies if all(path.startswith(MINE) for path in r.changes))


def _stops(plan: Plan) -> Iterator[Finding]:
    return (finding for finding in Measured(plan).findings if finding.level == "stop")
