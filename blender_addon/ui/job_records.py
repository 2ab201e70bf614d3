"""What passes between the window and a process in the background: records, written and read here as JSON.

One file describes the job; a second one gets a line for every `Said`. The core's plans travel as their text.
"""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any, TypeVar

import attrs
import numpy as np
from attrs import field, frozen
from attrs.converters import optional
from numpy.typing import NDArray

from planner_core.words.language import Language

from ..render.progress import Progress

CLIP, STILLS = "clip", "stills"
SPOTS, EVENINGS, SUBJECTS = "SPOTS", "EVENINGS", "SUBJECTS"

Array = NDArray[np.float64]
Record = TypeVar("Record")


# ---------------------------------------------------------------- as JSON


def plain(record: Any) -> dict[str, Any]:
    """A record as plain values for JSON."""
    return attrs.asdict(record, value_serializer=_plain_value)


def _plain_value(_record: Any, _field: Any, value: Any) -> Any:
    if isinstance(value, np.ndarray):
        return value.tolist()
    if isinstance(value, dt.date):
        return value.isoformat()
    return str(value) if isinstance(value, Path) else value


def read(kind: type[Record], values: Mapping[str, Any]) -> Record:
    """The record of a kind that plain values stand for. Raises TypeError where it has no such field."""
    return kind(**values)


def line(said: Said) -> str:
    """What is said, as a line of JSON."""
    return json.dumps(plain(said)) + "\n"


def _of(kind: type[Record], value: Any) -> Record:
    """A record, given as it is or as plain values."""
    return value if isinstance(value, kind) else kind(**value)


def _language(value: Any) -> Language:
    return _of(Language, value)


def _progress(value: Any) -> Progress:
    return _of(Progress, value)


def _failure(value: Any) -> Failure:
    return _of(Failure, value)


def _finds(values: Iterable[Any]) -> tuple[ShownFind, ...]:
    return tuple(_of(ShownFind, value) for value in values)


def _evenings(values: Iterable[Any]) -> tuple[ShownEvening, ...]:
    return tuple(_of(ShownEvening, value) for value in values)


def _labelled(values: Iterable[tuple[int, str]]) -> tuple[tuple[int, str], ...]:
    return tuple((number, label) for number, label in values)


def _days(values: Iterable[str | dt.date]) -> tuple[dt.date, ...]:
    return tuple(_day(value) for value in values)


def _tuple(values: Iterable[Any]) -> tuple[Any, ...]:
    return tuple(values)


def _day(value: str | dt.date) -> dt.date:
    return value if isinstance(value, dt.date) else dt.date.fromisoformat(value)


def _places(values: Any) -> Array:
    return _array(values).reshape(-1, 3)


def _array(values: Any) -> Array:
    return np.asarray(values, dtype=np.float64)


# ---------------------------------------------------------------- any job


@frozen(kw_only=True)
class JobFile:
    """A job as the other process finds it: the module of `ui` that does it, its task, the plan's text, where
    to say how it goes, and in which language.
    """

    work: str
    task: dict[str, Any]  # the work's own record, not read yet
    plan: str
    said: Path = field(converter=Path)
    language: Language = field(converter=_language)


@frozen(kw_only=True)
class Failure:
    """Why nothing came of it; field is what of the task it is about, or empty."""

    problem: str
    field: str = ""


@frozen(kw_only=True)
class Said:
    """A line that the other process writes, with one of these: how far it is, what there is to see meanwhile,
    what came of it, or why nothing did.
    """

    progress: Progress | None = field(default=None, converter=optional(_progress))
    meanwhile: dict[str, Any] | None = None  # a record of the work's own, as is done
    done: dict[str, Any] | None = None
    failed: Failure | None = field(default=None, converter=optional(_failure))


# ---------------------------------------------------------------- the draft clip


@frozen(kw_only=True)
class PreviewTask:
    """A clip to draw, or stills side by side: `render.request.PreviewRequest` with what is made beside it.

    beside is the text of a second plan; contact is where a contact sheet goes; shown are the frames of
    contact sheet or stills, with their labels.
    """

    make: str = CLIP
    output: Path = field(converter=Path)
    look: str
    frame_range: tuple[int, int] | None = field(default=None, converter=optional(_tuple))
    every: int = 1
    jobs: int | None = None
    size: tuple[int, int] | None = field(default=None, converter=optional(_tuple))
    title: bool = False
    burn_in: bool = False
    beside: str | None = None
    contact: Path | None = field(default=None, converter=optional(Path))
    shown: tuple[tuple[int, str], ...] = field(default=(), converter=_labelled)


@frozen(kw_only=True)
class Drawn:
    """What was made: how many frames, of which kept ones were there before, and of a clip also its size in
    words and what drew it.
    """

    make: str
    output: Path = field(converter=Path)
    frames: int
    kept: int = 0
    size: str = ""
    engine: str = ""


# ---------------------------------------------------------------- the search for a shot


@frozen(kw_only=True)
class ScoutTask:
    """A search: what for, over which area (from x, y to x, y; all walkable ground if None), with how many
    reviews, and for how many finds; for one over evenings, from which date to which.
    """

    what: str
    area: tuple[float, float, float, float] | None = field(default=None, converter=optional(_tuple))
    reviews: int
    top: int
    first: str = ""
    last: str = ""


@frozen(kw_only=True, eq=False)
class ShownFind:
    """A find: what is told of it, where it stands (x, y, z), its first and last camera (2, 3) with their
    turns (2, 3, 3), and its plan's text. subject and best_evenings are there where these were searched.
    """

    name: str
    in_short: str
    points: float
    reason: str
    costs: tuple[str, ...] = field(converter=_tuple)
    to_check: tuple[str, ...] = field(converter=_tuple)
    place_m: tuple[float, float, float] = field(converter=_tuple)
    cameras_m: Array = field(converter=_array)
    turns: Array = field(converter=_array)
    plan: str
    subject: str = ""
    best_evenings: tuple[dt.date, ...] = field(default=(), converter=_days)


@frozen(kw_only=True)
class ShownEvening:
    """An evening with its best find, counted from 0, and that one's points; best is None where none can be
    shot.
    """

    date: dt.date = field(converter=_day)
    best: int | None
    points: float = 0.0


@frozen(kw_only=True, eq=False)
class Shown:
    """What there is to see of a search: places (n, 3) in the scene, what each is worth (n,), and finds.

    evenings are those of a search over dates; without counts the dates that have no such event.
    """

    places_m: Array = field(default=(), converter=_places)
    worth: Array = field(default=(), converter=_array)
    cell_m: float = 1.0
    planned: float
    remark: str
    finds: tuple[ShownFind, ...] = field(converter=_finds)
    evenings: tuple[ShownEvening, ...] = field(default=(), converter=_evenings)
    without: int = 0
