"""Draft clips: the right frames, at the right pace, whole or not at all, and nothing drawn twice."""

from __future__ import annotations

import ast
import os
import signal
import subprocess
import sys
import time
import zlib
from fractions import Fraction
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import attrs
import av
import bpy
import numpy as np
import pytest
from numpy.typing import NDArray

from blender_addon import console
from blender_addon.render import cache as framecache
from blender_addon.render import engines, movie, preview, sequence
from blender_addon.render.preview import Preview
from blender_addon.render.progress import Listener, Progress, nobody
from blender_addon.render.request import PreviewError, PreviewRequest
from planner_core import Plan
from planner_core.plan.file import save_plan
from tests.present import present
from tests.two_towers import plan

SMALL = (160, 90)


@pytest.fixture(scope="module", autouse=True)
def cache(tmp_path_factory: pytest.TempPathFactory) -> Any:
    """A cache of our own, so that the user's stays as it is."""
    folder = tmp_path_factory.mktemp("cache")
    before = os.environ.get(framecache.CACHE_VARIABLE)
    os.environ[framecache.CACHE_VARIABLE] = str(folder)
    yield folder
    os.environ.pop(framecache.CACHE_VARIABLE)
    if before is not None:
        os.environ[framecache.CACHE_VARIABLE] = before


def evening(frames: int = 12, **changes: Any) -> Plan:
    """The evening in few frames, as many seconds long."""
    return plan(shoot__frames=frames, shoot__interval_s=15.0 * 359 / (frames - 1), **changes)


def draw(one: Plan, output: Path, *, progress: Listener = nobody, **wish: Any) -> Preview:
    """A clip of a plan, as wished."""
    return preview.render_preview(PreviewRequest(plan=one, output=output, **wish), progress)


def pictures(path: Path) -> NDArray[np.uint8]:
    """All frames of a clip, shape (frames, height, width, 3)."""
    with av.open(str(path)) as clip:
        return np.stack([frame.to_ndarray(format="rgb24") for frame in clip.decode(video=0)])


@pytest.fixture(scope="module")
def clip(tmp_path_factory: pytest.TempPathFactory) -> Preview:
    """A fast clip of the evening."""
    return draw(evening(), tmp_path_factory.mktemp("clip") / "evening.mp4", size=SMALL)


def test_the_clip_has_the_plans_frames_pace_and_size(clip: Preview) -> None:
    with av.open(str(clip.output)) as film:
        stream = film.streams.video[0]
        assert stream.frames == 12
        assert float(stream.average_rate) == pytest.approx(24.0)  # type: ignore[arg-type]
        assert float(stream.duration * stream.time_base) == pytest.approx(0.5)  # type: ignore[operator]
        assert (stream.width, stream.height) == SMALL
    assert len(pictures(clip.output)) == 12


def test_the_clip_plays_anywhere(clip: Preview) -> None:
    # common practice, no source: H.264 with 4:2:0 colour, and the index before the pictures
    with av.open(str(clip.output)) as film:
        context = film.streams.video[0].codec_context
        assert (context.name, context.pix_fmt) == ("h264", "yuv420p")
        assert not film.streams.audio
    content = clip.output.read_bytes()
    assert 0 < content.find(b"moov") < content.find(b"mdat")


def test_the_clip_shows_the_evening_getting_dark(clip: Preview) -> None:
    brightness = pictures(clip.output).mean(axis=(1, 2, 3))
    assert brightness[0] > 2.0 * brightness[-1]
    assert brightness[-1] < brightness[6]


def test_a_second_preview_draws_nothing_and_makes_the_same_clip(clip: Preview, tmp_path: Path) -> None:
    again = draw(evening(), tmp_path / "again.mp4", size=SMALL)
    assert (again.drawn, again.kept) == (0, 12)
    assert np.array_equal(pictures(again.output), pictures(clip.output))


def test_the_same_plan_draws_the_same_frames_twice(clip: Preview, tmp_path: Path) -> None:
    again = draw(evening(), tmp_path / "again.mp4", size=SMALL, cache=tmp_path / "fresh")
    assert again.drawn == 12
    ours = sorted(path.name for path in (tmp_path / "fresh").glob("frames/*/*.png"))
    kept = {path.name: path for path in framecache.cache_folder().glob("frames/*/*.png")}
    for name in ours:
        fresh = framecache.FrameCache(tmp_path / "fresh").path(name.removesuffix(".png"))
        assert fresh.read_bytes() == kept[name].read_bytes()


@pytest.mark.parametrize(("look", "engine"), [("lit", "CYCLES"), ("fast", "BLENDER_WORKBENCH")])
def test_a_change_of_the_last_pose_keeps_the_frames_before_it_matters(
    look: str, engine: str, tmp_path: Path
) -> None:
    # poses at 0, half and 1: with the third moved, the first stretch stays as it is but for the bend at the
    # middle
    poses = [
        {"at": 0.0, "slide_m": 0.1, "pan_deg": 262.0, "tilt_deg": 3.0},
        {"at": 0.4, "slide_m": 0.1, "pan_deg": 262.0, "tilt_deg": 3.0},
        {"at": 1.0, "slide_m": 1.4, "pan_deg": 270.0, "tilt_deg": 5.0},
    ]
    moved = [*poses[:2], {**poses[2], "pan_deg": 275.0}]
    first = evening(move__poses=poses)
    wish: dict[str, Any] = {"size": SMALL, "look": look, "frame_range": (1, 6), "engine": engine}
    draw(first, tmp_path / "first.mp4", **wish)
    again = draw(evening(move__poses=moved), tmp_path / "again.mp4", **wish)
    assert again.kept >= 4
    assert again.drawn >= 1
    # and what is kept is what would be drawn
    fresh = draw(evening(move__poses=moved), tmp_path / "fresh.mp4", cache=tmp_path / "new", **wish)
    assert fresh.drawn == 6
    apart = pictures(fresh.output).astype(int) - pictures(again.output)
    assert np.abs(apart).mean() < 0.05


def test_frames_drawn_by_other_code_are_not_kept(project_root: Path, tmp_path: Path) -> None:
    files = {path.relative_to(project_root).as_posix() for path in framecache.drawing_files()}
    drawing = {"scene/lighting", "scene/starfield", "scene/rig", "render/fastlook", "compat"}
    shaping = {
        "draft/sky",
        "draft/stars",
        "place/blocking",
        "picture/projection",
        "time/ephemeris",
        "light/exposure",
    }
    assert files >= {f"blender_addon/{name}.py" for name in drawing}
    assert files >= {f"planner_core/{name}.py" for name in shaping}
    assert any(name.startswith("planner_core/draft/") and name.endswith(".csv") for name in files)
    # what judges, prints and reads back a plan draws none of it
    beside = {"planner_core/review/", "planner_core/output/", "blender_addon/ui/", "blender_addon/read/"}
    assert not [name for name in files if name.startswith(tuple(beside))]


def test_whatever_a_drawing_module_imports_is_found(tmp_path: Path) -> None:
    sources = {
        "layer/scene/build.py": "from . import rig\nfrom ..compat import x\nimport core.light.sun\n",
        "layer/scene/rig.py": "def late():\n    from core.draft import sky, stars as others\n",
        "layer/scene/__init__.py": "",
        "layer/compat.py": "from core import Plan\n",
        "layer/ui.py": "",
        "core/__init__.py": "",
        "core/light/sun.py": "",
        "core/draft/sky.py": "",
        "core/draft/stars.py": "from core.plan.model import Plan\n",
        "core/plan/model.py": "",
        "core/plan/file.py": "",
    }
    for name, source in sources.items():
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).write_text(source, encoding="utf-8")
    layer, core = tmp_path / "layer", tmp_path / "core"
    found = framecache._imported([layer / "scene/build.py"], layer, core)
    names = {path.relative_to(tmp_path).as_posix() for path in found}
    assert names == set(sources) - {"layer/ui.py", "core/plan/file.py", "layer/scene/__init__.py"}


def test_no_import_of_a_drawing_module_is_overlooked() -> None:
    for path in framecache.drawing_files():
        if path.suffix == ".py":
            source = path.read_text(encoding="utf-8")
            whole = [n for n in ast.walk(ast.parse(source)) if isinstance(n, (ast.Import, ast.ImportFrom))]
            read = list(framecache._imports(source))
            assert {*map(ast.unparse, read)} >= {*map(ast.unparse, whole)}, path


# A fresh process: memory laid out at random, then the keys of an evening.
KEYS_OF_A_PROCESS = """
import random, sys
sys.path[:0] = sys.argv[4:]
luck = random.Random(int(sys.argv[1]))
held = [bytearray(luck.randrange(1, 100_000)) for _ in range(luck.randrange(400))]
import numpy as np
held += [np.empty(luck.randrange(1, 50_000), np.uint8) for _ in range(luck.randrange(400))]
del held[:: luck.randrange(2, 5)]
from blender_addon.render import engines, preview
from planner_core import compute_frames, load_plan
frames = compute_frames(load_plan(sys.argv[2]))
with open(sys.argv[3], "w") as names:  # Blender may have a line of its own to print, with the time in it
    for look, name in (("fast", "BLENDER_WORKBENCH"), ("lit", "CYCLES")):
        key = preview.frame_keys(frames, look, engines.Engine(name=name, words=name), (160, 90))
        print(*map(key, range(1, len(frames) + 1)), sep="\\n", file=names)
import os
os._exit(0)
"""
FRESH_PROCESSES = int(os.environ.get("DUSKRAIL_FRESH_PROCESSES", "12"))


@pytest.mark.once
def test_every_process_gives_a_plans_frames_the_same_names(tmp_path: Path, project_root: Path) -> None:
    saved, names = tmp_path / "one.plan.json", tmp_path / "names.txt"
    save_plan(evening(frames=48), saved)
    said = set()
    for seed in range(FRESH_PROCESSES):
        surroundings = {**os.environ, "PYTHONHASHSEED": str(seed), "DUSKRAIL_PADDING": "x" * (97 * seed)}
        command = [sys.executable, "-I", "-c", KEYS_OF_A_PROCESS, str(seed), str(saved), str(names)]
        subprocess.run([*command, str(project_root)], env=surroundings, capture_output=True, check=True)
        said.add(names.read_text())
        names.unlink()
    assert len(said) == 1
    assert len(set(said.pop().split())) == 2 * 48


@pytest.mark.parametrize("drive", ["shoot-move-shoot", "continuous"])
def test_the_last_bits_of_computed_numbers_name_no_frame(drive: str) -> None:
    from planner_core import compute_frames

    frames, luck = compute_frames(evening(frames=120, move__drive=drive)), np.random.default_rng(7)

    def shaken(values: NDArray[np.float64]) -> NDArray[np.float64]:
        return values * (1.0 + 1e-13 * luck.uniform(-1.0, 1.0, values.shape))

    for _ in range(20):
        assert frames.ramp is not None
        ramp = attrs.evolve(frames.ramp, shutter_s=shaken(frames.ramp.shutter_s), iso=shaken(frames.ramp.iso))
        moved: dict[str, Any] = {
            field.name: shaken(value)
            for field in attrs.fields(type(frames))
            if isinstance(value := getattr(frames, field.name), np.ndarray)
        }
        for look, name in (("fast", "BLENDER_WORKBENCH"), ("lit", "CYCLES")):
            engine = engines.Engine(name=name, words=name)
            ours = preview.frame_keys(frames, look, engine, SMALL)
            theirs = preview.frame_keys(attrs.evolve(frames, ramp=ramp, **moved), look, engine, SMALL)
            assert [*map(ours, range(1, 121))] == [*map(theirs, range(1, 121))]


def test_a_change_of_light_or_place_draws_every_frame_anew(clip: Preview) -> None:
    def keys(one: Plan, look: str = "fast", size: tuple[int, int] = SMALL) -> list[str]:
        from planner_core import compute_frames

        engine = engines.choose_engine("fast", "BLENDER_WORKBENCH")
        key = preview.frame_keys(compute_frames(one), look, engine, size)
        return [key(number) for number in range(1, 13)]

    ours = keys(evening())
    assert keys(evening()) == ours
    for other in (
        evening(exposure__f_number=8.0),
        evening(shoot__anchor__date="2027-03-15"),
        evening(camera__focal_length_mm=36.0),
        attrs.evolve(evening(), blocks=evening().blocks[1:]),
    ):
        assert not set(keys(other)) & set(ours)
    assert not set(keys(evening(), size=(320, 180))) & set(ours)
    assert keys(evening(title="Another name", reason="no other")) == ours


def test_every_third_frame_lasts_three_times_as_long(clip: Preview, tmp_path: Path) -> None:
    made = draw(evening(), tmp_path / "quick.mp4", size=SMALL, every=3)
    assert made.frames == (1, 4, 7, 10)
    assert made.drawn == 0
    with av.open(str(made.output)) as film:
        stream = film.streams.video[0]
        assert float(stream.average_rate) == pytest.approx(8.0)  # type: ignore[arg-type]
        assert float(stream.duration * stream.time_base) == pytest.approx(0.5)  # type: ignore[operator]


def test_frame_n_of_a_part_is_the_plans_frame_n(clip: Preview, tmp_path: Path) -> None:
    made = draw(evening(), tmp_path / "part.mp4", size=SMALL, frame_range=(5, 9))
    assert made.frames == (5, 6, 7, 8, 9)
    whole, part = pictures(clip.output).astype(int), pictures(made.output).astype(int)
    distance = np.abs(part[:, None] - whole[None]).mean(axis=(2, 3, 4))
    assert distance.argmin(axis=1).tolist() == [4, 5, 6, 7, 8]


@pytest.mark.parametrize("fps", [25.0, 24000 / 1001, 12.5])
def test_odd_paces_come_out_exactly(fps: float, clip: Preview, tmp_path: Path) -> None:
    made = draw(evening(clip__fps=fps), tmp_path / "pace.mp4", size=SMALL)
    with av.open(str(made.output)) as film:
        assert float(film.streams.video[0].average_rate) == pytest.approx(fps, rel=1e-5)  # type: ignore[arg-type]
    assert len(pictures(made.output)) == 12


@pytest.mark.parametrize(
    ("fps", "whole", "every"),
    [(23.976, 24, 1), (23.98, 24, 1), (29.97, 30, 1), (59.94, 60, 1), (23.976, 24, 3)],
)
def test_broadcast_paces_are_thousand_and_first_parts(
    fps: float, whole: int, every: int, clip: Preview, tmp_path: Path
) -> None:
    # SMPTE ST 12-1: the rates written as 23.976, 29.97 and 59.94 are 24, 30 and 60 times 1000/1001
    made = draw(evening(clip__fps=fps), tmp_path / "pace.mp4", size=SMALL, every=every)
    with av.open(str(made.output)) as film:
        assert film.streams.video[0].average_rate == Fraction(1000 * whole, 1001 * every)


def test_the_lit_look_is_drawn_by_cycles_without_a_graphics_card(tmp_path: Path) -> None:
    made = draw(evening(), tmp_path / "lit.mp4", look="lit", size=SMALL, every=6, engine="CYCLES")
    brightness = pictures(made.output).mean(axis=(1, 2, 3))
    assert len(brightness) == 2
    assert brightness[0] > 60.0


# ---------------------------------------------------------------- what can't be done is said before
# anything is drawn


@pytest.mark.parametrize(
    ("wish", "words"),
    [
        ({"size": (161, 90)}, "odd side"),
        ({"size": (640, 480)}, "640x360 has"),
        ({"size": (16, 9)}, "32 to 8192"),
        ({"look": "pretty"}, "fast, lit"),
        ({"frame_range": (5, 13)}, "1 to 12"),
        ({"frame_range": (0, 3)}, "1 to 12"),
        ({"every": 0}, "whole number"),
    ],
)
def test_a_wish_that_cannot_be_met_is_one_line_and_leaves_no_file(
    wish: dict[str, Any], words: str, tmp_path: Path
) -> None:
    with pytest.raises(PreviewError) as problem:
        draw(evening(), tmp_path / "clip.mp4", **{"size": SMALL, **wish})
    assert words in str(problem.value)
    assert "\n" not in str(problem.value)
    assert list(tmp_path.iterdir()) == []


def test_a_folder_that_is_not_there_is_said_before_anything_is_drawn(tmp_path: Path) -> None:
    with pytest.raises(PreviewError, match="does not exist"):
        draw(evening(), tmp_path / "no" / "clip.mp4", size=SMALL)
    with pytest.raises(PreviewError, match="is a folder"):
        draw(evening(), tmp_path, size=SMALL)


def test_no_engine_at_all_is_said_in_a_line(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    nothing = engines.Machine(opengl=False, graphics_card=False)
    monkeypatch.setattr(engines, "this_machine", lambda: nothing)
    monkeypatch.setattr(engines, "_has_cycles", lambda: False)
    with pytest.raises(PreviewError, match="libgl1"):
        draw(evening(), tmp_path / "clip.mp4", size=SMALL)


def test_without_opengl_fast_is_drawn_by_cycles(monkeypatch: pytest.MonkeyPatch) -> None:
    nothing = engines.Machine(opengl=False, graphics_card=False)
    monkeypatch.setattr(engines, "this_machine", lambda: nothing)
    assert engines.choose_engine("fast").name == "CYCLES"
    assert "no OpenGL" in engines.choose_engine("fast").said


def test_a_machine_whose_opengl_is_broken_is_found_out_without_a_crash(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # Blender aborts where there is no OpenGL at all: the probe must survive that
    monkeypatch.setenv(framecache.CACHE_VARIABLE, str(tmp_path))
    monkeypatch.setenv("__EGL_VENDOR_LIBRARY_FILENAMES", str(tmp_path / "none.json"))
    monkeypatch.setattr(engines, "PROBE", "import os\nos.abort()")
    assert engines.this_machine() == engines.Machine(opengl=False, graphics_card=False)


# ---------------------------------------------------------------- stopped on the way


def test_a_clip_in_place_stays_when_a_new_one_is_stopped(clip: Preview, tmp_path: Path) -> None:
    output = tmp_path / "clip.mp4"
    output.write_bytes(b"the clip from yesterday")
    said = 0

    def stop_soon(_progress: Progress) -> None:
        nonlocal said
        said += 1
        if said == 4:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        draw(evening(exposure__f_number=7.1), output, size=SMALL, progress=stop_soon)
    assert output.read_bytes() == b"the clip from yesterday"
    assert [path.name for path in tmp_path.iterdir()] == ["clip.mp4"]
    assert not bpy.data.scenes.get("Draft clip")
    resumed = draw(evening(exposure__f_number=7.1), output, size=SMALL)
    assert 2 <= resumed.kept <= 6  # it ended with the frames under way
    assert len(pictures(output)) == 12


def test_nothing_of_a_preview_stays_in_blender(clip: Preview, tmp_path: Path) -> None:
    bpy.ops.wm.read_factory_settings(use_empty=True)
    before = {
        kind: len(getattr(bpy.data, kind)) for kind in ("scenes", "objects", "meshes", "worlds", "actions")
    }
    scene = bpy.context.scene
    draw(evening(exposure__f_number=6.3), tmp_path / "clip.mp4", size=SMALL, every=6)
    assert bpy.context.scene == scene
    after = {kind: len(getattr(bpy.data, kind)) for kind in before}
    assert after == before


def test_the_process_ends_politely_when_it_is_told_to(tmp_path: Path, project_root: Path) -> None:
    save_plan(evening(frames=60, exposure__f_number=4.5), tmp_path / "one.plan.json")
    output = tmp_path / "clip.mp4"
    command = [sys.executable, str(project_root / "tools" / "duskrail.py"), "preview"]
    command += [str(tmp_path / "one.plan.json"), "-o", str(output), "--size", "160x90"]
    with subprocess.Popen(command, stderr=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as run:
        assert run.stderr is not None
        for line in run.stderr:
            if line.startswith("Frame 3"):
                run.send_signal(signal.SIGTERM)
                break
        rest = run.stderr.read()
    assert run.returncode == 130
    assert "Traceback" not in rest
    assert sorted(path.name for path in tmp_path.iterdir()) == ["one.plan.json"]


def test_progress_is_counted_over_all_that_is_drawn(tmp_path: Path) -> None:
    said: list[Progress] = []
    draw(evening(), tmp_path / "two.mp4", size=SMALL, every=4, beside=evening(), progress=said.append)
    drawing = [now for now in said if now.stage == "drawing"]
    assert [now.done for now in drawing] == [0, 1, 2, 3, 4, 5, 6]
    assert {now.total for now in said} == {6}
    assert drawing[0].engine
    assert said[-1] == Progress(stage="encoding", done=6, total=6, seconds_left=0.0)


# ---------------------------------------------------------------- the parts


def tiny_png(padding: int = 0) -> bytes:
    """The least that is a whole PNG, and a chunk of text to make it longer."""

    def chunk(kind: bytes, content: bytes) -> bytes:
        body = kind + content
        return len(content).to_bytes(4, "big") + body + zlib.crc32(body).to_bytes(4, "big")

    head = (1).to_bytes(4, "big") * 2 + bytes([8, 0, 0, 0, 0])
    parts = [chunk(b"IHDR", head), chunk(b"tEXt", bytes(padding)), chunk(b"IDAT", zlib.compress(b"\0\0"))]
    return b"\x89PNG\r\n\x1a\n" + b"".join(parts) + chunk(b"IEND", b"")


def test_half_written_frames_count_for_nothing(tmp_path: Path) -> None:
    store = framecache.FrameCache(tmp_path)
    key = framecache.key_of("a frame")
    store.working_path(key).write_bytes(tiny_png())
    assert not store.has(key)
    store.finish(key)
    assert store.has(key)


def test_a_frame_that_was_damaged_counts_for_nothing() -> None:
    whole = tiny_png(40)
    assert framecache.is_whole_png(whole)
    for length in range(len(whole)):
        assert not framecache.is_whole_png(whole[:length])
    for place in range(len(whole)):
        assert not framecache.is_whole_png(whole[:place] + bytes([whole[place] ^ 4]) + whole[place + 1 :])
    assert not framecache.is_whole_png(whole + b"more")


@pytest.mark.parametrize("damage", ["cut", "turned", "emptied", "no picture"])
def test_a_damaged_frame_is_drawn_anew_and_the_clip_is_the_same(
    damage: str, clip: Preview, tmp_path: Path
) -> None:
    wish: dict[str, Any] = {"size": SMALL, "cache": tmp_path / "cache", "frame_range": (1, 3)}
    first = pictures(draw(evening(), tmp_path / "first.mp4", **wish).output)
    spoilt = sorted((tmp_path / "cache").glob("frames/*/*.png"))[1]
    content = spoilt.read_bytes()
    middle = len(content) // 2
    spoilt.write_bytes(
        {
            "cut": content[:middle],
            "turned": content[:middle] + bytes([content[middle] ^ 1]) + content[middle + 1 :],
            "emptied": b"",
            "no picture": bytes(len(content)),
        }[damage]
    )
    with pytest.raises(PreviewError, match="1 of 3 frames are not drawn yet"):
        draw(evening(), tmp_path / "joined.mp4", join=True, **wish)
    chosen: tuple[dict[str, Any], ...] = ({"burn_in": True}, {})
    for options in chosen:
        again = draw(evening(), tmp_path / "again.mp4", **options, **wish)
        assert again.kept == (2 if options else 3)
    assert np.array_equal(pictures(again.output), first)
    assert spoilt.read_bytes() == content


def test_a_damaged_frame_is_no_picture_of_the_sheet_and_no_still(tmp_path: Path) -> None:
    from planner_core import compute_frames

    wish: dict[str, Any] = {"size": SMALL, "cache": tmp_path / "cache"}
    draw(evening(), tmp_path / "clip.mp4", frame_range=(3, 3), **wish)
    preview.render_still(evening(), 3, tmp_path / "still.png", look="fast", **wish)
    still = (tmp_path / "still.png").read_bytes()
    for spoilt in (tmp_path / "cache").glob("frames/*/*.png"):
        spoilt.write_bytes(spoilt.read_bytes()[:-100])
    assert preview.kept_pictures(compute_frames(evening()), [3], tmp_path / "cache") == {}
    preview.render_still(evening(), 3, tmp_path / "still.png", look="fast", **wish)
    assert (tmp_path / "still.png").read_bytes() == still


def test_the_same_frames_make_the_same_file(clip: Preview, tmp_path: Path) -> None:
    time.sleep(1.1)  # the hour of writing has whole seconds
    again = draw(evening(), tmp_path / "again.mp4", size=SMALL)
    assert again.output.read_bytes() == clip.output.read_bytes()


# ---------------------------------------------------------------- nothing that lies about is run


def test_the_probe_runs_nothing_from_the_current_folder(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv(framecache.CACHE_VARIABLE, str(tmp_path / "cache"))
    for name in ("bpy.py", "numpy.py", "gpu.py"):
        (tmp_path / name).write_text(f"open({str(tmp_path / 'ran')!r}, 'w').close()", encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("PYTHONPATH", str(tmp_path))
    engines.this_machine()
    assert not (tmp_path / "ran").exists()


def test_a_probe_that_could_not_start_says_nothing_for_tomorrow(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv(framecache.CACHE_VARIABLE, str(tmp_path))
    whole = engines.PROBE
    monkeypatch.setattr(engines, "PROBE", "import no_such_module")
    assert engines.this_machine() == engines.Machine(opengl=False, graphics_card=False)
    assert not (tmp_path / "machine.json").exists()
    monkeypatch.setattr(engines, "PROBE", whole)
    found = engines.this_machine()
    monkeypatch.setattr(engines, "PROBE", "import no_such_module")
    assert engines.this_machine() == found  # kept
    other = tmp_path / "python"
    other.symlink_to(sys.executable)
    monkeypatch.setattr(sys, "executable", str(other))
    assert engines.this_machine() == engines.Machine(opengl=False, graphics_card=False)  # asked anew


def test_the_cache_forgets_the_frames_used_least_lately(tmp_path: Path) -> None:
    store = framecache.FrameCache(tmp_path)
    for number in range(5):
        store.working_path(framecache.key_of(number)).write_bytes(tiny_png(1000 - len(tiny_png())))
        os.utime(store.finish(framecache.key_of(number)), (1e9 + number, 1e9 + number))
    assert store.has(framecache.key_of(0))  # used now
    store.tidy(largest_bytes=2500)
    assert [store.has(framecache.key_of(number)) for number in range(5)] == [True, False, False, False, True]


def test_the_index_moves_to_the_front_and_still_points_at_the_pictures(clip: Preview, tmp_path: Path) -> None:
    content = clip.output.read_bytes()
    movie.index_first(clip.output)
    assert clip.output.read_bytes() == content  # already in front
    broken = tmp_path / "no.mp4"
    broken.write_bytes(b"\x00\x00\x00\x08free")
    movie.index_first(broken)
    assert broken.read_bytes() == b"\x00\x00\x00\x08free"


def test_frames_of_an_earlier_preview_are_found_again_the_largest_first(
    clip: Preview, tmp_path: Path
) -> None:
    from planner_core import compute_frames

    one = evening(camera__focal_length_mm=31.0)
    frames = compute_frames(one)
    assert preview.kept_pictures(frames, [1, 12]) == {}
    draw(one, tmp_path / "small.mp4", size=(96, 54), every=11)
    draw(one, tmp_path / "larger.mp4", size=(192, 108), frame_range=(12, 12))
    kept = preview.kept_pictures(frames, [1, 6, 12, 99])
    widths = {number: int.from_bytes(picture[16:20], "big") for number, picture in kept.items()}
    assert widths == {1: 96, 12: 192}  # the width, in a PNG's header


# ---------------------------------------------------------------- for the client


def test_a_title_card_comes_before_a_clip_that_stays_as_it_was(clip: Preview, tmp_path: Path) -> None:
    made = draw(evening(), tmp_path / "titled.mp4", size=SMALL, title=True)
    shown, plain = pictures(made.output), pictures(clip.output)
    assert len(shown) == 36 + 12  # a second and a half at 24 frames a second
    assert len(made.frames) == 12
    assert np.ptp(shown[0].astype(int), axis=(0, 1)).max() > 100  # type on a dark card
    assert np.abs(shown[36:].astype(int) - plain).mean() < 4.0


def test_burnt_in_words_stand_along_the_foot_and_nowhere_else(clip: Preview, tmp_path: Path) -> None:
    made = draw(evening(), tmp_path / "words.mp4", size=SMALL, burn_in=True)
    shown, plain = pictures(made.output).astype(int), pictures(clip.output).astype(int)
    assert len(shown) == 12
    assert np.abs(shown - plain)[:, :68].mean() < 3.0
    assert all(np.abs(shown - plain)[:, 76:].mean(axis=(1, 2, 3)) > 10.0)


def test_the_words_are_the_frame_tables(clip: Preview) -> None:
    from blender_addon.render import showing
    from planner_core import compute_frames

    frames = compute_frames(evening())
    left, right = showing.frame_words(frames, 12, "last")
    assert left.startswith("last   frame 12   ")
    assert f"sun −{abs(frames.sun_altitude_deg[11]):.1f}°" in left
    assert "f/5.6" in right
    assert "ISO" in right
    dark = attrs.evolve(frames, ramp=attrs.evolve(present(frames.ramp), error_stops=np.full(12, -1.5)))
    assert showing.frame_words(dark, 1)[1].endswith("1.5 stops too dark")


def test_two_plans_run_side_by_side_in_the_same_timing(clip: Preview, tmp_path: Path) -> None:
    other = evening(camera__focal_length_mm=50.0, title="Longer lens")
    made = draw(evening(), tmp_path / "two.mp4", size=SMALL, beside=other)
    shown, plain = pictures(made.output).astype(int), pictures(clip.output).astype(int)
    assert shown.shape == (12, 90, 326, 3)
    assert np.abs(shown[:, :76, :160] - plain[:, :76]).mean() < 4.0
    assert np.abs(shown[:, :76, 166:] - plain[:, :76]).mean() > 4.0
    with pytest.raises(PreviewError, match="Longer lens has 13 frames"):
        draw(evening(), tmp_path / "no.mp4", size=SMALL, beside=evening(13, title="Longer lens"))


def test_frames_drawn_apart_join_into_the_clip(tmp_path: Path) -> None:
    one = evening(camera__focal_length_mm=28.0)
    draw(one, tmp_path / "a.mp4", size=SMALL, frame_range=(1, 5))
    with pytest.raises(PreviewError, match=r"7 of 12 frames .*: 6–12$"):
        draw(one, tmp_path / "whole.mp4", size=SMALL, join=True)
    assert not (tmp_path / "whole.mp4").exists()
    draw(one, tmp_path / "b.mp4", size=SMALL, frame_range=(6, 12))
    made = draw(one, tmp_path / "whole.mp4", size=SMALL, join=True)
    assert (made.drawn, made.kept) == (0, 12)
    assert len(pictures(made.output)) == 12


def test_a_still_and_a_contact_sheet_are_pictures_of_the_frames(clip: Preview, tmp_path: Path) -> None:
    from blender_addon.render.pictures import read_picture

    assert preview.render_still(evening(), 12, tmp_path / "still.png", look="fast", size=SMALL) == SMALL
    still = read_picture(tmp_path / "still.png").astype(int)
    assert np.abs(still - pictures(clip.output)[11]).mean() < 5.0
    count = preview.render_contact(
        evening(),
        [(1, "first"), (7, "sunset"), (12, "last")],
        tmp_path / "sheet.png",
        look="fast",
        size=SMALL,
    )
    assert count == 9
    assert read_picture(tmp_path / "sheet.png").shape == (3 * 96 + 6, 3 * 166 + 6, 3)


def test_a_still_is_drawn_more_finely_than_a_frame_of_the_clip(tmp_path: Path) -> None:
    from blender_addon.render.pictures import read_picture

    one = evening()
    wish: dict[str, Any] = {"size": SMALL, "cache": tmp_path / "cache"}
    draw(one, tmp_path / "clip.mp4", frame_range=(1, 1), **wish)
    preview.render_still(one, 1, tmp_path / "still.png", look="fast", **wish)
    frame, still = sorted((tmp_path / "cache").glob("frames/*/*.png"), key=lambda path: path.stat().st_mtime)
    shades = [len(np.unique(read_picture(path).reshape(-1, 3), axis=0)) for path in (frame, still)]
    assert shades[1] > shades[0]  # along the edges
    assert np.array_equal(read_picture(still), read_picture(tmp_path / "still.png"))


def test_a_saved_scene_reads_back_as_the_plan(tmp_path: Path, project_root: Path) -> None:
    save_plan(evening(), tmp_path / "one.plan.json")
    tool = [sys.executable, str(project_root / "tools" / "duskrail.py")]
    scene, back = tmp_path / "scene.blend", tmp_path / "back.plan.json"
    subprocess.run([*tool, "preview", str(tmp_path / "one.plan.json"), "--blend", str(scene)], check=True)
    subprocess.run([*tool, "readback", str(scene), "-o", str(back)], check=True)
    from planner_core import load_plan

    assert load_plan(back) == evening()


@pytest.mark.once
def test_what_the_verb_cannot_do_is_said_in_one_line(tmp_path: Path, project_root: Path) -> None:
    save_plan(evening(), tmp_path / "one.plan.json")
    tool = [
        sys.executable,
        str(project_root / "tools" / "duskrail.py"),
        "preview",
        str(tmp_path / "one.plan.json"),
    ]
    for options, words in (
        (["-o", str(tmp_path / "x.mp4"), "--join", "--size", "160x90", "--look", "lit"], "--join: "),
        (["--title", "--contact", str(tmp_path / "x.png")], "need a clip"),
        (["--still", "13", "-o", str(tmp_path / "x.png")], "--still: 13 is past the last frame"),
        (["--still", "3", "--join", "-o", str(tmp_path / "x.png")], "--join is for a clip"),
    ):
        done = subprocess.run([*tool, *options], capture_output=True, text=True, check=False)
        assert done.returncode == 2
        assert words in done.stderr
        assert "Traceback" not in done.stderr
        assert len(done.stderr.strip().splitlines()) == 1


def test_a_rig_that_never_stops_blurs_for_as_long_as_the_shutter_is_open(tmp_path: Path) -> None:
    from blender_addon.render import looks
    from planner_core import compute_frames
    from tests.addon.scenes import drawn

    for drive in ("continuous", "shoot-move-shoot"):
        one = evening(move__drive=drive)
        frames = compute_frames(one)
        assert frames.ramp is not None
        scene, _ = drawn(one)
        look = looks.Look(scene, frames, engines.choose_engine("lit", "CYCLES"))
        look.show(11)
        assert scene.render.use_motion_blur == (drive == "continuous")
        if drive == "continuous":
            share = max(0.01, frames.ramp.shutter_s[10] / one.shoot.interval_s)
            assert scene.render.motion_blur_shutter == pytest.approx(share, rel=1e-5)


def test_frames_drawn_together_lie_on_one_side_of_those_that_are_there() -> None:
    waiting = sorted(set(range(1, 101)) - {49, 50, 51}, key=lambda number: abs(number - 50))
    drawn: list[list[int]] = []
    while waiting:
        drawn.append(sequence.next_together(waiting, 16))
        waiting = [number for number in waiting if number not in drawn[-1]]
    assert sorted(number for some in drawn for number in some) == [*range(1, 49), *range(52, 101)]
    assert [len(sequence.progressions(some)) for some in drawn] == [1] * len(drawn)
    assert {min(drawn[0]), max(drawn[0])} & {48, 52}  # those nearest to the event come first
    assert {min(drawn[1]), max(drawn[1])} & {48, 52}


@pytest.mark.parametrize(("goes_by_keys", "most"), [(False, 1), (True, 6)])
def test_a_clip_is_few_animations_and_the_events_frame_comes_first(goes_by_keys: bool, most: int) -> None:
    look: Any = SimpleNamespace(goes_by_keys=goes_by_keys)
    order = sorted(range(1, 241), key=lambda number: (abs(number - 120), number))
    made = list(sequence._animations(look, order))
    assert len(made) <= most
    assert made[0].numbers[0] == 120
    assert sorted(number for together in made for number in together.numbers) == list(range(1, 241))
    for together in made:
        shown = [together.after(frame) for frame in together.at]
        assert shown == [*together.numbers[1:], None]
    if not goes_by_keys:
        assert list(made[0].numbers) == order


def test_what_a_handler_says_is_heard_and_blenders_own_words_are_not(
    capfd: pytest.CaptureFixture[str],
) -> None:
    with console.silenced():
        print("Blender's words")
        with console.aloud():
            print("Frame 1 of 12")
            print("about a minute left", file=sys.stderr)
        os.write(2, b"a warning")
    print("done")
    heard = capfd.readouterr()
    assert heard.out.split("\n")[:2] == ["Frame 1 of 12", "done"]
    assert heard.err == "about a minute left\n"
