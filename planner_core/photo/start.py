"""A photograph's entry in the plan, as far as its file tells; the rest is asked for, not guessed."""

from __future__ import annotations

import datetime as dt

import numpy as np
from attrs import frozen

from planner_core.maths.angles import compass_deg
from planner_core.photo.exif import Exif
from planner_core.place.blocking import block_mesh, bounding_boxes
from planner_core.place.footprints import scene_xy_m
from planner_core.place.ground import ground_under_m
from planner_core.plan.model import Photo, Pin, Plan, PlanError, Vector
from planner_core.words.language import say

EYE_M = 1.6  # where a camera is held: common practice, no source
FARTHEST_M = 50_000.0


@frozen(kw_only=True)
class Given:
    """What a person says about a photograph, each in place of what its file says."""

    place_m: Vector | None = None
    bearing_deg: float | None = None
    fov_deg: float | None = None
    declination_deg: float | None = None
    taken: dt.datetime | None = None


@frozen(kw_only=True)
class Entry:
    """A photograph before its pins are looked at. place_known says whether anything but its
    pins tells where it was taken; said are the sentences for a person.
    """

    photo: Photo
    place_known: bool
    said: tuple[str, ...]


def entry(
    plan: Plan, name: str, exif: Exif, given: Given, pins: tuple[Pin, ...], *, pins_follow: bool = False
) -> Entry:
    """The photograph as its file and the person place it. Raises PlanError for what only pins could tell,
    except where pins follow: then it stands at the rail for now, and what is missing is said.
    """
    place, said_place = _place(plan, exif, given)
    bearing, said_bearing = _bearing(exif, given)
    view = given.fov_deg or exif.fov_deg
    missing: list[str] = []
    if pins_follow:
        missing = _left_to_pins(len(pins), place, bearing, view)
    elif view is None and len(pins) < 3:
        raise PlanError(
            "fov_deg",
            None,
            "is not in {name}: give the field of view, or three pins that tell it",
            name=name,
        )
    elif place is None and len(pins) < 4:
        raise PlanError(
            "place_m",
            None,
            "is not in {name}: say where it was taken, in scene metres, or give four pins",
            name=name,
        )
    elif bearing is None and not pins:
        raise PlanError(
            "bearing_deg",
            None,
            "can't be told: {why}; give a bearing, the declination, or a pin",
            why=said_bearing,
        )
    photo = Photo(
        file=name,
        width_px=exif.width_px,
        height_px=exif.height_px,
        projection=exif.projection,
        place_m=place or (_at_the_rail(plan) if pins_follow else _anywhere(plan)),
        bearing_deg=bearing if bearing is not None else (_lens_bearing_deg(plan) if pins_follow else 0.0),
        altitude_deg=exif.altitude_deg or 0.0,
        fov_deg=view or 60.0,
        taken=given.taken or exif.taken,
        pins=pins,
    )
    return Entry(
        photo=photo,
        place_known=place is not None,
        said=tuple(missing or filter(None, (said_place, said_bearing, _said_time(photo)))),
    )


def _left_to_pins(pins: int, place: Vector | None, bearing: float | None, view: float | None) -> list[str]:
    """What neither file nor person says, and how many pins tell it."""
    wanted = (
        (place, 4, say("where it was taken")),
        (view, 3, say("its field of view")),
        (bearing, 1, say("its direction")),
    )
    return [
        say("The file doesn't say {what}: one more pin will", what=what)
        if count - pins == 1
        else say("The file doesn't say {what}: {count} more pins will", what=what, count=count - pins)
        for value, count, what in wanted
        if value is None and pins < count
    ]


def _lens_bearing_deg(plan: Plan) -> float:
    return float(compass_deg(plan.move.poses[0].pan_deg or 0.0))


def _at_the_rail(plan: Plan) -> Vector:
    x, y, z = plan.rig.origin_m
    return x, y, ground_under_m(plan, (x, y, z)) + EYE_M


def _place(plan: Plan, exif: Exif, given: Given) -> tuple[Vector | None, str]:
    if given.place_m is not None:
        return given.place_m, ""
    if exif.latitude_deg is None or exif.longitude_deg is None:
        return None, ""
    x, y = (float(value) for value in scene_xy_m(exif.longitude_deg, exif.latitude_deg, plan.site))
    distance = float(np.hypot(x, y))
    if distance > FARTHEST_M:
        raise PlanError(
            "photograph",
            f"{exif.latitude_deg:.4f}, {exif.longitude_deg:.4f}",
            "lies {away:.0f} km from the plan's site; another place's photograph?",
            away=distance / 1000.0,
        )
    height = ground_under_m(plan, (x, y, np.inf)) + EYE_M
    return (round(x, 2), round(y, 2), round(height, 2)), say(
        "By its GPS it was taken {distance:.0f} m from the scene's origin; it is put {eye:g} m above the "
        "ground",
        distance=distance,
        eye=EYE_M,
    )


def _bearing(exif: Exif, given: Given) -> tuple[float | None, str]:
    """The bearing, and what is said of it: why there is none, or where it comes from."""
    if given.bearing_deg is not None:
        return given.bearing_deg, ""
    if exif.direction_deg is None:
        return None, say("the file has no direction")
    if not exif.direction_is_magnetic:
        return exif.direction_deg, say("Its direction is from true north, as the file says")
    if given.declination_deg is None:
        return None, say(
            "the file's direction, {bearing:.0f}°, is magnetic, and true north takes the declination there",
            bearing=exif.direction_deg,
        )
    bearing = float(compass_deg(exif.direction_deg + given.declination_deg))
    return bearing, say(
        "Its direction is magnetic; with the declination it is {bearing:.1f}° true", bearing=bearing
    )


def _said_time(photo: Photo) -> str:
    if photo.taken is not None and photo.taken.tzinfo is None and any(pin.disc for pin in photo.pins):
        return say("Its time has no UTC offset, so it is read as local time at the site")
    return ""


def _anywhere(plan: Plan) -> Vector:
    """Where a search for an unknown place begins: in the middle of the blocks, at the height of an eye."""
    if not plan.blocks:
        return plan.rig.origin_m
    near = [block for block in plan.blocks if block.shape != "ridge"]
    if not near:
        return plan.rig.origin_m
    x, y = np.mean([block_mesh(plan, block).vertices_m[:, :2].mean(axis=0) for block in near], axis=0)
    return float(x), float(y), bounding_boxes(plan).ground_m + EYE_M
