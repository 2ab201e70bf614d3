"""What a new plan starts with, and how plans are shown, as the extension's preferences.

Where Blender has no preferences for the extension (its modules used without being enabled), the defaults
hold.
"""
# Blender reads the annotations of its classes as they are, so none may be turned into text here.
# mypy: disable-error-code="valid-type"

import zoneinfo
from collections.abc import Iterator
from functools import lru_cache
from typing import Any

import bpy
from bpy.props import BoolProperty, FloatProperty, IntProperty, StringProperty

from planner_core.plan.model import SlideAxis, TurnAxis

ADDON = (__package__ or "").rpartition(".")[0]  # as Blender lists it


@lru_cache(maxsize=1)
def zone_names() -> tuple[str, ...]:
    """The time zones that a person would choose from."""
    return tuple(sorted(zone for zone in zoneinfo.available_timezones() if "/" in zone or zone == "UTC"))


def find_zones(_owner: Any, _context: Any, typed: str) -> Iterator[str]:
    """Time zones that have what was typed in their name."""
    wanted = typed.lower().replace(" ", "_")
    return (zone for zone in zone_names() if wanted in zone.lower())


class DUSKRAIL_AP_preferences(bpy.types.AddonPreferences):
    """Defaults for new plans."""

    bl_idname = ADDON

    timezone: StringProperty(
        name="Time zone",
        description="Zone whose clock a new plan goes by",
        default="Europe/Zurich",
        search=find_zones,
        search_options={"SORT", "SUGGESTION"},
    )
    latitude_deg: FloatProperty(
        name="Latitude",
        description="Degrees north of the equator (negative: south)",
        default=46.5,
        min=-90,
        max=90,
        precision=4,
    )
    longitude_deg: FloatProperty(
        name="Longitude",
        description="Degrees east of Greenwich (negative: west)",
        default=7.0,
        min=-180,
        max=180,
        precision=4,
    )
    rail_m: FloatProperty(
        name="Rail",
        description="Usable length of your slider",
        default=1.2,
        min=0.1,
        max=30.0,
        unit="LENGTH",
        subtype="DISTANCE",
    )
    slide_speed_m_s: FloatProperty(
        name="Slide speed",
        description="Fastest the carriage goes",
        default=0.04,
        min=0.0001,
        max=5.0,
        precision=4,
        unit="VELOCITY",
    )
    turn_speed_deg_s: FloatProperty(
        name="Turn speed (°/s)",
        description="Fastest the head pans and tilts, in degrees a second",
        default=5.0,
        min=0.01,
        max=360.0,
    )
    has_slide: BoolProperty(name="Slider", description="A new plan's rig has a rail", default=True)
    has_pan: BoolProperty(name="Pan", description="A new plan's head turns left and right", default=True)
    has_tilt: BoolProperty(name="Tilt", description="A new plan's head turns up and down", default=True)
    rail_height_m: FloatProperty(
        name="Rail height",
        description="Height of the rail above the ground",
        default=0.7,
        min=0.0,
        max=30.0,
        unit="LENGTH",
        subtype="DISTANCE",
    )
    head_height_m: FloatProperty(
        name="Head height",
        description="The turning axes above the carriage",
        default=0.16,
        min=-2.0,
        max=5.0,
        unit="LENGTH",
        subtype="DISTANCE",
    )
    settle_s: FloatProperty(
        name="Settling",
        description="How long the rig swings after a move",
        default=0.8,
        min=0.0,
        max=60.0,
        unit="TIME_ABSOLUTE",
        subtype="TIME_ABSOLUTE",
    )
    sensor_width_mm: FloatProperty(
        name="Sensor width",
        description="Width of your camera's sensor",
        default=36.0,
        min=1.0,
        max=150.0,
        unit="CAMERA",
        subtype="DISTANCE_CAMERA",
    )
    sensor_height_mm: FloatProperty(
        name="Height",
        description="Height of your camera's sensor",
        default=24.0,
        min=1.0,
        max=150.0,
        unit="CAMERA",
        subtype="DISTANCE_CAMERA",
    )
    image_width_px: IntProperty(
        name="Picture width",
        description="Width of a picture as your camera takes it",
        default=6000,
        min=16,
        max=60000,
        subtype="PIXEL",
    )
    image_height_px: IntProperty(
        name="Height",
        description="Height of a picture as your camera takes it",
        default=4000,
        min=16,
        max=60000,
        subtype="PIXEL",
    )
    focal_length_mm: FloatProperty(
        name="Focal length",
        description="The lens you use most",
        default=24.0,
        min=2.0,
        max=3000.0,
        unit="CAMERA",
        subtype="DISTANCE_CAMERA",
    )
    clip_width_px: IntProperty(
        name="Clip width",
        description="Width of the delivered clip",
        default=3840,
        min=16,
        max=16384,
        subtype="PIXEL",
    )
    clip_height_px: IntProperty(
        name="Height",
        description="Height of the delivered clip",
        default=2160,
        min=16,
        max=16384,
        subtype="PIXEL",
    )
    fps: FloatProperty(
        name="Frames a second", description="How fast the clip plays", default=24.0, min=1.0, max=240.0
    )

    def draw(self, _context: bpy.types.Context) -> None:
        """Lay the defaults out, by topic."""
        layout = self.layout
        layout.use_property_split = True
        layout.use_property_decorate = False
        layout.label(text="A new plan starts with:")
        for rows in (
            ("timezone", "latitude_deg", "longitude_deg"),
            ("rail_m", "rail_height_m", "slide_speed_m_s", "head_height_m", "turn_speed_deg_s", "settle_s"),
            ("sensor_width_mm", "sensor_height_mm", "image_width_px", "image_height_px", "focal_length_mm"),
            ("clip_width_px", "clip_height_px", "fps"),
        ):
            column = layout.column(align=True)
            for name in rows:
                column.prop(self, name)
            if "rail_m" in rows:
                row = layout.row(heading="Axes")
                for name in ("has_slide", "has_pan", "has_tilt"):
                    row.prop(self, name, toggle=True)


class Defaults:
    """The preferences' defaults, for where Blender keeps none."""

    def __getattr__(self, name: str) -> Any:
        try:
            return DUSKRAIL_AP_preferences.__annotations__[name].keywords.get("default", "")
        except KeyError:
            raise AttributeError(name) from None


def current() -> Any:
    """The preferences as the user has set them, or the defaults."""
    kept: Any = bpy.context.preferences
    addon = kept.addons.get(ADDON)
    found = addon.preferences if addon else None
    return found if isinstance(found, DUSKRAIL_AP_preferences) else Defaults()


def usual_axis(axis: str) -> SlideAxis | TurnAxis:
    """An axis as the preferences have it: slide, pan or tilt."""
    usual = current()
    if axis == "slide":
        speed = round(usual.slide_speed_m_s, 5)
        return SlideAxis(
            min_m=0.0,
            max_m=round(usual.rail_m, 3),
            max_speed_m_s=speed,
            max_acceleration_m_s2=speed,
            step_m=1e-5,
        )
    low, high = (0.0, 360.0) if axis == "pan" else (-45.0, 45.0)
    speed = round(usual.turn_speed_deg_s, 3)
    return TurnAxis(
        min_deg=low, max_deg=high, max_speed_deg_s=speed, max_acceleration_deg_s2=speed, step_deg=0.01
    )


CLASSES = (DUSKRAIL_AP_preferences,)


def register() -> None:
    for cls in CLASSES:
        bpy.utils.register_class(cls)


def unregister() -> None:
    for cls in reversed(CLASSES):
        bpy.utils.unregister_class(cls)
