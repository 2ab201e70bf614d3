"""What is drawn over Blender's editors is made of: colours, rectangles, text. Nothing here knows a plan."""

from __future__ import annotations

from typing import Any

import blf
import bpy
import gpu
from gpu_extras.batch import batch_for_shader

Colour = tuple[float, float, float, float]

# day, civil, nautical and astronomical twilight, night
PHASE_COLOURS: tuple[Colour, ...] = (
    (0.95, 0.80, 0.42, 1.0),
    (0.93, 0.52, 0.36, 1.0),
    (0.62, 0.44, 0.68, 1.0),
    (0.36, 0.40, 0.70, 1.0),
    (0.24, 0.28, 0.48, 1.0),
)
TEXT_SHADE: Colour = (0.0, 0.0, 0.0, 0.75)
LEVEL_COLOURS: dict[str, Colour] = {
    "stop": (0.95, 0.36, 0.30, 1.0),
    "warn": (0.98, 0.78, 0.30, 1.0),
    "note": (0.55, 0.75, 0.95, 1.0),
}

AS_SHOT_COLOUR: Colour = (1.0, 0.64, 0.35, 1.0)  # of what was shot, beside the plan's own


def ui_scale() -> float:
    """How much larger than usual the interface is drawn."""
    preferences: Any = bpy.context.preferences
    return float(preferences.system.ui_scale) or 1.0  # 0 where there is no window


def fill(x0: float, y0: float, x1: float, y1: float, colour: Colour) -> None:
    """A filled rectangle of a region."""
    if x1 <= x0 or y1 <= y0:
        return
    shader = gpu.shader.from_builtin("UNIFORM_COLOR")
    gpu.state.blend_set("ALPHA")
    shader.bind()
    shader.uniform_float("color", colour)
    corners = [(x0, y0), (x1, y0), (x1, y1), (x0, y1)]
    batch_for_shader(shader, "TRIS", {"pos": [corners[i] for i in (0, 1, 2, 0, 2, 3)]}).draw(shader)
    gpu.state.blend_set("NONE")


def write(font: int, text: str, x: float, y: float, colour: Colour) -> None:
    """A line of text with a dark edge, so that it reads on a bright sky too."""
    blf.enable(font, blf.SHADOW)
    blf.shadow(font, 3, *TEXT_SHADE)
    blf.shadow_offset(font, 1, -1)
    blf.color(font, *colour)
    blf.position(font, x, y, 0.0)
    blf.draw(font, text)
    blf.disable(font, blf.SHADOW)


def text_width(font: int, text: str, size: float) -> float:
    """Width of a line of text in pixels; sets the size."""
    blf.size(font, size)
    return float(blf.dimensions(font, text)[0])
