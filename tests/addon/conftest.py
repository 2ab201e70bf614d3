"""Shared by tests that run the add-on in Blender's module: it enabled, and an empty file."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest

import blender_addon
from blender_addon.state import handlers, live
from tests.addon.scenes import empty_scene


@pytest.fixture(scope="module")
def addon() -> Iterator[None]:
    """The add-on enabled, as Blender enables it."""
    blender_addon.register()
    yield
    blender_addon.unregister()


@pytest.fixture
def empty(addon: None) -> Any:
    """An empty file with the add-on enabled; returns its scene."""
    scene = empty_scene()
    live.clear()
    handlers.register()  # a new file keeps only persistent ones
    return scene
