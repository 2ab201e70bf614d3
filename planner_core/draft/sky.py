"""The light of the sky as a draft picture records it: every frame's, through the frame's own exposure.

Levels are those of a white matt surface in the picture, linear, with three channels: lux times the light's
tint times what the settings make of a lux. A grey card of 18 % lit by E lux and exposed by the incident
meter's EV comes out at 0.18 (ISO 2720:1974, C = 250). What light/sky.py says of lux holds for levels too.
"""

from __future__ import annotations

import attrs
import numpy as np
from attrs import frozen
from numpy.typing import NDArray

from planner_core.frames import FrameTable
from planner_core.light import daylight, exposure
from planner_core.light.sky import BRIGHTNESSES, SkyLight

Array = NDArray[np.float64]


@frozen(kw_only=True, eq=False)
class PictureLight(SkyLight):
    """A SkyLight in levels of the picture, an entry a frame; and how the picture was exposed.

    level_per_lux (frames,) is what the settings make of a lux.
    """

    settings_ev100: Array
    level_per_lux: Array


def picture_settings_ev100(frames: FrameTable) -> Array:
    """EV that each frame's settings render as metered, shape (frames,).

    A plan without exposure is taken as metered frame by frame.
    """
    plan, ramp = frames.plan, frames.ramp
    if ramp is None or plan.exposure is None:
        return frames.scene_ev100
    return exposure.settings_ev100(ramp.f_number, ramp.shutter_s, ramp.iso, plan.exposure.nd_stops)


def picture_light(frames: FrameTable) -> PictureLight:
    """The light of every frame as its settings record it."""
    ev100 = picture_settings_ev100(frames)
    per_lux = 1.0 / daylight.lux_from_ev100(ev100)
    light = frames.sky_light
    values: dict[str, Array] = {field.name: getattr(light, field.name) for field in attrs.fields(SkyLight)}
    for name in BRIGHTNESSES:
        values[name] = values[name] * per_lux[:, None]
    return PictureLight(**values, settings_ev100=ev100, level_per_lux=per_lux)
