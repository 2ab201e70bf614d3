"""Camera and blocks for other programs: glTF and USD files, written by Blender's own exporters."""

from __future__ import annotations

import json
import os
import tempfile
from collections.abc import Set
from pathlib import Path

import addon_utils
import bpy

from planner_core.plan.writing import check_writable, is_stream, put_in_place

from .. import compat
from ..console import silenced

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
    check_writable(path)
    if kind == ".gltf" and is_stream(path):
        raise ValueError(f"{path}: a .gltf is two files, which no pipe takes; use .glb")
    beside = None if is_stream(path) else Path(os.path.realpath(path)).parent
    with tempfile.TemporaryDirectory(prefix=f".{path.stem}.", dir=beside) as folder:
        made = Path(folder) / path.name
        try:
            with silenced():
                finished = _gltf(made) if kind in (".glb", ".gltf") else _usd(made)
        except RuntimeError as problem:  # with a traceback of the exporter's in it
            why = [line.strip() for line in str(problem).splitlines() if line.strip()][-1]
            raise RuntimeError(f"{path}: could not be written ({why})") from None
        if finished != {"FINISHED"} or not made.exists() or not _is_whole(made, kind):
            raise RuntimeError(f"{path}: could not be written whole; is the disk full?")
        for part in sorted(Path(folder).iterdir(), key=lambda part: part == made):
            put_in_place(part, path if part == made else path.parent / part.name)


def _is_whole(path: Path, kind: str) -> bool:
    """Whether a file that an exporter wrote goes on to its end, by what its own head or foot says."""
    content = path.read_bytes()
    if kind == ".gltf":
        try:
            buffers = json.loads(content).get("buffers", [])
            return all((path.parent / b["uri"]).stat().st_size >= b["byteLength"] for b in buffers)
        except (ValueError, KeyError, OSError):
            return False
    if kind == ".glb":  # magic, version, length of all: glTF 2.0, 4.4.2
        return len(content) >= 12 and int.from_bytes(content[8:12], "little") == len(content)
    if content.startswith(b"PXR-USDC"):  # the place of the table of contents, which comes last
        offset = int.from_bytes(content[16:24], "little")
        sections = int.from_bytes(content[offset : offset + 8], "little")
        return offset >= 88 and offset + 8 + 32 * sections == len(content)
    return content.startswith(b"#usda") and content.endswith(b"}\n\n")


def sorted_prims(text: str) -> str:
    """A USD text with the prims of each level by name: Blender writes them as they lie in memory, in another
    order each time.
    """
    return "\n".join(_sorted_lines(text.split("\n"), 0))


def _sorted_lines(lines: list[str], depth: int) -> list[str]:
    indent = "    " * depth
    starts = [n for n, line in enumerate(lines) if line.startswith((f"{indent}def ", f"{indent}over "))]
    if not starts:
        return lines
    ends = [next(n for n in range(start, len(lines)) if lines[n] == f"{indent}}}") for start in starts]
    prims = []
    for start, end in zip(starts, ends, strict=True):
        opening = next(n for n in range(start, end) if lines[n] == f"{indent}{{")
        inside = _sorted_lines(lines[opening + 1 : end], depth + 1)
        prims.append([*lines[start : opening + 1], *inside, lines[end]])
    prims.sort(key=lambda prim: prim[0].split('"')[1])
    spaced = [line for prim in prims for line in ("", *prim)][1:]
    return [*lines[: starts[0]], *spaced, *lines[ends[-1] + 1 :]]


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
    """Write it as text, put in order, and from that as binary where that is asked for."""
    library = None if path.suffix.lower() == ".usda" else compat.brought("pxr.Sdf")
    if library is None and path.suffix.lower() != ".usda":
        return _usd_of_blender(path)
    text = path.with_suffix(".usda")
    finished = _usd_of_blender(text)
    if finished == {"FINISHED"} and _is_whole(text, ".usda"):
        ordered = sorted_prims(text.read_text(encoding="utf-8"))
        text.write_text(ordered, encoding="utf-8", newline="\n")
        if library is not None:
            library.Layer.OpenAsAnonymous(str(text)).Export(str(path))
            text.unlink()
    return finished


def _usd_of_blender(path: Path) -> Set[str]:
    return bpy.ops.wm.usd_export(  # type: ignore[return-value]
        filepath=str(path),
        export_animation=True,
        export_lights=False,
        convert_world_material=False,
        export_custom_properties=False,
    )
