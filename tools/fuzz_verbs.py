"""What the fuzzer feeds to the verbs that read more than a plan: cards, photographs, elevation grids, several
shots of an evening, missed starts and first facts.

Most of each case is sound, so that it comes far before something odd is met.
"""

from __future__ import annotations

import random
import struct
from collections.abc import Callable, Sequence
from typing import Any

from .fuzz_cases import NEW, NUMBERS, PLAN, TEXTS, mutated_bytes, mutated_plan, plan_text, small_plan

Files = dict[str, bytes]
Words = tuple[str, ...]

TIMES = ("18:52", "00:00", "23:59", "24:00", "2027-03-14T18:20:00", "75min", "0min", "-5min", "1e400min", "")
SUBJECTS = ("tower 262 160 20", "beacon 10 900 30", "tree 180 40 9", "a long name 300 5000 80")
ODD_FACTS = (
    *("tower", "262 160 20", "post nan 1.3", "tower 1e9 -160 0", "a b 10 2 3", "x 1 2 3 4", "x 1 0 3"),
    *TEXTS,
)


def some(rng: random.Random, words: Sequence[Sequence[str]]) -> tuple[str, ...]:
    """Some of these groups of words, each with a value."""
    return tuple(word for group in words if rng.random() < 0.4 for word in group)


def text(rng: random.Random, *good: str) -> str:
    """A good value most times, a strange one else."""
    strange = (*TEXTS, *TIMES, *(str(number).strip("\x00") for number in NUMBERS[:20]))
    return rng.choice(good) if rng.random() < 0.93 else rng.choice(strange).replace("\x00", "")


# ---------------------------------------------------------------- plans


def _plan(rng: random.Random) -> bytes:
    """A plan's text: sound, or with something changed."""
    return plan_text(small_plan(rng) if rng.random() < 0.8 else mutated_plan(rng))


def _evening_case(rng: random.Random) -> tuple[Files, Words]:
    files = {f"shot{number}.plan.json": _plan(rng) for number in range(rng.choice((1, 2, 2, 3, 7)))}
    named = list(files)
    if rng.random() < 0.1:
        named.append(named[0])
    options = some(
        rng,
        (
            ("--people", text(rng, "1", "2", "3")),
            ("--pace", text(rng, "4", "0.5")),
            ("--detour", text(rng, "1.3", "1")),
            ("--pack", text(rng, "30min", "5min")),
            ("--balance", text(rng, "55:45", "60:40")),
            ("--shift", text(rng, "10min", "30min")),
            ("--ics", "evening.ics"),
            ("-o", "evening.html"),
            ("--json",),
        ),
    )
    return files, ("evening", *named, *options)


def _late_case(rng: random.Random) -> tuple[Files, Words]:
    options = some(rng, (("--have", text(rng, "75min", "5min", "3h")), ("-o", "late.html"), ("--json",)))
    now = text(rng, *(f"{hour:02d}:{rng.randrange(60):02d}" for hour in (15, 17, 18, 19, 20)))
    return {PLAN: _plan(rng)}, ("late", PLAN, "--now", now, *options)


def _new_case(rng: random.Random) -> tuple[Files, Words]:
    options = some(
        rng,
        (
            ("--event", text(rng, "sunset", "sunrise", "moonrise", "solar_noon")),
            ("--foreground", text(rng, "post 250 1.3", "stone 20 2")),
            ("--lens", text(rng, "24", "85")),
            ("--rail", text(rng, "1.2", "0.5")),
            ("--zone", text(rng, "Europe/Madrid", "Etc/UTC")),
            ("--json",),
            ("--overwrite",),
        ),
    )
    at = text(rng, "43.46,-3.79", "-33.9,18.4", "78.2,15.6", "90,0", "0,180")
    on = text(rng, "2027-03-14", "2027-06-21", "2027-12-21")
    subject = rng.choice(SUBJECTS if rng.random() < 0.9 else ODD_FACTS)
    files = {PLAN: _plan(rng)} if rng.random() < 0.2 else {}
    return files, ("new", PLAN, f"--at={at}", f"--on={on}", f"--subject={subject}", *options)


# ---------------------------------------------------------------- photographs


Tag = tuple[int, int, Any]  # its number, its type (2 text, 3 short, 4 long, 5 ratio), its value


def _directory(rng: random.Random, tags: Sequence[Tag], order: str, at: int) -> bytes:
    """A directory of TIFF tags that stands at this place of the file, and its values."""
    after, rows, values = at + 2 + 12 * len(tags) + 4, b"", b""
    for tag, kind, value in tags:
        if kind == 2:
            content = str(value).encode("utf-8", "replace") + b"\x00"
            count = len(content)
        elif kind == 5:
            content, count = struct.pack(order + "II", *value), 1
        else:
            content, count = struct.pack(order + ("H" if kind == 3 else "I"), value), 1
        if len(content) <= 4:
            placed = content.ljust(4, b"\x00")
        else:
            placed = struct.pack(order + "I", after + len(values))
            values += content + b"\x00" * (len(content) % 2)
        said = rng.choice((0, 1, 2**31)) if rng.random() < 0.01 else count
        rows += struct.pack(order + "HHI", tag, kind, said) + placed
    return struct.pack(order + "H", len(tags)) + rows + struct.pack(order + "I", 0) + values


def _tiff(rng: random.Random, tags: Sequence[Tag], more: Sequence[Tag] = (), order: str = "<") -> bytes:
    """A TIFF header and its directory; more tags stand in one of their own, as EXIF's do."""
    head = (b"II*\x00" if order == "<" else b"MM\x00*") + struct.pack(order + "I", 8)
    if not more:
        return head + _directory(rng, tags, order, 8)
    state = rng.getstate()
    length = len(_directory(rng, [*tags, (0x8769, 4, 0)], order, 8))
    rng.setstate(state)
    first = _directory(rng, [*tags, (0x8769, 4, 8 + length)], order, 8)
    return head + first + _directory(rng, more, order, 8 + length)


def jpeg(rng: random.Random, taken: str, odd: float = 0.2) -> bytes:
    """A photograph as far as its header goes: a size and EXIF data, some of them odd."""

    def ratio(*good: tuple[int, int]) -> tuple[int, int]:
        odd = ((0, 0), (1, 0), (0, 1), (2**32 - 1, 1), (1, 2**32 - 1))
        return rng.choice(good if rng.random() < 0.97 else odd)

    camera: list[Tag] = [
        (0x010F, 2, text(rng, "Maker")),
        (0x0110, 2, text(rng, "Model")),
        (0x0112, 3, rng.choice((1, 1, 1, 1, 1, 1, 3, 6, 8, 0, 99))),
    ]
    shot: list[Tag] = [
        (0x829A, 5, ratio((1, 60), (1, 4), (8, 1))),
        (0x829D, 5, ratio((56, 10), (8, 1))),
        (0x8827, 3, rng.choice((100, 100, 800, 800, 65535, 0))),
        (0x9003, 2, text(rng, taken)),
        (0x920A, 5, ratio((24, 1), (35, 1))),
        (0xA405, 3, rng.choice((24, 24, 35, 35, 0, 65535))),
    ]
    kept = [tag for tag in shot if rng.random() < 0.97]
    exif = b"Exif\x00\x00" + _tiff(rng, camera, kept, rng.choice("<>"))
    wide, high = rng.choice((*[(4000, 3000)] * 6, (400, 300), (0, 0), (65535, 1)))
    size = struct.pack(">BHHB", 8, high, wide, 3) + bytes((1, 17, 0, 2, 17, 0, 3, 17, 0))
    marks = ((0xE1, exif), (0xC0, size))
    parts = (struct.pack(">BBH", 0xFF, mark, 2 + len(part)) + part for mark, part in marks)
    content = b"\xff\xd8" + b"".join(parts) + b"\xff\xd9"
    return mutated_bytes(rng, content) if rng.random() < odd else content


def _photo_case(rng: random.Random) -> tuple[Files, Words]:
    point = text(rng, "812,640", "10,20", "3999,2999")
    options = some(
        rng,
        (
            (f"--pin={point}={text(rng, 'Beacon top', 'sun', '262,1.5', 'Chapel 1', 'moon')}",),
            (f"--pin={text(rng, '1200,700')}={text(rng, 'Beacon foot', '270,0')}",),
            (f"--bearing={text(rng, '262', '90')}",),
            (f"--declination={text(rng, '2.5', '-3')}",),
            (f"--taken={text(rng, '2027-03-14T18:20:00')}",),
            ("--block", f"house {point} {text(rng, '410,300', '815,500')}"),
            ("--skyline", f"{text(rng, 'hills')} {text(rng, '4000')} {point} 900,440 1500,420"),
            ("--json",),
        ),
    )
    files = {PLAN: _plan(rng), "view.jpg": jpeg(rng, "2027:03:14 18:20:00")}
    at = f"--at={text(rng, '0,0,1.6', '3,-2,1.6')}"
    return files, ("photo", "view.jpg", PLAN, "-o", NEW, at, f"--fov={text(rng, '60', '84')}", *options)


def _log_case(rng: random.Random) -> tuple[Files, Words]:
    document = small_plan(rng)
    document["shoot"].update(frames=12, interval_s=8.0)
    start = rng.randrange(17 * 3600, 20 * 3600)
    files = {PLAN: plan_text(document) if rng.random() < 0.8 else _plan(rng)}
    for number in range(rng.choice((1, 5, 12, 12, 12, 13))):
        clock = start + 8 * number + rng.choice((0, 0, 0, 0, 0, 0, 1, 300))
        taken = f"2027:03:14 {clock // 3600:02d}:{clock // 60 % 60:02d}:{clock % 60:02d}"
        files[f"IMG_{number if rng.random() < 0.95 else 9999:04d}.JPG"] = jpeg(rng, taken, odd=0.02)
    options = some(
        rng,
        (
            ("-o", "log.html"),
            ("--plan", NEW),
            (f"--clock-offset={text(rng, '30', '+0:01:00', '-1:00:00')}",),
            ("--json",),
        ),
    )
    return files, ("log", ".", PLAN, *options)


# ---------------------------------------------------------------- elevation grids


def grid(rng: random.Random, longitude: float, latitude: float) -> bytes:
    """An Esri ASCII grid around a place, some of it odd."""
    columns, rows = rng.choice(((5, 5), (12, 8), (12, 8), (40, 40), (40, 40), (1, 1), (2, 2)))
    cell = rng.choice((0.001, 0.01, 0.0002))
    lines = [
        f"ncols {text(rng, str(columns))}",
        f"nrows {text(rng, str(rows))}",
        f"xllcorner {text(rng, f'{longitude - cell * columns / 2:.6f}')}",
        f"yllcorner {text(rng, f'{latitude - cell * rows / 2:.6f}')}",
        f"cellsize {text(rng, str(cell))}",
        f"NODATA_value {text(rng, '-9999')}",
    ]
    if rng.random() < 0.8:  # a sound header
        lines = [
            *(f"ncols {columns}", f"nrows {rows}", f"xllcorner {longitude - cell * columns / 2:.6f}"),
            *(f"yllcorner {latitude - cell * rows / 2:.6f}", f"cellsize {cell}", "NODATA_value -9999"),
        ]
    for _ in range(rows):
        heights = [f"{rng.uniform(0.0, 300.0):.1f}" for _ in range(columns)]
        if rng.random() < 0.02:
            heights[rng.randrange(columns)] = rng.choice(
                ("-9999", "nan", "inf", "1e400", "x", "-32768", "9e9")
            )
        lines.append(" ".join(heights))
    content = rng.choice(("\n", "\n", "\n", "\r\n", "\r")).join(lines).encode("utf-8", "replace")
    return mutated_bytes(rng, content) if rng.random() < 0.2 else content


def _terrain_case(rng: random.Random) -> tuple[Files, Words]:
    document = small_plan(rng)
    site = document["site"]
    land = grid(rng, site["longitude_deg"], site["latitude_deg"])
    files, named = {PLAN: plan_text(document), "land.asc": land}, ["land.asc"]
    if rng.random() < 0.2:
        name = rng.choice(("N38W010.hgt", "land.tif", "S00E000.hgt", "x.hgt"))
        files[name] = mutated_bytes(rng, _tiff(rng, [(256, 3, 8), (257, 3, 8)]) + rng.randbytes(800))
        named.append(name)
    options = some(
        rng, ((f"--near={text(rng, '120', '0', '30')}",), (f"--zero={text(rng, '10')}",), ("--json",))
    )
    return files, ("terrain", *named, PLAN, "-o", NEW, *options)


KINDS: dict[str, Callable[[random.Random], tuple[Files, Words]]] = {
    "evening": _evening_case,
    "late": _late_case,
    "log": _log_case,
    "new": _new_case,
    "photo": _photo_case,
    "terrain": _terrain_case,
}
