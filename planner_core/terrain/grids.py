"""Elevation grids in open formats, in geographic coordinates: SRTM tiles (.hgt), Esri ASCII and GeoTIFF.

Heights are metres above the sea, as the file has them; where it has none they are NaN. Several files of one
spacing become one grid.
"""

from __future__ import annotations

import contextlib
import logging
import os
import re
import warnings
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
from attrs import frozen
from numpy.typing import ArrayLike, NDArray

from planner_core.plan.model import PlanError

Array = NDArray[np.float64]
Heights = NDArray[np.float32]

HGT_VOID = -32768  # SRTM's own word for no data
LOWEST_M, HIGHEST_M = -500.0, 9000.0  # what stands outside of that is no height of land
MOST_CELLS = 80_000_000
CONVERT = "convert it with gdalwarp -t_srs EPSG:4326"
_HGT_NAME = re.compile(r"([NS])(\d{2})([EW])(\d{3})", re.IGNORECASE)


@frozen(kw_only=True, eq=False)
class Grid:
    """Heights (rows, columns), float32, metres; row 0 is the northernmost, column 0 the westernmost.

    north_deg and west_deg are those of the first height itself; step_deg is (down, across), both positive.
    """

    heights_m: Heights
    north_deg: float
    west_deg: float
    step_deg: tuple[float, float]

    @property
    def south_deg(self) -> float:
        return self.north_deg - self.step_deg[0] * (self.heights_m.shape[0] - 1)

    @property
    def east_deg(self) -> float:
        return self.west_deg + self.step_deg[1] * (self.heights_m.shape[1] - 1)

    @property
    def missing(self) -> float:
        """The share of the heights that the files don't have."""
        return float(np.isnan(self.heights_m).mean())

    def at(self, latitude_deg: ArrayLike, longitude_deg: ArrayLike) -> Array:
        """Heights between the grid's own, bilinear, any shape; NaN outside and beside holes."""
        row = (self.north_deg - np.asarray(latitude_deg, dtype=np.float64)) / self.step_deg[0]
        middle = (self.west_deg + self.east_deg) / 2.0
        east = (np.asarray(longitude_deg, dtype=np.float64) - middle + 180.0) % 360.0 - 180.0
        column = (east + middle - self.west_deg) / self.step_deg[1]
        rows, columns = self.heights_m.shape
        inside = (row >= 0.0) & (row <= rows - 1) & (column >= 0.0) & (column <= columns - 1)
        top = np.clip(row.astype(np.int64), 0, rows - 2)
        left = np.clip(column.astype(np.int64), 0, columns - 2)
        down, across = row - top, column - left
        flat, index = self.heights_m.reshape(-1), top * columns + left
        upper = flat[index] * (1.0 - across) + flat[index + 1] * across
        lower = flat[index + columns] * (1.0 - across) + flat[index + columns + 1] * across
        return np.where(inside, upper * (1.0 - down) + lower * down, np.nan)


def load_grids(paths: Sequence[str | os.PathLike[str]]) -> Grid:
    """One grid of several files. Raises PlanError, naming the file, for one that can't be read or used."""
    return joined([_read(Path(path)) for path in paths], [str(path) for path in paths])


def joined(grids: Sequence[Grid], names: Sequence[str]) -> Grid:
    """Grids side by side as one, holes where none reaches. Raises PlanError where they don't align."""
    if len(grids) == 1:
        return grids[0]
    down, across = grids[0].step_deg
    north, south = max(grid.north_deg for grid in grids), min(grid.south_deg for grid in grids)
    west, east = min(grid.west_deg for grid in grids), max(grid.east_deg for grid in grids)
    rows, columns = round((north - south) / down) + 1, round((east - west) / across) + 1
    if rows * columns > MOST_CELLS:
        raise PlanError(
            "terrain", names[-1], "lies too far from the other files for one grid; name neighbouring tiles"
        )
    heights = np.full((rows, columns), np.nan, dtype=np.float32)
    for grid, name in zip(grids, names, strict=True):
        top, left = (north - grid.north_deg) / down, (grid.west_deg - west) / across
        same = np.allclose(grid.step_deg, (down, across), rtol=1e-6)
        if not same or abs(top - round(top)) > 0.01 or abs(left - round(left)) > 0.01:
            raise PlanError(
                "terrain", name, f"has another spacing than {names[0]}; name files of one kind, or {CONVERT}"
            )
        part = heights[
            round(top) : round(top) + grid.heights_m.shape[0],
            round(left) : round(left) + grid.heights_m.shape[1],
        ]
        np.copyto(part, grid.heights_m, where=~np.isnan(grid.heights_m))
    return Grid(heights_m=heights, north_deg=north, west_deg=west, step_deg=(down, across))


def _read(path: Path) -> Grid:
    readers = {".hgt": _read_hgt, ".asc": _read_ascii, ".tif": _read_tiff, ".tiff": _read_tiff}
    reader = readers.get(path.suffix.lower())
    if reader is None:
        raise PlanError("terrain", str(path), "is no .hgt, .asc or .tif file; those are what can be read")
    try:
        grid = reader(path)
    except FileNotFoundError:
        raise PlanError("terrain", str(path), "does not exist; check the name") from None
    except OSError as error:
        raise PlanError("terrain", str(path), f"can't be read ({error.strerror or error})") from None
    heights = grid.heights_m
    with np.errstate(invalid="ignore"):
        heights[(heights < LOWEST_M) | (heights > HIGHEST_M)] = np.nan
    if np.isnan(heights).all():
        raise PlanError("terrain", str(path), "holds no heights from -500 to 9000 m; is it in metres?")
    return grid


# ---------------------------------------------------------------- SRTM


def _read_hgt(path: Path) -> Grid:
    """A tile of 1° by 1°, big-endian 16-bit heights, its south-west corner in its name (SRTM Topo Format)."""
    name = _HGT_NAME.search(path.stem)
    if name is None:
        raise PlanError("terrain", path.name, "doesn't say which tile it is; name it like N46E007.hgt")
    values = np.fromfile(path, dtype=">i2")
    side = round(np.sqrt(len(values)))
    if side * side != len(values) or side not in (1201, 3601):
        raise PlanError(
            "terrain", path.name, f"has {len(values)} heights; a tile has 1201 × 1201 or 3601 × 3601"
        )
    heights = values.reshape(side, side).astype(np.float32)
    heights[heights == HGT_VOID] = np.nan
    south = int(name[2]) * (1 if name[1].upper() == "N" else -1)
    west = int(name[4]) * (1 if name[3].upper() == "E" else -1)
    step = 1.0 / (side - 1)
    return Grid(heights_m=heights, north_deg=south + 1.0, west_deg=float(west), step_deg=(step, step))


# ---------------------------------------------------------------- Esri ASCII


def _read_ascii(path: Path) -> Grid:
    """An Esri ASCII raster: a header of named numbers, then rows of heights from the north."""
    header: dict[str, float] = {}
    with path.open("rb") as file:
        while True:
            begin = file.tell()
            line = file.readline(200)
            words = line.decode("latin-1").lower().split()
            if len(words) != 2 or not words[0][:1].isalpha():
                break
            try:
                header[words[0]] = float(words[1])
            except ValueError:
                raise PlanError(
                    "terrain", path.name, f"has {words[1]!r} for {words[0]}, which is not a number"
                ) from None
        file.seek(begin)
        columns, rows = _whole(path, header, "ncols"), _whole(path, header, "nrows")
        text = file.read()
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", DeprecationWarning)  # how numpy says that it stopped halfway
            values = np.fromstring(text, dtype=np.float32, sep=" ")  # type: ignore[call-overload]
    except (ValueError, DeprecationWarning):
        raise PlanError(
            "terrain", path.name, "has something among its heights that is not a number"
        ) from None
    if len(values) != rows * columns:
        raise PlanError(
            "terrain", path.name, f"has {len(values)} heights; its header promises {rows} rows of {columns}"
        )
    heights = np.array(values).reshape(rows, columns)
    heights[heights == np.float32(header.get("nodata_value", -9999.0))] = np.nan
    across = header.get("cellsize", header.get("dx", 0.0))
    down = header.get("cellsize", header.get("dy", 0.0))
    west = header["xllcenter"] if "xllcenter" in header else header.get("xllcorner", np.nan) + across / 2.0
    south = header["yllcenter"] if "yllcenter" in header else header.get("yllcorner", np.nan) + down / 2.0
    _check_geographic(path, west, south, across, down, rows, columns)
    return Grid(
        heights_m=heights, north_deg=south + down * (rows - 1), west_deg=west, step_deg=(down, across)
    )


def _whole(path: Path, header: dict[str, float], name: str) -> int:
    value = header.get(name, 0.0)
    if not (value.is_integer() and 2 <= value <= 100_000):
        raise PlanError(
            "terrain", path.name, f"has no header that gives {name}; an Esri ASCII grid begins with it"
        )
    return int(value)


def _check_geographic(
    path: Path, west: float, south: float, across: float, down: float, rows: int, columns: int
) -> None:
    """Raise PlanError where a grid's corner and spacing can't be degrees."""
    fits = (
        across > 0.0
        and down > 0.0
        and abs(west) <= 180.5
        and west + across * columns <= 540.0
        and abs(south) <= 90.5
        and south + down * rows <= 90.5
    )
    if not fits:
        raise PlanError("terrain", path.name, f"isn't in geographic coordinates (degrees); {CONVERT}")


# ---------------------------------------------------------------- GeoTIFF

logging.getLogger("tifffile").setLevel(logging.CRITICAL)  # what is amiss is said here, in a line
MOST_HEIGHTS = 400_000_000  # 1.6 GB as they are kept; thirty of the largest SRTM tiles
_MODEL_GEOGRAPHIC = 2  # GTModelTypeGeoKey, OGC GeoTIFF 1.1, 7.3
_RASTER_IS_POINT = 2  # GTRasterTypeGeoKey


def _read_tiff(path: Path) -> Grid:
    """The first picture of a GeoTIFF in geographic coordinates (OGC GeoTIFF 1.1)."""
    import tifffile  # takes a moment to load, and few need it

    try:
        with tifffile.TiffFile(path) as file:
            page: Any = file.pages[0]
            if np.prod(page.shape, dtype=np.float64) > MOST_HEIGHTS:
                raise ValueError(
                    f"{' × '.join(map(str, page.shape))} heights are too many; cut out the place"
                )
            keys = page.geotiff_tags or {}
            no_data = page.tags.get(42113)
            values = page.asarray()
    except OSError:
        raise
    except Exception as error:  # the reader has an error for each way in which a file can be damaged
        why = str(error).splitlines()[0][:120] if str(error) else type(error).__name__
        hint = "; save it uncompressed or deflated" if "codec" in why or "imagecodecs" in why else ""
        raise PlanError("terrain", path.name, f"can't be read as GeoTIFF ({why}){hint}") from None
    if values.ndim != 2 or values.dtype.kind not in "iuf" or min(values.shape) < 2:
        raise PlanError("terrain", path.name, "is a picture and holds no grid of heights")
    scale, tie = keys.get("ModelPixelScale"), keys.get("ModelTiepoint")
    if not scale or not tie or int(keys.get("GTModelTypeGeoKey", _MODEL_GEOGRAPHIC)) != _MODEL_GEOGRAPHIC:
        raise PlanError("terrain", path.name, f"doesn't say where it lies in degrees; {CONVERT}")
    half = 0.0 if int(keys.get("GTRasterTypeGeoKey", 1)) == _RASTER_IS_POINT else 0.5
    across, down = float(scale[0]), float(scale[1])
    west = float(tie[3]) + (half - float(tie[0])) * across
    north = float(tie[4]) - (half - float(tie[1])) * down
    rows, columns = values.shape
    _check_geographic(path, west, north - down * (rows - 1), across, down, rows, columns)
    heights = values.astype(np.float32)
    if no_data is not None:
        with contextlib.suppress(ValueError):
            heights[heights == np.float32(str(no_data.value).strip("\0 "))] = np.nan
    return Grid(heights_m=heights, north_deg=north, west_deg=west, step_deg=(down, across))
