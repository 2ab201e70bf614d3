"""Moves and rigs that the tests of motion share: the harbour plan with other poses, axes and timing."""

from __future__ import annotations

import attrs

from planner_core.plan import Block, Move, Plan, Pose, Rig, SlideAxis, TurnAxis

SLIDE = SlideAxis(min_m=0.0, max_m=1.5, max_speed_m_s=0.04, max_acceleration_m_s2=0.04, step_m=1e-5)
PAN = TurnAxis(min_deg=180.0, max_deg=360.0, max_speed_deg_s=5.0, max_acceleration_deg_s2=5.0, step_deg=0.01)
TILT = TurnAxis(min_deg=-30.0, max_deg=30.0, max_speed_deg_s=5.0, max_acceleration_deg_s2=5.0, step_deg=0.01)


def with_rig(plan: Plan, **changes: object) -> Plan:
    return attrs.evolve(plan, rig=attrs.evolve(plan.rig, **changes))


def with_slide(plan: Plan, **changes: object) -> Plan:
    return with_rig(plan, slide=attrs.evolve(plan.rig.slide, **changes))


def with_pan(plan: Plan, **changes: object) -> Plan:
    return with_rig(plan, pan=attrs.evolve(plan.rig.pan, **changes))


def with_shoot(plan: Plan, **changes: object) -> Plan:
    return attrs.evolve(plan, shoot=attrs.evolve(plan.shoot, **changes))


def with_exposure(plan: Plan, **changes: object) -> Plan:
    return attrs.evolve(plan, exposure=attrs.evolve(plan.exposure, **changes))


def with_move(plan: Plan, **changes: object) -> Plan:
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


def bare_rig(plan: Plan, **axes: object) -> Rig:
    """The plan's rig with only the axes given."""
    return attrs.evolve(plan.rig, **({"slide": None, "pan": None, "tilt": None} | axes))


def box(
    role: str, centre_m: tuple[float, float, float], size_m: tuple[float, float, float], name: str = ""
) -> Block:
    return Block(name=name or role, role=role, shape="box", centre_m=centre_m, size_m=size_m)


def move_of(*poses: Pose, ease: float = 0.0, drive: str = "shoot-move-shoot") -> Move:
    return Move(drive=drive, ease=ease, poses=poses)
