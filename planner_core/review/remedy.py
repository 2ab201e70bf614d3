"""What would put a finding right: fields of the plan to set, what that costs, and how it is said."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from attrs import frozen

from planner_core.light.exposure import f_number_label, shutter_label
from planner_core.picture.pose_repair import step_text
from planner_core.review.words.in_short import in_short
from planner_core.words.durations import duration_text
from planner_core.words.figures import figure

UNITS = {"_s": " s", "_m": " m", "_mm": " mm", "_deg": "°", "_px": " px", "_stops": " stops"}
STARTS = ("shoot.anchor", "shoot.start")
TENTHS_FROM_S = 0.3  # as cameras show them
TOLD = 3  # remedies that a sentence names; the others are in the JSON


@frozen
class Quantity:
    """A fact with a name: a number with its unit, or a word such as a block's or an event's name."""

    name: str
    value: Any
    unit: str = ""


def facts(**given: Any) -> tuple[Quantity, ...]:
    """Quantities by name: `facts(needed=(10.5, "s"), worst_frame=12)`."""
    return tuple(
        Quantity(name, *pair)
        if isinstance(pair, tuple) and len(pair) == 2 and isinstance(pair[1], str)
        else Quantity(name, pair)
        for name, pair in given.items()
    )


class Names:
    """How a reader calls the plan's fields: here as the plan file does. Blender's sidebar has its own."""

    def field(self, path: str) -> str:
        """A field's name inside a sentence: `shoot.interval_s`."""
        return path

    def aside(self, path: str) -> str:
        """A field's name behind a word that says it already: ` (exposure.iso_max)`."""
        return f" ({self.field(path)})"

    def fit(self, kind: str) -> str:
        """How a fit is asked for: travel, compose, all …"""
        return f"fit --{kind}"

    def fraction(self, value: float) -> str:
        """A place in the move, 0 to 1."""
        return figure(value)

    def choice(self, _path: str, value: str) -> str:
        """One of a field's options: `shutter-first`."""
        return value


PLAN_FILE = Names()


@frozen(kw_only=True)
class Remedy:
    """Something to set: the plan's fields by path with their new values, and what it costs.

    A value of None empties an optional field; an anchor or start may be replaced whole. about holds what its
    words need beside the values: a `step` of a pose, or the `start` and the one it `was`.
    """

    changes: Mapping[str, Any]
    cost: tuple[Quantity, ...] = ()
    about: tuple[Quantity, ...] = ()

    def fact(self, name: str) -> Any:
        """The value of one of the facts that its words need; None where it has none of that name."""
        return next((quantity.value for quantity in self.about if quantity.name == name), None)


# ---------------------------------------------------------------- words


def remedy_text(remedy: Remedy, names: Names = PLAN_FILE) -> str:
    """What to set, and what it costs: `Set shoot.interval_s to 11 s (the shoot gets 20 min longer).`"""
    return _sentence(_phrase(remedy, names))


def remedies_text(remedies: Sequence[Remedy], names: Names = PLAN_FILE) -> str:
    """The first few remedies as one sentence, the one to take first."""
    return _sentence("; or ".join(_phrase(remedy, names) for remedy in remedies[:TOLD]))


def cost_text(cost: Sequence[Quantity]) -> str:
    """What a remedy costs, with commas between; empty where it costs nothing that is counted."""
    return ", ".join(_COSTS[quantity.name](quantity.value) for quantity in cost if quantity.name in _COSTS)


def _sentence(phrase: str) -> str:
    return f"{phrase[:1].upper()}{phrase[1:]}."


def _phrase(remedy: Remedy, names: Names) -> str:
    cost = cost_text(remedy.cost)
    return f"{_deed(remedy, names)} ({cost})" if cost else _deed(remedy, names)


def _deed(remedy: Remedy, names: Names) -> str:
    step, calm = remedy.fact("step"), remedy.fact("calm")
    if step is not None:
        text = step_text(step).removesuffix(".")
        return text[:1].lower() + text[1:]
    if remedy.fact("start") is not None:
        rest = {path: value for path, value in remedy.changes.items() if not path.startswith(STARTS)}
        return _start(remedy, names) + (f" and {_settings(rest, names)}" if rest else "")
    if calm is not None:
        return _narrower(remedy)
    if remedy.fact("aim") is not None:
        return _aim(remedy)
    if remedy.fact("focus") is not None:
        return _focus(remedy)
    return _settings(remedy.changes, names)


def _settings(changes: Mapping[str, Any], names: Names) -> str:
    if all(value is None for value in changes.values()):
        return f"leave out {_listed([names.field(path) for path in changes])}"
    parts = [f"{names.field(path)} to {_value_text(path, value, names)}" for path, value in changes.items()]
    return f"set {_listed(parts)}"


def _start(remedy: Remedy, names: Names) -> str:
    said = f"start at {remedy.fact('start')} instead of {remedy.fact('was_start')}"
    at = remedy.changes.get("shoot.anchor.at")
    if at is None:
        return said
    was = names.fraction(remedy.fact("was_at"))
    return f"{said} ({names.field('shoot.anchor.at')} {names.fraction(at)} instead of {was})"


def _aim(remedy: Remedy) -> str:
    """'turn the lens to “beacon”: pose 1 pan 271.5°, tilt 2°; pose 3 pan 280°'"""
    poses: dict[int, list[str]] = {}
    for path, value in remedy.changes.items():
        index, _, axis = path.removeprefix("move.poses[").partition("].")
        poses.setdefault(int(index), []).append(f"{axis.removesuffix('_deg')} {value:g}°")
    told = "; ".join(f"pose {index + 1} {', '.join(values)}" for index, values in sorted(poses.items()))
    return f"turn the lens to “{remedy.fact('aim')}”: {told}"


def _focus(remedy: Remedy) -> str:
    stopped, far = remedy.changes.get("exposure.f_number"), remedy.fact("sharp_to")
    which = ", the hyperfocal distance" if remedy.fact("hyperfocal") else ""
    stop = "" if stopped is None else f" and stop down to {f_number_label(stopped)}"
    reach = "to infinity" if far is None else f"to {figure(far)} m"
    near = figure(remedy.fact("sharp_from"), 2)
    return f"focus at {remedy.fact('focus'):g} m{which}{stop}: sharp from {near} m {reach}"


def _narrower(remedy: Remedy) -> str:
    axis, unit = remedy.fact("axis"), UNITS["_m" if remedy.fact("axis") == "slide_m" else "_deg"]
    does = {"slide_m": "slide", "pan_deg": "pan by", "tilt_deg": "tilt by"}[axis]
    values = ", ".join(f"{value:g}" for value in remedy.changes.values())
    return (
        f"{does} {figure(remedy.fact('calm'))}{unit} instead of {figure(remedy.fact('now'))}{unit}, about "
        f"the same middle (poses at {values}{unit})"
    )


def _listed(parts: Sequence[str]) -> str:
    return " and ".join([", ".join(parts[:-1]), parts[-1]] if len(parts) > 1 else parts)


def _value_text(path: str, value: Any, names: Names) -> str:
    if value is None:
        return "nothing"
    if isinstance(value, Mapping):
        return ", ".join(
            f"{name} {_value_text(f'{path}.{name}', item, names)}" for name, item in value.items()
        )
    if not isinstance(value, (int, float)):
        return f"“{value}”" if path == "composition.subject" else names.choice(path, str(value))
    if path.endswith(".at"):
        return names.fraction(float(value))
    if path.startswith("exposure.shutter_"):
        return (
            f"{value:g} s"
            if value >= TENTHS_FROM_S and round(value, 1) == value
            else shutter_label(float(value))
        )
    if path == "exposure.f_number":
        return f_number_label(float(value))
    ending = next((unit for suffix, unit in UNITS.items() if path.endswith(suffix)), "")
    return f"{value:g}{ending.removesuffix('s') if ending == ' stops' and abs(value) == 1.0 else ending}"


_COSTS = {
    "longer_shoot": lambda s: f"the shoot gets {duration_text(s)} longer",
    "shorter_shoot": lambda s: f"the shoot gets {duration_text(s)} shorter",
    "longer_clip": lambda s: f"the clip gets {s:.1f} s longer",
    "shorter_clip": lambda s: f"the clip gets {s:.1f} s shorter",
    "less_light": lambda stops: f"{stops:.1f} stops less light",
    "more_iso": lambda iso: f"up to ISO {figure(iso)}",
    "brings": lambda codes: f"brings {_listed([in_short(code) for code in codes])}",
    "darker": lambda stops: f"frames up to {stops:.1f} stops darker",
    "brighter": lambda stops: f"frames up to {stops:.1f} stops brighter",
    "less_travel": lambda m: f"{figure(m, 2)} m less travel",
    "more_travel": lambda m: f"{figure(m, 2)} m more travel",
}
