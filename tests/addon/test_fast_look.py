"""The fast look: the camera where the rig has it, and sky wherever the lens looks."""

from __future__ import annotations

from typing import Any

import bpy
import numpy as np
import pytest
from mathutils import Vector
from mathutils.bvhtree import BVHTree

from blender_addon import compat
from blender_addon.render import engines, looks
from blender_addon.scene import parts
from planner_core import Plan
from tests.addon.scenes import camera_matrices, drawn
from tests.two_towers import plan

ALL_AROUND = [{"at": 0.0, "pan_deg": 150.0, "tilt_deg": 5.0}, {"at": 1.0, "pan_deg": 480.0, "tilt_deg": 5.0}]
TO_THE_ZENITH = [
    {"at": 0.0, "pan_deg": 262.0, "tilt_deg": 30.0},
    {"at": 1.0, "pan_deg": 262.0, "tilt_deg": 88.0},
]
AT_THE_ZENITH = [
    {"at": 0.0, "pan_deg": 262.0, "tilt_deg": 88.0},
    {"at": 1.0, "pan_deg": 270.0, "tilt_deg": 88.0},
]
DOWN = [{"at": 0.0, "pan_deg": 262.0, "tilt_deg": -20.0}, {"at": 1.0, "pan_deg": 240.0, "tilt_deg": -40.0}]


def evening(poses: list[dict[str, float]] | None = None, **changes: Any) -> Plan:
    """The evening in seven frames, with a head that turns as far as one likes."""
    if poses is not None:
        changes["move__poses"] = poses
    return plan(
        shoot__frames=7,
        shoot__interval_s=15.0 * 359 / 6,
        rig__pan__max_deg=720.0,
        rig__tilt__max_deg=90.0,
        **changes,
    )


def fast(one: Plan) -> looks.Look:
    """The look, prepared in a new file."""
    scene, frames = drawn(one)
    return looks.Look(scene, frames, engines.Engine(name=compat.WORKBENCH, words="Workbench"))


def camera_of(look: looks.Look) -> bpy.types.Object:
    assert look.scene.camera is not None
    return look.scene.camera


def test_its_camera_stands_where_the_keys_of_the_rig_bring_the_other() -> None:
    one = evening()
    expected = camera_matrices(drawn(one)[0])
    look = fast(one)
    for number in range(1, 8):
        look.show(number)
        assert np.allclose(np.array(camera_of(look).matrix_basis), expected[number - 1], atol=1e-5)


@pytest.mark.parametrize("poses", [None, ALL_AROUND, TO_THE_ZENITH, AT_THE_ZENITH, DOWN])
@pytest.mark.parametrize("focal_length_mm", [14.0, 200.0])
def test_there_is_sky_wherever_the_lens_looks(poses: Any, focal_length_mm: float) -> None:
    look = fast(evening(poses, camera__focal_length_mm=focal_length_mm))
    for number in range(1, 8):
        look.show(number)
        (dome,) = parts.objects_of(look.scene, "sky dome")
        mesh: Any = dome.data
        surface = BVHTree.FromPolygons(
            [v.co + dome.location for v in mesh.vertices], [list(face.vertices) for face in mesh.polygons]
        )
        camera = camera_of(look)
        half = 18.0 / focal_length_mm
        for x in np.linspace(-half, half, 7):
            for y in np.linspace(-half * 9.0 / 16.0, half * 9.0 / 16.0, 7):
                ray = camera.matrix_basis.to_3x3() @ Vector((x, y, -1.0))
                if ray.z > 0.0:
                    assert surface.ray_cast(camera.location, ray)[0] is not None
