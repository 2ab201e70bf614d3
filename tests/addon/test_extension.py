"""The extension: built, passing Blender's own check, and installed from disk as a user installs it."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tomllib
import zipfile
from pathlib import Path

import pytest

from tools import build_extension


@pytest.fixture(scope="module")
def archive(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The extension, freshly built."""
    try:
        return build_extension.build(tmp_path_factory.mktemp("extension") / "duskrail.zip")
    except build_extension.CannotBuild as problem:
        pytest.skip(f"the packages it carries can't be had here: {problem}")


def test_blenders_own_check_has_nothing_to_say(archive: Path) -> None:
    assert build_extension.validate(archive) == ""


def with_manifest(archive: Path, changed: Path, old: bytes, new: bytes) -> None:
    """Write the archive once more, with something in its manifest replaced once."""
    with zipfile.ZipFile(archive) as source, zipfile.ZipFile(changed, "w") as target:
        for name in source.namelist():
            content = source.read(name)
            if name == "blender_manifest.toml":
                assert old in content
                content = content.replace(old, new, 1)
            target.writestr(name, content)


def test_the_readme_names_the_file_that_is_built(project_root: Path) -> None:
    name = build_extension.default_output().relative_to(project_root).as_posix()
    assert f"`{name}`" in (project_root / "README.md").read_text(encoding="utf-8")


def test_blender_is_found_for_the_check_by_any_python(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(build_extension.importlib.util, "find_spec", lambda _name: None)
    monkeypatch.setattr(build_extension, "ROOT", tmp_path)
    monkeypatch.setenv("DUSKRAIL_BLENDER", "/apps/blender")
    assert build_extension.validator() == ["/apps/blender", "--command", "extension", "validate"]
    cli = tmp_path / ".venv/lib/python3.11/site-packages/bpy/4.5/scripts/addons_core/bl_pkg/cli"
    cli.mkdir(parents=True)
    (cli / "blender_ext.py").touch()
    assert (build_extension.validator() or [])[2:] == [str(cli / "blender_ext.py"), "validate"]


def test_blenders_own_check_would_object(archive: Path, tmp_path: Path) -> None:
    broken = tmp_path / "broken.zip"
    with_manifest(archive, broken, b"Plan a motion", b"Plan (and more!) a motion.")
    assert build_extension.validate(broken)


def test_it_asks_for_files_alone_and_has_the_projects_version(archive: Path) -> None:
    with zipfile.ZipFile(archive) as packed:
        manifest = tomllib.loads(packed.read("blender_manifest.toml").decode())
    assert list(manifest["permissions"]) == ["files"]
    assert manifest["version"] == build_extension.project_version()
    assert manifest["website"].startswith("https://")
    assert manifest["blender_version_min"] == "4.5.0"


def test_it_carries_every_module_and_nothing_that_fits_one_system_only(
    archive: Path, project_root: Path
) -> None:
    with zipfile.ZipFile(archive) as packed:
        names = set(packed.namelist())
        wheels = [name for name in names if name.endswith(".whl")]
        manifest = tomllib.loads(packed.read("blender_manifest.toml").decode())
        (core,) = (name for name in wheels if "duskrail_core" in name)
        with packed.open(core) as stream, zipfile.ZipFile(stream) as wheel:
            carried = {name for name in wheel.namelist() if name.startswith("planner_core/")}
    assert {f"./{name}" for name in wheels} == set(manifest["wheels"])
    assert all(name.endswith("-none-any.whl") for name in wheels)
    addon = project_root / "blender_addon"
    assert names >= {path.relative_to(addon).as_posix() for path in addon.rglob("*.py")}
    of_core = [path for path in (project_root / "planner_core").rglob("*") if path.is_file()]
    shipped = {path.relative_to(project_root).as_posix() for path in of_core if path.suffix != ".pyc"}
    assert carried == shipped
    assert not any("__pycache__" in name for name in names | carried)


def test_an_installed_core_has_its_data_files_too(project_root: Path) -> None:
    settings = tomllib.loads((project_root / "pyproject.toml").read_text("utf-8"))
    core = project_root / "planner_core"
    listed = {
        path
        for pattern in settings["tool"]["setuptools"]["package-data"]["planner_core"]
        for path in core.glob(pattern)
    }
    data = {path for path in core.rglob("*") if path.is_file() and path.suffix not in {".py", ".pyc"}}
    assert data
    assert listed == data


def test_the_manifest_in_the_repository_has_the_projects_version(project_root: Path) -> None:
    manifest = tomllib.loads((project_root / "blender_addon" / "blender_manifest.toml").read_text("utf-8"))
    assert manifest["version"] == build_extension.project_version()


def test_the_same_source_makes_the_same_archive(archive: Path, tmp_path: Path) -> None:
    assert build_extension.build(tmp_path / "again.zip").read_bytes() == archive.read_bytes()


@pytest.mark.once
def test_builds_at_the_same_time_do_not_get_in_each_others_way(tmp_path: Path, project_root: Path) -> None:
    code = (
        "import sys; sys.path.insert(0, sys.argv[1]); from pathlib import Path; "
        "from tools import build_extension; "
        "[build_extension.core_wheel(Path(sys.argv[2])) for _ in range(10)]"
    )
    command = [sys.executable, "-I", "-c", code, str(project_root), str(tmp_path)]
    building = [subprocess.Popen(command) for _ in range(3)]
    assert [process.wait(timeout=120) for process in building] == [0, 0, 0]
    (wheel,) = tmp_path.iterdir()
    assert zipfile.ZipFile(wheel).testzip() is None


def test_a_failed_build_leaves_the_old_archive(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    old = tmp_path / "duskrail.zip"
    old.write_bytes(b"old")
    monkeypatch.setattr(build_extension, "pinned_packages", lambda: ["no-such-package-of-ours==9.9.9"])
    monkeypatch.setattr(build_extension, "fetch_wheels", _cannot_fetch)
    assert build_extension.main(["-o", str(old)]) == 2
    assert old.read_bytes() == b"old"
    assert list(tmp_path.iterdir()) == [old]


def _cannot_fetch(*_arguments: object) -> list[Path]:
    raise build_extension.CannotBuild("pip could not fetch it")


# Runs in a Blender of its own with an empty home, so that nothing of this environment's helps it.
USE_IT = """
import json, sys, tomllib
from pathlib import Path
import bpy
zip_file, older = sys.argv[-2:]
module = "bl_ext.user_default.duskrail"
told = {}
def install(file):
    bpy.ops.extensions.package_install_files(filepath=file, repo="user_default", enable_on_install=True)
    package = sys.modules[module]
    return tomllib.loads((Path(package.__file__).parent / "blender_manifest.toml").read_text())["version"]
told["before"] = install(older)
told["opened"] = list(bpy.ops.duskrail.new_scene())
told["open_blocks"] = len(bpy.context.scene.duskrail.blocks)
told["after"] = install(zip_file)
told["kept_blocks"] = len(bpy.context.scene.duskrail.blocks)
told["kept_works"] = list(bpy.ops.duskrail.step_day(days=1))
told["enabled"] = module in bpy.context.preferences.addons
import planner_core
told["core"] = planner_core.__file__
told["new"] = list(bpy.ops.duskrail.new_scene())
told["blocks"] = len(bpy.context.scene.duskrail.blocks)
told["rail"] = bpy.context.preferences.addons[module].preferences.rail_m
def ours():
    listeners = [f for name in dir(bpy.app.handlers) for f in (getattr(bpy.app.handlers, name),)
                 if isinstance(f, list) for f in f if module in getattr(f, "__module__", "")]
    types = [name for name in dir(bpy.types) if name.startswith("DUSKRAIL")]
    return len(listeners), types, hasattr(bpy.types.Scene, "duskrail")
told["on"] = ours()
from importlib import import_module
listening = [import_module(module + name) for name in (".state.handlers", ".ui.evening", ".ui.photo_view")]
told["listened_to"] = sum(len(one.HANDLERS) for one in listening)
for _ in range(2):
    bpy.ops.preferences.addon_disable(module=module)
    told["off"] = ours()
    bpy.ops.preferences.addon_enable(module=module)
    told["again"] = ours()
    bpy.context.scene.duskrail.title = "Another"
    told["added"] = list(bpy.ops.duskrail.add_block(kind="tower", where="MAP", distance=40.0))
    told["stepped"] = list(bpy.ops.duskrail.step_day(days=3))
    bpy.ops.ed.undo_push(message="step")
bpy.ops.wm.read_factory_settings(use_empty=True)
told["forgotten"] = ours()
bpy.ops.preferences.addon_enable(module=module)
told["new_again"] = list(bpy.ops.duskrail.new_scene(example=True))
told["ridge"] = list(bpy.ops.duskrail.add_ridge(distance=9000.0))
told["pose_options"] = sorted(bpy.ops.duskrail.pose_move.get_rna_type().properties.keys())
told["blocks_after"] = len(bpy.context.scene.duskrail.blocks)
index, repo = next((i, r) for i, r in enumerate(bpy.context.preferences.extensions.repos)
                   if r.module == "user_default")
bpy.ops.extensions.package_uninstall(repo_index=index, pkg_id="duskrail")
told["removed"] = ours()
told["left"] = (Path(repo.directory) / "duskrail").exists()
print("TOLD" + json.dumps(told))
sys.stdout.flush()
import os
os._exit(0)
"""


@pytest.fixture(scope="module")
def told(archive: Path, tmp_path_factory: pytest.TempPathFactory) -> dict[str, object]:
    """What a Blender with the extension installed from disk says of it."""
    home = tmp_path_factory.mktemp("home")
    script = home / "use_it.py"
    script.write_text(USE_IT, encoding="utf-8")
    older = home / "older.zip"
    with_manifest(archive, older, build_extension.project_version().encode(), b"0.0.1")
    done = subprocess.run(
        [sys.executable, "-P", str(script), str(archive), str(older)],
        env={**os.environ, "BLENDER_USER_RESOURCES": str(home), "PYTHONPATH": ""},
        cwd=home,
        capture_output=True,
        text=True,
        timeout=300,
        check=False,
    )
    lines = [line for line in done.stdout.splitlines() if line.startswith("TOLD")]
    assert lines, done.stdout[-2000:] + done.stderr[-2000:]
    found: dict[str, object] = json.loads(lines[0].removeprefix("TOLD"))
    return found


def test_installed_from_disk_it_works_with_what_it_carries(told: dict[str, object]) -> None:
    assert told["enabled"] is True
    assert "extensions" in str(told["core"])  # the core out of the extension's own wheel
    assert told["new"] == ["FINISHED"]
    assert 0 != told["blocks"] == told["blocks_after"] - 1  # type: ignore[operator]
    assert told["rail"] == pytest.approx(1.2)


def test_updated_with_a_plan_open_the_plan_stays_and_works(told: dict[str, object]) -> None:
    assert (told["before"], told["after"]) == ("0.0.1", build_extension.project_version())
    assert told["opened"] == told["kept_works"] == ["FINISHED"]
    assert 0 != told["open_blocks"] == told["kept_blocks"]


def test_removed_it_is_gone(told: dict[str, object]) -> None:
    assert told["removed"] == [0, [], False]
    assert told["left"] is False


def test_disabled_it_leaves_nothing_behind_and_enabled_again_it_is_whole(told: dict[str, object]) -> None:
    listeners, types, has_property = told["on"]  # type: ignore[misc]
    assert listeners == told["listened_to"]
    assert listeners > 0
    assert len(types) > 30
    assert has_property
    assert told["off"] == [0, [], False]
    assert told["again"] == told["on"]


def test_buttons_work_after_disabling_and_after_factory_settings(
    told: dict[str, object],
) -> None:
    assert told["added"] == told["stepped"] == ["FINISHED"]
    assert told["forgotten"] == [0, [], False]
    assert told["new_again"] == told["ridge"] == ["FINISHED"]
    assert told["pose_options"] == ["pose", "rna_type", "way"]
