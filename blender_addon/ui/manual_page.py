"""The page that the extension carries as its manual, and a button that opens it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

PAGE = Path(__file__).resolve().parent.parent / "manual.html"


def button(layout: Any) -> None:
    """A button that opens the page from its beginning."""
    layout.operator("wm.url_open", text="Manual", icon="HELP").url = PAGE.as_uri()
