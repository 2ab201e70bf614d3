"""The positions of the rig's three axes, which always travel together."""

from __future__ import annotations

from collections.abc import Iterator

import attrs
import numpy as np
from attrs import frozen
from numpy.typing import NDArray

Array = NDArray[np.float64]

AXIS_NAMES = ("slide_m", "pan_deg", "tilt_deg")  # as poses and frames have them, in this order everywhere


@frozen(kw_only=True, eq=False)
class AxisPositions:
    """Where each axis stands: arrays of one shape, None for an axis that neither rig nor poses have.

    slide_m runs along the rail from its start, pan_deg is the bearing of the lens and tilt_deg its altitude.
    """

    slide_m: Array | None = None
    pan_deg: Array | None = None
    tilt_deg: Array | None = None

    def of(self, axis: str) -> Array | None:
        """The positions of the axis with this name."""
        if axis not in AXIS_NAMES:
            raise ValueError(f"{axis} is not an axis; there are {', '.join(AXIS_NAMES)}")
        positions: Array | None = getattr(self, axis)
        return positions

    def given(self) -> Iterator[tuple[str, Array]]:
        """Name and positions of each axis that has any, in the order slide, pan, tilt."""
        for axis in AXIS_NAMES:
            positions = self.of(axis)
            if positions is not None:
                yield axis, positions

    def replacing(self, axis: str, positions: Array | None) -> AxisPositions:
        """The same with other positions of one axis."""
        return attrs.evolve(self, **{axis: positions})
