"""The add-on's words in the language of Blender's interface.

Names and tooltips are translated by Blender itself, from the dictionaries registered here; sentences by the
core's `say`, from the same catalogues. The add-on's words have a context of their own: what Blender's
dictionaries say of the same word isn't meant here. In a German interface the look "Fast" would else become
"Einfügen".
"""

from __future__ import annotations

import threading
from collections.abc import Iterable
from typing import Any

import bpy

from planner_core.review import german as _german  # noqa: F401  (registers its sentences)
from planner_core.words import language
from planner_core.words.language import Language

from .german import GERMAN

CONTEXT = "Duskrail"
LANGUAGES = {"de_DE": Language("de", GERMAN)}
_NONE = Language(language.ENGLISH)
_found = [_NONE]  # when the window's thread asked last


def in_own_context(classes: Iterable[Any]) -> None:
    """Give classes that Blender is about to register, and their properties, the add-on's own context."""
    for cls in classes:
        cls.bl_translation_context = CONTEXT
        if cls.__doc__ and not hasattr(cls, "bl_description"):
            cls.bl_description = " ".join(cls.__doc__.split())  # else a tooltip breaks where the source does
        for base in cls.__mro__:
            for declared in getattr(base, "__annotations__", {}).values():
                keywords = getattr(declared, "keywords", None)
                if keywords is not None:
                    keywords.setdefault("translation_context", CONTEXT)


def interface_language() -> Language:
    """The language of Blender's interface, where the add-on has it; else English. Other threads than the
    window's don't ask Blender: they have what was found last.
    """
    if threading.current_thread() is threading.main_thread():
        preferences: Any = bpy.context.preferences
        translated = preferences.view.use_translate_interface
        _found[:] = [LANGUAGES.get(bpy.app.translations.locale, _NONE) if translated else _NONE]
    return _found[0]


def register() -> None:
    """Offer the translations to Blender, and have sentences made in its language."""
    offered: Any = {
        locale: {
            (context, message): said
            for message, said in known.catalogue.items()
            for context in (CONTEXT, bpy.app.translations.contexts.default)
        }
        for locale, known in LANGUAGES.items()
    }
    bpy.app.translations.register(__package__, offered)
    language.chosen_by(interface_language)


def unregister() -> None:
    """Take them back."""
    language.left(interface_language)
    bpy.app.translations.unregister(__package__)
