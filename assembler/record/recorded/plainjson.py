"""JSON from anywhere, looked at before a library takes it: what would exhaust or crash one is refused."""

from __future__ import annotations

import json
import re
from collections import Counter

import numpy as np

MOST_DEPTH = 32
"""A record is six levels deep, a timeline file a dozen."""
MOST_VALUES = 4_000_000
"""As many as stand in a record of 64 MiB, written one to a line."""
MOST_DIGITS = 40

_LONG_NUMBER = re.compile(rb"[0-9]{%d}" % (MOST_DIGITS + 1))
_NO_BRACKETS = bytes(set(range(256)) - set(b"[]{}"))
_STEPS = bytes(1 if byte in b"[{" else 255 for byte in range(256))


def check_json(data: bytes, most_values: int = MOST_VALUES) -> None:
    """Refuse JSON that is none, that readers take in different ways, or that is built to exhaust them.

    Args:
        data: the whole text.
        most_values: values and containers allowed in it.

    Raises:
        ValueError: it is not UTF-8 or no JSON, is nested too deeply, has too many values, a key twice in one
            object, a number too long or one that is not finite.
    """
    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError as error:
        raise ValueError(f"is not UTF-8 at byte {error.start}") from error
    bare = _outside_strings(data)
    steps = np.frombuffer(bare.translate(_STEPS, _NO_BRACKETS), np.int8)
    depth = int(np.cumsum(steps, dtype=np.int64).max(initial=0))
    if depth > MOST_DEPTH:
        raise ValueError(f"is nested {depth} levels deep, at most {MOST_DEPTH} are read")
    values = sum(bare.count(mark) for mark in (b",", b"[", b"{"))
    if values > most_values:
        raise ValueError(f"has {values} values, at most {most_values} are read")
    if _LONG_NUMBER.search(bare):
        raise ValueError(f"has a number of more than {MOST_DIGITS} digits")
    json.loads(text, object_pairs_hook=_keys_once, parse_constant=_refuse_constant)


def _outside_strings(data: bytes) -> bytes:
    """Return what of a JSON text stands outside of its strings, and the mark that ends each."""
    marks = np.frombuffer(data.replace(b"\\\\", b"").replace(b'\\"', b""), np.uint8)
    inside = np.bitwise_xor.accumulate(marks == ord('"'))
    return marks[~inside].tobytes()


def _keys_once(pairs: list[tuple[str, object]]) -> None:
    """Refuse a key that stands twice; nothing is kept of the object."""
    if len({key for key, _ in pairs}) < len(pairs):
        twice, _ = Counter(key for key, _ in pairs).most_common(1)[0]
        raise ValueError(f"has the key {twice[:60]!a} twice in one object")


def _refuse_constant(word: str) -> None:
    raise ValueError(f"holds {word}, which is no JSON number")
