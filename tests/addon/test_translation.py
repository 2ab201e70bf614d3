"""Words of the add-on are looked up apart from Blender's, so that none is taken for another meaning of it."""

from __future__ import annotations

import ast
import datetime as dt
import json
import re
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import attrs
import bpy
import pytest

from blender_addon import compat
from blender_addon.render import engines
from blender_addon.render.request import PreviewError, PreviewRequest
from blender_addon.state import live
from blender_addon.ui import operators, panels, properties, wording
from blender_addon.ui.german import GERMAN
from blender_addon.ui.job_records import PreviewTask
from blender_addon.ui.operators.review import fit_of
from blender_addon.ui.preview_job import Job
from blender_addon.ui.preview_work import refusal_words
from blender_addon.ui.translation import CONTEXT, LANGUAGES
from planner_core import Plan, PlanError, compute_frames, load_plan, review
from planner_core.edit import starter
from planner_core.plan.file import plan_to_text
from planner_core.review import findings
from planner_core.review.findings import SPEAKERS, Sentences, sentences, speaks
from planner_core.review.german import remedies as german
from planner_core.review.remedy import Remedy
from planner_core.scout.finds import describe, report
from planner_core.scout.search import ReviewedShot, Scout, Wishes
from planner_core.words import language
from planner_core.words.language import Language, in_words
from tests.addon.messages import SOURCES, all_messages, filled_in_too_early
from tests.addon.test_panels import drawn
from tests.scouting import TOWER, box, ground, place
from tests.spoken import codes_of_the_tool


def names_without_context(kind: Any) -> list[str]:
    """Properties that the add-on declares for a class, and that are looked up among Blender's words."""
    declared = {name for base in kind.__mro__ for name in getattr(base, "__annotations__", {})}
    properties = kind.bl_rna.properties
    return [
        name
        for name in sorted(declared)
        if name in properties and properties[name].translation_context != CONTEXT
    ]


@pytest.mark.parametrize("kind", properties.CLASSES, ids=lambda kind: kind.__name__)
def test_every_field_of_the_sidebar_has_the_add_ons_own_context(empty: Any, kind: Any) -> None:
    assert names_without_context(kind) == []


def test_the_look_fast_is_not_blenders_word_for_to_fasten(empty: Any) -> None:
    look = empty.duskrail.bl_rna.properties["look"]
    assert look.translation_context == CONTEXT
    assert [item.name for item in look.enum_items] == ["Fast", "Exposed"]


def test_every_button_and_its_options_have_it(empty: Any) -> None:
    for cls in operators.CLASSES:
        assert cls.bl_rna.translation_context == CONTEXT, cls.bl_idname
        assert names_without_context(cls) == [], cls.bl_idname


def test_every_panel_has_it(empty: Any) -> None:
    for cls in panels.CLASSES:
        if issubclass(cls, bpy.types.UIList):
            continue
        assert cls.bl_rna.translation_context == CONTEXT, cls.__name__


def test_names_in_the_search_mean_something_alone(empty: Any) -> None:
    # Blender's guidelines: names of operators in Title Case; a single verb says too little in a search
    small = {
        "a",
        "an",
        "and",
        "as",
        "at",
        "by",
        "for",
        "from",
        "in",
        "into",
        "of",
        "the",
        "to",
        "under",
        "with",
    }
    for cls in operators.CLASSES:
        words = cls.bl_label.split()
        assert len(words) > 1, cls.bl_label
        assert all(word[0].isupper() or word[0].isdigit() or word in small for word in words), cls.bl_label


# ---------------------------------------------------------------- German


def places(message: str) -> set[str]:
    """The places for values in a message, with how they are written."""
    return set(re.findall(r"\{[^}]*\}", message))


@pytest.mark.once
def test_every_message_is_in_the_german_catalogue_and_nothing_else(empty: Any) -> None:
    messages = set(all_messages())
    assert sorted(messages - set(GERMAN)) == [], "these are not translated yet"
    assert sorted(set(GERMAN) - messages) == [], "these are said no more"


def test_no_message_has_its_values_before_it_is_translated() -> None:
    early = [text for path in SOURCES for text in filled_in_too_early(path.read_text("utf-8"))]
    assert early == []


def test_a_translation_has_the_values_of_its_message() -> None:
    wrong = {m: said for m, said in GERMAN.items() if not places(said) <= places(m)}
    assert wrong == {}
    assert [m for m, said in GERMAN.items() if not said.strip()] == []


def test_every_finding_speaks_german() -> None:
    ours = codes_of_the_tool()
    assert ours - set(SPEAKERS["de"]) == set()
    assert set(SPEAKERS["de"]) <= ours


def facts_asked(folder: Path) -> set[str]:
    """Names of the facts that the sentences of a folder ask for."""
    return {
        str(node.args[0].value)
        for path in folder.glob("*.py")
        for node in ast.walk(ast.parse(path.read_text("utf-8")))
        if isinstance(node, ast.Call) and node.args and isinstance(node.args[0], ast.Constant)
        if (node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", ""))
        == "fact"
    }


def test_german_sentences_ask_for_no_fact_that_there_isnt(project_root: Path) -> None:
    folder = project_root / "planner_core" / "review"
    known = facts_asked(folder / "words") | {"step", "start", "was_start", "was_at", "calm", "now", "axis"}
    asked = facts_asked(folder / "german") - {"focus", "sharp_from", "sharp_to", "hyperfocal"}
    assert len(asked) > 100
    assert asked - known == set()


@pytest.mark.parametrize("name", ["classic_mistakes", "harbour_light"])
def test_an_examples_review_is_told_in_german(name: str, project_root: Path) -> None:
    plan = load_plan(project_root / "example_scenes" / f"{name}.plan.json")
    report = review(plan, compute_frames(plan))
    english = [sentences(finding, wording.SIDEBAR) for finding in report.findings]
    language.chosen_by(choose_german)
    try:
        told = [sentences(finding, wording.SIDEBAR) for finding in report.findings]
    finally:
        language.left(choose_german)
    assert report.findings
    for finding, ours, theirs in zip(report.findings, english, told, strict=True):
        assert theirs.message != ours.message, finding.code
        assert theirs.message.endswith(".")
        assert not theirs.fix or theirs.fix != ours.fix, finding.code
        said = re.sub("[„“][^“”]*[“”]", "", f"{theirs.message} {theirs.fix}")  # names stay
        left = re.findall(r"\b(?:the|and|of|is|with|frames?|instead|set)\b", said)
        assert left == [], (finding.code, theirs)


def test_what_draws_and_what_a_field_is_set_to_are_told_in_german() -> None:
    language.chosen_by(choose_german)
    try:
        drawn_by = engines.choose_engine("lit", compat.CYCLES).said
        remedy = german.remedies_text([Remedy(changes={"exposure.meter": "picture"})], wording.SIDEBAR)
    finally:
        language.left(choose_german)
    assert drawn_by == "Cycles auf dem Prozessor (wie verlangt)"
    assert "„Bild“" in remedy
    assert "picture" not in remedy


def choose_german() -> Language:
    return LANGUAGES["de_DE"]


# ---------------------------------------------------------------- a language that nobody speaks

# Each letter is another one: whatever still has plain letters was said past the catalogue.
PLAIN = "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ"
ODD = str.maketrans(PLAIN, "αβψδεφγηιξκλμνοπθρστυωςχζζΑΒΨΔΕΦΓΗΙΞΚΛΜΝΟΠΘΡΣΤΥΩΣΧΨΖ")
UNITS = re.compile(r"\b(?:ISO|EV|mm|min|px|GB|MB|ms)\b|f/")


class Odd(Mapping[str, str]):
    """A catalogue that has every message, in letters that English has not."""

    def __getitem__(self, message: str) -> str:
        parts = re.split(r"(\{[^}]*\})", message)
        return "".join(part if part.startswith("{") else part.translate(ODD) for part in parts)

    def __iter__(self) -> Iterator[str]:
        return iter(())

    def __len__(self) -> int:
        return 0


def odd() -> Language:
    return Language("xx", Odd())


@pytest.fixture
def spoken_oddly() -> Iterator[None]:
    for code in codes_of_the_tool():
        speaks(code, language="xx")(lambda finding, _names: Sentences("Ωτι."))
    findings.has_voice(
        "xx",
        findings.Voice(
            lambda _remedies, _names: "Σετ.", lambda _finding: "Νο.", lambda _costs: "1", lambda _code: "ωτ"
        ),
    )
    language.chosen_by(odd)
    yield
    language.left(odd)
    SPEAKERS.pop("xx")
    findings._VOICES.pop("xx")


@pytest.mark.parametrize("state", ["example", "empty", "none", "amiss"])
def test_every_text_of_the_sidebar_can_be_translated(empty: Any, spoken_oddly: None, state: str) -> None:
    names: set[str] = set()
    if state != "none":
        make = starter.starter_plan if state == "example" else starter.bare_plan
        plan = make(starter.PlanDefaults(), dt.date(2027, 3, 14))
        live.set_plan(empty, plan)
        live.review_now(empty)
        names = {plan.title, plan.site.name, plan.site.timezone, *(b.name for b in plan.blocks)}
        names |= {block.part_of for block in plan.blocks}
    if state == "amiss":
        empty.unit_settings.scale_length = 0.01
        bpy.data.objects.remove(empty.camera)
    for panel, asked in drawn(empty).items():
        for line in asked:
            kind, _, text = line.partition(" ")
            if kind != "label":
                continue
            for name in sorted(names, key=len, reverse=True):
                text = text.replace(name, "") if name else text
            assert not re.search("[A-Za-z]{2}", UNITS.sub("", text)), (panel, line)


def plain_letters(text: str) -> list[str]:
    """What of a text is still in plain letters, and is neither a unit nor stands in quotation marks."""
    return re.findall(r"[A-Za-z]{2,}", re.sub(r"“[^”]*”|\"[^\"]*\"|'[^']*'", "", UNITS.sub("", text)))


def words_of_plans(project_root: Path) -> set[str]:
    """Fields and choices, which a plan file has in English whoever reads it."""
    schema = (project_root / "docs" / "plan.schema.json").read_text("utf-8")
    names = re.findall(r'"([a-z_]+)"', schema)
    return {word for name in names for word in name.split("_")} | {"null", "true", "false"}


def plan_file(folder: Path, plan: Plan, path: str, value: Any) -> Path:
    """A plan file in which one field has another value."""
    document = json.loads(plan_to_text(plan))
    holder: Any = document
    *steps, last = re.findall(r"[a-z_0-9]+", path)
    for step in steps:
        holder = holder[int(step) if step.isdigit() else step]
    holder[int(last) if last.isdigit() else last] = value
    file = folder / "a.plan.json"
    file.write_text(json.dumps(document), "utf-8")
    return file


REFUSED = [
    ("camera.focal_length_mm", 0.024),
    ("camera.focal_length_mm", "24"),
    ("camera.focus_distance_m", 0.01),
    ("rig.slide.max_m", 1500),
    ("rig.slide.max_m", 0.0),
    ("site.latitude_deg", 431),
    ("site.timezone", "Europe/Lissbon"),
    ("shoot.interval_s", 0.0),
    ("shoot.frames", 2.5),
    ("shoot.anchor.event", "dinner"),
    ("shoot.anchor.date", "2027-02-30"),
    ("shoot.anchor.at", 50),
    ("shoot.start", "2027-03-14T17:20:00"),
    ("exposure.iso_max", 1),
    ("move.poses[1].at", 0.0),
    ("rig.pan", None),
    ("blocks[1].size_m", [1, 2]),
    ("blocks[1].size_m", [1, 2, 1e9]),
    ("version", 99),
    ("format", "another"),
    ("title", 5),
    ("shoot", []),
]


@pytest.mark.once
@pytest.mark.parametrize(("path", "value"), REFUSED, ids=lambda part: str(part)[:24])
def test_what_a_plan_file_is_refused_for_can_be_translated(
    spoken_oddly: None, tmp_path: Path, project_root: Path, path: str, value: Any
) -> None:
    plan = starter.starter_plan(starter.PlanDefaults(), dt.date(2027, 3, 14))
    with pytest.raises(PlanError) as refused:
        load_plan(plan_file(tmp_path, plan, path, value))
    said = wording.refusal_text(refused.value, plan).partition(": ")[2]
    assert said
    assert set(plain_letters(said)) <= words_of_plans(project_root) | {"Europe", "Lisbon", "UTC"}


@pytest.mark.once
def test_files_that_are_no_plans_are_refused_in_any_language(
    spoken_oddly: None, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    for name, content in (("empty", ""), ("list", "[]"), ("broken", '{"a": '), ("twice", '{"a": 1, "a": 2}')):
        Path(f"{name}.json").write_text(content, "utf-8")
    for name in ("empty", "list", "broken", "twice", "nowhere"):
        with pytest.raises(PlanError) as refused:
            load_plan(f"{name}.json")
        said = re.sub(r"\([^)]*\)", "", refused.value.reason)  # in brackets: what Python's own reader says
        assert plain_letters(said) == [], said


@pytest.mark.once
@pytest.mark.parametrize("kind", ["travel", "balance", "clip", "compose", "all"])
def test_what_a_fit_did_can_be_translated(spoken_oddly: None, project_root: Path, kind: str) -> None:
    plan = load_plan(project_root / "example_scenes" / "classic_mistakes.plan.json")
    fitted = fit_of(kind, plan, lambda _text: None)
    assert fitted.said
    for line in map(in_words, fitted.said):
        assert plain_letters(line) == [], line


def test_a_fit_and_a_refusal_speak_german(project_root: Path, tmp_path: Path) -> None:
    plan = load_plan(project_root / "example_scenes" / "classic_mistakes.plan.json")
    fitted = fit_of("travel", plan, lambda _text: None)
    with pytest.raises(PlanError) as refused:
        load_plan(plan_file(tmp_path, plan, "rig.slide.max_m", 1500))
    assert str(refused.value) == "rig.slide.max_m: 1500 is longer than any slider (metres are meant; 1.5?)"
    language.chosen_by(choose_german)
    try:
        told = [in_words(line) for line in fitted.said]
        said = wording.refusal_text(refused.value, plan)
    finally:
        language.left(choose_german)
    assert said.endswith("1500 ist länger als jeder Slider (gemeint sind Meter; 1.5?)")
    assert any("statt" in line for line in told)
    assert all(line != str(english) for line, english in zip(told, fitted.said, strict=True))


# ---------------------------------------------------------------- what a search for a shot tells


Search = tuple[Scout, list[ReviewedShot]]


@pytest.fixture(scope="module")
def search() -> Search:
    """A search that has run, its finds, and a shot of every kind from one of their places."""
    posts = [box(f"post {n}", "foreground", (0.6 * n, 3.5), (0.2, 0.2, 1.0)) for n in (1, 2)]
    wall = box("wall", "foreground", (-1.6, 4.0), (2.6, 0.4, 3.0))
    square, sea = (
        ground("square", (-6.0, -5.0), (6.0, 3.0)),
        ground("sea", (-9.0, -9.0), (9.0, 9.0), -0.5, "water"),
    )
    plan = place(TOWER, wall, *posts, square, sea, frames=12)
    scout = Scout(plan, Wishes(cell_m=4.0, heights_m=(0.6, 1.1), lenses_mm=(24.0, 50.0), reviews=10))
    for _ in scout.run():
        pass
    finds = list(scout.finds())
    shot = finds[0].shot
    still = attrs.evolve(shot, travel_m=0.0)
    others = [
        attrs.evolve(still, kind="still"),
        *(attrs.evolve(still, kind="pan", across=across) for across in ((0.3, 0.6), (0.6, 0.3))),
        *(attrs.evolve(still, kind="tilt", tilts_deg=tilts) for tilts in ((0.0, 5.0), (5.0, 0.0))),
        *(attrs.evolve(shot, kind=kind) for kind in ("push-in", "pull-out", "slide-held")),
        *(attrs.evolve(shot, height_m=height_m) for height_m in (0.3, 2.0)),
        attrs.evolve(shot, travel_m=0.02),
        attrs.evolve(shot, focal_length_mm=24.0),
        shot.backwards(),
    ]
    return scout, [*finds, *(scout.look(other) for other in others)]


def told_of(search: Search) -> list[str]:
    """All that is told of a search's finds."""
    scout, every = search
    finds = [describe(scout, found) for found in every]
    return [
        text
        for find in finds
        for text in (find.name, find.in_short, find.reason, *find.costs, *find.to_check)
    ] + [attrs.evolve(report(scout), planned_score=101.0).remark]


def without_names(text: str) -> str:
    """A text without the names of what stands in the searched place."""
    return re.sub(r"\b(?:tower|wall|post|square|sea)[sσ]?\b", "", text)


@pytest.mark.once
def test_what_a_search_tells_can_be_translated(search: Search, spoken_oddly: None) -> None:
    for line in told_of(search):
        assert plain_letters(without_names(re.sub(r"\bm\b", "", line))) == [], line


@pytest.mark.once
def test_what_a_search_tells_is_german_in_a_german_window_and_english_elsewhere(search: Search) -> None:
    english = told_of(search)
    with language.spoken(choose_german()):
        told = told_of(search)
    assert english == told_of(search)
    kinds = {"still", "pan", "tilt", "slide", "push-in", "pull-out", "slide-held"}
    assert {found.shot.kind for found in search[1]} == kinds
    words = r"\b(?:the|and|of|is|with|from|frames?|at|that|rail|slide|metres?|planned|water)\b"
    for ours, theirs in zip(english, told, strict=True):
        assert re.findall(words, without_names(theirs)) == [], theirs
        assert theirs != ours or ours.endswith("mm, still")
    assert any("hinter mehreren „post“" in line for line in told)
    assert told[-1] == "Nichts Gefundenes ist mehr wert als die geplante Aufnahme (101)."


@pytest.mark.once
def test_the_language_changes_nothing_in_what_is_found(search: Search) -> None:
    scout, every = search
    with language.spoken(choose_german()):
        german = Scout(scout.plan, scout.wishes)
        for _ in german.run():
            pass
        texts = [plan_to_text(found.plan) for found in german.finds()]
    assert texts == [plan_to_text(found.plan) for found in scout.finds()]
    assert [found.score for found in german.finds()] == [found.score for found in every[: len(texts)]]


# ---------------------------------------------------------------- what no clip is made of


REFUSED_CLIPS: dict[str, dict[str, Any]] = {
    "range": {"frame_range": (5, 2)},
    "every": {"every": 0},
    "processes": {"jobs": 0},
    "small": {"size": (10, 10)},
    "odd": {"size": (641, 361)},
    "shape": {"size": (640, 640)},
    "look": {"look": "bright"},
    "beside": {"beside": place(TOWER, frames=13)},
}


@pytest.mark.once
@pytest.mark.parametrize("asked", REFUSED_CLIPS.values(), ids=REFUSED_CLIPS.keys())
def test_why_a_clip_is_refused_can_be_translated(asked: dict[str, Any], spoken_oddly: None) -> None:
    with pytest.raises(PreviewError) as refused:
        PreviewRequest(plan=attrs.evolve(place(TOWER), title=""), output=Path("a.mp4"), **asked)
    said = refusal_words(refused.value, "a.mp4")
    assert str(refused.value) != said
    assert set(plain_letters(said)) <= {"bright", "fast", "lit", "Scouted"}, said


@pytest.mark.once
def test_a_clip_that_cannot_be_written_is_refused_in_german(tmp_path: Path) -> None:
    plan = plan_to_text(place(TOWER))
    task = PreviewTask(output=tmp_path / "a.mp4", look="fast", jobs=1)
    with language.spoken(choose_german()):
        nowhere = Job(plan, attrs.evolve(task, output=tmp_path / "nowhere" / "a.mp4"))
        early = Job(plan, attrs.evolve(task, frame_range=(5, 2)))
        for job in (nowhere, early):
            job.wait()
    assert nowhere.problem == f"{nowhere.output}: {GERMAN['the folder to write it to does not exist']}"
    assert early.problem == "Bildbereich: 5:2 liegt nicht in den Bildern des Plans, 1 bis 24"
    with language.spoken(choose_german()):
        assert refusal_words(ValueError("?"), "a.mp4") == "Blender kann dies hier nicht zeichnen: ?"
