"""A first plan from a few facts: what was said is kept, the rest is chosen, and no finding is a stop."""

from __future__ import annotations

import datetime as dt
import os
import re
from collections.abc import Iterator

import attrs
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from planner_core import compute_frames, review
from planner_core.begin import conflicts
from planner_core.begin.chooser import FirstPlan, first_plan
from planner_core.begin.clock import guess_zone
from planner_core.begin.facts import Facts, Thing, parse_event, parse_place, parse_thing
from planner_core.plan.file import plan_from_text, plan_to_text
from planner_core.plan.model import ANCHOR_EVENTS, PlanError
from planner_core.plan.timeline import anchor_utc_s, start_utc_s

pytestmark = pytest.mark.once
RANDOM_FACTS = int(os.environ.get("DUSKRAIL_RANDOM_FACTS", "2"))  # hundreds by hand
DAY = dt.date(2027, 3, 14)
TOWER = Thing(name="tower", bearing_deg=262.0, distance_m=160.0, height_m=20.0)
POST = Thing(name="post", bearing_deg=250.0, distance_m=1.3)


@pytest.fixture(scope="module")
def harbour() -> FirstPlan:
    """A tower across the water, with lens, rail and foreground given."""
    return first_plan(
        Facts(
            latitude_deg=43.46,
            longitude_deg=-3.79,
            date=DAY,
            event="sunset",
            subject=TOWER,
            foreground=POST,
            focal_length_mm=24.0,
            rail_m=1.2,
        )
    )


@pytest.fixture(scope="module")
def chosen() -> FirstPlan:
    """The same place with nothing but the subject given."""
    return first_plan(Facts(latitude_deg=43.46, longitude_deg=-3.79, date=DAY, subject=TOWER))


def test_what_was_given_stands_in_the_plan(harbour: FirstPlan) -> None:
    plan = harbour.plan
    assert (plan.site.latitude_deg, plan.site.longitude_deg) == (43.46, -3.79)
    assert plan.camera.focal_length_mm == 24.0
    assert plan.rig.slide is not None
    assert (plan.rig.slide.min_m, plan.rig.slide.max_m) == (0.0, 1.2)
    tower, post = plan.blocks
    assert (tower.role, post.role) == ("subject", "foreground")
    assert tower.size_m is not None
    assert tower.size_m[2] == 20.0
    assert plan.shoot.anchor is not None
    assert (plan.shoot.anchor.event, plan.shoot.anchor.date) == ("sunset", DAY)


def test_bearings_and_distances_count_from_the_middle_of_the_rail(harbour: FirstPlan) -> None:
    # the scene's origin is the rail's middle and its +Y points at the subject: 160 m straight ahead
    tower = harbour.plan.blocks[0]
    assert tower.centre_m == pytest.approx((0.0, 160.0, 10.0), abs=0.01)
    assert harbour.plan.rig.origin_m == pytest.approx((-0.6, 0.0, 0.7), abs=1e-6)


def test_the_event_falls_half_way_and_the_picture_is_metered(harbour: FirstPlan) -> None:
    plan = harbour.plan
    assert plan.shoot.anchor is not None
    assert plan.exposure is not None
    middle = start_utc_s(plan) + 0.5 * plan.duration_s
    assert middle == pytest.approx(anchor_utc_s(plan, plan.shoot.anchor), abs=plan.shoot.interval_s)
    assert plan.exposure.meter == "picture"


def test_a_place_with_everything_given_needs_no_look_again(harbour: FirstPlan) -> None:
    assert {finding.level for finding in harbour.findings} == {"note"}


def test_its_findings_are_those_of_the_review(harbour: FirstPlan) -> None:
    frames = compute_frames(harbour.plan)
    codes = {finding.code for finding in review(harbour.plan, frames).findings}
    assert {finding.code for finding in harbour.findings} == codes


def test_what_was_not_given_is_said(chosen: FirstPlan, harbour: FirstPlan) -> None:
    of = [sentence.split(":")[0] for sentence in chosen.said]
    assert of == ["Time zone", "Event", "Rail", "Lens", "Foreground", "Focus", "Timing", "Move"]
    assert [sentence.split(":")[0] for sentence in harbour.said] == ["Time zone", "Focus", "Timing", "Move"]


def test_a_tower_far_off_gets_a_longer_lens_than_one_near_by(chosen: FirstPlan) -> None:
    near = Thing(name="tower", bearing_deg=262.0, distance_m=25.0, height_m=20.0)
    facts = Facts(latitude_deg=43.46, longitude_deg=-3.79, date=DAY, subject=near)
    assert chosen.plan.camera.focal_length_mm > first_plan(facts).plan.camera.focal_length_mm


def test_on_a_polar_day_noon_stands_in_for_the_sunset_nobody_asked_for() -> None:
    facts = Facts(latitude_deg=71.0, longitude_deg=25.8, date=dt.date(2027, 6, 21), subject=TOWER)
    made = first_plan(facts)
    assert made.plan.shoot.anchor is not None
    assert made.plan.shoot.anchor.event == "solar_noon"
    assert "the sun doesn't set that day" in " ".join(made.said)


def test_an_event_asked_for_that_does_not_happen_is_refused_with_those_that_do() -> None:
    facts = Facts(
        latitude_deg=71.0, longitude_deg=25.8, date=dt.date(2027, 6, 21), event="sunset", subject=TOWER
    )
    with pytest.raises(PlanError, match=r"does not happen at latitude 71 .*solar_noon") as refused:
        first_plan(facts)
    assert refused.value.path == "event"


@pytest.mark.parametrize(
    ("name", "value", "path"),
    [("timezone", "Mars/Base", "zone"), ("focal_length_mm", 0.5, "lens"), ("rail_m", 1200.0, "rail")],
)
def test_a_fact_that_no_plan_can_have_is_refused_by_its_own_name(name: str, value: object, path: str) -> None:
    facts = {"latitude_deg": 43.46, "longitude_deg": -3.79, "date": DAY, "subject": TOWER, name: value}
    with pytest.raises(PlanError) as refused:
        first_plan(Facts(**facts))  # type: ignore[arg-type]
    assert refused.value.path == path


HOUSE = Thing(name="house", bearing_deg=262.0, distance_m=5.0, height_m=9.0)


@pytest.fixture(scope="module")
def contradiction() -> tuple[Facts, PlanError]:
    """A house before the tower that hides all of it, and what is said of that."""
    facts = Facts(
        latitude_deg=43.46, longitude_deg=-3.79, date=DAY, event="sunset", subject=TOWER, foreground=HOUSE
    )
    with pytest.raises(PlanError) as refused:
        first_plan(facts)
    return facts, refused.value


def test_a_foreground_that_hides_the_subject_is_named_with_what_would_do(
    contradiction: tuple[Facts, PlanError],
) -> None:
    _, refused = contradiction
    assert (refused.path, refused.value) == ("foreground", "house 262 5 9")
    assert len(str(refused).splitlines()) == 1
    assert "is hidden by “house”" in str(refused)


def test_what_is_said_to_do_instead_does(contradiction: tuple[Facts, PlanError]) -> None:
    facts, refused = contradiction
    told = re.search(r"A (\w+) at ([\d.]+)°, ([\d.]+) m from the rail would do$", str(refused))
    assert told, str(refused)
    other = Thing(name=told[1], bearing_deg=float(told[2]), distance_m=float(told[3]))
    made = first_plan(attrs.evolve(facts, foreground=other))
    assert "stop" not in {finding.level for finding in made.findings}


def test_facts_are_given_up_one_at_a_time_before_two_together() -> None:
    facts = Facts(
        latitude_deg=43.46,
        longitude_deg=-3.79,
        date=DAY,
        subject=TOWER,
        foreground=POST,
        focal_length_mm=85.0,
    )
    names = [name for name, _ in conflicts.alternatives(facts)]
    assert names[:3] == ["foreground", "lens", "foreground"]
    assert set(names[3:]) == {"subject"}
    both = list(conflicts.alternatives(facts))[2][1]
    assert (both.foreground, both.focal_length_mm) == (None, None)
    nearer = next(iter(conflicts.alternatives(attrs.evolve(facts, foreground=None, focal_length_mm=None))))[1]
    assert nearer.subject.distance_m > TOWER.distance_m
    assert conflicts.instead_text(facts, attrs.evolve(facts, focal_length_mm=24.0)) == "A lens of 24 mm"


# ---------------------------------------------------------------- any place, any evening


@st.composite
def facts_of_a_shot(draw: st.DrawFn) -> Facts:
    bearing = draw(st.floats(0.0, 359.0))
    kinds = st.sampled_from(["tower", "house", "tree", "old mill", "figure", "bridge", "water tower"])
    subject = Thing(
        name=draw(kinds),
        bearing_deg=bearing,
        distance_m=draw(st.floats(25.0, 2000.0)),
        height_m=draw(st.none() | st.floats(2.0, 60.0)),
    )
    near = st.builds(
        Thing,
        name=st.sampled_from(["post", "wall", "railing", "rock"]),
        bearing_deg=st.floats(-25.0, 25.0).map(lambda off: (bearing + off) % 360.0),
        distance_m=st.floats(1.0, 6.0),
    )
    return Facts(
        latitude_deg=draw(st.floats(-70.0, 70.0)),
        longitude_deg=draw(st.floats(-180.0, 180.0)),
        date=draw(st.dates(dt.date(2020, 1, 1), dt.date(2045, 12, 31))),
        event=draw(st.none() | st.sampled_from(ANCHOR_EVENTS)),
        subject=subject,
        foreground=draw(st.none() | near),
        focal_length_mm=draw(st.none() | st.sampled_from([16.0, 24.0, 35.0, 50.0])),
        rail_m=draw(st.none() | st.floats(0.5, 2.5)),
    )


@settings(max_examples=RANDOM_FACTS, deadline=None)
@given(facts=facts_of_a_shot())
def test_any_facts_make_a_plan_without_a_stop_or_are_refused_with_what_would_do(facts: Facts) -> None:
    try:
        made = first_plan(facts)
    except PlanError as refused:
        assume(refused.path != "event")
        assert refused.path in ("foreground", "lens", "rail", "subject")
        assert str(refused).endswith(" would do")
        return
    assert "stop" not in {finding.level for finding in made.findings}
    assert plan_from_text(plan_to_text(made.plan)) == made.plan


# ---------------------------------------------------------------- facts as they are written


@pytest.mark.parametrize(
    ("text", "place"),
    [
        ("43.46,-3.79", (43.46, -3.79)),
        ("43.46, -3.79", (43.46, -3.79)),
        ("43.46N 3.79W", (43.46, -3.79)),
        ("33.9°S, 18.4°E", (-33.9, 18.4)),
        ("-33.9 18.4", (-33.9, 18.4)),
    ],
)
def test_a_place_is_read_as_maps_give_it(text: str, place: tuple[float, float]) -> None:
    assert parse_place(text, "--at") == place


@pytest.mark.parametrize(
    "text", ["", "43.46", "97,3", "43,190", "3.79W 43.46N", "here,there", "1,2,3", "43,46 3,79"]
)
def test_what_is_no_place_is_refused(text: str) -> None:
    with pytest.raises(PlanError, match=r"^--at: .*43\.46,-3\.79"):
        parse_place(text, "--at")


@pytest.mark.parametrize(
    ("text", "thing", "kind"),
    [
        ("tower 262 160 20", TOWER, "tower"),
        ("post 250 1.3", POST, "post"),
        (
            "old water tower 262° 160m 20m",
            Thing(name="old water tower", bearing_deg=262.0, distance_m=160.0, height_m=20.0),
            "tower",
        ),
        ("Marrow House -10 80", Thing(name="Marrow House", bearing_deg=350.0, distance_m=80.0), "house"),
        (
            "Red Lighthouse 262 900",
            Thing(name="Red Lighthouse", bearing_deg=262.0, distance_m=900.0),
            "tower",
        ),
        ("fence post 292 1.1", Thing(name="fence post", bearing_deg=292.0, distance_m=1.1), "post"),
        ("beacon 360 90 12", Thing(name="beacon", bearing_deg=0.0, distance_m=90.0, height_m=12.0), "box"),
    ],
)
def test_a_thing_is_a_name_a_bearing_a_distance_and_perhaps_a_height(
    text: str, thing: Thing, kind: str
) -> None:
    assert parse_thing(text, "--subject") == thing
    assert thing.kind == kind


@pytest.mark.parametrize(
    "text", ["", "tower", "tower 262", "262 160 20", "tower 400 160", "tower 262 0", "tower 262 160 9999"]
)
def test_what_is_no_thing_is_refused(text: str) -> None:
    with pytest.raises(PlanError, match=r"^--subject: "):
        parse_thing(text, "--subject")


def test_an_event_may_be_written_as_it_is_said() -> None:
    assert parse_event("Civil dusk", "--event") == "civil_dusk"
    with pytest.raises(PlanError, match=r"^--event: .*sunset"):
        parse_event("tea time", "--event")


# ---------------------------------------------------------------- the clock of a place


def clocks() -> Iterator[tuple[float, float, str, str]]:
    # places and their clocks from memory of the map; the rival is what a border near by asks to be said
    yield 43.46, -3.79, "Europe/Madrid", ""
    yield 42.88, -8.54, "Europe/Lisbon", "Europe/Madrid"  # Galicia keeps Madrid's time: the guess is wrong
    yield -26.2, 28.0, "Africa/Johannesburg", ""
    yield 30.0, -140.0, "Etc/GMT+9", ""  # open sea


@pytest.mark.parametrize(("latitude", "longitude", "zone", "rival"), list(clocks()))
def test_a_zone_is_guessed_and_the_one_over_the_border_is_named(
    latitude: float, longitude: float, zone: str, rival: str
) -> None:
    guess = guess_zone(latitude, longitude, DAY)
    assert guess.zone == zone
    if rival:
        assert guess.rival == rival
