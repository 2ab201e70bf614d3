"""The add-on in a real Blender window, with simulated clicks and keys: gui_walk.py, walked and checked.

Needs a Blender application (DUSKRAIL_BLENDER, or `blender` on PATH) and something to draw a window on: Xvfb,
or a display. Skipped elsewhere. Takes a few minutes a walk; a walk that hangs is ended with all it started.
DUSKRAIL_PICTURES names a folder to keep the pictures of every step in.
"""

from __future__ import annotations

import datetime as dt
import json
import math
import os
import re
import shutil
import signal
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import attrs
import av
import pytest

from blender_addon.render import preview, request
from planner_core import FrameTable, Plan, compute_frames, load_plan, review, save_plan
from planner_core.edit import edits, starter
from planner_core.plan.file import plan_from_text
from tools import build_extension

LONGEST_S = 1500.0  # drawing in software on a busy machine; a third of it is usual
OLDEST = (5, 0)  # the walk knows the letters and places of that window
SCREEN = "-screen 0 1600x900x24 +extension GLX"
WALK = Path(__file__).with_name("gui_walk.py")


def find_blender() -> Path:
    """The Blender application to walk in; skips where there is none that will do."""
    named = os.environ.get("DUSKRAIL_BLENDER")
    found = named or shutil.which("blender")
    if not found:
        pytest.skip("no Blender application: DUSKRAIL_BLENDER isn't set, and there is no blender on PATH")
    if not shutil.which(found):
        pytest.skip(f"DUSKRAIL_BLENDER is {found}, which can't be run")
    try:
        said = subprocess.run([found, "--version"], capture_output=True, text=True, timeout=120, check=False)
    except (OSError, subprocess.TimeoutExpired) as error:
        pytest.skip(f"{found} doesn't say its version: {error}")
    version = re.search(r"Blender (\d+)\.(\d+)", said.stdout)
    if not version:
        pytest.skip(f"{found} doesn't say its version")
    if (int(version[1]), int(version[2])) < OLDEST:
        pytest.skip(
            f"{found} is Blender {version[1]}.{version[2]}; the walk knows the window of 5.0 and later"
        )
    return Path(found)


def screen() -> list[str]:
    """What starts a program on a screen of its own, or nothing where it can use the one there is; skips
    where there is none.
    """
    if shutil.which("xvfb-run"):
        return ["xvfb-run", "-a", "-s", SCREEN]
    if sys.platform in ("win32", "darwin") or os.environ.get("DISPLAY"):
        return []
    pytest.skip("no screen for a window: neither DISPLAY nor xvfb-run")


def end(process: subprocess.Popen[str]) -> None:
    """End a program with all that it started."""
    if sys.platform == "win32":
        process.kill()
    else:
        os.killpg(process.pid, signal.SIGKILL)
    process.wait()


def surroundings(folder: Path, walk: str, archive: Path) -> dict[str, str]:
    """An environment with a home of its own, so that nobody's files or preferences are touched."""
    home = folder / "home"
    home.mkdir()
    kept = {
        key: value for key, value in os.environ.items() if not key.startswith(("BLENDER_", "PYTHON", "XDG_"))
    }
    return kept | {
        "HOME": str(home),
        "USERPROFILE": str(home),
        "XDG_RUNTIME_DIR": str(home),
        "BLENDER_USER_RESOURCES": str(home / "blender"),
        "LIBGL_ALWAYS_SOFTWARE": "1",
        "OUT": str(folder),
        "DUSKRAIL_WALK": walk,
        "DUSKRAIL_EXTENSION": str(archive),
    }


def walked(walk: str, folder: Path) -> dict[str, Any]:
    """What a walk told, all of it checked for being finished and free of tracebacks."""
    blender, starting = find_blender(), screen()
    try:
        archive = build_extension.build(folder / "duskrail.zip")
    except build_extension.CannotBuild as problem:
        pytest.skip(f"the packages the extension carries can't be had here: {problem}")
    command = [*starting, str(blender), "--enable-event-simulate"]
    command += [
        "--window-geometry",
        "0",
        "0",
        "1600",
        "900",
        "--python-exit-code",
        "3",
        "--python",
        str(WALK),
    ]
    with (folder / "blender.log").open("w", encoding="utf-8") as log:
        process = subprocess.Popen(
            command,
            stdout=log,
            stderr=subprocess.STDOUT,
            text=True,
            env=surroundings(folder, walk, archive),
            start_new_session=True,
        )
        try:
            process.wait(LONGEST_S)
        except subprocess.TimeoutExpired:
            pytest.fail(f"the walk was not done after {LONGEST_S:.0f} s; its pictures are in {folder}")
        finally:
            if process.poll() is None:
                end(process)
    keep = os.environ.get("DUSKRAIL_PICTURES")
    if keep:
        shutil.copytree(folder, Path(keep) / walk, dirs_exist_ok=True, ignore=shutil.ignore_patterns("home"))
    said = (folder / "blender.log").read_text(encoding="utf-8", errors="replace")
    assert (folder / "told.json").exists(), f"the walk didn't begin: {said[-2000:]}"
    told: dict[str, Any] = json.loads((folder / "told.json").read_text(encoding="utf-8"))
    assert "problem" not in told, f"{told['problem']}\npictures in {folder}\n{said[-2000:]}"
    assert told["finished"]
    assert "Traceback" not in said, said[-4000:]
    assert process.returncode == 0
    return told


def test_a_newcomer_gets_from_an_empty_file_to_a_preview(tmp_path: Path) -> None:
    told = walked("newcomer", tmp_path)
    plan = load_plan(told["plan_file"])
    assert [block.name for block in plan.blocks] == ["tower", "box", "water", "wall", "figure", "post"]
    assert [pose.at for pose in plan.move.poses] == [0.0, 1.0]
    assert [pose.slide_m for pose in plan.move.poses] == [0.3, 0.9]
    assert plan.shoot.anchor is not None
    assert (plan.shoot.anchor.event, plan.shoot.anchor.at) == ("sunset", 0.5)
    found = {finding.code for finding in review(plan, compute_frames(plan)).findings}
    assert "day-night-balance" not in found  # it was among those that the window showed …
    assert "day-night-balance" in {code for _, code, _ in told["findings"]}  # … and was mended there
    assert told["clip_frames"] == 4
    assert Path(told["clip_file"]).stat().st_size > 1000


def test_the_first_still_from_an_empty_file_takes_few_clicks(tmp_path: Path) -> None:
    told = walked("first still", tmp_path)
    actions = told["actions"]
    assert actions["clicks"] == ["Duskrail", "First Scene…", "Preview", "Stills Side by Side"]
    assert actions["fields"] == ["Latitude", "Longitude", "Date", "Bearing", "Distance", "Height"]
    assert len(actions["keys"]) <= 6  # N for the sidebar, as often as a slow window needs; Enter
    assert Path(told["still"]).stat().st_size > 1000
    print({name: round(told[name], 1) for name in ("asked_after_s", "still_after_s")})


def test_fit_all_is_one_step_and_the_milky_way_is_in_the_sky(tmp_path: Path) -> None:
    save_plan(night_plan(), tmp_path / "night.plan.json")
    crescent = starter.starter_plan(starter.PlanDefaults(), dt.date(2027, 7, 6))  # two days after new moon
    save_plan(crescent, tmp_path / "moon.plan.json")
    told = walked("advice", tmp_path)
    assert len(told["fit_said"]) > 2
    mistakes = review(*planned("classic_mistakes"))
    worst = {finding.code for finding in mistakes.findings if finding.level == "stop"}
    assert worst
    assert worst & {code for level, code in told["after_fit"] if level == "stop"} == set()


def test_blenders_own_ways_lead_to_the_add_on(tmp_path: Path) -> None:
    walked("manners", tmp_path)


def planned(name: str) -> tuple[Plan, FrameTable]:
    plan = load_plan(Path(__file__).resolve().parents[2] / "example_scenes" / f"{name}.plan.json")
    return plan, compute_frames(plan)


def night_plan() -> Plan:
    """The example far from lamps, on a moonless summer night, looking south to the galactic centre."""
    usual = starter.PlanDefaults(latitude_deg=36.0, longitude_deg=7.0)
    plan = starter.starter_plan(usual, dt.date(2027, 7, 6))
    start = dt.datetime(2027, 7, 6, 23, 30)
    shoot = attrs.evolve(plan.shoot, anchor=None, start=start, frames=240, interval_s=30.0)
    assert plan.exposure is not None
    exposure = attrs.evolve(
        plan.exposure, artificial_ev100=None, f_number=2.0, shutter_max_s=15.0, iso_max=6400.0
    )
    poses = tuple(
        attrs.evolve(pose, pan_deg=((pose.pan_deg or 0.0) - 90.0) % 360.0) for pose in plan.move.poses
    )
    return attrs.evolve(
        plan,
        title="Night at the mole",
        site=attrs.evolve(plan.site, scene_north_deg=180.0),
        shoot=shoot,
        exposure=exposure,
        move=attrs.evolve(plan.move, poses=poses),
    )


def test_things_are_grabbed_refused_stopped_and_asked_about(tmp_path: Path) -> None:
    walked("hands on", tmp_path)
    assert not (tmp_path / "stopped.mp4").exists()


def test_odd_scenes_work_or_say_how_to_mend_them(tmp_path: Path) -> None:
    walked("odd scenes", tmp_path)


def test_a_photograph_is_pinned_by_clicks_until_its_place_is_found(tmp_path: Path) -> None:
    told = walked("photograph", tmp_path)
    # clicks are whole pixels of a picture some 900 wide, blocks stand 40 to 150 m away
    assert abs(told["photo"]["bearing_off_deg"]) < 0.3
    assert abs(told["photo"]["fov_off_deg"]) < 1.0


def stops_apart(shown: Sequence[float], clip: Sequence[float]) -> float:
    """How much brighter a mean colour is than another, in stops: both as sRGB shares of the display's full
    level (IEC 61966-2-1), brightness by BT.709.
    """

    def brightness(colour: Sequence[float]) -> float:
        linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in colour]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    return math.log2(brightness(shown) / brightness(clip))


def clip_colour(plan: Plan, frame: int, folder: Path) -> list[float]:
    """Mean colour of a frame of the fast clip, as shares of the display's full level."""
    made = preview.render_preview(
        request.PreviewRequest(
            plan=plan,
            output=folder / f"{frame}.mp4",
            look="fast",
            frame_range=(frame, frame),
            size=(640, 360),
        )
    )
    with av.open(str(made.output)) as clip:
        picture = next(iter(clip.decode(video=0))).to_ndarray(format="rgb24")
    return [float(v) for v in picture.reshape(-1, 3).mean(axis=0) / 255.0]


def test_the_evening_view_is_as_bright_as_the_clip_from_day_to_night(tmp_path: Path) -> None:
    told = walked("evening view", tmp_path)
    plan = plan_from_text(told["plan"])
    shown = {int(frame): colour for frame, colour in told["evening"].items()}
    assert list(shown) == [1, 180, 270, 360]
    for frame, colour in shown.items():
        clip = clip_colour(plan, frame, tmp_path)
        assert abs(stops_apart(colour, clip)) < 0.5, (frame, colour, clip)
        # and of its hue: shares of red and blue
        assert colour[0] / sum(colour) == pytest.approx(clip[0] / sum(clip), abs=0.03)
        assert colour[2] / sum(colour) == pytest.approx(clip[2] / sum(clip), abs=0.03)
    for days, azimuth in zip((0, 60), told["other_day"], strict=True):
        frames = compute_frames(edits.with_days_added(plan, days))
        assert azimuth == pytest.approx(float(frames.sun_azimuth_deg[len(frames) // 2]))
    day, sunset, dusk, night = (shown[frame] for frame in (1, 180, 270, 360))
    assert stops_apart(night, day) < -0.3
    assert dusk[2] / dusk[0] > sunset[2] / sunset[0]  # bluer


def test_a_walk_without_a_blender_is_skipped_with_the_reason(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("DUSKRAIL_BLENDER", "no-such-program-of-ours")
    with pytest.raises(pytest.skip.Exception, match="can't be run"):
        find_blender()
    monkeypatch.delenv("DUSKRAIL_BLENDER")
    monkeypatch.setenv("PATH", "")
    with pytest.raises(pytest.skip.Exception, match="no Blender application"):
        find_blender()
