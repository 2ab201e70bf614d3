"""The site, and when the shoot is."""
# Blender reads the annotations of its classes as they are, so none may be turned into text here.
# mypy: disable-error-code="valid-type,func-returns-value"

from typing import Any

from bpy.props import EnumProperty, StringProperty

from planner_core.edit import edits
from planner_core.plan.model import ANCHOR_EVENTS

from ...state import live
from .. import preferences, wording
from .choices import EVENT_CHOICES, TIMING_CHOICES
from .fields import (
    NOT_KEYED,
    angle,
    choice,
    get_value,
    labelled,
    length,
    number,
    seconds,
    set_value,
    share,
    text,
    whole,
    yes_or_no,
)


def _get_timing(owner: Any) -> int:
    plan = live.plan_of(owner.id_data)
    return int(plan is not None and plan.shoot.start is not None)


def _set_timing(owner: Any, wanted: int) -> None:
    if wanted != _get_timing(owner):
        live.change_plan(
            owner.id_data, edits.with_start if wanted else lambda p: edits.with_anchor(p, "sunset")
        )


def _get_start(owner: Any) -> str:
    plan = live.plan_of(owner.id_data)
    if plan is None or plan.shoot.start is None:
        return ""
    return plan.shoot.start.isoformat(" ", "auto" if plan.shoot.start.second else "minutes")


def _set_start(owner: Any, typed: str) -> None:
    live.change_plan(
        owner.id_data,
        lambda plan: edits.evolved(plan, "shoot.start", edits.parse_start(typed, "shoot.start")),
    )


def _set_date(owner: Any, typed: str) -> None:
    live.change_plan(
        owner.id_data,
        lambda plan: edits.evolved(plan, "shoot.anchor.date", edits.parse_date(typed, "shoot.anchor.date")),
    )


class SiteFields:
    """Where the place is."""

    site_name: text("site.name", "Place", "Name of the place")
    latitude: number(
        "site.latitude_deg",
        "Latitude",
        "Degrees north of the equator, as on a map; negative for south",
        low=-90.0,
        high=90.0,
        step=0.1,
        precision=5,
    )
    longitude: number(
        "site.longitude_deg",
        "Longitude",
        "Degrees east of Greenwich, as on a map; negative for west",
        low=-180.0,
        high=180.0,
        step=0.1,
        precision=5,
    )
    timezone: text(
        "site.timezone",
        "Time Zone",
        "Time zone that the plan's clock follows, for example Europe/Lisbon",
        search=preferences.find_zones,
        search_options={"SORT", "SUGGESTION"},
    )
    north: angle(
        "site.scene_north_deg",
        "Scene Bearing",
        "Compass bearing of the scene's Y axis: 0° is north, 90° is east",
    )


class SeaFields:
    """The tide at the place."""

    tides: StringProperty(
        name=labelled("site.tides", "Tides"),
        description="High and low waters from a tide table, such as 2027-03-14 13:10 0.6, separated by "
        "commas",
        get=get_value("site.tides", edits.tides_text, ""),
        set=set_value("site.tides", lambda typed: edits.parse_tides(typed, "site.tides")),
        options=NOT_KEYED,
    )
    chart_zero: length(
        "site.scene_zero_above_chart_m",
        "Zero above Chart",
        "Height of the scene's zero above the zero of the tide table",
        low=-100.0,
        high=100.0,
    )
    swell: length("site.swell_m", "Swell", "Height of the waves above the still water", low=0.0, high=20.0)
    water_margin: length(
        "site.water_margin_m", "Safety Margin", "Height to keep clear above the swell", low=0.0, high=10.0
    )


class ShootFields:
    """When the shoot is, and how many pictures it takes."""

    timing: EnumProperty(
        name="Timing",
        description="What the time of the shoot depends on",
        items=TIMING_CHOICES,
        get=_get_timing,
        set=_set_timing,
        options=NOT_KEYED,
    )
    event: choice(
        "shoot.anchor.event",
        "Event",
        "The light event that sets the time of the shoot",
        ANCHOR_EVENTS,
        EVENT_CHOICES,
    )
    date: StringProperty(
        name="Date",
        description="Local date of the event, as year-month-day",
        get=get_value("shoot.anchor.date", str, ""),
        set=_set_date,
        options=NOT_KEYED,
    )
    anchor_at: share(
        "shoot.anchor.at", "Falls At", "Place in the move at which the event falls; 50 % is half way"
    )
    start: StringProperty(
        name="Start",
        description="Local time of the first frame, for example 2027-03-14 17:20",
        get=_get_start,
        set=_set_start,
        options=NOT_KEYED,
    )
    cloud: number(
        "shoot.cloud_divisor",
        "Cloud",
        "How far clouds dim the light: 1 for a clear sky, "
        "3 for average cloud (a third is left), 10 for dark stratus (a tenth is left)",
        low=1.0,
        high=20.0,
        step=0.5,
        precision=1,
    )
    wind: number(
        "shoot.wind_m_s",
        "Wind",
        "Wind at the height of the clouds, metres a second: the clouds of the preview drift with it",
        low=0.0,
        high=60.0,
        step=1.0,
        precision=1,
    )
    wind_from: number(
        "shoot.wind_from_deg",
        "Wind From",
        "Where the wind comes from, in degrees clockwise from north: 270 for a west wind",
        low=0.0,
        high=360.0,
        step=10.0,
        precision=0,
    )
    frames: whole("shoot.frames", "Frames", "Number of pictures to take", low=1, high=100_000)
    interval: seconds(
        "shoot.interval_s",
        "Interval",
        "Time from the start of one exposure to the start of the next",
        low=0.1,
    )
    interval_step: seconds(
        "shoot.interval_step_s", "Timer Step", "Smallest step of the interval timer", low=0.001, high=60.0
    )
    write: seconds("shoot.write_s", "Writing Time", "Time the camera takes to store a picture", high=60.0)
    setup: seconds(
        "shoot.setup_s", "Setup Time", "Time from arrival to the first frame", high=86400.0, step=60.0
    )
    travel: seconds(
        "shoot.travel_s", "Travel Time", "Time it takes to get to the place", high=86400.0, step=60.0
    )
    attended: yes_or_no(
        "shoot.attended",
        "Needs Hands",
        "Somebody has to stay while it runs, to ramp by hand or change a filter",
    )


wording.labels |= {"shoot.anchor.date": "Date", "shoot.start": "Start"}
