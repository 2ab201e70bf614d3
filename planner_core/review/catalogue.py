"""Every kind of finding: what it means, its levels, where the limit lies and comes from, and what is tried.

For the reference, and for whoever wants to look a finding up. The limits are those that the review judges
by; a test holds that the levels are, too.
"""

from __future__ import annotations

from attrs import frozen

from planner_core.picture import composition, parallax, speed
from planner_core.plan.model import MOVERS
from planner_core.review import (
    care,
    edges,
    lens,
    light,
    mains,
    moon,
    photos,
    picture,
    rig,
    sun,
    support,
    tones,
)
from planner_core.review import moving as movers

PRACTICE = "common practice, no source"
OURS = "ours: what is seen as a fault"
MEMORY = "value from memory"
PLAN = "the plan's own"
NONE = "a fact, no limit"
NOTHING = "nothing of the plan"


@frozen(kw_only=True)
class About:
    """A kind of finding: what it means, its levels, its limit with that limit's source, and its remedies."""

    means: str
    levels: str
    limit: str
    source: str = PRACTICE
    remedies: str = NOTHING


def _percent(fraction: float) -> str:
    return f"{100.0 * fraction:g} %"


TOPICS: dict[str, dict[str, About]] = {
    "Light and time": {
        "day-night-balance": About(
            means="a clip that goes from day to night, or back, shows much more of one than of the other",
            levels="warn note",
            limit=f"the larger share over the smaller: note from {light.BALANCE_NOTE:g}, "
            f"warn from {light.BALANCE_WARN:g}",
            remedies="another start or place of the anchor (`fit --balance`)",
        ),
        "move-midpoint": About(
            means="half of the move isn't done when day turns to night",
            levels="warn note",
            limit=f"off half of the way at the event: note over {_percent(light.MIDPOINT_NOTE)}, "
            f"warn over {_percent(light.MIDPOINT_WARN)}",
            remedies="another start, another `shoot.anchor.at`, or poses brought forward or back",
        ),
        "event-missing": About(
            means="sunrise or sunset doesn't happen on that date at that place",
            levels="note",
            limit="sun's true altitude of −0.833° (US Naval Observatory)",
            source="definition",
        ),
        "clock-change": About(
            means="clocks go forward or back between arriving and the last frame",
            levels="note",
            limit="any change of the zone's clocks (IANA time zone database)",
            source=NONE,
        ),
        "zone-odd": About(
            means="the time zone can't be that of the place: a wrong sign of the longitude, or another zone",
            levels="warn",
            limit=f"clock and mean sun {light.ODD_ZONE_H:g} h apart",
            source=MEMORY,
            remedies="`site.timezone` or `site.longitude_deg`",
        ),
        "sign-odd": About(
            means="with the other sign of latitude or longitude the place would lie by its zone's main city",
            levels="warn",
            limit="far from the zone's city as it is, near to it mirrored",
            source=MEMORY,
            remedies="the coordinate with its other sign",
        ),
        "sun-in-frame": About(
            means="the sun stands in the picture: glare, and with a long lens danger to sensor and shutter",
            levels="warn note",
            limit=f"note for any; warn above {sun.HIGH_SUN_DEG:g}° with {sun.LONG_LENS_MM:g} mm "
            "(full frame) or longer",
        ),
        "sun-hidden": About(
            means="what stands around takes the sun away long before it sets, or holds it back for long",
            levels="warn note",
            limit=f"minutes: note from {sun.HIDDEN_NOTE_S / 60.0:g}, warn from {sun.HIDDEN_WARN_S / 60.0:g}",
        ),
        "moon-in-frame": About(
            means="the moon stands in the picture, and may drift to an oval during an exposure",
            levels="warn note",
            limit=f"note for any; warn where a disc over {_percent(moon.LARGE_SHARE)} of the picture's width "
            f"drifts by {_percent(moon.OVAL_SHARE)} of its own",
        ),
        "moon-missing": About(
            means="the plan is about the moon, and no frame shows it",
            levels="warn note",
            limit="warn where `composition.moon` asks for it, or it isn't up at all",
            source=NONE,
        ),
    },
    "Exposure": {
        "exposure-short": About(
            means="frames come out darker than meant: shutter, ISO or interval leave no more",
            levels="stop warn",
            limit=f"stops off the target: warn from {light.EXPOSURE_WARN_STOPS:g}, "
            f"stop from {light.EXPOSURE_STOP_STOPS:g}",
            remedies="higher `exposure.iso_max`, wider `f_number`, longer `shutter_max_s` and interval, less "
            "`nd_stops`, another look or hour",
        ),
        "exposure-long": About(
            means="frames come out brighter than meant: the settings go no darker",
            levels="stop warn",
            limit=f"stops off the target: warn from {light.EXPOSURE_WARN_STOPS:g}, "
            f"stop from {light.EXPOSURE_STOP_STOPS:g}",
            remedies="lower `exposure.iso_min`, shorter `shutter_min_s`, larger `f_number`, more `nd_stops`",
        ),
        "ramp-steep": About(
            means="light changes faster than a camera's settings follow without a visible jump",
            levels="warn",
            limit="a third of a stop between two frames, a camera's click",
            remedies="a shorter `shoot.interval_s`, with as many more frames",
        ),
        "highlights-lost": About(
            means="part of the picture is above white: burnt out, without detail",
            levels="stop warn note",
            limit="share of the picture: "
            + ", ".join(f"{level} from {_percent(share)}" for level, share in tones.HIGHLIGHTS.items()),
            source=OURS,
            remedies="`exposure.meter`, `grad_stops`, `day_look_stops` or `night_look_stops`",
        ),
        "shadows-lost": About(
            means="part of the picture is below black: drowned in noise",
            levels="stop warn note",
            limit="share of the picture: "
            + ", ".join(f"{level} from {_percent(share)}" for level, share in tones.SHADOWS.items()),
            source=OURS,
            remedies="what lets the frames be as bright as meant; another meter or look",
        ),
        "mains-flicker": About(
            means="lamps on the mains pulse, and exposures are too short to even that out",
            levels="warn note",
            limit=f"stops between neighbouring frames: note over {mains.FLICKER_NOTE_STOPS:g}, "
            f"warn over {mains.FLICKER_WARN_STOPS:g}",
            source=OURS,
            remedies="longer exposures: larger `exposure.f_number`, lower ISO, more `nd_stops`",
        ),
        "interval-too-short": About(
            means="exposure, writing, moving and settling don't fit into the interval",
            levels="stop warn",
            limit="`shoot.interval_s`; warn where only the longest exposure wouldn't fit",
            source=PLAN,
            remedies="a longer interval, fewer frames in the same time, or shorter exposures (`fit --clip`)",
        ),
    },
    "Lens": {
        "star-trails": About(
            means="stars drift during an exposure so far that they show as lines",
            levels="warn note",
            limit="drift in circles of confusion (3.2 px of 3840): "
            f"note over {lens.TRAILS_NOTE:g}, warn over {lens.TRAILS_WARN:g}",
            remedies="a shorter `exposure.shutter_max_s` with more ISO or a wider aperture",
        ),
        "stars-soft": About(
            means="the focus lies too near for stars to be points",
            levels="warn note",
            limit=f"blur in circles of confusion: note over {lens.FOREGROUND_NOTE:g}, "
            f"warn over {lens.FOREGROUND_WARN:g}",
            remedies="`camera.focus_distance_m` farther out",
        ),
        "focus-depth": About(
            means="foreground or subject is out of focus",
            levels="stop warn note",
            limit=f"blur in circles of confusion: foreground note over {lens.FOREGROUND_NOTE:g}, warn over "
            f"{lens.FOREGROUND_WARN:g}; subject warn over {lens.SUBJECT_WARN:g}, stop over "
            f"{lens.SUBJECT_STOP:g}",
            remedies="`camera.focus_distance_m`, or a larger `exposure.f_number`",
        ),
        "clip-enlarged": About(
            means="the clip asks for more pixels than the camera has",
            levels="warn note",
            limit=f"times larger: note over {lens.ENLARGED_NOTE:g}, warn over {lens.ENLARGED_WARN:g}",
            remedies="`clip.width_px` and `clip.height_px`",
        ),
    },
    "Picture": {
        "no-blocks": About(
            means="nothing stands in the scene yet, so no picture can be judged",
            levels="note",
            limit="no block at all",
            source=NONE,
        ),
        "no-subject": About(
            means="no block is the subject, so the picture is judged without one",
            levels="note",
            limit="no subject named and none by its role",
            source=NONE,
        ),
        "subject-unknown": About(
            means="`composition.subject` names a block that isn't there",
            levels="warn",
            limit="no block of that name",
            source=NONE,
            remedies="the nearest name there is",
        ),
        "camera-inside": About(
            means="the camera stands inside a block and sees nothing",
            levels="stop",
            limit="inside a solid",
            source=NONE,
        ),
        "subject-lost": About(
            means="the subject lies outside the frame",
            levels="stop",
            limit=f"less than {_percent(composition.INSIDE_LOST)} of it inside",
            remedies="a pose turned, a shorter lens (`fit --compose`)",
        ),
        "subject-cut": About(
            means="an edge of the frame cuts the subject",
            levels="warn",
            limit=f"less than {_percent(composition.INSIDE_WHOLE)} of it inside",
            remedies="a pose turned, a shorter lens (`fit --compose`)",
        ),
        "subject-hidden": About(
            means="something stands before the subject",
            levels="stop warn note",
            limit=f"hidden: note over {_percent(picture.NOTICED)}, warn over "
            f"{_percent(1.0 - composition.SEEN_ENOUGH)}, stop where over "
            f"{_percent(1.0 - composition.SEEN_BARELY)} for {picture.LONG_S:g} s of clip",
            remedies="another pose (`fit --compose`)",
        ),
        "subject-large": About(
            means="the subject is larger than the frame",
            levels="note",
            limit="once the frame",
            source=NONE,
        ),
        "subject-merging": About(
            means="the subject's outline runs together with another block's",
            levels="warn",
            limit=f"on {_percent(picture.MERGING_SHARE)} of the frames",
            remedies="the rail's end of a pose a little to the side",
        ),
        "weak-frame": About(
            means="the weakest frame doesn't compose: size, place, room, horizon or foreground",
            levels="warn",
            limit=f"a score below {100.0 * composition.WEAK:g} of 100",
            remedies="another pose (`fit --compose`)",
        ),
        "reveal-late": About(
            means="a reveal shows its subject too late, or never",
            levels="stop",
            limit=f"{_percent(composition.SEEN_ENOUGH)} of it seen by `composition.reveal_by`",
            source=PLAN,
            remedies="another pose, or a later `composition.reveal_by`",
        ),
        "reveal-early": About(
            means="a reveal shows its subject from the start",
            levels="warn",
            limit=f"{_percent(composition.SEEN_BARELY)} of it seen on frame 1",
            remedies="another pose, or `composition.style` as a hold",
        ),
        "horizon-middle": About(
            means="the horizon cuts the picture in half",
            levels="note",
            limit="between "
            + " and ".join(_percent(place) for place in composition.HORIZON_MIDDLE)
            + " of the frame's height",
            remedies="tilt up or down in every pose",
        ),
        "foreground-missing": About(
            means="a slide past nothing near: it doesn't show",
            levels="warn",
            limit=f"near and far part by less than {parallax.MISSING_PERCENT:g} % of the frame's width",
            remedies="a foreground by the rail, which only the place can give",
        ),
        "background-static": About(
            means="the far distance doesn't move, which is as it is with a slide alone",
            levels="warn note",
            limit=f"{parallax.STILL_PERCENT:g} % of the frame's width; warn with no foreground either",
        ),
        "skyline-ends": About(
            means="a skyline stops within the picture, as a cliff",
            levels="note",
            limit=f"its end stands {edges.CLIFF_DEG:g}° over what goes on beyond",
            source=OURS,
        ),
        "ground-ends": About(
            means="ground or water ends within the picture, and bare level ground shows behind it",
            levels="note",
            limit=f"{_percent(edges.BARE_SHARE)} of the picture",
            source=OURS,
        ),
        "photo-differs": About(
            means="a photograph shows the subject elsewhere than the plan has it",
            levels="warn",
            limit=f"{photos.DIFFERS_WARN_DEG:g}°, the sun's width",
            source=OURS,
        ),
        "photo-pin-lost": About(
            means="a pin of a photograph is on a block or corner that is no longer there",
            levels="note",
            limit="no such block or corner",
            source=NONE,
        ),
    },
    "What moves by itself": {
        "strobing": About(
            means=f"{', '.join(MOVERS[:2])} or {MOVERS[2]} jump from frame to frame",
            levels="note",
            limit=f"the shutter open for less than {_percent(movers.FLOWS_SHARE)} of the interval",
        ),
        "smearing": About(
            means="things go farther during an exposure than they are long",
            levels="note",
            limit="their own length",
        ),
    },
    "Rig and move": {
        "no-reason": About(
            means="the plan doesn't say why the shot moves",
            levels="note",
            limit="`reason` is empty and the move moves",
        ),
        "axis-range": About(
            means="an axis would have to go beyond its range",
            levels="stop",
            limit="`min_…` and `max_…` of the axis",
            source=PLAN,
            remedies="the pose at the end of the range, or at the same bearing within it (`fit --travel`)",
        ),
        "axis-speed": About(
            means="an axis is too slow for its move between two frames, or for a continuous drive",
            levels="stop",
            limit="the axis's speed and acceleration against the time there is",
            source=PLAN,
            remedies="a longer interval, less of the move, or more frames",
        ),
        "step-coarse": About(
            means="the motor's steps show as a stutter",
            levels="warn",
            limit=f"{rig.VISIBLE_STEP_PX:g} px off where a thing should be",
            source=OURS,
        ),
        "rail-slope": About(
            means="the rail is steeper than the carriage's motor holds",
            levels="stop warn",
            limit=f"`rig.max_incline_deg`; warn where nobody gave one ({rig.USUAL_INCLINE_DEG:g}°)",
            source=PLAN,
            remedies="`rig.incline_deg`, or `rig.max_incline_deg` if the motor holds more",
        ),
        "screen-speed": About(
            means="the picture moves too fast to look at, or so slowly that the move doesn't show",
            levels="warn note",
            limit=f"frame widths a second of clip: warn over {speed.speed_limit('brisk'):.2g}, "
            f"note under {speed.speed_limit('creeping'):g}",
            source=f"{PRACTICE}; {MEMORY}",
            remedies="less of the turn or the slide, more frames (`fit --travel`)",
        ),
        "travel-unused": About(
            means="a rail is carried along and little of it used",
            levels="note",
            limit=f"less than {_percent(rig.LITTLE_OF_THE_RAIL)} of it",
            remedies="`fit --travel`",
        ),
        "travel-whole": About(
            means="nearly the whole rail is used though nothing near moves by it",
            levels="warn",
            limit=f"{_percent(rig.WHOLE_RAIL)} of it",
            remedies="`fit --travel`",
        ),
        "motion-blur": About(
            means="the move smears the picture while the shutter is open (continuous drive)",
            levels="warn",
            limit=f"{rig.VISIBLE_BLUR_PX:g} px",
            source=OURS,
            remedies="`move.drive` as shoot-move-shoot, or shorter exposures",
        ),
        "rail-in-frame": About(
            means="the rail itself is in the picture",
            levels="warn",
            limit="any of it",
            source=NONE,
            remedies="poses tilted up or turned away",
        ),
        "rig-shadow": About(
            means="the rig's own shadow falls into the picture",
            levels="warn",
            limit=f"a shadow that is dark: under less cloud than a divisor of {rig.OVERCAST_DIVISOR:g}",
            source="USNO Circular 171",
            remedies="poses tilted up",
        ),
        "head-level": About(
            means="a head screwed flat to this rail would lean; the plan's stands level",
            levels="note",
            limit=f"the rail rises {support.SLOPES_DEG:g}°",
        ),
        "wind-shake": About(
            means="a long lens and exposures long enough for the rig to sway in a breeze",
            levels="note",
            limit=f"{support.SWAY_PX:g} px",
            source=MEMORY,
        ),
        "card-space": About(
            means="so many raw files don't fit on the card, or take a large one",
            levels="stop warn note",
            limit=f"`camera.card_gb`; without it a note, warn over {support.LARGE_CARD_GB:g} GB",
            source=f"{PLAN}; {PRACTICE}",
            remedies="fewer frames in the same time",
        ),
        "battery-short": About(
            means="the battery doesn't last for all frames",
            levels="warn",
            limit="`camera.battery_frames`",
            source=PLAN,
            remedies="fewer frames in the same time",
        ),
    },
    "Sea and safety": {
        "water-reaches": About(
            means="water comes up to the rig or the one who stands by it",
            levels="stop",
            limit="`site.swell_m` and `site.water_margin_m` above still water",
            source=PLAN,
        ),
        "tide-unknown": About(
            means="tidal water without a tide table, or with one that ends before the shoot does",
            levels="warn",
            limit="the table covers the shoot",
            source=NONE,
        ),
        "way-cut-off": About(
            means="a path is under water while somebody is at the place",
            levels="stop warn",
            limit="`floods_at_m` of the path's block; stop where it is so at the end",
            source=PLAN,
        ),
        "foreground-drowned": About(
            means="a foreground in the water goes under",
            levels="warn",
            limit="water over its top",
            source=NONE,
        ),
        "foreground-dry": About(
            means="a foreground that began in the water stands dry",
            levels="note",
            limit="water below its foot",
            source=NONE,
        ),
        "edge-near": About(
            means="a drop or water beside the rig",
            levels="warn note",
            limit=f"within {care.EDGE_WITHIN_M:g} m: warn where the ground drops {care.EDGE_DROP_M:g} m, "
            "note for any water",
        ),
        "railing-near": About(
            means="a railing beside the rig, which invites a tether and may not hold one",
            levels="note",
            limit=f"within {care.RAILING_WITHIN_M:g} m",
        ),
        "carriage-runs": About(
            means="the carriage can run down the rail when its motor lets go",
            levels="warn note",
            limit=f"the rail slopes: note from {care.SLOPES_DEG:g}°, warn from {care.RUNS_DEG:g}°",
        ),
        "lightning-season": About(
            means="thunderstorms are likely at this time of the year",
            levels="note",
            limit="the warmer half of the year; all of it between the tropics",
        ),
        "night-alone": About(
            means="frames are taken in the dark with somebody at the rig",
            levels="note",
            limit=f"sun below {care.DARK_DEG:g}°, the end of civil twilight".replace("-", "−"),
            source="US Naval Observatory",
        ),
        "people-near": About(
            means="passers-by come close to the rig",
            levels="note",
            limit=f"within {care.PEOPLE_WITHIN_M:g} m",
        ),
        "lamps-dazzle": About(
            means="a head lamp at the rig dazzles traffic or boats",
            levels="note",
            limit=f"within {care.DAZZLE_WITHIN_M:g} m, in the dark",
        ),
        "nd-sun": About(
            means="the sun behind a neutral density filter: the eye is not safe in an optical finder",
            levels="note",
            limit="any such filter with the sun in the picture",
        ),
        "lasers": About(
            means="the plan speaks of lasers, which can burn a sensor",
            levels="note",
            limit="the word in title, reason, notes or a block's name",
        ),
    },
}
