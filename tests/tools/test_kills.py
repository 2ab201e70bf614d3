"""Killed at any moment, a verb leaves its output as it was or as it should be; never half of it."""

from __future__ import annotations

import json
import os
import random
import re
import shutil
import subprocess
import sys
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pytest

from blender_addon.render import cache as framecache
from planner_core.plan.file import save_plan
from tests.two_towers import plan

pytestmark = pytest.mark.once

KILLS = int(os.environ.get("DUSKRAIL_KILLS", "2"))
BEFORE = b"What was there before\n"

BUILD = """
import sys
sys.path[:0] = [sys.argv[1]]
from pathlib import Path
from tools import build_extension
files = {f"part {n}.txt": bytes(range(256)) * 400 for n in range(40)}
build_extension.write_archive(Path(sys.argv[2]), files)
"""


class Work:
    """A folder with a plan and a scene, a command that writes files there, and what they should hold."""

    def __init__(self, folder: Path, root: Path, words: Sequence[str], outputs: Sequence[str]) -> None:
        self.folder, self.root, self.words = folder, root, words
        self.outputs = [folder / name for name in outputs]
        save_plan(plan(shoot__frames=60, shoot__interval_s=90.0), folder / "one.plan.json")

    def start(self) -> subprocess.Popen[bytes]:
        """Begin the command anew over files from before."""
        for path in self.outputs:
            path.write_bytes(BEFORE)
        script = str(self.root / "tools" / "duskrail.py")
        command = ["-I", script, *self.words] if self.words[0] != "-c" else ["-I", *self.words]
        return subprocess.Popen(
            [sys.executable, *command],
            cwd=self.folder,
            env={**os.environ, framecache.CACHE_VARIABLE: str(self.folder / "cache")},
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )

    def found(self) -> list[bytes]:
        return [path.read_bytes() for path in self.outputs]


def killed_at_any_time(work: Work) -> None:
    """Run once to its end, then kill it again and again; the last run is let through."""
    began = time.monotonic()
    assert work.start().wait() in (0, 1)
    whole_s, wanted = time.monotonic() - began, work.found()
    assert BEFORE not in wanted
    luck = random.Random(15)
    for _ in range(KILLS):
        with work.start() as run:
            # late, most times: the writing comes last
            time.sleep(whole_s * luck.choice((luck.uniform(0.0, 1.0), luck.uniform(0.7, 1.05))))
            run.kill()
        for now, whole in zip(work.found(), wanted, strict=True):
            assert now in (BEFORE, whole), f"{len(now)} of {len(whole)} bytes"
    assert work.start().wait() in (0, 1)
    assert work.found() == wanted
    seen = {path.name for path in work.folder.iterdir() if not path.name.startswith(".")}
    assert seen <= {"one.plan.json", "scene.blend", "cache", *(path.name for path in work.outputs)}


@pytest.mark.parametrize(
    ("words", "outputs"),
    [
        (["sheet", "one.plan.json", "-o", "sheet.html", "--ics", "one.ics"], ["sheet.html", "one.ics"]),
        (["fit", "one.plan.json", "--balance", "1:1", "-o", "new.plan.json"], ["new.plan.json"]),
        (["frames", "one.plan.json", "-o", "frames.csv"], ["frames.csv"]),
    ],
    ids=lambda value: value[0] if isinstance(value, list) else "",
)
def test_a_verb_killed_at_any_time_leaves_the_old_file_or_the_new_one(
    tmp_path: Path, project_root: Path, words: list[str], outputs: list[str]
) -> None:
    killed_at_any_time(Work(tmp_path, project_root, words, outputs))


def test_the_extensions_archive_is_replaced_whole(tmp_path: Path, project_root: Path) -> None:
    words = ["-c", BUILD, str(project_root), "duskrail.zip"]
    killed_at_any_time(Work(tmp_path, project_root, words, ["duskrail.zip"]))


@pytest.mark.parametrize(
    ("words", "outputs"),
    [
        (["readback", "scene.blend", "-o", "new.plan.json"], ["new.plan.json"]),
        (["export", "one.plan.json", "-o", "move.glb"], ["move.glb"]),
    ],
    ids=lambda value: value[0] if isinstance(value, list) else "",
)
def test_what_blender_reads_and_writes_is_whole_too(
    tmp_path: Path, project_root: Path, words: list[str], outputs: list[str]
) -> None:
    pytest.importorskip("bpy", reason="needs Blender's Python module")
    work = Work(tmp_path, project_root, words, outputs)
    if words[0] == "readback":
        made = ["preview", "one.plan.json", "--blend", "scene.blend"]
        work.words, wanted = made, work.words
        assert work.start().wait() == 0
        work.words = wanted
    scene = tmp_path / "scene.blend"
    before = scene.read_bytes() if scene.exists() else b""
    killed_at_any_time(work)
    assert (scene.read_bytes() if scene.exists() else b"") == before


# ---------------------------------------------------------------- an update of the extension

INSTALL = """
import os, sys, bpy
bpy.ops.extensions.package_install_files(
    filepath=sys.argv[-1], repo="user_default", enable_on_install=True, overwrite=True
)
bpy.ops.wm.save_userpref()
os._exit(0)
"""
USE = """
import json, os, sys, bpy
bpy.ops.preferences.addon_enable(module="bl_ext.user_default.duskrail")
import planner_core
versions = sys.modules["bl_ext.user_default.duskrail"].MARK, planner_core.MARK
done = [bpy.ops.duskrail.new_scene(example=True), bpy.ops.duskrail.step_day(days=3)]
print("TOLD" + json.dumps([versions, all(d == {"FINISHED"} for d in done)]))
sys.stdout.flush()
os._exit(0)
"""


def marked_archive(root: Path, folder: Path, mark: int) -> Path:
    """The extension as of another version, its add-on and its core each carrying a mark."""
    tree = folder / f"tree{mark}"
    for part in ("blender_addon", "planner_core", "tools"):
        shutil.copytree(root / part, tree / part)
    shutil.copytree(root / "build" / "wheels", tree / "build" / "wheels", dirs_exist_ok=True)
    shutil.copy(root / "LICENSE", tree)
    settings = (root / "pyproject.toml").read_text("utf-8")
    changed = re.sub(r'(?m)^(version = "\d+\.\d+)\.\d+"', rf'\1.{mark}"', settings)
    (tree / "pyproject.toml").write_text(changed, "utf-8")
    for part in ("blender_addon", "planner_core"):
        with (tree / part / "__init__.py").open("a", encoding="utf-8") as module:
            module.write(f"\nMARK = {mark}\n")
    archive = folder / f"{mark}.zip"
    subprocess.run([sys.executable, "tools/build_extension.py", "-o", str(archive)], cwd=tree, check=True)
    return archive


class Home:
    """A home for Blender's preferences and extensions, and scripts that Blender runs there."""

    def __init__(self, folder: Path, files: Path) -> None:
        self.folder, self.files = folder, files
        (files / "install.py").write_text(INSTALL, "utf-8")
        (files / "use.py").write_text(USE, "utf-8")

    def start(self, script: str, *words: str) -> subprocess.Popen[str]:
        return subprocess.Popen(
            [sys.executable, "-P", str(self.files / script), *words],
            env={**os.environ, "BLENDER_USER_RESOURCES": str(self.folder), "PYTHONPATH": ""},
            cwd=self.files,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
        )

    def used(self) -> Any:
        """The versions of add-on and core, and whether its buttons work."""
        said = self.start("use.py").communicate(timeout=600)[0]
        lines = [line for line in said.splitlines() if line.startswith("TOLD")]
        assert lines, said[-2000:]
        return json.loads(lines[0].removeprefix("TOLD"))


@pytest.mark.skipif("DUSKRAIL_KILLS" not in os.environ, reason="takes minutes; DUSKRAIL_KILLS says how often")
def test_an_update_of_the_extension_is_installed_whole_or_not_at_all(
    tmp_path: Path, project_root: Path
) -> None:
    pytest.importorskip("bpy", reason="needs Blender's Python module")
    one, two = (marked_archive(project_root, tmp_path, mark) for mark in (1, 2))
    before, home = Home(tmp_path / "before", tmp_path), Home(tmp_path / "home", tmp_path)
    before.folder.mkdir()
    before.start("install.py", str(one)).communicate(timeout=600)
    assert before.used() == [[1, 1], True]
    luck, whole_s = random.Random(15), 0.0
    for number in range(KILLS + 1):  # the first is let through
        shutil.rmtree(home.folder, ignore_errors=True)
        shutil.copytree(before.folder, home.folder, symlinks=True)
        began = time.monotonic()
        with home.start("install.py", str(two)) as run:
            if number:
                time.sleep(whole_s * luck.choice((luck.uniform(0.0, 1.0), luck.uniform(0.2, 1.0))))
                run.kill()
            else:
                run.communicate(timeout=600)
                whole_s = time.monotonic() - began
        assert home.used() in ([[[2, 2], True]] if not number else [[[1, 1], True], [[2, 2], True]])
