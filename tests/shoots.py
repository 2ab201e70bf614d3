"""Cards of invented shoots: JPEG files with the tags that a camera following the light would write."""

from __future__ import annotations

import datetime as dt
import io
from collections.abc import Mapping
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import piexif
from PIL import Image

from planner_core.frames import FrameTable


def frame_bytes(
    clock: dt.datetime,
    settings: tuple[float, float, float],
    *,
    orientation: int = 1,
    model: str = "Invented 1",
    fraction: bool = False,
    offset: str = "",
    thumbnail: bytes = b"",
) -> bytes:
    """One frame: the camera's wall clock, and f-number, shutter and ISO."""
    f_number, shutter_s, iso = settings
    shutter = Fraction(shutter_s).limit_denominator(100_000)
    exif: dict[int, Any] = {
        piexif.ExifIFD.DateTimeOriginal: clock.strftime("%Y:%m:%d %H:%M:%S").encode(),
        piexif.ExifIFD.FNumber: (round(f_number * 100), 100),
        piexif.ExifIFD.ExposureTime: (shutter.numerator, shutter.denominator),
        piexif.ExifIFD.ISOSpeedRatings: round(iso),
    }
    if fraction:
        exif[piexif.ExifIFD.SubSecTimeOriginal] = f"{clock.microsecond // 10_000:02d}".encode()
    if offset:
        exif[piexif.ExifIFD.OffsetTimeOriginal] = offset.encode()
    first = {piexif.ImageIFD.Orientation: orientation, piexif.ImageIFD.Model: model.encode()}
    written = io.BytesIO()
    tags: dict[str, Any] = {"0th": first, "Exif": exif}
    if thumbnail:
        tags |= {"1st": {}, "thumbnail": thumbnail}
    piexif.insert(piexif.dump(tags), _picture(), written)
    return written.getvalue()


def _picture() -> bytes:
    content = io.BytesIO()
    Image.new("RGB", (32, 24)).save(content, "jpeg")
    return content.getvalue()


def grey_thumbnail(stops: float) -> bytes:
    """A thumbnail of one grey, so many stops over middle grey of 18 % (sRGB, IEC 61966-2-1)."""
    linear = 0.18 * 2.0**stops
    level = 1.055 * linear ** (1.0 / 2.4) - 0.055 if linear > 0.0031308 else 12.92 * linear
    content = io.BytesIO()
    Image.new("RGB", (160, 107), (round(255 * level),) * 3).save(content, "jpeg")
    return content.getvalue()


def write_card(
    folder: Path,
    frames: FrameTable,
    *,
    ahead_s: float = 0.0,
    interval_s: float | None = None,
    scatter_stops: float = 0.0,
    fraction: bool = False,
    without: tuple[int, ...] = (),
    offset: str = "",
    thumbnails: Mapping[int, bytes] | None = None,
) -> list[Path]:
    """A file for each frame of a plan, its camera's clock ahead, except the frames (from 1) in without;
    thumbnails are JPEG files by frame.
    """
    rng = np.random.default_rng(1)
    ramp = frames.ramp
    assert ramp is not None
    step = interval_s or frames.plan.shoot.interval_s
    paths = []
    for k in range(len(frames)):
        seconds = float(frames.utc_s[0]) + k * step + ahead_s
        clock = dt.datetime.fromtimestamp(seconds, frames.plan.zone).replace(tzinfo=None)
        shutter = float(ramp.shutter_s[k]) * 2.0 ** float(rng.normal(0.0, scatter_stops))
        path = folder / f"S{k + 1:05d}.jpg"
        if k + 1 in without:
            continue
        path.write_bytes(
            frame_bytes(
                clock,
                (float(ramp.f_number[k]), shutter, float(ramp.iso[k])),
                fraction=fraction,
                offset=offset,
                thumbnail=(thumbnails or {}).get(k + 1, b""),
            )
        )
        paths.append(path)
    return paths
