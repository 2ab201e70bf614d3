"""Camera and blocks for other programs: glTF and USD files, written by Blender's own exporters."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Set
from pathlib import Path

import addon_utils
import bpy

KINDS = (".glb", ".gltf", ".usd", ".usda", ".usdc")


def export_scene(path: Path) -> None:
    """Write the open scene as glTF or USD, by the path's ending, the camera's move sampled on every frame.

    The file replaces an older one only when it is whole; a .gltf brings its .bin file with it. Raises
    ValueError for another ending, RuntimeError with the exporter's words where it fails, OSError where
    nothing can be written.
    """
    kind = path.suffix.lower()
    if kind not in KINDS:
        raise ValueError(f"{path.name}: is neither glTF nor USD; end it in {', '.join(KINDS)}")
    with tempfile.TemporaryDirectory(prefix=f".{path.stem}.", dir=path.parent) as folder:
        made = Path(folder) / path.name
        finished = _gltf(made) if kind in (".glb", ".gltf") else _usd(made)
        if finished != {"FINISHED"} or not made.exists():
            raise RuntimeError(f"{path.name}: the exporter wrote nothing")
        for part in sorted(Path(folder).iterdir(), key=lambda part: part == made):
            os.replace(part, path.parent / part.name)


def _gltf(path: Path) -> Set[str]:
    addon_utils.enable("io_scene_gltf2")
    return bpy.ops.export_scene.gltf(  # type: ignore[return-value]
        filepath=str(path),
        export_format="GLB" if path.suffix.lower() == ".glb" else "GLTF_SEPARATE",
        export_cameras=True,
        export_lights=False,
        export_animations=True,
        export_animation_mode="SCENE",
        export_frame_range=True,
        export_force_sampling=True,
        export_optimize_animation_size=False,
        export_extras=False,
        use_active_scene=True,
    )


def _usd(path: Path) -> Set[str]:
    return bpy.ops.wm.usd_export(  # type: ignore[return-value]
        filepath=str(path),
        export_animation=True,
        export_lights=False,
        convert_world_material=False,
        export_custom_properties=False,
    )
