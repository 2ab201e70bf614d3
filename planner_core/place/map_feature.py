"""A thing on a map, whatever its file: its geometry as GeoJSON has it, its tags as OpenStreetMap's."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Any

from attrs import frozen

LEVEL_M = 3.0  # common practice, no source
FEET_M = 0.3048
LONGEST_M, LONGEST_LENGTH = 1e5, 40  # metres, and characters, that a length in a map may have
_LENGTH = re.compile(r"^([+-]?\d+(?:[.,]\d+)?)\s*(m|metres?|meters?|ft|feet|foot|')?$", re.IGNORECASE)
_FEET_INCHES = re.compile(r"^(\d+)\s*(?:'|ft)\s*(\d+(?:\.\d+)?)\s*(?:\"|in)?$")


@frozen(kw_only=True)
class Feature:
    """One thing: label names it in messages, name in the plan; geometry and tags are still unchecked."""

    label: str
    name: str
    geometry: Any
    tags: dict[str, Any]

    def says(self, key: str) -> str:
        """A tag's word in small letters; empty where there is none, or no word."""
        value = self.tags.get(key)
        return value.strip().lower() if isinstance(value, str) else ""

    def length_m(self, names: Sequence[str], factor: float = 1.0) -> float | None:
        """The first of some tags that says a length, times a factor; None where none does."""
        lengths = (length_m(self.tags[name]) for name in names if self.tags.get(name) is not None)
        return next((length * factor for length in lengths if length is not None), None)


def length_m(value: Any) -> float | None:
    """Metres from a map's value: 12, "12", "12.5 m", "40 ft" or 39'4"; None where it says no length."""
    if isinstance(value, bool):
        return None
    if isinstance(value, (int, float)):
        return float(value) if abs(value) < LONGEST_M else None
    text = str(value).strip()
    if len(text) > LONGEST_LENGTH:
        return None
    if both := _FEET_INCHES.match(text):
        return (float(both[1]) + float(both[2]) / 12.0) * FEET_M
    if match := _LENGTH.match(text):
        unit = (match[2] or "m").lower()
        return float(match[1].replace(",", ".")) * (1.0 if unit.startswith("m") else FEET_M)
    return None
