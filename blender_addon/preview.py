"""The draft clip: a plan's frames drawn by Blender, one by one, and put together as a video.

Frames already drawn by an earlier preview are taken from the cache. The clip appears under its name once it
is whole.
"""

from __future__ import annotations

import contextlib
import signal
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from types import FrameType
from typing import Any

import attrs
import bpy
import numpy as np
from attrs import frozen

from planner_core import sky
from planner_core.frames import FrameTable, compute_frames
from planner_core.plan import Clip, Plan

from . import compat, engines, framecache, looks, movie
from . import scene as scenes
from .quiet import quiet

LOOKS = looks.LOOKS
DEFAULT_WIDTH_PX = {looks.FAST: 960, looks.LIT: 640}
SMALLEST_PX, LARGEST_PX = 32, 8192
PNG_END = b"IEND\xaeB`\x82"


class PreviewError(RuntimeError):
    """Something that keeps the clip from being made, in one line that says what would do."""


@frozen(kw_only=True)
class Preview:
    """What was made: the file, which frames are in it, how many were drawn now and how many kept from
    before.
    """

    output: Path
    frames: tuple[int, ...]
    drawn: int
    kept: int
    fps: float
    size_px: tuple[int, int]
    engine: str


def render_preview(
    plan: Plan,
    output: Path,
    *,
    look: str = looks.FAST,
    frame_range: tuple[int, int] | None = None,
    every: int = 1,
    size: tuple[int, int] | None = None,
    cache: Path | None = None,
    engine: str | None = None,
    progress: Callable[[str], None] | None = None,
) -> Preview:
    """Draw the plan's frames and write the clip to output, H.264 in MP4.

    frame_range (first, last) counts from 1. With every N, only each Nth frame is drawn and stays N times as
    long, so that the clip lasts as it would. size is the picture's, in pixels, both even and in the clip's
    shape. cache is a folder for finished frames, by default the user's own. progress is told, in a line,
    how far it has come.

    Raises PreviewError before anything is drawn where the wish can't be met, PlanError where the plan has
    no times, and KeyboardInterrupt on Ctrl+C; whenever it raises, output is as it was.
    """
    say = progress or (lambda text: None)
    numbers = frame_numbers(plan, frame_range, every)
    size = picture_size(plan.clip, size, look)
    _check_output(output)
    frames = compute_frames(plan)
    with _stoppable():
        chosen = _choose_engine(look, engine)
        say(f"Drawing with {chosen.said}.")
        store = framecache.FrameCache(cache or framecache.cache_folder())
        pictures: list[Path] = []
        drawn = 0
        for picture in drawn_frames(frames, numbers, look, chosen, size, store):
            pictures.append(picture.path)
            drawn += not picture.kept
            say(picture.said)
        fps = plan.clip.fps / every
        say("Writing the clip.")
        try:
            movie.encode(pictures, output, fps, size)
        except movie.MovieError as problem:
            raise PreviewError(str(problem)) from None
        with contextlib.suppress(OSError):
            store.tidy()
    return Preview(
        output=output,
        frames=numbers,
        drawn=drawn,
        kept=len(numbers) - drawn,
        fps=fps,
        size_px=size,
        engine=chosen.words,
    )


# ---------------------------------------------------------------- what is wished for


def frame_numbers(plan: Plan, frame_range: tuple[int, int] | None, every: int) -> tuple[int, ...]:
    """The frames to draw, counted from 1. Raises PreviewError."""
    first, last = frame_range or (1, plan.shoot.frames)
    if not 1 <= first <= last <= plan.shoot.frames:
        raise PreviewError(
            f"--frames: {first}:{last} is not within the plan's frames, 1 to {plan.shoot.frames}"
        )
    if every < 1:
        raise PreviewError(f"--every: {every} is not a whole number from 1")
    return tuple(range(first, last + 1, every))


def picture_size(clip: Clip, size: tuple[int, int] | None, look: str) -> tuple[int, int]:
    """Width and height in pixels, even numbers in the clip's shape; a draft size by default. Raises
    PreviewError.
    """
    if look not in LOOKS:
        raise PreviewError(f"--look: {look} is not known; use one of: {', '.join(LOOKS)}")
    if size is None:
        return _in_shape(clip, min(DEFAULT_WIDTH_PX[look], clip.width_px + clip.width_px % 2))
    width, height = size
    if not (SMALLEST_PX <= width <= LARGEST_PX and SMALLEST_PX <= height <= LARGEST_PX):
        raise PreviewError(f"--size: {width}x{height} is outside {SMALLEST_PX} to {LARGEST_PX} pixels a side")
    if width % 2 or height % 2:
        even = f"{width - width % 2}x{height - height % 2}"
        raise PreviewError(
            f"--size: {width}x{height} has an odd side, which video can't have; {even} would do"
        )
    if abs(height - width * clip.height_px / clip.width_px) > 2.0:
        wide, high = _in_shape(clip, width)
        raise PreviewError(
            f"--size: {width}x{height} hasn't the clip's shape ({clip.width_px}x{clip.height_px}); "
            f"{wide}x{high} has"
        )
    return size


def _in_shape(clip: Clip, width: int) -> tuple[int, int]:
    return width, max(2, 2 * round(width * clip.height_px / clip.width_px / 2.0))


def _check_output(output: Path) -> None:
    if output.is_dir():
        raise PreviewError(
            f"{output}: is a folder; give the clip a name in it, such as {output / 'clip.mp4'}"
        )
    if not output.parent.is_dir():
        raise PreviewError(f"{output}: the folder {output.parent} does not exist; make it first")


def _choose_engine(look: str, wanted: str | None) -> engines.Engine:
    try:
        return engines.choose_engine(look, wanted)
    except engines.EngineError as problem:
        raise PreviewError(str(problem)) from None


# ---------------------------------------------------------------- frame by frame


@frozen(kw_only=True)
class Picture:
    """A finished frame: its number, counted from 1, its file, whether it was kept from before, and a
    word on progress.
    """

    number: int
    path: Path
    kept: bool
    said: str


def drawn_frames(
    frames: FrameTable,
    numbers: tuple[int, ...],
    look: str,
    engine: engines.Engine,
    size: tuple[int, int],
    store: framecache.FrameCache,
) -> Iterator[Picture]:
    """Draw frames into the cache, or find them there, one a step. A scene is made only where one has to
    be drawn.
    """
    key = frame_keys(frames, look, engine, size)
    keys = {number: key(number) for number in numbers}
    missing = {number for number in numbers if not store.has(keys[number])}
    pace = _Pace(len(missing))
    if missing:
        store.note_wish(look, engine.name, *size)
    with contextlib.ExitStack() as stack:
        draw: Callable[[int, Path], None] | None = None
        for count, number in enumerate(numbers, start=1):
            if number in missing:
                if draw is None:
                    draw = stack.enter_context(_drawing(frames, look, engine, size))
                draw(number, store.working_path(keys[number]))
                store.finish(keys[number])
                pace.step()
            yield Picture(
                number=number,
                path=store.path(keys[number]),
                kept=number not in missing,
                said=f"Frame {count} of {len(numbers)}{pace.left()}",
            )


@contextlib.contextmanager
def _drawing(
    frames: FrameTable, look: str, engine: engines.Engine, size: tuple[int, int]
) -> Iterator[Callable[[int, Path], None]]:
    """A scene of its own, for as long as frames are drawn; yields what draws a frame into a file."""
    scene = bpy.data.scenes.new("Draft clip")
    try:
        scenes.build_scene(frames.plan, frames, scene)
        prepared = looks.Look(scene, frames, look, engine)
        render = scene.render
        render.resolution_x, render.resolution_y = size
        render.use_file_extension = render.use_compositing = render.use_sequencer = False
        compat.choose_image(render.image_settings, "PNG")
        render.image_settings.color_mode, render.image_settings.color_depth = "RGB", "8"
        render.image_settings.compression = 15
        compat.stamp_nothing(render)

        def draw(number: int, path: Path) -> None:
            prepared.show(number)
            render.filepath = str(path)
            try:
                with quiet():
                    bpy.ops.render.render(write_still=True, scene=scene.name)
            except RuntimeError as problem:
                reason = " ".join(str(problem).split())
                raise PreviewError(f"preview: frame {number} could not be drawn ({reason})") from None
            if not path.is_file() or not path.read_bytes().endswith(PNG_END):
                raise PreviewError(
                    f"preview: frame {number} could not be written to {path.parent}; is the disk full?"
                )

        with compat.window_on(scene):
            yield draw
    finally:
        scenes.clear_scene(scene)
        bpy.data.scenes.remove(scene)


def frame_keys(
    frames: FrameTable, look: str, engine: engines.Engine, size: tuple[int, int]
) -> Callable[[int], str]:
    """What names a frame in the cache: a function of its number, from everything the picture depends on."""
    plan, light = frames.plan, sky.picture_light(frames)
    common = framecache.key_of(
        framecache.code_key(),
        looks.settings_key(look, engine),
        size,
        [attrs.asdict(block) for block in plan.blocks],
        attrs.asdict(plan.camera),
        attrs.asdict(plan.clip),
        plan.rig.origin_m,
        plan.site.scene_north_deg,
        plan.move.drive,
        frames.camera_m.mean(axis=0).round(2) if look == looks.FAST else None,
    )
    rows = [getattr(light, field.name) for field in attrs.fields(sky.PictureLight)]
    rows += [frames.camera_m, frames.camera_rotation, frames.sun_direction, frames.moon_direction]
    rows += [frames.moon_lit_fraction]
    blurred = plan.move.drive == "continuous" and frames.ramp is not None

    def key(number: int) -> str:
        here = [np.asarray(row[number - 1]) for row in rows]
        if blurred and frames.ramp is not None:
            after = min(number, len(frames) - 1)
            here += [frames.camera_m[after], frames.camera_rotation[after]]
            here += [np.asarray(frames.ramp.shutter_s[number - 1] / plan.shoot.interval_s)]
        return framecache.key_of(common, here)

    return key


def kept_pictures(frames: FrameTable, numbers: Sequence[int], cache: Path | None = None) -> dict[int, bytes]:
    """Frames that earlier previews of the same plan left in the cache, as PNG; nothing is drawn.

    numbers count from 1. Of each frame the lit look is taken before the fast one, and of those the largest;
    a frame that nobody has drawn isn't there.
    """
    store = framecache.FrameCache(cache or framecache.cache_folder())
    wishes = sorted(store.wishes(), key=lambda wish: (wish[0] != looks.LIT, -wish[2]))
    found: dict[int, bytes] = {}
    for look, engine, width, height in wishes:
        if len(found) == len(set(numbers)):
            break
        if look not in LOOKS:
            continue
        key = frame_keys(frames, look, engines.Engine(name=engine, words=engine), (width, height))
        for number in numbers:
            if number not in found and 1 <= number <= len(frames) and store.has(key(number)):
                with contextlib.suppress(OSError):
                    found[number] = store.path(key(number)).read_bytes()
    return {number: found[number] for number in sorted(found)}


class _Pace:
    """How long the rest will take, from the frames drawn so far."""

    def __init__(self, to_draw: int) -> None:
        self.to_draw, self.drawn, self.start = to_draw, 0, time.monotonic()

    def step(self) -> None:
        self.drawn += 1

    def left(self) -> str:
        """', about 2 min 10 s left', or nothing while nothing is known or nothing left."""
        remaining = self.to_draw - self.drawn
        if not self.drawn or not remaining:
            return ""
        seconds = (time.monotonic() - self.start) / self.drawn * remaining
        minutes, rest = divmod(max(1, round(seconds)), 60)
        hours, minutes = divmod(minutes, 60)
        words = f"{hours} h {minutes} min" if hours else f"{minutes} min {rest} s" if minutes else f"{rest} s"
        return f", about {words} left"


@contextlib.contextmanager
def _stoppable() -> Iterator[None]:
    """Take a polite request to end (SIGTERM) like Ctrl+C, so that everything is tidied up on the way out."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return

    def stop(_number: int, _frame: FrameType | None) -> Any:
        raise KeyboardInterrupt

    before = signal.signal(signal.SIGTERM, stop)
    try:
        yield
    finally:
        signal.signal(signal.SIGTERM, before)
