"""Roofs on prisms: each the space under a few slanted planes, over the prism's footprint.

So a roof needs no corners of its own: a convex piece of the footprint under the planes is a convex solid.
Planes are rows (a, b, c, d) with unit (a, b, c): a·x + b·y + c·z ≤ d holds under them.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from planner_core.maths.convex import hull, smallest_rectangle
from planner_core.plan.model import Block

Array = NDArray[np.float64]

DOME_STEPS = (1.0, 0.92, 0.75, 0.45, 0.0)  # of the radius, between which a dome's side is straight
MOST_SIDES = 16  # of a pyramid or dome


def roof_planes(block: Block) -> Array:
    """The planes (k, 4) of a prism's roof in the scene; none for a flat one."""
    if block.shape != "prism" or block.roof == "flat" or block.roof_height_m is None:
        return np.zeros((0, 4))
    outline = np.asarray(block.footprint_m, dtype=np.float64)
    top, rise = block.base_m + float(block.height_m or 0.0), block.roof_height_m
    if block.roof in ("pyramidal", "dome"):
        return _around(outline, top, rise, DOME_STEPS if block.roof == "dome" else (1.0, 0.0))
    falls = fall_direction(block)
    along = np.array([falls[1], -falls[0]])
    middle, half = _reach(outline, falls)
    if block.roof == "skillion":
        return _plane(falls, middle - half, top, rise / (2.0 * half))
    sides = [_plane(sign * falls, sign * middle, top, rise / half) for sign in (1.0, -1.0)]
    if block.roof == "hipped":
        end, length = _reach(outline, along)
        flat = max(length - half, 0.0)
        slope = rise / (length - flat)
        sides += [_plane(sign * along, sign * end + flat, top, slope) for sign in (1.0, -1.0)]
    return np.concatenate(sides)


def fall_direction(block: Block) -> Array:
    """The way that a roof falls, a unit vector (2,) in the scene: across its longer side unless it says."""
    if block.roof_turn_deg is not None:
        turn = np.radians(block.roof_turn_deg)
        return np.array([np.sin(turn), np.cos(turn)])
    _, half, turn = smallest_rectangle(np.asarray(block.footprint_m, dtype=np.float64))
    axes = np.array([(np.cos(turn), -np.sin(turn)), (np.sin(turn), np.cos(turn))])
    return np.asarray(axes[0] if half[0] < half[1] else axes[1])


def ridge_lines(block: Block) -> list[Array]:
    """A roof's ridge as seen from above, pairs of points (2, 2), for a drawing; none where it has none."""
    if block.roof not in ("gabled", "hipped") or block.shape != "prism":
        return []
    outline = np.asarray(block.footprint_m, dtype=np.float64)
    falls = fall_direction(block)
    along = np.array([falls[1], -falls[0]])
    (across, half), (end, length) = _reach(outline, falls), _reach(outline, along)
    reach = length if block.roof == "gabled" else max(length - half, 0.0)
    ends = np.array([end - reach, end + reach])
    return [across * falls + ends[:, None] * along]


def _reach(outline: Array, axis: Array) -> tuple[float, float]:
    """The middle of an outline along an axis, and how far it reaches to either side."""
    along = outline @ axis
    low, high = float(along.min()), float(along.max())
    return (low + high) / 2.0, max((high - low) / 2.0, 1e-6)


def _plane(away: Array, begins: float, top: float, slope: float) -> Array:
    """The plane (1, 4) at the height `top` where away · p = begins, falling with a slope from there."""
    row = np.array([slope * away[0], slope * away[1], 1.0, top + slope * begins])
    return (row / np.linalg.norm(row[:3]))[None]


def _around(outline: Array, top: float, rise: float, steps: tuple[float, ...]) -> Array:
    """Planes from every side of an outline to its middle; over each, the chords of a dome's profile."""
    ring = hull(outline)
    middle = ring.mean(axis=0)
    edges = np.roll(ring, -1, axis=0) - ring
    out = np.column_stack([edges[:, 1], -edges[:, 0]]) / np.linalg.norm(edges, axis=1, keepdims=True)
    if len(out) > MOST_SIDES:
        turn = np.arange(MOST_SIDES) * (2.0 * np.pi / MOST_SIDES)
        out = np.column_stack([np.cos(turn), np.sin(turn)])
    reach = np.maximum(((ring - middle) @ out.T).max(axis=0), 1e-6)
    planes = []
    for away, far in zip(out, reach, strict=True):
        for outer, inner in pairwise(steps):
            low, high = (_profile(step, len(steps) > 2) for step in (outer, inner))
            slope = rise * (high - low) / (far * (outer - inner))
            begins = float(away @ middle) + far * inner
            planes.append(_plane(away, begins, top - rise * (1.0 - high), slope))
    return np.concatenate(planes)


def _profile(step: float, is_round: bool) -> float:
    """Height of a roof's side, as a share of its rise, at a share of the way from its middle."""
    return float(np.sqrt(max(1.0 - step * step, 0.0))) if is_round else 1.0 - step
