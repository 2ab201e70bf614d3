"""OpenStreetMap's JSON, as a map extract has it (nodes, ways and relations), as features with rings.

Taken are buildings and their parts, single trees, and walls; the rest of a map isn't looked at. Ways give
their places themselves ("geometry") or through the nodes that they name.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from planner_core.place.map_feature import Feature
from planner_core.plan.model import MISSING, PlanError, as_number
from planner_core.plan.text import one_line

Position = list[float]
Line = list[Position]
WALLS = ("wall", "city_wall")
KINDS = ("node", "way", "relation")


def is_osm(document: Any) -> bool:
    """Whether a JSON value is OpenStreetMap's."""
    return isinstance(document, dict) and "elements" in document and "type" not in document


def features(document: dict[str, Any]) -> Iterator[Feature]:
    """What of a map becomes blocks. Raises PlanError, naming the element that is malformed."""
    elements = document["elements"]
    if not isinstance(elements, list):
        raise PlanError("elements", elements, "a map extract lists its elements in [ ]")
    known = _Known(elements)
    for index, element in enumerate(elements):
        label, tags = known.labels[index], element.get("tags") or {}
        if not isinstance(tags, dict):
            raise PlanError(f"{label}.tags", tags, "is not an object; write it in { }")
        if not _wanted(tags):
            continue
        geometry = _geometry(known, element, tags, label)
        given = tags.get("name")
        name = one_line(given).strip() if isinstance(given, str) else ""
        yield Feature(label=label, name=name or _kind_name(tags, index + 1), geometry=geometry, tags=tags)


def _wanted(tags: dict[str, Any]) -> bool:
    return is_building(tags) or is_part(tags) or tags.get("natural") == "tree" or tags.get("barrier") in WALLS


def is_building(tags: dict[str, Any]) -> bool:
    return tags.get("building") not in (None, "no")


def is_part(tags: dict[str, Any]) -> bool:
    return tags.get("building:part") not in (None, "no")


def _kind_name(tags: dict[str, Any], number: int) -> str:
    if tags.get("natural") == "tree":
        return f"tree {number}"
    return f"wall {number}" if tags.get("barrier") in WALLS else f"building {number}"


class _Known:
    """The elements by kind and id, their names in messages, and places of nodes."""

    def __init__(self, elements: list[Any]) -> None:
        self.labels: list[str] = []
        self.places: dict[int, Position] = {}
        self.ways: dict[int, dict[str, Any]] = {}
        for index, element in enumerate(elements):
            label = f"elements[{index}]"
            kind = element.get("type", MISSING) if isinstance(element, dict) else element
            if not isinstance(element, dict) or kind not in KINDS:
                raise PlanError(
                    f"{label}.type", kind, "is not an element; one of: {known}", known=", ".join(KINDS)
                )
            number = element.get("id")
            if isinstance(number, int) and not isinstance(number, bool):
                label = f"{label} ({kind} {number})"
                if kind == "way":
                    self.ways[number] = element
                elif kind == "node" and "lat" in element:
                    self.places[number] = _place(element, label)
            self.labels.append(label)

    def line(self, way: dict[str, Any], label: str) -> Line:
        """A way's places; those that the extract leaves out are left out."""
        if "geometry" in way:
            return _line(way["geometry"], f"{label}.geometry")
        nodes = way.get("nodes", [])
        if not isinstance(nodes, list):
            raise PlanError(f"{label}.nodes", nodes, "a way lists its nodes in [ ]")
        numbers = [node for node in nodes if isinstance(node, int)]
        return [self.places[number] for number in numbers if number in self.places]


def _place(entry: Any, label: str) -> Position:
    try:
        longitude, latitude = as_number(entry["lon"]), as_number(entry["lat"])
    except (KeyError, TypeError):
        raise PlanError(label, entry, 'is not a place; it has "lat" and "lon"') from None
    except PlanError as error:
        raise PlanError(label, entry, "is not a place ({why})", why=error.expected) from None
    if not (abs(longitude) <= 180.0 and abs(latitude) <= 90.0):
        raise PlanError(label, [longitude, latitude], "is no longitude and latitude in degrees")
    return [longitude, latitude]


def _line(entries: Any, label: str) -> Line:
    if not isinstance(entries, list):
        raise PlanError(label, entries, "lists places in [ ]")
    return [_place(entry, f"{label}[{index}]") for index, entry in enumerate(entries) if entry is not None]


def _geometry(known: _Known, element: dict[str, Any], tags: dict[str, Any], label: str) -> Any:
    """An element as a geometry of GeoJSON; None where the extract doesn't hold enough of it."""
    if element["type"] == "node":
        return {"type": "Point", "coordinates": _place(element, label)}
    if element["type"] == "way":
        line = known.line(element, label)
        is_area = is_building(tags) or is_part(tags) or tags.get("area") == "yes"
        if is_area:
            return {"type": "Polygon", "coordinates": [line]} if _is_ring(line) else None
        return {"type": "LineString", "coordinates": line} if len(line) > 1 else None
    return _multipolygon(known, element, label)


def _is_ring(line: Line) -> bool:
    return len(line) >= 4 and line[0] == line[-1]


def _multipolygon(known: _Known, relation: dict[str, Any], label: str) -> Any:
    """A relation's outer rings, each with the inner ones that lie in it; None where no ring closes."""
    from planner_core.place.rings import grouped

    members = relation.get("members", [])
    if not isinstance(members, list):
        raise PlanError(f"{label}.members", members, "a relation lists its members in [ ]")
    lines: dict[str, list[Line]] = {"outer": [], "inner": []}
    for index, member in enumerate(members):
        if not isinstance(member, dict) or member.get("type") != "way":
            continue
        where = f"{label}.members[{index}]"
        way = member if "geometry" in member else known.ways.get(member.get("ref", 0), {})
        role = "inner" if member.get("role") == "inner" else "outer"
        lines[role].append(known.line(way, where))
    polygons = grouped(joined(lines["outer"]), joined(lines["inner"]))
    return {"type": "MultiPolygon", "coordinates": polygons} if polygons else None


def joined(lines: Sequence[Line]) -> list[Line]:
    """Closed rings of lines put together end to end; what doesn't close is left out."""
    rings, left = [], [line for line in lines if len(line) > 1]
    while left:
        ring = list(left.pop())
        while ring[0] != ring[-1]:
            index = next((k for k, line in enumerate(left) if ring[-1] in (line[0], line[-1])), None)
            if index is None:
                break
            line = left.pop(index)
            ring += (line if line[0] == ring[-1] else line[::-1])[1:]
        if _is_ring(ring):
            rings.append(ring)
    return rings
