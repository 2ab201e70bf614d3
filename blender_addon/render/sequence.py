"""A scene's frames rendered as animations: what Blender sets up for a picture, it then sets up once for many.

Each picture leaves Blender in the form that costs it least to write, linear as it was drawn, and becomes a
PNG as the display shows it beside the next one's drawing.
"""

from __future__ import annotations

import contextlib
import sys
import tempfile
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from pathlib import Path
from typing import Any

import bpy
import numpy as np
from attrs import frozen
from numpy.typing import NDArray

from planner_core.words.language import phrase

from .. import compat
from ..console import aloud, silenced
from . import displayed, pixels
from .looks import Look

FRESH = "fresh-######"  # of a frame as Blender writes it; the marks stand for its number
HANDS_OVER_S = 5e-4  # after so long a thread lets another one go on: Blender's waits for it with each frame

Write = Callable[[int, bytes], None]
Done = Callable[[int], None]
Pixels = NDArray[np.uint8]
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


@contextlib.contextmanager
def packing() -> Iterator[ThreadPoolExecutor]:
    """The thread in which pictures are packed, which makes itself ready while a scene is built."""
    with ThreadPoolExecutor(1) as packer:
        packer.submit(displayed.make_ready)
        yield packer


def draw(
    scene: Any, look: Look, numbers: Sequence[int], packer: ThreadPoolExecutor, write: Write, done: Done
) -> None:
    """Render frames of a scene, those named first as far as neighbours may go along with them.

    write(number, png) gets each picture, in the packer's thread; done(number) is called once it is written,
    in this one. Numbers count from 1. Raises NotDrawnError, what write and done raise, and KeyboardInterrupt
    after stop().
    """
    render = scene.render
    read = _choose_format(render.image_settings)
    render.use_file_extension = render.use_compositing = render.use_sequencer = False
    render.use_overwrite, render.use_placeholder = True, False
    compat.stamp_nothing(render)
    with tempfile.TemporaryDirectory(prefix="duskrail-") as name, _taking_turns():
        render.filepath = str(Path(name) / FRESH)
        for together in _animations(look, numbers):
            _Animation(scene, look, together, _Packing(Path(name), packer, read, write, done)).run()


def _choose_format(settings: Any) -> Callable[[bytes], Pixels | None]:
    """Have pictures written quickly; returns what makes pixels of such a file, None of a broken one."""
    is_known = displayed.is_known()
    compat.choose_image(settings, "OPEN_EXR" if is_known else "BMP")
    settings.color_mode = "RGB"
    if is_known:
        settings.color_depth, settings.exr_codec = "16", "NONE"
    return _displayed if is_known else pixels.of_bmp


def _displayed(content: bytes) -> Pixels | None:
    linear = pixels.of_exr(content)
    return None if linear is None else displayed.shown(linear)


# ---------------------------------------------------------------- what goes into one animation


@frozen(eq=False)
class Together:
    """Frames drawn in one animation, numbers from 1, and Blender's frame for each of them."""

    numbers: Sequence[int]
    at: range

    def after(self, frame: int) -> int | None:
        """The number of what is drawn after Blender's frame."""
        index = self.at.index(frame) + 1
        return self.numbers[index] if index < len(self.at) else None


def _animations(look: Look, numbers: Sequence[int]) -> Iterator[Together]:
    """All at once where the look puts each frame in itself; where Blender goes by the scene's keys, first one
    frame, which is soon seen, then four times as many as before: each animation sets up anew.
    """
    if not look.goes_by_keys:
        yield Together(numbers, range(1, len(numbers) + 1))
        return
    waiting, count = list(numbers), 1
    while waiting:
        now = next_together(waiting, count)
        taken = set(now)
        waiting = [number for number in waiting if number not in taken]
        for first, last, step in progressions(now):
            frames = range(first, last + 1, step)
            yield Together(frames, frames)
        count *= 4


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


# ---------------------------------------------------------------- under way


class _Packing:
    """Pictures that Blender has written, made PNG and written in another thread."""

    def __init__(
        self,
        folder: Path,
        packer: ThreadPoolExecutor,
        read: Callable[[bytes], Pixels | None],
        write: Write,
        done: Done,
    ) -> None:
        self.folder, self.packer, self.read, self.write, self.done = folder, packer, read, write, done
        self.begun: dict[int, Future[None]] = {}

    def begin(self, number: int, frame: int) -> None:
        """Pack what Blender has written as one of its frames."""
        self.begun[number] = self.packer.submit(self._pack, number, frame)

    def tell(self, *, wait: bool = False) -> None:
        """Say which pictures are there, or wait until all are."""
        for number in [number for number, packed in self.begun.items() if wait or packed.done()]:
            self.begun.pop(number).result()
            with aloud():
                self.done(number)

    def _pack(self, number: int, frame: int) -> None:
        path = self.folder / FRESH.replace("######", f"{frame:06d}")
        picture = self.read(path.read_bytes() if path.is_file() else b"")
        if picture is None:
            why = phrase("could not be written to {folder}; is the disk full?", folder=self.folder.parent)
            raise NotDrawnError(number, why)
        path.unlink()
        self.write(number, pixels.png(picture))


class _Animation:
    """One animation under way. What goes wrong within it is kept: Blender would only print it."""

    def __init__(self, scene: Any, look: Look, together: Together, packing: _Packing) -> None:
        self.scene, self.look, self.together, self.packing = scene, look, together, packing
        self.left = dict(zip(together.at, together.numbers, strict=True))  # by Blender's frame, to draw
        self.trouble: list[BaseException] = []

    def run(self) -> None:
        """Render it."""
        scene, handlers, at = self.scene, bpy.app.handlers, self.together.at
        if self.look.goes_by_keys:
            self.look.show(at.start)  # of its first frame an animation takes the shutter as it is before
        scene.frame_start, scene.frame_end, scene.frame_step = at.start, at[-1], at.step
        with (
            _hooked(handlers.frame_change_pre, self._before),
            _hooked(handlers.render_write, self._written),
            _listening(),
        ):
            try:
                _render(scene)
            except RuntimeError as problem:
                self._take_as_trouble(problem)
            asked = _stop_asked[-1]
        self.packing.tell(wait=True)
        if self.trouble:
            raise self.trouble[0]
        if asked or self.left:  # Blender ends one by itself on Esc, or on Ctrl+C in its own way
            raise KeyboardInterrupt

    def _take_as_trouble(self, problem: RuntimeError) -> None:
        if not self.trouble and not _stop_asked[-1]:
            undrawn = next(iter(self.left.values()), self.together.numbers[-1])
            why = phrase("could not be drawn ({why})", why=" ".join(str(problem).split()))
            self.trouble.append(NotDrawnError(undrawn, why))

    def _before(self, now: Any, _graph: Any = None) -> None:
        if now.original == self.scene:
            self._kept(self._prepare)

    def _written(self, now: Any, _graph: Any = None) -> None:
        if now.original == self.scene:
            self._kept(self._take)

    def _prepare(self) -> None:
        frame = self.scene.frame_current
        if frame not in self.left:
            return  # one beside it, for how it moves
        self.look.prepare(self.left[frame])
        after = self.together.after(frame)
        if after is not None:
            self.look.foresee(after)

    def _take(self) -> None:
        frame = self.scene.frame_current
        self.packing.begin(self.left.pop(frame), frame)
        self.packing.tell()

    def _kept(self, task: Callable[[], None]) -> None:
        if not self.trouble:
            try:
                task()
            except BaseException as problem:
                self.trouble.append(problem)
        if self.trouble or _stop_asked[-1]:
            # an animation ends with a frame that can't be written, as nothing can be inside a file
            self.scene.render.filepath = str(Path(__file__) / FRESH)


def _render(scene: Any) -> None:
    with silenced():
        bpy.ops.render.render(animation=True, scene=scene.name)


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


@contextlib.contextmanager
def _taking_turns() -> Iterator[None]:
    """Have threads take turns often."""
    before = sys.getswitchinterval()
    sys.setswitchinterval(HANDS_OVER_S)
    try:
        yield
    finally:
        sys.setswitchinterval(before)
