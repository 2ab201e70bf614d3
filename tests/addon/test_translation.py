"""Words of the add-on are looked up apart from Blender's, so that none is taken for another meaning of it."""

from __future__ import annotations

from typing import Any

import bpy
import pytest

from blender_addon.ui import operators, panels, properties
from blender_addon.ui.translation import CONTEXT


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
