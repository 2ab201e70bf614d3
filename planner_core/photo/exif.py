"""What a photograph's file says about itself: size as seen, field of view, place, direction and time.

The file is opened for reading only, and never more of it is read than its tags need.
"""

from __future__ import annotations

import datetime as dt
import logging
import math
import os
import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any, BinaryIO, cast

import exifread
import imagesize
from attrs import frozen

from planner_core.plan.model import PlanError

MOST_BYTES = 64_000_000  # of tags and previews; a raw file's picture isn't read
MOST_READS = 400_000  # a loop of tags ends here
DIAGONAL_35MM = math.hypot(36.0, 24.0)
SIDEWAYS = (5, 6, 7, 8)  # orientations that turn the picture by a quarter: EXIF 2.32, tag 0x0112
XMP_REACH = 400_000  # a panorama says its projection near the beginning of its file

_SAYS_NOTHING = logging.getLogger("exifread")
_SAYS_NOTHING.setLevel(logging.CRITICAL)


@frozen(kw_only=True)
class Exif:
    """What was found; None for what the file doesn't say.

    width_px and height_px are those of the picture as it is seen, upright; orientation is how it is stored
    (EXIF 2.32, tag 0x0112). fov_deg is the horizontal field of
    view, direction_deg the bearing of its middle, magnetic where direction_is_magnetic, altitude_deg what the
    camera wrote of its elevation. taken has a UTC offset where the file has one. f_number, shutter_s and iso
    are as exposed.
    """

    width_px: int
    height_px: int
    orientation: int = 1
    projection: str = "flat"
    fov_deg: float | None = None
    latitude_deg: float | None = None
    longitude_deg: float | None = None
    elevation_m: float | None = None
    direction_deg: float | None = None
    direction_is_magnetic: bool = False
    altitude_deg: float | None = None
    taken: dt.datetime | None = None
    f_number: float | None = None
    shutter_s: float | None = None
    iso: float | None = None


def read_exif(path: str | os.PathLike[str]) -> Exif:
    """What a JPEG, HEIC, TIFF or raw file says. Raises PlanError, in one line, for a file that isn't one."""
    path = Path(path)
    tags = read_tags(path)
    width, height = _size_px(path, tags)
    panorama, place = _panorama(path), _place(tags)
    direction, is_magnetic = _direction(tags)
    return Exif(
        width_px=width,
        height_px=height,
        orientation=int(_within(number_in(tags, "Image Orientation"), 1.0, 8.0) or 1),
        projection="cylinder" if panorama is not None else "flat",
        fov_deg=panorama or _fov_deg(tags, width, height),
        latitude_deg=place.latitude_deg,
        longitude_deg=place.longitude_deg,
        elevation_m=place.elevation_m,
        direction_deg=direction,
        direction_is_magnetic=is_magnetic,
        altitude_deg=_within(number_in(tags, "EXIF CameraElevationAngle", "EXIF Tag 0x9405"), -90.0, 90.0),
        taken=taken(tags),
        f_number=_within(number_in(tags, "EXIF FNumber"), 0.3, 512.0),
        shutter_s=_within(number_in(tags, "EXIF ExposureTime"), 1e-7, 1e6),
        iso=_within(number_in(tags, "EXIF ISOSpeedRatings", "EXIF PhotographicSensitivity"), 1.0, 1e8),
    )


def read_tags(path: Path, *, sub_images: bool = True) -> Mapping[str, Any]:
    """The file's EXIF tags by name, as exifread has them. Raises PlanError where it can't be read."""
    try:
        with path.open("rb") as file:
            guarded = cast(BinaryIO, _Guarded(file))
            return dict(
                exifread.process_file(guarded, details=sub_images, extract_thumbnail=False, strict=False)
            )
    except _TooMuch:
        raise PlanError(
            "photograph", str(path), "has tags without end; save it anew from a photo program"
        ) from None
    except FileNotFoundError:
        raise PlanError("photograph", str(path), "does not exist; check the name") from None
    except IsADirectoryError:
        raise PlanError("photograph", str(path), "is a folder; name a photograph") from None
    except OSError as error:
        raise PlanError(
            "photograph", str(path), "can't be read ({why})", why=error.strerror or error
        ) from None
    except Exception:  # a damaged file makes the reader stumble in more ways than it names
        return {}


class _TooMuch(Exception):
    """More was read than tags can need."""


class _Guarded:
    """A file that is read only so far."""

    def __init__(self, file: BinaryIO) -> None:
        self._file = file
        self._bytes = self._reads = 0

    def read(self, count: int = -1) -> bytes:
        self._reads += 1
        left = MOST_BYTES - self._bytes
        if self._reads > MOST_READS or left <= 0:
            raise _TooMuch
        content = self._file.read(left if count < 0 else min(count, left))
        self._bytes += len(content)
        return content

    def seek(self, offset: int, whence: int = 0) -> int:
        self._reads += 1
        if self._reads > MOST_READS:
            raise _TooMuch
        return self._file.seek(offset, whence)

    def tell(self) -> int:
        return self._file.tell()


def taken(tags: Mapping[str, Any]) -> dt.datetime | None:
    """When the picture was taken, to the camera's fraction of a second, with its UTC offset if it has one."""
    text = text_in(tags, "EXIF DateTimeOriginal") or text_in(tags, "EXIF DateTimeDigitized")
    match = re.fullmatch(r"(\d{4})[:-](\d\d)[:-](\d\d)[ T](\d\d):(\d\d):(\d\d)", text or "")
    if match is None:
        return _gps_time(tags)
    try:
        instant = dt.datetime(*(int(part) for part in match.groups()))  # type: ignore[arg-type]
    except ValueError:
        return _gps_time(tags)
    fraction = text_in(tags, "EXIF SubSecTimeOriginal") or ""
    if fraction.isdecimal():
        instant += dt.timedelta(seconds=float(f"0.{fraction}"))
    offset = _offset(text_in(tags, "EXIF OffsetTimeOriginal") or text_in(tags, "EXIF OffsetTime") or "")
    return instant if offset is None else instant.replace(tzinfo=offset)


def _offset(text: str) -> dt.timezone | None:
    match = re.fullmatch(r"([+-])(\d\d):(\d\d)", text)
    if match is None:
        return dt.UTC if text == "Z" else None
    sign = -1 if match[1] == "-" else 1
    minutes = 60 * int(match[2]) + int(match[3])
    return dt.timezone(sign * dt.timedelta(minutes=minutes)) if minutes < 24 * 60 else None


def _gps_time(tags: Mapping[str, Any]) -> dt.datetime | None:
    clock, date = _numbers(tags, "GPS GPSTimeStamp"), text_in(tags, "GPS GPSDate")
    try:
        day = dt.datetime.strptime(date or "", "%Y:%m:%d").replace(tzinfo=dt.UTC)
    except ValueError:
        return None
    if len(clock) != 3 or not 0.0 <= clock[0] < 24.0:
        return None
    return day + dt.timedelta(hours=clock[0], minutes=clock[1], seconds=clock[2])


# ---------------------------------------------------------------- size and field of view


def _size_px(path: Path, tags: Mapping[str, Any]) -> tuple[int, int]:
    """Width and height as seen. Raises PlanError where the file is no picture."""
    sizes = [_tag_size(tags, "EXIF ExifImageWidth", "EXIF ExifImageLength")]
    sizes += [
        _tag_size(tags, name, name.replace("ImageWidth", "ImageLength"))
        for name in sorted(tags)
        if name.endswith(" ImageWidth") and not name.startswith("Thumbnail")
    ]
    # a raw file's tags know its picture beside the previews; any other file's own size is the one that a crop
    # left it
    is_raw = path.suffix.lower() not in (".jpg", ".jpeg", ".heic", ".heif", ".png", ".webp")
    largest = max((size for size in sizes if size), default=None)
    size = (largest if is_raw else None) or _file_size(path) or largest or (0, 0)
    if not all(16 <= side <= 200_000 for side in size):
        raise PlanError("photograph", str(path), "is not a JPEG, HEIC, TIFF or raw file that says its size")
    return size


def _tag_size(tags: Mapping[str, Any], across: str, down: str) -> tuple[int, int] | None:
    """Width and height as seen, from tags that give them as stored."""
    width, height = number_in(tags, across), number_in(tags, down)
    if not width or not height or width < 0.0 or height < 0.0:
        return None
    turned = number_in(tags, "Image Orientation") in SIDEWAYS
    return (int(height), int(width)) if turned else (int(width), int(height))


def _file_size(path: Path) -> tuple[int, int] | None:
    """Width and height as seen, from the picture's own header."""
    width, height = imagesize.get(path)
    return (int(width), int(height)) if width > 0 and height > 0 else None


def _fov_deg(tags: Mapping[str, Any], width: int, height: int) -> float | None:
    """Horizontal field of view from the 35 mm equivalent, which compares diagonals (CIPA DCG-001), else from
    the focal length and the sensor's pixels.
    """
    diagonal = math.hypot(width, height)
    equivalent = _within(number_in(tags, "EXIF FocalLengthIn35mmFilm"), 2.0, 5000.0)
    if equivalent is not None:
        return fov_deg(width, equivalent / DIAGONAL_35MM * diagonal)
    focal, across = number_in(tags, "EXIF FocalLength"), number_in(tags, "EXIF FocalPlaneXResolution")
    unit_mm = {2.0: 25.4, 3.0: 10.0, 4.0: 1.0}.get(number_in(tags, "EXIF FocalPlaneResolutionUnit") or 2.0)
    if not focal or not across or unit_mm is None or focal <= 0.0 or across <= 0.0:
        return None
    return _within(fov_deg(width, focal * across / unit_mm), 0.2, 175.0)


def fov_deg(width_px: float, focal_px: float) -> float:
    """Horizontal field of view of a picture whose lens keeps lines straight."""
    return 2.0 * math.degrees(math.atan2(width_px / 2.0, focal_px))


def _panorama(path: Path) -> float | None:
    """The angle that a cylindrical panorama spans, degrees, from its XMP packet; None for other pictures."""
    try:
        with path.open("rb") as file:
            head = file.read(XMP_REACH)
    except OSError:
        return None

    def value(name: str) -> str:
        match = re.search(rb"GPano:" + name.encode() + rb"(?:=\"|>)\s*([\w.]{1,40})", head)
        return match[1].decode() if match else ""

    if value("ProjectionType").lower() != "cylindrical":
        return None
    try:
        fraction = float(value("CroppedAreaImageWidthPixels")) / float(value("FullPanoWidthPixels"))
    except (ValueError, ZeroDivisionError):
        return None
    return _within(360.0 * fraction, 1.0, 360.0)


# ---------------------------------------------------------------- place and direction


@frozen(kw_only=True)
class _Place:
    latitude_deg: float | None = None
    longitude_deg: float | None = None
    elevation_m: float | None = None


def _place(tags: Mapping[str, Any]) -> _Place:
    latitude = _angle(tags, "GPS GPSLatitude", "S", 90.0)
    longitude = _angle(tags, "GPS GPSLongitude", "W", 180.0)
    if latitude is None or longitude is None or (latitude == 0.0 and longitude == 0.0):
        return _Place()
    height = _within(number_in(tags, "GPS GPSAltitude"), 0.0, 20_000.0)
    below = height is not None and number_in(tags, "GPS GPSAltitudeRef") == 1.0
    return _Place(
        latitude_deg=latitude,
        longitude_deg=longitude,
        elevation_m=-height if below and height is not None else height,
    )


def _angle(tags: Mapping[str, Any], name: str, negative: str, limit: float) -> float | None:
    parts = _numbers(tags, name)
    side = (text_in(tags, name + "Ref") or "").upper()[:1]
    if not 1 <= len(parts) <= 3 or not side:
        return None
    degrees = sum(part / 60.0**power for power, part in enumerate(parts))
    if not 0.0 <= degrees <= limit:
        return None
    return -degrees if side == negative else degrees


def _direction(tags: Mapping[str, Any]) -> tuple[float | None, bool]:
    """The bearing of the picture's middle, and whether it is magnetic."""
    bearing = _within(number_in(tags, "GPS GPSImgDirection"), 0.0, 360.0)
    reference = (text_in(tags, "GPS GPSImgDirectionRef") or "").upper()[:1]
    # EXIF 2.32, tag 0x0010: T true, M magnetic; a direction without either could be both
    return bearing, bearing is not None and reference != "T"


# ---------------------------------------------------------------- values


def _numbers(tags: Mapping[str, Any], *names: str) -> list[float]:
    for name in names:
        values = getattr(tags.get(name), "values", None)
        if isinstance(values, (list, tuple)) and values:
            try:
                numbers = [float(value) for value in values[:8]]
            except (TypeError, ValueError, ZeroDivisionError, OverflowError):
                continue
            if all(map(math.isfinite, numbers)):
                return numbers
    return []


def number_in(tags: Mapping[str, Any], *names: str) -> float | None:
    """The first number of the first of these tags that has one."""
    return next(iter(_numbers(tags, *names)), None)


def text_in(tags: Mapping[str, Any], name: str) -> str | None:
    """A tag's text without its padding, None where it has none."""
    value = getattr(tags.get(name), "values", None)
    if isinstance(value, (list, tuple)):
        value = "".join(map(str, value))
    return str(value).strip("\0 ") if value else None


def _within(value: float | None, low: float, high: float) -> float | None:
    return value if value is not None and low <= value <= high else None
