"""The ``bext`` chunk of a Broadcast WAVE file.

Source: EBU Tech 3285 version 2 (May 2011), 2.3 (layout) and 2.4 (loudness); coding history: EBU R 98-1999,
Appendix 1. Limits are in bytes; text is ASCII.
"""

from __future__ import annotations

import datetime as dt
import math
import re
import struct
from dataclasses import dataclass, field
from decimal import ROUND_HALF_UP, Decimal

from assembler.errors import WaveError
from assembler.wave.metadata.text import is_plain, transliterate

_LAYOUT = struct.Struct(
    "<256s"  # 0    description
    "32s"  #   256  originator
    "32s"  #   288  originator reference
    "10s"  #   320  origination date, yyyy-mm-dd
    "8s"  #    330  origination time, hh:mm:ss
    "Q"  #     338  time reference, low word first: samples since midnight
    "H"  #     346  version
    "64s"  #   348  UMID (version 1 and later)
    "5h"  #    412  loudness words (version 2 and later)
    "180s"  #  422  reserved
    #          602  coding history
)
_FIELD_LIMITS = {"description": 256, "originator": 32, "originator_reference": 32}
_NOT_SET = 0x7FFF
_DATE = re.compile(r"\d{4}-\d{2}-\d{2}")
_TIME = re.compile(r"([01]\d|2[0-3]):[0-5]\d:[0-5]\d")


@dataclass(frozen=True)
class Loudness:
    """The five loudness fields; None where a value was not measured.

    Attributes:
        integrated: LUFS.
        range: LU.
        max_true_peak: dBTP.
        max_momentary: LUFS.
        max_short_term: LUFS.
    """

    integrated: float | None = None
    range: float | None = None
    max_true_peak: float | None = None
    max_momentary: float | None = None
    max_short_term: float | None = None


@dataclass(frozen=True)
class BroadcastExtension:
    """What a ``bext`` chunk says.

    Attributes:
        description: at most 256 characters; the first 64 should stand alone as a summary.
        originator: at most 32 characters.
        originator_reference: at most 32 characters.
        origination_date: ``yyyy-mm-dd`` or nothing.
        origination_time: ``hh:mm:ss`` or nothing.
        time_reference: samples since midnight of the file's first sample, at the file's own rate.
        version: 0, 1 or 2.
        umid: 32 or 64 bytes (SMPTE ST 330), or none; needs version 1.
        loudness: needs version 2.
        coding_history: rows as EBU R 98 has them, one line each.
    """

    description: str = ""
    originator: str = ""
    originator_reference: str = ""
    origination_date: str = ""
    origination_time: str = ""
    time_reference: int = 0
    version: int = 2
    umid: bytes = b""
    loudness: Loudness = field(default_factory=Loudness)
    coding_history: str = ""


def encode_bext(extension: BroadcastExtension) -> bytes:
    """Return the payload of a ``bext`` chunk, always even.

    Rows of the coding history end in CR LF, however they were given; a NUL fills up to an even size, since
    readers lose their place after an odd payload. A loudness that is None or minus infinity (digital silence)
    is written as not set. Loudness is rounded to hundredths, half away from zero (2.4), and held inside what
    the word can say.

    Raises:
        WaveError: a text is too long or not plain ASCII, the date or time is none, the version does not have
            the fields that are set, or a number is out of range. The message names the field.
    """
    _check(extension)
    history = "".join(f"{row}\r\n" for row in extension.coding_history.splitlines()).encode("ascii")
    fixed = _LAYOUT.pack(
        extension.description.encode("ascii"),
        extension.originator.encode("ascii"),
        extension.originator_reference.encode("ascii"),
        extension.origination_date.encode("ascii"),
        extension.origination_time.encode("ascii"),
        extension.time_reference,
        extension.version,
        extension.umid,
        *_encode_loudness(extension),
        b"",
    )
    return fixed + history + b"\0" * (len(history) % 2)


def decode_bext(payload: bytes) -> BroadcastExtension:
    """Return what a ``bext`` payload of any version says.

    Fields that the version does not have are left empty. Texts end at their first NUL; bytes outside ASCII
    are read as latin-1, and nothing is checked beyond the size: what a capture says is handed on as it
    stands.

    Raises:
        WaveError: the payload is shorter than the fixed part.
    """
    if len(payload) < _LAYOUT.size:
        raise WaveError(f"the bext chunk has {len(payload)} bytes, at least {_LAYOUT.size} are needed")
    fields = _LAYOUT.unpack_from(payload)
    description, originator, reference, date, time = (_decode_text(text) for text in fields[:5])
    time_reference, version, umid = fields[5:8]
    words = fields[8:13] if version >= 2 else (_NOT_SET,) * 5
    return BroadcastExtension(
        description=description,
        originator=originator,
        originator_reference=reference,
        origination_date=date,
        origination_time=time,
        time_reference=time_reference,
        version=version,
        umid=_trim_umid(umid) if version >= 1 else b"",
        loudness=Loudness(*(None if word == _NOT_SET else word / 100 for word in words)),
        coding_history=_decode_text(payload[_LAYOUT.size :]),
    )


def coding_history_row(*, sample_rate: int, word_length: int, channels: int, text: str) -> str:
    """Return one row of coding history for a PCM step, without its line end.

    The mode is given for one or two channels, the only counts R 98 has words for. Commas part the row's
    entries, so those in ``text`` become semicolons.

    >>> coding_history_row(sample_rate=48000, word_length=20, channels=1, text="tape, pass 2")
    'A=PCM,F=48000,W=20,M=mono,T=tape; pass 2'
    """
    mode = {1: "M=mono,", 2: "M=stereo,"}.get(channels, "")
    remark = transliterate(" ".join(text.splitlines())).replace(",", ";")
    return f"A=PCM,F={sample_rate},W={word_length},{mode}T={remark}"


def _check(extension: BroadcastExtension) -> None:
    for name, limit in _FIELD_LIMITS.items():
        text = getattr(extension, name)
        if len(text) > limit:
            raise WaveError(f"bext {name} has {len(text)} characters, at most {limit} are allowed")
        _check_plain(name, text, line_ends=name == "description")
    _check_plain("coding_history", extension.coding_history, line_ends=True)
    _check_moment(extension.origination_date, extension.origination_time)
    if not 0 <= extension.time_reference < 1 << 64:
        raise WaveError(f"bext time_reference {extension.time_reference}; 0 to 2^64 - 1 is allowed")
    if extension.version not in (0, 1, 2):
        raise WaveError(f"bext version {extension.version}; 0, 1 or 2 is allowed")
    if len(extension.umid) not in (0, 32, 64):
        raise WaveError(f"bext umid has {len(extension.umid)} bytes; none, 32 or 64 are allowed")
    if extension.umid and extension.version < 1:
        raise WaveError("bext version 0 has no place for a umid; version 1 or 2 is needed")
    if extension.loudness != Loudness() and extension.version < 2:
        raise WaveError(f"bext version {extension.version} has no place for loudness; version 2 is needed")


def _check_plain(name: str, text: str, *, line_ends: bool) -> None:
    if not is_plain(text, line_ends=line_ends):
        raise WaveError(f"bext {name} holds {text[:80]!a}; only printable ASCII is allowed")


def _check_moment(date: str, time: str) -> None:
    if date and not (_DATE.fullmatch(date) and _is_date(date)):
        raise WaveError(f"bext origination_date {date[:40]!a}; a date as yyyy-mm-dd is needed")
    if time and not _TIME.fullmatch(time):
        raise WaveError(f"bext origination_time {time[:40]!a}; a time as hh:mm:ss is needed")


def _is_date(text: str) -> bool:
    try:
        dt.date.fromisoformat(text)
    except ValueError:
        return False
    return True


def _encode_loudness(extension: BroadcastExtension) -> tuple[int, ...]:
    if extension.version < 2:
        return (0,) * 5  # reserved bytes of the older versions: zero (1.1)
    loudness = extension.loudness
    return (
        _loudness_word("integrated", loudness.integrated),
        _loudness_word("range", loudness.range),
        _loudness_word("max_true_peak", loudness.max_true_peak),
        _loudness_word("max_momentary", loudness.max_momentary),
        _loudness_word("max_short_term", loudness.max_short_term),
    )


def _loudness_word(name: str, value: float | None) -> int:
    if value is None or value == -math.inf:
        return _NOT_SET
    if not math.isfinite(value):
        raise WaveError(f"bext loudness {name} is {value}; a finite number is needed")
    # Through the shortest decimal that names the float: -22.645 * 100 in binary falls short of the half.
    hundredths = (Decimal(repr(float(value))) * 100).quantize(Decimal(1), rounding=ROUND_HALF_UP)
    return max(-0x8000, min(int(hundredths), _NOT_SET - 1))


def _decode_text(raw: bytes) -> str:
    return raw.partition(b"\0")[0].decode("latin-1")


def _trim_umid(umid: bytes) -> bytes:
    """Return the 32 bytes of a basic UMID, the 64 of an extended one, or none."""
    if not any(umid):
        return b""
    return umid if any(umid[32:]) else umid[:32]
