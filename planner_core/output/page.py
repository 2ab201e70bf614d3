"""The frame of the short pages: one self-contained HTML document in the shot sheet's style."""

from __future__ import annotations

from importlib import resources
from string import Template

from planner_core.output.sheet.markup import esc

_PAGE = Template("""<!doctype html>
<html lang="en-GB">
<head>
<meta charset="utf-8">
<meta http-equiv="Content-Security-Policy" content="default-src 'none'; style-src 'unsafe-inline'">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="color-scheme" content="light dark">
<link rel="icon" href="data:,">
<title>$title</title>
<style>
$style
</style>
</head>
<body>
<div class="page">
<h1>$heading</h1>
$body
</div>
</body>
</html>
""")


def short_page(heading: str, title: str, body: str, more_style: str = "") -> str:
    """A page without scripts or outside requests; body is HTML, heading and title are text."""
    style = (resources.files("planner_core.output.sheet") / "sheet.css").read_text(encoding="utf-8")
    return _PAGE.substitute(
        title=esc(title), heading=esc(heading), style=f"{style.strip()}\n{more_style}".strip(), body=body
    )
