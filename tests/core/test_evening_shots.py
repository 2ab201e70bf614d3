"""Several plans in one evening: what clashes, what helps against it, and a sheet that one could follow."""

from __future__ import annotations

import itertools
from collections import defaultdict
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import attrs
import pytest

from planner_core.evening.shots import Terms, distance_m, job, read_shots, shifts_s
from planner_core.fit.evening import Evening, solve_evening
from planner_core.frames import FrameTable, compute_frames
from planner_core.output.evening.calendar import evening_ics_bytes
from planner_core.output.evening.lists import camera_loads, things_to_pack
from planner_core.output.evening.page import evening_page
from planner_core.output.evening.rows import Row, evening_rows
from planner_core.output.evening.words import evening_dict
from planner_core.plan.file import load_plan, plan_from_dict, plan_to_dict
from planner_core.plan.model import Plan, PlanError
from tests.spoken import spoken

pytestmark = pytest.mark.once

TERMS = Terms()


@pytest.fixture(scope="module")
def plans(project_root: Path) -> tuple[Plan, ...]:
    """An invented evening: weir and bridge at sunset, then the mill with the bridge's head and camera."""
    folder = project_root / "example_scenes" / "evening"
    return tuple(
        load_plan(folder / f"{name}.plan.json") for name in ("weir_slide", "bridge_pan", "mill_night")
    )


@pytest.fixture(scope="module")
def evening(plans: tuple[Plan, ...]) -> Evening:
    return solved(plans)


def solved(plans: tuple[Plan, ...], terms: Terms = TERMS) -> Evening:
    return solve_evening(read_shots(plans, [f"{n}.plan.json" for n in range(len(plans))]), terms)


def by_person(evening: Evening) -> dict[int, list[Row]]:
    found = defaultdict(list)
    for row in evening_rows(evening):
        if row.person and row.kind != "end":
            found[row.person].append(row)
    return found


def test_the_example_clashes_as_planned_and_is_solved_by_moving_starts(evening: Evening) -> None:
    clashes = {(clash.kind, clash.shots) for clash in evening.clashes}
    assert clashes == {("person", (1, 2)), ("rig", (2, 3))}
    # the bridge ends at 20:17; half an hour to pack, 7 min 30 s to walk and 20 min to set up are 10 min too
    # many until 21:05, and a start moves by whole minutes
    mill = next(clash for clash in evening.clashes if clash.shots == (2, 3))
    assert mill.late_s == pytest.approx(600.0, abs=90.0)
    assert mill.gear == (("rig", "pan head"), ("camera", "B"))
    assert evening.dropped == ()
    works = {attempt.kind: attempt.works for attempt in evening.attempts}
    assert works["start-later"]
    assert works["another-person"]


def test_the_starts_found_keep_within_the_plans_tolerance(plans: tuple[Plan, ...], evening: Evening) -> None:
    given = read_shots(plans, ["", "", ""])
    for was, now in zip(given, evening.shots, strict=True):
        assert round(now.start_s - was.start_s, -1) in shifts_s(was, TERMS)
        if was.turn is not None and now.turn is not None:
            assert abs(now.turn.at - 0.5) <= 0.05 + 1e-3


def test_every_persons_lines_follow_each_other_and_leave_time_to_walk(evening: Evening) -> None:
    (rows,) = by_person(evening).values()
    for before, after in itertools.pairwise(rows):
        assert before.end_s <= after.begin_s
        if before.shot != after.shot and before.shot and after.shot:
            assert after.kind in ("walk", "leave")
    walked = [row for row in rows if row.kind == "walk"]
    assert walked
    for row in walked:
        one = next(each for each in reversed(rows[: rows.index(row)]) if each.shot)
        metres = distance_m(evening.shot(one.shot), evening.shot(row.shot)) * TERMS.detour
        assert metres / (row.end_s - row.begin_s) <= TERMS.pace_m_s


def test_the_sheet_names_every_stage_of_every_shot(evening: Evening) -> None:
    rows = evening_rows(evening)
    for number in (1, 2, 3):
        kinds = [row.kind for row in rows if row.shot == number and row.kind not in ("walk", "leave")]
        assert kinds[:3] == ["set-up", "test", "start"]
        assert set(kinds) >= {"end", "pack"}
    assert [row.shot for row in rows if row.kind == "attend"] == [3]
    page = evening_page(evening, {1: "a.html", 2: "b.html", 3: "c.html"})
    assert page.count('<a href="') == 3
    assert page.count("<svg") == 1
    assert "src=" not in page
    for name in ("Weir, slide", "Bridge gate, pan", "Mill by night", "pan head"):
        assert name in page


def test_cards_and_batteries_are_added_up_by_camera_and_a_shared_head_is_carried_once(
    plans: tuple[Plan, ...], evening: Evening
) -> None:
    loads = {load.camera: load for load in camera_loads(evening)}
    assert loads["B"].frames == plans[1].shoot.frames + plans[2].shoot.frames
    assert loads["B"].filled_gb == pytest.approx(0.045 * loads["B"].frames)  # 45 MB each
    assert loads["A"].shots == (1,)
    assert [item.name for item in things_to_pack(evening)].count("Tripod, a weight to hang from it") == 1


def test_one_calendar_has_every_shot(evening: Evening) -> None:
    content = evening_ics_bytes(evening).decode()
    assert content.count("BEGIN:VCALENDAR") == 1
    for name in ("Weir\\, slide", "Bridge gate\\, pan", "Mill by night"):
        assert f"SUMMARY:Start: {name}" in content
    assert evening_ics_bytes(evening).decode() == content


def test_two_people_need_less_and_never_share_a_shot(plans: tuple[Plan, ...]) -> None:
    two = solved(plans, Terms(people=2))
    assert sorted(number for each in two.rounds for number in each.shots) == [1, 2, 3]
    assert two.rush_s == 0
    # one head for both: bridge and mill are one person's
    assert {each.shots for each in two.rounds} == {(1,), (2, 3)}


def test_where_nothing_helps_it_says_which_shot_to_leave_out(plans: tuple[Plan, ...]) -> None:
    busy = attrs.evolve(plans[0], shoot=attrs.evolve(plans[0].shoot, attended=True))
    evening = solved((busy, plans[1], plans[2]))
    assert len(evening.dropped) == 1
    assert evening.attempts[-1].kind == "drop"
    assert not any(
        attempt.works for attempt in evening.attempts if attempt.kind in ("start-later", "swap-order")
    )
    told = evening_dict(evening)
    assert told["drop"] == list(evening.dropped)
    assert not told["feasible"]


def test_a_moved_start_that_makes_a_warning_a_stop_is_told(
    plans: tuple[Plan, ...], monkeypatch: pytest.MonkeyPatch
) -> None:
    planned = {float(compute_frames(plan).utc_s[0]) for plan in plans}

    def assessed(_plan: Plan, frames: FrameTable) -> Any:
        level = "warn" if float(frames.utc_s[0]) in planned else "stop"
        return SimpleNamespace(findings=(spoken("Too dark.", level=level),))

    monkeypatch.setattr("planner_core.fit.evening.assess", assessed)
    evening = solved(plans)
    moved = {
        shot.number
        for shot, start in zip(evening.shots, evening.planned_s, strict=True)
        if shot.start_s != start
    }
    assert moved
    assert evening.new_findings == dict.fromkeys(sorted(moved), ("spoken",))


def test_plans_without_a_clash_stay_as_they_are(plans: tuple[Plan, ...]) -> None:
    early = attrs.evolve(
        plans[1], rig=attrs.evolve(plans[1].rig, name=""), camera=attrs.evolve(plans[1].camera, name="")
    )
    evening = solved((early, plans[2]))
    assert evening.clashes == ()
    assert evening.attempts == ()
    assert [shot.plan for shot in evening.shots] == [early, plans[2]]


def test_a_start_without_a_light_event_stays_in_its_light(plans: tuple[Plan, ...]) -> None:
    mill = plans[2]
    (shot,) = read_shots([mill], ["mill"])
    shifts = shifts_s(shot, TERMS)
    assert 0 in shifts
    first = shot.frames.sun_true_altitude_deg
    for shift in (shifts[0], shifts[-1]):
        start = mill.shoot.start
        assert start is not None
        import datetime as dt

        moved = attrs.evolve(mill, shoot=attrs.evolve(mill.shoot, start=start + dt.timedelta(seconds=shift)))
        altitude = compute_frames(moved).sun_true_altitude_deg
        assert (altitude[0] < -12.0) == (first[0] < -12.0)
        assert (altitude[-1] < -18.0) == (first[-1] < -18.0)


def test_rig_camera_and_attended_are_read_checked_and_left_out_where_they_say_nothing(harbour: Plan) -> None:
    document = plan_to_dict(harbour)
    assert "name" not in document["rig"]
    assert "name" not in document["camera"]
    assert "attended" not in document["shoot"]
    document["rig"]["name"], document["shoot"]["attended"] = "short rail", True
    named = plan_from_dict(document)
    assert job(read_shots([named], [""])[0], TERMS).gear == {"rig short rail"}
    assert plan_to_dict(named)["shoot"]["attended"] is True
    for path, value, told in (
        ("rig", 5, "rig.name: 5 is not text"),
        ("shoot", "yes", "shoot.attended: 'yes'"),
    ):
        wrong = plan_to_dict(harbour)
        wrong[path]["name" if path == "rig" else "attended"] = value
        with pytest.raises(PlanError, match=told):
            plan_from_dict(wrong)


def test_other_evenings_far_places_and_too_many_shots_are_refused(
    plans: tuple[Plan, ...], harbour: Plan
) -> None:
    with pytest.raises(PlanError, match="another evening"):
        read_shots((plans[2], attrs.evolve(harbour, site=plans[2].site)), ["a", "b"])
    far = attrs.evolve(plans[1], site=attrs.evolve(plans[1].site, latitude_deg=40.0))
    with pytest.raises(PlanError, match="km from the first"):
        read_shots((plans[0], far), ["a", "b"])
    with pytest.raises(PlanError, match="6 or fewer"):
        read_shots((plans[0],) * 7, ["a"] * 7)
