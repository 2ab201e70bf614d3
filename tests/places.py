"""Invented places for the tests of the picture: one plan with a wide lens, and blocks put where a test needs
them.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

import numpy as np

from planner_core.plan.model import (
    Block,
    Camera,
    Clip,
    Composition,
    Move,
    Plan,
    Pose,
    Rig,
    Shoot,
    Site,
    SlideAxis,
    TurnAxis,
)

FINE_RAYS = 3194  # twice a Fibonacci number, as the lattice of rays takes
SLIDE = SlideAxis(min_m=0.0, max_m=2.0, max_speed_m_s=0.05, max_acceleration_m_s2=0.05, step_m=1e-5)
PAN = TurnAxis(min_deg=-360, max_deg=720, max_speed_deg_s=5.0, max_acceleration_deg_s2=5.0, step_deg=0.01)
TILT = TurnAxis(min_deg=-80, max_deg=80, max_speed_deg_s=5.0, max_acceleration_deg_s2=5.0, step_deg=0.01)


def place(
    *blocks: Block,
    poses: Sequence[Pose] = (Pose(at=0.0, pan_deg=0.0), Pose(at=1.0, pan_deg=0.0)),
    frames: int = 100,
    focal_length_mm: float = 24.0,
    size_px: tuple[int, int] = (3840, 2160),
    origin_m: tuple[float, float, float] = (0.0, 0.0, 1.5),
    rail_bearing_deg: float = 90.0,
    slide: SlideAxis | None = SLIDE,
    pan: TurnAxis | None = PAN,
    tilt: TurnAxis | None = TILT,
    composition: Composition | None = None,
    ease: float = 0.0,
) -> Plan:
    """A plan that looks along +Y, north, from 1.5 m above level ground; the rail runs east, to the right."""
    return Plan(
        site=Site(latitude_deg=50.0, longitude_deg=8.0, timezone="Europe/Berlin"),
        camera=Camera(
            sensor_width_mm=36.0,
            sensor_height_mm=24.0,
            image_width_px=6000,
            image_height_px=4000,
            focal_length_mm=focal_length_mm,
            focus_distance_m=5.0,
        ),
        clip=Clip(width_px=size_px[0], height_px=size_px[1], fps=24),
        rig=Rig(origin_m=origin_m, bearing_deg=rail_bearing_deg, slide=slide, pan=pan, tilt=tilt),
        move=Move(drive="shoot-move-shoot", ease=ease, poses=tuple(poses)),
        shoot=Shoot(frames=frames, interval_s=10.0, start=dt.datetime(2027, 6, 21, 17, 0)),
        composition=composition,
        blocks=blocks,
    )


def box(
    name: str,
    x: float,
    y: float,
    size: Sequence[float],
    *,
    role: str = "background",
    base: float = 0.0,
    turn: float = 0.0,
) -> Block:
    """A box that stands at (x, y) on the height base."""
    wide, deep, high = size
    return Block(
        name=name,
        role=role,
        shape="box",
        centre_m=(x, y, base + high / 2.0),
        size_m=(wide, deep, high),
        turn_deg=turn,
    )


def post(
    name: str, x: float, y: float, wide: float, high: float, *, role: str = "foreground", base: float = 0.0
) -> Block:
    """A round post that stands at (x, y)."""
    return Block(
        name=name, role=role, shape="post", centre_m=(x, y, base + high / 2.0), size_m=(wide, wide, high)
    )


def random_place(seed: int, *, size_px: tuple[int, int] = (3840, 2160), frames: int = 60) -> Plan:
    """A crowded place of all shapes, with a move on all three axes through it."""
    rng = np.random.default_rng(seed)
    blocks = [random_block(rng, index) for index in range(int(rng.integers(8, 22)))]
    blocks += [
        Block(
            name="hills",
            role="background",
            shape="ridge",
            distance_m=float(rng.uniform(150, 3000)),
            skyline_deg=tuple((float(b), float(rng.uniform(-1, 9))) for b in np.arange(-70.0, 71.0, 10.0)),
        )
    ]
    poses = [
        Pose(
            at=at,
            slide_m=float(rng.uniform(0.0, 2.0)),
            pan_deg=float(rng.uniform(-20, 20)),
            tilt_deg=float(rng.uniform(-8, 8)),
        )
        for at in (0.0, 0.4, 1.0)
    ]
    return place(
        *blocks,
        poses=poses,
        frames=frames,
        focal_length_mm=float(rng.choice([20.0, 24.0, 35.0, 50.0])),
        size_px=size_px,
        origin_m=(0.0, 0.0, float(rng.uniform(0.6, 6.0))),
        rail_bearing_deg=float(rng.uniform(60, 120)),
    )


def random_block(rng: np.random.Generator, index: int) -> Block:
    """A block ahead of the camera: mostly boxes and posts, some prisms with a notch, some figures."""
    distance = float(np.exp(rng.uniform(np.log(3.0), np.log(80.0))))
    x, y = float(rng.uniform(-0.6, 0.6)) * distance, distance
    wide, deep = (float(v) for v in rng.uniform(0.04, 0.3, 2) * distance)
    high = float(rng.uniform(0.1, 0.6) * distance)
    base = float(rng.choice([0.0, 0.0, 0.0, -0.5, 0.1 * distance]))
    kind = rng.choice(["box", "post", "prism", "figure"], p=[0.45, 0.25, 0.2, 0.1])
    name = f"{kind} {index + 1}"
    if kind == "prism":
        notch = np.array([(-1, -1), (1, -1), (1, 0.1), (-0.2, 0.1), (-0.2, 1), (-1, 1)]) * (
            wide / 2.0,
            deep / 2.0,
        )
        angle = rng.uniform(0, 2 * np.pi)
        turn = np.array([(np.cos(angle), -np.sin(angle)), (np.sin(angle), np.cos(angle))])
        corners = notch @ turn.T + (x, y)
        return Block(
            name=name,
            role="background",
            shape="prism",
            footprint_m=tuple((float(a), float(b)) for a, b in corners),
            base_m=base,
            height_m=high,
        )
    size = (0.3 * high, 0.2 * high, high) if kind == "figure" else (wide, deep, high)
    return Block(
        name=name,
        role="background",
        shape=str(kind),
        centre_m=(x, y, base + high / 2.0),
        size_m=size,
        turn_deg=float(rng.uniform(-180, 180)),
    )
