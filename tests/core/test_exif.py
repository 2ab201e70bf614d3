"""Photographs are read as they are: written by two independent libraries, turned, incomplete and hostile."""

from __future__ import annotations

import datetime as dt
import math
import struct
from fractions import Fraction
from pathlib import Path
from typing import Any

import piexif
import pytest
from PIL import Image, TiffImagePlugin

from planner_core.photo.exif import read_exif
from planner_core.plan.model import PlanError

Tags = dict[str, dict[int, Any]]


def rational(value: float) -> tuple[int, int]:
    fraction = Fraction(value).limit_denominator(100_000)
    return fraction.numerator, fraction.denominator


def degrees(value: float) -> tuple[tuple[int, int], ...]:
    minutes = abs(value) * 60.0
    return (int(minutes // 60), 1), (int(minutes % 60), 1), rational(minutes * 60.0 % 60.0)


def tags(latitude: float = 47.2, longitude: float = 11.3) -> Tags:
    return {
        "0th": {piexif.ImageIFD.Orientation: 1},
        "Exif": {
            piexif.ExifIFD.FocalLengthIn35mmFilm: 26,
            piexif.ExifIFD.DateTimeOriginal: b"2027:03:14 18:20:05",
            piexif.ExifIFD.SubSecTimeOriginal: b"25",
            piexif.ExifIFD.OffsetTimeOriginal: b"-03:30",
            piexif.ExifIFD.FNumber: rational(1.8),
            piexif.ExifIFD.ExposureTime: (1, 250),
            piexif.ExifIFD.ISOSpeedRatings: 64,
        },
        "GPS": {
            piexif.GPSIFD.GPSLatitudeRef: b"N" if latitude >= 0 else b"S",
            piexif.GPSIFD.GPSLatitude: degrees(latitude),
            piexif.GPSIFD.GPSLongitudeRef: b"E" if longitude >= 0 else b"W",
            piexif.GPSIFD.GPSLongitude: degrees(longitude),
            piexif.GPSIFD.GPSAltitudeRef: 0,
            piexif.GPSIFD.GPSAltitude: rational(612.5),
            piexif.GPSIFD.GPSImgDirectionRef: b"T",
            piexif.GPSIFD.GPSImgDirection: rational(262.25),
        },
    }


def photograph(folder: Path, said: Tags, size: tuple[int, int] = (400, 300), name: str = "a.jpg") -> Path:
    Image.new("RGB", size, (90, 120, 160)).save(folder / name, exif=piexif.dump(said))
    return folder / name


def test_a_phones_photograph_says_size_view_place_direction_and_time(tmp_path: Path) -> None:
    found = read_exif(photograph(tmp_path, tags()))
    assert (found.width_px, found.height_px, found.projection) == (400, 300, "flat")
    # CIPA DCG-001: equal diagonals, so 4:3 at 26 mm equivalent is as wide as 34.61 mm of film
    assert found.fov_deg == pytest.approx(2 * math.degrees(math.atan(34.614 / 2 / 26)), abs=0.01)
    assert (found.latitude_deg, found.longitude_deg) == pytest.approx((47.2, 11.3), abs=1e-6)
    assert (found.elevation_m, found.direction_deg, found.direction_is_magnetic) == (612.5, 262.25, False)
    zone = dt.timezone(-dt.timedelta(hours=3, minutes=30))
    assert found.taken == dt.datetime(2027, 3, 14, 18, 20, 5, 250_000, zone)
    assert (found.f_number, found.shutter_s, found.iso) == (1.8, 0.004, 64.0)


@pytest.mark.parametrize("orientation", range(1, 9))
def test_each_orientation_gives_the_size_as_the_picture_is_seen(tmp_path: Path, orientation: int) -> None:
    said = tags()
    said["0th"][piexif.ImageIFD.Orientation] = orientation
    found = read_exif(photograph(tmp_path, said))
    # EXIF 2.32, tag 0x0112: 5 to 8 have rows that are columns
    assert (found.width_px, found.height_px) == ((400, 300) if orientation < 5 else (300, 400))


@pytest.mark.parametrize("latitude", [47.2, -33.9])
@pytest.mark.parametrize("longitude", [18.4, -122.4])
def test_gps_of_either_hemisphere(tmp_path: Path, latitude: float, longitude: float) -> None:
    found = read_exif(photograph(tmp_path, tags(latitude, longitude)))
    assert (found.latitude_deg, found.longitude_deg) == pytest.approx((latitude, longitude), abs=1e-6)


@pytest.mark.parametrize("container", ["jpg", "tif", "png"])
def test_another_writer_says_the_same(tmp_path: Path, container: str) -> None:
    values = {0x9003: "2027:03:14 18:20:05", 0xA405: 50, 0x829D: TiffImagePlugin.IFDRational(4, 1)}
    exif, directory = Image.Exif(), TiffImagePlugin.ImageFileDirectory_v2()
    exif[0x8769] = directory[0x8769] = values
    said: dict[str, Any] = {"tiffinfo": directory} if container == "tif" else {"exif": exif}
    Image.new("RGB", (360, 240)).save(tmp_path / f"b.{container}", **said)
    found = read_exif(tmp_path / f"b.{container}")
    assert (found.width_px, found.height_px) == (360, 240)
    assert found.fov_deg == pytest.approx(2 * math.degrees(math.atan(18 / 50)), abs=1e-6)  # 36 mm at 50 mm
    assert (found.taken, found.f_number) == (dt.datetime(2027, 3, 14, 18, 20, 5), 4.0)


@pytest.mark.parametrize("reference", [b"M", None])
def test_a_direction_that_does_not_say_true_counts_as_magnetic(
    tmp_path: Path, reference: bytes | None
) -> None:
    said = tags()
    if reference is None:
        del said["GPS"][piexif.GPSIFD.GPSImgDirectionRef]
    else:
        said["GPS"][piexif.GPSIFD.GPSImgDirectionRef] = reference
    assert read_exif(photograph(tmp_path, said)).direction_is_magnetic


def test_a_picture_without_tags_has_its_size_alone(tmp_path: Path) -> None:
    Image.new("RGB", (64, 48)).save(tmp_path / "c.jpg")
    found = read_exif(tmp_path / "c.jpg")
    assert (found.width_px, found.height_px) == (64, 48)
    assert (found.fov_deg, found.latitude_deg, found.direction_deg, found.taken) == (None,) * 4


def test_a_panorama_says_its_projection_and_what_it_spans(tmp_path: Path) -> None:
    packet = (
        b'http://ns.adobe.com/xap/1.0/\0<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:Description '
        b'GPano:ProjectionType="cylindrical" GPano:CroppedAreaImageWidthPixels="9000" '
        b'GPano:FullPanoWidthPixels="18000"/></x:xmpmeta>'
    )
    whole = photograph(tmp_path, tags()).read_bytes()
    segment = b"\xff\xe1" + struct.pack(">H", len(packet) + 2) + packet
    (tmp_path / "p.jpg").write_bytes(whole[:2] + segment + whole[2:])
    found = read_exif(tmp_path / "p.jpg")
    assert (found.projection, found.fov_deg) == ("cylinder", 180.0)


def hostile() -> dict[str, bytes]:
    """EXIF that is meant to hurt: a loop of directories, sizes past the end, a hundred megabytes of tags."""
    head = b"II*\0\x08\0\0\0"
    entry = struct.pack("<HHII", 0x010E, 2, 0xFFFFFFF0, 8)
    return {
        "loop.tif": head + b"\x01\0" + struct.pack("<HHII", 0x0112, 3, 1, 1) + struct.pack("<I", 8),
        "sub-loop.tif": head + b"\x01\0" + struct.pack("<HHII", 0x8769, 4, 1, 8) + struct.pack("<I", 8),
        "sizes.tif": head + b"\x01\0" + entry + b"\0\0\0\0",
        "many.tif": head + b"\xff\xff" + entry * 65535,
        "no-end.jpg": b"\xff\xd8\xff\xe1\xff\xffExif\0\0" + head + b"\x01\0" + entry,
        "empty.jpg": b"",
        "text.jpg": b"this is no photograph",
    }


@pytest.mark.parametrize("name", sorted(hostile()))
def test_hostile_tags_end_in_one_line_or_in_what_can_be_read(tmp_path: Path, name: str) -> None:
    (tmp_path / name).write_bytes(hostile()[name])
    before = (tmp_path / name).read_bytes()
    with pytest.raises(PlanError) as told:
        read_exif(tmp_path / name)
    assert "\n" not in str(told.value)
    assert str(told.value).startswith("photograph:")
    assert (tmp_path / name).read_bytes() == before


def test_a_hundred_megabytes_of_tags_are_not_read(tmp_path: Path) -> None:
    with (tmp_path / "big.tif").open("wb") as file:
        file.write(b"II*\0\x08\0\0\0\x02\0")
        for tag, size in ((0x010E, 100_000_000), (0x013B, 100_000_000)):
            file.write(struct.pack("<HHII", tag, 2, size, 64))
        file.write(b"\0\0\0\0")
        file.truncate(110_000_000)
    with pytest.raises(PlanError, match=r"^photograph: "):
        read_exif(tmp_path / "big.tif")


@pytest.mark.once
def test_every_cut_and_every_flipped_byte_of_the_tags_is_survived(tmp_path: Path) -> None:
    whole = photograph(tmp_path, tags(), size=(32, 24)).read_bytes()
    place = tmp_path / "cut.jpg"
    for number in range(20, min(len(whole), 700), 7):
        for content in (whole[:number], whole[:number] + bytes([whole[number] ^ 0xFF]) + whole[number + 1 :]):
            place.write_bytes(content)
            try:
                found = read_exif(place)
            except PlanError as error:
                assert "\n" not in str(error)
            else:
                assert found.fov_deg is None or 0.2 <= found.fov_deg <= 175.0
                assert found.latitude_deg is None or abs(found.latitude_deg) <= 90.0


def test_what_is_not_there_is_said(tmp_path: Path) -> None:
    with pytest.raises(PlanError, match="does not exist"):
        read_exif(tmp_path / "nothing.jpg")
    with pytest.raises(PlanError, match="is a folder"):
        read_exif(tmp_path)
