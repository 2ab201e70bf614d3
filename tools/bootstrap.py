"""Runs Duskrail from a fresh clone: `python3 tools/bootstrap.py VERB …`.

What belongs here: picking a Python that fits, or what draws where none fits Blender's module, making the
virtual environment beside the project, installing the pinned packages that the verb needs, and handing over
to tools/duskrail.py (or to pytest, ruff and mypy). Standard library only. It has to be readable by the
old Pythons that it turns away (3.6 on), so no newer syntax here. Everything it says goes to standard
error: standard output belongs to the verb.
"""

import csv
import errno
import hashlib
import json
import os
import re
import shutil
import signal
import struct
import subprocess
import sys
import time
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any, Dict, Iterator, List, NamedTuple, NoReturn, Optional, Sequence, Set, Tuple

ROOT = Path(__file__).resolve().parent.parent
if str(ROOT) not in sys.path:
    sys.path.insert(0, str(ROOT))
if __package__ in (None, ""):  # started as a file
    __package__ = "tools"

from . import blender_application  # noqa: E402

BLENDER_FOR_PYTHON = {(3, 11): "4.5 LTS", (3, 13): "5.2 LTS"}
PYTHONS = (*BLENDER_FOR_PYTHON, (3, 12), (3, 14))  # that the core's packages are pinned for
PYTHON_OF_UV = "3.13"
GROUPS_FOR_VERB = {
    "preview": ("core", "preview"),
    "readback": ("core", "preview"),
    "export": ("core", "preview"),
    "test": ("core", "preview", "test"),
    "lint": ("core", "preview", "test"),
}
OTHER_VERBS_NEED = ("core",)
# Measured with the pinned packages and rounded up: unpacked, plus downloads and the copies pip keeps.
DISK_GB = {"core": 0.2, "preview": 2.0, "test": 1.2}
MARKER = "duskrail-setup.json"
DIST_INFO = ".dist-info"
MAKING, REMOVING = ".making-venv", ".removing-venv"  # beside the project, while one is begun or thrown away
# What pip is told by its environment about where packages come from; all else there is for other set-ups.
PIP_SETTINGS_KEPT = (
    *(
        "INDEX_URL",
        "EXTRA_INDEX_URL",
        "FIND_LINKS",
        "NO_INDEX",
        "TRUSTED_HOST",
        "PROXY",
        "CERT",
        "CLIENT_CERT",
    ),
    *(
        "CACHE_DIR",
        "NO_CACHE_DIR",
        "CONFIG_FILE",
        "TIMEOUT",
        "DEFAULT_TIMEOUT",
        "RETRIES",
        "KEYRING_PROVIDER",
    ),
    "USE_FEATURE",
)
EXIT_CANNOT_SET_UP = 2
VENV_BYTES, VENV_FILES = 40_000_000, 2500  # of an environment with nothing but pip
EXIT_INTERRUPTED = 130

# What bpy asks the system for: shared library -> (Debian and Ubuntu, Fedora).
SYSTEM_LIBRARIES = {
    "libX11.so.6": ("libx11-6", "libX11"),
    "libXext.so.6": ("libxext6", "libXext"),
    "libXfixes.so.3": ("libxfixes3", "libXfixes"),
    "libXi.so.6": ("libxi6", "libXi"),
    "libXrender.so.1": ("libxrender1", "libXrender"),
    "libXxf86vm.so.1": ("libxxf86vm1", "libXxf86vm"),
    "libXcursor.so.1": ("libxcursor1", "libXcursor"),
    "libXrandr.so.2": ("libxrandr2", "libXrandr"),
    "libXinerama.so.1": ("libxinerama1", "libXinerama"),
    "libxkbcommon.so.0": ("libxkbcommon0", "libxkbcommon"),
    "libxcb.so.1": ("libxcb1", "libxcb"),
    "libSM.so.6": ("libsm6", "libSM"),
    "libICE.so.6": ("libice6", "libICE"),
    "libGL.so.1": ("libgl1", "libglvnd-glx"),
    "libEGL.so.1": ("libegl1", "libglvnd-egl"),
    "libOpenGL.so.0": ("libopengl0", "libglvnd-opengl"),
    "libwayland-client.so.0": ("libwayland-client0", "libwayland-client"),
    "libgomp.so.1": ("libgomp1", "libgomp"),
    "libstdc++.so.6": ("libstdc++6", "libstdc++"),
    "libgcc_s.so.1": ("libgcc-s1", "libgcc"),
    "libuuid.so.1": ("libuuid1", "libuuid"),
}


class CannotSetUp(Exception):
    """What stands in the way, a line for each thing that the reader has to do."""


def say(text: str) -> None:
    print(text, file=sys.stderr, flush=True)


# --- choosing a Python --------------------------------------------------------------------------


class Interpreter(NamedTuple):
    """A Python found on this machine. version is (major, minor, micro)."""

    path: str
    version: Tuple[int, int, int]
    can_make_venv: bool
    bits: int

    @property
    def minor(self) -> Tuple[int, int]:
        return self.version[:2]

    @property
    def fits(self) -> bool:
        """Whether there is a Blender module for it."""
        return self.minor in BLENDER_FOR_PYTHON and self.bits == 64

    @property
    def fits_core(self) -> bool:
        return self.minor in PYTHONS and self.bits == 64


PROBE = (
    "import sys, struct, importlib.util as u;"
    "print(getattr(sys, '_base_executable', None) or sys.executable);"
    "print(*sys.version_info[:3]);"
    "print(int(all(u.find_spec(m) for m in ('venv', 'ensurepip'))));"
    "print(struct.calcsize('P') * 8)"
)


def this_interpreter() -> Interpreter:
    import importlib.util

    return Interpreter(
        getattr(sys, "_base_executable", None) or sys.executable,
        sys.version_info[:3],
        all(importlib.util.find_spec(module) for module in ("venv", "ensurepip")),
        struct.calcsize("P") * 8,
    )


def probe(command: Sequence[str]) -> Optional[Interpreter]:
    """The Python that command starts, or None where it doesn't start one that answers."""
    try:
        answer = subprocess.run(
            [*command, "-I", "-c", PROBE],
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            stdin=subprocess.DEVNULL,
            timeout=20,
            check=True,
        )
        path, version, can_make_venv, bits = answer.stdout.decode().splitlines()
        major, minor, micro = (int(part) for part in version.split())
        return Interpreter(path, (major, minor, micro), can_make_venv == "1", int(bits))
    except (OSError, ValueError, subprocess.SubprocessError):
        return None


def candidate_commands() -> Iterator[List[str]]:
    """Ways to start a Python that may fit, the likeliest first."""
    for major, minor in PYTHONS:
        path = shutil.which(f"python{major}.{minor}")
        if path:
            yield [path]
    pyenv = Path(os.environ.get("PYENV_ROOT") or Path.home() / ".pyenv")
    for major, minor in PYTHONS:
        for home in sorted(pyenv.glob(f"versions/{major}.{minor}.*"), reverse=True):
            yield [str(home / "bin" / "python")]
    launcher = shutil.which("py")
    if launcher:
        for major, minor in PYTHONS:
            yield [launcher, f"-{major}.{minor}"]
    for name in ("python3", "python"):
        path = shutil.which(name)
        if path:
            yield [path]


def os_release() -> Dict[str, str]:
    try:
        lines = Path("/etc/os-release").read_text(encoding="utf-8").splitlines()
    except OSError:
        return {}
    pairs = (line.split("=", 1) for line in lines if "=" in line)
    return {key: value.strip("\"'") for key, value in pairs}


def is_debian_like(release: Dict[str, str]) -> bool:
    return bool({"debian", "ubuntu"} & {release.get("ID", ""), *release.get("ID_LIKE", "").split()})


def is_fedora_like(release: Dict[str, str]) -> bool:
    return bool({"fedora", "rhel"} & {release.get("ID", ""), *release.get("ID_LIKE", "").split()})


def how_to_get_python(platform: str, release: Dict[str, str]) -> str:
    """One phrase: how a Python that fits gets onto this system."""
    if platform == "darwin":
        return "brew install python@3.13"
    if platform.startswith("win"):
        return "winget install Python.Python.3.13"
    packaged = {("debian", "12"): "3.11", ("debian", "13"): "3.13", ("ubuntu", "25.04"): "3.13"}
    version = packaged.get((release.get("ID", ""), release.get("VERSION_ID", "")))
    if version:
        return as_root(f"apt install python{version} python{version}-venv")
    if is_fedora_like(release):
        return as_root("dnf install python3.13")
    return "pyenv install 3.13 (or your system's own package of it)"


def pick_interpreter(for_blender: bool = True) -> Interpreter:
    """The Python to build on: the named one, the running one, or one found.

    One that Blender's module fits is taken before one that only the core fits, so that all verbs share an
    environment. Raises CannotSetUp where none fits; for_blender, where Blender's module fits none.
    """
    named = os.environ.get("DUSKRAIL_PYTHON")
    if named:
        return named_interpreter(named, for_blender)
    running = this_interpreter()
    if running.fits and running.can_make_venv:
        return running
    interpreters = [running]
    for command in candidate_commands():
        interpreter = probe(command)
        if interpreter:
            if interpreter.fits and interpreter.can_make_venv:
                return interpreter
            interpreters.append(interpreter)
    fitting = [one for one in interpreters if one.fits or (one.fits_core and not for_blender)]
    for interpreter in fitting:
        if interpreter.can_make_venv:
            return interpreter
    release = os_release()
    if fitting:
        raise CannotSetUp(no_venv_line(fitting[0], release))
    raise CannotSetUp(
        f"{what_fits(for_blender)}; this is {describe(running)} and no other was found.\n"
        f"Install one: {how_to_get_python(sys.platform, release)}; "
        "or name one: DUSKRAIL_PYTHON=/path/to/python3.13"
    )


def named_interpreter(named: str, for_blender: bool) -> Interpreter:
    """The Python that DUSKRAIL_PYTHON names. Raises CannotSetUp where it won't do."""
    interpreter = probe([named])
    if interpreter is None:
        raise CannotSetUp(f"DUSKRAIL_PYTHON: {named} is not a Python that starts")
    if not (interpreter.fits if for_blender else interpreter.fits_core):
        raise CannotSetUp(f"DUSKRAIL_PYTHON: {named} is {describe(interpreter)}; {what_fits(for_blender)}")
    if not interpreter.can_make_venv:
        raise CannotSetUp(no_venv_line(interpreter, os_release()))
    return interpreter


def what_fits(for_blender: bool) -> str:
    if for_blender:
        return "Blender's module needs 64-bit Python 3.11 or 3.13"
    return "Duskrail needs 64-bit Python 3.11 to 3.14"


# --- what draws -----------------------------------------------------------------------------------


def has_an_environment(groups: Sequence[str]) -> bool:
    """Whether packages of these groups are installed already, for the Python that would be taken."""
    if os.environ.get("DUSKRAIL_PYTHON"):
        return False
    return any(not environment.lacks(groups) for environment in environments())


def with_what_draws(groups: Sequence[str]) -> Sequence[str]:
    """The groups to install: those asked for, or the core alone where a Blender application draws.

    Blender's module comes first, where a Python fits it, then an application, then a Python from uv. Raises
    CannotSetUp, with what would do, where there is none of them.
    """
    if "preview" not in groups or "test" in groups or has_an_environment(groups):
        return groups
    try:
        pick_interpreter()
        return groups
    except CannotSetUp as problem:
        try:
            application = blender_application.find()
        except blender_application.ApplicationError as refused:
            raise CannotSetUp(str(refused)) from None
        if application is not None:
            return [group for group in groups if group != "preview"]
        if not os.environ.get("DUSKRAIL_PYTHON") and python_of_uv():
            return groups
        raise CannotSetUp(
            "{}.\nOr get Blender {}.{} or later; {}=/path/to/blender names one that isn't on PATH".format(
                problem, *blender_application.OLDEST, blender_application.VARIABLE
            )
        ) from None


def python_of_uv() -> bool:
    """Have uv, where it is there, provide a Python that Blender's module fits; whether there is one now."""
    uv = shutil.which("uv")
    if not uv:
        return False
    python = asked_of_uv([uv, "python", "find", PYTHON_OF_UV])
    if python is None:
        say(f"Fetching Python {PYTHON_OF_UV} with uv, once")
        asked_of_uv([uv, "python", "install", PYTHON_OF_UV])
        python = asked_of_uv([uv, "python", "find", PYTHON_OF_UV])
    interpreter = probe([python]) if python else None
    if interpreter is None or not interpreter.fits:
        return False
    assert python is not None
    os.environ["DUSKRAIL_PYTHON"] = python
    return True


def asked_of_uv(command: Sequence[str]) -> Optional[str]:
    """The last line that uv answers, or None where it can't."""
    try:
        answer = subprocess.run(
            command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, stdin=subprocess.DEVNULL, check=True
        )
    except (OSError, subprocess.SubprocessError):
        return None
    return (answer.stdout.decode(errors="replace").split("\n")[:-1] or [""])[-1].strip() or ""


def as_root(command: str) -> str:
    """The command as this user has to type it."""
    return command if hasattr(os, "geteuid") and os.geteuid() == 0 else "sudo " + command


def describe(interpreter: Interpreter) -> str:
    return "{}-bit Python {}".format(interpreter.bits, ".".join(str(part) for part in interpreter.version))


def no_venv_line(interpreter: Interpreter, release: Dict[str, str]) -> str:
    name = "python{}.{}".format(*interpreter.minor)
    if is_debian_like(release):
        how = as_root(f"apt install {name}-venv")
    else:
        how = "install its venv and ensurepip modules, or another Python 3.11 or 3.13"
    return f"{interpreter.path} can't make a virtual environment: {how}"


# --- the environment and its marker -------------------------------------------------------------


class Environment:
    """A virtual environment beside the project, and the marker in it that says what it holds.

    The marker is there from before the environment is made, and says "unfinished" whenever packages
    are being changed: a set-up that was stopped half-way is seen, and so is a folder that isn't ours.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    @property
    def python(self) -> Path:
        return self.folder / ("Scripts/python.exe" if os.name == "nt" else "bin/python")

    @property
    def site_packages(self) -> Path:
        if os.name == "nt":
            return self.folder / "Lib" / "site-packages"
        return self.folder / "lib" / "python{}.{}".format(*self.minor()) / "site-packages"

    def marker(self) -> Dict[str, Any]:
        try:
            content = json.loads((self.folder / MARKER).read_text(encoding="utf-8"))
        except (OSError, ValueError):
            return {}
        return content if isinstance(content, dict) else {}

    def mark(self, **changes: Any) -> None:
        content = {**self.marker(), **changes}
        fresh = self.folder / (MARKER + ".new")
        fresh.write_text(json.dumps(content, indent=1), encoding="utf-8")
        os.replace(str(fresh), str(self.folder / MARKER))

    def is_ours(self) -> bool:
        return (self.folder / MARKER).exists()

    def minor(self) -> Tuple[int, int]:
        """(major, minor) of its Python, (0, 0) where the marker doesn't say."""
        parts = str(self.marker().get("python", "")).split(".")
        return (int(parts[0]), int(parts[1])) if len(parts) > 1 and all(map(str.isdigit, parts)) else (0, 0)

    def is_sound(self) -> bool:
        return self.marker().get("state") == "ready" and self.python.exists()

    def installed(self) -> Set[str]:
        """name==version of every package that pip has finished installing."""
        stems = (folder.name[: -len(DIST_INFO)] for folder in self.records())
        return {normal_pin(stem.replace("-", "==", 1)) for stem in stems}

    def records(self) -> List[Path]:
        """The folders in which pip says what it has installed."""
        return sorted(self.site_packages.glob("*" + DIST_INFO))

    def robbed(self) -> List[Path]:
        """The records of packages whose files are not all there any more."""
        return [folder for folder in self.records() if not self._has_all_files(folder)]

    def _has_all_files(self, record: Path) -> bool:
        try:
            lines = (record / "RECORD").read_text(encoding="utf-8").splitlines()
        except OSError:
            return False
        for row in csv.reader(lines):
            name = row[0] if row else ""
            counts = name and not name.startswith("..") and not name.endswith(".pyc")
            if counts and not os.path.exists(os.path.join(str(self.site_packages), name)):
                return False
        return True

    def lacks(self, groups: Sequence[str]) -> List[str]:
        """The groups of packages that aren't installed as they are pinned now."""
        if not self.is_sound():
            return list(groups)
        have = self.installed() - {
            normal_pin(r.name[: -len(DIST_INFO)].replace("-", "==", 1)) for r in self.robbed()
        }
        stamps = self.marker().get("groups", {})
        pins = read_pins(self.minor())
        return [
            group
            for group in groups
            if group not in pins  # no Blender for this Python
            or stamps.get(group) != stamp(self.minor(), pins[group])
            or not {normal_pin(pin) for pin in pins[group]} <= have
        ]


def environments() -> Iterator[Environment]:
    """Environments beside the project that this script made, `.venv` first."""
    for folder in sorted(ROOT.glob(".venv*")):
        environment = Environment(folder)
        if folder.is_dir() and environment.is_ours():
            yield environment


def environment_for(minor: Tuple[int, int]) -> Environment:
    """Where the environment of this Python is or should be: `.venv`, or `.venv-3.13` where that is taken."""
    for environment in environments():
        if environment.minor() == minor:
            return environment
    first = Environment(ROOT / ".venv")
    if not first.folder.exists() or is_empty(first.folder) or (first.is_ours() and not first.is_sound()):
        return first
    return Environment(ROOT / ".venv-{}.{}".format(*minor))


def is_empty(folder: Path) -> bool:
    return folder.is_dir() and not os.listdir(str(folder))


def normal_pin(pin: str) -> str:
    name, _, version = pin.partition("==")
    return "{}=={}".format(re.sub(r"[-_.]+", "-", name).lower(), version.strip())


def pin_file(minor: Tuple[int, int]) -> Path:
    return ROOT / "tools" / "requirements" / "python{}.{}.txt".format(*minor)


def read_pins(minor: Tuple[int, int]) -> Dict[str, List[str]]:
    """name==version pins of this Python's file, by section, less those meant for another platform."""
    groups = {}  # type: Dict[str, List[str]]
    for line in pin_file(minor).read_text(encoding="utf-8").splitlines():
        heading = re.match(r"# \[(\w+)\]", line)
        if heading:
            section = groups.setdefault(heading.group(1), [])
        elif line.strip() and not line.startswith("#"):
            pin, _, condition = line.partition(";")
            platform = re.search(r"sys_platform == '(\w+)'", condition)
            if not platform or platform.group(1) == sys.platform:
                section.append(pin.strip())
    return groups


def stamp(minor: Tuple[int, int], pins: Sequence[str]) -> str:
    return hashlib.sha256("\n".join([repr(minor), *sorted(pins)]).encode()).hexdigest()


# --- setting up ---------------------------------------------------------------------------------


_held = []  # type: List[int]


def locked_too() -> Dict[str, Any]:
    """For Popen: the child holds the lock as well, and is waited for where it outlives a killed set-up."""
    return {} if os.name == "nt" else {"pass_fds": tuple(_held)}


@contextmanager
def only_one_at_a_time() -> Iterator[None]:
    """Waits while another set-up of this project, or what a killed one left running, is under way."""
    with open(str(ROOT / ".venv.lock"), "a+b") as handle:
        _held.append(handle.fileno())
        if sys.platform == "win32":
            import msvcrt

            handle.seek(0)
            while True:
                try:
                    msvcrt.locking(handle.fileno(), msvcrt.LK_LOCK, 1)
                    break
                except OSError:
                    say("Waiting for another set-up of this project to end …")
        else:
            import fcntl

            try:
                fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except OSError:
                say("Waiting for another set-up of this project to end …")
                fcntl.flock(handle, fcntl.LOCK_EX)
        try:
            yield
        finally:
            _held.remove(handle.fileno())


def set_up(environment: Environment, interpreter: Interpreter, groups: Sequence[str]) -> None:
    """Makes or completes the environment so that it holds these groups of packages."""
    for left in (ROOT / MAKING, ROOT / REMOVING):
        shutil.rmtree(str(left), ignore_errors=True)
    lacking = environment.lacks(groups)
    if not lacking:
        return
    check_disk(lacking)
    started = time.monotonic()
    name = environment.folder.name
    if not environment.is_sound():
        if environment.folder.exists():
            if not environment.is_ours() and not is_empty(environment.folder):
                raise CannotSetUp(f"{environment.folder} is in the way and wasn't made here: move it")
            say(f"{name} is unfinished or broken: making it anew")
            throw_away(environment.folder)
        make_venv(environment, interpreter)
    pins = read_pins(interpreter.minor)
    wanted = [pin for group in lacking for pin in pins[group]]
    say(
        "Installing {} packages into {} ({}), once; takes up to {:.1f} GB of disk meanwhile".format(
            len(wanted), name, ", ".join(lacking), sum(DISK_GB[group] for group in lacking)
        )
    )
    environment.mark(state="unfinished")
    for record in environment.robbed():  # pip takes a package for there while its record is
        shutil.rmtree(str(record))
    install(environment, wanted)
    stamps = {**environment.marker().get("groups", {})}
    stamps.update({group: stamp(interpreter.minor, pins[group]) for group in lacking})
    environment.mark(state="ready", groups=stamps, blender_starts=False)
    say(f"Packages are in place after {time.monotonic() - started:.0f} s")


def check_disk(lacking: Sequence[str]) -> None:
    need_gb = sum(DISK_GB[group] for group in lacking)
    free_gb = shutil.disk_usage(str(ROOT)).free / 1e9
    if free_gb < need_gb:
        raise CannotSetUp(
            f"The disk of {ROOT} has {free_gb:.1f} GB free and the set-up needs {need_gb:.1f} GB: "
            "free some space first"
        )


def make_venv(environment: Environment, interpreter: Interpreter) -> None:
    say(
        "Making {} with Python {} ({})".format(
            environment.folder.name,
            ".".join(str(part) for part in interpreter.version),
            "Blender " + BLENDER_FOR_PYTHON[interpreter.minor] if interpreter.fits else "without Blender",
        )
    )
    begun = Environment(ROOT / MAKING)
    begun.folder.mkdir()
    begun.mark(state="unfinished", python=".".join(str(part) for part in interpreter.version))
    os.rename(str(begun.folder), str(environment.folder))  # never there without its marker
    made = subprocess.run(
        [interpreter.path, "-I", "-m", "venv", str(environment.folder)],
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        stdin=subprocess.DEVNULL,
        env=pip_settings(),
        **locked_too(),
    )
    if made.returncode:
        text = made.stdout.decode(errors="replace").strip()
        if DISK_FULL.search(text) or not has_room(environment.folder):
            raise CannotSetUp(FREE_SOME_SPACE)
        if not brings_pip(interpreter):
            raise CannotSetUp(no_venv_line(interpreter, os_release()))
        reason = text.splitlines()[-1] if text else "no reason given"
        raise CannotSetUp(f"{interpreter.path} can't make a virtual environment: {reason}")


def brings_pip(interpreter: Interpreter) -> bool:
    """Whether it has the pip that goes into a new environment: some systems pack that apart."""
    asked = subprocess.run(
        [interpreter.path, "-I", "-c", "import ensurepip; ensurepip.version()"],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        stdin=subprocess.DEVNULL,
    )
    return asked.returncode == 0


def has_room(folder: Path) -> bool:
    """Whether what an empty environment takes fits there: venv doesn't tell that it failed for want of it."""
    files = getattr(os, "statvfs", None)
    if files is not None:
        disk = files(str(folder))
        if disk.f_files and disk.f_favail < VENV_FILES:
            return False
    probe = folder / "room"
    try:
        probe.write_bytes(bytes(VENV_BYTES))  # also where a quota leaves less than the disk has
    except OSError as problem:
        return problem.errno not in (errno.ENOSPC, errno.EDQUOT)
    finally:
        with suppress(OSError):
            probe.unlink()
    return True


def throw_away(folder: Path) -> None:
    """Remove a folder so that, stopped half-way, nothing stays in its place."""
    os.rename(str(folder), str(ROOT / REMOVING))
    shutil.rmtree(str(ROOT / REMOVING))


def pip_settings() -> Dict[str, str]:
    """The process's environment, less what would send pip's packages elsewhere (PIP_TARGET, PIP_PREFIX …)."""
    kept = {
        name: value
        for name, value in os.environ.items()
        if not name.upper().startswith("PIP_") or name.upper()[4:] in PIP_SETTINGS_KEPT
    }
    return {**kept, "PIP_USER": "0"}


def install(environment: Environment, pins: Sequence[str]) -> None:
    """Installs exactly these pins with pip, showing how far it is. CannotSetUp says why it can't."""
    scratch = environment.folder / "setup-scratch"
    scratch.mkdir(exist_ok=True)
    command = [str(environment.python), "-I", "-u", "-m", "pip", "install", "--no-deps"]
    command += ["--only-binary", ":all:", "--progress-bar", "off", "--no-input", "--no-color"]
    command += ["--disable-pip-version-check", "--no-warn-script-location", *pins]
    if not sys.dont_write_bytecode:
        # of thousands of modules few are ever imported, and Python compiles those then
        command.append("--no-compile")
    # Downloads go where the disk was checked, and where their growth can be watched.
    settings = {**pip_settings(), "TMPDIR": str(scratch), "TEMP": str(scratch), "TMP": str(scratch)}
    pip = subprocess.Popen(
        command,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        env=settings,
        **locked_too(),
    )
    try:
        log = watch(pip, environment, scratch, pins)
    except BaseException:
        pip.terminate()
        pip.wait()
        raise
    (environment.folder / "setup.log").write_text("\n".join(log), encoding="utf-8")
    if pip.returncode:
        raise CannotSetUp(why_pip_failed(log, environment.folder / "setup.log"))
    shutil.rmtree(str(scratch), ignore_errors=True)


def watch(
    pip: "subprocess.Popen[bytes]", environment: Environment, scratch: Path, pins: Sequence[str]
) -> List[str]:
    """Reads pip's output to its end, telling the terminal which package it is at; returns the lines."""
    import queue
    import threading

    lines = queue.Queue()  # type: queue.Queue[Optional[str]]

    def read() -> None:
        assert pip.stdout is not None
        for raw in pip.stdout:
            lines.put(raw.decode(errors="replace").rstrip())
        lines.put(None)

    threading.Thread(target=read, daemon=True).start()
    log = []  # type: List[str]
    progress = Progress(environment, scratch, len(pins))
    while True:
        try:
            line = lines.get(timeout=0.25)
        except queue.Empty:
            progress.tick()
            continue
        if line is None:
            break
        log.append(line)
        progress.read(line)
    pip.wait()
    progress.end()
    return log


class Progress:
    """What pip is doing, as one line that is rewritten (or, without a terminal, a line now and then)."""

    FETCH = re.compile(
        r"(?:Downloading|Using cached|Processing) (?:\S*/)?([^-\s/]+)-([^-\s]+)-\S+\.whl(?: \(([^)]+)\))?$"
    )
    QUIET_S = 5.0

    def __init__(self, environment: Environment, scratch: Path, total: int) -> None:
        self.environment = environment
        self.scratch = scratch
        self.total = total
        self.fetched = 0
        self.package = ""
        self.size = ""
        self.order = []  # type: List[str]
        self.since = self.spoken = time.monotonic()
        self.terminal = sys.stderr.isatty()

    def read(self, line: str) -> None:
        fetch = self.FETCH.search(line)
        if fetch:
            self.fetched += 1
            self.package = "{} {}".format(fetch.group(1).replace("_", "-"), fetch.group(2))
            self.size, self.since = fetch.group(3) or "kept on this machine", time.monotonic()
            self.show(self.fetching())
        elif line.startswith("Installing collected packages: "):
            self.order = line.split(": ", 1)[1].split(", ")
            self.since = time.monotonic()
            self.show(self.unpacking())

    def tick(self) -> None:
        if self.terminal or time.monotonic() - self.spoken > self.QUIET_S:
            self.show(self.unpacking() if self.order else self.fetching())

    def fetching(self) -> str:
        if not self.package:
            return f"Asking the package index, {time.monotonic() - self.since:.0f} s"
        here_mb = self.downloaded_mb()
        size = f"{here_mb:.0f} of {self.size}" if here_mb > 1 else self.size
        spent_s = time.monotonic() - self.since
        return f"[{self.fetched:>2}/{self.total}] fetching {self.package}, {size}, {spent_s:.0f} s"

    def downloaded_mb(self) -> float:
        """Size so far of the file that is being downloaded, 0 where it can't be seen."""
        stem = self.package.replace(" ", "-").replace("-", "_").lower()
        for path in self.scratch.glob("pip-*/*.whl"):
            if path.name.replace("-", "_").lower().startswith(stem):
                return file_size(path) / 1e6
        return 0.0

    def unpacking(self) -> str:
        done = {pin.split("==")[0] for pin in self.environment.installed()}
        left = [name for name in self.order if normal_pin(name).rstrip("=") not in done]
        finished, spent_s = len(self.order) - len(left), time.monotonic() - self.since
        return f"[{finished:>2}/{self.total}] unpacking {left[0] if left else 'done'}, {spent_s:.0f} s"

    def show(self, text: str) -> None:
        self.spoken = time.monotonic()
        if self.terminal:
            width = shutil.get_terminal_size().columns - 1
            sys.stderr.write("\r" + text[:width].ljust(width))
            sys.stderr.flush()
        else:
            say(text)

    def end(self) -> None:
        if self.terminal:
            sys.stderr.write("\n")


def file_size(path: Path) -> int:
    try:
        return path.stat().st_size
    except OSError:
        return 0


DISK_FULL = re.compile(r"No space left on device|Errno 28|Disk quota exceeded|Errno 122|not enough space")
FREE_SOME_SPACE = "The disk is full: free some space and run this again"


def why_pip_failed(log: Sequence[str], log_file: Path) -> str:
    """What to do about a failed install, in one line."""
    text = "\n".join(log)
    if DISK_FULL.search(text):
        return FREE_SOME_SPACE
    if re.search(r"name resolution|Name or service not known|getaddrinfo failed|nodename nor servname", text):
        return "The package index's name can't be resolved: check the network connection or its DNS"
    if re.search(r"SSLError|CERTIFICATE_VERIFY_FAILED|certificate verify failed", text):
        return "The package index's certificate isn't trusted: check the clock, or the proxy and PIP_CERT"
    if re.search(r"ProxyError|Tunnel connection failed", text):
        return "The proxy refuses the way to the package index: check the proxy's settings"
    if re.search(r"connection broken|NewConnectionError|timed out|Connection refused", text):
        return "The package index can't be reached: check the network or proxy and run this again"
    missing = re.search(r"No matching distribution found for (\S+)", text)
    if missing:
        import platform

        machine = f"{platform.system()} {platform.machine()}"
        if not missing.group(1).startswith("bpy"):
            return (
                f"The package index that pip asks has no {missing.group(1)} for this machine ({machine}): "
                "check PIP_INDEX_URL, PIP_NO_INDEX and pip's settings, or use 64-bit Linux, Windows or macOS"
            )
        return (
            f"There is no {missing.group(1)} for this machine ({machine}): use 64-bit Linux, Windows or macOS"
        )
    errors = [line for line in log if line.startswith("ERROR")] or list(log[-1:]) or ["without a word"]
    return f"pip stopped: {errors[0]} (all it said: {log_file})"


def check_blender_starts(environment: Environment) -> None:
    """Imports bpy once, so that a missing system library is named now and in plain words."""
    if environment.marker().get("blender_starts"):
        return
    tried = subprocess.run(
        [str(environment.python), "-I", "-c", "import bpy"],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
    )
    if tried.returncode:
        error = tried.stderr.decode(errors="replace").strip()
        raise CannotSetUp(why_blender_fails(error, unresolved_libraries(environment), os_release()))
    environment.mark(blender_starts=True)


def unresolved_libraries(environment: Environment) -> List[str]:
    """Every shared library that bpy asks for and the system lacks; empty where ldd can't tell."""
    ldd = shutil.which("ldd")
    module = environment.site_packages / "bpy" / "__init__.so"
    if not ldd or not module.exists():
        return []
    listing = subprocess.run([ldd, str(module)], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL)
    return re.findall(r"(\S+) => not found", listing.stdout.decode(errors="replace"))


def why_blender_fails(error: str, unresolved: Sequence[str], release: Dict[str, str]) -> str:
    """What to install, in one line, from an import error and the libraries that can't be found."""
    named = re.findall(r"([\w.+-]+\.so[.\d]*): cannot open shared object file", error)
    libraries = sorted({*unresolved, *named})
    if not libraries:
        last = error.splitlines()[-1] if error else "no reason given"
        return f"Blender's module does not start: {last}"
    known = [SYSTEM_LIBRARIES[name] for name in libraries if name in SYSTEM_LIBRARIES]
    others = [name for name in libraries if name not in SYSTEM_LIBRARIES]
    todo = []
    if known and is_debian_like(release):
        todo.append(as_root("apt install " + " ".join(sorted(debian for debian, _ in known))))
    elif known:
        packages = "install " + " ".join(sorted(fedora for _, fedora in known))
        todo.append(as_root("dnf " + packages) if is_fedora_like(release) else packages)
    if others:
        todo.append("install the package that has " + ", ".join(others))
    return f"Blender's module lacks system libraries ({', '.join(libraries)}): {', and '.join(todo)}"


# --- running the verb ---------------------------------------------------------------------------


def ready_environment(groups: Sequence[str]) -> Environment:
    """An environment that holds these groups of packages, made or completed where needed."""
    # Only where the running Python doesn't fit: an environment that is there saves looking for another.
    named = os.environ.get("DUSKRAIL_PYTHON")
    if not named and not this_interpreter().fits:
        for environment in environments():
            if not environment.lacks(groups):
                return environment
    interpreter = pick_interpreter(for_blender="preview" in groups)
    environment = environment_for(interpreter.minor)
    if environment.lacks(groups):
        with only_one_at_a_time():
            environment = environment_for(interpreter.minor)
            set_up(environment, interpreter, groups)
    return environment


def test_command(arguments: Sequence[str]) -> List[str]:
    """pytest with what the caller gave, or the whole suite on the cores there are."""
    if arguments:
        return ["-m", "pytest", *arguments]
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    # One more than there are cores, since tests also wait; Blender in each takes memory: no more than four.
    return ["-m", "pytest", "-n", str(min(cores + 1, 4)), "--dist", "loadfile", "--no-loadscope-reorder"]


def groups_for(verb: str, arguments: Sequence[str]) -> Sequence[str]:
    """The groups of packages that a verb needs; to explain itself, none needs Blender."""
    if verb not in ("test", "lint") and {"-h", "--help"} & set(arguments):
        return OTHER_VERBS_NEED
    if verb == "scout" and any(word.split("=")[0] == "--look" for word in arguments):
        verb = "preview"  # Blender draws its pictures
    return GROUPS_FOR_VERB.get(verb, OTHER_VERBS_NEED)


def commands_for(verb: str, arguments: Sequence[str]) -> List[List[str]]:
    """What to run in the environment, in turn, as arguments to its Python."""
    if verb == "test":
        return [test_command(arguments)]
    if verb == "lint":
        return [["-m", "ruff", "check", "."], ["-m", "ruff", "format", "--check", "."], ["-m", "mypy"]]
    return [[str(ROOT / "tools" / "duskrail.py"), verb, *arguments]]


def hand_over(environment: Environment, command: Sequence[str]) -> NoReturn:
    """Becomes the command: its exit code, its signals, its output."""
    argv = [str(environment.python), *command]
    if os.name != "nt":
        os.execv(argv[0], argv)
    child = subprocess.Popen(argv)
    while True:
        try:
            sys.exit(child.wait())
        except KeyboardInterrupt:
            continue  # the child got it too and ends in its own way


class Interrupts:
    """Ctrl C during the set-up: an interrupt, and remembered.

    Python drops an interrupt that comes while it cleans up an object, telling so in a traceback; and pip,
    which gets the same Ctrl C, then ends as if it had failed.
    """

    def __init__(self) -> None:
        self.came = False
        if signal.getsignal(signal.SIGINT) is signal.default_int_handler:
            signal.signal(signal.SIGINT, self._note)
            sys.unraisablehook = lambda dropped: None

    def _note(self, number: int, frame: Any) -> None:
        self.came = True
        raise KeyboardInterrupt

    def end(self) -> None:
        """Back to Python's own ways."""
        if signal.getsignal(signal.SIGINT) == self._note:
            signal.signal(signal.SIGINT, signal.default_int_handler)
            sys.unraisablehook = sys.__unraisablehook__


def prepare(groups: Sequence[str]) -> Environment:
    """The environment to run in. Raises CannotSetUp, in one line, or KeyboardInterrupt."""
    interrupts = Interrupts()
    try:
        groups = with_what_draws(groups)
        environment = ready_environment(groups)
        if "preview" in groups:
            check_blender_starts(environment)
        if interrupts.came:  # Python had dropped it
            raise KeyboardInterrupt
    except (CannotSetUp, OSError) as problem:
        if interrupts.came:
            raise KeyboardInterrupt from None
        if isinstance(problem, CannotSetUp):
            raise
        full = getattr(problem, "errno", 0) in (errno.ENOSPC, errno.EDQUOT)
        raise CannotSetUp(FREE_SOME_SPACE if full else f"The set-up can't go on: {problem}") from None
    finally:
        interrupts.end()
    return environment


def main(argv: Sequence[str]) -> int:
    verb, arguments = (argv[0], list(argv[1:])) if argv else ("--help", [])
    groups = groups_for(verb, arguments)
    try:
        environment = prepare(groups)
    except CannotSetUp as problem:
        say(str(problem))
        return EXIT_CANNOT_SET_UP
    except KeyboardInterrupt:
        say("\nStopped. The next run takes the set-up up again.")
        return EXIT_INTERRUPTED
    for name in ("PYTHONHOME", "PYTHONPATH"):  # another Python's packages, or code that lies about
        os.environ.pop(name, None)
    if verb in ("test", "lint"):
        os.chdir(str(ROOT))
    commands = commands_for(verb, arguments)
    if len(commands) == 1:
        hand_over(environment, commands[0])
    codes = [subprocess.call([str(environment.python), *command]) for command in commands]
    return max(codes)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
