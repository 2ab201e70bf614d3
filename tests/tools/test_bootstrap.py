"""The set-up script: on a new machine it works or says what to do, and later it stays out of the way."""

from __future__ import annotations

import contextlib
import importlib.metadata
import json
import os
import re
import shutil
import signal
import socket
import subprocess
import sys
import time
import tomllib
import zipfile
from collections.abc import Callable, Iterator
from pathlib import Path
from types import SimpleNamespace

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

from tools import bootstrap

pytestmark = pytest.mark.once

PYTHONS = sorted(bootstrap.PYTHONS)
HERE = sys.version_info[:2]
DEBIAN = {"ID": "debian", "VERSION_ID": "12"}
FEDORA = {"ID": "fedora", "VERSION_ID": "42"}

posix_only = pytest.mark.skipif(os.name == "nt", reason="uses signals and shell scripts")


# --- the pins -----------------------------------------------------------------------------------


def pinned(minor: tuple[int, int]) -> dict[str, str]:
    pins = [pin for group in bootstrap.read_pins(minor).values() for pin in group]
    return {canonicalize_name(name): version for name, version in (pin.split("==") for pin in pins)}


@pytest.mark.parametrize("minor", PYTHONS)
def test_every_declared_package_is_pinned_at_a_version_it_allows(
    project_root: Path, minor: tuple[int, int]
) -> None:
    project = tomllib.loads((project_root / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    declared = {
        "core": project["dependencies"],
        "preview": project["optional-dependencies"]["preview"],
        "test": project["optional-dependencies"]["test"],
    }
    groups = bootstrap.read_pins(minor)
    assert set(groups) == ({"core", "preview", "test"} if minor in bootstrap.BLENDER_FOR_PYTHON else {"core"})
    for group, requirements in ((group, declared[group]) for group in groups):
        versions = {canonicalize_name(pin.split("==")[0]): pin.split("==")[1] for pin in groups[group]}
        for requirement in map(Requirement, requirements):
            version_here = {"python_version": "{}.{}".format(*minor)}
            if requirement.marker is None or requirement.marker.evaluate(version_here):
                version = versions[canonicalize_name(requirement.name)]
                assert requirement.specifier.contains(version), f"{requirement} is pinned at {version}"


def test_the_pins_leave_out_nothing_that_a_pinned_package_asks_for() -> None:
    # packages are installed without looking for others, so the list has to be complete
    pins = pinned(HERE)
    for name in pins:
        for text in importlib.metadata.distribution(name).requires or []:
            asked = Requirement(text)
            if asked.marker is None or asked.marker.evaluate({"extra": ""}):
                version = pins.get(canonicalize_name(asked.name))
                assert version is not None, f"{name} asks for {asked}"
                assert asked.specifier.contains(version), f"{name} asks for {asked}, pinned at {version}"


def test_pins_for_another_platform_are_left_out(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "tools" / "requirements").mkdir(parents=True)
    listing = (
        "# [core] numbers\nnumpy==2.0\ncolorama==0.4; sys_platform == 'win32'\n\n# [test] x\npytest==9.0\n"
    )
    (tmp_path / "tools" / "requirements" / "python3.11.txt").write_text(listing)
    monkeypatch.setattr(bootstrap, "ROOT", tmp_path)
    monkeypatch.setattr(sys, "platform", "linux")
    assert bootstrap.read_pins((3, 11)) == {"core": ["numpy==2.0"], "test": ["pytest==9.0"]}
    monkeypatch.setattr(sys, "platform", "win32")
    assert bootstrap.read_pins((3, 11))["core"] == ["numpy==2.0", "colorama==0.4"]


# --- what it says -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("platform", "release", "advice"),
    [
        ("linux", DEBIAN, "apt install python3.11 python3.11-venv"),
        ("linux", {"ID": "debian", "VERSION_ID": "13"}, "apt install python3.13 python3.13-venv"),
        ("linux", FEDORA, "dnf install python3.13"),
        ("linux", {"ID": "rocky", "ID_LIKE": "rhel centos fedora"}, "dnf install python3.13"),
        ("linux", {}, "pyenv install 3.13"),
        ("darwin", {}, "brew install python@3.13"),
        ("win32", {}, "winget install Python.Python.3.13"),
    ],
)
def test_each_system_is_told_its_own_way_to_a_python(
    platform: str, release: dict[str, str], advice: str
) -> None:
    assert advice in bootstrap.how_to_get_python(platform, release)


def test_missing_system_libraries_are_named_by_package() -> None:
    error = "Traceback …\nImportError: libXi.so.6: cannot open shared object file: No such file or directory"
    on_debian = bootstrap.why_blender_fails(error, ["libSM.so.6", "libXi.so.6"], DEBIAN)
    assert on_debian.endswith("apt install libsm6 libxi6")
    assert "libSM.so.6, libXi.so.6" in on_debian
    assert bootstrap.why_blender_fails(error, [], FEDORA).endswith("dnf install libXi")
    assert bootstrap.why_blender_fails(error, [], {}).endswith("install libXi")


def test_a_library_it_has_no_package_for_is_named_all_the_same() -> None:
    said = bootstrap.why_blender_fails("", ["libodd.so.9", "libGL.so.1"], DEBIAN)
    assert said.endswith("apt install libgl1, and install the package that has libodd.so.9")
    assert bootstrap.why_blender_fails("", ["libodd.so.9"], DEBIAN).endswith(
        "install the package that has libodd.so.9"
    )


def test_another_reason_why_blender_does_not_start_is_passed_on() -> None:
    said = bootstrap.why_blender_fails("Traceback …\nImportError: numpy is too new", [], DEBIAN)
    assert said == "Blender's module does not start: ImportError: numpy is too new"


@pytest.mark.parametrize(
    ("log", "advice"),
    [
        (
            "ERROR: Could not install packages due to an OSError: [Errno 28] No space left on device",
            "free some",
        ),
        ("WARNING: Retrying (…) after connection broken by 'NewConnectionError'", "check the network"),
        (
            "… Failed to establish a new connection: [Errno -3] Temporary failure in name resolution",
            "its DNS",
        ),
        ("… SSLError(SSLCertVerificationError(1, '[SSL: CERTIFICATE_VERIFY_FAILED] …", "certificate"),
        ("… ProxyError('Cannot connect to proxy.', …)", "The proxy refuses"),
        ("ERROR: No matching distribution found for numpy==2.0", "index that pip asks has no numpy==2.0"),
        ("OSError: [Errno 122] Disk quota exceeded", "free some"),
        ("ERROR: No matching distribution found for bpy==5.2.3", "There is no bpy==5.2.3 for this machine"),
        ("ERROR: something else", "pip stopped: ERROR: something else"),
    ],
)
def test_a_failed_installation_is_told_in_one_line(log: str, advice: str) -> None:
    said = bootstrap.why_pip_failed(["Collecting bpy", log], Path("setup.log"))
    assert advice in said
    assert "\n" not in said


def test_a_full_disk_is_seen_before_anything_is_written(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    shutil.copytree(bootstrap.ROOT / "tools" / "requirements", tmp_path / "tools" / "requirements")
    monkeypatch.setattr(bootstrap, "ROOT", tmp_path)
    monkeypatch.delenv("DUSKRAIL_PYTHON", raising=False)
    monkeypatch.setattr(shutil, "disk_usage", lambda path: SimpleNamespace(free=1.0e9))
    assert bootstrap.main(["preview", "x.plan.json", "-o", "clip.mp4"]) == 2
    said = capsys.readouterr().err
    assert "has 1.0 GB free and the set-up needs 2.2 GB: free some space first" in said
    assert "Traceback" not in said
    assert not (tmp_path / ".venv").exists()


# --- choosing a Python --------------------------------------------------------------------------


def python_that_says(folder: Path, name: str, version: str, *, venv: int = 1, bits: int = 64) -> Path:
    """A program that answers like a Python of this version would."""
    folder.mkdir(exist_ok=True)
    script = folder / name
    spaced = version.replace(".", " ")
    script.write_text(f"#!/bin/sh\nprintf '%s\\n' {script} '{spaced}' {venv} {bits}\n")
    script.chmod(0o755)
    return script


def running(version: tuple[int, int, int], *, can_make_venv: bool = True) -> bootstrap.Interpreter:
    return bootstrap.Interpreter("/somewhere/python3", version, can_make_venv, 64)


@pytest.fixture
def lonely(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A machine with no Python but those that a test puts into this folder; Python 3.12 is running."""
    for name in ("DUSKRAIL_PYTHON", "DUSKRAIL_BLENDER"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setattr(bootstrap.blender_application, "USUAL_PLACES", {})
    monkeypatch.setattr(bootstrap, "environments", lambda: iter(()))
    monkeypatch.setenv("PATH", str(tmp_path / "bin"))
    monkeypatch.setenv("PYENV_ROOT", str(tmp_path / "pyenv"))
    monkeypatch.setattr(bootstrap, "this_interpreter", lambda: running((3, 12, 1)))
    monkeypatch.setattr(bootstrap, "os_release", lambda: DEBIAN)
    return tmp_path / "bin"


@posix_only
class TestChoosingAPython:
    def test_the_running_one_where_it_fits(self, lonely: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        python_that_says(lonely, "python3.11", "3.11.9")
        monkeypatch.setattr(bootstrap, "this_interpreter", lambda: running((3, 13, 2)))
        assert bootstrap.pick_interpreter() == running((3, 13, 2))

    def test_else_one_on_the_path(self, lonely: Path) -> None:
        found = python_that_says(lonely, "python3.13", "3.13.0")
        assert bootstrap.pick_interpreter() == bootstrap.Interpreter(str(found), (3, 13, 0), True, 64)

    def test_a_shim_that_starts_nothing_is_passed_over(self, lonely: Path) -> None:
        lonely.mkdir()
        (lonely / "python3.11").write_text("#!/bin/sh\necho 'version not installed' >&2\nexit 127\n")
        (lonely / "python3.11").chmod(0o755)
        found = python_that_says(lonely, "python3", "3.13.5")
        assert bootstrap.pick_interpreter().path == str(found)

    def test_else_one_that_pyenv_holds(self, lonely: Path) -> None:
        home = lonely.parent / "pyenv" / "versions" / "3.11.7" / "bin"
        home.mkdir(parents=True)
        found = python_that_says(home, "python", "3.11.7")
        assert bootstrap.pick_interpreter().path == str(found)

    def test_where_none_fits_it_says_what_to_install(self, lonely: Path) -> None:
        python_that_says(lonely, "python3", "3.10.4")
        python_that_says(lonely, "python", "3.11.4", bits=32)
        with pytest.raises(bootstrap.CannotSetUp) as caught:
            bootstrap.pick_interpreter()
        lines = str(caught.value).splitlines()
        assert "needs 64-bit Python 3.11 or 3.13" in lines[0]
        assert "this is 64-bit Python 3.12.1" in lines[0]
        assert "apt install python3.11 python3.11-venv" in lines[1]
        assert len(lines) == 2

    def test_one_without_venv_is_only_the_last_resort(self, lonely: Path) -> None:
        python_that_says(lonely, "python3.11", "3.11.2", venv=0)
        with pytest.raises(bootstrap.CannotSetUp, match=r"apt install python3\.11-venv$"):
            bootstrap.pick_interpreter()
        found = python_that_says(lonely, "python3.13", "3.13.2")
        assert bootstrap.pick_interpreter().path == str(found)

    @pytest.mark.parametrize(
        ("version", "advice"),
        [("3.12.1", "needs 64-bit Python 3.11 or 3.13"), (None, "is not a Python that starts")],
    )
    def test_a_named_one_that_does_not_fit_is_refused(
        self, lonely: Path, monkeypatch: pytest.MonkeyPatch, version: str | None, advice: str
    ) -> None:
        named = python_that_says(lonely, "odd", version) if version else lonely / "nothing"
        monkeypatch.setenv("DUSKRAIL_PYTHON", str(named))
        with pytest.raises(bootstrap.CannotSetUp, match=advice) as caught:
            bootstrap.pick_interpreter()
        assert str(named) in str(caught.value)

    @pytest.mark.parametrize("version", ["3.11.4", "3.12.1", "3.13.0", "3.14.2"])
    def test_any_python_from_3_11_does_for_the_core(
        self, lonely: Path, monkeypatch: pytest.MonkeyPatch, version: str
    ) -> None:
        named = python_that_says(lonely, "any", version)
        monkeypatch.setenv("DUSKRAIL_PYTHON", str(named))
        assert bootstrap.pick_interpreter(for_blender=False).path == str(named)

    def test_the_core_takes_the_running_one_only_where_none_fits_blender(self, lonely: Path) -> None:
        assert bootstrap.pick_interpreter(for_blender=False) == running((3, 12, 1))
        found = python_that_says(lonely, "python3.13", "3.13.0")
        assert bootstrap.pick_interpreter(for_blender=False).path == str(found)

    def test_the_core_refuses_what_is_too_old(self, lonely: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr(bootstrap, "this_interpreter", lambda: running((3, 10, 4)))
        with pytest.raises(
            bootstrap.CannotSetUp, match=r"needs 64-bit Python 3\.11 to 3\.14; this is .* 3\.10\.4"
        ):
            bootstrap.pick_interpreter(for_blender=False)


def program(folder: Path, name: str, text: str) -> Path:
    folder.mkdir(exist_ok=True)
    script = folder / name
    script.write_text(f"#!/bin/sh\n{text}\n")
    script.chmod(0o755)
    return script


@posix_only
class TestChoosingWhatDraws:
    PREVIEW = ("core", "preview")

    def test_blenders_module_where_a_python_fits_it(self, lonely: Path) -> None:
        python_that_says(lonely, "python3.13", "3.13.0")
        program(lonely, "blender", "echo Blender 5.2.1")
        assert bootstrap.with_what_draws(self.PREVIEW) == self.PREVIEW

    def test_else_a_blender_application_and_the_core_alone(self, lonely: Path) -> None:
        program(lonely, "blender", "echo Blender 5.2.1")
        assert bootstrap.with_what_draws(self.PREVIEW) == ["core"]
        assert bootstrap.pick_interpreter(for_blender=False) == running((3, 12, 1))

    def test_else_a_python_that_uv_provides(self, lonely: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setenv("DUSKRAIL_PYTHON", "")  # to be put back
        provided = python_that_says(lonely.parent / "uv", "python3.13", "3.13.4")
        once = lonely.parent / "installed"
        program(
            lonely,
            "uv",
            f'[ "$2" = install ] && : > {once} && exit\n[ -e {once} ] && echo {provided} || exit 2',
        )
        assert bootstrap.with_what_draws(self.PREVIEW) == self.PREVIEW
        assert once.exists()
        assert bootstrap.pick_interpreter().path == str(provided)

    def test_else_it_says_what_would(self, lonely: Path) -> None:
        program(lonely, "blender", "echo Blender 4.2.0")
        with pytest.raises(bootstrap.CannotSetUp) as caught:
            bootstrap.with_what_draws(self.PREVIEW)
        assert "apt install python3.11 python3.11-venv" in str(caught.value)
        assert "Blender 4.5 or later; DUSKRAIL_BLENDER=/path/to/blender" in str(caught.value)

    def test_a_named_blender_that_will_not_do_is_refused(
        self, lonely: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.setenv("DUSKRAIL_BLENDER", str(program(lonely, "old", "echo Blender 4.2.0")))
        with pytest.raises(bootstrap.CannotSetUp, match=r"is Blender 4\.2; 4\.5 or later is needed"):
            bootstrap.with_what_draws(self.PREVIEW)

    def test_tests_are_never_run_without_blenders_module(self, lonely: Path) -> None:
        program(lonely, "blender", "echo Blender 5.2.1")
        assert bootstrap.with_what_draws(("core", "preview", "test")) == ("core", "preview", "test")
        with pytest.raises(bootstrap.CannotSetUp):
            bootstrap.pick_interpreter()


@posix_only
@pytest.mark.parametrize(
    ("script", "says"),
    [
        ("exit 1", "python3.11-venv|its venv and ensurepip modules"),
        ('case "$*" in *ensurepip*) exit 0;; esac; echo the disk is odd; exit 1', "the disk is odd$"),
    ],
)
def test_a_python_that_lacks_its_pip_is_told_what_to_install(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, script: str, says: str
) -> None:
    monkeypatch.setattr(bootstrap, "ROOT", tmp_path)
    python = tmp_path / "python3.11"
    python.write_text(f"#!/bin/sh\n{script}\n")
    python.chmod(0o755)
    interpreter = bootstrap.Interpreter(str(python), (3, 11, 2), True, 64)
    with pytest.raises(bootstrap.CannotSetUp, match=says):
        bootstrap.make_venv(bootstrap.Environment(tmp_path / ".venv"), interpreter)


# --- the whole thing, on a small project with packages made here ----------------------------------

ECHO = """
import signal, sys, time
import tinycore
if sys.argv[1] == "wait":
    signal.signal(signal.SIGINT, lambda *_: sys.exit(5))
    print("waiting", flush=True)
    time.sleep(60)
print(tinycore.VERSION, *sys.argv[1:])
sys.exit(7 if sys.argv[1] == "check" else 0)
"""


def make_wheel(folder: Path, name: str, version: str, modules: dict[str, str]) -> None:
    info = f"{name}-{version}.dist-info"
    files = {
        **modules,
        f"{info}/METADATA": f"Metadata-Version: 2.1\nName: {name}\nVersion: {version}\n",
        f"{info}/WHEEL": "Wheel-Version: 1.0\nGenerator: test\nRoot-Is-Purelib: true\nTag: py3-none-any\n",
    }
    record = "".join(f"{path},,\n" for path in [*files, f"{info}/RECORD"])
    with zipfile.ZipFile(folder / f"{name}-{version}-py3-none-any.whl", "w") as wheel:
        for path, content in {**files, f"{info}/RECORD": record}.items():
            wheel.writestr(path, content)


class SmallProject:
    """A project with this set-up script, two packages to install and a verb that echoes."""

    def __init__(self, root: Path, wheels: Path) -> None:
        self.root = root
        self.wheels = wheels
        self.venv = root / ".venv"

    def pin(self, core: str) -> None:
        listing = f"# [core] x\ntinycore=={core}\n\n# [preview] x\ntiny_bpy==1.0\n\n# [test] x\n"
        for minor in PYTHONS:
            name = "python{}.{}.txt".format(*minor)
            (self.root / "tools" / "requirements" / name).write_text(listing)

    def command(self, *arguments: str) -> list[str]:
        return [sys.executable, str(self.root / "tools" / "bootstrap.py"), *arguments]

    def environ(self, **changes: str) -> dict[str, str]:
        kept = {key: value for key, value in os.environ.items() if key != "DUSKRAIL_PYTHON"}
        return {**kept, "PIP_NO_INDEX": "1", "PIP_FIND_LINKS": str(self.wheels), **changes}

    def run(self, *arguments: str, **environ: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            self.command(*arguments),
            env=self.environ(**environ),
            cwd=self.root,
            capture_output=True,
            text=True,
            timeout=120,
        )

    def site_packages(self) -> Path:
        return bootstrap.Environment(self.venv).site_packages


@pytest.fixture(scope="module")
def first_run(
    tmp_path_factory: pytest.TempPathFactory, project_root: Path
) -> tuple[SmallProject, subprocess.CompletedProcess[str]]:
    root = tmp_path_factory.mktemp("small project")
    (root / "tools" / "requirements").mkdir(parents=True)
    wheels = tmp_path_factory.mktemp("wheels")
    for name in ("__init__.py", "bootstrap.py", "blender_application.py"):
        shutil.copy(project_root / "tools" / name, root / "tools")
    (root / "tools" / "duskrail.py").write_text(ECHO)
    for version in ("1.0", "1.1"):
        make_wheel(wheels, "tinycore", version, {"tinycore.py": f"VERSION = '{version}'\n"})
    lacks = "raise ImportError('libXi.so.6: cannot open shared object file: No such file or directory')\n"
    make_wheel(wheels, "tiny_bpy", "1.0", {"bpy/__init__.py": lacks})
    project = SmallProject(root, wheels)
    project.pin(core="1.0")
    return project, project.run("check", "a plan.json", "--json")


@pytest.fixture
def project(first_run: tuple[SmallProject, subprocess.CompletedProcess[str]], tmp_path: Path) -> SmallProject:
    """A copy of the small project after its first run, to do with as one likes."""
    shutil.copytree(first_run[0].root, tmp_path / "copy", symlinks=True, copy_function=copied_or_linked)
    return SmallProject(tmp_path / "copy", first_run[0].wheels)


def copied_or_linked(source: str, target: str) -> None:
    """The thousands of files of pip's own, which nothing here changes, are linked."""
    if {"pip", "setuptools"} & set(Path(source).parts):
        os.link(source, target)
    else:
        shutil.copy2(source, target)


@pytest.fixture(scope="module")
def quick(
    first_run: tuple[SmallProject, subprocess.CompletedProcess[str]], tmp_path_factory: pytest.TempPathFactory
) -> dict[str, str]:
    """Environment variables for a Python whose `-m venv` copies what this one's has made, in a moment
    instead of ten seconds: for what isn't about the making.
    """
    folder = tmp_path_factory.mktemp("quick")
    ours = shutil.ignore_patterns("tinycore*", bootstrap.MARKER, "setup.log")
    shutil.copytree(first_run[0].venv, folder / "venv", symlinks=True, ignore=ours)
    python = python_with_venv(folder / "python", f'for to; do :; done; exec cp -RPp "{folder}/venv/." "$to"')
    return {"DUSKRAIL_PYTHON": str(python)}


def python_with_venv(python: Path, making: str) -> Path:
    """A program that answers like the Python of the tests, and makes an environment by these commands."""
    version = " ".join(map(str, sys.version_info[:3]))
    python.write_text(
        f'#!/bin/sh\ncase "$*" in *"-m venv"*) {making} ;; esac\n'
        f"printf '%s\\n' '{python}' '{version}' 1 64\n"
    )
    python.chmod(0o755)
    return python


def test_the_first_run_sets_up_and_runs_the_verb(
    first_run: tuple[SmallProject, subprocess.CompletedProcess[str]],
) -> None:
    project, run = first_run
    assert run.stdout == "1.0 check a plan.json --json\n"
    assert run.returncode == 7
    assert "Making .venv with Python {}.{}".format(*HERE) in run.stderr
    assert "Installing 1 packages into .venv (core)" in run.stderr
    assert "[1/1]" in run.stderr.replace("[ 1/1]", "[1/1]")
    assert "tinycore 1.0" in run.stderr
    assert not (project.site_packages() / "bpy").exists()


def test_the_next_run_is_silent(project: SmallProject) -> None:
    # what it adds to the verb's own time is measured by tools/benchmark.py
    done = subprocess.run(project.command("other"), env=project.environ(), capture_output=True, text=True)
    assert (done.stdout, done.stderr) == ("1.0 other\n", "")


def test_a_changed_pin_is_installed(project: SmallProject) -> None:
    project.pin(core="1.1")
    run = project.run("other")
    assert run.stdout == "1.1 other\n"
    assert "Making .venv" not in run.stderr


def test_a_package_that_went_missing_is_installed_again(project: SmallProject) -> None:
    shutil.rmtree(project.site_packages() / "tinycore-1.0.dist-info")
    (project.site_packages() / "tinycore.py").unlink()
    assert project.run("other").stdout == "1.0 other\n"


@posix_only
def test_a_set_up_that_was_killed_is_begun_anew(project: SmallProject, quick: dict[str, str]) -> None:
    shutil.rmtree(project.venv)
    began = subprocess.Popen(
        project.command("other"),
        env=project.environ(),
        stderr=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        start_new_session=True,
    )
    until = time.monotonic() + 60
    while not (project.venv / "pyvenv.cfg").exists() and time.monotonic() < until:
        time.sleep(0.01)
    os.killpg(began.pid, signal.SIGKILL)
    began.wait()
    assert json.loads((project.venv / bootstrap.MARKER).read_text())["state"] == "unfinished"

    run = project.run("other", **quick)
    assert ".venv is unfinished or broken: making it anew" in run.stderr
    assert run.stdout == "1.0 other\n"


@posix_only
@pytest.mark.parametrize("moment", ["Making", "Installing"])
def test_only_the_set_up_killed_what_it_left_running_is_waited_for(
    project: SmallProject, moment: str, quick: dict[str, str]
) -> None:
    shutil.rmtree(project.venv)
    python = {} if moment == "Making" else quick
    with subprocess.Popen(
        project.command("other"), env=project.environ(**python), stderr=subprocess.PIPE, text=True
    ) as began:
        assert began.stderr is not None
        while not began.stderr.readline().startswith(moment):
            pass
        began.kill()  # venv or pip goes on writing
    run = project.run("other", **quick)
    assert run.stdout == "1.0 other\n"
    assert [path.name for path in sorted(project.root.glob(".*venv*")) if path.is_dir()] == [".venv"]


@posix_only
def test_killed_at_any_moment_the_same_folder_is_used_again(
    project: SmallProject, quick: dict[str, str]
) -> None:
    shutil.rmtree(project.venv)
    for after_s in (0.02, 0.06, 0.12, 0.2, 0.4):
        with subprocess.Popen(
            project.command("other"),
            env=project.environ(),
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            start_new_session=True,
        ) as began:
            time.sleep(after_s)
            os.killpg(began.pid, signal.SIGKILL)
    assert project.run("other", **quick).stdout == "1.0 other\n"
    assert [path.name for path in sorted(project.root.glob(".*venv*")) if path.is_dir()] == [".venv"]


def test_a_disk_that_fills_up_during_the_set_up_is_told_and_the_next_run_goes_on(
    project: SmallProject, tmp_path: Path, quick: dict[str, str]
) -> None:
    disk = tmp_path / "disk"
    disk.mkdir()
    options = ["-t", "tmpfs", "-o", "size=1g,nr_inodes=60", "tmpfs", str(disk)]
    if shutil.which("mount") is None or subprocess.run(["mount", *options], check=False).returncode:
        pytest.skip("no small disk can be mounted here")
    try:
        shutil.copytree(project.root / "tools", disk / "tools")
        small = SmallProject(disk, project.wheels)
        run = small.run("check", "a plan.json")
        assert run.returncode == 2
        assert run.stderr.splitlines()[-1].endswith("The disk is full: free some space and run this again")
        subprocess.run(["mount", "-o", "remount,nr_inodes=9000", str(disk)], check=True)
        assert small.run("check", "a plan.json", **quick).returncode == 7
        assert [path.name for path in disk.iterdir() if "venv" in path.name and path.is_dir()] == [".venv"]
    finally:
        subprocess.run(["umount", "-l", str(disk)], check=True)


def test_settings_of_pip_for_other_places_do_not_reach_it(project: SmallProject, tmp_path: Path) -> None:
    project.pin(core="1.1")
    elsewhere = str(tmp_path / "elsewhere")
    names = ("PIP_TARGET", "PIP_PREFIX", "PIP_ROOT", "PIP_SRC", "PIP_LOG", "PIP_REPORT")
    run = project.run("other", PIP_DRY_RUN="1", PIP_REQUIRE_VIRTUALENV="1", **dict.fromkeys(names, elsewhere))
    assert run.stdout == "1.1 other\n"
    assert not Path(elsewhere).exists()


def test_code_that_lies_about_is_not_run_in_place_of_a_package(project: SmallProject, tmp_path: Path) -> None:
    (tmp_path / "tinycore.py").write_text("VERSION = 'of somebody else'\n")
    done = subprocess.run(
        project.command("other"),
        env=project.environ(PYTHONPATH=os.pathsep.join((".", str(tmp_path)))),
        cwd=tmp_path,
        capture_output=True,
        text=True,
    )
    assert (done.stdout, done.stderr) == ("1.0 other\n", "")


def test_a_package_whose_files_are_gone_is_put_back(project: SmallProject) -> None:
    (project.site_packages() / "tinycore.py").unlink()
    run = project.run("other")
    assert run.stdout == "1.0 other\n"
    assert "Making .venv" not in run.stderr
    assert project.run("other").stderr == ""


@posix_only
def test_an_environment_whose_python_is_gone_has_to_be_made_anew(
    project: SmallProject, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(bootstrap, "ROOT", project.root)
    environment = bootstrap.environment_for(HERE)
    assert environment.folder == project.venv
    assert environment.is_sound()
    assert environment.lacks(["core"]) == []
    environment.python.unlink()
    assert not environment.is_sound()
    assert environment.lacks(["core"]) == ["core"]


def test_a_missing_system_library_is_named_until_it_is_there(project: SmallProject) -> None:
    run = project.run("preview", "x")
    assert run.returncode == 2
    assert run.stdout == ""
    assert re.search(r"^Blender's module lacks system libraries \(libXi\.so\.6\): .*$", run.stderr, re.M)
    assert "Traceback" not in run.stderr

    again = project.run("preview", "x")
    assert again.returncode == 2
    assert len(again.stderr.splitlines()) == 1, "nothing is installed twice"

    (project.site_packages() / "bpy" / "__init__.py").write_text("")
    assert project.run("preview", "x").stdout == "1.0 preview x\n"
    assert project.run("other").stderr == "", "what other verbs need was there all along"


def test_an_index_that_cannot_be_reached_is_said_in_one_line(project: SmallProject) -> None:
    project.pin(core="1.2")
    nowhere = {"PIP_NO_INDEX": "0", "PIP_INDEX_URL": "http://127.0.0.1:9/simple", "PIP_RETRIES": "1"}
    kept = project.environ()
    done = subprocess.run(
        project.command("other"),
        env={**kept, **nowhere, "PIP_CONFIG_FILE": os.devnull},
        capture_output=True,
        text=True,
        timeout=120,
    )
    assert done.returncode == 2
    assert done.stderr.splitlines()[-1].startswith("The package index can't be reached")
    assert "Traceback" not in done.stderr


def test_an_environment_made_by_somebody_else_is_left_alone(
    project: SmallProject, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(bootstrap, "ROOT", project.root)
    (project.venv / bootstrap.MARKER).unlink()
    environment = bootstrap.environment_for(HERE)
    assert environment.folder == project.root / ".venv-{}.{}".format(*HERE)
    with pytest.raises(bootstrap.CannotSetUp, match="in the way and wasn't made here"):
        bootstrap.set_up(bootstrap.Environment(project.venv), bootstrap.this_interpreter(), ["core"])


def test_a_named_python_that_is_none_is_refused_in_one_line(project: SmallProject) -> None:
    run = project.run("other", DUSKRAIL_PYTHON=str(project.root / "no python"))
    assert run.returncode == 2
    assert len(run.stderr.splitlines()) == 1
    assert "DUSKRAIL_PYTHON" in run.stderr


def test_another_python_gets_an_environment_of_its_own(
    project: SmallProject, monkeypatch: pytest.MonkeyPatch
) -> None:
    others = [minor for minor in bootstrap.BLENDER_FOR_PYTHON if minor != HERE]
    monkeypatch.setattr(bootstrap, "BLENDER_FOR_PYTHON", dict.fromkeys(others, "?"))
    found = (bootstrap.probe(command) for command in bootstrap.candidate_commands())
    other = next((python for python in found if python and python.fits and python.can_make_venv), None)
    if other is None:
        pytest.skip("only one of Python 3.11 and 3.13 is on this machine")
    run = project.run("other", DUSKRAIL_PYTHON=other.path)
    assert run.stdout == "1.0 other\n"
    assert (project.root / ".venv-{}.{}".format(*other.minor)).is_dir()
    assert project.run("other").stderr == "", "the first one is as it was"


@posix_only
def test_ctrl_c_reaches_the_verb_and_its_exit_code_comes_back(project: SmallProject) -> None:
    with subprocess.Popen(
        project.command("wait"), env=project.environ(), stdout=subprocess.PIPE, text=True
    ) as verb:
        assert verb.stdout is not None
        assert verb.stdout.readline() == "waiting\n"
        verb.send_signal(signal.SIGINT)
        assert verb.wait(timeout=20) == 5


@contextlib.contextmanager
def interrupts_reach_children() -> Iterator[None]:
    """Whoever runs the tests may have Ctrl C ignored (a job in the background): children would inherit it."""
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)


def ctrl_c(project: SmallProject, when: Callable[[], object], **environ: str) -> tuple[int, str]:
    """Exit code and words of a set-up that gets Ctrl C, with all it has started, once `when` returns."""
    with (
        interrupts_reach_children(),
        subprocess.Popen(
            project.command("other"),
            env=project.environ(**environ),
            stderr=subprocess.PIPE,
            text=True,
            start_new_session=True,
        ) as set_up,
    ):
        held = when()
        os.killpg(set_up.pid, signal.SIGINT)
        _, said = set_up.communicate(timeout=60)
        del held  # a connection is answered no sooner
        return set_up.returncode, said


def is_calm(code: int, said: str) -> bool:
    last = "Stopped. The next run takes the set-up up again."
    return code == 130 and said.splitlines()[-1] == last and "Traceback" not in said


@posix_only
def test_ctrl_c_while_packages_are_fetched_is_taken_calmly(
    project: SmallProject, quick: dict[str, str]
) -> None:
    shutil.rmtree(project.venv)
    with socket.create_server(("127.0.0.1", 0)) as index:  # takes the question and never answers
        index.settimeout(120)
        address = f"http://127.0.0.1:{index.getsockname()[1]}/simple"
        asked = {"PIP_NO_INDEX": "0", "PIP_INDEX_URL": address, "PIP_CONFIG_FILE": os.devnull}
        asked = {**quick, **asked, "PIP_FIND_LINKS": "", "NO_PROXY": "127.0.0.1"}
        assert is_calm(*ctrl_c(project, index.accept, **asked))
    assert project.run("other", **quick).stdout == "1.0 other\n"


@posix_only
def test_ctrl_c_while_the_environment_is_made_is_taken_calmly(
    project: SmallProject, tmp_path: Path, quick: dict[str, str]
) -> None:
    shutil.rmtree(project.venv)
    begun = tmp_path / "begun"
    os.mkfifo(begun)  # opening it waits for the other side
    python = python_with_venv(tmp_path / "python", f'echo > "{begun}"; exec sleep 120')
    assert is_calm(*ctrl_c(project, begun.read_text, DUSKRAIL_PYTHON=str(python)))
    assert project.run("other", **quick).stdout == "1.0 other\n"


@posix_only
def test_an_interrupt_that_python_drops_stops_the_set_up_all_the_same(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    class Cleaner:
        def __del__(self) -> None:
            signal.raise_signal(signal.SIGINT)

    def interrupted(_groups: object) -> bootstrap.Environment:
        cleaner = Cleaner()
        del cleaner  # Python reports an exception in here and goes on
        return bootstrap.Environment(Path("made"))

    monkeypatch.setattr(bootstrap, "ready_environment", interrupted)
    with interrupts_reach_children():
        assert bootstrap.main(["check"]) == bootstrap.EXIT_INTERRUPTED


# --- the tests' own verbs -----------------------------------------------------------------------


def test_an_interrupt_that_pip_took_for_a_failure_is_still_an_interrupt(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def interrupted(_groups: object) -> None:
        try:
            signal.raise_signal(signal.SIGINT)
        except KeyboardInterrupt:  # as where Python drops one while it cleans up
            raise bootstrap.CannotSetUp("pip stopped") from None

    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    monkeypatch.setattr(bootstrap, "ready_environment", interrupted)
    try:
        assert bootstrap.main(["check"]) == bootstrap.EXIT_INTERRUPTED
        assert signal.getsignal(signal.SIGINT) is signal.default_int_handler
    finally:
        signal.signal(signal.SIGINT, before)


def test_the_test_verb_runs_what_it_is_given_or_everything_on_all_cores() -> None:
    assert bootstrap.commands_for("test", ["tests/core", "-x"]) == [["-m", "pytest", "tests/core", "-x"]]
    (everything,) = bootstrap.commands_for("test", [])
    assert everything[:3] == ["-m", "pytest", "-n"]
    assert 1 <= int(everything[3]) <= 4


def test_packages_for_tests_are_not_put_on_a_photographer() -> None:
    for verb in ("check", "frames", "fit", "compare", "sheet", "preview", "readback"):
        assert "test" not in bootstrap.groups_for(verb, ["x.plan.json"])
    assert "preview" in bootstrap.groups_for("preview", ["x.plan.json"])
    assert "preview" not in bootstrap.groups_for("check", ["x.plan.json"])
    assert "preview" not in bootstrap.groups_for("preview", ["--help"])
