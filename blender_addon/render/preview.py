"""The draft clip: a plan's frames drawn by Blender, one by one, and put together as a video.

Frames already drawn by an earlier preview are taken from the cache. The clip appears under its name once it
is whole.
"""

from __future__ import annotations

import contextlib
import signal
import tempfile
import threading
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from types import FrameType
from typing import Any

import bpy
import numpy as np
from attrs import frozen

from planner_core.evening.timetable import events_in_shoot
from planner_core.frames import FrameTable, compute_frames
from planner_core.plan.file import plan_from_text, plan_to_dict, plan_to_text
from planner_core.plan.model import Plan
from planner_core.plan.writing import check_writable, whole_file, write_atomically
from planner_core.words.language import phrase

from .. import compat
from ..console import silenced
from ..scene import blocking
from ..scene import build as scenes
from . import cache as framecache
from . import engines, fastview, looks, movie, pictures, sequence, showing
from . import jobs as many
from .progress import DRAWING, ENCODING, Listener, Pace, Progress, nobody
from .request import (
    FramesMissingError,
    PreviewError,
    PreviewRequest,
    frame_numbers,
    full_size,
    picture_size,
    size_in_shape,
    width_at,
)

Side = tuple[FrameTable, tuple[int, int]]  # a plan's frames, and the size they are drawn in

CONTACT_WIDTH_PX = 640
MOST_SPANS = 6
# Steps in which a frame's pose goes into its name: a tenth of a micrometre, a millionth of a degree
PLACE_DECIMALS, ANGLE_DECIMALS = 7, 6
# Fields of the plan file that no picture shows, or shows in the frame's own pose and settings
UNSEEN_FIELDS = (
    *("$schema", "title", "reason", "notes", "composition", "site.name"),
    *("camera.raw_file_mb", "camera.headroom_stops", "camera.range_stops"),
    *("camera.card_gb", "camera.battery_frames", "exposure.mains_hz"),
    *("camera.name", "rig.name", "shoot.attended"),
    *("move.poses", "move.ease", "shoot.write_s", "shoot.setup_s", "shoot.travel_s"),
    *("rig.settle_s", "rig.max_incline_deg", "rig.stand_min_m", "rig.stand_max_m", "rig.pan", "rig.tilt"),
    *("rig.slide.max_speed_m_s", "rig.slide.max_acceleration_m_s2", "rig.slide.step_m"),
    *("exposure.iso_min", "exposure.iso_max", "exposure.shutter_min_s", "exposure.shutter_max_s"),
    *("exposure.night_look_stops", "exposure.ramp_order", "exposure.meter", "exposure.day_look_stops"),
)


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


def render_preview(request: PreviewRequest, progress: Listener = nobody) -> Preview:
    """Draw the frames asked for and write the clip, H.264 in MP4.

    Raises PreviewError, PlanError where a plan has no times, OSError, and KeyboardInterrupt on Ctrl+C;
    whenever it raises, the output is as it was.
    """
    _check_output(request.output)
    sides = [(compute_frames(request.plan), request.size_px)]
    if request.beside is not None:
        height = request.size_px[1]
        sides.append((compute_frames(request.beside), (width_at(request.beside.clip, height), height)))
    with _stoppable(), framecache.open_cache(request.cache) as store:
        engine = None if request.join else _choose_engine(request.look, request.engine)
        if engine is None:
            kept = [_joined(frames, request, size, store) for frames, size in sides]
            drawn = 0
        else:
            kept, drawn = _drawn_sides(sides, request, engine, store, progress)
        count = len(sides) * len(request.numbers)
        progress(Progress(stage=ENCODING, done=count, total=count, seconds_left=0.0))
        size_px = _encode(request, sides, kept)
        with contextlib.suppress(OSError):
            store.tidy()
    return Preview(
        output=request.output,
        frames=request.numbers,
        drawn=drawn,
        kept=count - drawn,
        fps=float(request.fps),
        size_px=size_px,
        engine=engine.named if engine else "joined",
    )


def _drawn_sides(
    sides: list[Side],
    request: PreviewRequest,
    engine: engines.Engine,
    store: framecache.FrameCache,
    progress: Listener,
) -> tuple[list[list[Path]], int]:
    """Finished frames of each side of the clip, and how many were drawn now."""
    kept: list[list[Path]] = []
    drawn, each = 0, len(request.numbers)
    total = each * len(sides)
    progress(Progress(stage=DRAWING, done=0, total=total, engine=engine.said))
    for frames, size in sides:
        before, to_come = each * len(kept), each * (len(sides) - len(kept) - 1)
        by_number: dict[int, Path] = {}

        def seen(
            picture: Picture,
            by_number: dict[int, Path] = by_number,
            before: int = before,
            to_come: int = to_come,
        ) -> None:
            nonlocal drawn
            by_number[picture.number] = picture.path
            drawn += not picture.kept
            left = picture.pace.seconds_for(picture.to_draw + to_come)
            progress(Progress(stage=DRAWING, done=before + len(by_number), total=total, seconds_left=left))

        draw_frames(frames, request.numbers, request.look, engine, size, store, seen, jobs=request.jobs)
        kept.append([by_number[number] for number in request.numbers])
    return kept, drawn


def _encode(request: PreviewRequest, sides: list[Side], kept: list[list[Path]]) -> tuple[int, int]:
    """Write the clip of finished frames; returns its size in pixels."""
    with tempfile.TemporaryDirectory(prefix="duskrail-") as folder:
        shown, size_px = _shown(sides, request.numbers, kept, Path(folder), burn_in=request.burn_in)
        if request.title:
            card = Path(folder) / "title.png"
            pictures.write_picture(showing.title_card(request.plan, sides[0][0], size_px), card)
            shown = [card] * showing.title_frames(float(request.fps)) + shown
        try:
            movie.encode(shown, request.output, request.fps, size_px)
        except movie.MovieError as problem:
            raise PreviewError(problem.args[0]) from None
    return size_px


def _shown(
    sides: list[Side],
    numbers: tuple[int, ...],
    kept: list[list[Path]],
    folder: Path,
    *,
    burn_in: bool,
) -> tuple[list[Path], tuple[int, int]]:
    """The pictures of the clip: finished frames as they are, or made of them in a folder; and their size."""
    if len(sides) == 1 and not burn_in:
        return kept[0], sides[0][1]
    shown = []
    for index, number in enumerate(numbers):
        parts = []
        for (frames, _), paths in zip(sides, kept, strict=True):
            if burn_in:
                parts.append(showing.burnt_in(frames, number, paths[index]))
            else:
                parts.append(pictures.read_picture(paths[index]))
            if len(sides) > 1 and not burn_in:
                parts[-1] = pictures.captioned(parts[-1], frames.plan.title)
        whole = parts[0] if len(parts) == 1 else pictures.beside(parts[0], parts[1], showing.GAP_PX)
        shown.append(folder / f"{number:06d}.png")
        pictures.write_picture(whole, shown[-1])
    widths = [size[0] for _, size in sides]
    return shown, (sum(widths) + showing.GAP_PX * (len(sides) - 1), sides[0][1][1])


def _joined(
    frames: FrameTable, request: PreviewRequest, size: tuple[int, int], store: framecache.FrameCache
) -> list[Path]:
    """Frames that are in the cache, whichever engine drew them. Raises FramesMissingError."""
    look, numbers = request.look, request.numbers
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
        raise FramesMissingError(
            "{count} of {all} frames are not drawn yet in this look and size: {spans}",
            missing[0],
            missing[-1],
            count=len(missing),
            all=len(numbers),
            spans=_spans_text(missing, numbers),
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
    spans = ", ".join(words[:MOST_SPANS])
    return phrase("{spans} and {more} more stretches", spans=spans, more=more) if more > 0 else spans


def render_still(
    plan: Plan,
    number: int,
    output: Path,
    *,
    look: str = looks.LIT,
    size: tuple[int, int] | None = None,
    burn_in: bool = False,
    cache: Path | None = None,
    progress: Listener = nobody,
) -> tuple[int, int]:
    """Draw one frame, counted from 1, at the clip's full size or another, as PNG; returns the size.

    It is drawn more finely than the frames of a clip.

    Raises as render_preview.
    """
    frame_numbers(plan, (number, number), 1)
    size = picture_size(plan.clip, size or full_size(plan.clip), look)
    _check_output(output)
    frames = compute_frames(plan)
    with _stoppable(), framecache.open_cache(cache) as store:
        (path,) = _drawn_paths(frames, (number,), look, size, store, progress, still=True)
        if burn_in:
            pictures.write_picture(showing.burnt_in(frames, number, path), output)
        else:
            write_atomically(output, pictures.packed(path))
    return size


def render_contact(
    plan: Plan,
    shown: Sequence[tuple[int, str]],
    output: Path,
    *,
    look: str = looks.LIT,
    size: tuple[int, int] | None = None,
    between: bool = True,
    cache: Path | None = None,
    progress: Listener = nobody,
) -> int:
    """Write a contact sheet as PNG: frames given with their labels, and others between; returns how many.

    size is that of each picture; with between off, only the frames given are shown. Raises as
    render_preview.
    """
    size = picture_size(plan.clip, size or size_in_shape(plan.clip, CONTACT_WIDTH_PX), look)
    _check_output(output)
    frames = compute_frames(plan)
    wanted = showing.contact_frames(shown, len(frames)) if between else sorted(shown)
    numbers = tuple(number for number, _ in wanted)
    with _stoppable(), framecache.open_cache(cache) as store:
        paths = _drawn_paths(frames, numbers, look, size, store, progress)
        pictures.write_picture(showing.contact_sheet(frames, wanted, paths), output)
    return len(wanted)


def render_frames(
    plan: Plan,
    numbers: tuple[int, ...],
    *,
    look: str = looks.FAST,
    size: tuple[int, int],
    cache: Path | None = None,
    progress: Listener = nobody,
) -> list[pictures.Picture]:
    """Frames, counted from 1, as pixels (lines, columns, 3), 0 to 255. Raises as render_preview."""
    size = picture_size(plan.clip, size, look)
    with _stoppable(), framecache.open_cache(cache) as store:
        paths = _drawn_paths(compute_frames(plan), numbers, look, size, store, progress)
        return [pictures.read_picture(path) for path in paths]


def _drawn_paths(
    frames: FrameTable,
    numbers: tuple[int, ...],
    look: str,
    size: tuple[int, int],
    store: framecache.FrameCache,
    progress: Listener,
    *,
    still: bool = False,
) -> list[Path]:
    engine, total = _choose_engine(look, None), len(numbers)
    progress(Progress(stage=DRAWING, done=0, total=total, engine=engine.said))
    paths: dict[int, Path] = {}

    def seen(picture: Picture) -> None:
        paths[picture.number] = picture.path
        left = picture.pace.seconds_for(picture.to_draw)
        progress(Progress(stage=DRAWING, done=len(paths), total=total, seconds_left=left))

    draw_frames(frames, numbers, look, engine, size, store, seen, still=still)
    return [paths[number] for number in numbers]


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
    looks.Look(scene, frames, _choose_engine(looks.LIT, None), thrown_away=False)
    try:
        with whole_file(output, may_be_empty=False) as working, silenced():
            bpy.ops.wm.save_as_mainfile(filepath=str(working.absolute()), copy=True, compress=True)
    except RuntimeError as problem:
        why = phrase("can't be written ({why})", why=" ".join(str(problem).split()))
        raise PreviewError("{output}: {why}", output=output, why=why) from None


def _check_output(output: Path) -> None:
    try:
        check_writable(output)
    except OSError as problem:
        raise PreviewError("{output}: {why}", output=output, why=problem.strerror) from None


def _choose_engine(look: str, wanted: str | None) -> engines.Engine:
    try:
        return engines.choose_engine(look, wanted)
    except engines.EngineError as problem:
        raise PreviewError(problem.args[0]) from None


# ---------------------------------------------------------------- frame by frame


@frozen(kw_only=True)
class Picture:
    """A finished frame: its number, counted from 1, its file, whether it was kept from before; how many are
    still to be drawn, and how long those drawn have taken.
    """

    number: int
    path: Path
    kept: bool
    to_draw: int
    pace: Pace


def draw_frames(
    frames: FrameTable,
    numbers: tuple[int, ...],
    look: str,
    engine: engines.Engine,
    size: tuple[int, int],
    store: framecache.FrameCache,
    seen: Callable[[Picture], None],
    *,
    still: bool = False,
    jobs: int | None = 1,
) -> None:
    """Draw frames into the cache, or find them there, and call seen with each: those found first, then those
    drawn, from the light's event outwards, so that a clip that is stopped is useful too. A scene is made only
    where one has to be drawn; jobs processes draw, for None as many as help.
    """
    key = frame_keys(frames, look, engine, size, still=still)
    keys = {number: key(number) for number in numbers}
    missing = [n for n in drawing_order(frames, numbers) if not store.has(keys[n])]
    pace, waiting = Pace(), set(missing)
    if missing and not still:
        store.note_variant(
            framecache.CacheVariant(look=look, engine=engine.name, width_px=size[0], height_px=size[1])
        )

    def show(number: int, *, kept: bool) -> None:
        path = store.path(keys[number])
        seen(Picture(number=number, path=path, kept=kept, to_draw=len(waiting), pace=pace))

    def finished(number: int) -> None:
        waiting.discard(number)
        pace.step()
        show(number, kept=False)

    def draw(some: Sequence[int]) -> None:
        _draw(frames, some, engine, size, store, key, finished, still=still)

    for number in numbers:
        if number not in waiting:
            show(number, kept=True)
    count = _jobs(look, engine, len(missing)) if jobs is None else jobs
    if count > 1 and len(missing) > 1 and not still:
        first, *others = missing
        with many.drawing(_tasks(frames, look, engine, size, store, many.shares(others, count))) as children:
            draw([first])  # seen while the others still start
            for number in many.finished(children, {n: store.path(keys[n]) for n in others}):
                if store.has(keys[number]):
                    finished(number)
    draw([number for number in missing if number in waiting])


def drawing_order(frames: FrameTable, numbers: Sequence[int]) -> list[int]:
    """Frames nearest to the event in whose light the shoot lies first; without one, as they follow."""
    plan = frames.plan
    if plan.shoot.anchor is not None:
        middle = plan.shoot.anchor.at * (len(frames) - 1) + 1.0
    else:
        events = events_in_shoot(frames)
        middle = float(events[len(events) // 2][2]) if events else 1.0
    return sorted(numbers, key=lambda number: (abs(number - middle), number))


def _jobs(look: str, engine: engines.Engine, count: int) -> int:
    on_card = look == looks.FAST and engine.name == compat.WORKBENCH and count >= 2 * many.FRAMES_EACH
    return many.usual_jobs(fast_on_card=on_card and engines.this_machine().graphics_card, frames=count)


def _tasks(
    frames: FrameTable,
    look: str,
    engine: engines.Engine,
    size: tuple[int, int],
    store: framecache.FrameCache,
    shares: Sequence[list[int]],
) -> list[many.Task]:
    """What each of several processes is to draw."""
    plan, cache = plan_to_text(frames.plan), str(store.new)
    return [
        many.Task(plan=plan, look=look, engine=engine.name, size=size, cache=cache, numbers=numbers)
        for numbers in shares
    ]


def draw_task(task: many.Task) -> None:
    """Draw the frames that another process asks for (jobs.py), into the cache it names."""
    frames = compute_frames(plan_from_text(task["plan"]))
    engine = engines.Engine(name=task["engine"], words=task["engine"])
    size = (task["size"][0], task["size"][1])  # JSON knows no tuples
    store = framecache.FrameCache(Path(task["cache"]))
    key = frame_keys(frames, task["look"], engine, size)
    left = [number for number in task["numbers"] if not store.has(key(number))]
    _draw(frames, left, engine, size, store, key, lambda _number: None, still=False)


def _draw(
    frames: FrameTable,
    numbers: Sequence[int],
    engine: engines.Engine,
    size: tuple[int, int],
    store: framecache.FrameCache,
    key: Callable[[int], str],
    done: sequence.Done,
    *,
    still: bool,
) -> None:
    """Draw frames into the cache, in a scene of their own; done is called with each that is there."""
    if not numbers:
        return

    def keep(number: int, picture: bytes) -> None:
        store.working_path(key(number)).write_bytes(picture)
        store.finish(key(number))

    scene = bpy.data.scenes.new("Draft clip")
    prepared: looks.Look | None = None
    try:
        with sequence.packing() as packer:
            scenes.build_scene(frames.plan, frames, scene, light=looks.takes_light(engine))
            scene.render.resolution_x, scene.render.resolution_y = size
            blocking.keep_thin_blocks(scene, frames.plan, size[0])
            prepared = looks.Look(scene, frames, engine, still=still)
            prepared.size_stars()
            if prepared.fast is not None:
                prepared.fast.stand_still()
            with compat.window_on(scene) if prepared.goes_by_keys else contextlib.nullcontext():
                sequence.draw(scene, prepared, numbers, packer, keep, done)
    except sequence.NotDrawnError as problem:
        raise PreviewError(problem.args[0]) from None
    finally:
        scenes.clear_scene(scene)
        bpy.data.scenes.remove(scene)
        if prepared is not None:
            prepared.clear()


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
        fastview.grid_of(frames) if look == looks.FAST else None,
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
    kept: dict[int, bytes] = {}
    for variant in variants:
        if len(kept) == len(set(numbers)):
            break
        if variant.look not in looks.LOOKS:
            continue
        engine = engines.Engine(name=variant.engine, words=variant.engine)
        key = frame_keys(frames, variant.look, engine, (variant.width_px, variant.height_px))
        for number in numbers:
            if number not in kept and 1 <= number <= len(frames) and store.has(key(number)):
                with contextlib.suppress(OSError):
                    kept[number] = pictures.packed(store.path(key(number)))
    return {number: kept[number] for number in sorted(kept)}


@contextlib.contextmanager
def _stoppable() -> Iterator[None]:
    """Treat SIGTERM like Ctrl+C, so that temporary files are removed; and lose neither in Blender."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return

    def stop(_number: int, _frame: FrameType | None) -> Any:
        if not sequence.stop():
            raise KeyboardInterrupt

    wanted = (signal.SIGTERM, signal.SIGINT)  # one that isn't Python's couldn't be put back
    before = {one: signal.signal(one, stop) for one in wanted if signal.getsignal(one) is not None}
    try:
        yield
    finally:
        for one, handler in before.items():
            signal.signal(one, handler)
