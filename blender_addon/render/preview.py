"""The draft clip: a plan's frames drawn by Blender, one by one, and put together as a video.

Frames already drawn by an earlier preview are taken from the cache. The clip appears under its name once it
is whole.
"""

from __future__ import annotations

import contextlib
import os
import signal
import tempfile
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from types import FrameType
from typing import Any

import bpy
import numpy as np
from attrs import frozen

from planner_core.frames import FrameTable, compute_frames
from planner_core.plan.file import plan_to_dict
from planner_core.plan.model import Clip, Plan

from .. import compat
from ..console import silenced
from ..scene import build as scenes
from . import cache as framecache
from . import engines, fastlook, looks, movie, pictures, showing

LOOKS = looks.LOOKS
DEFAULT_WIDTH_PX = {looks.FAST: 960, looks.LIT: 640}
SMALLEST_PX, LARGEST_PX = 32, 8192
CONTACT_WIDTH_PX = 640
MOST_SPANS = 6
# Steps in which a frame's pose goes into its name: a tenth of a micrometre, a millionth of a degree
PLACE_DECIMALS, ANGLE_DECIMALS = 7, 6
# Fields of the plan file that no picture shows, or shows in the frame's own pose and settings
UNSEEN_FIELDS = (
    *("title", "reason", "notes", "composition", "site.name", "camera.raw_file_mb"),
    *("move.poses", "move.ease", "shoot.write_s", "shoot.setup_s", "shoot.travel_s"),
    *("rig.settle_s", "rig.max_incline_deg", "rig.pan", "rig.tilt"),
    *("rig.slide.max_speed_m_s", "rig.slide.max_acceleration_m_s2", "rig.slide.step_m"),
    *("exposure.iso_min", "exposure.iso_max", "exposure.shutter_min_s", "exposure.shutter_max_s"),
    *("exposure.night_look_stops", "exposure.ramp_order"),
)


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
    title: bool = False,
    burn_in: bool = False,
    beside: Plan | None = None,
    join: bool = False,
) -> Preview:
    """Draw the plan's frames and write the clip to output, H.264 in MP4.

    frame_range (first, last) counts from 1. With every N, only each Nth frame is drawn and stays N times as
    long, so that the clip lasts as it would. size is the picture's, in pixels, both even and in the clip's
    shape. cache is a folder for finished frames, by default the user's own. progress is told, in a line,
    how far it has come. title puts a title card before the clip; burn_in writes time, frame, sun and
    exposure into the pictures; beside shows another plan of as many frames to the right of this one. With
    join nothing is drawn: the clip is made of frames that earlier previews left, here or elsewhere, in the
    cache.

    Raises PreviewError before anything is drawn where the wish can't be met, PlanError where the plan has
    no times, and KeyboardInterrupt on Ctrl+C; whenever it raises, output is as it was.
    """
    say = progress or (lambda text: None)
    numbers = frame_numbers(plan, frame_range, every)
    size = picture_size(plan.clip, size, look)
    _check_output(output)
    sides = [(compute_frames(plan), size)]
    if beside is not None:
        _check_beside(plan, beside)
        sides.append((compute_frames(beside), (_width_at(beside.clip, size[1]), size[1])))
    with _stoppable():
        store = framecache.FrameCache(cache or framecache.cache_folder())
        chosen = None
        if not join:
            chosen = _choose_engine(look, engine)
            say(f"Drawing with {chosen.said}.")
        found: list[list[Path]] = []
        drawn = 0
        for frames, its_size in sides:
            if chosen is None:
                found.append(_joined(frames, numbers, look, its_size, store))
                continue
            found.append([])
            for picture in drawn_frames(frames, numbers, look, chosen, its_size, store):
                found[-1].append(picture.path)
                drawn += not picture.kept
                say(picture.said)
        fps = plan.clip.fps / every
        say("Writing the clip.")
        with tempfile.TemporaryDirectory(prefix="duskrail-") as folder:
            shown, whole_size = _shown(sides, numbers, found, Path(folder), burn_in=burn_in)
            if title:
                card = Path(folder) / "title.png"
                pictures.write_picture(showing.title_card(plan, sides[0][0], whole_size), card)
                shown = [card] * showing.title_frames(fps) + shown
            try:
                movie.encode(shown, output, fps, whole_size)
            except movie.MovieError as problem:
                raise PreviewError(str(problem)) from None
        with contextlib.suppress(OSError):
            store.tidy()
    return Preview(
        output=output,
        frames=numbers,
        drawn=drawn,
        kept=len(numbers) * len(sides) - drawn,
        fps=fps,
        size_px=whole_size,
        engine=chosen.words if chosen else "joined",
    )


def _shown(
    sides: list[tuple[FrameTable, tuple[int, int]]],
    numbers: tuple[int, ...],
    found: list[list[Path]],
    folder: Path,
    *,
    burn_in: bool,
) -> tuple[list[Path], tuple[int, int]]:
    """The pictures of the clip: finished frames as they are, or made of them in a folder; and their size."""
    if len(sides) == 1 and not burn_in:
        return found[0], sides[0][1]
    shown = []
    for place, number in enumerate(numbers):
        parts = []
        for (frames, _), paths in zip(sides, found, strict=True):
            if burn_in:
                parts.append(showing.burnt_in(frames, number, paths[place]))
            else:
                parts.append(pictures.read_picture(paths[place]))
            if len(sides) > 1 and not burn_in:
                parts[-1] = pictures.captioned(parts[-1], frames.plan.title)
        whole = parts[0] if len(parts) == 1 else pictures.beside(parts[0], parts[1], showing.GAP_PX)
        shown.append(folder / f"{number:06d}.png")
        pictures.write_picture(whole, shown[-1])
    widths = [size[0] for _, size in sides]
    return shown, (sum(widths) + showing.GAP_PX * (len(sides) - 1), sides[0][1][1])


def _joined(
    frames: FrameTable,
    numbers: tuple[int, ...],
    look: str,
    size: tuple[int, int],
    store: framecache.FrameCache,
) -> list[Path]:
    """Frames that are in the cache, whichever engine drew them. Raises PreviewError where one is missing."""
    names = [
        variant.engine
        for variant in store.variants()
        if (variant.look, variant.width_px, variant.height_px) == (look, *size)
    ]
    keys = [frame_keys(frames, look, engines.Engine(name=n, words=n), size) for n in dict.fromkeys(names)]
    paths = {}
    for number in numbers:
        kept = next((key(number) for key in keys if store.has(key(number))), None)
        if kept is not None:
            paths[number] = store.path(kept)
    missing = [number for number in numbers if number not in paths]
    if missing:
        first, last = missing[0], missing[-1]
        raise PreviewError(
            f"--join: {len(missing)} of {len(numbers)} frames are not drawn yet in this look and size: "
            f"{_spans_text(missing, numbers)}; draw them with --frames {first}:{last}"
        )
    return [paths[number] for number in numbers]


def _spans_text(missing: list[int], numbers: tuple[int, ...]) -> str:
    """'1–12, 40, 77–90 and 3 more stretches', runs of neighbours among the clip's numbers."""
    step = numbers[1] - numbers[0] if len(numbers) > 1 else 1
    runs: list[list[int]] = []
    for number in missing:
        if runs and number == runs[-1][1] + step:
            runs[-1][1] = number
        else:
            runs.append([number, number])
    words = [f"{first}–{last}" if last > first else f"{first}" for first, last in runs]
    more = len(words) - MOST_SPANS
    return ", ".join(words[:MOST_SPANS]) + (f" and {more} more stretches" if more > 0 else "")


def _check_beside(plan: Plan, other: Plan) -> None:
    if other.shoot.frames != plan.shoot.frames or other.clip.fps != plan.clip.fps:
        ours, theirs = (f"{one.shoot.frames} frames at {one.clip.fps:g} a second" for one in (plan, other))
        raise PreviewError(
            f"--beside: {other.title or 'the other plan'} has {theirs} and "
            f"{plan.title or 'the first'} {ours}; side by side they must have the same"
        )


def _width_at(clip: Clip, height: int) -> int:
    return max(2, 2 * round(height * clip.width_px / clip.height_px / 2.0))


def render_still(
    plan: Plan,
    number: int,
    output: Path,
    *,
    look: str = looks.LIT,
    size: tuple[int, int] | None = None,
    burn_in: bool = False,
    cache: Path | None = None,
    progress: Callable[[str], None] | None = None,
) -> tuple[int, int]:
    """Draw one frame, counted from 1, at the clip's full size or another, as PNG; returns the size.

    It is drawn more finely than the frames of a clip.

    Raises as render_preview.
    """
    frame_numbers(plan, (number, number), 1)
    size = picture_size(plan.clip, size or _full_size(plan.clip), look)
    _check_output(output)
    frames = compute_frames(plan)
    paths = _drawn_paths(frames, (number,), look, size, cache, progress, still=True)
    if burn_in:
        pictures.write_picture(showing.burnt_in(frames, number, paths[0]), output)
    else:
        framecache.write_whole(output, pictures.packed(paths[0]))
    return size


def render_contact(
    plan: Plan,
    shown: Sequence[tuple[int, str]],
    output: Path,
    *,
    look: str = looks.LIT,
    size: tuple[int, int] | None = None,
    cache: Path | None = None,
    progress: Callable[[str], None] | None = None,
) -> int:
    """Write a contact sheet as PNG: frames given with their labels, and others between; returns how many.

    size is that of each picture. Raises as render_preview.
    """
    size = picture_size(plan.clip, size or _in_shape(plan.clip, CONTACT_WIDTH_PX), look)
    _check_output(output)
    frames = compute_frames(plan)
    wanted = showing.contact_frames(shown, len(frames))
    paths = _drawn_paths(frames, tuple(number for number, _ in wanted), look, size, cache, progress)
    pictures.write_picture(showing.contact_sheet(frames, wanted, paths), output)
    return len(wanted)


def _drawn_paths(
    frames: FrameTable,
    numbers: tuple[int, ...],
    look: str,
    size: tuple[int, int],
    cache: Path | None,
    progress: Callable[[str], None] | None,
    *,
    still: bool = False,
) -> list[Path]:
    say = progress or (lambda text: None)
    with _stoppable():
        chosen = _choose_engine(look, None)
        say(f"Drawing with {chosen.said}.")
        store = framecache.FrameCache(cache or framecache.cache_folder())
        paths = []
        for picture in drawn_frames(frames, numbers, look, chosen, size, store, still=still):
            paths.append(picture.path)
            say(picture.said)
    return paths


def save_scene(plan: Plan, output: Path) -> None:
    """Write the plan's scene as a .blend, set up for the lit look, to edit and to read back.

    It replaces what is open in this Blender. Raises PreviewError and PlanError; output is there whole or as
    it was.
    """
    _check_output(output)
    frames = compute_frames(plan)
    bpy.ops.wm.read_factory_settings(use_empty=True)
    scene = bpy.data.scenes[0]
    scenes.build_scene(plan, frames, scene)
    looks.Look(scene, frames, looks.LIT, _choose_engine(looks.LIT, None))
    working = output.with_name(f".{output.stem}.{os.getpid()}.blend")
    try:
        with silenced():
            bpy.ops.wm.save_as_mainfile(filepath=str(working.absolute()), copy=True, compress=True)
        working.replace(output)
    except RuntimeError as problem:
        raise PreviewError(f"{output}: can't be written ({' '.join(str(problem).split())})") from None
    finally:
        working.unlink(missing_ok=True)


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


def _full_size(clip: Clip) -> tuple[int, int]:
    return clip.width_px - clip.width_px % 2, clip.height_px - clip.height_px % 2


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
    *,
    still: bool = False,
) -> Iterator[Picture]:
    """Draw frames into the cache, or find them there, one a step. A scene is made only where one has to
    be drawn.
    """
    key = frame_keys(frames, look, engine, size, still=still)
    keys = {number: key(number) for number in numbers}
    missing = {number for number in numbers if not store.has(keys[number])}
    pace = _Pace(len(missing))
    if missing and not still:
        store.note_variant(
            framecache.CacheVariant(look=look, engine=engine.name, width_px=size[0], height_px=size[1])
        )
    with contextlib.ExitStack() as stack:
        draw: Callable[[int, Path], None] | None = None
        for count, number in enumerate(numbers, start=1):
            if number in missing:
                if draw is None:
                    draw = stack.enter_context(_drawing(frames, look, engine, size, still=still))
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
    frames: FrameTable, look: str, engine: engines.Engine, size: tuple[int, int], *, still: bool
) -> Iterator[Callable[[int, Path], None]]:
    """A scene of its own, for as long as frames are drawn; yields what draws a frame into a file."""
    scene = bpy.data.scenes.new("Draft clip")
    try:
        scenes.build_scene(frames.plan, frames, scene)
        prepared = looks.Look(scene, frames, look, engine, still=still)
        render = scene.render
        render.resolution_x, render.resolution_y = size
        render.use_file_extension = render.use_compositing = render.use_sequencer = False
        compat.choose_image(render.image_settings, "PNG")
        render.image_settings.color_mode, render.image_settings.color_depth = "RGB", "8"
        # squeezing a fast frame would take a noticeable part of the time that drawing it does
        render.image_settings.compression = 0 if look == looks.FAST else 15
        compat.stamp_nothing(render)

        def draw(number: int, path: Path) -> None:
            prepared.show(number)
            render.filepath = str(path)
            try:
                with silenced():
                    bpy.ops.render.render(write_still=True, scene=scene.name)
            except RuntimeError as problem:
                reason = " ".join(str(problem).split())
                raise PreviewError(f"preview: frame {number} could not be drawn ({reason})") from None
            if not path.is_file() or not framecache.is_whole_png(path.read_bytes()):
                raise PreviewError(
                    f"preview: frame {number} could not be written to {path.parent}; is the disk full?"
                )

        with compat.window_on(scene) if prepared.needs_window else contextlib.nullcontext():
            yield draw
    finally:
        scenes.clear_scene(scene)
        bpy.data.scenes.remove(scene)


def frame_keys(
    frames: FrameTable, look: str, engine: engines.Engine, size: tuple[int, int], *, still: bool = False
) -> Callable[[int], str]:
    """What names a frame in the cache: a function of its number, from everything the picture depends on.

    That is what the plan decides, and the code that makes a picture of it. Two things are taken from the
    frames instead: where the camera stands and looks, and its settings, so that a frame that a change of the
    move leaves as it was keeps its name. They are rounded: the last bits of computed numbers may differ
    between processes and machines, by some 1e-13, which the steps are a million times wider than; and a step
    is below a thousandth of a pixel.
    """
    plan = frames.plan
    common = framecache.key_of(
        framecache.code_key(),
        looks.settings_key(look, engine, still=still),
        size,
        _decided(plan),
        np.round(frames.lens_bearing_deg[0], ANGLE_DECIMALS),  # the lamps' light comes from beside it
        fastlook.grid_of(frames) if look == looks.FAST else None,
    )
    poses = np.column_stack(
        [
            np.round(frames.camera_m, PLACE_DECIMALS),
            np.round(frames.lens_bearing_deg, ANGLE_DECIMALS),
            np.round(frames.lens_altitude_deg, ANGLE_DECIMALS),
        ]
    )
    poses += 0.0  # no −0
    blurred = plan.move.drive == "continuous"

    def key(number: int) -> str:
        here = poses[number - 1 : number + 1 if blurred else number]
        ramp = frames.ramp
        settings = [f"{row[number - 1]:.9g}" for row in (ramp.shutter_s, ramp.iso)] if ramp else None
        return framecache.key_of(common, number, here, settings)

    return key


def _decided(plan: Plan) -> dict[str, Any]:
    """The plan's fields that every frame's picture depends on: all but those that no picture shows, and the
    move and the exposure's limits, which are seen in the frame's own pose and settings.
    """
    fields = plan_to_dict(plan)
    for name in UNSEEN_FIELDS:
        *parents, last = name.split(".")
        part: Any = fields
        for parent in parents:
            part = part.get(parent) or {}
        part.pop(last, None)
    if plan.shoot.anchor is None:  # counted from the start, a frame's time is the same however many follow
        fields["shoot"].pop("frames")
    return fields


def kept_pictures(frames: FrameTable, numbers: Sequence[int], cache: Path | None = None) -> dict[int, bytes]:
    """Frames that earlier previews of the same plan left in the cache, as PNG; nothing is drawn.

    numbers count from 1. Of each frame the lit look is taken before the fast one, and of those the largest;
    a frame that nobody has drawn isn't there.
    """
    store = framecache.FrameCache(cache or framecache.cache_folder())
    variants = sorted(store.variants(), key=lambda one: (one.look != looks.LIT, -one.width_px))
    found: dict[int, bytes] = {}
    for variant in variants:
        if len(found) == len(set(numbers)):
            break
        if variant.look not in LOOKS:
            continue
        engine = engines.Engine(name=variant.engine, words=variant.engine)
        key = frame_keys(frames, variant.look, engine, (variant.width_px, variant.height_px))
        for number in numbers:
            if number not in found and 1 <= number <= len(frames) and store.has(key(number)):
                with contextlib.suppress(OSError):
                    found[number] = pictures.packed(store.path(key(number)))
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
