"""What the sensor can't hold of each frame: the part of the picture above white, and the part below black.

White is the camera's headroom above middle grey, black its range below white. Middle grey is what a reflected
reading of the settings' EV stands for (ISO 2720:1974). The discs of sun and moon are left out.
"""

from __future__ import annotations

import numpy as np
from attrs import frozen
from numpy.typing import NDArray

from planner_core.light.daylight import luminance_from_ev100
from planner_core.picture.metering import Grid
from planner_core.plan.model import Camera

Array = NDArray[np.float64]


@frozen(kw_only=True, eq=False)
class LostTones:
    """Shares of the picture, 0 to 1, of each frame, (frames,): above white, and below black."""

    highlights: Array
    shadows: Array


def lost_tones(camera: Camera, grid: Grid, settings_ev100: Array) -> LostTones:
    """What the frames lose that are exposed so, settings_ev100 (frames,).

    The frames of the grid are counted, and the shares between them interpolated.
    """
    white = white_cd_m2(camera, settings_ev100)[grid.at, None, None]
    black = white * 2.0**-camera.range_stops
    luminance = grid.on_sensor_cd_m2
    frames = np.arange(len(settings_ev100))
    return LostTones(
        highlights=np.interp(frames, grid.at, (luminance > white).mean(axis=(1, 2))),
        shadows=np.interp(frames, grid.at, (luminance < black).mean(axis=(1, 2))),
    )


def white_cd_m2(camera: Camera, settings_ev100: Array) -> Array:
    """The luminance, cd/m², from which on nothing but white is recorded, of the settings' shape."""
    return luminance_from_ev100(settings_ev100 + camera.headroom_stops)


def stops_over(camera: Camera, grid: Grid, settings_ev100: Array, fraction: float) -> Array:
    """By how many stops the brightest fraction of each of the grid's pictures is above white, (n,); negative
    where less than that is white.
    """
    cells = grid.on_sensor_cd_m2.reshape(len(grid.at), -1)
    edge = np.quantile(cells, 1.0 - fraction, axis=1)
    return np.log2(edge / white_cd_m2(camera, settings_ev100)[grid.at])
