"""The kinds of cases that the fuzzer has, and how any one of them is made again."""

from __future__ import annotations

import random

from . import fuzz_cases, fuzz_verbs
from .fuzz_cases import Case, Maker

KINDS: dict[str, Maker] = {**fuzz_cases.KINDS, **fuzz_verbs.KINDS}


def make(kind: str, seed: int, number: int) -> Case:
    """The case of this kind and number."""
    rng = random.Random(f"{seed}:{kind}:{number}")
    files, words = KINDS[kind](rng)
    return Case(kind=kind, number=number, files=files, words=tuple(words))
