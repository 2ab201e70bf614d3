"""The shot sheet, read back: its numbers are the FrameTable's, and it needs nothing from outside."""

from __future__ import annotations

import datetime as dt
import math
import re
import zoneinfo
from collections.abc import Iterator
from html.parser import HTMLParser
from typing import Any, NamedTuple

import attrs
import numpy as np
import pytest

from planner_core import FrameTable, Plan, Review, compute_frames, review
from planner_core.evening import sunlight
from planner_core.evening.timetable import timetable, turn_moment
from planner_core.light.exposure import settings_ev100, shutter_label
from planner_core.output.sheet.back import cautions
from planner_core.output.sheet.chart import WIDE, chart_svg, fitting
from planner_core.output.sheet.draw import text_width
from planner_core.output.sheet.map import bearings, block_outlines, measured, rig_svg
from planner_core.output.sheet.meters import plan_meter
from planner_core.output.sheet.page import Picture, sheet_html, strip_frames
from planner_core.output.sheet.tables import (
    exposure_rows,
    late_starts,
    light_advice,
    light_shifts,
    pose_rows,
    ramp_room,
)
from planner_core.plan.file import plan_from_dict
from planner_core.plan.timeline import zone_letters
from tests.present import present
from tests.spoken import spoken
from tests.two_towers import document, plan

PNG = b"\x89PNG\r\n\x1a\n" + bytes(40)
VOID = {"meta", "link", "img", "br"}


class Number(NamedTuple):
    """A cell with a number: the FrameTable's column, the frame from 1, full value, and what is printed."""

    column: str
    frame: int
    value: float
    shown: str


class Page(HTMLParser):
    """The sheet taken apart: cells with numbers, times, all tags with their attributes, and the words."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.cells: list[Number] = []
        self.times: dict[str, tuple[str, str]] = {}
        self.tags: list[tuple[str, dict[str, str]]] = []
        self.open: list[str] = []
        self.words: list[str] = []
        self._cell: tuple[str, int, float] | None = None
        self._time: tuple[str, str] | None = None
        self._text: list[str] = []
        self.feed(text)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = {name: value or "" for name, value in attrs}
        self.tags.append((tag, given))
        if tag not in VOID:
            self.open.append(tag)
        if "data-column" in given:
            self._cell = (given["data-column"], int(given["data-frame"]), float(given["data-value"]))
            self._text = []
        if tag == "time":
            self._time, self._text = (given["data-kind"], given["datetime"]), []

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, {name: value or "" for name, value in attrs}))

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag, f"</{tag}> closes another element"
        if tag == "td" and self._cell:
            self.cells.append(Number(*self._cell, "".join(self._text)))
            self._cell = None
        if tag == "time" and self._time:
            self.times[self._time[0]] = (self._time[1], "".join(self._text))
            self._time = None

    def handle_data(self, data: str) -> None:
        self._text.append(data)
        if "style" not in self.open:
            self.words.append(data)

    @property
    def text(self) -> str:
        return " ".join(" ".join(self.words).split())


def made(
    here: Plan, report: Review | None = None, pictures: list[Picture] | None = None
) -> tuple[FrameTable, Page]:
    frames = compute_frames(here)
    page = Page(sheet_html(here, frames, report or review(here, frames), pictures))
    assert page.open == []
    return frames, page


def expected(frames: FrameTable, number: Number) -> float:
    """What the FrameTable says for a cell."""
    k = number.frame - 1
    column = number.column
    if column.endswith("_from_start"):
        values = getattr(frames, column.removesuffix("_from_start"))
        return float(values[k] - values[0])
    source = frames.ramp if column in ("shutter_s", "iso", "f_number") else frames
    return float(getattr(source, column)[k])


def printed(number: Number) -> tuple[float, float]:
    """A printed number in the unit of its column, and how far rounding may have moved it."""
    text = number.shown.replace("−", "-").removesuffix("°")
    if number.column == "shutter_s":
        text = text.removesuffix(" s")
        seconds = 1.0 / float(text[2:]) if text.startswith("1/") else float(text)
        return seconds, 0.07 * seconds  # nominal shutters are within 7 % of the exact third stops, ISO 516
    if number.column == "iso":
        return float(text), 0.03 * float(text)
    digits = len(text.partition(".")[2])
    scale = 1000.0 if number.column.startswith("slide_m") else 1.0
    return float(text) / scale, 0.5 * 10.0**-digits / scale + 1e-9


VARIANTS: dict[str, dict[str, Any]] = {
    "sunset": {},
    "a sunrise by the clock": {"shoot__anchor": None, "shoot__start": "2027-03-14T06:10:00"},
    "at midday": {"shoot__anchor": None, "shoot__start": "2027-03-14T14:30:00"},
    "without exposure": {"exposure": None},
    "with a filter": {"exposure__nd_stops": 6.0},
    "one frame": {"shoot__frames": 1},
    "two frames": {"shoot__frames": 2},
    "no blocks": {"blocks": [], "composition": None},
    "three poses": {
        "move__poses": [
            {"at": 0.0, "slide_m": 0.1, "pan_deg": 262.0, "tilt_deg": -1.0},
            {"at": 0.4, "slide_m": 0.9, "pan_deg": 275.0},
            {"at": 1.0, "slide_m": 0.3, "pan_deg": 270.0, "tilt_deg": 2.0},
        ]
    },
    "a fixed tripod": {"rig__slide": None, "rig__pan": None, "rig__tilt": None, "move__poses": [{"at": 0.0}]},
    "in the far south": {
        "site__latitude_deg": -54.8,
        "site__longitude_deg": -68.3,
        "site__timezone": "America/Argentina/Ushuaia",
    },
    "the midnight sun": {
        "site__latitude_deg": 78.2,
        "site__longitude_deg": 15.6,
        "site__timezone": "Arctic/Longyearbyen",
        "shoot__anchor": None,
        "shoot__start": "2027-06-21T23:30:00",
    },
    "a moonrise": {"shoot__anchor": {"event": "moonrise", "date": "2027-03-23", "at": 0.3}},
    "upright": {"clip__width_px": 2160, "clip__height_px": 3840},
    "a second away from nothing": {"shoot__interval_s": 0.5, "shoot__frames": 40},
}


@pytest.mark.once
@pytest.mark.parametrize("variant", VARIANTS)
def test_numbers_on_the_sheet_are_the_frame_tables(variant: str) -> None:
    frames, page = made(plan(**VARIANTS[variant]))
    assert page.cells
    for number in page.cells:
        exact = expected(frames, number)
        assert number.value == exact, number
        value, slack = printed(number)
        assert value == pytest.approx(exact, abs=slack), number
    start, shown = page.times["start"]
    assert start == page_time(frames, 0.0)
    assert shown.startswith(f"{local(frames, 0):%H:%M}")


def page_time(frames: FrameTable, after_s: float) -> str:
    from planner_core.plan.timeline import utc_datetime

    return utc_datetime(float(frames.utc_s[0]) + after_s).isoformat()


def local(frames: FrameTable, k: int) -> Any:
    from planner_core.plan.timeline import local_datetime

    return local_datetime(float(frames.utc_s[k]), frames.plan.zone)


def test_the_times_are_the_timetables() -> None:
    here = plan()
    frames, page = made(here)
    for moment in timetable(here, frames):
        if moment.kind in ("light", "set-up"):
            continue
        assert page.times[moment.kind][1].startswith(f"{moment.local(here):%H:%M}")
    assert set(page.times) == {"leave", "arrive", "test-run", "start", "event", "end"}


@pytest.mark.once
def test_every_part_of_an_evening_is_there() -> None:
    _, page = made(plan())
    for words in (
        "Sun between the silos",
        "Sunday 14 March 2027",
        "The slide brings the far silo out",
        "Leave by",
        "Arrive, set up",
        "Test run",
        "Sunset",
        "Poses",
        "Exposure by hand",
        "The place",
        "The rig",
        "Watch out for",
        "When the light is different",
        "To pack",
        "Take care",
        "North silo",
        "under local law",
    ):
        assert words in page.text, words


@pytest.mark.once
def test_nothing_comes_from_outside_and_nothing_runs() -> None:
    here = plan(
        title="<script>alert(1)</script>",
        notes='"><img src=x onerror=alert(1)>',
        reason="http://example.org/a.png",
    )
    frames = compute_frames(here)
    text = sheet_html(here, frames, review(here, frames))
    page = Page(text)
    names = {tag for tag, _ in page.tags}
    assert not names & {
        "script",
        "iframe",
        "object",
        "embed",
        "form",
        "base",
        "image",
        "foreignobject",
        "use",
    }
    for tag, given in page.tags:
        assert not any(name.startswith("on") for name in given), tag
        for name in ("src", "href", "xlink:href", "srcset", "action", "data"):
            assert given.get(name, "data:").startswith("data:"), (tag, name)
    style = re.search("<style>(.*?)</style>", text, re.DOTALL)
    assert style
    assert not re.search(r"@import|url\(|https?:", style[1])
    policy = next(
        given["content"]
        for _, given in page.tags
        if "content-security-policy" in given.get("http-equiv", "").lower()
    )
    assert "default-src 'none'" in policy


def test_words_of_the_plan_are_shown_as_they_are_written() -> None:
    title = 'Tide & "Turn" <7 m>\x00 ½'
    _, page = made(plan(title=title))
    assert 'Tide & "Turn" <7 m> ½' in page.text


def test_the_strip_shows_first_event_weakest_and_last() -> None:
    frames = compute_frames(plan())
    reviewed = review(plan(), frames)

    def weakest_at(frame: int) -> Review:
        picture = attrs.evolve(reviewed.summary.picture, weakest_frame=frame)
        return attrs.evolve(reviewed, summary=attrs.evolve(reviewed.summary, picture=picture))

    report = weakest_at(77)
    assert [(shown.label, shown.frame) for shown in strip_frames(frames, report)] == [
        ("first", 1),
        ("weakest picture", 77),
        ("sunset", 181),
        ("last", 360),
    ]
    assert len(strip_frames(frames, None)) == 4
    assert [shown.frame for shown in strip_frames(compute_frames(plan(shoot__frames=1)), None)] == [1]
    assert "weakest picture, last" in [shown.label for shown in strip_frames(frames, weakest_at(360))]


@pytest.mark.once
def test_pictures_of_the_draft_clip_stand_where_there_is_one_of_every_frame() -> None:
    here = plan()
    frames = compute_frames(here)
    wanted = [shown.frame for shown in strip_frames(frames, review(here, frames))]
    contents = [PNG, b"\xff\xd8\xff\xe0 jpeg", PNG, PNG]
    pictures = [Picture(frame=n, content=c) for n, c in zip(wanted, contents, strict=True)]
    _, page = made(here, pictures=[*pictures, Picture(frame=2, content=PNG)])
    sources = [given["src"].partition(";")[0] for tag, given in page.tags if tag == "img"]
    assert sources == [f"data:image/{kind}" for kind in ("png", "jpeg", "png", "png")]
    one_is_no_picture = [*pictures[1:], Picture(frame=wanted[0], content=b"GIF89a")]
    for some in (pictures[1:], one_is_no_picture):
        _, page = made(here, pictures=some)
        assert not [tag for tag, _ in page.tags if tag == "img"]


def test_upright_pictures_fill_the_strip() -> None:
    upright = compute_frames(plan(clip__width_px=1080, clip__height_px=1920))
    assert len(strip_frames(upright, None)) == 8


@pytest.mark.once
def test_drawings_have_names_for_those_who_cannot_see_them() -> None:
    _, page = made(plan())
    for tag, given in page.tags:
        if tag == "svg":
            assert given["role"] == "img"
            assert given["aria-label"]


@pytest.mark.once
def test_identifiers_within_the_page_are_unique() -> None:
    _, page = made(plan())
    found = [given["id"] for _, given in page.tags if "id" in given]
    assert len(found) == len(set(found))


@pytest.mark.once
def test_a_town_of_a_thousand_houses_stays_a_page() -> None:
    house = {"name": "", "role": "background", "shape": "box", "size_m": [12, 9, 8]}
    town = [
        {**house, "name": f"house {i}-{j}", "centre_m": [i * 20 - 300, 60 + j * 15, 4]}
        for i in range(30)
        for j in range(34)
    ]
    here = plan(blocks=[*document()["blocks"], *town])
    frames = compute_frames(here)
    report = attrs.evolve(review(plan(), compute_frames(plan())), findings=())
    text = sheet_html(here, frames, report)
    assert len(text) < 3_000_000


# ---------------------------------------------------------------- what its tables hold


def test_poses_are_typed_at_their_frames_with_quarters_between() -> None:
    rows = pose_rows(plan(**VARIANTS["three poses"]))
    # place 0.4 of 359 steps is frame 145, counted from 1
    assert [(row.label, row.index + 1) for row in rows] == [
        ("pose 1", 1),
        ("25 %", 91),
        ("pose 2", 145),
        ("50 %", 181),
        ("75 %", 270),
        ("pose 3", 360),
    ]


def test_many_poses_stay_a_table() -> None:
    many = [{"at": k / 40, "slide_m": 0.1 + k / 40, "pan_deg": 262.0, "tilt_deg": 3.0} for k in range(41)]
    rows = pose_rows(plan(move__poses=many))
    assert len(rows) == 9
    assert (rows[0].index, rows[-1].index) == (0, 359)


def test_exposure_steps_are_settings_of_the_ramp_at_the_frame_where_they_change() -> None:
    frames = compute_frames(plan())
    rows = exposure_rows(frames)
    ramp = frames.ramp
    assert 5 <= len(rows) <= 18
    assert rows[0].index == 0
    level = settings_ev100(present(ramp).f_number, present(ramp).shutter_s, present(ramp).iso)
    for row in rows:
        assert row.shutter == shutter_label(float(present(ramp).shutter_s[row.index]))
        assert row.index == 0 or level[row.index] != level[row.index - 1]
    # by hand, no frame is left more than a step from the ramp: steps are equal
    gaps = np.diff([level[row.index] for row in rows])
    assert np.ptp(gaps) < 0.34
    listed = np.array([row.index for row in rows])
    held = level[listed[np.searchsorted(listed, np.arange(len(frames)), side="right") - 1]]
    assert np.max(np.abs(held - level)) < np.max(np.abs(gaps)) - 0.2
    assert exposure_rows(compute_frames(plan(exposure=None))) == ()


def test_a_darker_evening_is_a_later_row() -> None:
    here = plan()
    frames = compute_frames(here)
    event = turn_moment(timetable(here, frames))
    start, sunset, end = light_shifts(frames, event)
    assert (start.when, sunset.when, end.when) == ("start", "sunset", "end")
    for row in (start, sunset):
        minutes = present(row.minutes[-1])
        later = np.interp(frames.utc_s[row.index] + minutes * 60.0, frames.utc_s, frames.scene_ev100)
        assert later == pytest.approx(row.ev100 - 1.0, abs=1e-3)
        assert minutes > 0.0
    # brighter than the first frame, and darker than the place's own lamps, is nowhere in the plan
    assert start.minutes[1] is None
    assert end.minutes[-1] is None


def test_room_of_the_ramp_is_what_the_limits_leave() -> None:
    here = plan()
    frames = compute_frames(here)
    room = ramp_room(frames)
    ramp = frames.ramp
    assert room is not None
    # stops are doublings: to ISO 1600 and the longest shutter at the dark end
    left = math.log2(
        present(ramp).longest_shutter_s
        / present(ramp).shutter_s[room.darker_at]
        * 1600.0
        / present(ramp).iso[room.darker_at]
    )
    assert room.darker_stops == pytest.approx(left)
    assert room.darker_stops >= 0.0
    assert room.brighter_stops >= 0.0


def test_a_late_start_says_where_the_event_falls_then() -> None:
    here = plan()
    frames = compute_frames(here)
    late = {row.minutes: row for row in late_starts(here, frames, turn_moment(timetable(here, frames)))}
    # five minutes are twenty frames of 15 s
    assert late[5].frame == pytest.approx(181 - 20, abs=1)
    assert late[10].interval_s == pytest.approx((here.duration_s - 600.0) / 359.0)


def test_directions_are_those_of_the_frames() -> None:
    here = plan()
    frames = compute_frames(here)
    rows = bearings(frames, turn_moment(timetable(here, frames)))
    assert [(row.body, row.when, row.frame) for row in rows] == [
        (body, when, frame)
        for body in ("sun", "moon")
        for when, frame in (("start", 1), ("sunset", 181), ("end", 360))
    ]
    assert rows[0].bearing_deg == frames.sun_azimuth_deg[0]
    assert not rows[2].up


def test_blocks_are_measured_from_the_rails_start() -> None:
    rows = {row.name: row for row in measured(plan(), block_outlines(plan()))}
    # the bollard's middle is 1.649 m away, 0.4 m left of straight ahead (266°), and 0.15 m thick to that side
    assert rows["Bollard"].distance_m == pytest.approx(math.hypot(0.4, 1.6) - 0.15, abs=0.01)
    assert rows["Bollard"].bearing_deg == pytest.approx(266.0 - math.degrees(math.atan2(0.4, 1.6)), abs=1.5)
    assert rows["Bollard"].height_m == pytest.approx(0.7)
    assert next(iter(rows)) == "Bollard"


def test_cautions_tell_when_the_sun_is_in_the_picture() -> None:
    here = plan()
    frames = compute_frames(here)
    said = " ".join(cautions(here, frames))
    span = sunlight.sun_in_picture_frames(sunlight.sunlight(frames))
    assert span is not None
    assert f"in the picture from frame {span[0]} to frame {span[1]}" in said
    assert "there is water here" in said
    away = plan(
        blocks=[],
        composition=None,
        move__poses=[
            {"at": 0.0, "slide_m": 0.1, "pan_deg": 181.0},
            {"at": 1.0, "slide_m": 0.2, "pan_deg": 182.0},
        ],
    )
    said = " ".join(cautions(away, compute_frames(away)))
    assert "in the picture" not in said
    assert "water here" not in said
    # the cautions themselves are common practice, no source
    for word in ("sun", "tie", "wind", "owner", "licensed", "local law"):
        assert word in said


def long_words(count: int) -> Iterator[str]:
    yield from (f"wordy{k}" for k in range(count))


def test_findings_come_in_their_order_and_whole() -> None:
    findings = tuple(
        spoken(f"Message {k}: " + " ".join(long_words(20)), f"Do {k}.", level=level)
        for k, level in enumerate(["stop", "warn", "note"] * 6)
    )
    here = plan()
    frames = compute_frames(here)
    page = Page(sheet_html(here, frames, attrs.evolve(review(here, frames), findings=findings)))
    places = [page.text.index(f"Message {k}:") for k in range(len(findings))]
    assert places == sorted(places)
    assert "more on the phone" in page.text


def test_the_document_of_the_tests_is_a_plan() -> None:
    assert plan_from_dict(document()) == plan()


@pytest.mark.once
def test_a_length_of_an_hour_less_a_few_seconds_is_told_as_the_hour() -> None:
    _, page = made(plan(shoot__frames=1200, shoot__interval_s=15.0))  # 4 h 59 min 45 s
    assert "one every 15 s, 5 h ·" in " ".join(page.words)


@pytest.mark.parametrize("bearing_deg", [266.0, 300.0, 356.0, 86.0, 110.0, 176.0])
def test_no_words_stand_on_the_rail_in_the_drawing_of_the_rig(bearing_deg: float) -> None:
    given = plan(rig__bearing_deg=bearing_deg)
    svg = rig_svg(given, compute_frames(given), block_outlines(given), 70.0, 38.0)
    found = re.search(r'<path d="M([-.\d]+),([-.\d]+) L([-.\d]+),([-.\d]+)" class="rail"', svg)
    assert found
    rail = np.array([float(number) for number in found.groups()]).reshape(2, 2)
    points = np.linspace(rail[0], rail[1], 101)
    told = re.findall(
        r'<text x="([-.\d]+)" y="([-.\d]+)" font-size="([.\d]+)" class="tb halo"[^>]*>([^<]+)', svg
    )
    assert {words.split()[0] for *_, words in told} == {"start", "end"}
    for x, y, size, words in told:
        left, base, tall = float(x), float(y), float(size)
        beside = (points[:, 0] < left) | (points[:, 0] > left + 0.5 * tall * len(words))
        assert np.all(beside | (points[:, 1] < base - 0.6 * tall) | (points[:, 1] > base)), words


# ---------------------------------------------------------------- what to meter

METERS = ("ground", "picture", "sky", "subject")


def metered(meter: str, **changes: Any) -> tuple[FrameTable, Page]:
    here = plan(exposure__meter=meter, **changes)
    frames = compute_frames(here)
    return frames, Page(sheet_html(here, frames, review(here, frames)))


def readings_shown(page: Page) -> dict[tuple[str, int], float]:
    """Cells with what a meter reads, by the reading's name and the frame from 1."""
    return {
        (given["data-reading"], int(given["data-frame"])): float(given["data-value"])
        for _, given in page.tags
        if "data-reading" in given
    }


@pytest.mark.once
@pytest.mark.parametrize("meter", METERS)
def test_a_spot_meter_can_check_sky_ground_and_subject_at_start_event_and_end(meter: str) -> None:
    frames, page = metered(meter)
    shown = readings_shown(page)
    event = turn_moment(timetable(frames.plan, frames))
    assert event is not None
    for frame in (1, event.frame, len(frames)):
        assert frame is not None
        for name in ("sky_ev100", "ground_ev100", "subject_ev100"):
            assert shown[name, frame] == getattr(frames.readings, name)[frame - 1]


def test_what_a_picture_lacks_is_not_to_be_metered() -> None:
    frames, page = metered("subject", blocks=[], composition=None)
    assert not [name for name, _ in readings_shown(page) if name == "subject_ev100"]
    assert "The meter reads the whole picture" in page.text
    assert np.isfinite(plan_meter(frames).ev100).all()


@pytest.mark.once
@pytest.mark.parametrize(
    ("meter", "words"),
    [
        ("ground", "The meter reads the light in the open: EV is what an incident meter shows"),
        ("picture", "The meter reads the whole picture: EV is what the camera’s meter"),
        ("sky", "The meter reads the brightest part of the sky: EV is what a spot meter shows"),
        ("subject", "The meter reads the subject’s face: EV is what a spot meter shows"),
    ],
)
def test_exposure_by_hand_says_what_is_metered_and_reads_it_in_every_row(meter: str, words: str) -> None:
    frames, page = metered(meter)
    assert words in page.text
    reading = {
        "ground": frames.scene_ev100,
        "picture": frames.metered_ev100,
        "sky": frames.readings.sky_ev100,
        "subject": frames.readings.subject_ev100,
    }[meter]
    chosen = plan_meter(frames)
    np.testing.assert_array_equal(chosen.ev100, reading)
    cells = readings_shown(page) | {(n.column, n.frame): n.value for n in page.cells}
    for row in exposure_rows(frames):
        assert cells[chosen.column, row.index + 1] == reading[row.index]


@pytest.mark.once
@pytest.mark.parametrize("meter", METERS)
def test_a_darker_evening_is_a_later_row_by_every_meter(meter: str) -> None:
    frames, _ = metered(meter)
    start, sunset, _ = light_shifts(frames, turn_moment(timetable(frames.plan, frames)))
    reading = plan_meter(frames).ev100
    for row in (start, sunset):
        minutes = row.minutes[-1]
        assert minutes is not None
        assert minutes > 0.0
        later = np.interp(frames.utc_s[row.index] + minutes * 60.0, frames.utc_s, reading)
        assert row.ev100 == reading[row.index]
        assert later == pytest.approx(row.ev100 - 1.0, abs=1e-3)


@pytest.mark.once
def test_cloud_takes_of_the_picture_what_the_picture_under_that_cloud_lacks() -> None:
    frames, _ = metered("picture")
    under_cloud, _ = metered("picture", shoot__cloud_divisor=10.0)
    event = turn_moment(timetable(frames.plan, frames))
    assert event is not None
    assert event.frame is not None
    k = event.frame - 1
    taken = frames.metered_ev100[k] - under_cloud.metered_ev100[k]
    said = " ".join(light_advice(frames.plan, frames, event))
    assert f"dark stratus takes {taken:.1f}" in said
    # toward the sun the sky loses more than the ground does, log2(10) stops at most
    assert taken > math.log2(10.0)
    ground, _ = metered("ground")
    assert "dark stratus takes 3.3" in " ".join(light_advice(ground.plan, ground, event))


# ---------------------------------------------------------------- clocks


@pytest.mark.once
def test_clock_times_carry_the_zones_letters_where_the_clocks_change() -> None:
    # Portugal's clocks go from 01:00 WET to 02:00 WEST on 28 March 2027 (IANA time zone database)
    _, page = made(plan(shoot__anchor=None, shoot__start="2027-03-28T00:30:00"))
    assert "00:30 WET" in page.text
    assert re.search(r"start 1 00:30 :00 WET", page.text)
    assert re.search(r"end 360 02:59 :45 WEST", page.text)
    _, page = made(plan())
    assert "WET" not in page.text


def test_a_zone_without_letters_is_named_by_its_offset() -> None:
    # Ushuaia keeps UTC−3, and the time zone database gives it no letters
    local = dt.datetime(2027, 3, 14, 20, 0, tzinfo=zoneinfo.ZoneInfo("America/Argentina/Ushuaia"))
    assert zone_letters(local) == "UTC−03"
    assert zone_letters(local.astimezone(zoneinfo.ZoneInfo("Europe/Madrid"))) == "CET"


# ---------------------------------------------------------------- room on paper


@pytest.mark.parametrize(
    ("words", "em"),
    # sums of the advances in DejaVu Sans 2.37, in em
    [("Sunset", 3.43), ("1/1000 s", 4.36), ("00:00", 2.88), ("illicit", 2.33), ("−10.0°", 3.56)],
)
def test_words_are_taken_to_be_as_wide_as_in_a_wide_face(words: str, em: float) -> None:
    assert em <= text_width(words, 1.0) <= 1.1 * em
    assert text_width(words, 2.0) == pytest.approx(2.0 * text_width(words, 1.0))
    assert text_width(words, 1.0, bold=True) > text_width(words, 1.0)


def test_a_chart_takes_the_height_that_it_is_given_as_far_as_it_looks_right() -> None:
    frames = compute_frames(plan())

    def height(given_mm: float) -> float:
        svg = chart_svg(frames, (), fitting(frames, WIDE, given_mm))
        found = re.search(r'height="([.\d]+)"', svg)
        assert found
        return float(found[1])

    assert height(100.0) == pytest.approx(100.0, abs=0.1)
    assert 45.0 < height(20.0) < height(100.0) < height(400.0) < 140.0


@pytest.mark.once
def test_a_plan_with_a_stop_says_so_on_the_first_side() -> None:
    here = plan()
    frames = compute_frames(here)
    report = review(here, frames)
    stopped = attrs.evolve(
        report, findings=(spoken("The rail is short.", "Take a longer one.", level="stop"),)
    )
    assert "Not ready to go: one point has to change first" in made(here, stopped)[1].text
    assert "Not ready" not in made(here, attrs.evolve(report, findings=()))[1].text
