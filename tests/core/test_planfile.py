"""A plan file comes back as it went out; what is wrong in it is said in one line that names the field."""

from __future__ import annotations

import contextlib
import copy
import datetime as dt
import json
import os
import stat
from pathlib import Path
from typing import Any

import attrs
import pytest
from hypothesis import given
from hypothesis import strategies as st

from planner_core import PlanError, load_plan, save_plan
from planner_core.plan.file import plan_from_dict, plan_from_text, plan_to_dict, plan_to_text
from planner_core.plan.model import Plan, Pose, SlideAxis
from tests.present import present

DELETE = object()


@pytest.fixture
def document(harbour: Plan) -> dict[str, Any]:
    return plan_to_dict(harbour)


def with_change(
    document: dict[str, Any],
    path: list[int | str],
    value: object,
) -> dict[str, Any]:
    """The document with one place in it replaced or taken out."""
    changed = copy.deepcopy(document)
    place: Any = changed
    for key in path[:-1]:
        place = place[key]
    if value is DELETE:
        del place[path[-1]]
    else:
        place[path[-1]] = value
    return changed


def test_a_saved_plan_loads_as_the_same_plan(example_plan: Plan, tmp_path: Path) -> None:
    save_plan(example_plan, tmp_path / "again.plan.json")
    assert load_plan(tmp_path / "again.plan.json") == example_plan


def test_saving_twice_writes_the_same_bytes(example_plan: Plan, tmp_path: Path) -> None:
    text = plan_to_text(example_plan)
    assert plan_to_text(plan_from_text(text)) == text


def test_a_plan_needs_only_the_fields_of_version_one_and_may_leave_out_the_optional_ones(
    document: dict[str, Any],
) -> None:
    for name in ("notes", "reason", "composition", "exposure", "blocks"):
        document.pop(name, None)
    del document["site"]["name"], document["camera"]["raw_file_mb"]
    plan = plan_from_dict(document)
    assert plan.exposure is None
    assert plan.composition is None
    assert plan.camera.raw_file_mb is None


def test_notes_are_kept_as_they_are(document: dict[str, Any]) -> None:
    notes = {"parking": ["behind the chandler", 2.5], "deep": {"a": None}}
    assert plan_from_dict(with_change(document, ["notes"], notes)).notes == notes
    assert plan_to_dict(plan_from_dict(with_change(document, ["notes"], notes)))["notes"] == notes


def test_whole_numbers_stand_for_the_same_measure(document: dict[str, Any]) -> None:
    assert (
        plan_from_dict(with_change(document, ["camera", "focal_length_mm"], 24)).camera.focal_length_mm
        == 24.0
    )
    assert plan_from_dict(with_change(document, ["shoot", "frames"], 360.0)).shoot.frames == 360


def test_a_version_may_be_written_with_a_decimal_point(document: dict[str, Any]) -> None:
    assert plan_from_dict(document | {"version": 1.0}) == plan_from_dict(document)


def nested(depth: int) -> list[list[list[Any]]]:
    return [] if depth == 0 else [nested(depth - 1)]


def test_notes_may_be_nested_as_deep_as_a_person_would_and_no_deeper(document: dict[str, Any]) -> None:
    plan = plan_from_dict(document | {"notes": nested(40)})
    assert plan_from_text(plan_to_text(plan)) == plan
    with pytest.raises(PlanError, match=r"notes: is nested too deeply"):
        plan_from_dict(document | {"notes": nested(400)})


WRONG = [
    # path, what stands there, where the error points, what it says
    (["rig", "slide", "max_m"], 1500, "rig.slide.max_m", "1.5?"),
    (["rig", "slide", "max_m"], 150, "rig.slide.max_m", "1.5?"),
    (["rig", "slide", "max_speed_m_s"], 50, "rig.slide.max_speed_m_s", "0.05 or 0.5?"),
    (["rig", "head_height_m"], 15, "rig.head_height_m", "centimetres (metres are meant; 0.15?"),
    (["rig", "head_height_m"], 150, "rig.head_height_m", "millimetres (metres are meant; 0.15?"),
    (["rig", "settle_s"], 500, "rig.settle_s", "0.5?"),
    (["camera", "focal_length_mm"], 0.024, "camera.focal_length_mm", "24?"),
    (["camera", "focus_distance_m"], 0.024, "camera.focus_distance_m", "too near for a lens of 24 mm"),
    (["camera", "focal_length_mm"], 2.4, "camera.focal_length_mm", "24?"),
    (["camera", "sensor_width_mm"], 0.036, "camera.sensor_width_mm", "36?"),
    (["site", "latitude_deg"], 431, "site.latitude_deg", "-90 to 90"),
    (["site", "longitude_deg"], -181, "site.longitude_deg", "-180 to 180"),
    (["site", "timezone"], "Europe/Lissbon", "site.timezone", "Europe/Lisbon?"),
    (["site", "timezone"], "New York", "site.timezone", "America/New_York?"),
    (["site", "timezone"], "../../etc/passwd", "site.timezone", "IANA"),
    (["site", "timezone"], None, "site.timezone", "text"),
    (["shoot", "frames"], -3, "shoot.frames", "from 1"),
    (["shoot", "frames"], 1_000_000, "shoot.frames", "100000"),
    (["shoot", "frames"], 3.5, "shoot.frames", "whole number"),
    (["shoot", "frames"], "360", "shoot.frames", "whole number"),
    (["shoot", "interval_s"], True, "shoot.interval_s", "true"),
    (["shoot", "interval_s"], 0, "shoot.interval_s", "above 0"),
    (["shoot", "interval_s"], 12_000, "shoot.interval_s", "12?"),
    (["shoot", "write_s"], 1000, "shoot.write_s", "1?"),
    (["shoot", "anchor", "date"], "2027-02-30", "shoot.anchor.date", "calendar"),
    (["shoot", "anchor", "event"], "tea_time", "shoot.anchor.event", "sunset"),
    (["shoot", "anchor", "at"], 50, "shoot.anchor.at", "0.5?"),
    (["shoot", "anchor"], DELETE, "shoot", "start"),
    (["shoot", "start"], "2027-03-14T17:20:00", "shoot.start", "beside an anchor"),
    (["rig", "slide", "step_mm"], 1, "rig.slide.step_mm", "step_m"),
    (["rig", "slide", "max_speed_m_s"], 0, "rig.slide.max_speed_m_s", "above 0"),
    (["rig", "slide", "max_m"], 0.0, "rig.slide.max_m", "above min_m"),
    (["rig", "slide"], None, "move.poses[0].slide_m", "lacks"),
    (["rig"], [], "rig", "{ }"),
    (["rig", "origin_m"], [0, 0], "rig.origin_m", "3 numbers"),
    (["rig", "origin_m"], [0, 0, "x"], "rig.origin_m[2]", "not a number"),
    (["move", "poses"], {}, "move.poses", "[ ]"),
    (["move", "poses"], [], "move.poses", "a pose at 0"),
    (["move", "poses", 1, "at"], 0.0, "move.poses[1].at", "place of the pose before"),
    (["move", "poses", 0, "at"], 1.0, "move.poses[1].at", "place of the pose before"),
    (["move", "ease"], 20, "move.ease", "0.2?"),
    (["move", "ease"], 0.6, "move.ease", "from 0 to 0.5"),
    (["move", "drive"], "smooth", "move.drive", "continuous"),
    (["exposure", "iso_max"], 50, "exposure.iso_max", "iso_min"),
    (["composition", "style"], "swoosh", "composition.style", "hold, reveal"),
    (["blocks", 3, "role"], "hero", "blocks[3].role", "subject"),
    (["blocks", 3, "shape"], "blob", "blocks[3].shape", "prism"),
    (["blocks", 3, "size_m"], [1, 2, -1], "blocks[3].size_m[2]", "above 0"),
    (["blocks", 3, "size_m"], DELETE, "blocks[3].size_m", "missing"),
    (["blocks", 3], 7, "blocks[3]", "{ }"),
    (["camera"], DELETE, "camera", "missing"),
    (["camera", "sensor_width_mm"], DELETE, "camera.sensor_width_mm", "missing"),
    (["titel"], "x", "titel", "title"),
    (["format"], DELETE, "format", "duskrail-plan"),
    (["format"], "flipbook", "format", "is not a plan's format"),
    (["site", "lat"], 43.5, "site.lat", "latitude_deg?"),
    (["shoot", "date"], "2027-03-14", "shoot.date", "anchor.date?"),
    (["headroom_stops"], 3.0, "headroom_stops", "camera.headroom_stops?"),
    (["title"], "half a \ud83d", "title", "half a character"),
    (["notes"], {"half": ["\ud83d"]}, "notes", "half a character"),
    (["reason"], None, "reason", "null"),
    (["version"], 2, "version", "newer"),
    (["version"], "1", "version", "version number"),
    (["title"], 5, "title", "double quotes"),
]


@pytest.mark.parametrize(
    ("path", "value", "where", "says"), WRONG, ids=[f"{w[2]}-{i}" for i, w in enumerate(WRONG)]
)
def test_a_wrong_value_is_named_with_its_field_and_what_would_do(
    document: dict[str, Any],
    path: list[int | str],
    value: object,
    where: str,
    says: str,
) -> None:
    with pytest.raises(PlanError) as caught:
        plan_from_dict(with_change(document, path, value))
    assert caught.value.path == where
    assert says in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_value_changed_in_python_is_checked_as_well(harbour: Plan) -> None:
    with pytest.raises(PlanError, match="focal_length_mm"):
        attrs.evolve(harbour.camera, focal_length_mm=0.024)
    as_text: Any = "1.5"
    with pytest.raises(PlanError, match="max_m"):
        SlideAxis(min_m=0, max_m=as_text, max_speed_m_s=1, max_acceleration_m_s2=1, step_m=1e-5)


def test_a_fixed_head_may_give_the_same_direction_in_every_pose(document: dict[str, Any]) -> None:
    document["rig"]["tilt"] = None
    for pose in document["move"]["poses"]:
        pose["tilt_deg"] = 2.0
    assert plan_from_dict(document).move.poses[0] == Pose(at=0.0, slide_m=0.3, pan_deg=266.5, tilt_deg=2.0)
    del document["move"]["poses"][0]["tilt_deg"]
    with pytest.raises(PlanError, match=r"move\.poses\[1\]\.tilt_deg"):
        plan_from_dict(document)
    document["move"]["poses"][0]["tilt_deg"] = 3.0
    with pytest.raises(PlanError, match=r"move\.poses\[1\]\.tilt_deg"):
        plan_from_dict(document)


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"", "is empty"),
        (b"  \n", "is empty"),
        (b"\x89PNG\r\n\x1a\n\x00\xff\xfe", "UTF-8"),
        (b'{"format": "duskrail-plan", "version": 1, "site": {"lat', "stops being JSON"),
        (b'{"format": NaN}', "NaN"),
        (b'{"a": 1, "a": 2}', "second value"),
        (b"[1, 2]", "one JSON object"),
        (b"null", "one JSON object"),
        (b"[" * 100_000, "too deep"),
        (b'{"version": ' + b"9" * 5000 + b"}", "too many digits"),
    ],
)
def test_a_file_that_is_no_plan_is_said_in_one_line(tmp_path: Path, content: bytes, says: str) -> None:
    path = tmp_path / "bad.plan.json"
    path.write_bytes(content)
    with pytest.raises(PlanError, match=says) as caught:
        load_plan(path)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ('"max_speed_m_s": 0.05', '"max_speed_m_s": NaN', r"^rig\.slide\.max_speed_m_s: NaN is not a number"),
        ('"ease": 0.2', '"ease": -Infinity', r"^move\.ease: -Infinity is not a number"),
        ('"notes": {', '"notes": {"tide": [1, NaN], ', r"^notes\.tide\[1\]: NaN is not a number"),
        ('"at": 1.0', '"at": 0.9, "at": 1.0', r"^move\.poses\[1\]\.at: 1 is the second value"),
        ('"settle_s": 0.5', '"settle_s": 0.5, "settle_s": NaN', r"^rig\.settle_s: NaN is not a number"),
        ('"settle_s": 0.5', '"settle_s": 1e999', r"^rig\.settle_s: inf is not a finite number"),
        ('"version": 1,', "", r"^version: is missing; a plan file"),
    ],
)
def test_what_json_may_not_hold_is_named_by_its_path(
    document: dict[str, Any], old: str, new: str, says: str
) -> None:
    document["move"]["ease"], document["rig"]["settle_s"], document["notes"] = 0.2, 0.5, {"moon": "low"}
    document["rig"]["slide"]["max_speed_m_s"] = 0.05
    document["move"]["poses"] = [{"at": 0.0, "slide_m": 0.1}, {"at": 1.0, "slide_m": 0.2}]
    text = json.dumps(document)
    assert old in text
    with pytest.raises(PlanError, match=says):
        plan_from_text(text.replace(old, new, 1))


def test_a_missing_file_and_a_folder_are_named(tmp_path: Path) -> None:
    with pytest.raises(PlanError, match="does not exist"):
        load_plan(tmp_path / "none.plan.json")
    with pytest.raises(PlanError, match=r"^plan file: \S+ is a folder; name"):
        load_plan(tmp_path)
    with pytest.raises(PlanError, match="can't be read"):
        load_plan("no\0name.plan.json")


def test_infinity_by_overflow_is_refused(document: dict[str, Any]) -> None:
    text = json.dumps(document).replace('"latitude_deg": ', '"latitude_deg": 1e999, "no": ')
    with pytest.raises(PlanError, match=r"site\.latitude_deg: inf is not a finite number"):
        plan_from_text(text)


def test_an_older_plan_may_still_give_the_height_above_the_sea(document: dict[str, Any]) -> None:
    document["site"]["elevation_m"] = 640.0
    high = plan_from_dict(document)
    del document["site"]["elevation_m"]
    assert plan_from_dict(document) == high
    assert "elevation" not in plan_to_text(high)
    with pytest.raises(PlanError, match=r"^site\.elevation_m: 64000 is outside what is possible"):
        plan_from_dict(with_change(document, ["site", "elevation_m"], 64000))
    with pytest.raises(PlanError, match=r"^site\.elevation_m: 'high' is not a number"):
        plan_from_dict(with_change(document, ["site", "elevation_m"], "high"))


def test_a_local_time_that_a_clock_change_skips_or_repeats_is_refused(document: dict[str, Any]) -> None:
    del document["shoot"]["anchor"]  # Madrid changes clocks on 2027-03-28 and 2027-10-31
    with pytest.raises(PlanError, match=r"shoot\.start.*skipped.*03:30") as caught:
        plan_from_dict(with_change(document, ["shoot", "start"], "2027-03-28T02:30:00"))
    assert caught.value.path == "shoot.start"
    with pytest.raises(PlanError, match=r"shoot\.start.*happens twice.*\+02:00.*\+01:00"):
        plan_from_dict(with_change(document, ["shoot", "start"], "2027-10-31T02:30:00"))
    plan = plan_from_dict(with_change(document, ["shoot", "start"], "2027-10-31T02:30:00+01:00"))
    assert present(plan.shoot.start).utcoffset() == dt.timedelta(hours=1)


def test_an_anchor_on_a_polar_day_is_an_error_at_the_anchor(document: dict[str, Any]) -> None:
    document["site"].update(latitude_deg=78.2, longitude_deg=15.6, timezone="Arctic/Longyearbyen")
    document["shoot"]["anchor"]["date"] = "2027-06-21"
    with pytest.raises(PlanError) as caught:
        plan_from_dict(document)
    assert caught.value.path == "shoot.anchor"
    assert "does not happen" in str(caught.value)


def test_a_failed_write_leaves_the_old_file_and_no_other(
    harbour: Plan, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    target = tmp_path / "a.plan.json"
    save_plan(harbour, target)
    before = target.read_bytes()

    def full(_descriptor: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(OSError, match="No space left"):
        save_plan(attrs.evolve(harbour, title="other"), target)
    assert target.read_bytes() == before
    assert [entry.name for entry in tmp_path.iterdir()] == ["a.plan.json"]


def test_a_saved_file_keeps_its_permissions(harbour: Plan, tmp_path: Path) -> None:
    target = tmp_path / "a.plan.json"
    save_plan(harbour, target)
    target.chmod(0o640)
    save_plan(harbour, target)
    assert stat.S_IMODE(target.stat().st_mode) == 0o640


json_values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner, max_size=3),
    max_leaves=5,
)


@pytest.mark.once
@given(data=st.data(), value=json_values)
def test_whatever_stands_in_a_field_is_a_plan_or_a_plan_error(
    harbour_document: dict[str, Any], data: st.DataObject, value: dict[str, Any] | None
) -> None:
    """No value in any field of a plan leads to any other exception."""
    changed = copy.deepcopy(harbour_document)
    place: Any = changed
    parent: Any = None
    path: list[str | int] = []
    while isinstance(place, (dict, list)) and place and (not path or data.draw(st.booleans())):
        key = data.draw(st.sampled_from(sorted(place) if isinstance(place, dict) else range(len(place))))
        path.append(key)
        parent, place = place, place[key]
    parent[path[-1]] = value
    with contextlib.suppress(PlanError):
        plan_from_dict(changed)


METERING_FIELDS: dict[str, dict[str, object]] = {
    "camera": {"headroom_stops": 3.0, "range_stops": 12.0},
    "exposure": {"meter": "ground", "day_look_stops": 0.0, "grad_stops": 0.0},
}


def test_a_plan_without_the_fields_of_metering_means_incident_light_and_stays_without_them(
    document: dict[str, Any],
) -> None:
    for part, fields in METERING_FIELDS.items():
        for name in fields:
            document[part].pop(name, None)
    plan = plan_from_dict(document)
    for part, fields in METERING_FIELDS.items():
        for name, value in fields.items():
            assert getattr(getattr(plan, part), name) == value
            assert name not in plan_to_dict(plan)[part]


@pytest.mark.parametrize(
    ("path", "value"),
    [
        (["camera", "headroom_stops"], 3.5),
        (["camera", "range_stops"], 14),
        (["exposure", "grad_stops"], 2),
        (["exposure", "day_look_stops"], -0.5),
        (["exposure", "meter"], "sky"),
    ],
)
def test_fields_of_metering_come_back_as_they_went_out(
    document: dict[str, Any], path: list[int | str], value: object
) -> None:
    plan = plan_from_dict(with_change(document, path, value))
    part: Any = plan_to_dict(plan)
    for key in path:
        part = part[key]
    assert part == value
    assert plan_from_text(plan_to_text(plan)) == plan


@pytest.mark.parametrize(
    ("path", "value", "said"),
    [
        (["camera", "headroom_stops"], -1, "camera.headroom_stops: -1 is outside what is possible; give"),
        (["camera", "headroom_stops"], "three", "camera.headroom_stops: 'three' is not a number"),
        (
            ["camera", "range_stops"],
            0.5,
            "camera.range_stops: 0.5 is outside what is possible; give",
        ),
        (["camera", "range_stops"], None, "camera.range_stops: null is not a number"),
        (
            ["exposure", "grad_stops"],
            -2,
            "exposure.grad_stops: -2 is outside what is possible; give",
        ),
        (
            ["exposure", "grad_stops"],
            64,
            "exposure.grad_stops: 64 is outside what is possible; give",
        ),
        (["exposure", "grad_stops"], True, "exposure.grad_stops: true is not a number"),
        (["exposure", "day_look_stops"], 20, "exposure.day_look_stops: 20 is outside what is possible"),
        (["exposure", "meter"], "spot", "exposure.meter: 'spot' is not known; use one of: ground, picture,"),
        (
            ["exposure", "meter"],
            3,
            "exposure.meter: 3 is not text; write it in double quotes",
        ),
    ],
)
def test_a_field_of_metering_that_cannot_be_meant_is_refused_in_one_line(
    document: dict[str, Any], path: list[int | str], value: object, said: str
) -> None:
    with pytest.raises(PlanError) as caught:
        plan_from_dict(with_change(document, path, value))
    assert str(caught.value).startswith(said)
    assert "\n" not in str(caught.value)
