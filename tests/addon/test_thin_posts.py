"""A post thinner than a pixel is still there in a small draft, from its foot to its lamp."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from blender_addon import compat
from blender_addon.render import engines, pictures, preview
from blender_addon.render.cache import open_cache
from planner_core import compute_frames
from planner_core.picture.projection import project_px
from planner_core.plan.file import plan_from_dict
from tests.two_towers import document

SIZE = (96, 54)


def lamp_post() -> Any:
    """A lamp post before an empty evening sky, an eighth of a pixel wide in a small draft."""
    made = document(composition=None)
    made["blocks"] = [
        {
            "name": "Lamp",
            "role": "subject",
            "shape": "post",
            "centre_m": [-0.5, 60.0, 4.0],
            "size_m": [0.08, 0.08, 8.0],
            "lights": True,
        }
    ]
    made["shoot"].update(frames=2, interval_s=10.0)
    return plan_from_dict(made)


@pytest.mark.parametrize("engine", [compat.CYCLES, compat.WORKBENCH])
def test_a_post_thinner_than_a_pixel_stands_whole_in_the_picture(engine: str, tmp_path: Path) -> None:
    if engine == compat.WORKBENCH and not engines.this_machine().opengl:
        pytest.skip("no OpenGL here")
    frames = compute_frames(lamp_post())
    look = "lit" if engine == compat.CYCLES else "fast"
    with open_cache(tmp_path) as store:
        chosen = engines.choose_engine(look, engine)
        drawn: list[preview.Picture] = []
        preview.draw_frames(frames, (1,), look, chosen, SIZE, store, drawn.append)
        picture = pictures.read_picture(drawn[0].path).astype(float).mean(axis=-1)
    heights = np.linspace(2.0, 7.0, 11)  # above the eye, where the sky is behind it
    places = np.column_stack([np.full(11, -0.5), np.full(11, 60.0), heights])
    px, _ = project_px(frames.plan, places, frames.camera_m[:1, None], frames.camera_rotation[:1, None])
    columns, rows = (px[0] * SIZE[0] / frames.plan.clip.width_px).astype(int).T
    for column, row in zip(columns, rows, strict=True):
        beside = np.median(picture[row, max(column - 12, 0) : column + 13])
        assert picture[row, column - 1 : column + 2].min() < 0.8 * beside
