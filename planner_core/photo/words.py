"""What is said of a photograph after its pins were solved, and of how far the blocks are from it."""

from __future__ import annotations

from collections.abc import Sequence

from planner_core.photo.check import PinCheck, pin_label
from planner_core.photo.solve import Solved
from planner_core.plan.text import one_line


def solved_lines(solved: Solved) -> list[str]:
    """Where the photograph was taken from and how it was aimed, a sentence a line."""
    photo, sure = solved.photo, solved.certainty
    x, y, z = photo.place_m
    spread = _spread(sure.place_m) if sure.place_m else ""
    lines = [
        f"{one_line(photo.file)} looks toward {_value(photo.bearing_deg, sure.bearing_deg, 2)}, "
        f"{_value(photo.altitude_deg, sure.altitude_deg, 2)} up and "
        f"leaning {_value(photo.roll_deg, sure.roll_deg, 2)}; the picture is "
        f"{_value(photo.fov_deg, sure.fov_deg, 1)} wide.",
        f"It was taken from {x:.1f}, {y:.1f}, {z:.1f} m{spread}.",
    ]
    if solved.residual_px:
        lines.append(f"{_pins(len(solved.residual_px))} to within {solved.rms_px:.1f} px (root mean square).")
    if solved.kept_place_m is not None:
        lines.append("The pins can't tell surely where it was taken, so the place stays as it was given.")
    if solved.off is not None:
        label = one_line(pin_label(photo.pins[solved.off]))
        lines.append(
            f"Pin {solved.off + 1} ({label}) is off by {solved.off_px:.0f} px "
            "from what all the others say: check it again."
        )
    return lines


def check_lines(checks: Sequence[PinCheck]) -> list[str]:
    """How far each pinned thing is from where the photograph has it, a line a pin."""
    return [
        f"{one_line(one.photo)}, pin {one.number + 1} ({one_line(pin_label(one.pin))}): "
        f"{one.off_px:.1f} px or {one.off_deg:.2f}° off; in the plan it is {_side(one.bearing_off_deg)} and "
        f"{_rise(one.altitude_off_deg)}."
        for one in checks
    ]


def _side(degrees: float) -> str:
    return f"{abs(degrees):.2f}° too far {'right' if degrees > 0.0 else 'left'}"


def _rise(degrees: float) -> str:
    return f"{abs(degrees):.2f}° too {'high' if degrees > 0.0 else 'low'}"


def _pins(count: int) -> str:
    return "One pin fits" if count == 1 else f"{count} pins fit"


def _value(value: float, spread: float | None, digits: int) -> str:
    certain = "" if spread is None or spread == float("inf") else f" ± {spread:.{digits}f}°"
    return f"{value:.{digits}f}°{certain}"


def _spread(place_m: tuple[float, float, float]) -> str:
    return " (± " + ", ".join(f"{value:.2f}" for value in place_m) + " m)"
