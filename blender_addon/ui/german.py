"""The add-on's words in German, by the English ones. Findings speak German in the core's `review/german`."""

from __future__ import annotations

GERMAN: dict[str, str] = {}
