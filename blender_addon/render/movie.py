"""Pictures to a video: H.264 in MP4, by the encoder inside Blender, with its index at the front of the
file.
"""

from __future__ import annotations

import os
import platform
import shutil
import struct
import tempfile
import zlib
from collections.abc import Sequence
from fractions import Fraction
from pathlib import Path
from typing import Any

import bpy

from planner_core.plan.writing import check_writable, is_stream, put_in_place
from planner_core.words.language import phrase

from .. import compat
from ..console import silenced
from .request import frame_rate

LARGEST_RATE = 32767  # that Blender's setting takes
Box = tuple[int, bytes, int, int]  # offset, kind, size of its head, size


class MovieError(RuntimeError):
    """Why a video could not be made, in one line."""


def encode(pictures: Sequence[Path], output: Path, fps: float | Fraction, size_px: tuple[int, int]) -> None:
    """Write pictures of a size as a video. It appears at output once it is whole. Raises MovieError,
    OSError.
    """
    rate = fps if isinstance(fps, Fraction) else frame_rate(fps)
    check_writable(output)
    beside = None if is_stream(output) else Path(os.path.realpath(output)).parent
    if beside is not None:
        _sweep(beside)
    prefix = f"{_working_prefix()}{os.getpid()}-"
    try:
        with tempfile.TemporaryDirectory(prefix=prefix, dir=beside) as name:
            put_in_place(_encoded(pictures, Path(name), output, rate, size_px), output)
    except OSError as problem:
        raise OSError(problem.errno, problem.strerror, str(output)) from None


def _encoded(
    pictures: Sequence[Path], folder: Path, output: Path, fps: Fraction, size_px: tuple[int, int]
) -> Path:
    """The whole video in a working folder. output is what messages call it."""
    for number, picture in enumerate(pictures, start=1):
        _link(picture, folder / f"{number:06d}.png")
    made = _render(folder, len(pictures), fps, size_px)
    if not holds_frames(made.read_bytes(), len(pictures)):
        raise MovieError(
            phrase("{output}: the video could not be written whole; is the disk full?", output=output)
        )
    index_first(made)
    undate(made)
    return made


def _working_prefix() -> str:
    """What working folders of this machine begin with: others may work in the same folder."""
    return f".clip-{zlib.crc32(platform.node().encode()):08x}-"


def _sweep(folder: Path) -> None:
    """Remove the working folders of killed previews on this machine."""
    prefix = _working_prefix()
    for left in folder.glob(f"{prefix}*"):
        owner = left.name.removeprefix(prefix).partition("-")[0]
        if owner.isdecimal() and not _is_running(int(owner)):
            shutil.rmtree(left, ignore_errors=True)


def _is_running(process: int) -> bool:
    if os.name == "nt":
        return True  # os.kill would end the process there
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    except OSError:
        return True
    return True


def _render(folder: Path, count: int, fps: Fraction, size_px: tuple[int, int]) -> Path:
    scene: Any = bpy.data.scenes.new("Clip")
    try:
        render = scene.render
        render.resolution_x, render.resolution_y = size_px
        render.resolution_percentage = 100
        render.fps, render.fps_base = _blenders_pace(fps)
        render.use_file_extension = False
        scene.frame_start, scene.frame_end = 1, count
        scene.view_settings.view_transform = "Standard"
        scene.view_settings.look = "None"
        scene.sequencer_colorspace_settings.name = "sRGB"
        compat.stamp_nothing(render)
        compat.choose_video(render.image_settings)
        _choose_codec(render.ffmpeg, fps)
        strip = compat.add_pictures(scene, str(folder), [f"{n:06d}.png" for n in range(1, count + 1)])
        strip.colorspace_settings.name = "sRGB"
        render.use_sequencer, render.use_compositing = True, False
        made = folder / "clip.mp4"
        render.filepath = str(made)
        with silenced(), compat.window_on(scene):
            bpy.ops.render.render(animation=True, scene=scene.name)
    except RuntimeError as problem:
        why = str(problem).replace("\n", " ")
        raise MovieError(phrase("the video could not be written ({why})", why=why)) from None
    finally:
        bpy.data.scenes.remove(scene)
    if not made.is_file() or made.stat().st_size == 0:
        raise MovieError(phrase("Blender's encoder wrote no video; is the disk full?"))
    return made


def _blenders_pace(fps: Fraction) -> tuple[int, float]:
    """Blender's rate and its divisor: whole numbers, or thousandths where the rate would be too large; of
    others the encoder makes a rounded rate.
    """
    shrunk = 1 if fps.numerator <= LARGEST_RATE else 1000
    return fps.numerator // shrunk, fps.denominator / shrunk


def _choose_codec(ffmpeg: bpy.types.FFmpegSettings, fps: Fraction) -> None:
    ffmpeg.format, ffmpeg.codec = "MPEG4", "H264"
    ffmpeg.constant_rate_factor = "HIGH"
    ffmpeg.ffmpeg_preset = "REALTIME"  # half the time, and a larger file
    ffmpeg.gopsize = max(1, round(fps))  # a whole picture every second, so that one can jump to any place
    ffmpeg.use_max_b_frames = False
    ffmpeg.audio_codec = "NONE"


def _link(picture: Path, link_path: Path) -> None:
    for link in (os.link, os.symlink, shutil.copyfile):
        try:
            link(picture.absolute(), link_path)
            return
        except OSError:  # another disk, or a file system without links
            if link is shutil.copyfile:
                raise


# ---------------------------------------------------------------- the index first


def index_first(path: Path) -> None:
    """Put an MP4's index (moov) before its pictures (mdat), so that it plays while it loads. ISO/IEC
    14496-12.
    """
    content = path.read_bytes()
    boxes = _boxes(content, 0, len(content))
    kinds = [kind for _, kind, _, _ in boxes]
    if b"moov" not in kinds or b"mdat" not in kinds or kinds.index(b"moov") < kinds.index(b"mdat"):
        return
    offset, _, _, size = boxes[kinds.index(b"moov")]
    start = boxes[kinds.index(b"mdat")][0]
    index = bytearray(content[offset : offset + size])
    _move_chunks(index, 0, len(index), size)
    path.write_bytes(content[:start] + bytes(index) + content[start:offset] + content[offset + size :])


def holds_frames(content: bytes, count: int) -> bool:
    """Whether an MP4 is whole: boxes from end to end, and so many pictures, all of them inside."""
    boxes = {kind: (offset, head, size) for offset, kind, head, size in _boxes(content, 0, len(content))}
    if b"moov" not in boxes or b"mdat" not in boxes:
        return False
    if max(offset + size for offset, _, size in boxes.values()) != len(content):
        return False
    offset, head, size = boxes[b"moov"]
    sizes = _sample_sizes(content, offset + head, offset + size)
    return len(sizes) == count and min(sizes) > 0 and sum(sizes) <= boxes[b"mdat"][2]


def _sample_sizes(content: bytes, start: int, end: int) -> list[int]:
    """Bytes of each picture, as the index (stsz) has them. ISO/IEC 14496-12, 8.7.3."""
    for offset, kind, head, size in _boxes(content, start, end):
        inside = offset + head
        if kind in (b"trak", b"mdia", b"minf", b"stbl"):
            sizes = _sample_sizes(content, inside, offset + size)
            if sizes:
                return sizes
        elif kind == b"stsz":
            each, count = struct.unpack_from(">II", content, inside + 4)
            return [each] * count if each else list(struct.unpack_from(f">{count}I", content, inside + 12))
    return []


def undate(path: Path) -> None:
    """Clear the creation time in an MP4's headers (mvhd, tkhd, mdhd), so that the same clip is the same
    file. ISO/IEC 14496-12, 8.2.2.
    """
    content = bytearray(path.read_bytes())
    _undate(content, 0, len(content))
    path.write_bytes(content)


def _undate(content: bytearray, start: int, end: int) -> None:
    for offset, kind, head, size in _boxes(content, start, end):
        inside = offset + head
        if kind in (b"moov", b"trak", b"mdia"):
            _undate(content, inside, offset + size)
        elif kind in (b"mvhd", b"tkhd", b"mdhd"):
            dates = 16 if content[inside] == 1 else 8  # of making and of change, 64 or 32 bits each
            content[inside + 4 : inside + 4 + dates] = bytes(dates)


def _boxes(content: bytes | bytearray, start: int, end: int) -> list[Box]:
    boxes = []
    while start + 8 <= end:
        size, kind = struct.unpack_from(">I4s", content, start)
        head = 8
        if size == 1:
            size, head = struct.unpack_from(">Q", content, start + 8)[0], 16
        elif size == 0:
            size = end - start
        if size < head or start + size > end:
            break
        boxes.append((start, kind, head, size))
        start += size
    return boxes


def _move_chunks(index: bytearray, start: int, end: int, by: int) -> None:
    """Add to every place of pictures that an index names, in tables of 32 or 64 bits."""
    for offset, kind, head, size in _boxes(index, start, end):
        inside = offset + head
        if kind in (b"moov", b"trak", b"mdia", b"minf", b"stbl"):
            _move_chunks(index, inside, offset + size, by)
        elif kind in (b"stco", b"co64"):
            layout, width = (">I", 4) if kind == b"stco" else (">Q", 8)
            count = struct.unpack_from(">I", index, inside + 4)[0]
            for entry in range(count):
                at = inside + 8 + entry * width
                struct.pack_into(layout, index, at, struct.unpack_from(layout, index, at)[0] + by)
