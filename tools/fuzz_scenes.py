"""What the fuzzer does to a saved scene: its bytes, or its blocks of data, pointers and numbers, broken.

A .blend is a header and a row of blocks, each with a head of its own: code, length, the address that it had
in memory, its type, and how many of it there are. Pointers in the data are such addresses.
"""

from __future__ import annotations

import random
import struct
from collections.abc import Callable

from attrs import define

OLD_HEAD, NEW_HEAD = struct.Struct("<4siQii"), struct.Struct("<4siQqq")  # Blender to 4.5, and from 5.0
EXTREME = (0, 1, -1, 2, 255, 2**31 - 1, -(2**31), 10**6)


@define
class Chunk:
    """A block of a .blend with its head."""

    code: bytes
    length: int
    address: int
    kind: int
    count: int
    data: bytes


def chunks_of(content: bytes) -> tuple[bytes, list[Chunk]]:
    """The header and the blocks of a .blend that isn't compressed. Raises ValueError."""
    if content[:7] != b"BLENDER":
        raise ValueError("a .blend that isn't compressed is meant")
    start = 12 if content[7:8] in (b"-", b"_") else 17
    head, offset, chunks = OLD_HEAD if start == 12 else NEW_HEAD, start, []
    while offset + head.size <= len(content):
        numbers = head.unpack_from(content, offset)
        if start == 12:
            code, length, address, kind, count = numbers
        else:
            code, kind, address, length, count = numbers
        offset += head.size
        chunks.append(Chunk(code, length, address, kind, count, content[offset : offset + length]))
        offset += length
    return content[:start], chunks


def joined(header: bytes, chunks: list[Chunk]) -> bytes:
    """Header and blocks as a .blend again; what heads say is written as it is, true or not."""
    parts = [header]
    for c in chunks:
        if len(header) == 12:
            numbers = (c.code, _wrapped(c.length, 32), c.address, c.kind, _wrapped(c.count, 32))
            parts.append(OLD_HEAD.pack(*numbers))
        else:
            parts.append(NEW_HEAD.pack(c.code, c.kind, c.address, c.length, c.count))
        parts.append(c.data)
    return b"".join(parts)


def _wrapped(value: int, bits: int) -> int:
    return (value + 2 ** (bits - 1)) % 2**bits - 2 ** (bits - 1)


# ---------------------------------------------------------------- what is broken


def _some(rng: random.Random, chunks: list[Chunk], least: int = 8) -> Chunk:
    """A block with that many bytes; those that describe all others seldom."""
    usual = [c for c in chunks if len(c.data) >= least and c.code != b"DNA1"]
    return rng.choice(chunks) if rng.random() < 0.03 or not usual else rng.choice(usual)


def _put(chunk: Chunk, offset: int, new: bytes) -> None:
    chunk.data = chunk.data[:offset] + new + chunk.data[offset + len(new) :]


def _bytes(rng: random.Random, chunks: list[Chunk]) -> None:
    chunk = _some(rng, chunks)
    for _ in range(rng.choice((1, 4, 40))):
        _put(chunk, rng.randrange(max(len(chunk.data), 1)), rng.randbytes(1))


def _pointer(rng: random.Random, chunks: list[Chunk]) -> None:
    """A pointer that is nothing, nonsense, another block's, or the block's own."""
    chunk = _some(rng, chunks)
    known = {c.address for c in chunks}
    slots = range(0, len(chunk.data) - 7, 8)
    used = [s for s in slots if int.from_bytes(chunk.data[s : s + 8], "little") in known]
    if not slots:
        return
    slot = rng.choice(used) if used else rng.choice(slots)
    new = rng.choice((0, rng.getrandbits(48), rng.choice(chunks).address, chunk.address))
    _put(chunk, slot, new.to_bytes(8, "little"))


def _number(rng: random.Random, chunks: list[Chunk]) -> None:
    chunk = _some(rng, chunks)
    slot = 4 * rng.randrange(max(len(chunk.data) // 4, 1))
    new = rng.choice(
        (struct.pack("<i", rng.choice(EXTREME)), struct.pack("<f", rng.choice((float("nan"), 1e38, -1e-38))))
    )
    _put(chunk, slot, new)


def _head(rng: random.Random, chunks: list[Chunk]) -> None:
    chunk = _some(rng, chunks, 0)
    what = rng.choice(("length", "count", "kind", "address", "code"))
    if what == "length":
        chunk.length = rng.choice((0, chunk.length - 1, chunk.length + 8, 2 * chunk.length, 2**31 - 1, -1))
    elif what == "count":
        chunk.count = rng.choice((0, -1, chunk.count + 1, 2**30))
    elif what == "kind":
        chunk.kind = rng.choice((0, -1, 5000, rng.choice(chunks).kind))
    elif what == "address":
        chunk.address = rng.choice((0, 8, rng.choice(chunks).address))
    else:
        chunk.code = rng.choice((b"OB\0\0", b"SC\0\0", b"DATA", b"ENDB", b"XX\0\0", rng.choice(chunks).code))


def _gone(rng: random.Random, chunks: list[Chunk]) -> None:
    del chunks[rng.randrange(len(chunks))]


def _twice(rng: random.Random, chunks: list[Chunk]) -> None:
    chunks.insert(rng.randrange(len(chunks)), rng.choice(chunks))


def _swapped(rng: random.Random, chunks: list[Chunk]) -> None:
    a, b = rng.randrange(len(chunks)), rng.randrange(len(chunks))
    chunks[a].data, chunks[b].data = chunks[b].data, chunks[a].data


def _cut(rng: random.Random, chunks: list[Chunk]) -> None:
    del chunks[rng.randrange(1, len(chunks)) :]


def _stored_plan(rng: random.Random, chunks: list[Chunk]) -> None:
    """The plan that the scene carries, its text changed where it lies."""
    holding = [c for c in chunks if b"duskrail-plan" in c.data]
    if not holding:
        return
    chunk = rng.choice(holding)
    for _ in range(rng.choice((1, 3))):
        offset = rng.randrange(len(chunk.data))
        _put(chunk, offset, rng.choice((b"9", b"-", b"}", b'"', b"\x00", b"e", b"\xff", b"null", b"[[[[")))


BREAKS: tuple[Callable[[random.Random, list[Chunk]], None], ...] = (
    *(_bytes, _bytes, _pointer, _pointer, _pointer, _number, _number, _head, _head),
    *(_gone, _twice, _swapped, _cut, _stored_plan, _stored_plan),
)


def mutated_scene(rng: random.Random, content: bytes) -> bytes:
    """A scene with one to four things broken in its structure."""
    header, chunks = chunks_of(content)
    for _ in range(rng.choice((1, 1, 2, 4))):
        if len(chunks) > 1:
            rng.choice(BREAKS)(rng, chunks)
    return joined(header, chunks)
