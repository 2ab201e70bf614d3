"""The colours of deep twilight low over the horizon."""

from __future__ import annotations

import numpy as np
import pytest

from planner_core import compute_frames
from planner_core.light import sky
from planner_core.plan.file import plan_from_dict
from tests.two_towers import document


@pytest.mark.parametrize("sun_deg", [-11.0, -11.5, -12.0, -12.5, -13.0, -14.0])
def test_no_green_lies_on_the_horizon_where_the_sun_went_down(sun_deg: float) -> None:
    # common knowledge of twilight, no source: orange and red stay on the horizon to the end
    made = document()
    made["exposure"].pop("artificial_ev100")
    made["shoot"] = {"frames": 60, "interval_s": 60.0, "write_s": 1.0, "start": "2027-03-14T19:20:00"}
    frames = compute_frames(plan_from_dict(made))
    frame = int(np.argmin(np.abs(frames.sun_altitude_deg - sun_deg)))
    assert frames.sun_altitude_deg[frame] == pytest.approx(sun_deg, abs=0.15)
    toward = np.arctan2(frames.sun_direction[frame, 1], frames.sun_direction[frame, 0])
    for aside_deg in (0.0, 15.0, 30.0):
        for rise_deg in (0.5, 2.0, 5.0):
            turn, rise = toward + np.radians(aside_deg), np.radians(rise_deg)
            direction = [np.cos(rise) * np.cos(turn), np.cos(rise) * np.sin(turn), np.sin(rise)]
            red, green, _ = sky.radiance(frames.sky_light, frame, direction)
            assert red >= green
