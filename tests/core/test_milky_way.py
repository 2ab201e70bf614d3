"""The Milky Way: the nights it stands over the place, its way in the readout, and its light in a draft."""

from __future__ import annotations

import datetime as dt

import attrs
import numpy as np
import pytest

from planner_core import Plan, PlanError, compute_frames
from planner_core.draft import milky_way as band
from planner_core.evening import milky_way
from planner_core.output import readout
from planner_core.plan.model import Block, Exposure, Pose
from planner_core.time import galaxy
from tests.places import place

DARK_SKY = Exposure(f_number=2.8, iso_max=6400.0, shutter_max_s=20.0)
NEW_MOON = dt.date(2027, 7, 4)  # value from memory


def looking_south(*blocks: Block) -> Plan:
    """A night at 50° north in July, when the centre stands low in the south before midnight."""
    plan = place(*blocks, poses=(Pose(at=0.0, pan_deg=180.0, tilt_deg=10.0),), slide=None, frames=60)
    shoot = attrs.evolve(plan.shoot, start=dt.datetime(2027, 7, 4, 23, 30), interval_s=25.0)
    site = attrs.evolve(plan.site, latitude_deg=44.0)
    return attrs.evolve(plan, shoot=shoot, exposure=DARK_SKY, site=site)


def test_a_summer_night_has_the_centre_over_the_place_and_a_winter_night_has_not() -> None:
    (summer,) = milky_way.nights(looking_south(), NEW_MOON, NEW_MOON)
    assert summer.best_utc_s is not None
    assert summer.bearing_deg == pytest.approx(180.0, abs=6.0)  # it culminates in the south …
    assert summer.altitude_deg == pytest.approx(
        90.0 - 44.0 - 29.0, abs=0.5
    )  # … as high as 90° − latitude + declination
    assert summer.moonless_s > 3600.0
    assert summer.frames is not None
    (winter,) = milky_way.nights(looking_south(), dt.date(2027, 12, 20), dt.date(2027, 12, 20))
    assert winter.best_utc_s is None


def test_a_ridge_in_the_south_takes_the_centre_away_and_the_words_say_so() -> None:
    ridge = Block(
        name="ridge",
        role="background",
        shape="ridge",
        distance_m=2000.0,
        skyline_deg=tuple((float(b), 25.0) for b in range(90, 275, 5)),
    )
    found = milky_way.nights(looking_south(ridge), NEW_MOON, NEW_MOON)
    assert found[0].best_utc_s is None
    assert "here it gets no higher than 17°" in milky_way.nights_text(looking_south(ridge), found)


def test_moonless_nights_with_the_centre_in_the_picture_are_named_first() -> None:
    found = milky_way.nights(looking_south(), dt.date(2027, 7, 1), dt.date(2027, 7, 18))
    best = min(found, key=lambda night: night.rank)
    full = next(night for night in found if night.date == dt.date(2027, 7, 18))  # full moon
    assert best.moonless_s > full.moonless_s
    text = milky_way.nights_text(looking_south(), found)
    assert "in the picture in frames" in text
    assert len(milky_way.nights_csv(looking_south(), found).splitlines()) == 19


def test_a_place_far_in_the_north_is_told_that_it_never_rises() -> None:
    plan = looking_south()
    north = attrs.evolve(plan, site=attrs.evolve(plan.site, latitude_deg=68.0))
    found = milky_way.nights(north, dt.date(2027, 3, 1), dt.date(2027, 3, 2))
    assert "never rises" in milky_way.nights_text(north, found)


def test_dates_beyond_the_years_of_the_sun_are_refused() -> None:
    with pytest.raises(PlanError, match="outside the years 1950 to 2050"):
        milky_way.nights(looking_south(), dt.date(2051, 1, 1), dt.date(2051, 1, 2))


def test_the_readout_has_it_in_the_dark_only() -> None:
    frames = compute_frames(looking_south())
    assert any("Milky Way" in line for line in readout.hud_lines(frames, 30))
    assert any("Milky Way" in line for line in readout.sky_lines(frames))
    assert readout.milky_way_directions(frames, 30).shape[1] == 3
    day = compute_frames(attrs.evolve(looking_south(), shoot=place().shoot))
    assert not any("Milky Way" in line for line in readout.hud_lines(day, 30))
    assert len(readout.milky_way_directions(day, 30)) == 0
    assert np.isnan(readout.galactic_centre_directions(day)).all()
    assert any(line.startswith("Moon") for line in readout.sky_lines(day))


def test_the_band_is_brightest_by_the_centre_and_about_as_bright_as_dark_skies_there_are() -> None:
    # a dark sky is about 2e-4 cd/m², the band by the centre some 2 to 5 times that; from memory
    centre, anticentre = band.luminance_cd_m2(0.0, 5.0), band.luminance_cd_m2(180.0, 5.0)
    assert 1e-4 < float(centre) < 1e-3
    assert float(centre) > 3.0 * float(anticentre)
    assert float(band.luminance_cd_m2(0.0, 60.0)) == 0.0


def test_the_drawn_band_has_its_brightest_part_where_the_centre_stands() -> None:
    frames = compute_frames(looking_south())
    assert band.shows(frames)
    azimuth, altitude = np.meshgrid(np.arange(90.0, 270.0, 2.0), np.arange(2.0, 80.0, 2.0))
    rise, turn = np.radians(altitude.ravel()), np.radians(azimuth.ravel())
    directions = np.stack([np.cos(rise) * np.sin(turn), np.cos(rise) * np.cos(turn), np.sin(rise)], axis=-1)
    levels = band.levels(frames, 0, directions)[:, 1]
    centre, true = galaxy.galactic_centre(frames.utc_s[:1], 44.0, 8.0)
    brightest = int(np.argmax(levels))
    assert azimuth.ravel()[brightest] == pytest.approx(float(centre[0]), abs=15.0)
    assert altitude.ravel()[brightest] == pytest.approx(float(true[0]), abs=15.0)
    day = compute_frames(attrs.evolve(looking_south(), shoot=place().shoot))
    assert not band.shows(day)
