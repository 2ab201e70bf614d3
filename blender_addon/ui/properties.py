"""The plan's fields as Blender properties: views of the plan that the scene carries, with nothing of their
own.

Reading one reads the plan; setting one changes the plan, which draws what differs. What the plan refuses
stays as it was, and the panel shows why. Numbers come from Blender in single precision and are kept as they
were typed.
"""
# Blender reads the annotations of its classes as they are, so none may be turned into text here.
# mypy: disable-error-code="valid-type,func-returns-value"

import math
from collections.abc import Callable, Iterator
from typing import Any

import attrs
import bpy
from bpy.props import (
    BoolProperty,
    CollectionProperty,
    EnumProperty,
    FloatProperty,
    FloatVectorProperty,
    IntProperty,
    PointerProperty,
    StringProperty,
)

from planner_core import Plan
from planner_core.edit import edits, kit
from planner_core.evening.timetable import EVENT_WORDS
from planner_core.light.exposure import shutter_label
from planner_core.place.blocking import block_label
from planner_core.plan.model import ANCHOR_EVENTS, DRIVES, RAMP_ORDERS, ROLES, STYLES, Composition, Exposure

from ..state import live, selection
from . import preferences, wording

Getter = Callable[[Any], Any]
Setter = Callable[[Any, Any], None]


# ---------------------------------------------------------------- one field as a property


def _path(owner: Any, path: str) -> str:
    """A path with the owner's row number in it, where it is a row."""
    return path.replace("#", str(owner.row)) if "#" in path else path


def _get(path: str, convert: Callable[[Any], Any], empty: Any) -> Getter:
    def get(owner: Any) -> Any:
        plan = live.plan_of(owner.id_data)
        if plan is None:
            return empty
        try:
            value = edits.value_at(plan, _path(owner, path))
        except IndexError:
            return empty
        return empty if value is None else convert(value)

    return get


def _set(path: str, convert: Callable[[Any], Any]) -> Setter:
    def set_value(owner: Any, value: Any) -> None:
        live.attempt(owner.id_data, lambda plan: edits.evolved(plan, _path(owner, path), convert(value)))

    return set_value


def _called(path: str, name: str) -> str:
    """The name of a property, kept for messages about its field."""
    wording.labels[path] = name
    return name


def number(
    path: str,
    name: str,
    description: str,
    *,
    low: float = -1e6,
    high: float = 1e6,
    step: float = 1.0,
    precision: int = 2,
    unit: Any = "NONE",
    subtype: Any = "NONE",
) -> Any:
    """A plain number of the plan, with Blender's unit where it has one that fits."""
    return FloatProperty(
        name=_called(path, name),
        description=description,
        soft_min=low,
        soft_max=high,
        step=max(1, round(100 * step)),
        precision=precision,
        unit=unit,
        subtype=subtype,
        get=_get(path, float, 0.0),
        set=_set(path, edits.tidy),
    )


def length(
    path: str, name: str, description: str, *, low: float = -1e5, high: float = 1e5, step: float = 0.1
) -> Any:
    """A length in metres."""
    return number(
        path, name, description, low=low, high=high, step=step, precision=3, unit="LENGTH", subtype="DISTANCE"
    )


def millimetres(path: str, name: str, description: str, *, high: float) -> Any:
    """A length on the camera."""
    return number(path, name, description, low=1.0, high=high, unit="CAMERA", subtype="DISTANCE_CAMERA")


def seconds(
    path: str, name: str, description: str, *, low: float = 0.0, high: float = 3600.0, step: float = 0.5
) -> Any:
    """A time in seconds."""
    return number(
        path, name, description, low=low, high=high, step=step, unit="TIME_ABSOLUTE", subtype="TIME_ABSOLUTE"
    )


def angle(path: str, name: str, description: str, *, low: float = -360.0, high: float = 360.0) -> Any:
    """An angle: degrees in the plan, radians in Blender."""
    return FloatProperty(
        name=_called(path, name),
        description=description,
        soft_min=math.radians(low),
        soft_max=math.radians(high),
        step=50,
        precision=2,
        subtype="ANGLE",
        unit="ROTATION",
        get=_get(path, math.radians, 0.0),
        set=_set(path, edits.tidy_degrees),
    )


def share(path: str, name: str, description: str, *, high: float = 1.0) -> Any:
    """A share of the move, shown in percent."""
    return FloatProperty(
        name=_called(path, name),
        description=description,
        min=0.0,
        max=100.0 * high,
        step=100,
        precision=1,
        subtype="PERCENTAGE",
        get=_get(path, lambda value: 100.0 * value, 0.0),
        set=_set(path, lambda value: round(edits.tidy(value) / 100.0, edits.PLACE_DECIMALS)),
    )


def whole(path: str, name: str, description: str, *, low: int, high: int, subtype: Any = "NONE") -> Any:
    """A whole number."""
    return IntProperty(
        name=_called(path, name),
        description=description,
        min=low,
        max=high,
        subtype=subtype,
        get=_get(path, int, low),
        set=_set(path, int),
    )


def text(path: str, name: str, description: str, **more: Any) -> Any:
    """A line of text."""
    return StringProperty(
        name=_called(path, name),
        description=description,
        get=_get(path, str, ""),
        set=_set(path, str.strip),
        **more,
    )


def choice(
    path: str, name: str, description: str, options: tuple[str, ...], words: dict[str, tuple[str, str]]
) -> Any:
    """One of the plan's options; words has a label and a tooltip for each."""
    return EnumProperty(
        name=_called(path, name),
        description=description,
        items=[(option, *words[option], place) for place, option in enumerate(options)],
        get=_get(path, options.index, 0),
        set=_set(path, lambda place: options[place]),
    )


def shutter(path: str, name: str, description: str) -> Any:
    """A shutter time, typed and shown as on a camera."""
    return StringProperty(
        name=_called(path, name),
        description=description,
        get=_get(path, lambda seconds_: shutter_label(seconds_).removesuffix(" s"), ""),
        set=_set(path, lambda typed: edits.parse_shutter(typed, path)),
    )


def point(path: str, name: str, description: str) -> Any:
    """A point or extent in scene metres."""
    return FloatVectorProperty(
        name=_called(path, name),
        description=description,
        size=3,
        precision=3,
        step=10,
        unit="LENGTH",
        subtype="XYZ",
        get=_get(path, tuple, (0.0, 0.0, 0.0)),
        set=_set(path, lambda values: tuple(edits.tidy(v) for v in values)),
    )


def part(
    path: str, name: str, description: str, make: Callable[[Plan], Plan], drop: Callable[[Plan], Plan]
) -> Any:
    """Whether the plan has an optional part: switched on, `make` adds it, switched off, `drop` takes it
    out.
    """

    def set_value(owner: Any, wanted: bool) -> None:
        plan = live.plan_of(owner.id_data)
        if plan is not None and wanted != (edits.value_at(plan, path) is not None):
            live.attempt(owner.id_data, make if wanted else drop)

    return BoolProperty(
        name=_called(path, name),
        description=description,
        get=_get(path, lambda _value: True, False),
        set=set_value,
    )


# ---------------------------------------------------------------- words for choices

EVENT_CHOICES = {
    name: (EVENT_WORDS[name], tip)
    for name, tip in {
        "sunrise": "The sun's upper edge comes over a level horizon",
        "sunset": "The sun's upper edge goes under a level horizon",
        "civil_dawn": "The sun is 6° below the horizon and rising",
        "civil_dusk": "The sun is 6° below the horizon and sinking: the end of civil twilight",
        "nautical_dawn": "The sun is 12° below the horizon and rising",
        "nautical_dusk": "The sun is 12° below the horizon and sinking",
        "astronomical_dawn": "The sun is 18° below the horizon and rising: the night ends",
        "astronomical_dusk": "The sun is 18° below the horizon and sinking: the night begins",
        "moonrise": "The moon's upper edge comes over a level horizon",
        "moonset": "The moon's upper edge goes under a level horizon",
        "solar_noon": "The sun stands highest",
    }.items()
}
DRIVE_CHOICES = {
    "shoot-move-shoot": (
        "Shoot, move, shoot",
        "The axes rest while the shutter is open: no blur from the move",
    ),
    "continuous": ("Continuous", "The axes move all the time, also while the shutter is open"),
}
STYLE_CHOICES = {
    "hold": ("Hold", "The picture stands composed from the first frame to the last"),
    "reveal": ("Reveal", "The subject is out of sight at first and comes into the picture on the way"),
}
ROLE_CHOICES = {
    "subject": ("Subject", "What the picture is about"),
    "foreground": ("Foreground", "Near things that slide past and give the move its depth"),
    "background": ("Background", "What stands behind"),
    "ground": ("Ground", "What one stands and walks on"),
    "water": ("Water", "A level sheet of water"),
}
RAMP_CHOICES = {
    "shutter-first": ("Shutter first", "As it gets dark the shutter goes long first, then ISO goes up"),
    "iso-first": ("ISO first", "As it gets dark ISO goes up first, then the shutter goes long"),
}
assert set(RAMP_CHOICES) == set(RAMP_ORDERS)
TIMING_CHOICES = (
    (
        "ANCHOR",
        "Light event",
        "A sunset, moonrise or other event falls on a place in the move",
        "LIGHT_SUN",
        0,
    ),
    ("START", "Start time", "The first frame is taken at a local time", "TIME", 1),
)


# ---------------------------------------------------------------- fields that need more than their value


def _get_timing(owner: Any) -> int:
    plan = live.plan_of(owner.id_data)
    return int(plan is not None and plan.shoot.start is not None)


def _set_timing(owner: Any, wanted: int) -> None:
    if wanted != _get_timing(owner):
        live.attempt(owner.id_data, edits.with_start if wanted else lambda p: edits.with_anchor(p, "sunset"))


def _get_start(owner: Any) -> str:
    plan = live.plan_of(owner.id_data)
    return plan.shoot.start.isoformat(" ") if plan and plan.shoot.start else ""


def _set_start(owner: Any, typed: str) -> None:
    live.attempt(
        owner.id_data,
        lambda plan: edits.evolved(plan, "shoot.start", edits.parse_start(typed, "shoot.start")),
    )


def _set_date(owner: Any, typed: str) -> None:
    live.attempt(
        owner.id_data,
        lambda plan: edits.evolved(plan, "shoot.anchor.date", edits.parse_date(typed, "shoot.anchor.date")),
    )


def _find_blocks(owner: Any, _context: Any, typed: str) -> Iterator[str]:
    plan = live.plan_of(owner.id_data)
    return (b.name for b in (plan.blocks if plan else ()) if b.name and typed.lower() in b.name.lower())


def _set_place(owner: Any, percent: float) -> None:
    def change(plan: Plan) -> Plan:
        moved, row = edits.moved_to(plan, owner.row, edits.tidy(percent) / 100.0)
        row_now.append(row)
        return moved

    row_now: list[int] = []
    if not live.attempt(owner.id_data, change) and row_now:
        owner.id_data.duskrail.pose_row = row_now[0]


def _get_given(name: str) -> Getter:
    def get(owner: Any) -> bool:
        plan = live.plan_of(owner.id_data)
        if plan is None or owner.row >= len(plan.move.poses):
            return False
        return getattr(plan.move.poses[owner.row], name) is not None

    return get


def _set_given(name: str) -> Setter:
    """Give a pose's axis the value it is at now, or leave it to the poses around."""

    def set_value(owner: Any, wanted: bool) -> None:
        def change(plan: Plan) -> Plan:
            pose = plan.move.poses[owner.row]
            value = edits.axes_at(plan, pose.at).get(name) if wanted else None
            return edits.evolved(plan, f"move.poses[{owner.row}].{name}", value)

        live.attempt(owner.id_data, change)

    return set_value


def _pose_value(name: str, convert: Callable[[float], float]) -> Getter:
    """A pose's value on an axis, or where the axis is then if the pose leaves it out."""

    def get(owner: Any) -> float:
        plan = live.plan_of(owner.id_data)
        if plan is None or owner.row >= len(plan.move.poses):
            return 0.0
        pose = plan.move.poses[owner.row]
        value = getattr(pose, name)
        return convert(edits.axes_at(plan, pose.at).get(name, 0.0) if value is None else value)

    return get


def _block_label(owner: Any) -> str:
    plan = live.plan_of(owner.id_data)
    return block_label(plan, owner.row) if plan and owner.row < len(plan.blocks) else ""


def _set_block_name(owner: Any, name: str) -> None:
    live.attempt(owner.id_data, lambda plan: kit.renamed(plan, owner.row, name.strip()))


LIGHTS_OPTIONS = (None, True, False)
LIGHTS_CHOICES = (
    ("ROLE", "By role", "Windows and lamps of the subject and background come on as it gets dark", 0),
    ("ON", "Lit at dusk", "Windows or lamps of this block come on as it gets dark", 1),
    ("OFF", "Dark", "This block stays dark", 2),
)


def _get_lights(owner: Any) -> int:
    plan = live.plan_of(owner.id_data)
    inside = plan is not None and owner.row < len(plan.blocks)
    return LIGHTS_OPTIONS.index(plan.blocks[owner.row].lights) if plan and inside else 0


def _add_exposure(plan: Plan) -> Plan:
    return attrs.evolve(
        plan, exposure=Exposure(f_number=5.6, shutter_max_s=max(0.5, round(0.5 * plan.shoot.interval_s, 3)))
    )


def _has(path: str, fresh: Any, name: str, description: str) -> Any:
    """Whether an optional number of the plan is given; switched on it starts at `fresh`."""
    return part(
        path,
        name,
        description,
        lambda plan: edits.evolved(plan, path, fresh),
        lambda plan: edits.evolved(plan, path, None),
    )


def _axis(axis: str, name: str, description: str) -> Any:
    return part(
        f"rig.{axis}",
        name,
        description,
        lambda plan: edits.with_axis(plan, axis, preferences.usual_axis(axis)),
        lambda plan: edits.without_axis(plan, axis),
    )


# ---------------------------------------------------------------- the groups


class DUSKRAIL_PG_pose(bpy.types.PropertyGroup):
    """One row of the list of poses."""

    row: IntProperty(options={"HIDDEN"})
    at: FloatProperty(
        name="Place",
        description="Where in the move this pose stands: 0 % is the first frame, 100 % the last",
        min=0.0,
        max=100.0,
        step=100,
        precision=1,
        subtype="PERCENTAGE",
        get=_get("move.poses[#].at", lambda value: 100.0 * value, 0.0),
        set=_set_place,
    )
    slide: FloatProperty(
        name="Slide",
        description="Where the carriage stands, measured along the rail from its start",
        step=5,
        precision=3,
        unit="LENGTH",
        subtype="DISTANCE",
        get=_pose_value("slide_m", float),
        set=_set("move.poses[#].slide_m", edits.tidy),
    )
    pan: FloatProperty(
        name="Pan",
        description="Compass bearing that the lens looks to, clockwise from true north. "
        "More than 360° or less than 0° says which way round it turns",
        step=50,
        precision=2,
        subtype="ANGLE",
        unit="ROTATION",
        get=_pose_value("pan_deg", math.radians),
        set=_set("move.poses[#].pan_deg", edits.tidy_degrees),
    )
    tilt: FloatProperty(
        name="Tilt",
        description="How far the lens looks above the horizon (negative: below)",
        step=50,
        precision=2,
        subtype="ANGLE",
        unit="ROTATION",
        get=_pose_value("tilt_deg", math.radians),
        set=_set("move.poses[#].tilt_deg", edits.tidy_degrees),
    )
    has_slide: BoolProperty(
        name="Slide is set",
        description="Whether this pose says where the carriage stands. If not, it passes on its way",
        get=_get_given("slide_m"),
        set=_set_given("slide_m"),
    )
    has_pan: BoolProperty(
        name="Pan is set",
        description="Whether this pose says where the lens points. If not, the pan passes on its way",
        get=_get_given("pan_deg"),
        set=_set_given("pan_deg"),
    )
    has_tilt: BoolProperty(
        name="Tilt is set",
        description="Whether this pose says how high the lens looks. If not, the tilt passes on its way",
        get=_get_given("tilt_deg"),
        set=_set_given("tilt_deg"),
    )


class DUSKRAIL_PG_block(bpy.types.PropertyGroup):
    """One row of the list of blocks."""

    row: IntProperty(options={"HIDDEN"})
    label: StringProperty(
        name="Name",
        description="What this block is called in findings. Double-click to rename",
        get=_block_label,
        set=_set_block_name,
    )
    role: choice("blocks[#].role", "Role", "What this block is in the picture", ROLES, ROLE_CHOICES)
    centre: point("blocks[#].centre_m", "Centre", "The block's middle in the scene")
    size: point("blocks[#].size_m", "Size", "Width, depth and height of the block")
    turn: angle("blocks[#].turn_deg", "Turned", "How far the block is turned, clockwise seen from above")
    height: length("blocks[#].height_m", "Height", "Height of the prism", low=0.01, high=500.0)
    base: length("blocks[#].base_m", "Foot", "Height of the prism's foot", low=-100.0, high=500.0)
    distance: length(
        "blocks[#].distance_m", "Distance", "How far the ridge is from the rail", low=1.0, step=100.0
    )
    lights: EnumProperty(
        name="Lights",
        description="Whether windows or lamps of this block come on at dusk",
        items=LIGHTS_CHOICES,
        get=_get_lights,
        set=_set("blocks[#].lights", lambda place: LIGHTS_OPTIONS[place]),
    )


def _row_chosen(owner: Any, context: Any) -> None:
    """Clicking a block in the list selects its object."""
    if 0 <= owner.block_row < len(owner.blocks) and not live.is_busy():
        selection.select_blocks(context, owner.id_data, [owner.block_row])


class DUSKRAIL_PG_settings(bpy.types.PropertyGroup):
    """What the panels show of a scene's plan, and how they show it."""

    poses: CollectionProperty(type=DUSKRAIL_PG_pose)
    pose_row: IntProperty(name="Pose", description="The pose that is chosen in the list", options={"HIDDEN"})
    blocks: CollectionProperty(type=DUSKRAIL_PG_block)
    block_row: IntProperty(
        name="Block",
        description="The block that is chosen in the list",
        default=-1,
        options={"HIDDEN"},
        update=_row_chosen,
    )

    block_where: EnumProperty(
        name="Where",
        description="What the place of a new block is given by",
        items=[
            (
                "MAP",
                "Bearing",
                "As read off a map: bearing and distance from the rail's start",
                "ORIENTATION_GIMBAL",
                0,
            ),
            ("CURSOR", "3D cursor", "With its foot at the 3D cursor", "PIVOT_CURSOR", 1),
        ],
    )
    # what the view shows
    show_path: BoolProperty(
        name="Path", description="Show the lens's way and its frames in the view", default=True
    )
    show_sky: BoolProperty(
        name="Sky",
        description="Show the sun's way across the sky, for the day and for the shoot, and the moon's",
        default=True,
    )
    show_readout: BoolProperty(
        name="Readout",
        description="Show clock, sun, moon, light and settings of the frame in the view",
        default=True,
    )
    show_phases: BoolProperty(
        name="Day and night", description="Shade day, twilight and night in the timeline", default=True
    )
    # the draft clip
    look: EnumProperty(
        name="Look",
        description="How the clip is drawn",
        items=[
            (
                "FAST",
                "Fast",
                "Plain blocks with the light's direction and brightness: for timing and composition",
            ),
            ("LIT", "Lit", "The light as it will be, exposed as planned"),
        ],
    )
    clip_px: IntProperty(
        name="Width",
        description="Width of the draft clip",
        default=640,
        min=64,
        max=7680,
        step=16,
        subtype="PIXEL",
    )
    every: IntProperty(
        name="Every nth",
        description="Draw every so many frames only, for a quick look",
        default=1,
        min=1,
        soft_max=24,
    )
    use_range: BoolProperty(name="Only frames", description="Draw some of the frames", default=False)
    first_frame: IntProperty(name="First", description="First frame of the draft clip", default=1, min=1)
    last_frame: IntProperty(name="Last", description="Last frame of the draft clip", default=24, min=1)
    clip_file: StringProperty(
        name="Clip",
        description="Where the clip goes. Empty: beside the plan file or the .blend",
        subtype="FILE_PATH",
    )
    # the plan's file
    file: StringProperty(
        name="File", description="The file that the plan was opened from or saved to", subtype="FILE_PATH"
    )
    file_digest: StringProperty(options={"HIDDEN"})
    saved_digest: StringProperty(options={"HIDDEN"})

    # the plan
    title: text("title", "Title", "What the plan is called, on the sheet and in the clip")
    reason: text(
        "reason", "Reason", "Why this shot moves at all. Where there is none, a still may be the better shot"
    )
    # the place and its light
    site_name: text("site.name", "Place", "What the place is called")
    latitude: number(
        "site.latitude_deg",
        "Latitude",
        "Degrees north of the equator (negative: south), as a map gives them",
        low=-90.0,
        high=90.0,
        step=0.1,
        precision=5,
    )
    longitude: number(
        "site.longitude_deg",
        "Longitude",
        "Degrees east of Greenwich (negative: west), as a map gives them",
        low=-180.0,
        high=180.0,
        step=0.1,
        precision=5,
    )
    elevation: length(
        "site.elevation_m", "Elevation", "Height above the sea", low=-450.0, high=9000.0, step=10.0
    )
    timezone: text(
        "site.timezone",
        "Time zone",
        "The zone whose clock the plan goes by, as in Europe/Lisbon",
        search=preferences.find_zones,
        search_options={"SORT", "SUGGESTION"},
    )
    north: angle(
        "site.scene_north_deg",
        "Scene looks to",
        "Compass bearing of the scene's +Y axis. 0° has north ahead, 90° east",
    )
    # when
    timing: EnumProperty(
        name="Timing",
        description="What sets the time of the shoot",
        items=TIMING_CHOICES,
        get=_get_timing,
        set=_set_timing,
    )
    event: choice(
        "shoot.anchor.event",
        "Event",
        "The light event that the shoot is timed by",
        ANCHOR_EVENTS,
        EVENT_CHOICES,
    )
    date: StringProperty(
        name="Date",
        description="Local date of the event: year-month-day",
        get=_get("shoot.anchor.date", str, ""),
        set=_set_date,
    )
    anchor_at: share(
        "shoot.anchor.at", "Falls at", "Place in the move on which the event falls: 50 % is half way"
    )
    start: StringProperty(
        name="Start",
        description="Local time of the first frame, as in 2027-03-14 17:20",
        get=_get_start,
        set=_set_start,
    )
    cloud: number(
        "shoot.cloud_divisor",
        "Cloud",
        "What the clouds leave of the light: 1 clear sky, "
        "3 average cloud (a third), 10 dark stratus (a tenth)",
        low=1.0,
        high=20.0,
        step=0.5,
        precision=1,
    )
    frames: whole("shoot.frames", "Frames", "How many pictures are taken", low=1, high=100_000)
    interval: seconds(
        "shoot.interval_s", "Interval", "From the start of one exposure to the start of the next", low=0.1
    )
    write: seconds("shoot.write_s", "Writing", "How long the camera takes to store a picture", high=60.0)
    setup: seconds("shoot.setup_s", "Setting up", "From arriving to the first frame", high=86400.0, step=60.0)
    travel: seconds(
        "shoot.travel_s", "Way there", "How long it takes to get to the place", high=86400.0, step=60.0
    )
    # rig
    has_slide: _axis("slide", "Slider", "The rig has a rail with a driven carriage")
    has_pan: _axis("pan", "Pan", "The head turns left and right")
    has_tilt: _axis("tilt", "Tilt", "The head turns up and down")
    origin: point("rig.origin_m", "Rail start", "Where the rail starts (slide 0), in the scene")
    bearing: angle("rig.bearing_deg", "Runs to", "Compass bearing in which the carriage travels")
    incline: angle("rig.incline_deg", "Rises", "How steeply the rail rises", low=-90.0, high=90.0)
    max_incline: angle(
        "rig.max_incline_deg", "Steepest", "The steepest rail that the motor can climb", low=0.0, high=90.0
    )
    head_height: length(
        "rig.head_height_m",
        "Head height",
        "The turning axes above the carriage",
        low=-2.0,
        high=5.0,
        step=0.01,
    )
    pupil: length(
        "rig.pupil_offset_m",
        "Lens ahead",
        "How far the lens's entrance pupil is ahead of the turning axes",
        low=-1.0,
        high=1.0,
        step=0.01,
    )
    settle: seconds(
        "rig.settle_s",
        "Settling",
        "How long the rig swings after a move before a picture is sharp",
        high=60.0,
    )
    slide_min: length("rig.slide.min_m", "From", "Where the usable rail begins", step=0.05)
    slide_max: length("rig.slide.max_m", "To", "Where the usable rail ends", step=0.05)
    slide_speed: number(
        "rig.slide.max_speed_m_s",
        "Speed",
        "Fastest the carriage goes",
        low=0.0001,
        high=2.0,
        step=0.01,
        precision=4,
        unit="VELOCITY",
    )
    slide_acceleration: number(
        "rig.slide.max_acceleration_m_s2",
        "Acceleration",
        "How quickly the carriage gets going",
        low=0.0001,
        high=10.0,
        step=0.01,
        precision=4,
        unit="ACCELERATION",
    )
    slide_step: FloatProperty(
        name="Step (mm)",
        description="Smallest move of the carriage that the motor can make, in millimetres",
        soft_min=0.0001,
        soft_max=10.0,
        step=1,
        precision=4,
        get=_get("rig.slide.step_m", lambda value: 1000.0 * value, 0.0),
        set=_set("rig.slide.step_m", lambda value: round(edits.tidy(value) / 1000.0, 9)),
    )
    pan_min: angle(
        "rig.pan.min_deg", "From", "Lowest bearing that the head turns to", low=-1080.0, high=1080.0
    )
    pan_max: angle(
        "rig.pan.max_deg", "To", "Highest bearing that the head turns to", low=-1080.0, high=1080.0
    )
    pan_speed: number(
        "rig.pan.max_speed_deg_s",
        "Speed (°/s)",
        "Fastest the pan turns, in degrees a second",
        low=0.01,
        high=90.0,
        step=0.5,
    )
    pan_acceleration: number(
        "rig.pan.max_acceleration_deg_s2",
        "Acceleration (°/s²)",
        "How quickly the pan gets going, in degrees a second, every second",
        low=0.01,
        high=90.0,
        step=0.5,
    )
    pan_step: number(
        "rig.pan.step_deg",
        "Step (°)",
        "Smallest turn of the pan that the motor can make, in degrees",
        low=0.0001,
        high=1.0,
        step=0.01,
        precision=4,
    )
    tilt_min: angle("rig.tilt.min_deg", "From", "Lowest the lens looks", low=-90.0, high=90.0)
    tilt_max: angle("rig.tilt.max_deg", "To", "Highest the lens looks", low=-90.0, high=90.0)
    tilt_speed: number(
        "rig.tilt.max_speed_deg_s",
        "Speed (°/s)",
        "Fastest the tilt turns, in degrees a second",
        low=0.01,
        high=90.0,
        step=0.5,
    )
    tilt_acceleration: number(
        "rig.tilt.max_acceleration_deg_s2",
        "Acceleration (°/s²)",
        "How quickly the tilt gets going, in degrees a second, every second",
        low=0.01,
        high=90.0,
        step=0.5,
    )
    tilt_step: number(
        "rig.tilt.step_deg",
        "Step (°)",
        "Smallest turn of the tilt that the motor can make, in degrees",
        low=0.0001,
        high=1.0,
        step=0.01,
        precision=4,
    )
    # camera and clip
    sensor_width: millimetres(
        "camera.sensor_width_mm", "Sensor width", "Width of the whole sensor", high=100.0
    )
    sensor_height: millimetres("camera.sensor_height_mm", "Height", "Height of the whole sensor", high=100.0)
    image_width: whole(
        "camera.image_width_px",
        "Picture width",
        "Width of a picture as the camera takes it",
        low=16,
        high=60000,
        subtype="PIXEL",
    )
    image_height: whole(
        "camera.image_height_px",
        "Height",
        "Height of a picture as the camera takes it",
        low=16,
        high=60000,
        subtype="PIXEL",
    )
    focal_length: millimetres(
        "camera.focal_length_mm", "Focal length", "Focal length as the lens has it", high=1000.0
    )
    focus: length(
        "camera.focus_distance_m", "Focus", "Distance that the lens is focused to", low=0.02, high=1000.0
    )
    has_raw_size: _has(
        "camera.raw_file_mb",
        30.0,
        "File size known",
        "Give the size of a raw file, to see what the card has to hold",
    )
    raw_size: number(
        "camera.raw_file_mb",
        "Raw file (MB)",
        "Size of one picture on the card, in megabytes",
        low=0.1,
        high=500.0,
        precision=1,
    )
    clip_width: whole(
        "clip.width_px", "Clip width", "Width of the delivered clip", low=16, high=16384, subtype="PIXEL"
    )
    clip_height: whole(
        "clip.height_px", "Height", "Height of the delivered clip", low=16, high=16384, subtype="PIXEL"
    )
    fps: number(
        "clip.fps", "Frames a second", "How fast the clip plays", low=1.0, high=240.0, step=1.0, precision=3
    )
    # move
    drive: choice("move.drive", "Drive", "How the rig is driven", DRIVES, DRIVE_CHOICES)
    ease: share("move.ease", "Ease", "Share of the move spent speeding up, and again slowing down", high=0.5)
    # exposure
    has_exposure: part(
        "exposure",
        "Exposure",
        "Plan the exposure: how aperture, shutter and ISO follow the light",
        _add_exposure,
        lambda plan: attrs.evolve(plan, exposure=None),
    )
    f_number: number(
        "exposure.f_number", "f/", "The f-number, kept throughout", low=0.7, high=64.0, step=0.1, precision=1
    )
    iso_min: number(
        "exposure.iso_min", "ISO from", "Lowest ISO to use", low=25.0, high=102400.0, step=100.0, precision=0
    )
    iso_max: number(
        "exposure.iso_max",
        "ISO to",
        "Highest ISO that is clean enough",
        low=25.0,
        high=409600.0,
        step=100.0,
        precision=0,
    )
    shutter_min: shutter("exposure.shutter_min_s", "Shutter from", "Shortest exposure, as in 1/2000")
    shutter_max: shutter(
        "exposure.shutter_max_s", "Shutter to", "Longest exposure, in seconds, as in 5 or 1/2"
    )
    nd: number(
        "exposure.nd_stops",
        "ND (stops)",
        "Stops that a filter takes, all the time",
        low=0.0,
        high=15.0,
        step=0.5,
        precision=1,
    )
    night_look: number(
        "exposure.night_look_stops",
        "Night (stops)",
        "How much darker than metered the night should look, in stops (negative: darker)",
        low=-4.0,
        high=2.0,
        step=0.25,
        precision=2,
    )
    has_artificial: _has(
        "exposure.artificial_ev100",
        2.0,
        "Lamps",
        "The place has lamps, and doesn't get darker than they make it",
    )
    artificial: number(
        "exposure.artificial_ev100",
        "Lamp light (EV)",
        "EV at ISO 100 of the place by its lamps alone: a distant lit skyline about 2, a lit street 6 to 8",
        low=-6.0,
        high=14.0,
        step=0.5,
        precision=1,
    )
    ramp_order: choice(
        "exposure.ramp_order", "As it gets dark", "What gives first", RAMP_ORDERS, RAMP_CHOICES
    )
    # composition
    has_composition: part(
        "composition",
        "Composition",
        "Have the picture judged: whether it holds, or reveals its subject",
        lambda plan: attrs.evolve(plan, composition=Composition()),
        lambda plan: attrs.evolve(plan, composition=None),
    )
    style: choice("composition.style", "Style", "What the move does to the picture", STYLES, STYLE_CHOICES)
    subject: text(
        "composition.subject",
        "Subject",
        "Block that the picture is about. Empty: every block of that role",
        search=_find_blocks,
        search_options={"SUGGESTION"},
    )
    reveal_by: share(
        "composition.reveal_by", "Shown by", "Place in the move by which a reveal has to show its subject"
    )


wording.labels |= {
    "shoot.anchor.date": "Date",
    "shoot.start": "Start",
    "move.poses[#].at": "Place",
    "move.poses[#].slide_m": "Slide",
    "move.poses[#].pan_deg": "Pan",
    "move.poses[#].tilt_deg": "Tilt",
    "rig.slide.step_m": "Step (mm)",
}

CLASSES = (DUSKRAIL_PG_pose, DUSKRAIL_PG_block, DUSKRAIL_PG_settings)


def register() -> None:
    for cls in CLASSES:
        bpy.utils.register_class(cls)
    scenes: Any = bpy.types.Scene
    scenes.duskrail = PointerProperty(type=DUSKRAIL_PG_settings)


def unregister() -> None:
    scenes: Any = bpy.types.Scene
    del scenes.duskrail
    for cls in reversed(CLASSES):
        bpy.utils.unregister_class(cls)
