"""The plan's JSON Schema: it takes what the loader takes, and says what every field is."""

from __future__ import annotations

import itertools
import json
import os
import random
from collections import Counter
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any

import attrs
import jsonschema
import pytest

from planner_core import PlanError, load_plan, save_plan
from planner_core.plan import file as planfile
from planner_core.plan import schema as planschema
from planner_core.plan.meanings import HEADER, MEANINGS
from planner_core.plan.model import Plan
from tools import fuzz_cases

# Ten thousand by hand after a change to the plan, and every change of every field; here a few of both.
CASES = int(os.environ.get("DUSKRAIL_SCHEMA_CASES", "250"))
TAKE = 1 if CASES >= 10_000 else 15
WHOLE: dict[str, Any] = {
    "$schema": "plan.schema.json",
    "format": "duskrail-plan",
    "version": 1,
    "title": "Everything",
    "reason": "to have every field once",
    "notes": {"anything": [1, None]},
    "site": {
        "name": "Quay",
        "latitude_deg": 38.7,
        "longitude_deg": -9.1,
        "elevation_m": 3.0,
        "timezone": "Europe/Lisbon",
        "scene_north_deg": 10.0,
        "tides": [
            {"time": "2027-03-14T14:00:00", "height_m": 3.1},
            {"time": "2027-03-14T20:10:00", "height_m": 0.6},
        ],
        "scene_zero_above_chart_m": 4.0,
        "swell_m": 0.2,
        "water_margin_m": 0.3,
    },
    "camera": {
        "name": "B",
        "sensor_width_mm": 36.0,
        "sensor_height_mm": 24.0,
        "image_width_px": 6000,
        "image_height_px": 4000,
        "focal_length_mm": 24.0,
        "focus_distance_m": 8.0,
        "raw_file_mb": 45.0,
        "headroom_stops": 3.0,
        "range_stops": 12.0,
        "lenses_mm": [24.0, 85.0],
        "card_gb": 64.0,
        "battery_frames": 900,
    },
    "clip": {"width_px": 1920, "height_px": 1080, "fps": 24.0},
    "rig": {
        "name": "short rail",
        "origin_m": [0.0, 0.0, 0.9],
        "bearing_deg": 90.0,
        "incline_deg": 0.0,
        "head_height_m": 0.15,
        "pupil_offset_m": 0.05,
        "settle_s": 0.5,
        "slide": {
            "min_m": -0.5,
            "max_m": 1.5,
            "max_speed_m_s": 0.05,
            "max_acceleration_m_s2": 0.05,
            "step_m": 1e-5,
        },
        "pan": {
            "min_deg": -10.0,
            "max_deg": 360.0,
            "max_speed_deg_s": 5.0,
            "max_acceleration_deg_s2": 5.0,
            "step_deg": 0.01,
        },
        "tilt": {
            "min_deg": -45.0,
            "max_deg": 45.0,
            "max_speed_deg_s": 5.0,
            "max_acceleration_deg_s2": 5.0,
            "step_deg": 0.01,
        },
        "max_incline_deg": 30.0,
        "stand_min_m": 0.4,
        "stand_max_m": 1.4,
    },
    "move": {
        "drive": "shoot-move-shoot",
        "ease": 0.2,
        "poses": [
            {"at": 0.0, "slide_m": 0.1, "pan_deg": 10.0, "tilt_deg": 0.0},
            {"at": 1.0, "slide_m": 1.2, "pan_deg": 22.0, "tilt_deg": 1.0},
        ],
    },
    "shoot": {
        "frames": 360,
        "interval_s": 10.0,
        "interval_step_s": 0.5,
        "write_s": 1.0,
        "attended": True,
        "anchor": {"event": "sunset", "date": "2027-03-14", "at": 0.5},
        "start": None,
        "setup_s": 1800.0,
        "travel_s": 600.0,
        "cloud_divisor": 1.0,
        "wind_m_s": 4.0,
        "wind_from_deg": 270.0,
    },
    "exposure": {
        "f_number": 5.6,
        "iso_min": 100.0,
        "iso_max": 1600.0,
        "shutter_min_s": 0.0005,
        "shutter_max_s": 6.0,
        "nd_stops": 0.0,
        "night_look_stops": -1.0,
        "artificial_ev100": 2.5,
        "ramp_order": "shutter-first",
        "meter": "ground",
        "day_look_stops": 0.0,
        "grad_stops": 0.0,
        "mains_hz": 50.0,
    },
    "composition": {
        "style": "hold",
        "subject": "Beacon",
        "reveal_by": 0.7,
        "light": "any",
        "sun": "any",
        "moon": "any",
    },
    "blocks": [
        {
            "name": "Beacon",
            "role": "subject",
            "shape": "box",
            "centre_m": [0.0, 120.0, 9.0],
            "size_m": [8.0, 8.0, 18.0],
            "turn_deg": 5.0,
            "lights": True,
            "keep_out": False,
            "part_of": "Pier",
            "moves": "people",
            "floods_at_m": 2.0,
        },
        {
            "role": "background",
            "shape": "prism",
            "footprint_m": [[10.0, 50.0], [20.0, 50.0], [20.0, 60.0]],
            "height_m": 7.0,
            "base_m": 0.5,
            "roof": "hipped",
            "roof_height_m": 2.0,
            "roof_turn_deg": 45.0,
        },
        {
            "role": "ground",
            "shape": "terrain",
            "centre_m": [0.0, 0.0, 1.0],
            "size_m": [60.0, 40.0, 4.0],
            "heights_m": [[1.0, 2.0, 3.0], [2.0, 3.0, 4.0]],
        },
        {"role": "background", "shape": "ridge", "distance_m": 4e3, "skyline_deg": [[0.0, 1.0], [40.0, 2.0]]},
        {
            "role": "water",
            "shape": "box",
            "centre_m": [0.0, 50.0, -2.0],
            "size_m": [90.0, 90.0, 0.1],
            "tidal": True,
        },
    ],
    "photos": [
        {
            "file": "quay.jpg",
            "width_px": 4000,
            "height_px": 3000,
            "place_m": [0.0, 0.0, 1.6],
            "bearing_deg": 5.0,
            "altitude_deg": 0.0,
            "roll_deg": 0.0,
            "fov_deg": 60.0,
            "projection": "flat",
            "taken": "2027-03-01T12:00:00",
            "pins": [
                {"x_px": 10.0, "y_px": 20.0, "block": "Beacon", "corner": "top", "disc": ""},
                {"x_px": 30.0, "y_px": 40.0, "bearing_deg": 5.0, "altitude_deg": 1.0},
                {"x_px": 50.0, "y_px": 60.0, "disc": "sun"},
            ],
        }
    ],
}
STRANGE: tuple[Any, ...] = (None, True, 0, 1, -1, 0.5, 1e-31, 1e12, "", "x", "1", [], [0], [[]], {}, {"x": 1})


@pytest.fixture(scope="module")
def validator() -> jsonschema.Draft202012Validator:
    return jsonschema.Draft202012Validator(planschema.plan_schema())


def refused_by_loader(text: bytes) -> str:
    """What the loader says against a plan file; empty where it takes it."""
    try:
        planfile.plan_from_text(text.decode("utf-8"))
    except PlanError as problem:
        return str(problem)
    except UnicodeDecodeError:
        return "has half a character"
    return ""


def refused_by_schema(validator: jsonschema.Draft202012Validator, text: bytes) -> str:
    try:
        document = json.loads(text.decode("utf-8"))
    except (ValueError, RecursionError):
        return "no JSON"
    error = next(validator.iter_errors(document), None)
    return "" if error is None else f"{error.json_path}: {error.message}"


def left_to_the_loader(message: str) -> str:
    """What of the listed exceptions a message of the loader is; empty for none."""
    return next((what for what, words in planschema.BEYOND.items() if any(w in message for w in words)), "")


def disagreement(validator: jsonschema.Draft202012Validator, text: bytes) -> str:
    by_loader, by_schema = refused_by_loader(text), refused_by_schema(validator, text)
    if bool(by_loader) == bool(by_schema) or (by_loader and left_to_the_loader(by_loader)):
        return ""
    return f"loader: {by_loader or 'takes it'}; schema: {by_schema or 'takes it'}"


def test_the_schema_is_a_schema() -> None:
    jsonschema.Draft202012Validator.check_schema(planschema.plan_schema())


def test_every_field_has_a_meaning() -> None:
    for part in planfile.PART_CLASSES:
        names = {each.name for each in attrs.fields(part)} - ({"schema"} if part is Plan else set())
        assert set(MEANINGS[part]) == names
    assert all(" " in text for fields in (HEADER, *MEANINGS.values()) for text in fields.values())


def test_schema_and_loader_agree_on_broken_and_strange_plans(
    validator: jsonschema.Draft202012Validator,
) -> None:
    found: Counter[str] = Counter()
    for number in range(CASES):
        document = fuzz_cases.mutated_plan(random.Random(f"schema:{number}"))
        found[disagreement(validator, fuzz_cases.plan_text(document))] += 1
    assert set(found) == {""}, found.most_common(20)


def changes_of(document: Any, path: tuple[Any, ...], limits: Iterable[float]) -> Iterator[Any]:
    """The document with something else at a place, with nothing there, and with one thing too many."""
    holder = fuzz_cases.at(document, path[:-1])
    before = holder[path[-1]]
    for value in (*STRANGE, *limits):
        holder[path[-1]] = value
        yield document
    holder[path[-1]] = before
    if isinstance(holder, dict):
        del holder[path[-1]]
        yield document
        holder[path[-1]] = before


def limits_of(path: tuple[Any, ...]) -> Iterator[float]:
    """Just inside and just outside what the field itself says it takes."""
    name = next((step for step in reversed(path) if isinstance(step, str)), "")
    for part in planfile.PART_CLASSES:
        field = attrs.fields_dict(part).get(name)
        for limit in () if field is None else field.metadata.get("range", ()):
            yield from (limit, limit - 1e-6, limit + 1e-6)


def test_schema_and_loader_agree_on_whatever_stands_in_a_field(
    validator: jsonschema.Draft202012Validator,
) -> None:
    document = json.loads(json.dumps(WHOLE))
    found: Counter[str] = Counter()
    count = itertools.count()
    for path in list(fuzz_cases.places(WHOLE)):
        for changed in changes_of(document, path, limits_of(path)):
            if next(count) % TAKE == 0:
                found[f"{path}: {disagreement(validator, json.dumps(changed).encode())}"] += 1
    assert document == WHOLE
    assert [problem for problem in found if not problem.endswith(": ")] == []


def test_the_whole_plan_has_every_field_once() -> None:
    given = {path[-1] for path in fuzz_cases.places(WHOLE)}
    for fields in (HEADER, *MEANINGS.values()):
        assert set(fields) <= given
    assert planfile.plan_from_dict(WHOLE).title == "Everything"


def test_every_exception_is_one_that_the_loader_makes(validator: jsonschema.Draft202012Validator) -> None:
    """A listed exception that no message of the loader's has any more would hide a disagreement."""
    folder = Path(planfile.__file__).parent
    source = " ".join(path.read_text("utf-8") for path in (folder / "model.py", folder / "file.py"))
    source += (folder / "timeline.py").read_text("utf-8")
    for words in planschema.BEYOND.values():
        for said in words:
            assert said in source, said


def test_a_plan_may_name_its_schema_and_keeps_it(tmp_path: Path) -> None:
    document = {key: value for key, value in WHOLE.items() if key != "$schema"}
    plain = planfile.plan_from_dict(document)
    assert "$schema" not in planfile.plan_to_dict(plain)
    path = tmp_path / "evening.plan.json"
    path.write_text(json.dumps({**document, "$schema": "../docs/plan.schema.json"}), "utf-8")
    plan = load_plan(path)
    save_plan(attrs.evolve(plan, title="Again"), path)
    assert json.loads(path.read_text("utf-8"))["$schema"] == "../docs/plan.schema.json"
    assert path.read_text("utf-8").startswith('{\n  "$schema"')
    with pytest.raises(PlanError, match=r"^\$schema: 5 is not text"):
        planfile.plan_from_dict({**document, "$schema": 5})
