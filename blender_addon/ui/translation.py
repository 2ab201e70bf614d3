"""The add-on's words apart from Blender's: what Blender's dictionaries say of the same word isn't meant here.

In a German interface the look "Fast" would else become "Einfügen".
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

CONTEXT = "Duskrail"


def in_own_context(classes: Iterable[Any]) -> None:
    """Give classes that Blender is about to register, and their properties, the add-on's own context."""
    for cls in classes:
        cls.bl_translation_context = CONTEXT
        for base in cls.__mro__:
            for declared in getattr(base, "__annotations__", {}).values():
                keywords = getattr(declared, "keywords", None)
                if keywords is not None:
                    keywords.setdefault("translation_context", CONTEXT)
