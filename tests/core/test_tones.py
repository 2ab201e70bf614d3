"""Highlights and shadows that the sensor can't hold, and the graduated filter against them."""

from __future__ import annotations

from typing import Any

import attrs
import numpy as np
import pytest

from planner_core import FrameTable, Plan, compute_frames, review
from planner_core.draft.sky import picture_settings_ev100
from planner_core.output.packing import packing_list
from planner_core.picture import graduated, metering, tones
from planner_core.plan.changes import changed
from planner_core.plan.file import plan_from_dict
from planner_core.review.findings import Finding
from planner_core.review.remedy import TOLD
from tests.two_towers import document


def toward_the_sunset(tilt_deg: float = 0.0, **exposure: Any) -> Plan:
    """Two hours around a sunset over open land, the lens toward it."""
    made = document()
    made["blocks"] = [
        {"name": "Post", "role": "subject", "shape": "post", "centre_m": [0, 900, 5], "size_m": [5, 5, 10]}
    ]
    made["shoot"] = {
        "frames": 121,
        "interval_s": 60.0,
        "write_s": 1.0,
        "anchor": {"event": "sunset", "date": "2027-03-14", "at": 0.5},
    }
    made["rig"]["pan"] = made["rig"]["pan"] | {"min_deg": 0.0, "max_deg": 360.0}
    poses = [
        {"at": at, "slide_m": 0.5, "pan_deg": 270.0, "tilt_deg": tilt}
        for at, tilt in ((0.0, 0.0), (1.0, tilt_deg))
    ]
    made["move"] = {"drive": "shoot-move-shoot", "poses": poses}
    made["exposure"] = {"f_number": 8.0, "meter": "picture", "shutter_min_s": 1 / 8000} | exposure
    return plan_from_dict(made)


def finding(plan: Plan, code: str) -> Finding | None:
    """The finding with this code; at most one."""
    found = [each for each in review(plan, compute_frames(plan)).findings if each.code == code]
    assert len(found) <= 1
    return found[0] if found else None


def test_an_evening_exposed_by_the_ground_loses_its_sky() -> None:
    # a sunset's sky is about four stops over what an incident meter says, a raw file keeps three: practice
    found = finding(toward_the_sunset(meter="ground"), "highlights-lost")
    assert found is not None
    assert found.level == "warn"
    assert found.value is not None
    assert 0.35 < found.value < 0.75
    assert found.frames is not None
    assert found.frames[0] == 1
    assert "stops above middle grey (camera.headroom_stops)" in found.message


@pytest.mark.once
def test_an_evening_metered_by_the_picture_keeps_its_tones() -> None:
    plan = toward_the_sunset()
    assert finding(plan, "highlights-lost") is None
    assert finding(plan, "shadows-lost") is None


def test_a_plan_without_exposure_has_no_tones_to_lose() -> None:
    assert finding(attrs.evolve(toward_the_sunset(), exposure=None), "highlights-lost") is None


@pytest.mark.once
@pytest.mark.parametrize("exposure", [{"meter": "ground"}, {"day_look_stops": 3.5}, {"meter": "subject"}])
def test_each_remedy_for_burnt_highlights_brings_them_back(exposure: dict[str, Any]) -> None:
    plan = toward_the_sunset(**exposure)
    before = finding(plan, "highlights-lost")
    assert before is not None
    assert before.remedies
    for remedy in before.remedies:
        after = finding(changed(plan, remedy.changes), "highlights-lost")
        assert after is None or (after.level == "note" and before.level != "note"), remedy


def test_the_fix_names_what_the_remedies_set() -> None:
    found = finding(toward_the_sunset(meter="ground"), "highlights-lost")
    assert found is not None
    for remedy in found.remedies[:TOLD]:
        for path in remedy.changes:
            assert path in found.fix


@pytest.mark.once
@pytest.mark.parametrize(("level", "share"), [("note", 0.03), ("warn", 0.1), ("stop", 0.75)])
def test_highlights_have_their_levels_from_their_shares_on(level: str, share: float) -> None:
    # the limits are ours; the camera's headroom puts white where just so much of a picture is above it
    plan = toward_the_sunset(meter="ground", day_look_stops=1.0)
    frames = compute_frames(plan)
    over = tones.stops_over(plan.camera, frames.readings.grid, picture_settings_ev100(frames), share).max()

    def level_with(headroom_stops: float) -> str | None:
        camera = attrs.evolve(plan.camera, headroom_stops=headroom_stops)
        found = finding(attrs.evolve(plan, camera=camera), "highlights-lost")
        return found.level if found else None

    levels = (None, "note", "warn", "stop")
    edge = plan.camera.headroom_stops + over
    assert 0.1 < edge < 7.9
    assert level_with(edge - 0.03) == level
    assert level_with(edge + 0.03) == levels[levels.index(level) - 1]


@pytest.mark.once
def test_a_dark_picture_loses_its_shadows_and_says_what_brings_them_back() -> None:
    plan = toward_the_sunset(day_look_stops=-6.0, night_look_stops=-6.0)
    found = finding(plan, "shadows-lost")
    assert found is not None
    assert "camera.range_stops" in found.message
    assert found.remedies
    for remedy in found.remedies:
        after = finding(changed(plan, remedy.changes), "shadows-lost")
        assert after is None or after.level == "note", remedy


@pytest.mark.once
def test_shadows_hold_as_far_down_as_the_sensor_does() -> None:
    plan = toward_the_sunset()
    assert finding(attrs.evolve(plan, camera=attrs.evolve(plan.camera, range_stops=4.0)), "shadows-lost")
    assert not finding(attrs.evolve(plan, camera=attrs.evolve(plan.camera, range_stops=14.0)), "shadows-lost")


def test_where_the_settings_end_the_fix_is_a_filter() -> None:
    plan = toward_the_sunset(shutter_min_s=1 / 30, iso_min=400.0, f_number=2.8, artificial_ev100=4.0)
    found = finding(plan, "highlights-lost")
    assert found is not None
    assert "exposure.nd_stops" in found.fix
    assert found.remedies
    for remedy in found.remedies:
        assert {"exposure.nd_stops", "exposure.shutter_min_s"} & set(remedy.changes)
        after = finding(changed(plan, remedy.changes), "highlights-lost")
        assert after is None or after.level == "note", remedy


def test_where_the_settings_end_and_more_is_meant_the_fix_sets_both() -> None:
    plan = toward_the_sunset(shutter_min_s=1 / 30, f_number=8.0, meter="ground", artificial_ev100=4.0)
    found = finding(plan, "highlights-lost")
    assert found is not None
    both = {"exposure.meter", "exposure.nd_stops"}
    assert any(both <= set(remedy.changes) for remedy in found.remedies)


def test_where_the_settings_end_in_the_dark_the_shadows_ask_for_more_light() -> None:
    plan = toward_the_sunset(shutter_max_s=1 / 60, iso_max=100.0, f_number=4.0, artificial_ev100=4.0)
    found = finding(plan, "shadows-lost")
    assert found is not None
    assert found.remedies
    for remedy in found.remedies:
        assert {"exposure.iso_max", "exposure.f_number", "exposure.shutter_max_s"} & set(remedy.changes)


# ---------------------------------------------------------------- the graduated filter


def test_a_graduated_filter_takes_all_above_its_edge_half_on_it_and_nothing_below() -> None:
    plan = toward_the_sunset(grad_stops=2.0)
    edge = graduated.edge_half_width(plan)
    assert graduated.stops_taken(plan, [-1.0, -edge, 0.0, edge, 1.0]) == pytest.approx(
        [0.0, 0.0, 1.0, 2.0, 2.0]
    )
    rise = np.linspace(-1.0, 1.0, 401)
    assert np.all(np.diff(graduated.stops_taken(plan, rise)) >= 0.0)


def test_a_longer_lens_sees_a_smaller_part_of_the_edge() -> None:
    plan = toward_the_sunset(grad_stops=2.0)
    longer = attrs.evolve(plan, camera=attrs.evolve(plan.camera, focal_length_mm=85.0))
    assert graduated.edge_half_width(longer) < graduated.edge_half_width(plan)


def grid_of(**exposure: Any) -> metering.Grid:
    return metering.read_grid(compute_frames(toward_the_sunset(**exposure)))


def test_the_meter_reads_through_the_graduated_filter() -> None:
    plain, filtered = grid_of(), grid_of(grad_stops=2.0)
    assert filtered.luminance_cd_m2 == pytest.approx(plain.luminance_cd_m2)
    top, foot = filtered.on_sensor_cd_m2[:, 0], filtered.on_sensor_cd_m2[:, -1]
    assert top == pytest.approx(plain.luminance_cd_m2[:, 0] / 4.0)
    assert foot == pytest.approx(plain.luminance_cd_m2[:, -1])


def readings(frames: FrameTable) -> metering.Readings:
    return frames.readings


def test_a_camera_behind_a_graduated_filter_asks_for_more_exposure_and_a_spot_meter_does_not() -> None:
    plain = readings(compute_frames(toward_the_sunset()))
    filtered = readings(compute_frames(toward_the_sunset(grad_stops=2.0)))
    assert np.all(filtered.evaluative_ev100 < plain.evaluative_ev100 - 0.3)
    assert np.all(filtered.brightest_sky_ev100 < plain.brightest_sky_ev100)
    for name in ("sky_ev100", "subject_ev100", "ground_ev100"):
        assert getattr(filtered, name) == pytest.approx(getattr(plain, name)), name


def test_incident_light_knows_nothing_of_a_graduated_filter() -> None:
    plain, filtered = (
        compute_frames(toward_the_sunset(meter="ground", grad_stops=g)).ramp for g in (0.0, 3.0)
    )
    assert plain is not None
    assert filtered is not None
    assert filtered.target_ev100 == pytest.approx(plain.target_ev100, abs=1e-12)


def test_another_plans_filter_is_put_before_pictures_that_were_read() -> None:
    plain = compute_frames(toward_the_sunset())
    other = toward_the_sunset(grad_stops=3.0)
    swapped = metering.through_filter(other, plain.readings.grid, plain)
    assert swapped.on_sensor_cd_m2 == pytest.approx(compute_frames(other).readings.grid.on_sensor_cd_m2)


def packed(plan: Plan) -> str:
    return "; ".join(f"{item.name}: {item.why}" for item in packing_list(plan, compute_frames(plan)))


def test_the_packing_list_has_the_graduated_filter_and_where_its_edge_goes() -> None:
    assert "Graduated" not in packed(toward_the_sunset())
    said = packed(toward_the_sunset(grad_stops=2.0, nd_stops=3.0))
    assert (
        "Graduated filter, 2 stops, soft edge: edge on the horizon, 50 % of the picture’s height up" in said
    )
    assert "ND filter, 3 stops" in said
    assert "move it as the camera tilts" in packed(toward_the_sunset(tilt_deg=20.0, grad_stops=2.0))


@pytest.mark.once
def test_a_filter_that_is_set_once_is_not_advised_for_a_camera_that_tilts() -> None:
    still, tilting = (
        finding(toward_the_sunset(tilt_deg=tilt, meter="ground"), "highlights-lost") for tilt in (0.0, 12.0)
    )
    assert still is not None
    assert tilting is not None
    assert all("exposure.grad_stops" not in remedy.changes for remedy in tilting.remedies)


def test_tones_lost_since_the_exposure_follows_late_are_told_the_interval_that_jumps_are_told() -> None:
    evening = toward_the_sunset(artificial_ev100=3.0, iso_max=6400.0)
    hurried = attrs.evolve(evening, shoot=attrs.evolve(evening.shoot, frames=30, interval_s=240.0))
    burnt, jumps = finding(hurried, "highlights-lost"), finding(hurried, "ramp-steep")
    assert burnt is not None
    assert jumps is not None
    assert burnt.fact("lags")
    assert burnt.remedies[0].changes == jumps.remedies[0].changes
    assert set(burnt.remedies[0].changes) == {"shoot.interval_s"}
    untold = attrs.evolve(burnt, remedies=(), tried=True, failed=1)
    assert "at a shorter interval" in untold.fix
