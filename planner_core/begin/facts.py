"""The few facts that a first plan is made from, and how a person writes them.

What belongs here: reading `43.46,-3.79` and `tower 262 160 20`. Each reader is told what the field is called
where the text was typed, for its error.
"""

from __future__ import annotations

import datetime as dt
import math
import re

from attrs import frozen

from planner_core.edit import kit
from planner_core.plan.model import ANCHOR_EVENTS, PlanError

# What stands up: a road, ground or a sheet of water has no height to be read off a map
STANDING = tuple(kind for kind, piece in kit.PIECES.items() if piece.role not in ("ground", "water"))
# … and what else people call such things
ALSO_CALLED = {
    "tower": "lighthouse windmill spire steeple chimney silo skyscraper obelisk campanile minaret",
    "house": "barn hut cottage cabin boathouse farmhouse shed inn",
    "post": "bollard mast pole stake pillar lamp",
    "wall": "hedge parapet",
    "railing": "fence handrail balustrade",
    "tree": "oak pine poplar willow beech birch",
    "figure": "person man woman statue",
}
KIND_OF = {kind: kind for kind in STANDING} | {
    word: kind for kind, words in ALSO_CALLED.items() for word in words.split() if kind in STANDING
}
NEAREST_M, FARTHEST_M = 0.2, 50_000.0
LOWEST_M, HIGHEST_M = 0.05, 5000.0
_NUMBER = re.compile(r"([+-]?\d+(?:\.\d+)?)\s*(?:°|deg|m)?", re.IGNORECASE)
_COORDINATE = re.compile(r"([+-]?\d+(?:\.\d+)?)\s*°?\s*([NSEW]?)", re.IGNORECASE)


@frozen(kw_only=True)
class Thing:
    """Something at the place, as read off a map from the middle of the rail; without a height it has that of
    its kind.
    """

    name: str
    bearing_deg: float
    distance_m: float
    height_m: float | None = None

    @property
    def kind(self) -> str:
        """The piece of the kit that stands for it, by the last word of its name that is known; else a box."""
        words = self.name.lower().split()
        return next((KIND_OF[word] for word in reversed(words) if word in KIND_OF), "box")


@frozen(kw_only=True)
class Facts:
    """What is known of a shot. None is what the chooser is free to choose.

    Latitude and longitude in degrees; rail_m is the usable length of the slider, focal_length_mm the lens.
    """

    latitude_deg: float
    longitude_deg: float
    date: dt.date
    subject: Thing
    event: str | None = None
    foreground: Thing | None = None
    timezone: str | None = None
    focal_length_mm: float | None = None
    rail_m: float | None = None


def parse_place(text: str, path: str) -> tuple[float, float]:
    """Latitude and longitude as a map gives them: 43.46,-3.79 or 43.46N 3.79W. Raises PlanError."""
    parts = [part for part in re.split(r"[,;]\s*|\s+", text.strip()) if part]
    matches = [_COORDINATE.fullmatch(part) for part in parts]
    if len(parts) != 2 or not all(matches):
        raise PlanError(path, text, "is not a place; write latitude and longitude, as in 43.46,-3.79")
    values = []
    for match, (letters, limit, what) in zip(
        matches, (("NS", 90.0, "latitude"), ("EW", 180.0, "longitude")), strict=True
    ):
        assert match is not None
        value, letter = float(match[1]), match[2].upper()
        if letter and letter not in letters:
            raise PlanError(path, text, "is in another order; write the latitude first, as in 43.46,-3.79")
        value = -abs(value) if letter and letter == letters[1] else value
        if abs(value) > limit:
            raise PlanError(path, text, f"has a {what} beyond {limit:g} degrees; write it as in 43.46,-3.79")
        values.append(value)
    return values[0], values[1]


def parse_event(text: str, path: str) -> str:
    """A light event by its name in the plan, spaces and hyphens allowed: civil dusk. Raises PlanError."""
    name = re.sub(r"[\s-]+", "_", text.strip().lower())
    if name not in ANCHOR_EVENTS:
        raise PlanError(path, text, f"is not a light event; use one of: {', '.join(ANCHOR_EVENTS)}")
    return name


def parse_thing(text: str, path: str) -> Thing:
    """A name, a true bearing, a distance and perhaps a height: tower 262 160 20. Raises PlanError."""
    words = text.split()
    count = 0
    while count < min(len(words), 3) and _NUMBER.fullmatch(words[-1 - count]):
        count += 1
    name = " ".join(words[: len(words) - count])
    if count < 2 or not name:
        raise PlanError(
            path, text, "is not a name, bearing, distance and height; write it as in tower 262 160 20"
        )
    numbers = [_read(word) for word in words[len(words) - count :]]
    bearing, distance = numbers[:2]
    height = numbers[2] if count == 3 else None
    if abs(bearing) > 360.0:
        raise PlanError(path, text, f"has a bearing of {bearing:g}; bearings go from 0 to 360 degrees")
    if not NEAREST_M <= distance <= FARTHEST_M:
        raise PlanError(
            path, text, f"lies {distance:g} m away; give a distance from {NEAREST_M:g} to {FARTHEST_M:g} m"
        )
    if height is not None and not LOWEST_M <= height <= HIGHEST_M:
        raise PlanError(
            path, text, f"is {height:g} m high; give a height from {LOWEST_M:g} to {HIGHEST_M:g} m"
        )
    return Thing(
        name=name, bearing_deg=math.fmod(bearing, 360.0) % 360.0, distance_m=distance, height_m=height
    )


def _read(word: str) -> float:
    match = _NUMBER.fullmatch(word)
    assert match is not None
    return float(match[1])
