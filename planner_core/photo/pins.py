"""What is pinned in a photograph: a block's corner as a point, anything else as a direction."""

from __future__ import annotations

import datetime as dt

import numpy as np
from attrs import frozen
from numpy.typing import NDArray

from planner_core.place.blocking import block_mesh
from planner_core.plan.model import Block, Photo, Pin, Plan, PlanError
from planner_core.plan.timeline import local_to_utc_s
from planner_core.rig.geometry import direction
from planner_core.time import ephemeris
from planner_core.words.language import phrase

Array = NDArray[np.float64]


@frozen(kw_only=True, eq=False)
class Targets:
    """Of a photograph's pins: points_m (n, 3) where is_point (n,), elsewhere unit directions there."""

    pixels: Array
    vectors: Array
    is_point: NDArray[np.bool_]

    def seen_from(self, place_m: Array) -> Array:
        """Unit vectors (n, 3) toward the pinned things from a place."""
        toward = np.where(self.is_point[:, None], self.vectors - place_m, self.vectors)
        return np.asarray(toward / np.maximum(np.linalg.norm(toward, axis=1, keepdims=True), 1e-12))

    def without(self, number: int) -> Targets:
        """All but one."""
        return Targets(
            pixels=np.delete(self.pixels, number, axis=0),
            vectors=np.delete(self.vectors, number, axis=0),
            is_point=np.delete(self.is_point, number),
        )


def targets(plan: Plan, photo: Photo) -> Targets:
    """Where a photograph's pins are in the scene. Raises PlanError for a pin on what isn't there."""
    rows = [_target(plan, photo, number, pin) for number, pin in enumerate(photo.pins)]
    return Targets(
        pixels=np.array([(pin.x_px, pin.y_px) for pin in photo.pins], dtype=np.float64).reshape(-1, 2),
        vectors=np.array(rows, dtype=np.float64).reshape(-1, 3),
        is_point=np.array([bool(pin.block) for pin in photo.pins], dtype=bool),
    )


def _target(plan: Plan, photo: Photo, number: int, pin: Pin) -> Array:
    if pin.block:
        return corner_m(plan, pinned_block(plan, pin, f"pins[{number}]"), pin.corner, f"pins[{number}]")
    if pin.disc:
        bearing, altitude = disc_direction(plan, photo, pin.disc)
    else:
        assert pin.bearing_deg is not None
        assert pin.altitude_deg is not None
        bearing, altitude = pin.bearing_deg, pin.altitude_deg
    return direction(bearing, altitude, plan.site.scene_north_deg)


def pinned_block(plan: Plan, pin: Pin, path: str) -> Block:
    """The block that a pin names. Raises PlanError."""
    for block in plan.blocks:
        if block.name == pin.block:
            return block
    names = ", ".join(dict.fromkeys(block.name for block in plan.blocks if block.name))
    raise PlanError(
        f"{path}.block",
        pin.block,
        "is not a block of the plan; blocks here: {names}"
        if names
        else "is not a block of the plan; the plan has no named blocks",
        names=names,
    )


def corner_m(plan: Plan, block: Block, corner: str, path: str) -> Array:
    """A block's corner in scene metres, (3,): top and foot are the middles of either. Raises PlanError."""
    vertices = block_mesh(plan, block).vertices_m
    if corner in ("top", "foot"):
        heights = vertices[:, 2]
        level = heights.max() if corner == "top" else heights.min()
        at_level = vertices[np.abs(heights - level) < 1e-6 * max(1.0, float(np.ptp(heights)))]
        return np.asarray(np.append(at_level[:, :2].mean(axis=0), level))
    number = int(corner)
    if number > len(vertices):
        raise PlanError(
            f"{path}.corner",
            corner,
            "is not there; {name} has corners 1 to {count}",
            name=block.name,
            count=len(vertices),
        )
    return np.asarray(vertices[number - 1])


def disc_direction(plan: Plan, photo: Photo, disc: str) -> tuple[float, float]:
    """Bearing and apparent altitude of sun or moon when a photograph was taken. Raises PlanError."""
    if photo.taken is None:
        raise PlanError(
            "taken",
            None,
            "the photograph has no time, so the {disc} can't be placed; give one, as in 2027-03-14T18:20:00",
            disc=phrase(disc),
        )
    utc_s = taken_utc_s(plan, photo.taken)
    position = ephemeris.sun_position if disc == "sun" else ephemeris.moon_position
    azimuth, true = position(utc_s, plan.site.latitude_deg, plan.site.longitude_deg)
    return float(azimuth), float(ephemeris.apparent_altitude_deg(true))


def taken_utc_s(plan: Plan, taken: dt.datetime) -> float:
    """The instant of a photograph; a time without an offset is the site's. Raises PlanError."""
    return taken.timestamp() if taken.tzinfo is not None else local_to_utc_s(taken, plan.zone, "taken")
