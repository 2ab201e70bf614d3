"""The plan in numbers: a typed record for each topic of the review. No judgement, no sentences.

In JSON all of it is one flat object. A number that a plan can't have (no pan, no exposure) is left out of it;
one that has no value this time (no sunset on that date) is null.
"""

from __future__ import annotations

from typing import Any

import attrs
from attrs import field, frozen

_FLAT, _LEFT_OUT = "flat", "left out"


def _or_left_out() -> Any:
    """A field that is left out of the JSON where it is None."""
    return field(default=None, metadata={_LEFT_OUT: True})


def _flat() -> Any:
    """A record whose fields stand in the JSON without its name before them; None leaves it out."""
    return field(metadata={_FLAT: True, _LEFT_OUT: True})


@frozen(kw_only=True)
class ClipLength:
    """A part of the clip."""

    frames: int
    clip_s: float


@frozen(kw_only=True)
class BalanceNumbers:
    """How the clip divides between day, twilight and night."""

    day: ClipLength
    civil_twilight: ClipLength
    nautical_twilight: ClipLength
    astronomical_twilight: ClipLength
    night: ClipLength
    low_sun_frames: int
    deep_blue_frames: int
    sunrise_local: str | None
    sunset_local: str | None


@frozen(kw_only=True)
class TurnNumbers:
    """The event around which the clip turns from day to night or back."""

    turn_event: str
    turn_local: str
    turn_frame: int | None
    move_share_at_event: float | None


@frozen(kw_only=True)
class SunTimes:
    """When the sun comes up and goes down at a place, over whatever stands around it."""

    sunrise_local: str | None
    sunset_local: str | None


@frozen(kw_only=True)
class SunNumbers:
    """The sun against the place and in the picture."""

    camera: SunTimes | None = _or_left_out()
    subject: SunTimes | None = _or_left_out()
    sun_in_picture_frames: tuple[int, int] | None
    camera_in_shade_frames: int
    subject_in_shade_frames: int | None = _or_left_out()


@frozen(kw_only=True)
class MoonNumbers:
    """The moon in the picture: its frames, its farthest drift in an exposure, and most over middle grey."""

    moon_in_picture_frames: tuple[int, int] | None
    moon_smear_px: float | None = _or_left_out()
    moon_over_stops: float | None = _or_left_out()


@frozen(kw_only=True)
class LightNumbers:
    """Where sun and moon stand, and how bright it is."""

    sun_altitude_first_deg: float
    sun_altitude_last_deg: float
    moon_altitude_highest_deg: float
    moon_lit_fraction: float
    illuminance_first_lux: float
    illuminance_last_lux: float
    ev100_first: float
    ev100_last: float
    light_range_stops: float


@frozen(kw_only=True)
class GalaxyNumbers:
    """The galactic centre over the frames that are dark enough for it: highest, and its bearing there."""

    galactic_centre_highest_deg: float
    galactic_centre_azimuth_deg: float


@frozen(kw_only=True)
class ExposureNumbers:
    """What is metered, one of the plan's meters, the EV that it reads at ISO 100, and what the ramp does."""

    meter: str
    metered_ev100_first: float
    metered_ev100_last: float
    steepest_ramp_stops_per_min: float
    steepest_ramp_frame: int
    settings_first: str
    settings_last: str
    setting_changes: int
    longest_exposure_s: float
    highest_iso: float
    exposure_error_darkest_stops: float
    exposure_error_brightest_stops: float


@frozen(kw_only=True)
class ToneNumbers:
    """The largest shares of a picture that the sensor can't hold."""

    highlights_lost_most: float
    shadows_lost_most: float


@frozen(kw_only=True)
class StarNumbers:
    """How far stars drift during an exposure."""

    star_drift_px: float
    rule_of_500_s: float


@frozen(kw_only=True)
class FocusNumbers:
    """How deep the picture is sharp. far_sharp_m is None where that is infinity."""

    hyperfocal_m: float
    near_sharp_m: float
    far_sharp_m: float | None
    suggested_focus_m: float
    nearest_foreground_m: float | None = _or_left_out()


@frozen(kw_only=True)
class LightSummary:
    """The light, from balance to focus."""

    balance: BalanceNumbers = _flat()
    turn: TurnNumbers | None = _flat()
    sun: SunNumbers = _flat()
    moon: MoonNumbers = _flat()
    light: LightNumbers = _flat()
    galaxy: GalaxyNumbers | None = _flat()
    exposure: ExposureNumbers | None = _flat()
    tones: ToneNumbers | None = _flat()
    stars: StarNumbers | None = _flat()
    focus: FocusNumbers | None = _flat()


@frozen(kw_only=True)
class ScreenSpeed:
    """How fast something crosses the picture, and the word for it."""

    px_a_frame: float
    speed: str


@frozen(kw_only=True)
class RigSummary:
    """Time, travel and speed."""

    frames: int
    interval_s: float
    clip_s: float
    shoot_length: str
    shoot_length_s: float  # until the last picture is written
    leave_home: str | None = _or_left_out()
    arrive: str
    first_frame: str
    last_frame: str
    end: str
    shortest_interval_s: float
    slide_travel_m: float | None = _or_left_out()
    pan_travel_deg: float | None = _or_left_out()
    tilt_travel_deg: float | None = _or_left_out()
    foreground: ScreenSpeed | None = _or_left_out()
    subject: ScreenSpeed | None = _or_left_out()
    background: ScreenSpeed | None = _or_left_out()
    far_distance: ScreenSpeed | None = _or_left_out()
    card_gb: float | None = _or_left_out()
    step_error_px: float | None = _or_left_out()


@frozen(kw_only=True)
class PictureSummary:
    """How the frames compose, and how near things move against far ones."""

    weakest_frame: int | None
    weakest_score: float | None
    weakest_part: str | None
    subject_visible_share_min: float | None
    horizon_height_share: float
    camera_travel_m: float
    separation_percent: float | None
    near_shift_percent: float | None
    middle_shift_percent: float | None
    far_shift_percent: float | None
    still_beyond_m: float | None


@frozen(kw_only=True)
class Summary:
    """All topics' numbers."""

    light: LightSummary = _flat()
    rig: RigSummary = _flat()
    picture: PictureSummary = _flat()

    def as_dict(self) -> dict[str, Any]:
        """One flat object of plain values."""
        return plain(self)


def plain(record: Any) -> dict[str, Any]:
    """A record's values as plain ones; those of a record inside it begin with its name: `day_frames`."""
    values: dict[str, Any] = {}
    for each in attrs.fields(type(record)):
        value = getattr(record, each.name)
        if value is None and each.metadata.get(_LEFT_OUT):
            continue
        if attrs.has(type(value)):
            prefix = "" if each.metadata.get(_FLAT) else f"{each.name}_"
            values |= {f"{prefix}{name}": inner for name, inner in plain(value).items()}
        else:
            values[each.name] = list(value) if isinstance(value, tuple) else value
    return values
