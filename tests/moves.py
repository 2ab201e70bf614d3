"""Moves and rigs that the tests of motion share: an invented quay, with other poses, axes and timing."""

from __future__ import annotations

import datetime as dt
from typing import Any

import attrs

from planner_core.plan.model import (
    Anchor,
    Block,
    Camera,
    Clip,
    Composition,
    Exposure,
    Move,
    Plan,
    Pose,
    Rig,
    Shoot,
    Site,
    SlideAxis,
    TurnAxis,
)
from tests.present import present

SLIDE = SlideAxis(min_m=0.0, max_m=1.5, max_speed_m_s=0.04, max_acceleration_m_s2=0.04, step_m=1e-5)
PAN = TurnAxis(min_deg=180.0, max_deg=360.0, max_speed_deg_s=5.0, max_acceleration_deg_s2=5.0, step_deg=0.01)
TILT = TurnAxis(min_deg=-30.0, max_deg=30.0, max_speed_deg_s=5.0, max_acceleration_deg_s2=5.0, step_deg=0.01)


def with_rig(plan: Plan, **changes: Any) -> Plan:
    return attrs.evolve(plan, rig=attrs.evolve(plan.rig, **changes))


def with_slide(plan: Plan, **changes: Any) -> Plan:
    return with_rig(plan, slide=attrs.evolve(present(plan.rig.slide), **changes))


def with_pan(plan: Plan, **changes: Any) -> Plan:
    return with_rig(plan, pan=attrs.evolve(present(plan.rig.pan), **changes))


def with_shoot(plan: Plan, **changes: Any) -> Plan:
    return attrs.evolve(plan, shoot=attrs.evolve(plan.shoot, **changes))


def with_exposure(plan: Plan, **changes: Any) -> Plan:
    return attrs.evolve(plan, exposure=attrs.evolve(present(plan.exposure), **changes))


def with_move(plan: Plan, **changes: Any) -> Plan:
    return attrs.evolve(plan, move=attrs.evolve(plan.move, **changes))


def with_poses(plan: Plan, *poses: Pose) -> Plan:
    return with_move(plan, poses=poses)


def sliding(
    plan: Plan, start_m: float, end_m: float, *, pan_deg: float = 270.0, tilt_deg: float = 0.0
) -> Plan:
    """The plan with a slide alone, looking one way."""
    turned = {"pan_deg": pan_deg, "tilt_deg": tilt_deg}
    return with_poses(plan, Pose(at=0.0, slide_m=start_m, **turned), Pose(at=1.0, slide_m=end_m, **turned))


def panning(plan: Plan, start_deg: float, end_deg: float) -> Plan:
    """The plan with a pan alone, from the middle of the rail."""
    rest = {"slide_m": 0.75, "tilt_deg": 0.0}
    return with_poses(plan, Pose(at=0.0, pan_deg=start_deg, **rest), Pose(at=1.0, pan_deg=end_deg, **rest))


def bare_rig(plan: Plan, **axes: Any) -> Rig:
    """The plan's rig with only the axes given."""
    return attrs.evolve(plan.rig, **({"slide": None, "pan": None, "tilt": None} | axes))


def box(
    role: str, centre_m: tuple[float, float, float], size_m: tuple[float, float, float], name: str = ""
) -> Block:
    return Block(name=name or role, role=role, shape="box", centre_m=centre_m, size_m=size_m)


def move_of(*poses: Pose, ease: float = 0.0, drive: str = "shoot-move-shoot") -> Move:
    return Move(drive=drive, ease=ease, poses=poses)


QUAY_BLOCKS = (
    box("ground", (0.0, -3.0, -0.5), (60.0, 8.0, 1.0), "quay"),
    box("water", (0.0, 151.0, -2.5), (420.0, 300.0, 1.0), "basin"),
    box("foreground", (-1.2, 1.0, 0.31), (0.2, 0.2, 0.62), "bollard 1"),
    box("foreground", (0.1, 1.0, 0.31), (0.2, 0.2, 0.62), "bollard 2"),
    box("foreground", (1.4, 1.0, 0.31), (0.2, 0.2, 0.62), "bollard 3"),
    box("subject", (22.0, 120.0, 9.2), (4.6, 4.6, 16.8), "beacon"),
    box("background", (-60.0, 150.0, 5.0), (40.0, 12.0, 10.0), "sheds"),
    Block(
        name="hills",
        role="background",
        shape="ridge",
        distance_m=5200.0,
        skyline_deg=((215.0, 2.6), (245.0, 1.7), (270.0, 0.4), (300.0, 0.5), (335.0, 2.0)),
    ),
)
QUAY = Plan(
    title="Quay",
    reason="The bollards slide past while the beacon stays.",
    site=Site(latitude_deg=43.46, longitude_deg=-3.79, timezone="Europe/Madrid", scene_north_deg=270.0),
    camera=Camera(
        sensor_width_mm=36.0,
        sensor_height_mm=24.0,
        image_width_px=6000,
        image_height_px=4000,
        focal_length_mm=24.0,
        focus_distance_m=2.6,
        raw_file_mb=45.0,
    ),
    clip=Clip(width_px=3840, height_px=2160, fps=24.0),
    rig=Rig(
        origin_m=(-0.75, 0.0, 0.72),
        bearing_deg=0.0,
        head_height_m=0.16,
        pupil_offset_m=0.06,
        settle_s=0.8,
        slide=SLIDE,
        pan=PAN,
        tilt=TILT,
    ),
    move=move_of(
        Pose(at=0.0, slide_m=0.3, pan_deg=266.5, tilt_deg=1.5),
        Pose(at=1.0, slide_m=1.1, pan_deg=270.5, tilt_deg=2.0),
        ease=0.2,
    ),
    shoot=Shoot(
        frames=480,
        interval_s=12.0,
        write_s=1.0,
        anchor=Anchor(event="sunset", date=dt.date(2027, 3, 14), at=0.5),
    ),
    exposure=Exposure(
        f_number=5.6,
        iso_min=100.0,
        iso_max=1600.0,
        shutter_min_s=0.0005,
        shutter_max_s=6.0,
        night_look_stops=-1.0,
        artificial_ev100=2.5,
    ),
    composition=Composition(subject="beacon"),
    blocks=QUAY_BLOCKS,
)
