"""Makes the pictures of docs/guide/ from the tool itself: `python tools/guide_pictures.py`.

The drawn ones come from the guide's own plan, by the verbs that the guide shows; they take some minutes.
Those of Blender's window come from the walk that the tests take through it, whose screenshots
DUSKRAIL_PICTURES=FOLDER keeps: `--window FOLDER` takes them from there. The sheet is photographed by a
Chromium where there is one.
"""

from __future__ import annotations

import argparse
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path

if __package__ in (None, ""):  # started as a file
    sys.path.insert(0, str(Path(__file__).resolve().parent.parent))
    __package__ = Path(__file__).resolve().parent.name

PICTURES = Path(__file__).resolve().parent.parent / "docs" / "guide" / "pictures"
QUALITY = 78
WIDE_PX, NARROW_PX = 900, 640
# Facts that docs/guide/first_evening.md begins with
FACTS = (
    *("--at", "43.46,-3.79", "--on", "2027-03-14", "--rail", "1.2"),
    *("--subject", "lighthouse 262 160 20", "--foreground", "bollard 250 1.3"),
)
# Steps of the walk through the window, by the walk and the end of their file's name
WINDOW = {
    "window_tab": ("newcomer", "extension installed, tab chosen"),
    "window_blocks": ("newcomer", "six blocks added"),
    "window_rig": ("newcomer", "rig placed"),
    "window_findings": ("newcomer", "findings"),
    "window_evening": ("evening view", "dusk"),
}


def duskrail(*words: str) -> None:
    """One call of the command line; raises RuntimeError where it can't be done."""
    from .duskrail import main

    code = main(words)
    if code > 1:  # a plan with a stop is still a plan to show
        raise RuntimeError(f"{' '.join(words)}: exit {code}")


def keep(picture: Path, name: str, width_px: int) -> Path:
    """A picture as a small JPEG under the guide's own name."""
    from PIL import Image

    with Image.open(picture) as image:
        plain = image.convert("RGB")
        size = (width_px, round(plain.height * width_px / plain.width))
        plain.resize(size, Image.Resampling.LANCZOS).save(
            PICTURES / f"{name}.jpg", quality=QUALITY, optimize=True
        )
    return PICTURES / f"{name}.jpg"


def drawn(folder: Path) -> list[Path]:
    """The draft pictures and the sheet of the guide's plan."""
    plan = str(folder / "evening.plan.json")
    duskrail("new", plan, *FACTS)
    contact = folder / "contact.png"
    size = ("--every", "20", "--size", "640x360")
    duskrail("preview", plan, "-o", str(folder / "draft.mp4"), *size, "--contact", str(contact))
    kept = [keep(contact, "contact", WIDE_PX)]
    sheet = folder / "sheet.html"
    duskrail("sheet", plan, "-o", str(sheet))
    browser = shutil.which("chromium") or shutil.which("chromium-browser")
    if browser is None:
        print("sheet.jpg stays as it is: no Chromium here", file=sys.stderr)
        return kept
    shot = folder / "sheet.png"
    command = [browser, "--headless", "--no-sandbox", "--disable-gpu", "--hide-scrollbars"]
    command += ["--window-size=1000,1414", f"--screenshot={shot}", sheet.as_uri()]
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, timeout=120)
    return [*kept, keep(shot, "sheet", NARROW_PX)]


def from_the_window(folder: Path) -> list[Path]:
    """Screenshots of the walk. Raises FileNotFoundError, with the step, where one is missing."""
    kept = []
    for name, (walk, step) in WINDOW.items():
        screenshots = sorted((folder / walk).glob(f"[0-9][0-9] {step}.png"))
        if not screenshots:
            raise FileNotFoundError(f"{folder}: the walk {walk!r} has no picture of {step!r}")
        kept.append(keep(screenshots[-1], name, WIDE_PX))
    return kept


def main(argv: Sequence[str] | None = None) -> int:
    """Make the pictures, and say which."""
    parser = argparse.ArgumentParser(prog="guide_pictures.py", description="Remake the guide's pictures.")
    parser.add_argument("--window", metavar="FOLDER", type=Path, help="what DUSKRAIL_PICTURES kept of a walk")
    parser.add_argument("--only-window", action="store_true", help="draw nothing")
    arguments = parser.parse_args(argv)
    PICTURES.mkdir(parents=True, exist_ok=True)
    kept: list[Path] = []
    if not arguments.only_window:
        with tempfile.TemporaryDirectory(prefix="duskrail-guide-") as folder:
            kept += drawn(Path(folder))
    if arguments.window is not None:
        kept += from_the_window(arguments.window)
    for path in kept:
        print(f"{path.name}  {path.stat().st_size / 1000.0:.0f} kB")
    return 0


if __name__ == "__main__":
    from .duskrail import _leave

    _leave(main())
