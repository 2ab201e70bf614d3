"""Builds the Blender extension: `python3 tools/build_extension.py [-o FILE.zip]`.

What belongs here: gathering what the extension carries (its own modules, planner_core as a wheel, and the
pure Python packages that planner_core needs, in the versions that tools/requirements pins) and packing it as
an archive that Blender installs from disk. The packages are fetched by pip once and kept in build/wheels.
Where there is a Blender, its own check of the archive is run too.
"""

from __future__ import annotations

import argparse
import base64
import hashlib
import importlib.util
import os
import re
import shutil
import subprocess
import sys
import tomllib
import zipfile
from collections.abc import Sequence
from pathlib import Path

if __package__ in (None, ""):  # started as a file
    sys.path.insert(0, str(Path(__file__).resolve().parent.parent))
    __package__ = Path(__file__).resolve().parent.name

from .bootstrap import read_pins

ROOT = Path(__file__).resolve().parent.parent
WHEELS = ROOT / "build" / "wheels"
# Blender brings numpy, and the command line alone completes words; all else that the core pins comes along.
NOT_CARRIED = {"numpy", "argcomplete"}
EPOCH = (2020, 1, 1, 0, 0, 0)  # one date for all files, so that the same source makes the same archive


class CannotBuild(RuntimeError):
    """What stands in the way, in one line."""


def project_version() -> str:
    """The version that pyproject.toml gives."""
    return str(tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]["version"])


def pinned_packages() -> list[str]:
    """`name==version` of each package that the extension carries."""
    return [pin for pin in read_pins((3, 11))["core"] if pin.split("==")[0] not in NOT_CARRIED]


def fetch_wheels(pins: Sequence[str], folder: Path = WHEELS) -> list[Path]:
    """The packages as wheels that run on every system, downloaded where they aren't there yet."""
    folder.mkdir(parents=True, exist_ok=True)
    missing = [pin for pin in pins if _wheel_of(pin, folder) is None]
    if missing:
        command = [
            *(sys.executable, "-I", "-m", "pip", "download"),
            *("--quiet", "--disable-pip-version-check", "--no-deps"),
            *("--only-binary=:all:", "--implementation", "py", "--abi", "none", "--platform", "any"),
            *("--dest", str(folder), *missing),
        ]
        done = subprocess.run(command, capture_output=True, text=True, check=False)
        if done.returncode:
            said = [line for line in done.stderr.splitlines() if line.startswith("ERROR")]
            raise CannotBuild(
                f"pip could not fetch {', '.join(missing)}: "
                f"{said[-1].removeprefix('ERROR: ') if said else done.stderr.strip()[-200:]}"
            )
    wheels = [_wheel_of(pin, folder) for pin in pins]
    return [wheel for wheel in wheels if wheel is not None]


def _wheel_of(pin: str, folder: Path) -> Path | None:
    name, version = pin.split("==")
    return next(iter(folder.glob(f"{re.sub(r'[-_.]+', '_', name)}-{version}-*-none-any.whl")), None)


def core_wheel(folder: Path = WHEELS) -> Path:
    """planner_core as a wheel of its own, so that the extension imports it like any package.

    Its version has a fingerprint of its content: Blender takes a wheel of a version that it has for the same.
    """
    folder.mkdir(parents=True, exist_ok=True)
    files = {
        f"planner_core/{path.relative_to(ROOT / 'planner_core').as_posix()}": path.read_bytes()
        for path in sorted((ROOT / "planner_core").rglob("*"))
        if path.is_file() and "__pycache__" not in path.parts
    }
    content = hashlib.sha256(b"".join(name.encode() + files[name] for name in sorted(files))).hexdigest()
    version = f"{project_version()}+{content[:12]}"
    about = f"duskrail_core-{version}.dist-info"
    files[f"{about}/METADATA"] = f"Metadata-Version: 2.1\nName: duskrail-core\nVersion: {version}\n".encode()
    files[f"{about}/WHEEL"] = (
        b"Wheel-Version: 1.0\nGenerator: duskrail\nRoot-Is-Purelib: true\nTag: py3-none-any\n"
    )
    rows = [f"{name},sha256={_wheel_hash(content)},{len(content)}" for name, content in files.items()]
    files[f"{about}/RECORD"] = "\n".join([*rows, f"{about}/RECORD,,", ""]).encode()
    wheel = folder / f"duskrail_core-{version}-py3-none-any.whl"
    write_archive(wheel, files)
    for older in folder.glob("duskrail_core-*.whl"):
        if older != wheel:
            older.unlink(missing_ok=True)
    return wheel


def _wheel_hash(content: bytes) -> str:
    return base64.urlsafe_b64encode(hashlib.sha256(content).digest()).rstrip(b"=").decode()


def manifest_text(wheels: Sequence[Path]) -> str:
    """The extension's manifest with its version and the wheels it carries."""
    text = (ROOT / "blender_addon" / "blender_manifest.toml").read_text(encoding="utf-8")
    listed = "".join(f'  "./wheels/{wheel.name}",\n' for wheel in wheels)
    text = re.sub(r'^version = ".*"$', f'version = "{project_version()}"', text, flags=re.MULTILINE)
    return re.sub(r"^# tools/build.*\nwheels = \[\]$", f"wheels = [\n{listed}]", text, flags=re.MULTILINE)


def default_output() -> Path:
    """Where the archive goes when nobody says."""
    return ROOT / "dist" / f"duskrail-{project_version()}.zip"


def build(output: Path | None = None, wheels_folder: Path = WHEELS) -> Path:
    """Write the extension's archive and say where it is. Raises CannotBuild and OSError."""
    wheels = sorted([core_wheel(wheels_folder), *fetch_wheels(pinned_packages(), wheels_folder)])
    addon = ROOT / "blender_addon"
    files = {
        path.relative_to(addon).as_posix(): path.read_bytes()
        for path in sorted(addon.rglob("*"))
        if path.suffix in {".py", ".json", ".html"} and "__pycache__" not in path.parts
    }
    files["blender_manifest.toml"] = manifest_text(wheels).encode()
    files["LICENSE"] = (ROOT / "LICENSE").read_bytes()
    files |= {f"wheels/{wheel.name}": wheel.read_bytes() for wheel in wheels}
    output = output or default_output()
    output.parent.mkdir(parents=True, exist_ok=True)
    write_archive(output, files)
    return output


def write_archive(path: Path, files: dict[str, bytes]) -> None:
    """Write a zip archive, whole or not at all; the same files make the same bytes. Raises OSError."""
    part = path.with_name(f".{path.name}.{os.getpid()}.part")  # two builds may run at once
    try:
        with part.open("w+b") as stream:
            with zipfile.ZipFile(stream, "w") as archive:
                for name, content in sorted(files.items()):
                    # Wheels are packed already
                    method = zipfile.ZIP_STORED if name.endswith(".whl") else zipfile.ZIP_DEFLATED
                    archive.writestr(zipfile.ZipInfo(name, EPOCH), content, method)
            stream.flush()
            os.fsync(stream.fileno())
        part.replace(path)
    finally:
        part.unlink(missing_ok=True)


def validator() -> list[str] | None:
    """How to start Blender's own check of an extension: the tool of a Blender module, this Python's or one
    that the set-up made, or a Blender application. None where there is neither.
    """
    spec = importlib.util.find_spec("bpy")
    homes = [Path(spec.origin).parent] if spec and spec.origin else []
    for pattern in (".venv*/lib/python*/site-packages/bpy", ".venv*/Lib/site-packages/bpy"):
        homes += sorted(ROOT.glob(pattern))
    for home in homes:
        for tool in sorted(home.glob("*/scripts/addons_core/bl_pkg/cli/blender_ext.py"), reverse=True):
            return [sys.executable, "-I", str(tool), "validate"]
    application = os.environ.get("DUSKRAIL_BLENDER") or shutil.which("blender")
    return [application, "--command", "extension", "validate"] if application else None


def validate(archive: Path) -> str | None:
    """What Blender's own check says against the archive: "" for nothing, None where there is nobody to
    ask.
    """
    command = validator()
    if command is None:
        return None
    done = subprocess.run([*command, str(archive)], capture_output=True, text=True, check=False)
    said = (done.stdout + done.stderr).strip()
    return said if done.returncode or "error" in said.lower() else ""


def main(argv: Sequence[str] | None = None) -> int:
    """Build, check and say where the archive is: 0, or 2 with a line on standard error."""
    parser = argparse.ArgumentParser(prog="build_extension.py", description="Build the Blender extension.")
    parser.add_argument("-o", "--output", type=Path, metavar="FILE.zip", help="where to write it (dist/)")
    arguments = parser.parse_args(argv)
    try:
        archive = build(arguments.output)
    except (CannotBuild, OSError) as problem:
        print(f"build_extension.py: {problem}", file=sys.stderr)
        return 2
    objection = validate(archive)
    if objection:
        print(f"build_extension.py: Blender's check says: {objection}", file=sys.stderr)
        return 2
    checked = "passes Blender's check" if objection == "" else "not checked: there is no Blender here"
    print(f"{archive} ({archive.stat().st_size / 1e6:.1f} MB; {checked})")
    print("In Blender: Edit, Preferences, Get Extensions, the arrow at the top right, Install from Disk.")
    return 0


if __name__ == "__main__":
    sys.exit(main())
