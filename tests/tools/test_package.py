"""The packages: built from the source, installed without a network, used from any folder as `duskrail`."""

from __future__ import annotations

import json
import os
import re
import shlex
import shutil
import subprocess
import sys
import sysconfig
import tarfile
import venv
import zipfile
from pathlib import Path

import pytest

from tools import program
from tools.build_extension import project_version
from tools.duskrail import build_parser
from tools.examples import EXAMPLES

pytestmark = pytest.mark.once

BUILD = """
import sys
from setuptools import build_meta
output = sys.argv[1]
build_meta.build_wheel(output)
build_meta.build_sdist(output)
"""
# What each folder is called where it is installed: `tools` would clash with other people's
PACKAGES = {"planner_core": "planner_core", "blender_addon": "blender_addon", "tools": "duskrail_tools"}
SOURCE = "planner_core blender_addon tools docs example_scenes tests".split()
NEW = (
    '--at 43.46,-3.79 --on 2027-03-14 --subject "tower 262 160 20" --foreground "post 250 1.3" '
    "--lens 24 --rail 1.2"
)


@pytest.fixture(scope="module")
def built(project_root: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the wheel and the source archive, built from a copy of the source."""
    copy, output = tmp_path_factory.mktemp("source"), tmp_path_factory.mktemp("dist")
    for name in SOURCE:
        shutil.copytree(
            project_root / name, copy / name, ignore=shutil.ignore_patterns("__pycache__", "*.blend*")
        )
    for path in project_root.iterdir():
        if path.is_file() and path.suffix in {".toml", ".md", ".in", ""} and not path.name.startswith("."):
            shutil.copy2(path, copy)
    done = subprocess.run(
        [sys.executable, "-W", "error", "-c", BUILD, str(output)], cwd=copy, capture_output=True, text=True
    )
    assert done.returncode == 0, done.stderr[-2000:]
    return output


@pytest.fixture(scope="module")
def installed(built: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A virtual environment with the wheel; what it needs is this environment's: nothing is fetched."""
    folder = tmp_path_factory.mktemp("home") / "venv"
    venv.create(folder, with_pip=False, symlinks=os.name != "nt")
    paths = {"base": str(folder), "platbase": str(folder)}
    home = Path(sysconfig.get_path("purelib", vars=paths))
    (home / "borrowed.pth").write_text(sysconfig.get_path("purelib") + "\n", encoding="utf-8")
    scripts = Path(sysconfig.get_path("scripts", vars=paths))
    (wheel,) = built.glob("*.whl")
    pip = [sys.executable, "-m", "pip", "--python", str(folder), "install", "--quiet"]
    options = ["--no-index", "--no-deps", "--no-compile", "--disable-pip-version-check"]
    subprocess.run([*pip, *options, str(wheel)], check=True, capture_output=True)
    return scripts / ("duskrail.exe" if os.name == "nt" else "duskrail")


def run(command: Path, words: str, folder: Path, **more: str) -> subprocess.CompletedProcess[str]:
    surroundings = {name: value for name, value in os.environ.items() if not name.startswith("PYTHON")}
    return subprocess.run(
        [str(command), *shlex.split(words)],
        cwd=folder,
        env=surroundings | more,
        capture_output=True,
        text=True,
        stdin=subprocess.DEVNULL,
    )


def test_the_wheel_has_every_module_and_data_file(built: Path, project_root: Path) -> None:
    (wheel,) = built.glob("*.whl")
    with zipfile.ZipFile(wheel) as packed:
        names = set(packed.namelist())
    for folder, package in PACKAGES.items():
        wanted = {
            f"{package}/{path.relative_to(project_root / folder).as_posix()}"
            for path in (project_root / folder).rglob("*")
            if path.is_file() and path.suffix != ".pyc" and "requirements" not in path.parts
        }
        assert wanted <= names
    on_top = {name.partition("/")[0] for name in names}
    assert {name for name in on_top if not name.endswith(".dist-info")} == set(PACKAGES.values())


def test_the_command_line_calls_its_own_modules_by_whatever_name_their_folder_has(project_root: Path) -> None:
    absolute = re.compile(r"^\s*(?:from|import) tools\b", re.MULTILINE)
    paths = (project_root / "tools").glob("*.py")
    assert [path.name for path in paths if absolute.search(path.read_text(encoding="utf-8"))] == []


def test_the_source_archive_builds_and_tests_itself(built: Path) -> None:
    (archive,) = built.glob("*.tar.gz")
    with tarfile.open(archive) as packed:
        names = {name.partition("/")[2] for name in packed.getnames()}
    wanted = {
        "pyproject.toml",
        "LICENSE",
        "README.md",
        "CHANGELOG.md",
        "docs/harbour_light.jpg",
        "example_scenes/harbour_light.plan.json",
        "tests/conftest.py",
        "tools/bootstrap.py",
        "tools/requirements/python3.11.txt",
    }
    assert wanted <= names


def test_the_installed_command_goes_from_nothing_to_a_clip(installed: Path, tmp_path: Path) -> None:
    cache = {"DUSKRAIL_CACHE": str(tmp_path / "cache")}
    assert run(installed, "--version", tmp_path).stdout == f"duskrail {project_version()}\n"
    made = run(installed, f"new evening.plan.json {NEW}", tmp_path)
    assert made.returncode == 0, made.stderr
    assert run(installed, "check evening.plan.json", tmp_path, **cache).returncode == 0
    assert run(installed, "sheet evening.plan.json -o sheet.html", tmp_path, **cache).returncode == 0
    assert (tmp_path / "sheet.html").read_text(encoding="utf-8").startswith("<!doctype html>")
    words = "preview evening.plan.json -o clip.mp4 --frames 179:182 --size 160x90"
    clip = run(installed, words, tmp_path, **cache)
    assert clip.returncode == 0, clip.stderr
    assert clip.stdout.splitlines()[-1] == "clip.mp4"
    assert (tmp_path / "clip.mp4").stat().st_size > 1000
    again = run(installed, f"{words} --quiet", tmp_path, **cache)
    assert (again.stdout, again.stderr) == ("clip.mp4\n", "")
    told = json.loads(run(installed, "doctor --json", tmp_path, **cache).stdout)
    assert str(installed.parent.parent) in told["duskrail"]["found"], "it runs what was installed"
    assert str(tmp_path / "cache") in told["cache"]["found"]


def test_the_installed_command_speaks_of_itself_alone(installed: Path, tmp_path: Path) -> None:
    for words in ("dance", "preview --help", "new x.plan.json"):
        done = run(installed, words, tmp_path)
        assert "duskrail" in done.stdout + done.stderr or words.startswith("new")
        assert "bootstrap" not in done.stdout + done.stderr


@pytest.mark.skipif(os.name == "nt", reason="the shell is Unix's")
def test_the_tab_key_completes_verbs_and_options(installed: Path, tmp_path: Path) -> None:
    assert "duskrail" in run(installed, "--completion bash", tmp_path).stdout
    answer = tmp_path / "answer"
    asked = {"_ARGCOMPLETE": "1", "_ARGCOMPLETE_STDOUT_FILENAME": str(answer), "_ARGCOMPLETE_SHELL": "bash"}
    for line, expected in (("duskrail pre", "preview"), ("duskrail preview p --lo", "--look")):
        run(installed, "", tmp_path, **asked, COMP_LINE=line, COMP_POINT=str(len(line)), IFS="\n")
        assert expected in answer.read_text(encoding="utf-8").split()


def test_every_file_that_the_readme_points_to_is_there(project_root: Path) -> None:
    readme = (project_root / "README.md").read_text(encoding="utf-8")
    links = [link for link in re.findall(r"\]\(([^)#]+)\)", readme) if "://" not in link]
    assert len(links) > 5
    assert [link for link in links if not (project_root / link).is_file()] == []


def test_the_readme_has_a_row_for_each_verb(project_root: Path) -> None:
    readme = (project_root / "README.md").read_text(encoding="utf-8")
    rows = {match[1] for match in re.finditer(r"^\| `(\w+)[^|]*` \|", readme, re.MULTILINE)}
    assert rows >= set(EXAMPLES)


# ---------------------------------------------------------------- words that depend on how it was started


def test_every_verb_has_an_example_that_is_read_as_it_stands() -> None:
    parser = build_parser()
    for verb, words in EXAMPLES.items():
        arguments = parser.parse_args(shlex.split(f"{verb} {words}"))
        assert arguments.verb == verb


def test_what_blender_is_missing_for_says_how_to_get_it_by_how_it_was_started(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    from tools import outcome

    monkeypatch.setattr(outcome.importlib.util, "find_spec", lambda _name: None)
    with pytest.raises(outcome.UsageError, match=r"python3 tools/bootstrap\.py"):
        outcome.need_blender()
    monkeypatch.setenv(program.STARTED_AS_VARIABLE, program.NAME)
    with pytest.raises(outcome.UsageError, match=r"pipx install .*\[preview\]") as said:
        outcome.need_blender()
    assert "bootstrap" not in str(said.value)


def test_progress_in_a_pipe_is_a_line_for_each_tenth(capsys: pytest.CaptureFixture[str]) -> None:
    from blender_addon.render.progress import Progress
    from tools.preview_command import ProgressLine

    def shown(line: ProgressLine) -> list[str]:
        line(Progress(stage="drawing", done=0, total=480, engine="Workbench"))
        for done in range(481):
            line(Progress(stage="drawing", done=done, total=480))
        line(Progress(stage="encoding", done=480, total=480))
        return capsys.readouterr().err.splitlines()

    lines = shown(ProgressLine())
    assert lines[0] == "Drawing with Workbench."
    assert lines[1:-1] == [f"Frame {48 * tenth} of 480" for tenth in range(1, 11)]
    assert lines[-1] == "Writing the clip."
    assert shown(ProgressLine(silent=True)) == []


def test_the_command_line_of_the_source_names_the_way_it_is_started() -> None:
    assert program.program() == "python3 tools/bootstrap.py"
