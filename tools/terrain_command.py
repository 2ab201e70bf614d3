"""The terrain verb: the land of elevation grids into a plan."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any

import numpy as np

from planner_core.plan.file import load_plan, save_plan

from .files import say
from .outcome import DONE
from .terminal import json_text

if TYPE_CHECKING:
    from planner_core.terrain.land import Landed


def run_terrain(arguments: argparse.Namespace) -> int:
    """Add the land to a plan, and say what it is like."""
    from planner_core.terrain.grids import load_grids
    from planner_core.terrain.land import with_land

    plan = load_plan(arguments.plan)
    landed = with_land(plan, load_grids(arguments.sources), near_m=arguments.near, zero_m=arguments.zero)
    save_plan(landed.plan, arguments.output)
    if arguments.json:
        say(json_text(_as_dict(landed)), arguments.output)
    else:
        said = [f"{sentence}." for sentence in landed.said]
        say("\n".join((*said, f"Written to {arguments.output}.")), arguments.output)
    return DONE


def _as_dict(landed: Landed) -> dict[str, Any]:
    seen = landed.horizon
    met = seen.altitude_deg > -90.0
    return {
        "said": [f"{sentence}." for sentence in landed.said],
        "horizon": [
            {"bearing_deg": float(a), "altitude_deg": float(b), "distance_m": float(c)}
            for a, b, c in np.column_stack([seen.bearing_deg, seen.altitude_deg, seen.distance_m])[met]
        ],
        "unknown_share": float(seen.unknown.mean()),
    }
