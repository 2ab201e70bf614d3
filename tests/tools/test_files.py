"""Files that the command line writes: never over what it reads, whole or not at all; streams as streams."""

from __future__ import annotations

import contextlib
import json
import os
import shutil
import subprocess
import sys
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest

from planner_core.plan.file import save_plan
from planner_core.plan.writing import write_atomically
from tests.two_towers import plan
from tools import duskrail
from tools.duskrail import main

pytestmark = pytest.mark.once

MAP = {"type": "FeatureCollection", "features": []}


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder to work in, with a plan, a map and a scene in it."""
    monkeypatch.chdir(tmp_path)
    save_plan(plan(), tmp_path / "one.plan.json")
    save_plan(plan(), tmp_path / "two.plan.json")
    (tmp_path / "map.geojson").write_text(json.dumps(MAP), encoding="utf-8")
    (tmp_path / "scene.blend").write_bytes(b"a scene")
    (tmp_path / "sub").mkdir()
    return tmp_path


def contents(folder: Path) -> dict[str, bytes]:
    return {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


OVER_AN_INPUT = [
    ["frames", "one.plan.json", "-o", "one.plan.json"],
    ["axes", "one.plan.json", "-o", "one.plan.json"],
    ["sheet", "one.plan.json", "-o", "one.plan.json"],
    ["sheet", "one.plan.json", "--ics", "one.plan.json"],
    ["sheet", "one.plan.json", "-o", "x.html", "--ics", "x.html"],
    ["fit", "one.plan.json", "--compose", "-o", "one.plan.json"],
    ["dates", "one.plan.json", "--from", "2027-03-01", "--to", "2027-03-02", "-o", "one.plan.json"],
    ["blocks", "map.geojson", "one.plan.json", "-o", "map.geojson"],
    ["blocks", "map.geojson", "one.plan.json", "-o", "one.plan.json"],
    ["readback", "scene.blend", "-o", "scene.blend"],
    ["export", "one.plan.json", "-o", "one.plan.json"],
    ["preview", "one.plan.json", "-o", "one.plan.json"],
    ["preview", "one.plan.json", "-o", "x.mp4", "--beside", "two.plan.json", "--contact", "two.plan.json"],
    ["preview", "one.plan.json", "-o", "x.mp4", "--blend", "x.mp4"],
]


@pytest.mark.parametrize("words", OVER_AN_INPUT, ids=" ".join)
def test_what_is_read_is_never_written_over(
    words: list[str], folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    before = contents(folder)
    assert main(words) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.count("\n") == 1
    assert "give" in said.err
    assert contents(folder) == before


@pytest.mark.parametrize("spelling", ["./one.plan.json", "sub/../one.plan.json", "soft", "hard", "through"])
def test_another_spelling_of_the_same_file_is_the_same_file(
    spelling: str, folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (folder / "soft").symlink_to("one.plan.json")
    os.link(folder / "one.plan.json", folder / "hard")
    (folder / "through").symlink_to(folder / "sub" / ".." / "soft")
    before = contents(folder)
    assert main(["frames", "one.plan.json", "-o", spelling]) == 2
    assert "the plan that is read" in capsys.readouterr().err
    assert contents(folder) == before


def test_a_candidate_is_never_written_over_the_plan(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    save_plan(plan(), folder / "still.plan.json")
    before = contents(folder)
    assert main(["compare", "still.plan.json", "--write", "."]) == 2
    assert "--write" in capsys.readouterr().err
    assert contents(folder) == before


def test_a_link_is_followed(folder: Path) -> None:
    (folder / "sub" / "table.csv").write_text("old", encoding="utf-8")
    (folder / "link.csv").symlink_to("sub/table.csv")
    assert main(["frames", "one.plan.json", "-o", "link.csv"]) == 0
    assert (folder / "link.csv").is_symlink()
    assert (folder / "sub" / "table.csv").read_text(encoding="utf-8").startswith("frame,")
    (folder / "new.csv").symlink_to("sub/new.csv")
    assert main(["frames", "one.plan.json", "-o", "new.csv"]) == 0
    assert (folder / "sub" / "new.csv").is_file()


def test_a_read_only_file_stays_as_it_is(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    kept = folder / "table.csv"
    kept.write_text("precious", encoding="utf-8")
    kept.chmod(0o444)
    assert main(["frames", "one.plan.json", "-o", "table.csv"]) == 2
    assert "table.csv: is read-only" in capsys.readouterr().err
    assert kept.read_text(encoding="utf-8") == "precious"


def test_standard_output_by_its_name_gets_the_table_and_nothing_else(
    folder: Path, project_root: Path
) -> None:
    tool = [sys.executable, str(project_root / "tools" / "duskrail.py")]
    (folder / "plain.csv").touch()
    assert main(["frames", "one.plan.json", "-o", "plain.csv"]) == 0
    table = (folder / "plain.csv").read_bytes()
    (folder / "out").symlink_to("/dev/stdout")
    for name in ("/dev/stdout", "/dev/fd/1", "/proc/self/fd/1", "out"):
        command = [*tool, "frames", "one.plan.json", "-o", name]
        piped = subprocess.run(command, capture_output=True, check=True)
        assert piped.stdout == table
        with (folder / "caught.csv").open("wb") as caught:
            subprocess.run(command, stdout=caught, check=True)
        assert (folder / "caught.csv").read_bytes() == table
    fitted = subprocess.run(
        [*tool, "fit", "one.plan.json", "--balance", "1:1", "-o", "/dev/stdout"],
        capture_output=True,
        check=True,
    )
    assert json.loads(fitted.stdout)["format"] == "duskrail-plan"
    assert b"Written to /dev/stdout." in fitted.stderr


def test_a_pipe_is_written_to_and_stays_a_pipe(folder: Path) -> None:
    os.mkfifo(folder / "pipe")
    got: list[bytes] = []
    reader = threading.Thread(target=lambda: got.append((folder / "pipe").read_bytes()))
    reader.start()
    assert main(["axes", "one.plan.json", "-o", "pipe"]) == 0
    reader.join(10)
    assert (folder / "pipe").is_fifo()
    assert got[0].decode().count("\n") > 2


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no device that is always full")
def test_a_full_device_is_told_and_stays(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["frames", "one.plan.json", "-o", "/dev/full"]) == 2
    assert capsys.readouterr().err.startswith("/dev/full: ")
    assert Path("/dev/full").is_char_device()
    assert main(["frames", "one.plan.json", "-o", "/dev/null"]) == 0


def test_what_cannot_be_printed_is_one_line(folder: Path, project_root: Path) -> None:
    if not Path("/dev/full").exists():
        pytest.skip("no device that is always full")
    with open("/dev/full", "wb") as full:
        done = subprocess.run(
            [sys.executable, str(project_root / "tools" / "duskrail.py"), "check", "one.plan.json"],
            stdout=full,
            stderr=subprocess.PIPE,
            text=True,
            check=False,
        )
    assert done.returncode == 2
    assert done.stderr.count("\n") == 1
    assert done.stderr.startswith("standard output: ")


# ---------------------------------------------------------------- a disk without room


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A disk of 64 kB."""
    disk = tmp_path / "disk"
    disk.mkdir()
    mount = shutil.which("mount")
    command = [mount or "mount", "-t", "tmpfs", "-o", "size=64k", "tmpfs", str(disk)]
    if mount is None or subprocess.run(command, capture_output=True, check=False).returncode:
        pytest.skip("no small disk can be mounted here")
    yield disk
    # lazily: an exporter that failed may hold its file for a while
    subprocess.run(["umount", "-l", str(disk)], check=True)


def test_a_full_disk_is_told_by_the_files_name_and_leaves_the_old_file(
    small_disk: Path, folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for name, words in (
        ("table.csv", ["frames", "one.plan.json", "-o"]),
        ("sheet.html", ["sheet", "one.plan.json", "-o"]),
    ):
        (small_disk / name).write_bytes(b"old")
        assert main([*words, str(small_disk / name)]) == 2
        said = capsys.readouterr().err
        assert said.startswith(f"{small_disk / name}: ")
        assert said.count("\n") == 1
        assert (small_disk / name).read_bytes() == b"old"
    assert sorted(path.name for path in small_disk.iterdir()) == ["sheet.html", "table.csv"]


def test_what_blender_writes_onto_a_full_disk_is_told_too(
    small_disk: Path,
    folder: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    pytest.importorskip("bpy", reason="needs Blender's Python module")
    monkeypatch.setenv("DUSKRAIL_CACHE", str(tmp_path / "cache"))
    (small_disk / "filler").write_bytes(bytes(56_000))
    drawn = ["preview", "one.plan.json", "--look", "fast", "--size", "320x180"]
    for name, words in (
        ("still.png", [*drawn, "--still", "1", "-o"]),
        ("words.png", [*drawn, "--still", "1", "--burn-in", "-o"]),
        ("contact.png", [*drawn, "--contact"]),
        ("clip.mp4", [*drawn, "--every", "60", "-o"]),
        ("scene.usda", ["export", "one.plan.json", "-o"]),
        ("scene.usdc", ["export", "one.plan.json", "-o"]),
        ("scene.glb", ["export", "one.plan.json", "-o"]),
        ("scene.blend", ["preview", "one.plan.json", "--blend"]),
    ):
        (small_disk / name).write_bytes(b"o")
        assert main([*words, str(small_disk / name)]) == 2, name
        said = capsys.readouterr().err.splitlines()[-1]
        assert str(small_disk / name) in said
        assert (small_disk / name).read_bytes() == b"o"
        (small_disk / name).unlink()
        assert [path.name for path in small_disk.iterdir()] == ["filler"]


def test_a_cache_that_may_only_be_read_does_no_harm(tmp_path: Path) -> None:
    pytest.importorskip("bpy", reason="needs Blender's Python module")
    from blender_addon.render.preview import render_preview
    from blender_addon.render.request import PreviewRequest

    one, cache = plan(shoot__frames=3, shoot__interval_s=600.0), tmp_path / "cache"

    def made(name: str, last: int) -> tuple[int, int]:
        request = PreviewRequest(
            plan=one, output=tmp_path / name, size=(64, 36), frame_range=(1, last), cache=cache
        )
        clip = render_preview(request)
        return clip.drawn, clip.kept

    assert made("a.mp4", 2) == (2, 0)
    mount = ["mount", "--bind", "-o", "ro", str(cache), str(cache)]
    if subprocess.run(mount, capture_output=True, check=False).returncode:
        pytest.skip("nothing can be mounted here")
    try:
        before = contents(cache)
        if os.access(cache, os.W_OK):
            pytest.skip("the mount is not read-only here")
        assert made("b.mp4", 3) == (1, 2)
        assert contents(cache) == before
    finally:
        subprocess.run(["umount", str(cache)], check=True)


def test_a_folder_that_takes_no_files_is_told_before_drawing(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for words in (
        ["preview", "one.plan.json", "-o", "/proc/clip.mp4"],
        ["export", "one.plan.json", "-o", "/proc/scene.glb"],
        ["frames", "one.plan.json", "-o", "/proc/table.csv"],
    ):
        if not Path("/proc").is_dir():
            pytest.skip("no such folder here")
        assert main(words) == 2
        said = capsys.readouterr()
        assert said.err.startswith(f"{words[-1]}: ")
        assert said.err.count("\n") == 1


@pytest.mark.parametrize("place", ["one.plan.json", "one.plan.json/finds", "/proc/finds", "loose"])
def test_a_folder_for_plans_is_looked_at_before_the_work(
    place: str, folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (folder / "loose").symlink_to("nowhere")
    before = contents(folder)
    for verb in ("compare", "scout"):
        assert main([verb, "one.plan.json", "--write", place]) == 2
        said = capsys.readouterr()
        assert said.err.count("\n") == 1
        assert said.out == ""
        assert contents(folder) == before


def test_a_write_that_is_interrupted_leaves_the_old_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "file").write_bytes(b"old")

    def interrupted(_descriptor: int) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(os, "fsync", interrupted)
    with contextlib.suppress(KeyboardInterrupt):
        write_atomically(tmp_path / "file", b"new")
    assert contents(tmp_path) == {"file": b"old"}


# ---------------------------------------------------------------- a defect of our own


def test_a_crash_is_one_line_and_exit_3(
    folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def broken(_path: str) -> None:
        raise TypeError("two\nlines")

    monkeypatch.setattr(duskrail, "load_plan", broken)
    monkeypatch.delenv("DUSKRAIL_DEBUG", raising=False)
    assert main(["check", "one.plan.json"]) == 3
    said = capsys.readouterr().err
    assert "TypeError: two lines" in said
    assert said.count("\n") == 1
    monkeypatch.setenv("DUSKRAIL_DEBUG", "1")
    assert main(["check", "one.plan.json"]) == 3
    assert "Traceback" in capsys.readouterr().err
