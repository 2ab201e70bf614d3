"""Blocks from maps: building footprints (GeoJSON, RFC 7946, or OpenStreetMap's JSON) become prisms, trees and
walls posts and boxes, a horizon profile (CSV) a ridge.

Longitudes and latitudes are placed on the plane that touches the WGS 84 ellipsoid at the site: through
Earth-centred coordinates, so that it holds at any latitude and across the date line. A building stands on
the ground block under it.
"""

from __future__ import annotations

import csv
import io
import json
import math
import os
import re
from collections import Counter
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import attrs
import numpy as np
from attrs import frozen
from numpy.typing import ArrayLike, NDArray

from planner_core.maths.angles import compass_deg
from planner_core.place import osm, outlines, rings, trees_and_walls
from planner_core.place.ground import land_under_m
from planner_core.place.map_feature import LEVEL_M, Feature
from planner_core.place.roof_tags import HIGHEST_SHARE, Roof, roof_of
from planner_core.plan.model import MISSING, Block, Plan, PlanError, Site, Word, as_number
from planner_core.plan.text import nested_deeper, one_line
from planner_core.words.language import phrase, say

Array = NDArray[np.float64]

EQUATOR_RADIUS_M = 6378137.0  # WGS 84
FLATTENING = 1.0 / 298.257223563
DEFAULT_HEIGHT_M = 9.0  # three levels
DEEPEST = 100  # levels of a map; GeoJSON itself needs a dozen
TALLEST_M = 1000.0  # above which a height is taken for a slip; common practice, no source
NAMED = 5  # buildings without a height that are called by name; of more, the rest is counted
CITY_MODEL = phrase(
    "is a city model, which isn't read; save its ground surfaces with their heights as GeoJSON in longitude "
    "and latitude, with any map program"
)
FULL_TURN_GAP_DEG = 45.0  # a profile whose widest gap is smaller goes all the way round


@frozen(kw_only=True)
class Selection:
    """What to take from a map, and how finely.

    max_distance_m is counted from the rail's start to the nearest part of a footprint; smaller areas than
    min_area_m2 are left out; corners that move the outline by less than tolerance_m are dropped;
    default_height_m is for footprints without a height or levels; trees are taken within tree_distance_m.
    """

    max_distance_m: float = 2000.0
    min_area_m2: float = 10.0
    tolerance_m: float = 0.2
    default_height_m: float = DEFAULT_HEIGHT_M
    role: str = "background"
    tree_distance_m: float = 400.0


@frozen(kw_only=True)
class Imported:
    """Blocks from a map, and sentences that say what was taken, assumed and left out; counts says it in
    numbers.
    """

    blocks: tuple[Block, ...]
    said: tuple[str, ...]
    counts: dict[str, int]


def read_text(path: str | os.PathLike[str], kind: str) -> str:
    """A small text file in UTF-8. Raises PlanError, naming the kind of file, where it can't be read."""
    file = Path(path)
    try:
        return file.read_bytes().decode("utf-8-sig")
    except FileNotFoundError:
        raise PlanError(kind, str(file), "does not exist; check the name") from None
    except IsADirectoryError:
        raise PlanError(kind, str(file), "is a folder; name a file") from None
    except OSError as error:
        raise PlanError(kind, str(file), "can't be read ({why})", why=error.strerror) from None
    except UnicodeDecodeError:
        raise PlanError(kind, str(file), "is not text in UTF-8") from None


def load_footprints(
    path: str | os.PathLike[str], plan: Plan, selection: Selection | None = None
) -> tuple[Plan, Imported]:
    """The plan with the buildings of a GeoJSON file added, and what was taken. Raises PlanError."""
    imported = footprint_blocks(parse_geojson(read_text(path, "footprints")), plan, selection or Selection())
    return attrs.evolve(plan, blocks=(*plan.blocks, *imported.blocks)), imported


def load_horizon(
    path: str | os.PathLike[str], plan: Plan, *, distance_m: float = 5000.0, name: str = ""
) -> tuple[Plan, Block]:
    """The plan with the skyline of a CSV file (bearing, altitude) added as a ridge. Raises PlanError."""
    block = horizon_ridge(
        read_text(path, "horizon profile"), distance_m=distance_m, name=name or Path(path).stem
    )
    return attrs.evolve(plan, blocks=(*plan.blocks, block)), block


def enu_m(longitude_deg: ArrayLike, latitude_deg: ArrayLike, site: Site) -> tuple[Array, Array]:
    """Metres east and north of the site on its tangent plane, any shape.

    Both places on the WGS 84 ellipsoid; any handbook of geodesy. Within 2 km lengths, areas and bearings keep
    to the geodesic's within a few parts in ten million.
    """
    x, y, z = _geocentric(longitude_deg, latitude_deg)
    x0, y0, z0 = _geocentric(site.longitude_deg, site.latitude_deg)
    turn, rise = math.radians(site.longitude_deg), math.radians(site.latitude_deg)
    outward = (x - x0) * math.cos(turn) + (y - y0) * math.sin(turn)
    east = (y - y0) * math.cos(turn) - (x - x0) * math.sin(turn)
    north = (z - z0) * math.cos(rise) - outward * math.sin(rise)
    return east, north


def _geocentric(longitude_deg: ArrayLike, latitude_deg: ArrayLike) -> tuple[Array, Array, Array]:
    turn, rise = np.radians(longitude_deg), np.radians(latitude_deg)
    squared = FLATTENING * (2.0 - FLATTENING)
    curvature = EQUATOR_RADIUS_M / np.sqrt(1.0 - squared * np.sin(rise) ** 2)
    return (
        curvature * np.cos(rise) * np.cos(turn),
        curvature * np.cos(rise) * np.sin(turn),
        curvature * (1.0 - squared) * np.sin(rise),
    )


def scene_xy_m(longitude_deg: ArrayLike, latitude_deg: ArrayLike, site: Site) -> Array:
    """Places on the map in scene metres, shape (..., 2): X right, Y along the site's scene_north_deg."""
    east, north = enu_m(longitude_deg, latitude_deg, site)
    turn = math.radians(site.scene_north_deg)
    return np.stack(
        [east * math.cos(turn) - north * math.sin(turn), east * math.sin(turn) + north * math.cos(turn)],
        axis=-1,
    )


def lonlat_deg(points_m: Array, site: Site) -> tuple[Array, Array]:
    """Longitude and latitude, degrees, (n,) each, of scene points (n, 2): scene_xy_m turned round.

    By Newton's steps with the ellipsoid's radii at the site: a millimetre within 100 km.
    """
    points = np.asarray(points_m, dtype=np.float64)
    squared = FLATTENING * (2.0 - FLATTENING)
    sine = 1.0 - squared * math.sin(math.radians(site.latitude_deg)) ** 2
    across = EQUATOR_RADIUS_M / math.sqrt(sine) * max(math.cos(math.radians(site.latitude_deg)), 1e-6)
    along = EQUATOR_RADIUS_M * (1.0 - squared) / sine**1.5
    turn = math.radians(site.scene_north_deg)
    longitude = np.full(len(points), site.longitude_deg)
    latitude = np.full(len(points), site.latitude_deg)
    for _ in range(6):
        x, y = (points - scene_xy_m(longitude, latitude, site)).T
        longitude = longitude + np.degrees((x * math.cos(turn) + y * math.sin(turn)) / across)
        latitude = np.clip(
            latitude + np.degrees((y * math.cos(turn) - x * math.sin(turn)) / along), -90.0, 90.0
        )
    return longitude, latitude


# ---------------------------------------------------------------- GeoJSON


def parse_geojson(text: str) -> Any:
    """The JSON value in a text. Raises PlanError for text that isn't JSON."""

    def no_constant(name: str) -> Any:
        raise PlanError("footprints", name, "is not a number of a map; give a finite number")

    def finite(number: str) -> float:
        value = float(number)
        return value if math.isfinite(value) else no_constant(number)

    try:
        document = json.loads(text, parse_constant=no_constant, parse_float=finite)
    except json.JSONDecodeError as error:
        raise PlanError(
            "footprints",
            f"line {error.lineno}, column {error.colno}",
            "is where it stops being JSON ({problem})",
            problem=error.msg,
        ) from None
    except RecursionError:
        raise PlanError("footprints", "its nesting", "is too deep to be a map") from None
    except ValueError as error:
        if isinstance(error, PlanError):
            raise
        raise PlanError("footprints", "a number in it", "has too many digits") from None
    if nested_deeper(document, DEEPEST):
        raise PlanError(
            "footprints",
            "its nesting",
            "is too deep to be a map; {most} levels are enough",
            most=DEEPEST,
        )
    return document


def footprint_blocks(document: Any, plan: Plan, selection: Selection) -> Imported:
    """Blocks for the buildings, trees and walls of a map. Raises PlanError, naming the malformed feature.

    A building with courtyards is cut into pieces without holes, a multipolygon into its parts; a building
    whose parts are in the map too is left to them. Other points and lines, footprints that are far away,
    tiny, self-crossing or already in the plan are left out and counted.
    """
    taking = _Import(plan, selection)
    features = list(_features(document))
    parts = [ring for feature in features if osm.is_part(feature.tags) for ring in _outer_rings(feature)]
    for feature in features:
        taking.counts["features"] += 1
        taking.take(feature, parts)
    return taking.result()


def _outer_rings(feature: Feature) -> list[Array]:
    return [polygon[0] for polygon in _polygons(feature.geometry, f"{feature.label}.geometry")]


class _Import:
    """What is taken from a map, feature by feature."""

    def __init__(self, plan: Plan, selection: Selection) -> None:
        self.plan, self.selection = plan, selection
        self.eye = np.asarray(plan.rig.origin_m[:2], dtype=np.float64)
        self.counts: Counter[str] = Counter()
        self.crossing: list[str] = []
        self.guessed: list[str] = []
        self.blocks: list[Block] = []
        self.taken = {block.name for block in plan.blocks}
        self.nearest_m = math.inf
        prisms = [block for block in plan.blocks if block.shape == "prism"]
        self.outlines = {_fingerprint(block) for block in prisms}
        self.lifted = {(_fingerprint(block), round(block.height_m or 0.0, 1)) for block in prisms}
        self.others = {_place_of(block) for block in plan.blocks if block.shape in ("post", "box")}

    def take(self, feature: Feature, parts: Sequence[Array]) -> None:
        """The blocks of a feature; parts are the outlines of all building parts, longitude and latitude."""
        if trees_and_walls.is_tree(feature) or trees_and_walls.is_wall(feature):
            lines = list(_lines(feature.geometry, f"{feature.label}.geometry"))
            if lines:
                self._take_lines(feature, lines)
                return
        polygons = list(_polygons(feature.geometry, f"{feature.label}.geometry"))
        if not polygons:
            self.counts["not_polygons"] += 1
            return
        if not osm.is_part(feature.tags) and all(rings.replaced(polygon[0], parts) for polygon in polygons):
            self.counts["in_parts"] += 1
            return
        self._take_building(feature, self._cut(feature, polygons))

    def _is_far(self, distance_m: float, most_m: float) -> bool:
        self.nearest_m = min(self.nearest_m, distance_m)
        if distance_m > most_m:
            self.counts["far"] += 1
        return distance_m > most_m

    # ------------------------------------------------------------ buildings

    def _cut(self, feature: Feature, polygons: list[list[Array]]) -> list[Array]:
        """The pieces of a building's polygons without holes, in scene metres."""
        pieces: list[Array] = []
        for polygon in polygons:
            outer = [scene_xy_m(ring[:, 0], ring[:, 1], self.plan.site) for ring in polygon]
            if self._is_far(outlines.distance_m(outer[0], self.eye), self.selection.max_distance_m):
                continue
            cut = _pieces(outer, self.selection)
            self.counts["holes"] += cut.holes
            pieces += cut.outlines
            if cut.left_out:
                self.counts[cut.left_out] += 1
            if cut.left_out == "crossing":
                self.crossing.append(feature.label)
        return pieces

    def _take_building(self, feature: Feature, pieces: list[Array]) -> None:
        is_wall = trees_and_walls.is_wall(feature)
        guess_m = trees_and_walls.WALL_M if is_wall else self.selection.default_height_m
        height_m, base_m, known_from = _heights(feature, guess_m)
        name = _free_name(feature.name, self.taken) if pieces else ""
        foot_m = _foot_m(self.plan, pieces)
        roof = Roof()
        if len(pieces) == 1:
            roof = roof_of(feature, pieces[0], self.plan.site.scene_north_deg)
        built = False
        for number, outline in enumerate(pieces, start=1):
            block = _prism(
                outline,
                name if len(pieces) == 1 else f"{name}, part {number}",
                role=self.selection.role,
                height_m=height_m,
                base_m=foot_m + base_m,
                roof=roof,
                is_added=known_from == "levels",
            )
            if self._is_repeated(block, base_m):
                self.counts["repeated"] += 1
                continue
            self.blocks.append(block)
            built = True
        self.counts["buildings"] += built
        self.counts["roofs"] += built and roof.roof != "flat"
        self.counts[f"height_from_{known_from}"] += built
        if built and known_from == "default":
            self.guessed.append(name)

    def _is_repeated(self, block: Block, base_m: float) -> bool:
        """Whether a prism is in the plan or the map already; parts that stand on others share outlines."""
        outline = _fingerprint(block)
        if base_m > 0.0:
            lifted = (outline, round(block.height_m or 0.0, 1))
            repeated = lifted in self.lifted
            self.lifted.add(lifted)
        else:
            repeated = outline in self.outlines
            self.outlines.add(outline)
        return repeated

    # ------------------------------------------------------------ trees and walls

    def _take_lines(self, feature: Feature, lines: list[Array]) -> None:
        made = False
        for line in lines:
            places = scene_xy_m(line[:, 0], line[:, 1], self.plan.site)
            most = self.selection.max_distance_m
            if len(places) == 1:
                most = min(most, self.selection.tree_distance_m)
            if self._is_far(float(np.linalg.norm(places - self.eye, axis=1).min()), most):
                continue
            made |= self._add(self._of_line(feature, places))
        self.counts["trees" if trees_and_walls.is_tree(feature) else "walls"] += made

    def _of_line(self, feature: Feature, places: Array) -> list[Block]:
        name, role = _free_name(feature.name, self.taken), self.selection.role
        if len(places) == 1:
            return trees_and_walls.tree_blocks(feature, name, places[0], self.plan, role)
        thin = outlines.thinned(places, self.selection.tolerance_m)
        return trees_and_walls.wall_blocks(feature, name, thin, self.plan, role)

    def _add(self, blocks: list[Block]) -> bool:
        new = [block for block in blocks if _place_of(block) not in self.others]
        self.counts["repeated"] += bool(blocks) and not new
        self.others |= {_place_of(block) for block in new}
        self.blocks += new
        return bool(new)

    def result(self) -> Imported:
        """All that was taken, and what there is to say."""
        counts = self.counts
        counts["blocks"] = len(self.blocks)
        told = _told(
            counts, self.crossing, self.guessed, self.selection, self.plan, self.blocks, self.nearest_m
        )
        return Imported(blocks=tuple(self.blocks), said=tuple(told), counts=dict(counts))


@frozen(kw_only=True)
class _Pieces:
    """What became of a polygon: outlines without holes, how many holes were cut out, or why there is none."""

    outlines: Sequence[Array] = ()
    holes: int = 0
    left_out: str = ""


def _pieces(rings: Sequence[Array], selection: Selection) -> _Pieces:
    """A polygon cut into outlines without holes; as it stands in the map where thinned outlines cross."""
    for tolerance_m in (selection.tolerance_m, 0.0):
        simple = [outlines.simplified(ring, tolerance_m) for ring in rings]
        if len(simple) > 1:
            simple = outlines.joined(simple)
        if not simple:
            return _Pieces(left_out="tiny")
        if any(outlines.crosses_itself(ring) for ring in simple) or outlines.rings_cross(simple):
            continue
        simple = outlines.open_holes(simple)
        area_m2 = abs(outlines.area_m2(simple[0])) - sum(abs(outlines.area_m2(r)) for r in simple[1:])
        if area_m2 < selection.min_area_m2:
            return _Pieces(left_out="tiny")
        cut = outlines.without_holes(simple)
        if cut is not None:
            return _Pieces(
                outlines=[piece for piece in cut if len(np.unique(np.round(piece, 3), axis=0)) >= 3],
                holes=len(simple) - 1,
            )
    return _Pieces(left_out="crossing")


def _prism(
    outline: Array, name: str, *, role: str, height_m: float, base_m: float, roof: Roof, is_added: bool
) -> Block:
    """is_added: levels don't count the roof's own, so it comes on top."""
    corners = tuple((float(x), float(y)) for x, y in np.round(outline, 3))
    rise = roof.roof_height_m
    if rise is not None:
        height_m = round(height_m + rise, 3) if is_added else height_m
        rise = round(min(rise, HIGHEST_SHARE * height_m), 3)
    return Block(
        name=name,
        role=role,
        shape="prism",
        footprint_m=corners,
        height_m=height_m,
        base_m=base_m,
        roof=roof.roof,
        roof_height_m=rise,
        roof_turn_deg=roof.roof_turn_deg,
    )


def _place_of(block: Block) -> tuple[float, ...]:
    """Where a post or box stands from above, and how wide it is: what tells trees and walls apart."""
    assert block.centre_m is not None
    assert block.size_m is not None
    return tuple(round(value, 1) for value in (*block.centre_m[:2], *block.size_m[:2]))


def _fingerprint(block: Block) -> frozenset[tuple[float, float]]:
    return frozenset((round(x, 1), round(y, 1)) for x, y in block.footprint_m or ())


def _free_name(wanted: str, taken: set[str]) -> str:
    name, number = wanted, 2
    while name in taken:
        name, number = f"{wanted} {number}", number + 1
    taken.add(name)
    return name


def _features(document: Any) -> Iterator[Feature]:
    if not isinstance(document, dict):
        raise PlanError("footprints", document, "is not GeoJSON; a FeatureCollection is an object in { }")
    if osm.is_osm(document):
        yield from osm.features(document)
        return
    _check_coordinate_system(document)
    kind = document.get("type", MISSING)
    if kind == "CityJSON":
        raise PlanError("type", kind, CITY_MODEL)
    if kind == "FeatureCollection":
        features = document.get("features", MISSING)
        if not isinstance(features, list):
            raise PlanError("features", features, "a FeatureCollection lists its features in [ ]")
        for index, entry in enumerate(features):
            yield _feature(entry, f"features[{index}]", index + 1)
    elif kind == "Feature":
        yield _feature(document, "feature", 1)
    elif kind in _GEOMETRIES:
        yield Feature(label="map", name="building 1", geometry=document, tags={})
    else:
        raise PlanError(
            "type",
            kind,
            "FeatureCollection, Feature or a geometry is meant"
            if kind is MISSING
            else "is not GeoJSON's; FeatureCollection, Feature or a geometry is meant",
        )


def _check_coordinate_system(document: dict[str, Any]) -> None:
    named = document.get("crs")
    if named is not None and not re.search(r"CRS84|4326", json.dumps(named)):
        raise PlanError(
            "crs",
            named if not isinstance(named, dict) else json.dumps(named),
            "is another coordinate system; export the map in longitude and latitude (WGS 84)",
        )


def _feature(entry: Any, label: str, number: int) -> Feature:
    if not isinstance(entry, dict) or entry.get("type") != "Feature":
        kind = entry.get("type", MISSING) if isinstance(entry, dict) else entry
        raise PlanError(f"{label}.type", kind, 'is not a feature; "type": "Feature" is meant')
    identity = entry.get("id")
    if isinstance(identity, (str, int)):
        label = f"{label} (id {identity})"
    properties = entry.get("properties") or {}
    if not isinstance(properties, dict):
        raise PlanError(f"{label}.properties", properties, "is not an object; write it in { }")
    if "geometry" not in entry:
        raise PlanError(f"{label}.geometry", MISSING, "a feature has one, or null")
    given = properties.get("name")
    name = one_line(given).strip() if isinstance(given, (str, int, float)) else ""
    return Feature(
        label=label, name=name or f"building {number}", geometry=entry["geometry"], tags=properties
    )


_GEOMETRIES = (
    "Point",
    "MultiPoint",
    "LineString",
    "MultiLineString",
    "Polygon",
    "MultiPolygon",
    "GeometryCollection",
)


def _lines(geometry: Any, label: str) -> Iterator[Array]:
    """A point's or line's places as arrays (n, 2) of longitude and latitude; nothing for other geometries."""
    kind = geometry.get("type") if isinstance(geometry, dict) else None
    if kind not in ("Point", "LineString", "MultiPoint", "MultiLineString"):
        return
    coordinates = geometry.get("coordinates", MISSING)
    if not isinstance(coordinates, list):
        raise PlanError(f"{label}.coordinates", coordinates, "a geometry lists its positions in [ ]")
    depth = {"Point": 0, "LineString": 1, "MultiPoint": 1, "MultiLineString": 2}[kind]
    lists = [coordinates] if depth < 2 else coordinates
    for index, line in enumerate(lists):
        where = f"{label}.coordinates" + (f"[{index}]" if depth == 2 else "")
        positions = [line] if depth == 0 else line
        if not isinstance(positions, list) or not positions:
            raise PlanError(where, positions, "is not a line; it lists its positions in [ ]")
        places = np.array([_position(position, f"{where}[{k}]") for k, position in enumerate(positions)])
        yield from np.split(places, len(places)) if kind == "MultiPoint" else [places]


def _polygons(geometry: Any, label: str, depth: int = 0) -> Iterator[list[Array]]:
    """Each polygon's rings as arrays (n, 2) of longitude and latitude, the closing position dropped."""
    if geometry is None:
        return
    kind = geometry.get("type", MISSING) if isinstance(geometry, dict) else geometry
    if not isinstance(geometry, dict) or kind not in _GEOMETRIES:
        raise PlanError(
            f"{label}.type", kind, "is not a geometry; one of {known}", known=", ".join(_GEOMETRIES)
        )
    if kind == "GeometryCollection":
        parts = geometry.get("geometries", MISSING)
        if not isinstance(parts, list) or depth > 8:
            raise PlanError(f"{label}.geometries", parts, "is not a plain list of geometries")
        for index, part in enumerate(parts):
            yield from _polygons(part, f"{label}.geometries[{index}]", depth + 1)
        return
    coordinates = geometry.get("coordinates", MISSING)
    if not isinstance(coordinates, list):
        raise PlanError(f"{label}.coordinates", coordinates, "a geometry lists its positions in [ ]")
    if kind == "Polygon" and coordinates:
        yield _rings(coordinates, f"{label}.coordinates")
    elif kind == "MultiPolygon":
        for index, polygon in enumerate(coordinates):
            yield _rings(polygon, f"{label}.coordinates[{index}]")


def _rings(polygon: Any, label: str) -> list[Array]:
    if not isinstance(polygon, list) or not polygon:
        raise PlanError(label, polygon, "is not a polygon; it lists its rings, the outline first, then holes")
    return [_ring(ring, f"{label}[{index}]") for index, ring in enumerate(polygon)]


def _ring(ring: Any, label: str) -> Array:
    if not isinstance(ring, list) or len(ring) < 4:
        raise PlanError(
            label, ring, "is not a ring; it has four or more positions, the last equal to the first"
        )
    positions = [_position(position, f"{label}[{index}]") for index, position in enumerate(ring)]
    if positions[0] != positions[-1]:
        raise PlanError(
            f"{label}[{len(ring) - 1}]",
            ring[-1],
            "must repeat the ring's first position {first}",
            first=list(positions[0]),
        )
    return np.array(positions[:-1])


def _position(position: Any, label: str) -> tuple[float, float]:
    if not isinstance(position, list) or len(position) < 2:
        raise PlanError(label, position, "is not a position; write [longitude, latitude]")
    try:
        longitude, latitude = as_number(position[0]), as_number(position[1])
    except PlanError as error:
        raise PlanError(label, position, "is not a position ({why})", why=error.expected) from None
    if not (abs(longitude) <= 180.0 and abs(latitude) <= 90.0):
        raise PlanError(
            label,
            [longitude, latitude],
            "is no [longitude, latitude] in degrees; export the map in WGS 84, longitude first",
        )
    return longitude, latitude


# ---------------------------------------------------------------- heights


def _heights(feature: Feature, default_m: float) -> tuple[float, float, str]:
    """Height of the prism, height of its base above the ground, and where they come from."""
    first = feature.length_m
    base_m = first(("min_height",))
    if base_m is None:
        base_m = first(("building:min_level", "min_level"), LEVEL_M)
    base_m = max(base_m or 0.0, 0.0)
    if base_m > TALLEST_M:
        base_m = 0.0
    for origin, names, factor in (
        ("height", ("height",), 1.0),
        ("levels", ("building:levels", "levels"), LEVEL_M),
    ):
        top_m = first(names, factor)
        if top_m is not None and base_m < top_m <= TALLEST_M:
            return round(top_m - base_m, 3), round(base_m, 3), origin
    return default_m, round(base_m, 3), "default"


# ---------------------------------------------------------------- what is told


def _told(
    counts: Counter[str],
    crossing: list[str],
    guessed: list[str],
    selection: Selection,
    plan: Plan,
    blocks: list[Block],
    nearest_m: float,
) -> Iterator[str]:
    prisms = sum(block.shape == "prism" for block in blocks)
    taken = say(
        "{count} buildings of {features} features taken as {prisms} prisms",
        count=counts["buildings"],
        features=counts["features"],
        prisms=prisms,
    )
    roofs = [say("{count} with a roof", count=counts["roofs"])] if counts["roofs"] else []
    holes = [say("{count} courtyards cut out", count=counts["holes"])] if counts["holes"] else []
    yield f"{', '.join([taken, *roofs, *holes])}."
    others = [
        say(one) if count == 1 else say(many, count=count)
        for count, one, many in (
            (counts["trees"], "1 tree", "{count} trees"),
            (counts["walls"], "1 wall", "{count} walls"),
        )
        if count
    ]
    if others:
        yield say("Taken too: {others}.", others=", ".join(others))
    if not blocks and counts["far"]:
        yield say(
            "The nearest outline is {distance:.1f} km from the rail: check site.latitude_deg and "
            "site.longitude_deg, and that the map has longitude first.",
            distance=nearest_m / 1000.0,
        )
    if counts["buildings"]:
        yield _heights_told(counts, guessed, selection)
    left_out = (
        ("in_parts", "{count} whose parts are taken instead", 0.0),
        ("far", "{count} farther than {limit:g} m from the rail", selection.max_distance_m),
        ("tiny", "{count} under {limit:g} m²", selection.min_area_m2),
        ("crossing", "{count} with an outline that crosses itself", 0.0),
        ("not_polygons", "{count} that aren't polygons", 0.0),
        ("repeated", "{count} already in the plan", 0.0),
    )
    parts = [say(words, count=counts[key], limit=limit) for key, words, limit in left_out if counts[key]]
    if parts:
        yield say("Left out: {parts}.", parts="; ".join(parts))
    if crossing:
        yield say("Outlines to correct: {names}.", names=_first_of(crossing, 5))
    eye = np.asarray(plan.rig.origin_m, dtype=np.float64)
    for block in (block for block in blocks if block.shape == "prism"):
        inside = outlines.contains(np.asarray(block.footprint_m), eye[:2])
        if inside and block.base_m < eye[2] < block.base_m + float(block.height_m or 0.0):
            yield say(
                "The rail's start lies inside {block}, {height:g} m high: check site, rig.origin_m and that "
                "height.",
                block=block.name,
                height=block.height_m,
            )


def _first_of(names: Sequence[str], most: int) -> str:
    """The first few of some names, and how many more there are."""
    named = ", ".join(names[:most])
    if len(names) <= most:
        return named
    return say("{names} and {more} more", names=named, more=len(names) - most)


def _heights_told(counts: Counter[str], guessed: list[str], selection: Selection) -> str:
    """Where the heights of the buildings that were taken come from, and which of them are guessed."""
    given, levels = counts["height_from_height"], counts["height_from_levels"]
    parts = [say("{count} given", count=given)] if given else []
    if levels:
        parts.append(say("{count} from levels × {height:g} m", count=levels, height=LEVEL_M))
    if guessed:
        parts.append(
            say(
                "{count} without either, set to {height:g} m ({names})",
                count=len(guessed),
                height=selection.default_height_m,
                names=_first_of([f"“{name}”" for name in guessed], NAMED),
            )
        )
    return say("Heights: {parts}.", parts=", ".join(parts))


def _foot_m(plan: Plan, pieces: Sequence[Array]) -> float:
    """Height of the land under a building: under the largest of its pieces."""
    if not pieces:
        return 0.0
    return land_under_m(plan, max(pieces, key=lambda piece: abs(outlines.area_m2(piece))))


# ---------------------------------------------------------------- a horizon profile


def horizon_ridge(
    text: str, *, distance_m: float = 5000.0, name: str = "skyline", role: str = "background"
) -> Block:
    """A ridge from lines of bearing and altitude in degrees, as seen from the rail's start.

    Columns are divided by commas, semicolons or tabs; a heading is allowed, lines starting with # are
    remarks. The lines may come in any order; a profile all the way round is closed. Raises PlanError, naming
    the line.
    """
    pairs = _profile(text)
    by_bearing = dict(sorted(pairs))
    bearings = np.array(list(by_bearing))
    altitudes = np.array(list(by_bearing.values()))
    gaps = np.diff(np.append(bearings, bearings[0] + 360.0))
    start = (int(np.argmax(gaps)) + 1) % len(bearings)
    bearings = np.concatenate([bearings[start:], bearings[:start] + 360.0])
    altitudes = np.roll(altitudes, -start)
    if gaps.max() <= FULL_TURN_GAP_DEG:
        bearings, altitudes = np.append(bearings, bearings[0] + 360.0), np.append(altitudes, altitudes[0])
    skyline = tuple((float(b), float(a)) for b, a in zip(bearings, altitudes, strict=True))
    return Block(name=name, role=role, shape="ridge", distance_m=distance_m, skyline_deg=skyline)


def _rows(text: str, delimiter: str) -> Iterator[tuple[int, list[str]]]:
    """The lines of a CSV text, numbered from 1, cut into cells. Raises PlanError."""
    rows = csv.reader(io.StringIO(text), delimiter=delimiter)
    while True:
        try:
            yield rows.line_num + 1, next(rows)
        except StopIteration:
            return
        except csv.Error as error:
            raise PlanError(
                f"horizon profile, line {rows.line_num}", Word("can't be read;"), _csv_advice(error)
            ) from None


def _csv_advice(error: csv.Error) -> str:
    if "new-line" in str(error):
        return phrase("its lines end in another way than text files do; save it again as plain text (CSV)")
    return phrase("each line has a bearing and an altitude, as in 245.5, 3.2 ({problem})", problem=error)


def _profile(text: str) -> list[tuple[float, float]]:
    delimiter = next((mark for mark in (";", "\t", ",") if mark in text), ",")
    pairs: dict[float, float] = {}
    for number, row in _rows(text, delimiter):
        cells = [cell.strip() for cell in row if cell.strip()]
        if not cells or cells[0].startswith("#"):
            continue
        try:
            bearing, altitude = (float(cell.replace(",", ".")) for cell in cells[:2])
        except ValueError:
            if not pairs and not any(re.match(r"[+-]?\d", cell) for cell in cells):
                continue
            raise PlanError(
                f"horizon profile, line {number}",
                delimiter.join(row),
                "is not a bearing and an altitude in degrees, as in 245.5, 3.2",
            ) from None
        if not (-360.0 <= bearing <= 360.0 and -89.0 <= altitude <= 89.0):
            raise PlanError(
                f"horizon profile, line {number}",
                delimiter.join(row),
                "is outside bearings from 0 to 360 and altitudes from -89 to 89 degrees",
            )
        compass = compass_deg(bearing)
        if pairs.get(compass, altitude) != altitude:
            if bearing == 360.0 or compass == 0.0:
                continue  # 0 and 360 are one bearing; the first stands
            raise PlanError(
                f"horizon profile, line {number}",
                bearing,
                "is the second altitude for this bearing; keep one",
            )
        pairs[compass] = altitude
    if len(pairs) < 2:
        raise PlanError("horizon profile", f"{len(pairs)} lines", "needs two or more bearings with altitudes")
    return list(pairs.items())
