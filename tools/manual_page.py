"""The manual that the extension carries, made of what README.md says of its panels.

Blender's Online Manual opens it at the part that belongs to a field or button (`blender_addon/ui/manual.py`).
"""

from __future__ import annotations

import html
import re

ANCHORS = {
    "Plan": "plan",
    "Review": "review",
    "Place and Light": "place",
    "Blocking": "blocking",
    "Rig and Camera": "rig",
    "Find the Shot": "scout",
    "Move": "move",
    "Exposure": "exposure",
    "Preview": "preview",
    "Shots of the Evening": "shots",
    "As Shot": "log",
    "Plan File": "file",
}
STYLE = (
    "body { font: 16px/1.5 sans-serif; max-width: 44em; margin: 2em auto; padding: 0 1em; } "
    "h2:target { background: #fff3d0; }"
)
HEAD = f"""<!DOCTYPE html>
<html lang="en">
<!-- Made by tools/make_reference.py from README.md. Change it there. -->
<head>
<meta charset="utf-8">
<title>Duskrail in Blender</title>
<style>{STYLE}</style>
</head>
<body>
<h1>Duskrail in Blender</h1>
<p>Press N in the 3D view and choose the <em>Duskrail</em> tab. Its panels stand in the order of the work.</p>
"""
_PANEL = re.compile(r"^\d+\. \*\*(?P<name>[^*]+)\.\*\* (?P<says>.+)$", re.DOTALL)


def manual_page(readme: str) -> str:
    """The page, from the README's text. Raises ValueError where the README has no list of the panels."""
    section = readme.partition("\n## In Blender\n")[2].partition("\n## ")[0]
    items = re.split(r"\n(?=\d+\. \*\*)", section)
    if len(items) < 2:
        raise ValueError("README.md has no list of panels under “In Blender”")
    items[-1], _, rest = items[-1].partition("\n\n")
    contents, told = [], []
    for item in items[1:]:
        match = _PANEL.match(item.strip())
        if match is None or match["name"] not in ANCHORS:
            raise ValueError(f"README.md: no part of the manual is for {item.splitlines()[0]!r}")
        anchor, name = ANCHORS[match["name"]], html.escape(match["name"])
        contents.append(f'<a href="#{anchor}">{name}</a>')
        told.append(f'<h2 id="{anchor}">{name}</h2>\n<p>{_marked_up(match["says"])}</p>\n')
    told += [f"<p>{_marked_up(paragraph)}</p>\n" for paragraph in rest.strip().split("\n\n")]
    return f"{HEAD}<p>{' · '.join(contents)}</p>\n{''.join(told)}</body>\n</html>\n"


def _marked_up(text: str) -> str:
    """A paragraph of Markdown as HTML on one line; links lead out of the page, and stay as words."""
    text = html.escape(" ".join(text.split()), quote=False)
    text = re.sub(r"\[([^\]]+)\]\([^)]*\)", r"\1", text)
    text = re.sub(r"`([^`]+)`", r"<code>\1</code>", text)
    return re.sub(r"\*([^*]+)\*", r"<em>\1</em>", text)
