"""A scene's frames rendered as animations: what Blender sets up for a picture, it then sets up once for many.

Each picture leaves Blender in the form that costs it least to write, and is packed as PNG beside the next
one's drawing.
"""

from __future__ import annotations

import contextlib
import struct
import tempfile
import time
import zlib
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from pathlib import Path
from typing import Any

import bpy
import numpy as np
from numpy.typing import NDArray

from planner_core.words.language import phrase

from .. import compat
from ..console import silenced
from .cache import PNG_SIGNATURE
from .looks import Look

# An animation lasts about so long: for so long nothing stops it. The first has one frame, which is soon seen.
ANIMATION_S, MOST_FRAMES = 2.0, 64
PACKED = 1  # zlib's quickest: less to write and to read costs less than packing it does
FRESH = "fresh-######"  # of a frame as Blender writes it; the marks stand for its number
BMP_HEAD = struct.Struct("<2sIHHIIiiHH")  # with the start of its second header

Write = Callable[[int, bytes], None]
_stop_asked: list[bool] = []  # whether somebody wants an animation under way to end


class NotDrawnError(RuntimeError):
    """A frame that could not be drawn or written, and why, in words for after its number."""

    def __init__(self, number: int, why: str) -> None:
        super().__init__(phrase("frame {number} {why}", number=number, why=why))


def stop() -> bool:
    """Have the animation under way, if there is one, end with KeyboardInterrupt; whether there was one.

    For handlers of signals: an exception would be lost within Blender.
    """
    if _stop_asked:
        _stop_asked[-1] = True
    return bool(_stop_asked)


def rendered(scene: Any, look: Look, numbers: Sequence[int], write: Write) -> Iterator[int]:
    """Render frames of the window's scene, those named first as far as neighbours may go along with them.

    write(number, png) gets each picture, in another thread; numbers count from 1 and are yielded once it is
    written. Raises NotDrawnError, what write raises, and KeyboardInterrupt after stop().
    """
    compat.choose_image(scene.render.image_settings, "BMP")
    scene.render.image_settings.color_mode = "RGB"
    scene.render.use_file_extension = scene.render.use_compositing = scene.render.use_sequencer = False
    scene.render.use_overwrite, scene.render.use_placeholder = True, False
    compat.stamp_nothing(scene.render)
    waiting, count = list(numbers), 1
    with tempfile.TemporaryDirectory(prefix="duskrail-") as name, ThreadPoolExecutor(1) as packer:
        folder = Path(name)
        scene.render.filepath = str(folder / FRESH)
        while waiting:
            now = next_together(waiting, count)
            taken = set(now)
            waiting = [number for number in waiting if number not in taken]
            start = time.monotonic()
            for first, last, step in progressions(now):
                yield from _animation(scene, look, range(first, last + 1, step), folder, packer, write)
            each_s = (time.monotonic() - start) / len(now)
            count = max(1, min(MOST_FRAMES, 4 * count, int(ANIMATION_S / each_s)))


def next_together(numbers: Sequence[int], count: int) -> list[int]:
    """The first of some numbers, and others soon after it that are neighbours: `count` at most.

    What lies on both sides of frames that are drawn already would take two animations.
    """
    soon = numbers[: 2 * count]
    for first, last, step in progressions(soon):
        if first <= numbers[0] <= last:
            return [number for number in soon if number in range(first, last + 1, step)][:count]
    return list(numbers[:count])


def progressions(numbers: Sequence[int]) -> list[tuple[int, int, int]]:
    """Numbers as stretches with even steps: first, last and step of each, in rising order."""
    rising = sorted(numbers)
    steps = np.diff(rising)
    usual = int(steps.min()) if len(steps) else 1
    stretches: list[tuple[int, int, int]] = []
    for number in rising:
        if stretches and number == stretches[-1][1] + usual:
            stretches[-1] = (stretches[-1][0], number, usual)
        else:
            stretches.append((number, number, usual))
    return stretches


def _animation(
    scene: Any, look: Look, numbers: range, folder: Path, packer: ThreadPoolExecutor, write: Write
) -> Iterator[int]:
    """Render one stretch of frames."""
    packing: dict[int, Future[None]] = {}
    trouble: list[BaseException] = []

    def before(now: Any, _graph: Any = None) -> None:
        if now.original == scene and not trouble:
            _kept(trouble, lambda: _prepare(look, scene.frame_current, numbers))

    def written(now: Any, _graph: Any = None) -> None:
        if now.original == scene and not trouble:
            number = scene.frame_current
            packing[number] = packer.submit(_pack, number, folder, write)

    if look.needs_window:
        look.show(numbers.start)  # of its first frame an animation takes the shutter as it is before
    scene.frame_start, scene.frame_end, scene.frame_step = numbers.start, numbers[-1], numbers.step
    handlers = bpy.app.handlers
    with (
        _hooked(handlers.frame_change_pre, before),
        _hooked(handlers.render_write, written),
        _listening(),
    ):
        try:
            _render(scene)
        except RuntimeError as problem:
            undrawn = next((number for number in numbers if number not in packing), numbers[-1])
            why = phrase("could not be drawn ({why})", why=" ".join(str(problem).split()))
            trouble.append(NotDrawnError(undrawn, why))
        asked = _stop_asked[-1]
    for number in numbers:
        if number in packing:
            packing[number].result()
            yield number
    if trouble:
        raise trouble[0]
    if asked or len(packing) < len(numbers):  # Blender ends one by itself on Esc, or on Ctrl+C in its own way
        raise KeyboardInterrupt


def _prepare(look: Look, number: int, numbers: range) -> None:
    look.prepare(number)
    if number + numbers.step in numbers:
        look.foresee(number + numbers.step)


def _render(scene: Any) -> None:
    with silenced():
        bpy.ops.render.render(animation=True, scene=scene.name)


def _kept(trouble: list[BaseException], task: Callable[[], None]) -> None:
    """Do what Blender calls for; it would only print what is raised."""
    try:
        task()
    except BaseException as problem:
        trouble.append(problem)


@contextlib.contextmanager
def _listening() -> Iterator[None]:
    _stop_asked.append(False)
    try:
        yield
    finally:
        _stop_asked.pop()


@contextlib.contextmanager
def _hooked(handlers: Any, handler: Callable[..., None]) -> Iterator[None]:
    handlers.append(handler)
    try:
        yield
    finally:
        handlers.remove(handler)


def _pack(number: int, folder: Path, write: Write) -> None:
    path = folder / FRESH.replace("######", f"{number:06d}")
    picture = pixels_of_bmp(path.read_bytes() if path.is_file() else b"")
    if picture is None:
        why = phrase("could not be written to {folder}; is the disk full?", folder=folder.parent)
        raise NotDrawnError(number, why)
    path.unlink()
    write(number, png(picture))


def pixels_of_bmp(content: bytes) -> NDArray[np.uint8] | None:
    """Pixels (height, width, 3) of an uncompressed 24-bit BMP, the top row first; None if it isn't whole."""
    if len(content) < BMP_HEAD.size + 2:
        return None
    kind, size, _, _, start, _, width, height, _, bits = BMP_HEAD.unpack_from(content)
    stride = (3 * width + 3) // 4 * 4
    if kind != b"BM" or bits != 24 or len(content) < max(size, start + stride * abs(height)):
        return None
    rows = np.frombuffer(content, np.uint8, stride * abs(height), start).reshape(abs(height), stride)
    pixels = rows[:, : 3 * width].reshape(abs(height), width, 3)[:, :, ::-1]
    return pixels[::-1] if height > 0 else pixels


def png(pixels: NDArray[np.uint8]) -> bytes:
    """Pixels (height, width, 3) as PNG (ISO/IEC 15948), the same bytes each time."""
    height, width, _ = pixels.shape
    rows = np.zeros((height, 1 + 3 * width), dtype=np.uint8)
    rows[:, 1:].reshape(height, width, 3)[...] = pixels
    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    chunks = ((b"IHDR", head), (b"IDAT", zlib.compress(rows.tobytes(), PACKED)), (b"IEND", b""))
    return PNG_SIGNATURE + b"".join(
        struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))
        for kind, data in chunks
    )
