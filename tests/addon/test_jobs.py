"""Several processes draw the same frames as one, report as one, and none outlives the preview."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from blender_addon import compat, own_process
from blender_addon.render import engines, jobs, preview
from blender_addon.render.cache import CACHE_VARIABLE
from blender_addon.render.progress import DRAWING, Progress
from blender_addon.render.request import PreviewError, PreviewRequest
from planner_core import Plan, compute_frames
from planner_core.plan.file import save_plan
from tests.two_towers import plan

SIZE = (96, 54)
SCRIPT = b"own_process.py"  # that other processes run


def evening(frames: int) -> Plan:
    return plan(shoot__frames=frames, shoot__interval_s=15.0 * 359 / (frames - 1))


def kept_frames(cache: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in cache.glob("frames/*/*.png")}


@pytest.mark.once
@pytest.mark.parametrize(("look", "count", "processes"), [("fast", 10, 4), ("lit", 4, 2)])
def test_frames_of_several_processes_are_those_of_one(
    look: str, count: int, processes: int, tmp_path: Path
) -> None:
    engine = compat.CYCLES if look == "lit" else None
    if look == "fast" and not engines.this_machine().opengl:
        pytest.skip("no OpenGL here")
    said: list[Progress] = []
    for name, number in (("one", 1), ("many", processes)):
        made = preview.render_preview(
            PreviewRequest(
                plan=evening(count),
                output=tmp_path / f"{name}.mp4",
                look=look,
                size=SIZE,
                cache=tmp_path / name,
                engine=engine,
                jobs=number,
            ),
            said.append if name == "many" else lambda _progress: None,
        )
        assert (made.drawn, made.kept) == (count, 0)
    one, many = kept_frames(tmp_path / "one"), kept_frames(tmp_path / "many")
    assert len(one) == count
    assert one == many
    assert (tmp_path / "one.mp4").read_bytes() == (tmp_path / "many.mp4").read_bytes()
    assert [now.done for now in said if now.stage == DRAWING] == list(range(count + 1))


def test_what_other_processes_leave_undrawn_is_drawn_all_the_same(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(own_process, "command", lambda _module: [sys.executable, "-c", "raise SystemExit(1)"])
    request = PreviewRequest(
        plan=evening(3), output=tmp_path / "clip.mp4", size=SIZE, cache=tmp_path / "cache", jobs=3
    )
    assert preview.render_preview(request).drawn == 3


@pytest.mark.skipif(not Path("/proc").is_dir(), reason="asks the system which processes there are")
def test_processes_end_with_the_preview_however_that_ends(tmp_path: Path, project_root: Path) -> None:
    save_plan(evening(200), tmp_path / "one.plan.json")
    command = [sys.executable, str(project_root / "tools" / "duskrail.py"), "preview"]
    command += [str(tmp_path / "one.plan.json"), "-o", str(tmp_path / "clip.mp4"), "--size", "96x54"]
    run = subprocess.Popen(
        [*command, "--jobs", "2"],
        env={**os.environ, CACHE_VARIABLE: str(tmp_path / "cache")},
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    try:
        children = waited_for(
            lambda: [n for n in children_of(run.pid) if b"own_process.py" in words_of(n)], 2
        )
    finally:
        run.send_signal(signal.SIGKILL)
        run.wait()
    deadline = time.monotonic() + 60.0
    while any(SCRIPT in words_of(child) for child in children) and time.monotonic() < deadline:
        time.sleep(0.2)
    assert not any(SCRIPT in words_of(child) for child in children)


def waited_for(ask: object, count: int) -> list[int]:
    assert callable(ask)
    deadline = time.monotonic() + 120.0
    while time.monotonic() < deadline:
        found: list[int] = ask()
        if len(found) >= count:
            return found
        time.sleep(0.2)
    raise AssertionError("the other processes didn't start")


def children_of(parent: int) -> list[int]:
    found = []
    for folder in Path("/proc").iterdir():
        if not folder.name.isdecimal():
            continue
        try:
            facts = (folder / "stat").read_text().rpartition(")")[2].split()
        except OSError:
            continue
        if int(facts[1]) == parent:
            found.append(int(folder.name))
    return found


def words_of(process: int) -> bytes:
    try:
        return Path(f"/proc/{process}/cmdline").read_bytes()
    except OSError:
        return b""


def test_as_many_processes_as_help() -> None:
    # measured on 16 cores with a graphics card: four draw the fast look twice as quickly as one, more hardly
    # quicker; EEVEE and Cycles gain nothing
    plenty = 64_000_000_000
    assert jobs.usual_jobs(fast_on_card=True, frames=480, cores=16, memory_bytes=plenty) == 4
    assert jobs.usual_jobs(fast_on_card=True, frames=480, cores=64, memory_bytes=plenty) == 4
    assert jobs.usual_jobs(fast_on_card=False, frames=480, cores=64, memory_bytes=plenty) == 1
    assert jobs.usual_jobs(fast_on_card=True, frames=480, cores=2, memory_bytes=plenty) == 1
    assert jobs.usual_jobs(fast_on_card=True, frames=480, cores=16, memory_bytes=3_100_000_000) == 2
    assert jobs.usual_jobs(fast_on_card=True, frames=10, cores=16, memory_bytes=plenty) == 1


def test_frames_nearest_the_event_are_drawn_first() -> None:
    frames = compute_frames(evening(11))  # sunset falls on the middle
    assert preview.drawing_order(frames, range(1, 12))[:5] == [6, 5, 7, 4, 8]


def test_a_number_of_processes_that_cant_be_is_refused(tmp_path: Path) -> None:
    with pytest.raises(PreviewError, match="0 is not a number of processes from 1 to 64"):
        PreviewRequest(plan=evening(3), output=tmp_path / "clip.mp4", jobs=0)
