"""A draft clip beside the barest loop in Blender: the same scene, rendered as one animation into files.

python3 tools/preview_benchmark.py [--look fast,lit,eevee] [--jobs 1,4] [--frames N] [--size WxH]
python3 tools/preview_benchmark.py --pack FILE.pyz

The second writes it as one file, with its scene and all it needs but numpy and Blender's module, to be run on
another machine.
"""

from __future__ import annotations

import argparse
import contextlib
import os
import sys
import tempfile
import threading
import time
import zipfile
from collections import defaultdict
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from planner_core.plan.model import Plan

HOME = Path(__file__).resolve().parent.parent
if __package__ in (None, ""):  # started as a file
    sys.path.insert(0, str(HOME))
    __package__ = Path(__file__).resolve().parent.name

PLAN = "example_scenes/harbour_light.plan.json"
SIZE_PX, FRAMES = (480, 270), {"fast": 240, "lit": 60, "eevee": 60}
AIMS = {"fast": 1.05, "lit": 1.02}
PACKAGES = (
    *("attr", "attrs", "cattr", "cattrs", "astral", "tzdata", "platformdirs"),
    *("typing_extensions", "exceptiongroup"),
)
START = """import os, runpy, sys, tempfile, zipfile
folder = tempfile.mkdtemp(prefix="duskrail-benchmark-")
zipfile.ZipFile(sys.argv[0]).extractall(folder)
sys.path.insert(0, folder)
os.environ["DUSKRAIL_CACHE"] = os.path.join(folder, "cache")
runpy.run_path(os.path.join(folder, "tools", "preview_benchmark.py"), run_name="__main__")
"""


def measured(
    plan: Plan, names: Sequence[str], jobs: Sequence[int], size: tuple[int, int], count: int | None
) -> Iterator[str]:
    """Lines about each look: whole, beside the barest loop, and where a frame's time goes."""
    for name in names:
        drawn = min(count or FRAMES[name], plan.shoot.frames)
        every = plan.shoot.frames // drawn
        numbers = range(1, plan.shoot.frames + 1, every)
        spent: dict[str, float] = defaultdict(float)
        warming_s, _ = _preview_s(plan, name, plan.shoot.frames, size, 1, defaultdict(float))
        # one, the other, the other, one: a machine that slows down meanwhile slows both
        first_s, engine = _preview_s(plan, name, every, size, 1, spent)
        bare_s = (_barest_s(plan, name, numbers, size) + _barest_s(plan, name, numbers, size)) / 2.0
        again_s, _ = _preview_s(plan, name, every, size, 1, spent)
        whole_s, frames = (first_s + again_s) / 2.0, len(numbers)
        aim = f" (aim {AIMS[name]:.2f})" if name in AIMS else ""
        yield (
            f"{name}, {engine}: {frames} frames of {size[0]}×{size[1]} in {whole_s:.1f} s, barest loop "
            f"{bare_s:.1f} s, ratio {whole_s / bare_s:.2f}{aim}"
        )
        without = whole_s - spent["encode"] / 2.0
        yield f"  but for the clip, which the loop leaves: {without:.1f} s, ratio {without / bare_s:.2f}"
        parts = ", ".join(f"{part} {spent[part] / 2.0 / frames * 1e3:.1f}" for part in PARTS)
        yield (
            f"  ms a frame: {parts}; first frame after {spent['first'] / 2.0:.2f} s, "
            f"in a fresh process {warming_s:.2f} s"
        )
        for many in jobs:
            if many > 1:
                many_s, _ = _preview_s(plan, name, every, size, many, defaultdict(float))
                yield f"  --jobs {many}: {many_s:.1f} s, {whole_s / many_s:.2f} times as quick as one process"


PARTS = ("set-up", "colours", "draw", "write", "pack beside it", "encode")


def _look_of(name: str) -> tuple[str, str | None]:
    from blender_addon import compat

    return ("lit", compat.EEVEE) if name == "eevee" else (name, compat.CYCLES if name == "lit" else None)


def _preview_s(
    plan: Plan, name: str, every: int, size: tuple[int, int], jobs: int, spent: dict[str, float]
) -> tuple[float, str]:
    """Seconds for a clip with nothing drawn before, adding what its parts took; and the engine."""
    from blender_addon.render import looks, movie, preview, sequence
    from blender_addon.render.progress import Progress
    from blender_addon.render.request import PreviewRequest

    look, engine = _look_of(name)
    started = time.perf_counter()
    first: list[float] = []

    def said(now: Progress) -> None:
        if now.done and not first:
            first.append(time.perf_counter() - started)

    with contextlib.ExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory()))
        for owner, function, part in (
            (preview.scenes, "build_scene", "set-up"),
            (looks.Look, "__init__", "set-up"),
            (looks.Look, "prepare", "colours"),
            (sequence._Packing, "_pack", "pack beside it"),
            (sequence, "_render", "draw"),
            (movie, "encode", "encode"),
        ):
            stack.enter_context(_timed(owner, function, part, spent))
        request = PreviewRequest(
            plan=plan,
            output=folder / "clip.mp4",
            look=look,
            every=every,
            size=size,
            cache=folder / "cache",
            engine=engine,
            jobs=jobs,
        )
        made = preview.render_preview(request, said)
    whole_s = time.perf_counter() - started
    spent["first"] += first[0]
    if jobs == 1:  # what of the drawing is Blender's writing, as often as frames were drawn
        write_s = made.drawn * _write_s(size)
        spent["write"] += write_s
        spent["draw"] -= write_s
    return whole_s, made.engine


def _write_s(size: tuple[int, int], times: int = 5) -> float:
    """Seconds for writing a picture of a size in the form that frames are written in."""
    import bpy

    from blender_addon.render import sequence

    scene = bpy.data.scenes.new("Writing")
    picture = bpy.data.images.new("Writing", *size, float_buffer=True)
    sequence._choose_format(scene.render.image_settings)
    with tempfile.TemporaryDirectory() as folder:
        start = time.perf_counter()
        for _ in range(times):
            picture.save_render(str(Path(folder) / "one"), scene=scene)
        spent = (time.perf_counter() - start) / times
    bpy.data.images.remove(picture)
    bpy.data.scenes.remove(scene)
    return spent


@contextlib.contextmanager
def _timed(owner: Any, name: str, part: str, spent: dict[str, float]) -> Iterator[None]:
    """Count the seconds of a function; of one within another only once, for the inner."""
    function = getattr(owner, name)

    def timed(*arguments: Any, **named: Any) -> Any:
        start, inner = time.perf_counter(), sum(spent[one] for one in INNER if one != part)
        try:
            return function(*arguments, **named)
        finally:
            took = time.perf_counter() - start
            if threading.current_thread() is threading.main_thread():
                took -= sum(spent[one] for one in INNER if one != part) - inner
            spent[part] += took

    setattr(owner, name, timed)
    try:
        yield
    finally:
        setattr(owner, name, function)


INNER = ("set-up", "colours")


def _barest_s(plan: Plan, name: str, numbers: range, size: tuple[int, int]) -> float:
    """Seconds for rendering the same frames of the same scene as one animation into files, no more.

    The camera goes by its keys. Colours of the fast look stay those of one frame; shadows are drawn on the
    frames that have them.
    """
    import bpy

    from blender_addon import compat
    from blender_addon.console import silenced
    from blender_addon.render import engines, looks
    from blender_addon.scene import build as scenes
    from blender_addon.scene import parts
    from planner_core import compute_frames

    look, engine = _look_of(name)
    frames = compute_frames(plan)
    scene: Any = bpy.data.scenes.new("Barest")
    chosen = engines.choose_engine(look, engine)
    scenes.build_scene(plan, frames, scene, light=looks.takes_light(chosen))
    scene.render.resolution_x, scene.render.resolution_y = size
    shown = looks.Look(scene, frames, chosen)
    shown.show(numbers[0])
    scene.camera = parts.object_of(scene, "camera")
    scene.frame_start, scene.frame_end, scene.frame_step = numbers.start, numbers[-1], numbers.step
    scene.render.use_compositing = scene.render.use_sequencer = False
    compat.choose_image(scene.render.image_settings, "BMP")
    has_shadows = frames.sky_light.sun.max(axis=1) > 0.0

    def toggle(now: Any, _graph: Any = None) -> None:
        now.display.shading.show_shadows = bool(has_shadows[now.frame_current - 1])

    handlers: list[Any] = bpy.app.handlers.frame_change_pre
    with tempfile.TemporaryDirectory() as folder:
        scene.render.filepath = str(Path(folder) / "####")
        handlers.append(toggle)
        start = time.perf_counter()
        with silenced(), compat.window_on(scene):
            bpy.ops.render.render(animation=True, scene=scene.name)
        spent = time.perf_counter() - start
        handlers.remove(toggle)
    scenes.clear_scene(scene)
    bpy.data.scenes.remove(scene)
    return spent


# ---------------------------------------------------------------- one file for another machine


def pack(output: Path) -> None:
    """Write the benchmark with its scene, our code and the pure packages that it needs as one file."""
    import importlib.util

    with zipfile.ZipFile(output, "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr("__main__.py", START)
        packed.write(HOME / PLAN, PLAN)
        for name in ("tools/__init__.py", "tools/preview_benchmark.py"):
            if (HOME / name).is_file():
                packed.write(HOME / name, name)
        for name in ("planner_core", "blender_addon", *PACKAGES):
            spec = importlib.util.find_spec(name)
            if spec is None or spec.origin is None:
                continue
            home = Path(spec.origin)
            files = sorted(home.parent.rglob("*")) if home.name == "__init__.py" else [home]
            base = home.parent.parent if home.name == "__init__.py" else home.parent
            for path in files:
                if path.is_file() and "__pycache__" not in path.parts:
                    packed.write(path, str(path.relative_to(base)))


def main(words: Sequence[str] | None = None) -> int:
    """Measure, or pack."""
    asked = argparse.ArgumentParser(prog="preview_benchmark", description=(__doc__ or "").splitlines()[0])
    asked.add_argument("--look", default="fast,lit", help="of fast, lit (by Cycles) and eevee, with commas")
    asked.add_argument("--jobs", default="1,4", help="numbers of processes, with commas")
    asked.add_argument("--frames", type=int, help="how many frames; by default so many as suit the look")
    asked.add_argument("--size", default="x".join(map(str, SIZE_PX)), metavar="WxH")
    asked.add_argument("--plan", default=str(HOME / PLAN), metavar="PLAN")
    asked.add_argument("--pack", metavar="FILE.pyz", help="write this as one file for another machine")
    chosen = asked.parse_args(words)
    if chosen.pack:
        pack(Path(chosen.pack))
        return 0
    from planner_core import load_plan

    width, height = (int(side) for side in chosen.size.split("x"))
    jobs = [int(number) for number in chosen.jobs.split(",")]
    plan = load_plan(chosen.plan)
    for line in measured(plan, chosen.look.split(","), jobs, (width, height), chosen.frames):
        print(line, flush=True)
    return 0


if __name__ == "__main__":
    code = main()
    sys.stdout.flush()
    os._exit(code)  # Blender's module may wait for itself on the way out
