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

import attrs
import bpy
from bpy.props import BoolProperty, FloatProperty, IntProperty, StringProperty

from planner_core.edit.starter import PlanDefaults
from planner_core.words.language import say

from . import manual_page
from .translation import in_own_context

ADDON = (__package__ or "").rpartition(".")[0]  # as Blender lists it
USUAL = PlanDefaults()


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
        name="Time Zone",
        description="Time zone of a new plan",
        default=USUAL.timezone,
        search=find_zones,
        search_options={"SORT", "SUGGESTION"},
    )
    latitude_deg: FloatProperty(
        name="Latitude",
        description="Degrees north of the equator; negative for south",
        default=USUAL.latitude_deg,
        min=-90,
        max=90,
        precision=4,
    )
    longitude_deg: FloatProperty(
        name="Longitude",
        description="Degrees east of Greenwich; negative for west",
        default=USUAL.longitude_deg,
        min=-180,
        max=180,
        precision=4,
    )
    rail_m: FloatProperty(
        name="Rail",
        description="How far the carriage can go on your slider, end to end",
        default=USUAL.rail_m,
        min=0.1,
        max=30.0,
        unit="LENGTH",
        subtype="DISTANCE",
    )
    slide_speed_m_s: FloatProperty(
        name="Slide Speed",
        description="Top speed of the carriage",
        default=USUAL.slide_speed_m_s,
        min=0.0001,
        max=5.0,
        precision=4,
        unit="VELOCITY",
    )
    turn_speed_deg_s: FloatProperty(
        name="Turn Speed (°/s)",
        description="Top speed of pan and tilt, in degrees a second",
        default=USUAL.turn_speed_deg_s,
        min=0.01,
        max=360.0,
    )
    has_slide: BoolProperty(
        name="Slider", description="The rig of a new plan has a rail", default=USUAL.has_slide
    )
    has_pan: BoolProperty(
        name="Pan", description="The head of a new plan turns left and right", default=USUAL.has_pan
    )
    has_tilt: BoolProperty(
        name="Tilt", description="The head of a new plan turns up and down", default=USUAL.has_tilt
    )
    rail_height_m: FloatProperty(
        name="Rail Height",
        description="Height of the rail above the ground",
        default=USUAL.rail_height_m,
        min=0.0,
        max=30.0,
        unit="LENGTH",
        subtype="DISTANCE",
    )
    head_height_m: FloatProperty(
        name="Head Height",
        description="Height of the pan and tilt axes above the carriage",
        default=USUAL.head_height_m,
        min=-2.0,
        max=5.0,
        unit="LENGTH",
        subtype="DISTANCE",
    )
    settle_s: FloatProperty(
        name="Settling Time",
        description="How long the rig shakes after a move",
        default=USUAL.settle_s,
        min=0.0,
        max=60.0,
        unit="TIME_ABSOLUTE",
        subtype="TIME_ABSOLUTE",
    )
    sensor_width_mm: FloatProperty(
        name="Sensor Width",
        description="Width of your camera's sensor",
        default=USUAL.sensor_width_mm,
        min=1.0,
        max=150.0,
        unit="CAMERA",
        subtype="DISTANCE_CAMERA",
    )
    sensor_height_mm: FloatProperty(
        name="Height",
        description="Height of your camera's sensor",
        default=USUAL.sensor_height_mm,
        min=1.0,
        max=150.0,
        unit="CAMERA",
        subtype="DISTANCE_CAMERA",
    )
    image_width_px: IntProperty(
        name="Picture Width",
        description="Width of the pictures your camera takes",
        default=USUAL.image_width_px,
        min=16,
        max=60000,
        subtype="PIXEL",
    )
    image_height_px: IntProperty(
        name="Height",
        description="Height of the pictures your camera takes",
        default=USUAL.image_height_px,
        min=16,
        max=60000,
        subtype="PIXEL",
    )
    focal_length_mm: FloatProperty(
        name="Focal Length",
        description="The lens you use most",
        default=USUAL.focal_length_mm,
        min=2.0,
        max=3000.0,
        unit="CAMERA",
        subtype="DISTANCE_CAMERA",
    )
    clip_width_px: IntProperty(
        name="Clip Width",
        description="Width of the delivered clip",
        default=USUAL.clip_width_px,
        min=16,
        max=16384,
        subtype="PIXEL",
    )
    clip_height_px: IntProperty(
        name="Height",
        description="Height of the delivered clip",
        default=USUAL.clip_height_px,
        min=16,
        max=16384,
        subtype="PIXEL",
    )
    fps: FloatProperty(
        name="Frames per Second", description="How fast the clip plays", default=USUAL.fps, min=1.0, max=240.0
    )

    def draw(self, _context: bpy.types.Context) -> None:
        """Lay the defaults out, by topic."""
        layout = self.layout
        layout.use_property_split = True
        layout.use_property_decorate = False
        manual_page.button(layout)
        layout.label(text=say("A new plan starts with:"), translate=False)
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


def current() -> PlanDefaults:
    """What a new plan starts with, as the user has set it; as usual where Blender keeps no preferences."""
    kept: Any = bpy.context.preferences
    addon = kept.addons.get(ADDON)
    preferences = addon.preferences if addon else None
    if not isinstance(preferences, DUSKRAIL_AP_preferences):
        return USUAL
    return PlanDefaults(
        **{field.name: getattr(preferences, field.name) for field in attrs.fields(PlanDefaults)}
    )


CLASSES = (DUSKRAIL_AP_preferences,)


def register() -> None:
    in_own_context(CLASSES)
    for cls in CLASSES:
        bpy.utils.register_class(cls)


def unregister() -> None:
    for cls in reversed(CLASSES):
        bpy.utils.unregister_class(cls)
