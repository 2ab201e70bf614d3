"""What blocks are made of in a draft picture: plain colours that read as a place, and how much they reflect.

Colours are linear RGB; their luminance is the surface's albedo.
"""

from __future__ import annotations

import colorsys
import zlib
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from planner_core.place.blocking import block_label, remembered
from planner_core.place.draft_shapes import drawn_colour
from planner_core.plan.model import Plan

# hue 0..1, saturation, albedo: draft colours that read as a place. Ours.
ROLE_COLOURS = {
    "subject": (0.075, 0.42, 0.42),
    "foreground": (0.09, 0.30, 0.20),
    "background": (0.08, 0.14, 0.30),
    "ground": (0.13, 0.28, 0.17),
    "water": (0.55, 0.60, 0.035),
}
RIDGE_COLOUR = (0.30, 0.30, 0.11)
FIGURE_COLOURS = ((0.62, 0.45, 0.10), (0.02, 0.50, 0.14), (0.12, 0.25, 0.22), (0.45, 0.30, 0.08))
LUMINANCE_RGB = (0.2126, 0.7152, 0.0722)  # of linear sRGB, IEC 61966-2-1


def block_colour(plan: Plan, index: int) -> tuple[float, float, float]:
    """A block's draft colour: its role's, or that of the crown or trunk it is drawn as; a little lighter,
    darker or warmer by its name.
    """
    block = plan.blocks[index]
    luck = zlib.crc32(block_label(plan, index).encode())
    if block.shape == "figure":
        hue, saturation, albedo = FIGURE_COLOURS[luck % len(FIGURE_COLOURS)]
    else:
        of_role = RIDGE_COLOUR if block.shape == "ridge" else ROLE_COLOURS[block.role]
        hue, saturation, albedo = drawn_colour(plan, block) or of_role
    return _varied(hue, saturation, albedo, luck % 97, luck // 97 % 89)


@lru_cache(maxsize=8192)
def _varied(
    hue: float, saturation: float, albedo: float, lightness: int, warmth: int
) -> tuple[float, float, float]:
    """A colour a little lighter or darker, of 97 steps, and warmer or colder, of 89."""
    lighter, warmer = lightness / 96.0 - 0.5, warmth / 88.0 - 0.5
    red, green, blue = colorsys.hsv_to_rgb((hue + 0.03 * warmer) % 1.0, saturation, 1.0)
    scale = albedo * (1.0 + 0.5 * lighter) / luminance((red, green, blue))
    return red * scale, green * scale, blue * scale


def level_ground_colour() -> tuple[float, float, float]:
    """The colour of the level ground that reaches to the horizon."""
    hue, saturation, albedo = ROLE_COLOURS["ground"]
    red, green, blue = colorsys.hsv_to_rgb(hue, saturation, 1.0)
    return albedo * red, albedo * green, albedo * blue


@lru_cache(maxsize=8192)
def luminance(rgb: tuple[float, float, float]) -> float:
    """Luminance of a linear colour; of a surface's, its albedo."""
    return sum(weight * part for weight, part in zip(LUMINANCE_RGB, rgb, strict=True))


@remembered
def block_albedos(plan: Plan) -> NDArray[np.float64]:
    """How much light each block's surface sends back, shape (blocks,)."""
    return np.array([luminance(block_colour(plan, index)) for index in range(len(plan.blocks))])
