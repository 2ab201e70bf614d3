"""Camera and blocks for other programs, read back: glTF by a reader of our own, USD by Blender's importer."""

from __future__ import annotations

import json
import struct
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import bpy
import numpy as np
import pytest
from numpy.typing import NDArray

from blender_addon.render.exchange import export_scene
from planner_core import FrameTable
from planner_core.picture.projection import delivered_crop, field_of_view_deg
from planner_core.place.blocking import block_mesh
from tests.addon.scenes import camera_matrices, drawn, empty_scene, turn_between_deg
from tests.two_towers import plan

Array = NDArray[np.float64]

HERE = plan(
    shoot__frames=25,
    clip__fps=25.0,
    rig__incline_deg=6.0,
    move__poses=[
        {"at": 0.0, "slide_m": 0.1, "pan_deg": 250.0, "tilt_deg": -4.0},
        {"at": 0.4, "slide_m": 0.6, "pan_deg": 285.0, "tilt_deg": 2.0},
        {"at": 1.0, "slide_m": 1.4, "pan_deg": 270.0, "tilt_deg": 5.0},
    ],
)
# glTF 2.0, 3.4: +Y up, +Z towards the viewer; Blender's −Y points there
SCENE_FROM_GLTF = np.array([[1.0, 0.0, 0.0], [0.0, 0.0, -1.0], [0.0, 1.0, 0.0]])


TYPES = {"SCALAR": 1, "VEC2": 2, "VEC3": 3, "VEC4": 4}
KINDS = {5121: "B", 5123: "H", 5125: "I", 5126: "f"}


class Gltf:
    """What of a binary glTF 2.0 file the exchange needs: nodes, their animation, meshes, cameras."""

    def __init__(self, path: Path) -> None:
        content = path.read_bytes()
        magic, version, length = struct.unpack_from("<4sII", content)
        assert (magic, version, length) == (b"glTF", 2, len(content))
        (size,) = struct.unpack_from("<I", content, 12)
        self.document = json.loads(content[20 : 20 + size])
        self.binary = content[28 + size :]
        self.nodes = self.document["nodes"]
        self.parent = {child: k for k, node in enumerate(self.nodes) for child in node.get("children", ())}

    def values(self, number: int) -> Array:
        accessor = self.document["accessors"][number]
        view = self.document["bufferViews"][accessor["bufferView"]]
        columns, kind = TYPES[accessor["type"]], KINDS[accessor["componentType"]]
        start = view.get("byteOffset", 0) + accessor.get("byteOffset", 0)
        flat = np.frombuffer(self.binary, f"<{kind}", accessor["count"] * columns, start)
        return flat.astype(np.float64).reshape(accessor["count"], columns)

    def node(self, name: str) -> int:
        return next(k for k, node in enumerate(self.nodes) if node["name"] == name)

    def channel(self, node: int, path: str, default: tuple[float, ...]) -> Callable[[float], Array]:
        """A node's translation, rotation or scale at a time in seconds."""
        for animation in self.document.get("animations", ()):
            for channel in animation["channels"]:
                if channel["target"] == {"node": node, "path": path}:
                    sampler = animation["samplers"][channel["sampler"]]
                    times, values = self.values(sampler["input"])[:, 0], self.values(sampler["output"])
                    return lambda t: values[int(np.argmin(np.abs(times - t)))]
        rest = np.array(self.nodes[node].get(path, default))
        return lambda t: rest

    def matrix(self, node: int, time_s: float) -> Array:
        """A node's world matrix (4, 4) at a time, up through its parents."""
        shift = self.channel(node, "translation", (0.0, 0.0, 0.0))(time_s)
        x, y, z, w = self.channel(node, "rotation", (0.0, 0.0, 0.0, 1.0))(time_s)
        local = np.eye(4)
        local[:3, :3] = [
            [1 - 2 * (y * y + z * z), 2 * (x * y - z * w), 2 * (x * z + y * w)],
            [2 * (x * y + z * w), 1 - 2 * (x * x + z * z), 2 * (y * z - x * w)],
            [2 * (x * z - y * w), 2 * (y * z + x * w), 1 - 2 * (x * x + y * y)],
        ]
        local[:3, :3] *= self.channel(node, "scale", (1.0, 1.0, 1.0))(time_s)
        local[:3, 3] = shift
        return self.matrix(self.parent[node], time_s) @ local if node in self.parent else local

    def times(self) -> Array:
        sampler = self.document["animations"][0]["samplers"][0]
        return self.values(sampler["input"])[:, 0]

    def corners(self, name: str) -> Array:
        """A mesh node's vertices in scene axes."""
        number = self.node(name)
        primitives = self.document["meshes"][self.nodes[number]["mesh"]]["primitives"]
        points = np.vstack([self.values(p["attributes"]["POSITION"]) for p in primitives])
        world = self.matrix(number, 0.0)
        return (points @ world[:3, :3].T + world[:3, 3]) @ SCENE_FROM_GLTF.T


@pytest.fixture(scope="module")
def frames(addon: None) -> FrameTable:
    return drawn(HERE)[1]


@pytest.fixture(scope="module")
def gltf(frames: FrameTable, tmp_path_factory: pytest.TempPathFactory) -> Gltf:
    path = tmp_path_factory.mktemp("gltf") / "quay.glb"
    drawn(HERE)
    export_scene(path)
    assert [other.name for other in path.parent.iterdir()] == ["quay.glb"]
    return Gltf(path)


def assert_same_move(found: Array, frames: FrameTable) -> None:
    """Camera matrices (frames, 4, 4) in scene axes against the FrameTable, as single precision keeps them."""
    assert np.max(np.linalg.norm(found[:, :3, 3] - frames.camera_m, axis=1)) < 1e-4
    assert np.max(turn_between_deg(found[:, :3, :3], frames.camera_rotation)) < 0.005


def assert_same_block(corners: Array, name: str) -> None:
    block = next(block for block in HERE.blocks if block.name == name)
    wanted = block_mesh(HERE, block).vertices_m
    size = float(np.ptp(wanted, axis=0).max())
    assert corners.min(axis=0) == pytest.approx(wanted.min(axis=0), abs=1e-5 * size + 1e-4)
    assert corners.max(axis=0) == pytest.approx(wanted.max(axis=0), abs=1e-5 * size + 1e-4)


def test_the_camera_moves_in_gltf_as_in_the_frame_table(gltf: Gltf, frames: FrameTable) -> None:
    times = gltf.times()
    assert len(times) == len(frames)
    assert np.diff(times) == pytest.approx(1.0 / 25.0, abs=1e-5)
    camera = gltf.node("Camera")
    found = np.array([gltf.matrix(camera, t) for t in times])
    found[:, :3] = SCENE_FROM_GLTF @ found[:, :3]
    assert_same_move(found, frames)


def test_the_lens_in_gltf_is_the_delivered_crops(gltf: Gltf) -> None:
    camera = gltf.document["cameras"][gltf.nodes[gltf.node("Camera")]["camera"]]["perspective"]
    crop = delivered_crop(HERE.camera, HERE.clip)
    upright = field_of_view_deg(crop.height_mm, HERE.camera.focal_length_mm)
    assert np.degrees(camera["yfov"]) == pytest.approx(float(upright), abs=1e-4)
    assert camera["aspectRatio"] == pytest.approx(16 / 9)


@pytest.mark.parametrize("name", [block.name for block in HERE.blocks])
def test_blocks_stand_in_gltf_where_the_plan_has_them(gltf: Gltf, name: str) -> None:
    assert_same_block(gltf.corners(name), name)


@pytest.fixture(scope="module", params=[".usda", ".usdc"])
def usd(
    frames: FrameTable, request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> bpy.types.Scene:
    """A scene into which the USD file was read again."""
    path = tmp_path_factory.mktemp("usd") / f"quay{request.param}"
    drawn(HERE)
    export_scene(path)
    scene = empty_scene()
    bpy.ops.wm.usd_import(filepath=str(path), set_frame_range=True)
    return scene


def test_camera_and_blocks_come_back_from_usd(usd: bpy.types.Scene, frames: FrameTable) -> None:
    assert (usd.frame_start, usd.frame_end) == (1, len(frames))
    # there is a camera at each pose too; the one that moves hangs from the tilt axis
    usd.camera = next(
        thing
        for thing in usd.objects
        if thing.type == "CAMERA" and thing.parent and thing.parent.name == "Tilt"
    )
    assert_same_move(camera_matrices(usd), frames)
    for block in HERE.blocks:
        name = block.name.replace(" ", "_")
        thing = next(o for o in usd.objects if o.type == "MESH" and o.name.startswith(name))
        corners = np.array([thing.matrix_world @ vertex.co for vertex in thing.data.vertices])
        assert_same_block(corners, block.name)


def test_another_ending_is_refused_and_nothing_is_left(frames: FrameTable, tmp_path: Path) -> None:
    with pytest.raises(ValueError, match=r"quay.obj: is neither glTF nor USD"):
        export_scene(tmp_path / "quay.obj")
    assert list(tmp_path.iterdir()) == []


def test_an_older_file_is_replaced_whole(frames: FrameTable, tmp_path: Path) -> None:
    path = tmp_path / "quay.gltf"
    path.write_text("old")
    drawn(HERE)
    export_scene(path)
    document: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
    assert document["asset"]["version"] == "2.0"
    assert sorted(other.suffix for other in tmp_path.iterdir()) == [".bin", ".gltf"]


# A fresh process: memory laid out at random, then the evening as USD and glTF.
EXPORT_OF_A_PROCESS = """
import os, random, sys
sys.path[:0] = sys.argv[3:]
luck = random.Random(int(sys.argv[1]))
held = [bytearray(luck.randrange(1, 100_000)) for _ in range(luck.randrange(400))]
del held[::2]
import bpy
from pathlib import Path
from blender_addon.render.exchange import export_scene
from tests.addon.scenes import drawn
from tests.addon.test_exchange import HERE
drawn(HERE)
for ending in ("usda", "usdc", "usd", "glb"):
    export_scene(Path(sys.argv[2], f"quay{sys.argv[1]}.{ending}"))
os._exit(0)
"""


@pytest.mark.once
def test_every_process_writes_the_same_file(tmp_path: Path, project_root: Path) -> None:
    for seed in range(3):
        command = [sys.executable, "-I", "-c", EXPORT_OF_A_PROCESS, str(seed), str(tmp_path)]
        subprocess.run([*command, str(project_root)], capture_output=True, check=True)
    for ending in ("usda", "usdc", "usd", "glb"):
        files = [path.read_bytes() for path in sorted(tmp_path.glob(f"*.{ending}"))]
        assert len(files) == 3
        assert len(set(files)) == 1
    # a binary file has what the text has, and is one
    for ending in ("usdc", "usd"):
        assert Path(tmp_path, f"quay0.{ending}").read_bytes().startswith(b"PXR-USDC")
