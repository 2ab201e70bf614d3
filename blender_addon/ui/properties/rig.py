"""Rail, head and motors."""
# Blender reads the annotations of its classes as they are, so none may be turned into text here.
# mypy: disable-error-code="valid-type,func-returns-value"

from typing import Any

from bpy.props import FloatProperty

from planner_core.edit import edits, starter

from .. import preferences, wording
from .fields import (
    NOT_KEYED,
    angle,
    get_value,
    length,
    number,
    optional_part,
    point,
    seconds,
    set_value,
    text,
)


def _axis(axis: str, name: str, description: str) -> Any:
    return optional_part(
        f"rig.{axis}",
        name,
        description,
        lambda plan: edits.with_axis(plan, axis, starter.default_axis(preferences.current(), axis)),
        lambda plan: edits.without_axis(plan, axis),
    )


class RigFields:
    """What the rig is and can do."""

    has_slide: _axis("slide", "Slider", "The rig has a rail with a driven carriage")
    has_pan: _axis("pan", "Pan", "The head turns left and right")
    has_tilt: _axis("tilt", "Tilt", "The head turns up and down")
    rig_name: text(
        "rig.name",
        "Rig Name",
        "Tells rigs apart where several shots share an evening: none can be in two places at once",
    )
    origin: point("rig.origin_m", "Rail Start", "Position of the start of the rail (slide 0) in the scene")
    bearing: angle(
        "rig.bearing_deg", "Rail Bearing", "Compass bearing in which the carriage travels from its start"
    )
    incline: angle(
        "rig.incline_deg", "Rail Slope", "How steeply the rail climbs from its start", low=-90.0, high=90.0
    )
    max_incline: angle(
        "rig.max_incline_deg", "Steepest Slope", "Steepest slope that the motor can climb", low=0.0, high=90.0
    )
    stand_min: length(
        "rig.stand_min_m",
        "Stands from",
        "How low over the ground the stands hold the rail. A search for a shot keeps to it",
        high=30.0,
        step=0.05,
    )
    stand_max: length(
        "rig.stand_max_m",
        "Stands to",
        "How high over the ground the stands hold the rail. A search for a shot keeps to it",
        high=30.0,
        step=0.05,
    )
    head_height: length(
        "rig.head_height_m",
        "Head Height",
        "Height of the pan and tilt axes above the carriage",
        low=-2.0,
        high=5.0,
        step=0.01,
    )
    pupil: length(
        "rig.pupil_offset_m",
        "Lens Offset",
        "How far the lens's entrance pupil lies in front of the pan and tilt axes",
        low=-1.0,
        high=1.0,
        step=0.01,
    )
    settle: seconds(
        "rig.settle_s",
        "Settling Time",
        "How long the rig shakes after a move, before a picture is sharp",
        high=60.0,
    )
    slide_min: length("rig.slide.min_m", "From", "Where the usable rail begins", step=0.05)
    slide_max: length("rig.slide.max_m", "To", "Where the usable rail ends", step=0.05)
    slide_speed: number(
        "rig.slide.max_speed_m_s",
        "Speed",
        "Top speed of the carriage",
        low=0.0001,
        high=2.0,
        step=0.01,
        precision=4,
        unit="VELOCITY",
    )
    slide_acceleration: number(
        "rig.slide.max_acceleration_m_s2",
        "Acceleration",
        "How quickly the carriage speeds up",
        low=0.0001,
        high=10.0,
        step=0.01,
        precision=4,
        unit="ACCELERATION",
    )
    slide_step: FloatProperty(
        name="Step (mm)",
        description="Smallest move that the motor can make, in millimetres",
        soft_min=0.0001,
        soft_max=10.0,
        step=1,
        precision=4,
        default=1000.0 * starter.STEP_M,
        get=get_value("rig.slide.step_m", lambda value: 1000.0 * value, 0.0),
        set=set_value("rig.slide.step_m", lambda value: round(edits.tidy(value) / 1000.0, 9)),
        options=NOT_KEYED,
    )
    pan_min: angle("rig.pan.min_deg", "From", "Lowest bearing the head can turn to", low=-1080.0, high=1080.0)
    pan_max: angle("rig.pan.max_deg", "To", "Highest bearing the head can turn to", low=-1080.0, high=1080.0)
    pan_speed: number(
        "rig.pan.max_speed_deg_s",
        "Speed (°/s)",
        "Top speed of the pan, in degrees a second",
        low=0.01,
        high=90.0,
        step=0.5,
    )
    pan_acceleration: number(
        "rig.pan.max_acceleration_deg_s2",
        "Accel. (°/s²)",
        "How quickly the pan speeds up, in degrees a second, every second",
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
    tilt_min: angle("rig.tilt.min_deg", "From", "Lowest altitude the lens can look at", low=-90.0, high=90.0)
    tilt_max: angle("rig.tilt.max_deg", "To", "Highest altitude the lens can look at", low=-90.0, high=90.0)
    tilt_speed: number(
        "rig.tilt.max_speed_deg_s",
        "Speed (°/s)",
        "Top speed of the tilt, in degrees a second",
        low=0.01,
        high=90.0,
        step=0.5,
    )
    tilt_acceleration: number(
        "rig.tilt.max_acceleration_deg_s2",
        "Accel. (°/s²)",
        "How quickly the tilt speeds up, in degrees a second, every second",
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


wording.labels["rig.slide.step_m"] = "Step (mm)"
