"""What all tests share: where the project is, and how many examples property tests try."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

# A busy machine must not fail a property, so no deadline; in CI the same examples every time.
settings.register_profile(
    "duskrail",
    deadline=None,
    derandomize="CI" in os.environ,
    suppress_health_check=[HealthCheck.too_slow],
    print_blob=True,
)
settings.load_profile("duskrail")


@pytest.fixture(scope="session")
def project_root() -> Path:
    return Path(__file__).resolve().parent.parent
