"""The shot sheet in a real browser: on a desk, a phone and paper. Skipped where there is no Chromium."""

from __future__ import annotations

import html
import json
import re
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import attrs
import pytest

from planner_core import compute_frames, review
from planner_core.output.sheet.page import sheet_html
from tests.spoken import spoken
from tests.two_towers import document, plan

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
pytestmark = [
    pytest.mark.once,
    pytest.mark.skipif(CHROMIUM is None, reason="no chromium on this machine"),
]

QUIET = (
    "--headless --no-sandbox --disable-gpu --disable-quic --no-first-run --disable-background-networking "
    "--disable-component-update --disable-sync --disable-extensions --hide-scrollbars"
).split()
PHONE_PX = 390
A4_PX = 1050

LONG = "The far silo comes out from behind the near one while the sun drops into the gap between, and stays. "
EVERYTHING: dict[str, Any] = {
    "title": "A long title of an evening between the two silos on the old grain quay, in two lines of it",
    "reason": LONG * 6,
    "notes": LONG * 6,
    "site__name": "The grain quay, its northern end beyond the second crane, ground floor",
    "site__longitude_deg": -178.12345,
    "site__timezone": "America/Argentina/Ushuaia",
    "exposure__nd_stops": 6.0,
    "exposure__iso_max": 12800,
    "shoot__frames": 12345,
    "shoot__interval_s": 4.0,
    "shoot__travel_s": 0.0,
    "shoot__cloud_divisor": 3.0,
    "rig__incline_deg": 12.5,
    "move__poses": [
        {"at": k / 30, "slide_m": 0.1 + k / 30, "pan_deg": 262.0 + k / 7, "tilt_deg": 3.0 - k / 3}
        for k in range(31)
    ],
    "blocks": [
        *document()["blocks"],
        *(
            {
                "name": f"A warehouse with a long name, number {k}",
                "role": "foreground" if k % 3 else "background",
                "shape": "box",
                "centre_m": [k - 10, 2.0 + k / 2, 1.0],
                "size_m": [0.5, 0.5, 2.0],
            }
            for k in range(20)
        ),
    ],
}
MANY = tuple(
    spoken(f"Frames {k}–{k + 40}: " + LONG, LONG, level=level)
    for k, level in enumerate(["stop"] * 4 + ["warn"] * 8 + ["note"] * 12)
)
VARIANTS: dict[str, dict[str, Any]] = {
    "sunset": {},
    "everything": EVERYTHING,
    "hardly anything": {
        "title": "",
        "reason": "",
        "notes": None,
        "exposure": None,
        "composition": None,
        "blocks": [],
        "rig__slide": None,
        "rig__pan": None,
        "rig__tilt": None,
        "move__poses": [{"at": 0.0}],
        "shoot__frames": 1,
    },
    "upright": {"clip__width_px": 2160, "clip__height_px": 3840},
    "square": {"clip__width_px": 2160, "clip__height_px": 2160},
}


@pytest.fixture(scope="module", params=VARIANTS)
def sheet(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Path:
    here = plan(**VARIANTS[request.param])
    frames = compute_frames(here)
    report = review(here, frames)
    if request.param == "everything":
        report = attrs.evolve(report, findings=MANY)
    path = tmp_path_factory.mktemp("sheet") / "sheet.html"
    path.write_text(sheet_html(here, frames, report), encoding="utf-8")
    return path


@pytest.fixture
def profile() -> Iterator[str]:
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as folder:
        yield folder


def browse(page: Path, profile: str, *options: str) -> subprocess.CompletedProcess[str]:
    assert CHROMIUM is not None
    command = [CHROMIUM, *QUIET, f"--user-data-dir={profile}", *options, page.as_uri()]
    return subprocess.run(command, capture_output=True, text=True, timeout=120, check=True)


def console(result: subprocess.CompletedProcess[str]) -> list[str]:
    return [line for line in result.stderr.splitlines() if "CONSOLE" in line]


def requests(log: Path) -> set[str]:
    """Addresses that the page asked the network for, without what the browser asks for by itself."""
    events = json.loads(log.read_text(encoding="utf-8"))["events"]
    given = [event["params"] for event in events if isinstance(event.get("params"), dict)]
    return {p["url"] for p in given if "url" in p and p.get("initiator", "not an origin") != "not an origin"}


def test_nothing_is_said_to_the_console_and_nothing_is_fetched(
    sheet: Path, profile: str, tmp_path: Path
) -> None:
    log = tmp_path / "net.json"
    result = browse(sheet, profile, "--enable-logging=stderr", f"--log-net-log={log}", "--dump-dom")
    assert "Take care" in result.stdout
    assert console(result) == []
    assert requests(log) == set()


def test_this_test_would_notice_a_message_and_a_request(profile: str, tmp_path: Path) -> None:
    page, log = tmp_path / "bad.html", tmp_path / "net.json"
    page.write_text('<script>console.warn("hear me")</script><img src="http://127.0.0.1:9/a.png">')
    result = browse(page, profile, "--enable-logging=stderr", f"--log-net-log={log}", "--dump-dom")
    assert "hear me" in console(result)[0]
    assert requests(log) == {"http://127.0.0.1:9/a.png"}


def test_it_prints_on_two_sides_of_a4(sheet: Path, profile: str, tmp_path: Path) -> None:
    paper = tmp_path / "sheet.pdf"
    browse(sheet, profile, "--no-pdf-header-footer", f"--print-to-pdf={paper}")
    content = paper.read_bytes()
    (count,) = re.findall(rb"/Type /Pages\s*/Count (\d+)", content)
    assert int(count) == 2
    boxes = {tuple(map(float, box.split())) for box in re.findall(rb"/MediaBox \[([^]]*)\]", content)}
    # A4 is 210 mm × 297 mm (ISO 216), in points of 1/72 inch
    assert [round(side / 72.0 * 25.4) for side in next(iter(boxes))[2:]] == [210, 297]
    assert len(boxes) == 1


MEASURE = """<!doctype html><body style="margin:0"><pre></pre><script>
const results = {}, source = %s, widths = %s;
function touching(svg) {
  const inked = e => {  // the letters' own height, about, of the line that they stand on
    const b = e.getBoundingClientRect(), cut = b.height * 0.2;
    return {left: b.left, right: b.right, top: b.top + cut, bottom: b.bottom - cut, words: e.textContent};
  };
  const all = [...svg.querySelectorAll("text")].map(inked), found = [];
  all.forEach((a, k) => all.slice(k + 1).forEach(b => {
    if (a.left < b.right && b.left < a.right && a.top < b.bottom && b.top < a.bottom)
      found.push([a.words, b.words]);
  }));
  const edge = svg.getBoundingClientRect();
  all.filter(a => a.left < edge.left - 1 || a.right > edge.right + 1).forEach(a => found.push([a.words]));
  return found;
}
function look(page, width) {
  const shown = e => e.getClientRects().length > 0;
  const all = names => [...page.querySelectorAll(names)].filter(shown);
  const body = page.body.getBoundingClientRect(), style = page.defaultView.getComputedStyle(page.body);
  const edge = body.right - parseFloat(style.paddingRight);
  const size = e => parseFloat(page.defaultView.getComputedStyle(e).fontSize);
  const words = all("p, li, td, th, h1, h2, time, figcaption")
    .filter(e => e.closest(".scroll") === null);
  return {
    width: page.defaultView.innerWidth, scroll: page.documentElement.scrollWidth,
    over: words.filter(e => e.getBoundingClientRect().right > edge + 1).map(e => e.textContent),
    drawn: Math.min(...all("svg text").map(e => e.getBoundingClientRect().height)),
    type: Math.min(...words.map(size)), times: all(".times time").map(size),
    touching: all("svg").flatMap(touching),
    charts: all(".chart svg").length, cells: all("td[data-value]").length,
  };
}
for (const width of widths) {
  const frame = document.createElement("iframe");
  frame.style = `width:${width}px;height:900px;border:0`;
  frame.srcdoc = source;
  frame.onload = () => {
    results[width] = look(frame.contentDocument, width);
    document.querySelector("pre").textContent = JSON.stringify(results);
  };
  document.body.append(frame);
}
</script>"""


@pytest.fixture(scope="module")
def layouts(sheet: Path) -> dict[int, Any]:
    """The page laid out in a phone's and a desk's window, and what became of it."""
    source = json.dumps(sheet.read_text(encoding="utf-8")).replace("</", "<\\/")
    page = sheet.with_name("measure.html")
    page.write_text(MEASURE % (source, [PHONE_PX, A4_PX]), encoding="utf-8")
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as folder:
        result = browse(page, folder, "--virtual-time-budget=5000", "--dump-dom")
    found = re.search(r"<pre>(.*?)</pre>", result.stdout, re.DOTALL)
    assert found, result.stderr
    return {int(width): layout for width, layout in json.loads(html.unescape(found[1])).items()}


def test_it_reads_on_a_phone(layouts: dict[int, Any]) -> None:
    page = layouts[PHONE_PX]
    assert page["width"] == PHONE_PX
    assert page["scroll"] <= PHONE_PX
    assert page["over"] == []
    # small type on a phone held in a cold hand; our own limits
    assert page["type"] >= 13.0
    assert page["drawn"] >= 9.0
    assert min(page["times"]) >= 30.0
    assert page["charts"] == 1


def test_it_fits_a_desk(layouts: dict[int, Any]) -> None:
    page = layouts[A4_PX]
    assert page["width"] == A4_PX
    assert page["scroll"] <= A4_PX
    assert page["over"] == []
    assert page["charts"] == 1
    assert page["cells"] > 0


@pytest.mark.parametrize("width", [PHONE_PX, A4_PX])
def test_no_words_of_a_drawing_lie_on_each_other_or_leave_it(layouts: dict[int, Any], width: int) -> None:
    assert layouts[width]["touching"] == []
