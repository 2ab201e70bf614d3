"""The moon in the picture, against DE421 through skyfield and rays by trimesh."""

from __future__ import annotations

import datetime as dt

import attrs
import numpy as np
import pytest
import trimesh

from planner_core import compute_frames, review
from planner_core.evening.moonlight import moon_view
from planner_core.frames import FrameTable
from planner_core.light.daylight import moon_disc_ev100
from planner_core.picture.projection import delivered_crop, project_px
from planner_core.place import blocking
from planner_core.plan.model import Block, Exposure, Plan, Pose, Shoot, Site
from planner_core.rig import geometry
from planner_core.time import ephemeris
from tests.de421 import Ephemeris421
from tests.places import box, place

# Full moon on 2027-01-22 (12:17 UTC, by DE421); it rises in the north-east as the sun sets in the south-west
BERLIN = Site(latitude_deg=52.5, longitude_deg=13.4, timezone="Europe/Berlin")
EXPOSURE = Exposure(f_number=5.6, iso_max=1600.0, shutter_max_s=6.0, artificial_ev100=2.0)


def moonrise(
    *blocks: Block, bearing_deg: float = 62.0, focal_length_mm: float = 50.0, exposure: Exposure = EXPOSURE
) -> Plan:
    poses = tuple(Pose(at=at, pan_deg=bearing_deg, tilt_deg=4.0) for at in (0.0, 1.0))
    plan = place(*blocks, poses=poses, frames=360, focal_length_mm=focal_length_mm)
    shoot = Shoot(frames=360, interval_s=20.0, start=dt.datetime(2027, 1, 22, 16, 30))
    return attrs.evolve(plan, site=BERLIN, shoot=shoot, exposure=exposure)


TOWERS = (
    box("mill", 80.0, 45.0, (12.0, 12.0, 9.0), role="subject"),
    box("silo", 90.0, 30.0, (9.0, 9.0, 22.0)),
    box("shed", 20.0, 12.0, (4.0, 6.0, 3.0)),
)


def by_skyfield_and_rays(frames: FrameTable, de421: Ephemeris421) -> tuple[np.ndarray, np.ndarray]:
    """Which frames show the moon, and its direction there."""
    plan, site = frames.plan, frames.plan.site
    azimuth, true = de421.position("moon", frames.utc_s, site.latitude_deg, site.longitude_deg)
    apparent = ephemeris.apparent_altitude_deg(true)
    centre = geometry.direction(azimuth, apparent, site.scene_north_deg)
    limb = geometry.direction(azimuth, np.maximum(apparent + 15.5 / 60.0, 1e-3), site.scene_north_deg)
    xy, _ = project_px(plan, frames.camera_m + centre, frames.camera_m, frames.camera_rotation)
    with np.errstate(invalid="ignore"):
        inside = np.all((xy >= 0.0) & (xy <= (plan.clip.width_px, plan.clip.height_px)), axis=-1)
    hidden = np.zeros(len(frames), dtype=bool)
    for block in plan.blocks:
        solid = blocking.block_mesh(plan, block)
        triangles = [(f[0], f[i], f[i + 1]) for f in solid.faces for i in range(1, len(f) - 1)]
        mesh = trimesh.Trimesh(solid.vertices_m, triangles, process=False)
        hidden |= mesh.ray.intersects_any(frames.camera_m, limb)
    return inside & (apparent > -15.5 / 60.0) & ~hidden, centre


@pytest.mark.parametrize("bearing_deg", [55.0, 62.0, 70.0])
def test_the_moon_comes_out_and_goes_behind_within_a_frame_of_skyfield_and_rays(
    bearing_deg: float, de421: Ephemeris421
) -> None:
    frames = compute_frames(moonrise(*TOWERS, bearing_deg=bearing_deg))
    theirs, _ = by_skyfield_and_rays(frames, de421)
    ours = moon_view(frames).in_picture
    assert 20 < np.count_nonzero(theirs) < 360
    changes = np.flatnonzero(np.diff(theirs)), np.flatnonzero(np.diff(ours))
    assert len(changes[0]) == len(changes[1]) > 0
    assert np.max(np.abs(changes[0] - changes[1])) <= 1


def test_the_moon_drifts_through_an_exposure_as_fast_as_skyfield_says(de421: Ephemeris421) -> None:
    frames = compute_frames(moonrise())
    plan, moon = frames.plan, moon_view(frames)
    assert frames.ramp is not None
    row = int(np.nanargmax(moon.smear_px))
    shutter_s = float(frames.ramp.shutter_s[row])
    times = [float(frames.utc_s[row]), float(frames.utc_s[row]) + 60.0]  # a minute, for its digits
    azimuth, true = de421.position("moon", times, plan.site.latitude_deg, plan.site.longitude_deg)
    ways = geometry.direction(azimuth, ephemeris.apparent_altitude_deg(true), plan.site.scene_north_deg)
    eye, turn = frames.camera_m[row], frames.camera_rotation[row]
    xy, _ = project_px(plan, eye + ways, eye, turn)
    assert moon.smear_px[row] == pytest.approx(np.hypot(*(xy[1] - xy[0])) * shutter_s / 60.0, rel=0.01)
    # 14.5″ a second (Meeus ch. 47: a month of 27.3 days) times the focal length in pixels, within the cosine
    rate = delivered_crop(plan.camera, plan.clip).focal_px * np.radians(14.5 / 3600.0)
    assert moon.smear_px[row] < 1.1 * rate * shutter_s


def test_a_full_moon_high_up_is_as_bright_as_a_front_lit_subject_in_the_sun() -> None:
    # EV 15 by exposure tables (ANSI PH2.7-1986, from memory); low down the air takes stops of it
    assert float(moon_disc_ev100(60.0, 179.0, 1.0)) == pytest.approx(15.0, abs=0.4)
    assert float(moon_disc_ev100(2.0, 179.0, 1.0)) < 12.0
    assert float(moon_disc_ev100(60.0, 90.0, 0.5)) < 14.5


def test_the_finding_names_frames_block_stops_and_drift() -> None:
    plan = moonrise(*TOWERS)
    report = review(plan, compute_frames(plan))
    (found,) = [finding for finding in report.findings if finding.code == "moon-in-frame"]
    assert found.level == "note"
    assert "out from behind “" in found.message
    assert "stops over middle grey" in found.message
    assert "It burns out" in found.fix
    assert report.summary.light.moon.moon_in_picture_frames == found.frames


def test_a_long_lens_and_a_long_shutter_make_an_oval_of_it_and_a_short_one_a_disc() -> None:
    plan = moonrise(focal_length_mm=200.0, bearing_deg=62.0)
    (found,) = [f for f in review(plan, compute_frames(plan)).findings if f.code == "moon-in-frame"]
    assert found.level == "note"
    slow = attrs.evolve(EXPOSURE, shutter_min_s=15.0, shutter_max_s=15.0)
    long = moonrise(focal_length_mm=200.0, bearing_deg=62.0, exposure=slow)
    (found,) = [f for f in review(long, compute_frames(long)).findings if f.code == "moon-in-frame"]
    assert (found.level, found.unit) == ("warn", "px")
    assert "For a round disc expose" in found.fix


def test_a_new_moon_and_one_behind_the_camera_are_not_in_the_picture() -> None:
    new = attrs.evolve(
        moonrise(bearing_deg=230.0),
        shoot=Shoot(frames=360, interval_s=20.0, start=dt.datetime(2027, 1, 7, 15, 30)),
    )
    for plan in (new, moonrise(bearing_deg=242.0)):
        assert not [f for f in review(plan, compute_frames(plan)).findings if f.code == "moon-in-frame"]
