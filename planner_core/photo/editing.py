"""A plan with its photographs changed: added, pinned and solved, taken out; and which corner is meant by a
point in a photograph.
"""

from __future__ import annotations

from collections.abc import Iterator

import attrs
import numpy as np
from attrs import frozen

from planner_core.photo import camera
from planner_core.photo.pins import corner_m
from planner_core.photo.solve import Solved, solve_photo
from planner_core.place.blocking import block_mesh
from planner_core.plan.model import Block, Photo, Pin, Plan

Pixel = tuple[float, float]

MOST_CORNERS = 16  # a block with more is round, and pinned by top and foot


@frozen(kw_only=True)
class Corner:
    """A corner that can be pinned: its block and name as a pin has them, and where it is in the scene."""

    block: str
    name: str
    place_m: tuple[float, float, float]


def with_photo(plan: Plan, photo: Photo) -> Plan:
    """The plan with a photograph, in place of one of the same file."""
    photo = rounded(photo)
    names = [one.file for one in plan.photos]
    if photo.file not in names:
        return attrs.evolve(plan, photos=(*plan.photos, photo))
    photos = tuple(photo if one.file == photo.file else one for one in plan.photos)
    return attrs.evolve(plan, photos=photos)


def without_photo(plan: Plan, number: int) -> Plan:
    """The plan without one of its photographs."""
    return attrs.evolve(plan, photos=plan.photos[:number] + plan.photos[number + 1 :])


def pinned(plan: Plan, number: int, pin: Pin) -> tuple[Plan, Solved]:
    """The plan with one pin more in a photograph, placed anew by all of them. A thing that is pinned already
    is pinned anew. Raises PlanError for a pin on what isn't there.
    """
    photo = plan.photos[number]
    others = tuple(one for one in photo.pins if not is_same_thing(one, pin))
    return _solved(plan, attrs.evolve(photo, pins=(*others, pin)))


def unpinned(plan: Plan, number: int, pin_number: int) -> tuple[Plan, Solved]:
    """The plan without one of a photograph's pins, placed anew by those that are left."""
    photo = plan.photos[number]
    left = photo.pins[:pin_number] + photo.pins[pin_number + 1 :]
    return _solved(plan, attrs.evolve(photo, pins=left))


def placed_anew(plan: Plan, number: int) -> tuple[Plan, Solved]:
    """The plan with one of its photographs placed by the pins that it has. Raises PlanError for a pin on what
    isn't there.
    """
    return _solved(plan, plan.photos[number])


def is_same_thing(one: Pin, other: Pin) -> bool:
    """Whether two pins are on one corner, one disc or one direction."""
    return attrs.evolve(one, x_px=0.0, y_px=0.0) == attrs.evolve(other, x_px=0.0, y_px=0.0)


def _solved(plan: Plan, photo: Photo) -> tuple[Plan, Solved]:
    solved = solve_photo(plan, photo, place_known=False)
    return with_photo(plan, solved.photo), solved


def rounded(photo: Photo) -> Photo:
    """The photograph as a plan file has it: finer than any pin can tell."""
    x, y, z = photo.place_m
    return attrs.evolve(
        photo,
        place_m=(round(x, 4), round(y, 4), round(z, 4)),
        bearing_deg=round(photo.bearing_deg, 5),
        altitude_deg=round(photo.altitude_deg, 5),
        roll_deg=round(photo.roll_deg, 5),
        fov_deg=round(photo.fov_deg, 5),
        pins=tuple(attrs.evolve(pin, x_px=round(pin.x_px, 2), y_px=round(pin.y_px, 2)) for pin in photo.pins),
    )


def corners(plan: Plan) -> Iterator[Corner]:
    """What can be pinned of a plan's blocks. Of several blocks of one name, only the first can."""
    taken: set[str] = set()
    for block in plan.blocks:
        if block.name and block.name not in taken:
            taken.add(block.name)
            yield from _corners_of(plan, block)


def _corners_of(plan: Plan, block: Block) -> Iterator[Corner]:
    vertices = block_mesh(plan, block).vertices_m
    if len(vertices) <= MOST_CORNERS:
        for number, (x, y, z) in enumerate(vertices, 1):
            yield Corner(block=block.name, name=str(number), place_m=(float(x), float(y), float(z)))
    elif block.shape != "ridge":
        for name in ("top", "foot"):
            x, y, z = corner_m(plan, block, name, "pins")
            yield Corner(block=block.name, name=name, place_m=(float(x), float(y), float(z)))


def corner_at(plan: Plan, photo: Photo, point_px: Pixel, within_px: float) -> Corner | None:
    """The corner that a photograph, as it is aimed now, has nearest to a point; of those behind one another
    the nearer one. None where there is none so near.
    """
    all_corners = list(corners(plan))
    if not all_corners:
        return None
    away = np.array([corner.place_m for corner in all_corners]) - photo.place_m
    distance = np.linalg.norm(away, axis=1)
    aim = camera.photo_rotation(photo, plan.site.scene_north_deg)
    seen = camera.pixels(photo, away, aim, camera.focal_px(photo))
    off_px = np.linalg.norm(seen - np.asarray(point_px), axis=1)
    if photo.projection == "flat":
        off_px = np.where(away @ aim[:, 2] < 0.0, off_px, np.inf)  # the camera looks along its −Z
    near = np.flatnonzero(off_px <= within_px)
    if not len(near):
        return None
    best = near[np.lexsort((distance[near], np.round(off_px[near])))[0]]
    return all_corners[int(best)]
