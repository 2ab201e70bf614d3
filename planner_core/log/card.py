"""The frames on a card as their tags have them: when, with what settings, and whole or not."""

from __future__ import annotations

import datetime as dt
import os
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Any

from attrs import frozen

from planner_core.photo.exif import number_in, read_tags, taken, text_in
from planner_core.plan.model import PlanError

PHOTOGRAPHS = frozenset(
    "jpg jpeg heic heif hif tif tiff dng nef nrw cr2 cr3 arw srf sr2 raf orf rw2 pef srw 3fr iiq".split()
)
JPEG_END = b"\xff\xd9"
TAIL = 65_536  # some cameras write previews behind a picture's end


@frozen(kw_only=True)
class Taken:
    """One file: clock_s is the camera's wall clock, in seconds as if it were UTC, None without a time.

    offset_s is the zone that the file names. problem is empty,
    "no time" or "cut off".
    """

    name: str
    clock_s: float | None
    has_fraction: bool = False
    offset_s: float | None = None
    f_number: float | None = None
    shutter_s: float | None = None
    iso: float | None = None
    orientation: int = 1
    camera: str = ""
    problem: str = ""


def read_card(folder: str | os.PathLike[str], tell: Callable[[int, int], None] | None = None) -> list[Taken]:
    """Every photograph in a folder and the folders in it, in order of path. Raises PlanError without any.

    tell is called with how many are read, of how many.
    """
    top = Path(folder)
    if not top.is_dir():
        raise PlanError("folder", str(top), "is not a folder; name the one with the frames")
    paths = sorted(_photographs(top))
    if not paths:
        raise PlanError("folder", str(top), "has no photographs in it (JPEG, HEIC, DNG, TIFF or raw)")
    frames = []
    for number, path in enumerate(paths, start=1):
        frames.append(_read(path, path.relative_to(top).as_posix()))
        if tell is not None and number % 50 == 0:
            tell(number, len(paths))
    return frames


def _photographs(top: Path) -> Iterator[Path]:
    for folder, inner, names in os.walk(top):
        inner.sort()
        for name in names:
            if Path(name).suffix.lower()[1:] in PHOTOGRAPHS and not name.startswith("."):
                yield Path(folder) / name


def _read(path: Path, name: str) -> Taken:
    try:
        tags = read_tags(path, sub_images=False)
        cut = _is_cut(path)
    except PlanError:
        return Taken(name=name, clock_s=None, problem="cut off")
    instant = taken(tags)
    if instant is None:
        return Taken(name=name, clock_s=None, problem="cut off" if cut else "no time")
    wall = instant.replace(tzinfo=dt.UTC)
    offset = instant.utcoffset()
    return Taken(
        name=name,
        clock_s=wall.timestamp(),
        has_fraction=instant.microsecond != 0,
        offset_s=offset.total_seconds() if offset is not None else None,
        f_number=_positive(number_in(tags, "EXIF FNumber")),
        shutter_s=_positive(number_in(tags, "EXIF ExposureTime")),
        iso=_positive(number_in(tags, "EXIF ISOSpeedRatings", "EXIF PhotographicSensitivity")),
        # APEX: Ev = Bv + Sv, and Sv is 5 at ISO 100 (CIPA DC-008, annex C)
        orientation=int(number_in(tags, "Image Orientation") or 1),
        camera=_camera(tags),
        problem="cut off" if cut else "",
    )


def _positive(value: float | None) -> float | None:
    return value if value is not None and value > 0.0 else None


def _camera(tags: Mapping[str, Any]) -> str:
    parts = (text_in(tags, name) for name in ("Image Make", "Image Model", "EXIF BodySerialNumber"))
    return " ".join(part for part in parts if part)


def _is_cut(path: Path) -> bool:
    """Whether a JPEG lacks its end. Raises PlanError where the file can't be read."""
    if path.suffix.lower() not in (".jpg", ".jpeg"):
        return path.stat().st_size == 0
    try:
        with path.open("rb") as file:
            size = file.seek(0, os.SEEK_END)
            file.seek(max(size - TAIL, 0))
            return JPEG_END not in file.read()
    except OSError as error:
        raise PlanError(
            "photograph", str(path), "can't be read ({why})", why=error.strerror or error
        ) from None
