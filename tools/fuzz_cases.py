"""What the fuzzer feeds to the command line: broken and strange plans, maps, profiles, words and scenes.

`fuzz_kinds` makes a case from its seed, kind and number alone, so that any of them can be made again.
"""

from __future__ import annotations

import copy
import json
import math
import random
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from attrs import frozen

from .advice_cases import planted
from .advice_corners import cornered

EXAMPLES = Path(__file__).resolve().parent.parent / "example_scenes"
RAW = "\x00raw:"  # a text that begins so stands in the JSON without its quotes
SEED_PLANS = ("harbour_light", "square_pan", "chapel_sunrise", "classic_mistakes")
PLAN, NEW = "evening.plan.json", "new.plan.json"


@frozen(kw_only=True)
class Case:
    """One call of the command line: the files that lie in the folder, and the words."""

    kind: str
    number: int
    files: dict[str, bytes]
    words: tuple[str, ...]

    @property
    def name(self) -> str:
        return f"{self.kind}-{self.number}"


# ---------------------------------------------------------------- plans


SHAPED: tuple[dict[str, Any], ...] = (
    {
        "name": "slope",
        "role": "ground",
        "shape": "terrain",
        "turn_deg": 30.0,
        "centre_m": [0.0, 0.0, -2.0],
        "size_m": [80.0, 60.0, 6.0],
        "heights_m": [[1.0, 2.0, 3.0], [1.5, 2.5, 4.0], [0.0, 3.0, 6.0]],
    },
    {
        "name": "barn",
        "role": "background",
        "shape": "prism",
        "height_m": 8.0,
        "base_m": 0.0,
        "footprint_m": [[10.0, 40.0], [24.0, 40.0], [24.0, 49.0], [10.0, 49.0]],
        "roof": "hipped",
        "roof_height_m": 3.0,
        "roof_turn_deg": 15.0,
    },
)


def small_plan(rng: random.Random) -> dict[str, Any]:
    """One of the examples with few frames and blocks, so that a case takes a moment."""
    document: dict[str, Any] = json.loads(
        (EXAMPLES / f"{rng.choice(SEED_PLANS)}.plan.json").read_text("utf-8")
    )
    document["shoot"]["frames"] = rng.choice((1, 2, 3, 12, 24, 40))
    document["shoot"]["interval_s"] = rng.choice((1.0, 8.0, 30.0, 600.0))
    blocks = document.get("blocks", [])
    subject = document.get("composition", {}).get("subject")
    keep = [b for b in blocks if b.get("name") == subject] + rng.sample(blocks, min(len(blocks), 5))
    document["blocks"] = [b for i, b in enumerate(keep) if b not in keep[:i]]
    if rng.random() < 0.25:
        document["blocks"].append(copy.deepcopy(rng.choice(SHAPED)))
    return document


def plan_text(document: Any) -> bytes:
    text = json.dumps(document, ensure_ascii=False, indent=1)
    while (start := text.find('"\\u0000raw:')) >= 0:
        end = text.index('"', start + 1)
        text = text[:start] + text[start + len('"\\u0000raw:') : end] + text[end + 1 :]
    return text.encode("utf-8", "surrogatepass")


NUMBERS = (
    *(0, -0.0, 1, -1, 0.5, 2, 90, -90, 89.999999, 180, 360, -360, 1080, -1080, 1e-3, 1e-6, 1e-9, 1e-12),
    *(1e-200, 5e-324, 2.2e-308, 1e5, 1e6, 1e9, 1e15, 1e16, 1e200, 1.7e308, 10**30, 10**400),
    *(RAW + text for text in ("1e400", "-1e400", "NaN", "Infinity", "1e-400", "-0", "01", "1e", "0x10")),
)
TEXTS = (
    *("", " ", "\x1b[31mred\x1b[0m", "\x1b]0;title\x07", "a\x00b", "a\nb", "a\rb", "a\tb", "\x9b2J", "\x7f"),
    *("=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "../../etc/x", "a/b\\c", "CON", ".", "x" * 5000, "é" * 300),
    *(
        "\u202egnp.exe",
        "\u2028",
        "\ud800",
        "\U0001f3d4\ufe0f",
        "<script>&\"'",
        "%s%n{0}",
        "nil",
        "2027-02-30",
    ),
    *(
        "2027-03-14T17:20:00+99:00",
        "2027-03-28T02:30:00",
        "9999-12-31T23:59:59",
        "0001-01-01",
        "UTC",
        "Etc/GMT+12",
    ),
)
TIDES: tuple[Any, ...] = (
    [],
    [{"time": "2027-03-14T12:00:00", "height_m": 3.1}, {"time": "2027-03-14T18:10:00", "height_m": 0.4}],
    [{"time": "2027-03-14T12:00:00", "height_m": 3.1}, {"time": "2027-03-14T12:00:00", "height_m": 0.4}],
    [{"time": "2027-03-14T18:00:00", "height_m": 20}, {"time": "2027-03-14T12:00:00", "height_m": -20}],
)
PHOTO = {
    "file": "quay.jpg",
    "width_px": 4000,
    "height_px": 3000,
    "place_m": [0, 0, 1.6],
    "bearing_deg": 270,
    "fov_deg": 60,
}
PHOTOS: tuple[Any, ...] = (
    [PHOTO],
    [PHOTO, PHOTO],
    [{**PHOTO, "fov_deg": 360, "projection": "cylinder", "altitude_deg": 90, "roll_deg": 180}],
    [{**PHOTO, "pins": [{"x_px": 10, "y_px": 20, "block": "Beacon"}, {"x_px": 0, "y_px": 0, "disc": "sun"}]}],
    [{**PHOTO, "pins": [{"x_px": 10, "y_px": 20, "block": "Beacon", "corner": "9" * 5000}]}],
)
EXTREMES: tuple[tuple[str, tuple[Any, ...]], ...] = (
    ("site.latitude_deg", (90, -90, 89.9, -78.0, 66.56, 0)),
    ("site.longitude_deg", (180, -180, 0, 179.9999)),
    ("camera.focal_length_mm", (6, 14, 600, 3000)),
    ("camera.focus_distance_m", (0.5, 1e6)),
    ("clip.width_px", (16, 16384)),
    ("clip.height_px", (16, 16384)),
    ("clip.fps", (1, 240, 23.976)),
    ("rig.bearing_deg", (-360, 360, 90)),
    ("rig.incline_deg", (-90, 90, 45)),
    ("rig.pupil_offset_m", (-1, 1)),
    ("rig.slide", (None,)),
    ("rig.pan", (None,)),
    ("rig.tilt", (None,)),
    ("rig.tilt.max_deg", (90, 1080)),
    ("rig.pan.max_deg", (1080,)),
    ("move.ease", (0, 0.5)),
    ("move.drive", ("continuous", "shoot-move-shoot")),
    ("shoot.frames", (1, 2, 3)),
    ("shoot.interval_s", (0.01, 3600)),
    ("exposure.shutter_max_s", (1e-6, 3600)),
    ("exposure.iso_max", (1e7,)),
    ("exposure.nd_stops", (30,)),
    ("composition.style", ("hold", "reveal")),
    ("composition.reveal_by", (0, 1)),
    ("composition", (None,)),
    ("exposure", (None,)),
    ("blocks", ([],)),
    ("camera.lenses_mm", ([24, 85], [2, 3000], [], [24, 24], 24)),
    ("camera.headroom_stops", (0, 8)),
    ("camera.range_stops", (4, 20)),
    ("camera.card_gb", (0.1, 100_000)),
    ("camera.battery_frames", (1, 1_000_000)),
    ("camera.name", ("A", "", "x" * 300)),
    ("rig.name", ("rail", "\n", "é" * 40)),
    ("shoot.attended", (True, False, "yes", 1)),
    ("shoot.interval_step_s", (0.001, 7, 60)),
    ("shoot.cloud_divisor", (1, 100)),
    ("shoot.setup_s", (0, 86400)),
    ("exposure.meter", ("ground", "picture", "sky", "subject")),
    ("exposure.day_look_stops", (-8, 8)),
    ("exposure.grad_stops", (0.5, 8)),
    ("exposure.mains_hz", (0, 50, 60, 59)),
    ("composition.light", ("front", "side", "back")),
    ("composition.sun", ("in", "out")),
    ("composition.moon", ("in", "out")),
    ("rig.stand_min_m", (0, 0.4, 5)),
    ("rig.stand_max_m", (0.3, 1.8, 30)),
    ("site.swell_m", (0, 20)),
    ("site.scene_zero_above_chart_m", (-100, 5, 9000)),
    ("site.tides", TIDES),
    ("photos", PHOTOS),
)
BLOCK_EXTREMES: tuple[tuple[str, tuple[Any, ...]], ...] = (
    ("role", ("subject", "foreground", "background", "ground", "water")),
    ("lights", (True, False)),
    ("keep_out", (True,)),
    ("part_of", ("The railing", "\x1b[2J", "=1+1")),
    ("moves", ("people", "traffic", "nothing", "water")),
    ("tidal", (True,)),
    ("floods_at_m", (-20, 2.5, 20)),
    ("size_m", ([0.001, 0.001, 0.001], [1e6, 1e6, 1e6], [1e5, 0.01, 3])),
    ("centre_m", ([0, 0, 0.5], [0, 0, 0], [1e6, 1e6, 1e6], [0, -5, -1e6])),
    ("turn_deg", (360, -360, 45)),
    ("base_m", (-1e5, 1e5, -2)),
    ("height_m", (0.001, 1e5)),
    ("distance_m", (0.01, 1e6)),
)


def places(value: Any, path: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    """The path of everything in a document."""
    if path:
        yield path
    if isinstance(value, (dict, list)):
        for key, item in value.items() if isinstance(value, dict) else enumerate(value):
            yield from places(item, (*path, key))


def at(document: Any, path: tuple[Any, ...]) -> Any:
    for key in path:
        document = document[key]
    return document


def _strange(rng: random.Random, value: Any) -> Any:
    """Something to put in the place of a value: of its kind, most times."""
    if rng.random() < 0.1:
        return rng.choice((None, True, [], {}, [[]], 0, "x", RAW + "[" * 300 + "]" * 300))
    if isinstance(value, bool) or value is None:
        return rng.choice((True, False, None, 1))
    if isinstance(value, (int, float)):
        value = value if abs(value) < 1e300 else 1e300
        near = (value * rng.uniform(0.5, 2.0), -value, value * 1000, value / 1000, value + 1e-9)
        return rng.choice(NUMBERS) if rng.random() < 0.4 else rng.choice(near)
    if isinstance(value, str):
        return rng.choice(TEXTS)
    if isinstance(value, list):
        changed = copy.deepcopy(value)
        if changed and rng.random() < 0.5:
            changed.pop(rng.randrange(len(changed)))
        elif changed:
            changed.insert(rng.randrange(len(changed)), copy.deepcopy(rng.choice(changed)))
        rng.shuffle(changed) if rng.random() < 0.2 else None
        return changed
    return {**value, rng.choice(("\x1b[2J", "colour", "notes", "")): rng.choice(NUMBERS + TEXTS)}


def _block_to_an_extreme(rng: random.Random, document: dict[str, Any]) -> None:
    blocks = [block for block in document.get("blocks") or () if isinstance(block, dict)]
    if blocks:
        name, values = rng.choice(BLOCK_EXTREMES)
        rng.choice(blocks)[name] = copy.deepcopy(rng.choice(values))


def _to_an_extreme(rng: random.Random, document: dict[str, Any]) -> None:
    path, values = rng.choice(EXTREMES)
    *parents, last = path.split(".")
    part: Any = document
    for parent in parents:
        part = part.get(parent) if isinstance(part, dict) else None
    if isinstance(part, dict):
        part[last] = copy.deepcopy(rng.choice(values))


def _poses_elsewhere(rng: random.Random, document: dict[str, Any]) -> None:
    rest = rng.choice((None, 0.0, 90.0, -90.0, 89.5, 1080.0, -1080.0, 45.0, 270.0))
    for pose in document["move"]["poses"]:
        axis = rng.choice(("pan_deg", "tilt_deg"))
        pose[axis] = rest if axis == "pan_deg" or rest is None else max(min(rest, 90.0), -90.0)
    for axis in ("pan", "tilt"):
        part = document["rig"].get(axis)
        if isinstance(part, dict) and part:
            reach = 90.0 if axis == "tilt" else 1080.0
            part.update(min_deg=-reach, max_deg=reach)


def _tripod(rng: random.Random, document: dict[str, Any]) -> None:
    document["rig"].update(slide=None, pan=None, tilt=None)
    pan, tilt = rng.choice((0, 10.0, 179.0, 340.0, 1080.0)), rng.choice((0, 5.0, 45.0, 90.0, -90.0))
    for pose in document["move"]["poses"]:
        pose.pop("slide_m", None)
        pose.update(pan_deg=pan, tilt_deg=tilt)
        if rng.random() < 0.1:
            pose.pop("tilt_deg")


def mutated_plan(rng: random.Random) -> dict[str, Any]:
    """A plan with one to four things changed: values, structure, or a whole axis taken to its end."""
    document = small_plan(rng)
    for _ in range(rng.choice((1, 1, 2, 3, 4))):
        chance = rng.random()
        if chance < 0.06:
            _block_to_an_extreme(rng, document)
        elif chance < 0.3:
            _to_an_extreme(rng, document)
        elif chance < 0.4:
            _poses_elsewhere(rng, document)
        elif chance < 0.47:
            _tripod(rng, document)
        else:
            path = rng.choice(list(places(document)))
            parent, key = at(document, path[:-1]), path[-1]
            if isinstance(parent, dict) and rng.random() < 0.15:
                del parent[key]
            else:
                parent[key] = _strange(rng, parent[key])
        if not isinstance(document.get("move"), dict) or not isinstance(document.get("rig"), dict):
            break
        if not _sound_poses(document):
            break
    return document


def _sound_poses(document: dict[str, Any]) -> bool:
    poses = document["move"].get("poses")
    return isinstance(poses, list) and all(isinstance(pose, dict) for pose in poses)


PLAN_WORDS = (
    ("check", PLAN),
    ("check", PLAN, "--json"),
    ("check", PLAN, "--json"),
    ("frames", PLAN, "-o", "frames.csv"),
    ("axes", PLAN, "-o", "axes.csv"),
    ("sheet", PLAN, "-o", "sheet.html", "--ics", "evening.ics"),
)
SMALL_SEARCH = ("--area", "-2,-2,2,2", "--top", "1", "--reviews", "1")
SLOWER_PLAN_WORDS = (
    ("fit", PLAN, "-o", NEW, "--travel"),
    ("fit", PLAN, "-o", NEW, "--balance", "1:1"),
    ("fit", PLAN, "-o", NEW, "--clip", "8"),
    ("compare", PLAN, "--json"),
    ("dates", PLAN, "--from", "2027-03-01", "--to", "2027-03-09", "-o", "dates.csv"),
    ("export", PLAN, "-o", "move.glb"),
)
SEARCH_WORDS = (
    ("fit", PLAN, "-o", NEW, "--all"),
    ("fit", PLAN, "-o", NEW, "--compose", "--json"),
    ("dates", PLAN, "--from", "2027-03-01", "--to", "2027-03-03", "--beside", "Beacon", "-o", "dates.csv"),
    ("dates", PLAN, "--from", "2027-03-01", "--to", "2027-03-09", "--moon", "--beside", "Chapel"),
    ("scout", PLAN, *SMALL_SEARCH, "--json"),
    ("scout", PLAN, *SMALL_SEARCH, "--picture", "finds.png", "--write", "finds"),
)


def _plan_case(rng: random.Random) -> tuple[dict[str, bytes], tuple[str, ...]]:
    return {PLAN: plan_text(mutated_plan(rng))}, rng.choice(PLAN_WORDS)


def _advice_case(rng: random.Random) -> tuple[dict[str, bytes], tuple[str, ...]]:
    """A plan with planted mistakes, whose advice is followed."""
    return {PLAN: plan_text(planted(rng))}, ("check", PLAN, "--json")


def _corner_case(rng: random.Random) -> tuple[dict[str, bytes], tuple[str, ...]]:
    """A plan in an unusual corner of the job, whose advice is followed."""
    return {PLAN: plan_text(cornered(rng))}, ("check", PLAN, "--json")


def _verb_case(rng: random.Random) -> tuple[dict[str, bytes], tuple[str, ...]]:
    return {PLAN: plan_text(mutated_plan(rng))}, rng.choice(SLOWER_PLAN_WORDS)


def _search_case(rng: random.Random) -> tuple[dict[str, bytes], tuple[str, ...]]:
    return {PLAN: plan_text(mutated_plan(rng))}, rng.choice(SEARCH_WORDS)


def _bytes_case(rng: random.Random) -> tuple[dict[str, bytes], tuple[str, ...]]:
    return {PLAN: mutated_bytes(rng, plan_text(small_plan(rng)))}, ("check", PLAN, "--json")


def mutated_bytes(rng: random.Random, content: bytes) -> bytes:
    """Bytes with some flipped, cut out, doubled or put in."""
    changed = bytearray(content)
    for _ in range(rng.choice((1, 1, 2, 5, 20))):
        offset = rng.randrange(len(changed) + 1)
        kind, length = rng.random(), rng.choice((1, 1, 2, 8, 200))
        if kind < 0.3 and offset < len(changed):
            changed[offset] ^= 1 << rng.randrange(8)
        elif kind < 0.55:
            del changed[offset : offset + length]
        elif kind < 0.7:
            changed[offset:offset] = changed[offset : offset + length]
        else:
            changed[offset:offset] = rng.choice(
                (b"\x00", b"\xff", b"\xed\xa0\x80", b'"', b"{", b"]", b",", b"\\u0000", b"1e999", b"[" * 400)
            )
    return bytes(changed)


# ---------------------------------------------------------------- maps


def _ring(rng: random.Random, x: float, y: float, size: float) -> list[tuple[float, float]]:
    """A closed ring in metres: a box on a coarse grid, or a star."""
    if rng.random() < 0.7:
        w, h = size * rng.choice((1, 1, 0.5, 2)), size * rng.choice((1, 1, 0.5, 2))
        ring = [(x, y), (x + w, y), (x + w, y + h), (x, y + h)]
    else:
        turns = sorted(rng.uniform(0, 2 * math.pi) for _ in range(rng.choice((3, 5, 9))))
        ring = [(x + size * math.cos(turn), y + size * math.sin(turn)) for turn in turns]
    ring.append(ring[0])
    return ring if rng.random() < 0.5 else ring[::-1]


def building(rng: random.Random) -> list[list[tuple[float, float]]]:
    """A footprint with courtyards on a grid, in metres: they share corners and edges, repeat and nest."""
    rings = [_ring(rng, rng.choice((20, 60)), rng.choice((-20, 40)), rng.choice((20, 40, 40)))]
    x0, y0 = rings[0][0]
    for _ in range(rng.choice((0, 1, 2, 2, 3, 6))):
        if len(rings) > 1 and rng.random() < 0.15:
            rings.append(list(rng.choice(rings)))
            continue
        side = rng.choice((5, 5, 10, 2.5))
        rings.append(_ring(rng, x0 + 5 * rng.randrange(8), y0 + 5 * rng.randrange(8), side))
    return rings


def mutated_map(rng: random.Random) -> Any:
    """A map of a few buildings around the harbour's site, some of it changed."""
    longitude, latitude = rng.choice(((-9.1, 38.7), (10.0, 54.0), (179.99, -45.0), (12.0, 89.99)))

    def position(x: float, y: float) -> list[float]:
        wobble = rng.choice((0.0, 0.0, 0.0, 1e-9, 1e-12))
        east = 111_320.0 * math.cos(math.radians(latitude))
        return [longitude + x / east + wobble, latitude + y / 111_320.0]

    features = []
    for number in range(rng.choice((1, 1, 2, 4))):
        rings = [[position(*corner) for corner in ring] for ring in building(rng)]
        for ring in rings:
            ring[-1] = list(ring[0])
        many = rng.random() < 0.2
        geometry = {
            "type": "MultiPolygon" if many else "Polygon",
            "coordinates": [rings, rings] if many else rings,
        }
        properties = {
            "name": rng.choice(("House", *TEXTS)),
            "height": rng.choice((9, "12 m", "40 ft", *TEXTS)),
        }
        features.append({"type": "Feature", "id": number, "properties": properties, "geometry": geometry})
    document: Any = {"type": "FeatureCollection", "features": features}
    while rng.random() < 0.35:
        spots = list(places(document))
        if not spots:
            break
        path = rng.choice(spots)
        parent, key = at(document, path[:-1]), path[-1]
        parent[key] = _strange(rng, parent[key])
    return document


EXTRACT_KINDS = (("building", "yes"), ("building:part", "yes"), ("natural", "tree"), ("barrier", "wall"))
EXTRACT_SIZES = ("height", "min_height", "roof:height", "roof:angle", "roof:direction", "building:levels")
ROOF_WORDS = ("flat", "gabled", "hipped", "dome", "pyramidal", "skillion", "round")


def mutated_extract(rng: random.Random) -> Any:
    """The same in OpenStreetMap's JSON: ways, relations and nodes tagged as parts, roofs, trees and walls."""
    longitude, latitude = rng.choice(((-9.1, 38.7), (10.0, 54.0), (179.99, -45.0), (12.0, 89.99)))
    east = 111_320.0 * math.cos(math.radians(latitude))

    def place(x: float, y: float) -> dict[str, float]:
        return {"lat": latitude + y / 111_320.0, "lon": longitude + x / east}

    def tags() -> dict[str, Any]:
        key, value = rng.choice(EXTRACT_KINDS)
        sizes = {
            name: rng.choice(("3", "12 m", "40 ft", "-1", "0", "1e9", *TEXTS))
            for name in EXTRACT_SIZES
            if rng.random() < 0.4
        }
        return {key: value, "roof:shape": rng.choice((*ROOF_WORDS, *TEXTS)), **sizes}

    elements: list[dict[str, Any]] = []
    for number in range(rng.choice((1, 2, 4, 8))):
        rings = [[place(*corner) for corner in ring] for ring in building(rng)]
        choice = rng.random()
        if choice < 0.6:
            elements.append({"type": "way", "id": number, "geometry": rings[0], "tags": tags()})
        elif choice < 0.8:
            members = [
                {"type": "way", "ref": 100 + k, "role": rng.choice(("outer", "inner")), "geometry": part}
                for k, ring in enumerate(rings)
                for part in ((ring[:2], ring[1:]) if rng.random() < 0.5 else (ring,))
            ]
            elements.append({"type": "relation", "id": number, "members": members, "tags": tags()})
        else:
            elements.append({"type": "node", "id": number, **rings[0][0], "tags": tags()})
    document: Any = {"version": 0.6, "elements": elements}
    while rng.random() < 0.35:
        path = rng.choice(list(places(document)))
        parent, key = at(document, path[:-1]), path[-1]
        parent[key] = _strange(rng, parent[key])
        if not isinstance(document, dict) or not list(places(document)):
            break
    return document


def _map_case(rng: random.Random) -> tuple[dict[str, bytes], tuple[str, ...]]:
    document = mutated_extract(rng) if rng.random() < 0.4 else mutated_map(rng)
    plan = small_plan(rng)
    corner = next((p for p in _positions(document)), None)
    if corner is not None:
        plan["site"].update(longitude_deg=corner[0], latitude_deg=corner[1])
    plan["shoot"] = {"frames": 2, "interval_s": 5.0, "start": "2027-03-14T17:20:00"}
    content = plan_text(document)
    if rng.random() < 0.1:
        content = mutated_bytes(rng, content)
    extra = rng.choice(((), (), ("--smallest", "0.001"), ("--within", "1e8")))
    return {PLAN: plan_text(plan), "town.geojson": content}, (
        *("blocks", "town.geojson", PLAN, "-o", NEW),
        *extra,
    )


def _positions(document: Any) -> Iterator[list[float]]:
    for path in places(document):
        value = at(document, path)
        if isinstance(value, dict) and type(value.get("lon")) is float and type(value.get("lat")) is float:
            value = [value["lon"], value["lat"]]
        if not isinstance(value, list) or len(value) != 2 or not all(type(item) is float for item in value):
            continue
        if abs(value[0]) <= 180 and abs(value[1]) <= 90:
            yield value


def _profile_case(rng: random.Random) -> tuple[dict[str, bytes], tuple[str, ...]]:
    separator, ending = rng.choice((",", ";", "\t")), rng.choice(("\n", "\n", "\r\n", "\r"))
    rows = [
        f"{rng.uniform(-10, 370):.3f}{separator}{rng.uniform(-5, 20):.2f}"
        for _ in range(rng.choice((0, 1, 2, 9, 40)))
    ]
    for _ in range(rng.choice((0, 1, 2))):
        odd = rng.choice(
            (*TEXTS, *map(str, NUMBERS[:-9]), '"', "nan,inf", "1" * 140_000, '"a\nb"', "# remark")
        )
        rows.insert(rng.randrange(len(rows) + 1), odd)
    content = ending.join(rows).encode("utf-8", "surrogatepass")
    if rng.random() < 0.3:
        content = mutated_bytes(rng, content)
    return {PLAN: plan_text(small_plan(rng)), "hills.csv": content}, ("blocks", "hills.csv", PLAN, "-o", NEW)


# ---------------------------------------------------------------- words and scenes

VERBS = ("check", "frames", "axes", "fit", "compare", "sheet", "export", "blocks", "dates", "scout", "photo")
WORDS = (
    *(
        "--json",
        "-o",
        "--output",
        "--travel",
        "--balance",
        "--clip",
        "--compose",
        "--write",
        "--ics",
        "--from",
    ),
    *("--to", "--moon", "--within", "--height", "--smallest", "--distance", "--help", "--", "-x", "-"),
    *("--beside", "--above", "--all", "--area", "--top", "--edge", "--reviews", "--picture", "--heights"),
    *("0,0,1,1", "nan,0,1,1", "0.4:1.6", "1e400", "24,85", "1", "finds.png"),
    *(
        "1:1",
        "0:0",
        "1:1e9",
        "nan",
        "inf",
        "-1",
        "8",
        "1e-320",
        "2027-03-01",
        "2027-02-30",
        "out.csv",
        "out.html",
    ),
    *("no/such/folder/x", ".", "", "a\x1bb", PLAN, PLAN, PLAN, "town.geojson", "٣", "²", "9" * 5000),
)


def _words_case(rng: random.Random) -> tuple[dict[str, bytes], tuple[str, ...]]:
    document = small_plan(rng)
    document["shoot"]["frames"] = 3
    words = [rng.choice(VERBS), *(rng.choice(WORDS) for _ in range(rng.choice((0, 1, 2, 3, 5, 8))))]
    if rng.random() < 0.5:
        words.insert(1, PLAN)
    rng.shuffle(words) if rng.random() < 0.1 else None
    return {PLAN: plan_text(document), "town.geojson": plan_text(mutated_map(rng))}, tuple(words)


def _blend_case(rng: random.Random) -> tuple[dict[str, bytes], tuple[str, ...]]:
    """Bytes of a scene are put in by the fuzzer, which has one saved; here, how they are changed."""
    how = "bytes" if rng.random() < 0.25 else "structure"
    recipe = json.dumps({"seed": rng.randrange(1 << 30), "how": how}).encode()
    return {"scene.blend.recipe": recipe}, ("readback", "scene.blend", "-o", NEW)


Maker = Callable[[random.Random], tuple[dict[str, bytes], tuple[str, ...]]]
FOLLOWED = ("advice", "corner")  # kinds whose remedies are put into the plan and reviewed
KINDS: dict[str, Maker] = {
    "plan": _plan_case,
    "advice": _advice_case,
    "corner": _corner_case,
    "verb": _verb_case,
    "search": _search_case,
    "bytes": _bytes_case,
    "map": _map_case,
    "profile": _profile_case,
    "words": _words_case,
    "blend": _blend_case,
}
