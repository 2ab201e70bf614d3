"""The plans to begin with: a small invented place, or nothing but a rig.

What somebody usually works with (zone, rig, camera, clip) goes into both, as PlanDefaults.
"""

from __future__ import annotations

import datetime as dt

import attrs
from attrs import frozen

from planner_core.edit import kit
from planner_core.edit.edits import AXES
from planner_core.maths.angles import compass_deg
from planner_core.plan.file import plan_from_dict, plan_to_dict
from planner_core.plan.model import (
    Anchor,
    Block,
    Camera,
    Clip,
    Composition,
    Exposure,
    Move,
    Plan,
    PlanError,
    Pose,
    Rig,
    Shoot,
    Site,
    SlideAxis,
    TurnAxis,
)

EVENING_FRAMES, EVENING_INTERVAL_S = 360, 12.0
FOCUS_M = 3.5
FACES_DEG = 270.0  # rigs look to where the sun goes down at the equinoxes
STEP_M, STEP_DEG = 1e-5, 0.01


@frozen(kw_only=True)
class PlanDefaults:
    """What a new plan starts with: somebody's usual zone, rig, camera and clip. Lengths, speeds and angles as
    their names say.
    """

    timezone: str = "Europe/Zurich"
    latitude_deg: float = 46.5
    longitude_deg: float = 7.0
    rail_m: float = 1.2
    slide_speed_m_s: float = 0.04
    turn_speed_deg_s: float = 5.0
    has_slide: bool = True
    has_pan: bool = True
    has_tilt: bool = True
    rail_height_m: float = 0.7
    head_height_m: float = 0.16
    settle_s: float = 0.8
    sensor_width_mm: float = 36.0
    sensor_height_mm: float = 24.0
    image_width_px: int = 6000
    image_height_px: int = 4000
    focal_length_mm: float = 24.0
    clip_width_px: int = 3840
    clip_height_px: int = 2160
    fps: float = 24.0


def default_axis(defaults: PlanDefaults, axis: str) -> SlideAxis | TurnAxis:
    """A new rig's slide, pan or tilt axis."""
    if axis == "slide":
        speed = round(defaults.slide_speed_m_s, 5)
        return SlideAxis(
            min_m=0.0,
            max_m=round(defaults.rail_m, 3),
            max_speed_m_s=speed,
            max_acceleration_m_s2=speed,
            step_m=STEP_M,
        )
    low, high = (0.0, 360.0) if axis == "pan" else (-45.0, 45.0)
    speed = round(defaults.turn_speed_deg_s, 3)
    return TurnAxis(
        min_deg=low, max_deg=high, max_speed_deg_s=speed, max_acceleration_deg_s2=speed, step_deg=STEP_DEG
    )


def bare_plan(
    defaults: PlanDefaults, today: dt.date, north_deg: float = 0.0, looks_deg: float = FACES_DEG
) -> Plan:
    """A plan with a rig at the scene's origin and nothing else, looking to a bearing, timed by today's
    sunset; in a scene whose +Y axis points to north_deg.

    Where the sun doesn't set today, the shoot is timed by the moment it stands highest. Raises PlanError.
    """
    axes = {axis: default_axis(defaults, axis) if getattr(defaults, f"has_{axis}") else None for axis in AXES}
    slide, pan, tilt = axes["slide"], axes["pan"], axes["tilt"]
    assert slide is None or isinstance(slide, SlideAxis)
    assert not isinstance(pan, SlideAxis)
    assert not isinstance(tilt, SlideAxis)
    if pan is not None:
        pan = attrs.evolve(pan, min_deg=looks_deg - 180.0, max_deg=looks_deg + 180.0)
    plan = Plan(
        title="A new plan",
        site=Site(
            latitude_deg=round(defaults.latitude_deg, 5),
            longitude_deg=round(defaults.longitude_deg, 5),
            timezone=defaults.timezone,
            scene_north_deg=north_deg,
        ),
        camera=Camera(
            sensor_width_mm=round(defaults.sensor_width_mm, 3),
            sensor_height_mm=round(defaults.sensor_height_mm, 3),
            image_width_px=defaults.image_width_px,
            image_height_px=defaults.image_height_px,
            focal_length_mm=round(defaults.focal_length_mm, 2),
            focus_distance_m=FOCUS_M,
        ),
        clip=Clip(
            width_px=defaults.clip_width_px, height_px=defaults.clip_height_px, fps=round(defaults.fps, 3)
        ),
        rig=Rig(
            origin_m=(0.0, 0.0, round(defaults.rail_height_m, 3)),
            bearing_deg=compass_deg(looks_deg + 90.0),
            head_height_m=round(defaults.head_height_m, 3),
            pupil_offset_m=0.06,
            settle_s=round(defaults.settle_s, 3),
            slide=slide,
            pan=pan,
            tilt=tilt,
        ),
        move=Move(drive="shoot-move-shoot", ease=0.2, poses=_poses(slide, pan, tilt, looks_deg)),
        shoot=Shoot(
            frames=EVENING_FRAMES,
            interval_s=EVENING_INTERVAL_S,
            write_s=1.0,
            anchor=Anchor(event="sunset", date=today, at=0.5),
        ),
        exposure=Exposure(
            f_number=5.6,
            iso_min=100.0,
            iso_max=3200.0,
            shutter_min_s=0.0005,
            shutter_max_s=5.0,
            night_look_stops=-1.0,
            meter="picture",
            day_look_stops=0.7,
            artificial_ev100=2.0,
        ),
        composition=Composition(style="hold", subject=""),
    )
    return _timed(plan)


def starter_plan(defaults: PlanDefaults, today: dt.date) -> Plan:
    """A small invented place by the water, to try things on: a lighthouse, houses, a railing near the
    rail.
    """
    plan = bare_plan(defaults, today, FACES_DEG)
    plan = attrs.evolve(
        plan,
        title="Evening at the mole",
        reason="The railing slides past while the lighthouse stays, and its lamp comes on after sunset.",
        site=attrs.evolve(plan.site, name="An invented harbour"),
        rig=attrs.evolve(plan.rig, origin_m=(-0.6, 0.0, plan.rig.origin_m[2])),
        composition=Composition(style="hold", subject="lighthouse"),
    )
    return kit.with_blocks(plan, _starter_blocks(plan))


def _poses(
    slide: SlideAxis | None, pan: TurnAxis | None, tilt: TurnAxis | None, bearing_deg: float
) -> tuple[Pose, Pose]:
    """A calm move over the middle of the rail, turning a little against it."""
    if slide is not None:
        middle, half = (slide.min_m + slide.max_m) / 2.0, 0.3 * (slide.max_m - slide.min_m)
    poses = []
    for at, direction in ((0.0, -1.0), (1.0, 1.0)):
        poses.append(
            Pose(
                at=at,
                slide_m=None if slide is None else round(middle + direction * half, 3),
                pan_deg=bearing_deg if pan is None else bearing_deg + direction,
                tilt_deg=None if tilt is None else 2.0,
            )
        )
    return poses[0], poses[1]


def _timed(plan: Plan) -> Plan:
    """The plan checked as one from a file would be; on a day without sunset timed by noon. Raises
    PlanError.
    """
    try:
        return plan_from_dict(plan_to_dict(plan))
    except PlanError as error:
        if not error.path.startswith("shoot.anchor"):
            raise
    assert plan.shoot.anchor is not None
    anchor = attrs.evolve(plan.shoot.anchor, event="solar_noon")
    return plan_from_dict(plan_to_dict(attrs.evolve(plan, shoot=attrs.evolve(plan.shoot, anchor=anchor))))


def _starter_blocks(plan: Plan) -> tuple[Block, ...]:
    """The invented harbour, built from the kit as a user would build it."""
    made: list[Block] = []

    def add(
        kind: str,
        x: float,
        y: float,
        foot: float,
        size: tuple[float, float, float],
        name: str,
        role: str = "",
        turn: float = 0.0,
    ) -> None:
        spot = kit.Spot(foot_m=(x, y, foot), turn_deg=turn)
        made.extend(kit.piece_blocks(kit.with_blocks(plan, made), kind, spot, size, role=role, name=name))

    add("ground", 0.0, -1.0, 0.0, (60.0, 8.0, 2.5), "quay")
    add("water", 0.0, 203.0, -1.5, (700.0, 400.0, 1.0), "harbour")
    add("ground", 40.0, 96.0, -0.4, (90.0, 7.0, 2.0), "mole")
    add("tower", 6.0, 96.0, -0.4, (4.4, 4.4, 16.0), "lighthouse")
    add("post", 6.0, 96.0, 15.6, (3.0, 3.0, 2.6), "lantern", "subject")
    add("house", -46.0, 150.0, -0.5, (14.0, 10.0, 9.0), "boathouse", turn=12.0)
    add("house", -64.0, 158.0, -0.5, (11.0, 9.0, 11.0), "inn", turn=-8.0)
    add("ground", -60.0, 160.0, -0.5, (70.0, 40.0, 2.0), "far quay")
    add("tree", -84.0, 152.0, -0.5, (9.0, 9.0, 12.0), "plane tree")
    add("railing", 0.0, 2.4, 0.0, (9.0, 0.08, 0.95), "railing")
    add("figure", 2.2, 94.0, -0.4, (0.5, 0.3, 1.75), "walker", "background")
    made.append(
        kit.ridge_block(kit.with_blocks(plan, made), FACES_DEG + 8.0, 9000.0, 9000.0, 120.0, name="hills")
    )
    return tuple(made)
