"""What all tests share: where the project is, and how many examples property tests try."""

from __future__ import annotations

import atexit
import os
import sys
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, settings

from planner_core.plan.file import load_plan, plan_to_dict
from planner_core.plan.model import Plan

# A busy machine must not fail a property, so no deadline; in CI the same examples every time.
settings.register_profile(
    "duskrail",
    deadline=None,
    derandomize="CI" in os.environ,
    suppress_health_check=[HealthCheck.too_slow],
    print_blob=True,
)
settings.load_profile("duskrail")


# Files that take long begin first, so that no core is left waiting for one of them at the end.
LONG_FILES = (
    *("test_fuzz", "test_preview", "test_bootstrap", "test_operators", "test_clip_file"),
    *("test_scout", "test_looks_agree", "test_kills", "test_one_source", "test_compare"),
    *("test_sheet_browser", "test_nearest", "test_live", "test_edits_right_or_refused"),
    *("test_extension", "test_translation", "test_exposure_render", "test_readback", "test_files"),
    *("test_sheet", "test_jobs", "test_pose_fitting", "test_fit_travel"),
)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Long files first, the longest before the others; the rest as they come."""
    places = {name: place for place, name in enumerate(LONG_FILES)}
    items.sort(key=lambda item: places.get(item.path.stem, len(places)))


def pytest_sessionfinish(exitstatus: int) -> None:
    """Leave for good once all is said: Blender's module may wait for itself on the way out."""
    if "bpy" in sys.modules:
        atexit.register(_leave, int(exitstatus))


def _leave(code: int) -> None:
    sys.stdout.flush()
    sys.stderr.flush()
    os._exit(code)


@pytest.fixture(scope="session")
def project_root() -> Path:
    return Path(__file__).resolve().parent.parent


EXAMPLES = sorted((Path(__file__).resolve().parent.parent / "example_scenes").glob("*.plan.json"))


@pytest.fixture(scope="session", params=EXAMPLES, ids=lambda path: path.name.removesuffix(".plan.json"))
def example_plan(request: pytest.FixtureRequest) -> Plan:
    """Each example scene in turn."""
    return load_plan(request.param)


@pytest.fixture(scope="session")
def harbour(project_root: Path) -> Plan:
    """The example that README runs: day to night, slider and pan."""
    return load_plan(project_root / "example_scenes" / "harbour_light.plan.json")


@pytest.fixture(scope="session")
def harbour_document(harbour: Plan) -> dict[str, Any]:
    """The same as plain values."""
    return plan_to_dict(harbour)
