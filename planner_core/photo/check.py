"""How far blocks and photographs are apart: pin by pin, in pixels and degrees, with the plan as it stands."""

from __future__ import annotations

import numpy as np
from attrs import frozen

from planner_core.maths.angles import wrapped_deg
from planner_core.photo import camera
from planner_core.photo.pins import targets
from planner_core.plan.model import Photo, Pin, Plan
from planner_core.rig.geometry import bearing_and_altitude


@frozen(kw_only=True)
class PinCheck:
    """One pin: how far its thing is from it, in pixels and as an angle, and as bearing and altitude.

    bearing_off_deg is positive where the plan has the thing to the right of the photograph's.
    """

    photo: str
    number: int
    pin: Pin
    off_px: float
    off_deg: float
    bearing_off_deg: float
    altitude_off_deg: float


def pin_label(pin: Pin) -> str:
    """What is pinned, in words."""
    if pin.block:
        corner = pin.corner if pin.corner in ("top", "foot") else f"corner {pin.corner}"
        return f"{pin.block}, {corner}"
    return f"the {pin.disc}" if pin.disc else f"{pin.bearing_deg:g}°, {pin.altitude_deg:g}° up"


def check_photo(plan: Plan, photo: Photo) -> tuple[PinCheck, ...]:
    """Each pin of a photograph, in its order. Raises PlanError for a pin on what isn't there."""
    if not photo.pins:
        return ()
    aimed_at, north = targets(plan, photo), plan.site.scene_north_deg
    aim, focal = camera.photo_rotation(photo, north), camera.focal_px(photo)
    seen = aimed_at.seen_from(np.asarray(photo.place_m))
    pinned = camera.directions(photo, aimed_at.pixels, aim, focal)
    off_px = np.linalg.norm(camera.pixels(photo, seen, aim, focal) - aimed_at.pixels, axis=1)
    off_deg = np.degrees(
        np.arctan2(np.linalg.norm(np.cross(seen, pinned), axis=1), np.sum(seen * pinned, axis=1))
    )
    (there, rise), (here, height) = (bearing_and_altitude(rays, north) for rays in (seen, pinned))
    return tuple(
        PinCheck(
            photo=photo.file,
            number=number,
            pin=pin,
            off_px=float(off_px[number]),
            off_deg=float(off_deg[number]),
            bearing_off_deg=float(wrapped_deg(float(there[number] - here[number]))),
            altitude_off_deg=float(rise[number] - height[number]),
        )
        for number, pin in enumerate(photo.pins)
    )
