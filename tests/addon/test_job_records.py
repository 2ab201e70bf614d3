"""What window and background process write to each other comes out as it went in."""

from __future__ import annotations

import datetime as dt
import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from blender_addon.render.progress import Progress
from blender_addon.ui import job_records
from blender_addon.ui.job_records import (
    Failure,
    JobFile,
    PreviewTask,
    Said,
    ScoutTask,
    Shown,
    ShownEvening,
    ShownFind,
)
from planner_core.words.language import Language

pytestmark = pytest.mark.once

FIND = ShownFind(
    name="the tower",
    in_short="28 mm, still",
    points=71.5,
    reason="It stands well.",
    costs=("no walk",),
    to_check=("the fence",),
    place_m=(1.0, 2.0, 0.5),
    cameras_m=np.arange(6.0).reshape(2, 3),
    turns=np.stack([np.eye(3)] * 2),
    plan="{}",
    best_evenings=(dt.date(2027, 3, 14),),
)
RECORDS = (
    JobFile(
        work="scout_work",
        task=job_records.plain(ScoutTask(what="SPOTS", area=(0.0, -1.0, 2.0, 3.0), reviews=6, top=2)),
        plan='{"title": "Pier"}',
        said=Path("said.txt"),
        language=Language("de", {"Frame {first}": "Bild {first}"}),
    ),
    PreviewTask(output=Path("a.mp4"), look="lit", frame_range=(3, 9), size=(640, 360), shown=((1, "First"),)),
    Said(progress=Progress(stage="drawing", done=3, total=9, seconds_left=4.5)),
    Said(failed=Failure(problem="No subject", field="look")),
    Shown(
        places_m=np.zeros((2, 3)),
        worth=np.array([1.0, 2.5]),
        planned=60.0,
        remark="",
        finds=(FIND,),
        evenings=(ShownEvening(date=dt.date(2027, 3, 15), best=None),),
    ),
)


@pytest.mark.parametrize("record", RECORDS, ids=lambda record: type(record).__name__)
def test_a_record_that_was_written_is_read_as_it_was(record: Any) -> None:
    written = json.dumps(job_records.plain(record))
    again = job_records.read(type(record), json.loads(written))
    assert json.dumps(job_records.plain(again)) == written


def test_paths_places_and_days_are_read_as_what_they_are() -> None:
    again = job_records.read(Shown, json.loads(json.dumps(job_records.plain(RECORDS[-1]))))
    assert again.places_m.shape == (2, 3)
    assert again.finds[0].turns.shape == (2, 3, 3)
    assert again.finds[0].best_evenings == (dt.date(2027, 3, 14),)
    task = PreviewTask(output=Path("a.mp4"), look="lit", size=(640, 360), shown=((1, "First"),))
    assert job_records.read(PreviewTask, json.loads(json.dumps(job_records.plain(task)))) == task
    empty = job_records.read(Shown, job_records.plain(Shown(planned=0.0, remark="", finds=())))
    assert empty.places_m.size == 0


def test_a_name_that_no_record_has_is_no_line_of_ours() -> None:
    with pytest.raises(TypeError, match="kind"):
        job_records.read(Said, {"kind": "progress"})
