"""Photographs of a scouting visit, from the command line."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import piexif
import pytest
from PIL import Image

from planner_core import load_plan
from planner_core.place.footprints import scene_xy_m
from tools.duskrail import main

pytestmark = pytest.mark.once

PlanAndPhoto = tuple[str, str]


def degrees(value: float) -> tuple[tuple[int, int], ...]:
    seconds = abs(value) * 3600.0
    return (int(seconds // 3600), 1), (int(seconds // 60 % 60), 1), (round(seconds % 60 * 10_000), 10_000)


def photograph(
    path: Path, plan_path: str, *, reference: bytes = b"T", taken: bytes = b"2027:03:14 18:40:00"
) -> str:
    site = load_plan(plan_path).site
    latitude, longitude = site.latitude_deg + 0.0001, site.longitude_deg + 0.0002
    tags: dict[str, dict[int, Any]] = {
        "Exif": {piexif.ExifIFD.FocalLengthIn35mmFilm: 26, piexif.ExifIFD.DateTimeOriginal: taken},
        "GPS": {
            piexif.GPSIFD.GPSLatitudeRef: b"N",
            piexif.GPSIFD.GPSLatitude: degrees(latitude),
            piexif.GPSIFD.GPSLongitudeRef: b"E" if longitude >= 0 else b"W",
            piexif.GPSIFD.GPSLongitude: degrees(longitude),
            piexif.GPSIFD.GPSImgDirectionRef: reference,
            piexif.GPSIFD.GPSImgDirection: (262, 1),
        },
    }
    Image.new("RGB", (400, 300), (120, 140, 160)).save(path, exif=piexif.dump(tags))
    return str(path)


@pytest.fixture
def plan_path(project_root: Path) -> str:
    return str(project_root / "example_scenes" / "harbour_light.plan.json")


def test_a_photograph_enters_the_plan_where_its_gps_has_it(
    plan_path: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    image, new = photograph(tmp_path / "quay.jpg", plan_path), tmp_path / "new.plan.json"
    before = Path(image).read_bytes()
    assert main(["photo", image, plan_path, "-o", str(new)]) == 0
    (found,) = load_plan(new).photos
    site = load_plan(plan_path).site
    wanted = scene_xy_m(site.longitude_deg + 0.0002, site.latitude_deg + 0.0001, site)
    assert found.place_m[:2] == pytest.approx(tuple(wanted), abs=0.02)
    assert (found.file, found.bearing_deg) == ("quay.jpg", 262.0)
    assert "By its GPS" in capsys.readouterr().out
    assert Path(image).read_bytes() == before


def test_a_setting_sun_in_the_picture_aims_it(
    plan_path: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    image, new = photograph(tmp_path / "quay.jpg", plan_path, reference=b"M"), tmp_path / "new.plan.json"
    assert main(["photo", image, plan_path, "-o", str(new), "--pin", "200,140=sun", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["solved"] == ["aim"]
    assert told["photo"]["bearing_deg"] == pytest.approx(load_plan(new).photos[0].bearing_deg)
    assert main(["photo", "--check", str(new), "--json"]) == 0
    (pin,) = json.loads(capsys.readouterr().out)["pins"]
    assert pin["off_px"] == pytest.approx(0.0, abs=0.01)


def test_a_magnetic_direction_asks_for_the_declination(
    plan_path: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    image, new = photograph(tmp_path / "quay.jpg", plan_path, reference=b"M"), tmp_path / "new.plan.json"
    assert main(["photo", image, plan_path, "-o", str(new)]) == 2
    told = capsys.readouterr().err
    assert "declination" in told
    assert told.count("\n") == 1
    assert not new.exists()
    assert main(["photo", image, plan_path, "-o", str(new), "--declination", "-1.5"]) == 0
    assert load_plan(new).photos[0].bearing_deg == 260.5


def test_a_block_from_a_photograph_is_in_the_new_plan(plan_path: str, tmp_path: Path) -> None:
    image, new = photograph(tmp_path / "quay.jpg", plan_path), tmp_path / "new.plan.json"
    words = ["--block", "shed 210,150 210,100 80", "--skyline", "hills 4000 0,140 200,130 400,138"]
    assert main(["photo", image, plan_path, "-o", str(new), "--at=-2,1,1.6", *words]) == 0
    shed, hills = load_plan(new).blocks[-2:]
    assert (shed.name, shed.shape, hills.name, hills.shape) == ("shed", "box", "hills", "ridge")
    assert load_plan(new).photos[0].place_m == (-2.0, 1.0, 1.6)


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["--pin", "200=sun"], "--pin"),
        (["--pin", "200,100=no such block top"], "no such block"),
        (["--pin", "200,100=80,95"], "altitude"),
        (["--block", "shed 210,150"], "--block"),
        (["--block", "210,150 210,100"], "--block"),
        (["--skyline", "hills 0,140 400,138"], "--skyline"),
        (["--at", "1,2"], "--at"),
        (["--taken", "yesterday"], "--taken"),
    ],
)
def test_words_that_cannot_be_meant_end_in_one_line(
    plan_path: str, tmp_path: Path, capsys: pytest.CaptureFixture[str], words: list[str], told: str
) -> None:
    image, new = photograph(tmp_path / "quay.jpg", plan_path), tmp_path / "new.plan.json"
    assert main(["photo", image, plan_path, "-o", str(new), *words]) == 2
    err = capsys.readouterr().err
    assert told in err
    assert err.count("\n") == 1
    assert not new.exists()


def test_the_photograph_is_never_written_over(
    plan_path: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    image = photograph(tmp_path / "quay.jpg", plan_path)
    before = Path(image).read_bytes()
    assert main(["photo", image, plan_path, "-o", image]) == 2
    assert "the photograph that is read" in capsys.readouterr().err
    assert Path(image).read_bytes() == before


def test_pins_of_an_earlier_visit_stay_until_new_ones_are_given(plan_path: str, tmp_path: Path) -> None:
    image, new = photograph(tmp_path / "quay.jpg", plan_path), tmp_path / "new.plan.json"
    assert main(["photo", image, plan_path, "-o", str(new), "--pin", "200,140=250,3"]) == 0
    assert main(["photo", image, str(new), "-o", str(new), "--at", "0,0,2"]) == 2  # never over what is read
    again = tmp_path / "again.plan.json"
    assert main(["photo", image, str(new), "-o", str(again), "--at", "0,0,2"]) == 0
    assert load_plan(again).photos[0].pins == load_plan(new).photos[0].pins
    assert len(load_plan(again).photos) == 1
