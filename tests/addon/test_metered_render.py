"""What the core reads of a frame is what the lit draft picture shows, through a graduated filter, too."""

from __future__ import annotations

from pathlib import Path

import attrs
import numpy as np
import pytest

from blender_addon.render import engines
from blender_addon.render.pictures import read_picture
from blender_addon.render.preview import render_still
from blender_addon.scene import filters, parts
from planner_core import Plan, compute_frames, load_plan
from planner_core.light.colour import LUMINANCE
from planner_core.picture import graduated, metering
from tests.addon.scenes import drawn, empty_scene
from tools import lit_means

STOPS = 2.0


def filtered(stops: float) -> Plan:
    """The square at sunset, exposed by the ground, so that a filter leaves the settings as they are, and
    darker, so that tones are far from white.
    """
    plan = load_plan(lit_means.FOLDER / "square_pan.plan.json")
    assert plan.exposure is not None
    return attrs.evolve(
        plan, exposure=attrs.evolve(plan.exposure, meter="ground", day_look_stops=-3.0, grad_stops=stops)
    )


@pytest.mark.parametrize(
    ("name", "number"), [("harbour_light", 161), ("harbour_light", 374), ("square_pan", 141)]
)
def test_the_core_reads_an_example_as_it_is_drawn(name: str, number: int) -> None:
    # tools/benchmark.py metering compares sixty frames
    empty_scene()
    (one,) = lit_means.means(name, lit_means.example(name), [number])
    assert abs(one.apart_stops) < 0.3


def test_a_graduated_filter_is_drawn_as_it_is_metered() -> None:
    empty_scene()
    frames, through = (compute_frames(filtered(stops)) for stops in (0.0, STOPS))
    number = 94
    (plain,), (darker,) = (lit_means.lit_pictures(each, [number]) for each in (frames, through))
    rays = metering.cell_directions(frames.plan, frames.camera_rotation[number - 1 : number])
    expected = graduated.light_let_through(through.plan, rays[0, :, 2]).reshape(metering.LINES, -1)[:, 16]
    rows = [(picture @ LUMINANCE).mean(axis=1) for picture in (plain, darker)]
    drawn_lines = (rows[1] / rows[0]).reshape(metering.LINES, -1).mean(axis=1)
    assert drawn_lines == pytest.approx(expected, abs=0.04)
    assert drawn_lines[0] == pytest.approx(2.0**-STOPS, rel=0.03)
    assert drawn_lines[-1] == pytest.approx(1.0, rel=0.03)


def test_the_fast_look_has_the_filter_too(tmp_path: Path) -> None:
    if not engines.this_machine().opengl:
        pytest.skip("no OpenGL here: the fast look is drawn by Cycles, too")
    empty_scene()
    pictures = []
    for stops in (0.0, STOPS):
        path = tmp_path / f"{stops}.png"
        render_still(filtered(stops), 94, path, look="fast", size=(160, 90), cache=tmp_path / "cache")
        pictures.append(read_picture(path).astype(float))
    plain, darker = pictures
    assert darker[:20].mean() < 0.75 * plain[:20].mean()
    assert np.abs(darker[-15:] - plain[-15:]).mean() < 4.0


def test_a_scene_without_a_filter_has_no_pane_before_the_lens() -> None:
    plan = filtered(STOPS)
    scene, _ = drawn(plan)
    assert filters.draw_graduated(scene, plan) is not None
    assert len(parts.objects_of(scene, filters.PART)) == 1
    assert filters.draw_graduated(scene, filtered(0.0)) is None
    assert not parts.objects_of(scene, filters.PART)
