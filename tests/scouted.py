"""An invented valley, two photographs of it drawn by the tool itself, and an elevation grid: what a scouting
visit brings home. `python -m tests.scouted FOLDER` writes them.

What was there (TRUTH) is known here, and nowhere in what is written.
"""

from __future__ import annotations

import datetime as dt
import json
import sys
from pathlib import Path
from typing import Any

import attrs
import numpy as np
import piexif

from planner_core.place.footprints import lonlat_deg
from planner_core.plan.file import plan_from_dict, plan_to_text
from planner_core.plan.model import Block, Plan, Pose, Rig, Shoot
from planner_core.terrain.grids import Grid, load_grids
from planner_core.terrain.land import with_land

LATITUDE_DEG, LONGITUDE_DEG = 44.215, 6.935
CELLS, STEP_DEG = 145, 1.0 / 1200.0
SIZE_PX = (1200, 800)
FOCAL_MM = 26.0
COMPASS_OFF_DEG = 3.0  # as a phone's may be
EYE_M = 1.6
# name of the picture, place from the scene's origin, bearing and altitude of the lens
SHOTS = (("from_the_road.jpg", (0.0, 0.0), 2.0, 3.0), ("from_the_field.jpg", (38.0, -5.0), 345.0, 2.5))
# where things stand from above, width and depth, height
TRUTH = {
    "tower": ((9.0, 96.0), (6.0, 6.0), 22.0),
    "barn": ((-34.0, 78.0), (15.0, 9.0), 8.0),
    "mast": ((30.0, 128.0), (0.7, 0.7), 16.0),
}


# as the guide has them, without the plans that they read and write; points are clicked in the pictures
COMMANDS = (
    ("terrain", "valley.asc"),
    (
        *("photo", "from_the_road.jpg"),
        *("--pin", "232.5,329=hills 19 top", "--pin", "1002.5,336=hills 11 top"),
    ),
    (
        *("photo", "from_the_field.jpg"),
        *("--pin", "500.5,330=hills 19 top", "--pin", "849,312=hills 20 top"),
        *("--block", "tower 584,439 584,254 554,439 614,439 = from_the_road.jpg 651.5,446 651.5,244"),
        *("--block", "barn 181,443 181,374 92,443 260,443 = from_the_road.jpg 187,452 187,363"),
        *("--block", "mast 776.5,435 776.5,329 774,435 779,435 = from_the_road.jpg 770.5,442 770.5,335"),
    ),
)


def land_m(east_m: np.ndarray, north_m: np.ndarray) -> np.ndarray:
    """The land's height above the sea: a valley floor that rises gently, and a range of three peaks north."""
    floor = 412.0 + 0.012 * north_m + 0.004 * east_m
    range_m = np.zeros_like(east_m)
    for x, y, high, wide in ((-1500, 4000, 470, 800), (160, 4700, 640, 600), (1900, 3800, 400, 900)):
        away = np.hypot(east_m - x, north_m - y)
        range_m = np.maximum(range_m, high * np.exp(-away / wide))
    return floor + range_m + 60.0 * np.exp(-((np.abs(north_m) - 3500.0) ** 2) / 900.0**2)


def grid_text() -> str:
    """The land as an Esri ASCII grid, three arc-seconds a cell."""
    south, west = LATITUDE_DEG - CELLS / 2 * STEP_DEG, LONGITUDE_DEG - CELLS / 2 * STEP_DEG
    head = f"ncols {CELLS}\nnrows {CELLS}\nxllcorner {west:.9f}\nyllcorner {south:.9f}\n"
    steps = (np.arange(CELLS) + 0.5) * STEP_DEG
    north, east = np.meshgrid(
        (south + steps[::-1] - LATITUDE_DEG) * 111_100.0,
        (west + steps - LONGITUDE_DEG) * 111_320.0 * np.cos(np.radians(LATITUDE_DEG)),
        indexing="ij",
    )
    rows = land_m(east, north)
    body = "\n".join(" ".join(f"{height:.1f}" for height in row) for row in rows)
    return f"{head}cellsize {STEP_DEG:.12f}\nNODATA_value -9999\n{body}\n"


def bare_plan(project: Path) -> Plan:
    """What is known before the visit: where it is, the camera, a rail; no blocks."""
    document = json.loads((project / "example_scenes" / "harbour_light.plan.json").read_text("utf-8"))
    document.update(
        title="Valley tower",
        reason="The tower comes out from behind the mast while the range behind it goes dark.",
        notes="An invented valley, blocked out from two photographs and an elevation grid.",
        blocks=[],
    )
    document["site"] = {
        "name": "Marl valley",
        "latitude_deg": LATITUDE_DEG,
        "longitude_deg": LONGITUDE_DEG,
        "timezone": "Europe/Paris",
    }
    document["composition"] = {"style": "hold", "subject": "tower"}
    document["rig"].update(origin_m=[0.0, 0.0, 0.9], bearing_deg=90.0)
    document["rig"]["pan"].update(min_deg=-180.0, max_deg=180.0)
    poses = ((0.0, 0.1, 5.0), (1.0, 1.2, 8.0))
    document["move"]["poses"] = [
        {"at": at, "slide_m": slide, "pan_deg": pan, "tilt_deg": 4.0} for at, slide, pan in poses
    ]
    return plan_from_dict(document)


def as_it_is(bare: Plan, grid: Grid) -> Plan:
    """The place as it was: the land, and what stands on it."""
    blocks = []
    for name, ((x, y), (wide, deep), high) in TRUTH.items():
        role = "subject" if name == "tower" else "background"
        if name == "barn":
            corners = tuple(
                (x + i * wide / 2, y + j * deep / 2) for i, j in ((-1, -1), (1, -1), (1, 1), (-1, 1))
            )
            given: dict[str, Any] = {"footprint_m": corners, "height_m": high}
            given |= {"roof": "gabled", "roof_height_m": 3.0}
            blocks.append(Block(name=name, role=role, shape="prism", **given))
        else:
            shape = "post" if name == "mast" else "box"
            placed: dict[str, Any] = {"centre_m": (x, y, high / 2.0), "size_m": (wide, deep, high)}
            blocks.append(Block(name=name, role=role, shape=shape, **placed))
    return with_land(attrs.evolve(bare, blocks=tuple(blocks)), grid).plan


def shot(bare: Plan, grid: Grid, number: int) -> Plan:
    """A plan of one frame, taken by hand from where a photograph was."""
    _, (x, y), bearing, altitude = SHOTS[number]
    truth = as_it_is(bare, grid)
    height = height_m(bare, grid, (x, y))
    camera = attrs.evolve(truth.camera, focal_length_mm=FOCAL_MM, focus_distance_m=80.0)
    standing = attrs.evolve(
        truth,
        camera=camera,
        clip=attrs.evolve(truth.clip, width_px=SIZE_PX[0], height_px=SIZE_PX[1]),
        rig=Rig(origin_m=(x, y, height + EYE_M)),
        move=attrs.evolve(truth.move, poses=(Pose(at=0.0, pan_deg=bearing, tilt_deg=altitude),)),
        shoot=Shoot(frames=1, interval_s=10.0, start=dt.datetime(2027, 3, 1, 15, 20)),
        composition=None,
    )
    # the range as it is seen from there
    return with_land(standing, grid, zero_m=height_m(bare, grid, (0.0, 0.0), above_sea=True)).plan


def height_m(bare: Plan, grid: Grid, place_m: tuple[float, float], *, above_sea: bool = False) -> float:
    """The land's height at a place of the scene, above its zero: the land under the rail's start."""
    longitude, latitude = lonlat_deg(np.array([place_m, (0.0, 0.0)]), bare.site)
    here, zero = grid.at(latitude, longitude)
    return float(here) if above_sea else float(here - zero)


def exif_of(bare: Plan, number: int) -> bytes:
    """The tags that a phone writes: lens, place, direction with its compass off, and time."""
    _, place_m, bearing, _ = SHOTS[number]
    (longitude,), (latitude,) = lonlat_deg(np.array([place_m]), bare.site)

    def parts(degrees: float) -> tuple[tuple[int, int], ...]:
        minutes, seconds = divmod(abs(degrees) * 3600.0, 60.0)
        return (int(minutes // 60), 1), (int(minutes % 60), 1), (round(seconds * 1e4), 10_000)

    toward = (bearing + COMPASS_OFF_DEG) % 360.0
    return bytes(
        piexif.dump(
            {
                "0th": {piexif.ImageIFD.Orientation: 1},
                "Exif": {
                    piexif.ExifIFD.FocalLength: (round(FOCAL_MM * 10), 10),
                    piexif.ExifIFD.FocalLengthIn35mmFilm: round(FOCAL_MM),
                    piexif.ExifIFD.DateTimeOriginal: b"2027:03:01 15:20:00",
                    piexif.ExifIFD.OffsetTimeOriginal: b"+01:00",
                },
                "GPS": {
                    piexif.GPSIFD.GPSLatitudeRef: b"N",
                    piexif.GPSIFD.GPSLatitude: parts(float(latitude)),
                    piexif.GPSIFD.GPSLongitudeRef: b"E",
                    piexif.GPSIFD.GPSLongitude: parts(float(longitude)),
                    piexif.GPSIFD.GPSImgDirectionRef: b"T",
                    piexif.GPSIFD.GPSImgDirection: (round(toward * 100), 100),
                },
            }
        )
    )


def draw(plan: Plan, file: Path, folder: Path, exif: bytes, size_px: tuple[int, int] = SIZE_PX) -> None:
    """A photograph: the plan's one frame drawn by the preview, as a JPEG with a phone's tags."""
    from PIL import Image

    from tools.duskrail import main

    folder.mkdir(parents=True, exist_ok=True)
    written, still = folder / f"{file.stem}.plan.json", folder / f"{file.stem}.png"
    written.write_text(plan_to_text(plan), "utf-8")
    size = f"{size_px[0]}x{size_px[1]}"
    if main(["preview", str(written), "-o", str(still), "--still", "1", "--size", size, "--quiet"]) != 0:
        raise RuntimeError("the preview drew nothing")
    Image.open(still).convert("RGB").save(file, quality=88, exif=exif)


def write(folder: Path, project: Path, work: Path) -> None:
    """The grid, the plan before the visit, and both photographs."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "valley.asc").write_text(grid_text(), "ascii")
    bare, grid = bare_plan(project), load_grids([folder / "valley.asc"])
    (folder / "before.plan.json").write_text(plan_to_text(bare), "utf-8")
    for number, (name, *_) in enumerate(SHOTS):
        draw(shot(bare, grid, number), folder / name, work, exif_of(bare, number))


if __name__ == "__main__":
    write(Path(sys.argv[1]), Path(__file__).parents[1], Path(sys.argv[2]))
