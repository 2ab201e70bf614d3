"""What the photographer decided: plain values with units in their names, immutable and checked.

Every class here is a part of the plan file. A value that can't be right raises `PlanError`, which names the
field, the value and what would be accepted. Optional fields that a plan may leave out carry the default that
keeps older plans as they were.
"""

from __future__ import annotations

import datetime as dt
import math
import re
import zoneinfo
from collections.abc import Sequence
from itertools import pairwise
from typing import Any

import attrs
from attrs import field, frozen

from planner_core.plan.text import escaped
from planner_core.plan.zones import meant_zone
from planner_core.words.language import Phrase, any_of, in_words, phrase, say

ANCHOR_EVENTS = (
    "sunrise",
    "sunset",
    "civil_dawn",
    "civil_dusk",
    "nautical_dawn",
    "nautical_dusk",
    "astronomical_dawn",
    "astronomical_dusk",
    "moonrise",
    "moonset",
    "solar_noon",
)
DRIVES = ("shoot-move-shoot", "continuous")
STYLES = ("hold", "reveal")
ROLES = ("subject", "foreground", "background", "ground", "water")
SHAPES = ("box", "prism", "ridge", "post", "figure", "terrain")
ROOFS = ("flat", "gabled", "hipped", "pyramidal", "skillion", "dome")
RAMP_ORDERS = ("shutter-first", "iso-first")
LIGHT_SIDES = ("any", "front", "side", "back")
DISC_PLACES = ("any", "in", "out")
METERS = ("ground", "picture", "sky", "subject")
MOVERS = ("water", "people", "traffic", "nothing")
MAINS_HZ = (0.0, 50.0, 60.0)
PROJECTIONS = ("flat", "cylinder")
PIN_DISCS = ("", "sun", "moon")
CORNERS = "top|foot|[1-9][0-9]{0,4}"  # middle of a block's top or foot, or the number of a corner

THINNEST_M = 1e-4  # a sheet of paper
MOST_HEIGHTS = 64  # along one side of a terrain
STEEPEST_DEG = 89.0  # a skyline seen from the rail isn't overhead
WIDEST_FLAT_DEG = 175.0  # of a lens that keeps straight lines straight

Vector = tuple[float, float, float]
Point = tuple[float, float]


class PlanError(ValueError):
    """Something in a plan that won't work.

    `path` names the field as it stands in the plan file (`rig.slide.max_m`), `value` is what stands there and
    `expected` says what would be accepted: a message, with places for `values` if need be, in the language of
    whoever shows it. The text is one line.
    """

    def __init__(self, path: str, value: Any, expected: str, /, **values: Any) -> None:
        self.path = path
        self.value = value
        self.expected = expected if isinstance(expected, Phrase) else phrase(expected, **values)
        super().__init__(path, value, self.expected)

    def __str__(self) -> str:
        return (
            f"{escaped(_short(say(self.path))) or say('plan')}: {self.reason}"  # files have words for a path
        )

    @property
    def reason(self) -> str:
        """The value and what would be accepted, without the path, on one line."""
        return escaped(f"{shown(self.value)} {in_words(self.expected)}".replace("\n", " "))

    def under(self, parent: str) -> PlanError:
        """The same problem, seen from the part that holds this one."""
        joint = "" if not self.path or self.path.startswith("[") or not parent else "."
        return PlanError(f"{parent}{joint}{self.path}", self.value, self.expected)


class Word:
    """Stands in an error where there is no value to show."""

    def __init__(self, word: str) -> None:
        self.word = word if isinstance(word, Phrase) else phrase(word)

    def __repr__(self) -> str:
        return in_words(self.word)


MISSING = Word("is missing;")
NO_FIELD = Word("is not a field here;")


def shown(value: Any) -> str:
    """A value as an error message shows it: short, on one line."""
    if value is None or isinstance(value, bool):
        return {None: "null", True: "true", False: "false"}[value]
    if isinstance(value, float) and value.is_integer() and abs(value) < 1e15:
        return str(int(value))
    text = repr(value) if not isinstance(value, (dict, list, tuple)) else _outline(value)
    return text if len(text) <= 60 else text[:57] + "..."


def _short(path: str) -> str:
    """A path as an error message shows it: a key of thousands of characters is cut in its middle."""
    return path if len(path) <= 200 else f"{path[:120]}...{path[-60:]}"


def _outline(value: Any) -> str:
    if isinstance(value, dict):
        return "{...}" if value else "{}"
    return "[" + ", ".join(shown(item) for item in value) + "]"


@frozen(kw_only=True)
class _Range:
    """The numbers that a field takes, and what is said of others; as _number has them."""

    low: float
    high: float
    unit: str
    above: bool
    slips: Sequence[tuple[float, str]]
    likely: tuple[float, float]
    remark: str
    least: float

    def has(self, number: float) -> bool:
        """Whether it lies between the limits."""
        return (self.low < number if self.above else self.low <= number) and number <= self.high

    def refused(self, field: str, value: Any, number: float) -> PlanError | None:
        """What to say of a number that the field doesn't take; None for one that it does."""
        if 0.0 < number < self.least:
            return PlanError(
                field,
                value,
                "is too small; give {least:g} {unit} or more",
                least=self.least,
                unit=phrase(self.unit),
            )
        if self.has(number):
            return None
        return self._slipped(field, value, number) or self._outside(field, value)

    def _slipped(self, field: str, value: Any, number: float) -> PlanError | None:
        """The same number in another unit, where that is likely meant."""
        meant = [
            (slip, f"{scaled:.6g}")
            for factor, slip in self.slips
            if self.has(scaled := number * factor) and self.likely[0] <= abs(scaled) <= self.likely[1]
        ]
        if not meant:
            return None
        slipped = any_of([phrase(slip) for slip, _ in meant])
        unit = phrase(self.unit)
        return PlanError(
            field,
            value,
            "{why} ({wanted} meant; {instead}?)",
            why=phrase(self.remark) if self.remark else phrase("looks like {unit}", unit=slipped),
            wanted=phrase(WANTED[self.unit]) if self.unit in WANTED else phrase("{unit} are", unit=unit),
            instead=any_of([scaled for _, scaled in meant]),
        )

    def _outside(self, field: str, value: Any) -> PlanError:
        bottom, top = (
            f"{limit:.6g}" if abs(limit) < 1e6 else f"{limit:.0f}" for limit in (self.low, self.high)
        )
        return PlanError(
            field,
            value,
            "is outside what is possible; give a number {span} {unit}"
            if self.unit
            else "is outside what is possible; give a number {span}",
            span=phrase(
                "above {low} and up to {high}" if self.above else "from {low} to {high}", low=bottom, high=top
            ),
            unit=phrase(self.unit),
        )

    def schema(self, *, whole: bool) -> dict[str, Any]:
        """The same as JSON Schema."""
        takes: dict[str, Any] = {"type": "integer" if whole else "number"}
        if not self.above or self.least:
            takes["minimum"] = self.least if self.above else self.low
        takes["maximum"] = self.high
        return takes if "minimum" in takes else {**takes, "exclusiveMinimum": self.low}


def _number(
    low: float,
    high: float,
    unit: str = "",
    *,
    default: Any = attrs.NOTHING,
    optional: bool = False,
    above: bool = False,
    slips: Sequence[tuple[float, str]] = (),
    likely: tuple[float, float] = (0.0, math.inf),
    remark: str = "",
    whole: bool = False,
    least: float = 0.0,
    only: Sequence[float] = (),
) -> Any:
    """A field that takes a number from low to high (above low, where `above`).

    `slips` are the unit mistakes made by hand: (factor, unit) pairs; where value x factor would be in range,
    the error suggests it, as far as its size is `likely`. What is above 0 and below `least` is smaller than
    such a thing can be. Where `only` some numbers are known, the field has a validator of its own.
    """
    numbers = _Range(
        low=low, high=high, unit=unit, above=above, slips=slips, likely=likely, remark=remark, least=least
    )

    def check(_instance: Any, attribute: Any, value: Any) -> None:
        if value is None and optional:
            return
        try:
            number = as_whole(value) if whole else as_number(value)
        except PlanError as error:
            raise error.under(attribute.name) from None
        refused = numbers.refused(attribute.name, value, number)
        if refused is not None:
            raise refused

    def convert(value: Any) -> Any:
        return float(value) if type(value) is int and not whole else value

    takes = numbers.schema(whole=whole)
    if only:
        takes = {"enum": [*only, *([None] if optional else [])]}
    return field(
        default=default,
        converter=convert,
        validator=check,
        metadata={"unit": unit, "range": (low, high), "schema": _or_null(takes) if optional else takes},
    )


def _or_null(takes: dict[str, Any]) -> dict[str, Any]:
    """A field's schema where null stands for a value that nobody gave."""
    return takes if "enum" in takes else {**takes, "type": [takes["type"], "null"]}


def field_range(part: type, name: str) -> tuple[float, float]:
    """The lowest and highest value that a numeric field of a part takes."""
    low, high = attrs.fields_dict(part)[name].metadata["range"]
    return float(low), float(high)


def as_number(value: Any) -> float:
    """The value as a finite float; raises PlanError (without a path) for anything else, booleans included."""
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        raise PlanError("", value, "is not a number; write it without quotes, as in 12.5")
    try:
        number = float(value)
    except OverflowError:
        number = math.inf
    if not math.isfinite(number):
        raise PlanError("", value, "is not a finite number")
    return number


def as_whole(value: Any) -> int:
    """The value as an int; raises PlanError (without a path) for anything with a fraction."""
    if isinstance(value, float) and value.is_integer():
        return int(value)
    if isinstance(value, bool) or not isinstance(value, int):
        raise PlanError("", value, "is not a whole number")
    return value


def _choice(options: Sequence[str], *, default: Any = attrs.NOTHING) -> Any:
    def check(_instance: Any, attribute: Any, value: Any) -> None:
        if value not in options:
            raise PlanError(
                attribute.name, value, "is not known; use one of: {known}", known=", ".join(options)
            )

    return field(default=default, validator=check, metadata={"schema": {"enum": list(options)}})


def _text(*, default: Any = attrs.NOTHING) -> Any:
    def check(_instance: Any, attribute: Any, value: Any) -> None:
        if not isinstance(value, str):
            raise PlanError(attribute.name, value, "is not text; write it in double quotes")
        _check_writable(attribute.name, value)

    return field(default=default, validator=check, metadata={"schema": {"type": "string"}})


DEEPEST_NOTES = 50


def _notes() -> Any:
    def check(_instance: Any, attribute: Any, value: Any) -> None:
        _check_writable(attribute.name, value)

    return field(default=None, validator=check, metadata={"schema": {}})


def _check_writable(path: str, value: Any, depth: int = 0) -> None:
    """What a plan file may hold as it is: text that UTF-8 can write, and not nested without end."""
    if isinstance(value, str):
        try:
            value.encode("utf-8")
        except UnicodeEncodeError:
            raise PlanError(
                path, ascii(value), "has half a character in it (a lone surrogate); retype it"
            ) from None
    elif isinstance(value, (dict, list, tuple)):
        if depth >= DEEPEST_NOTES:
            raise PlanError(
                path,
                Word("is nested too deeply;"),
                "{most} levels are enough for notes",
                most=DEEPEST_NOTES,
            )
        for item in [*value.keys(), *value.values()] if isinstance(value, dict) else value:
            _check_writable(path, item, depth + 1)


def _points(dimensions: int, limit: float, unit: str, *, many: bool = False, optional: bool = True) -> Any:
    """A field for one point of `dimensions` numbers, or for a list of them where `many`."""

    def check(_instance: Any, attribute: Any, value: Any) -> None:
        if value is None and optional:
            return
        if not many:
            _check_point(value, attribute.name, dimensions, limit, unit)
            return
        if not isinstance(value, (tuple, list)):
            raise PlanError(attribute.name, value, "is not a list of points")
        for index, point in enumerate(value):
            _check_point(point, f"{attribute.name}[{index}]", dimensions, limit, unit)

    def convert(value: Any) -> Any:
        try:
            if many:
                return tuple(tuple(as_number(number) for number in point) for point in value)
            return tuple(as_number(number) for number in value)
        except (PlanError, TypeError):
            return value  # the validator says what is wrong, with its place

    point: dict[str, Any] = {
        "type": "array",
        "items": {"type": "number", "minimum": -limit, "maximum": limit},
        "minItems": dimensions,
        "maxItems": dimensions,
    }
    takes = {"type": "array", "items": point} if many else point
    return field(
        default=None if optional else attrs.NOTHING,
        converter=convert,
        validator=check,
        metadata={"unit": unit, "schema": _or_null(takes) if optional else takes},
    )


def _grid(most: int, low: float, high: float, unit: str) -> Any:
    """An optional field for rows of numbers, two or more rows of two or more."""

    def check(_instance: Any, attribute: Any, value: Any) -> None:
        if value is None:
            return
        if not isinstance(value, (tuple, list)) or not 2 <= len(value) <= most:
            raise PlanError(
                attribute.name,
                value,
                "is not a grid of numbers; give from 2 to {most} rows",
                most=most,
            )
        for index, row in enumerate(value):
            where = f"{attribute.name}[{index}]"
            if not isinstance(row, (tuple, list)) or not 2 <= len(row) <= most:
                raise PlanError(
                    where, row, "is not a row of a grid; give from 2 to {most} numbers", most=most
                )
            _check_point(row, where, len(value[0]), high, unit)
            if min(row) < low:
                raise PlanError(where, min(row), "is below {low:g} {unit}", low=low, unit=phrase(unit))

    def convert(value: Any) -> Any:
        try:
            return tuple(tuple(as_number(number) for number in row) for row in value)
        except (PlanError, TypeError):
            return value  # the validator says what is wrong, with its place

    numbers = {"type": "number", "minimum": low, "maximum": high}
    row = {"type": "array", "items": numbers, "minItems": 2, "maxItems": most}
    takes = {"type": "array", "items": row, "minItems": 2, "maxItems": most}
    return field(
        default=None, converter=convert, validator=check, metadata={"unit": unit, "schema": _or_null(takes)}
    )


def _lengths(low: float, high: float, unit: str) -> Any:
    """An optional field for a list of numbers from low to high, each once."""

    def check(_instance: Any, attribute: Any, value: Any) -> None:
        if value is None:
            return
        if not isinstance(value, (tuple, list)) or not value:
            raise PlanError(attribute.name, value, "is not a list of numbers ({unit})", unit=phrase(unit))
        for index, number in enumerate(value):
            try:
                inside = low <= as_number(number) <= high
            except PlanError as error:
                raise error.under(f"{attribute.name}[{index}]") from None
            if not inside:
                slips = [f"{number * factor:g}" for factor, _ in _MM_SLIPS if low <= number * factor <= high]
                raise PlanError(
                    f"{attribute.name}[{index}]",
                    number,
                    "is not from {low:g} to {high:g} {unit} ({meant}?)"
                    if slips
                    else "is not from {low:g} to {high:g} {unit}",
                    low=low,
                    high=high,
                    unit=phrase(unit),
                    meant=any_of(slips or [""]),
                )

    def convert(value: Any) -> Any:
        try:
            return tuple(as_number(number) for number in value)
        except (PlanError, TypeError):
            return value  # the validator says what is wrong, with its place

    takes = {"type": "array", "items": {"type": "number", "minimum": low, "maximum": high}, "minItems": 1}
    return field(
        default=None, converter=convert, validator=check, metadata={"unit": unit, "schema": _or_null(takes)}
    )


def _check_point(value: Any, path: str, dimensions: int, limit: float, unit: str) -> None:
    """Raise PlanError unless a value is a point of so many numbers, none of them beyond the limit."""
    if not isinstance(value, (tuple, list)) or len(value) != dimensions:
        raise PlanError(
            path,
            value,
            "is not a list of {dimensions} numbers ({unit})",
            dimensions=dimensions,
            unit=phrase(unit),
        )
    for index, number in enumerate(value):
        try:
            inside = abs(as_number(number)) <= limit
        except PlanError as error:
            raise error.under(f"{path}[{index}]") from None
        if not inside:
            raise PlanError(
                f"{path}[{index}]", number, "is beyond {limit:.0f} {unit}", limit=limit, unit=phrase(unit)
            )


WANTED = {"as a share of the move": "a share of the move is"}
_METRE_SLIPS = ((0.001, "millimetres"), (0.01, "centimetres"))
_MM_SLIPS = ((1000.0, "metres"), (10.0, "centimetres"))
_MILLISECONDS_SLIP = ((0.001, "milliseconds"),)
_PERCENT_SLIP = ((0.01, "percent"),)
_SLIDER_M = (0.1, 3.0)
NEAREST_FOCUS = 1.2  # focal lengths from the lens: five times life size, nearer than lenses go
NARROWEST_SHARE = 0.16  # a focal length of less than this share of the sensor's width sees more than 144°


@frozen(kw_only=True)
class Tide:
    """A high or low water of a tide table: local time, and height above the table's zero."""

    time: dt.datetime = field()
    height_m: float = _number(-20, 20, "metres", slips=((0.01, "centimetres"),), likely=(0.1, 18.0))

    @time.validator
    def _is_datetime(self, _attribute: Any, value: Any) -> None:
        if not isinstance(value, dt.datetime):
            raise PlanError("time", value, "is not a local time; write it as 2027-03-14T17:20:00")
        _possible_year("time", value.year, value.isoformat())


@frozen(kw_only=True)
class Site:
    """Where on Earth the scene's origin lies, and which way it is turned.

    scene_north_deg is the compass bearing of the scene's +Y axis. tides are high and low waters in turn, as a
    tide table gives them; scene_zero_above_chart_m is how high the scene's height 0 lies above the table's
    zero. Waves reach swell_m above the still water, and water_margin_m more is kept clear of it.
    """

    name: str = _text(default="")
    latitude_deg: float = _number(-90, 90, "degrees")
    longitude_deg: float = _number(-180, 180, "degrees")
    timezone: str = _text()
    scene_north_deg: float = _number(-360, 360, "degrees", default=0.0)
    tides: tuple[Tide, ...] = ()
    scene_zero_above_chart_m: float = _number(-100, 9000, "metres", default=0.0)
    swell_m: float = _number(0, 20, "metres", default=0.0)
    water_margin_m: float = _number(0, 10, "metres", default=0.3)

    def __attrs_post_init__(self) -> None:
        if len(self.tides) == 1:
            raise PlanError("tides", list(self.tides), "holds one water; give a high and a low one at least")
        for index in range(2, len(self.tides)):
            before, here, after = (tide.height_m for tide in self.tides[index - 2 : index + 1])
            if (here - before) * (after - here) > 0.0:
                raise PlanError(
                    f"tides[{index - 1}].height_m",
                    here,
                    "is neither a high nor a low water between its neighbours; is one missing?",
                )

    @timezone.validator
    def _zone_exists(self, _attribute: Any, value: str) -> None:
        try:
            zoneinfo.ZoneInfo(value)
        except (zoneinfo.ZoneInfoNotFoundError, ValueError, OSError, TypeError):
            raise PlanError(
                "timezone",
                value,
                "is not an IANA time zone; write one like Europe/Lisbon or UTC{meant}",
                meant=meant_zone(str(value), self.latitude_deg, self.longitude_deg),
            ) from None


@frozen(kw_only=True)
class Camera:
    """The sensor, the picture size and the lens. Sensor sizes are those of the whole sensor.

    headroom_stops is how far over middle grey a raw file keeps detail, and range_stops how many stops it
    holds from there down to where shadows drown in noise (both common practice, no source). lenses_mm are the
    focal lengths in the bag, for a search for a shot to choose from. card_gb is what the card holds, in
    gigabytes of 1000 MB, and battery_frames how many frames of such a shoot a charged battery lasts for.
    name tells cameras apart where several plans share an evening.
    """

    name: str = _text(default="")
    sensor_width_mm: float = _number(1, 150, "millimetres", slips=_MM_SLIPS)
    sensor_height_mm: float = _number(1, 150, "millimetres", slips=_MM_SLIPS)
    image_width_px: int = _number(16, 60000, "pixels", whole=True)
    image_height_px: int = _number(16, 60000, "pixels", whole=True)
    focal_length_mm: float = _number(2, 3000, "millimetres", slips=_MM_SLIPS)
    focus_distance_m: float = _number(0.02, 1e6, "metres", above=True)
    raw_file_mb: float | None = _number(
        0, 4000, "megabytes", default=None, optional=True, above=True, least=0.001
    )
    headroom_stops: float = _number(0, 8, "stops", default=3.0)
    range_stops: float = _number(4, 20, "stops", default=12.0)
    lenses_mm: tuple[float, ...] | None = _lengths(2, 3000, "millimetres")
    card_gb: float | None = _number(
        0, 100_000, "gigabytes", default=None, optional=True, above=True, least=0.1
    )
    battery_frames: int | None = _number(1, 1_000_000, "frames", default=None, optional=True, whole=True)

    def __attrs_post_init__(self) -> None:
        if 1000.0 * self.focus_distance_m < NEAREST_FOCUS * self.focal_length_mm:
            raise PlanError(
                "focus_distance_m",
                self.focus_distance_m,
                "is too near for a lens of {lens:g} mm; give metres, from {nearest:.3g}",
                lens=self.focal_length_mm,
                nearest=NEAREST_FOCUS * self.focal_length_mm / 1000.0,
            )
        if self.focal_length_mm < NARROWEST_SHARE * self.sensor_width_mm:
            raise PlanError(
                "focal_length_mm",
                self.focal_length_mm,
                "is too short for a sensor {width:g} mm wide: no lens that keeps lines straight "
                "sees more than 144° (millimetres are meant; {instead:g}?)",
                width=self.sensor_width_mm,
                instead=10.0 * self.focal_length_mm,
            )


@frozen(kw_only=True)
class Clip:
    """The delivered clip: what is judged."""

    width_px: int = _number(16, 16384, "pixels", whole=True)
    height_px: int = _number(16, 16384, "pixels", whole=True)
    fps: float = _number(1, 240, "frames a second")


@frozen(kw_only=True)
class SlideAxis:
    """The carriage on the rail: its usable range along the rail and what its motor can do."""

    min_m: float = _number(
        -30, 30, "metres", slips=_METRE_SLIPS, likely=_SLIDER_M, remark="is longer than any slider"
    )
    max_m: float = _number(
        -30, 30, "metres", slips=_METRE_SLIPS, likely=_SLIDER_M, remark="is longer than any slider"
    )
    max_speed_m_s: float = _number(0, 10, "metres a second", above=True, least=1e-7, slips=_METRE_SLIPS)
    max_acceleration_m_s2: float = _number(
        0, 100, "metres a second squared", above=True, least=1e-7, slips=_METRE_SLIPS
    )
    step_m: float = _number(0, 0.1, "metres", above=True, least=1e-9, slips=_METRE_SLIPS, likely=(0.0, 0.02))

    def __attrs_post_init__(self) -> None:
        _ordered(self, "min_m", "max_m", "a rail needs some length", strictly=True)


@frozen(kw_only=True)
class TurnAxis:
    """A pan or tilt axis: its range as bearing (pan) or altitude (tilt), and what its motor does."""

    min_deg: float = _number(-1080, 1080, "degrees")
    max_deg: float = _number(-1080, 1080, "degrees")
    max_speed_deg_s: float = _number(0, 720, "degrees a second", above=True, least=1e-6)
    max_acceleration_deg_s2: float = _number(0, 7200, "degrees a second squared", above=True, least=1e-6)
    step_deg: float = _number(0, 30, "degrees", above=True, least=1e-7)

    def __attrs_post_init__(self) -> None:
        _ordered(self, "min_deg", "max_deg", "an axis needs some range", strictly=True)


def _ordered(part: Any, low: str, high: str, why: str, *, strictly: bool = False) -> None:
    bottom, top = getattr(part, low), getattr(part, high)
    if top < bottom or (strictly and top == bottom):
        raise PlanError(
            high,
            top,
            "must be above {field} ({least:g}); {why}"
            if strictly
            else "must be no less than {field} ({least:g}); {why}",
            field=low,
            least=bottom,
            why=phrase(why),
        )


@frozen(kw_only=True)
class Rig:
    """Rail, carriage and head. An axis that is None is one the rig lacks.

    origin_m is the rail's start (slide 0) in the scene; bearing_deg the compass bearing in which the carriage
    travels and incline_deg how steeply it rises. The head stands level, head_height_m above the carriage, and
    the lens's entrance pupil lies pupil_offset_m ahead of both turning axes. stand_min_m and stand_max_m are
    how low and high over the ground its stands hold the rail; a search for a shot asks for them. name tells
    rigs apart where several plans share an evening.
    """

    name: str = _text(default="")
    origin_m: Vector = _points(3, 1e5, "metres", optional=False)
    bearing_deg: float = _number(-360, 360, "degrees", default=0.0)
    incline_deg: float = _number(-90, 90, "degrees", default=0.0)
    head_height_m: float = _number(-2, 5, "metres", default=0.0, slips=_METRE_SLIPS, likely=(0.02, 1.0))
    pupil_offset_m: float = _number(-1, 1, "metres", default=0.0, slips=_METRE_SLIPS, likely=(0.005, 0.3))
    settle_s: float = _number(0, 120, "seconds", default=0.0, slips=_MILLISECONDS_SLIP)
    slide: SlideAxis | None = None
    pan: TurnAxis | None = None
    tilt: TurnAxis | None = None
    max_incline_deg: float = _number(0, 90, "degrees", default=30.0)
    stand_min_m: float = _number(0, 30, "metres", default=0.4, slips=_METRE_SLIPS, likely=(0.05, 3.0))
    stand_max_m: float = _number(0, 30, "metres", default=1.4, slips=_METRE_SLIPS, likely=(0.05, 3.0))

    def __attrs_post_init__(self) -> None:
        if self.stand_max_m < self.stand_min_m:
            raise PlanError(
                "stand_max_m",
                self.stand_max_m,
                "is less than stand_min_m, {least:g}",
                least=self.stand_min_m,
            )


@frozen(kw_only=True)
class Pose:
    """Where the axes stand at one place of the move. An axis left out (None) is interpolated."""

    at: float = _number(0, 1, "as a share of the move", slips=_PERCENT_SLIP, likely=(0.01, 1.0))
    slide_m: float | None = _number(
        -30, 30, "metres", default=None, optional=True, slips=_METRE_SLIPS, likely=_SLIDER_M
    )
    pan_deg: float | None = _number(-1080, 1080, "degrees", default=None, optional=True)
    tilt_deg: float | None = _number(-90, 90, "degrees", default=None, optional=True)


@frozen(kw_only=True)
class Move:
    """Poses in the order of the move, how gently it starts and stops, and how the rig is driven.

    ease is the share of the move spent speeding up, and again slowing down: 0 none, 0.5 all of it.
    """

    drive: str = _choice(DRIVES)
    ease: float = _number(
        0, 0.5, "as a share of the move", default=0.0, slips=_PERCENT_SLIP, likely=(0.01, 1.0)
    )
    poses: tuple[Pose, ...] = ()

    def __attrs_post_init__(self) -> None:
        if not self.poses:
            raise PlanError("poses", list(self.poses), "has no pose; a move needs a pose at 0 and one at 1")
        for index, (before, after) in enumerate(pairwise(self.poses), start=1):
            if after.at == before.at:
                raise PlanError(
                    f"poses[{index}].at",
                    after.at,
                    "is also the place of the pose before; give each pose a place",
                )
            if after.at < before.at:
                raise PlanError(
                    f"poses[{index}].at",
                    after.at,
                    "comes before {before:g}; put the poses in the order of the move",
                    before=before.at,
                )


@frozen(kw_only=True)
class Anchor:
    """A light event of a local date, pinned to a place in the move."""

    event: str = _choice(ANCHOR_EVENTS)
    date: dt.date = field()
    at: float = _number(0, 1, "as a share of the move", default=0.5, slips=_PERCENT_SLIP, likely=(0.01, 1.0))

    @date.validator
    def _is_date(self, _attribute: Any, value: Any) -> None:
        if not isinstance(value, dt.date) or isinstance(value, dt.datetime):
            raise PlanError("date", value, "is not a date; write it as 2027-03-14")
        _possible_year("date", value.year, value)


def _possible_year(path: str, year: int, value: Any) -> None:
    if not 1950 <= year <= 2050:
        raise PlanError(
            path, str(value), "is outside the years 1950 to 2050, for which sun and moon are good"
        )


@frozen(kw_only=True)
class Shoot:
    """How many frames, how often, and when: an anchor or a local start.

    interval_step_s is what the timer that counts the interval can be set in. setup_s is the time to set up
    before the first frame and travel_s the way there. cloud_divisor thins the
    natural light: 1 clear, 3 average cloud, 10 dark stratus (US Naval Observatory Circular 171). wind_m_s is
    the wind at the height of the clouds and wind_from_deg where it comes from: they drift with it. attended
    says whether the shoot needs hands while it runs, to ramp by hand or change a filter.
    """

    frames: int = _number(1, 100_000, "frames", whole=True)
    interval_s: float = _number(0, 3600, "seconds", above=True, least=0.001, slips=_MILLISECONDS_SLIP)
    interval_step_s: float = _number(0, 60, "seconds", above=True, least=0.001, default=0.5)
    write_s: float = _number(0, 600, "seconds", default=0.0, slips=_MILLISECONDS_SLIP)
    anchor: Anchor | None = None
    start: dt.datetime | None = field(default=None)
    setup_s: float = _number(0, 86400, "seconds", default=2700.0)
    travel_s: float = _number(0, 604800, "seconds", default=0.0)
    cloud_divisor: float = _number(1, 100, "(1 clear, 3 average cloud, 10 dark stratus)", default=1.0)
    wind_m_s: float = _number(0, 60, "metres a second", default=6.0)
    wind_from_deg: float = _number(0, 360, "degrees clockwise from north", default=270.0)
    attended: bool = field(default=False)

    @attended.validator
    def _is_bool(self, attribute: Any, value: Any) -> None:
        if not isinstance(value, bool):
            raise PlanError(attribute.name, value, "is neither true nor false")

    @start.validator
    def _is_datetime(self, _attribute: Any, value: Any) -> None:
        if value is None:
            return
        if not isinstance(value, dt.datetime):
            raise PlanError("start", value, "is not a local time; write it as 2027-03-14T17:20:00")
        _possible_year("start", value.year, value.isoformat())

    def __attrs_post_init__(self) -> None:
        if self.anchor is None and self.start is None:
            raise PlanError("", MISSING, 'give either "anchor" (a light event) or "start" (a local time)')
        if self.anchor is not None and self.start is not None:
            raise PlanError(
                "start", self.start.isoformat(), "stands beside an anchor; keep only one of the two"
            )


@frozen(kw_only=True)
class Exposure:
    """The limits within which the camera follows the light.

    night_look_stops is how much darker than metered the night should look (negative: darker);
    artificial_ev100 the EV at ISO 100 of the place by artificial light alone. meter says what the exposure is
    taken from: incident light on level ground, the frame's picture, the brightest part of its sky, or the
    subject's face toward the camera. day_look_stops is how much brighter than metered the day should look
    (negative: darker). grad_stops is what a graduated filter takes of the sky, its soft edge at the horizon.
    mains_hz is the frequency of the mains that the place's lamps burn on, 50 or 60, or 0 for lamps that don't
    flicker; None goes by the country.
    """

    f_number: float = _number(0.5, 128, "(as in f/5.6)")
    iso_min: float = _number(1, 10_000_000, "ISO", default=100.0)
    iso_max: float = _number(1, 10_000_000, "ISO", default=1600.0)
    shutter_min_s: float = _number(0, 3600, "seconds", above=True, least=1e-6, default=1 / 4000)
    shutter_max_s: float = _number(0, 3600, "seconds", above=True, least=1e-6, default=30.0)
    nd_stops: float = _number(0, 30, "stops", default=0.0)
    night_look_stops: float = _number(-8, 8, "stops", default=0.0)
    artificial_ev100: float | None = _number(-12, 18, "EV at ISO 100", default=None, optional=True)
    ramp_order: str = _choice(RAMP_ORDERS, default="shutter-first")
    meter: str = _choice(METERS, default="ground")
    day_look_stops: float = _number(-8, 8, "stops", default=0.0)
    grad_stops: float = _number(0, 8, "stops", default=0.0)
    mains_hz: float | None = _number(0, 100, "hertz", default=None, optional=True, only=MAINS_HZ)

    @mains_hz.validator
    def _is_a_mains_frequency(self, _attribute: Any, value: Any) -> None:
        if value is not None and value not in MAINS_HZ:
            raise PlanError("mains_hz", value, "is not a mains frequency; give 50, 60, or 0 for none")

    def __attrs_post_init__(self) -> None:
        _ordered(self, "iso_min", "iso_max", "swap them?")
        _ordered(self, "shutter_min_s", "shutter_max_s", "swap them?")


@frozen(kw_only=True)
class Composition:
    """What the picture is about: a hold (composed throughout) or a reveal, and the subject block's name.

    reveal_by is the place of the move by which a reveal must show its subject. light is where it should come
    from (front: from behind the camera), sun and moon whether they should be in the picture; a search for a
    shot asks for these.
    """

    style: str = _choice(STYLES, default="hold")
    subject: str = _text(default="")
    reveal_by: float = _number(
        0, 1, "as a share of the move", default=0.7, slips=_PERCENT_SLIP, likely=(0.01, 1.0)
    )
    light: str = _choice(LIGHT_SIDES, default="any")
    sun: str = _choice(DISC_PLACES, default="any")
    moon: str = _choice(DISC_PLACES, default="any")


@frozen(kw_only=True, cache_hash=True)
class Block:
    """One solid of the roughly blocked-out place, in scene metres.

    box, post and figure: centre_m, size_m (x, y, z) and turn_deg, clockwise seen from above. A post is round,
    a figure a standing person. terrain: a box whose top follows heights_m, a grid of heights above its foot,
    in rows from its -Y side, each from -X on; the outermost stand on its sides. prism: footprint_m (corners
    x, y), height_m and base_m; the uppermost roof_height_m of it can be a roof, which falls towards
    roof_turn_deg, clockwise from the scene's Y (None: across its longer side). ridge: a skyline as seen from
    the rail's start, skyline_deg (bearing, altitude) pairs at distance_m. `lights` says whether
    windows or lamps come on at dusk; None lets the role decide. keep_out marks
    what nobody may stand on: a neighbour's ground, a railway. Blocks with the same part_of are one thing: the
    bar and posts of a railing, a row of houses. moves says what moves on a block while the shutter is open:
    people on a square, traffic on a road; None takes water for moving and all else for still. A tidal block
    of water rises and falls with site.tides. floods_at_m is the height of the tide, as the table counts
    it, at
    which a path is under water.
    """

    name: str = _text(default="")
    role: str = _choice(ROLES)
    shape: str = _choice(SHAPES)
    centre_m: Vector | None = _points(3, 1e6, "metres")
    size_m: Vector | None = _points(3, 1e6, "metres")
    turn_deg: float = _number(-360, 360, "degrees", default=0.0)
    footprint_m: tuple[Point, ...] | None = _points(2, 1e6, "metres", many=True)
    height_m: float | None = _number(
        0, 1e5, "metres", default=None, optional=True, above=True, least=THINNEST_M
    )
    base_m: float = _number(-1e5, 1e5, "metres", default=0.0)
    roof: str = _choice(ROOFS, default="flat")
    roof_height_m: float | None = _number(
        0, 1e5, "metres", default=None, optional=True, above=True, least=THINNEST_M
    )
    roof_turn_deg: float | None = _number(-360, 360, "degrees", default=None, optional=True)
    heights_m: tuple[tuple[float, ...], ...] | None = _grid(MOST_HEIGHTS, 0.0, 1e5, "metres")
    distance_m: float | None = _number(0, 1e6, "metres", default=None, optional=True, above=True, least=0.01)
    skyline_deg: tuple[Point, ...] | None = _points(2, 1080, "degrees", many=True)
    lights: bool | None = field(default=None)
    keep_out: bool = field(default=False)
    part_of: str = _text(default="")
    moves: str | None = field(default=None, metadata={"schema": {"enum": [*MOVERS, None]}})
    tidal: bool = field(default=False)
    floods_at_m: float | None = _number(-20, 20, "metres", default=None, optional=True)

    @lights.validator
    def _is_bool_or_none(self, _attribute: Any, value: Any) -> None:
        if value is not None and not isinstance(value, bool):
            raise PlanError("lights", value, "is neither true nor false")

    @moves.validator
    def _moves_as_known(self, _attribute: Any, value: Any) -> None:
        if value is not None and value not in MOVERS:
            raise PlanError("moves", value, "is not known; use one of: {known}", known=", ".join(MOVERS))

    @keep_out.validator
    @tidal.validator
    def _is_bool(self, attribute: Any, value: Any) -> None:
        if not isinstance(value, bool):
            raise PlanError(attribute.name, value, "is neither true nor false")

    def __attrs_post_init__(self) -> None:
        if self.tidal and (self.role != "water" or self.shape in ("ridge", "terrain")):
            raise PlanError("tidal", True, "is for blocks of the role water; leave it out here")
        needed = {
            "prism": ("footprint_m", "height_m"),
            "ridge": ("distance_m", "skyline_deg"),
            "terrain": ("centre_m", "size_m", "heights_m"),
        }
        for name in needed.get(self.shape, ("centre_m", "size_m")):
            if getattr(self, name) is None:
                raise PlanError(name, MISSING, "a {shape} needs it", shape=self.shape)
        if self.size_m is not None:
            for index, extent in enumerate(self.size_m):
                if extent <= 0:
                    raise PlanError(f"size_m[{index}]", extent, "is not above 0 metres")
                if extent < THINNEST_M:
                    raise PlanError(
                        f"size_m[{index}]",
                        extent,
                        "is too small; give {least:g} metres or more",
                        least=THINNEST_M,
                    )
        if self.shape == "prism" and (self.footprint_m is None or len(set(self.footprint_m)) < 3):
            raise PlanError("footprint_m", self.footprint_m, "needs three or more different corners")
        if self.shape == "ridge":
            self._check_skyline()
        self._check_roof()
        self._check_heights()

    def _check_roof(self) -> None:
        if self.roof == "flat":
            return
        if self.shape != "prism":
            raise PlanError("roof", self.roof, "is for a prism; leave it out here")
        if self.roof_height_m is None:
            raise PlanError("roof_height_m", MISSING, "a {roof} roof needs it", roof=self.roof)
        if self.roof_height_m > (self.height_m or 0.0):
            raise PlanError(
                "roof_height_m",
                self.roof_height_m,
                "is more than height_m, {height:g}",
                height=self.height_m,
            )

    def _check_heights(self) -> None:
        if self.shape != "terrain" or self.heights_m is None or self.size_m is None:
            return
        for index, row in enumerate(self.heights_m):
            if max(row) > self.size_m[2] + THINNEST_M:
                raise PlanError(
                    f"heights_m[{index}]",
                    max(row),
                    "is higher than the block's {height:g}",
                    height=self.size_m[2],
                )

    def _check_skyline(self) -> None:
        skyline = self.skyline_deg or ()
        if len(skyline) < 2:
            raise PlanError("skyline_deg", self.skyline_deg, "needs two or more [bearing, altitude] pairs")
        for index, ((before, _), (after, _)) in enumerate(pairwise(skyline), start=1):
            if after <= before:
                raise PlanError(
                    f"skyline_deg[{index}][0]",
                    after,
                    "must be above the bearing before it ({before:g})",
                    before=before,
                )
        for index, (_, altitude) in enumerate(skyline):
            if not -STEEPEST_DEG <= altitude <= STEEPEST_DEG:
                raise PlanError(
                    f"skyline_deg[{index}][1]", altitude, "is not an altitude from -89 to 89 degrees"
                )


@frozen(kw_only=True)
class Pin:
    """A point in a photograph, in its pixels from the top left, and what it is.

    It is the corner of a block (top and foot are the middles of either; numbers count the block's corners
    from 1), or a bearing and an altitude, or the disc of sun or moon when the photograph was taken.
    """

    x_px: float = _number(-200_000, 400_000, "pixels")
    y_px: float = _number(-200_000, 400_000, "pixels")
    block: str = _text(default="")
    corner: str = _text(default="top")
    bearing_deg: float | None = _number(-360, 360, "degrees", default=None, optional=True)
    altitude_deg: float | None = _number(-90, 90, "degrees", default=None, optional=True)
    disc: str = _choice(PIN_DISCS, default="")

    def __attrs_post_init__(self) -> None:
        is_direction = self.bearing_deg is not None and self.altitude_deg is not None
        if (self.bearing_deg is None) != (self.altitude_deg is None):
            name = "bearing_deg" if self.bearing_deg is None else "altitude_deg"
            raise PlanError(name, MISSING, "a direction has a bearing and an altitude")
        if bool(self.block) + bool(self.disc) + is_direction != 1:
            raise PlanError(
                "",
                MISSING,
                'say what is pinned: a "block", a "disc", or a bearing and an altitude; one of them',
            )
        if not re.fullmatch(CORNERS, self.corner):
            raise PlanError("corner", self.corner, "is not a corner; write top, foot, or its number from 1")


@frozen(kw_only=True)
class Photo:
    """A photograph of the place, by its file's name: where it was taken from and how it was aimed.

    fov_deg is the horizontal field of view of the upright picture, roll_deg how far the camera leaned to the
    right. projection is that of a panorama where it is one. The picture itself is never needed.
    """

    file: str = _text()
    width_px: int = _number(16, 200_000, "pixels", whole=True)
    height_px: int = _number(16, 200_000, "pixels", whole=True)
    place_m: Vector = _points(3, 1e5, "metres", optional=False)
    bearing_deg: float = _number(-360, 360, "degrees")
    altitude_deg: float = _number(-90, 90, "degrees", default=0.0)
    roll_deg: float = _number(-180, 180, "degrees", default=0.0)
    fov_deg: float = _number(0.2, 360, "degrees")
    projection: str = _choice(PROJECTIONS, default="flat")
    taken: dt.datetime | None = field(default=None)
    pins: tuple[Pin, ...] = ()

    @taken.validator
    def _is_time(self, _attribute: Any, value: Any) -> None:
        if value is not None and not isinstance(value, dt.datetime):
            raise PlanError("taken", value, "is not a local time; write it as 2027-03-14T17:20:00")
        if value is not None:
            _possible_year("taken", value.year, value.isoformat())

    def __attrs_post_init__(self) -> None:
        if self.projection == "flat" and self.fov_deg > WIDEST_FLAT_DEG:
            raise PlanError(
                "fov_deg", self.fov_deg, "is wider than a lens that keeps lines straight sees; a cylinder?"
            )


@frozen(kw_only=True)
class Plan:
    """Everything that was decided for one evening. Change it with attrs.evolve.

    schema is what the file names as its JSON Schema, for editors; it is kept and decides nothing.
    """

    schema: str = field(default="")
    title: str = _text(default="")
    reason: str = _text(default="")
    notes: Any = _notes()
    site: Site
    camera: Camera
    clip: Clip
    rig: Rig
    move: Move
    shoot: Shoot
    exposure: Exposure | None = None
    composition: Composition | None = None
    blocks: tuple[Block, ...] = ()
    photos: tuple[Photo, ...] = ()

    @schema.validator
    def _is_text(self, _attribute: Any, value: Any) -> None:
        if not isinstance(value, str):
            raise PlanError("$schema", value, "is not text; write it in double quotes")
        _check_writable("$schema", value)

    def __attrs_post_init__(self) -> None:
        self._check_axes()

    def _check_axes(self) -> None:
        """A pose may not ask for an axis the rig lacks.

        A head without a pan or tilt motor still points somewhere: the same value in every pose says where.
        """
        for name, part in (("slide_m", "slide"), ("pan_deg", "pan"), ("tilt_deg", "tilt")):
            if getattr(self.rig, part) is not None:
                continue
            values = [getattr(pose, name) for pose in self.move.poses]
            if part != "slide" and len(set(values)) == 1:
                continue
            instead = (
                "asks for an axis that the rig lacks; leave it out, or describe {field}"
                if part == "slide"
                else "asks for an axis that the rig lacks; leave it out, or give every pose the same value, "
                "or "
                "describe {field}"
            )
            for index, value in enumerate(values):
                if value is not None and (part == "slide" or value != values[0] or None in values):
                    raise PlanError(
                        f"move.poses[{index}].{name}",
                        value,
                        instead,
                        field=f"rig.{part}",
                    )

    @property
    def zone(self) -> zoneinfo.ZoneInfo:
        return zoneinfo.ZoneInfo(self.site.timezone)

    @property
    def duration_s(self) -> float:
        """From the first frame's start to the last one's, in seconds."""
        return (self.shoot.frames - 1) * self.shoot.interval_s
