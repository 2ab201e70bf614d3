"""Every label and tooltip of the add-on: short enough, in plain words, and without the plan file's names."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import bpy

from blender_addon.ui import operators, panels, preferences, properties, wording
from planner_core.review.findings import sentences
from tests.shown_words import faults, reviews

LONGEST = 28  # characters that a label has room for in a sidebar of the usual width


def declared(kind: Any) -> Iterator[Any]:
    names = {name for base in kind.__mro__ for name in getattr(base, "__annotations__", {})}
    return (prop for prop in kind.bl_rna.properties if prop.identifier in names)


def shown() -> Iterator[tuple[str, str, str]]:
    """Where, label and tooltip of everything that people see."""
    for kind in (*properties.CLASSES, *operators.CLASSES, *preferences.CLASSES):
        for prop in declared(kind):
            where = f"{kind.__name__}.{prop.identifier}"
            if not prop.is_hidden:
                yield where, prop.name, prop.description
            for item in getattr(prop, "enum_items", ()):
                yield f"{where} {item.identifier}", item.name, item.description
    for kind in (*operators.CLASSES, *panels.CLASSES):
        if not issubclass(kind, bpy.types.UIList):
            yield kind.__name__, getattr(kind, "bl_label", ""), getattr(kind.bl_rna, "description", "")


def test_labels_are_short_and_texts_are_plain(empty: Any) -> None:
    seen = list(shown())
    assert len(seen) > 200
    for where, label, tip in seen:
        assert len(label) <= LONGEST, (where, label)
        for text in (label, tip):
            assert not faults(text, in_sidebar=True), (where, text)
        assert not tip.endswith("."), (where, tip)  # Blender adds it


def test_the_sidebar_never_speaks_in_the_plan_file_s_names(empty: Any) -> None:
    for report in reviews(3):
        for finding in report.findings:
            told = sentences(finding, wording.SIDEBAR)
            for text in (told.message, told.fix):
                assert not faults(text, sentence=True, in_sidebar=True), (finding.code, text)
