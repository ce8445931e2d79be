"""The ``iXML`` chunk: what a delivered track is, for the programs that read it.

Source: the open iXML specification (element names and their text). Every element is optional there; the
record here holds those that this package writes. Where iXML and ``bext`` or ``fmt `` disagree, the latter
win.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction
from html import escape
from typing import TYPE_CHECKING

from assembler.errors import WaveError

if TYPE_CHECKING:
    from xml.etree import ElementTree as ET

# Far more than any track sheet, little enough to parse at once.
_LARGEST = 1 << 20
# Characters that XML 1.0 (fifth edition, 2.2) cannot carry.
_NOT_XML = re.compile("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


@dataclass(frozen=True)
class TrackSheet:
    """What the iXML chunk of one delivered track says.

    Attributes:
        project: the session's title.
        tape: the reel or reels that the track comes from.
        track_name: as the sheet has it, any Unicode.
        channel_index: the track's number on the tapes, from 1.
        frame_rate: timecode frames per second, exact, for instance Fraction(30000, 1001).
        drop_frame: whether labels are dropped.
        sample_rate: samples per second of the file, and of the transfer.
        bit_depth: word length of the file.
        start_sample: samples since midnight of the file's first sample.
        note: anything else a person should know; nothing is written when empty.
        file_uid: a stable identifier of this file; nothing is written when empty.
    """

    project: str
    tape: str
    track_name: str
    channel_index: int
    frame_rate: Fraction
    drop_frame: bool
    sample_rate: int
    bit_depth: int
    start_sample: int
    note: str = ""
    file_uid: str = ""


def encode_ixml(sheet: TrackSheet) -> bytes:
    """Return the payload of an ``iXML`` chunk in UTF-8, always even (a line end after the root fills up).

    Raises:
        WaveError: a text holds a character that XML cannot carry, or the start does not fit into 64 bits.
    """
    if not 0 <= sheet.start_sample < 1 << 64:
        raise WaveError(f"iXML start_sample {sheet.start_sample}; 0 to 2^64 - 1 is allowed")
    text = '<?xml version="1.0" encoding="UTF-8"?>\n<BWFXML>\n' + "".join(_elements(sheet)) + "</BWFXML>\n"
    payload = text.encode("utf-8")
    return payload + b"\n" * (len(payload) % 2)


def decode_ixml(payload: bytes) -> TrackSheet:
    """Return what an ``iXML`` payload says, as far as the record holds it.

    Raises:
        WaveError: the payload is no XML, is too large, declares a document type (entities could make it
            endless), or lacks an element that the record needs.
    """
    root = _parse(payload)
    words = {"DF": True, "NDF": False}
    flag = _text(root, "SPEED/TIMECODE_FLAG")
    if flag not in words:
        raise WaveError(f"iXML TIMECODE_FLAG {flag[:40]!a}; DF or NDF is needed")
    high = _number(root, "SPEED/TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_HI")
    low = _number(root, "SPEED/TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_LO")
    return TrackSheet(
        project=_text(root, "PROJECT"),
        tape=_text(root, "TAPE"),
        track_name=_text(root, "TRACK_LIST/TRACK/NAME"),
        channel_index=_number(root, "TRACK_LIST/TRACK/CHANNEL_INDEX"),
        frame_rate=_fraction(root, "SPEED/TIMECODE_RATE"),
        drop_frame=words[flag],
        sample_rate=_number(root, "SPEED/FILE_SAMPLE_RATE"),
        bit_depth=_number(root, "SPEED/AUDIO_BIT_DEPTH"),
        start_sample=(high << 32) + low,
        note=root.findtext("NOTE") or "",
        file_uid=root.findtext("FILE_UID") or "",
    )


def _elements(sheet: TrackSheet) -> list[str]:
    """Return the lines below the root."""
    rate = f"{sheet.frame_rate.numerator}/{sheet.frame_rate.denominator}"
    high, low = divmod(sheet.start_sample, 1 << 32)
    return [
        _element("IXML_VERSION", "1.61"),
        _element("PROJECT", sheet.project),
        _element("TAPE", sheet.tape),
        _element("NOTE", sheet.note) if sheet.note else "",
        _element("FILE_UID", sheet.file_uid) if sheet.file_uid else "",
        "<SPEED>\n",
        _element("MASTER_SPEED", rate),
        _element("CURRENT_SPEED", rate),
        _element("TIMECODE_RATE", rate),
        _element("TIMECODE_FLAG", "DF" if sheet.drop_frame else "NDF"),
        _element("FILE_SAMPLE_RATE", str(sheet.sample_rate)),
        _element("AUDIO_BIT_DEPTH", str(sheet.bit_depth)),
        _element("DIGITIZER_SAMPLE_RATE", str(sheet.sample_rate)),
        _element("TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_HI", str(high)),
        _element("TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_LO", str(low)),
        _element("TIMESTAMP_SAMPLE_RATE", str(sheet.sample_rate)),
        "</SPEED>\n<TRACK_LIST>\n",
        _element("TRACK_COUNT", "1"),
        "<TRACK>\n",
        _element("CHANNEL_INDEX", str(sheet.channel_index)),
        _element("INTERLEAVE_INDEX", "1"),
        _element("NAME", sheet.track_name),
        "</TRACK>\n</TRACK_LIST>\n",
    ]


def _element(name: str, text: str) -> str:
    if _NOT_XML.search(text):
        raise WaveError(f"iXML {name} {text[:80]!a} holds a character that XML cannot carry")
    # A bare carriage return would be read back as a line feed.
    return f"<{name}>{escape(text, quote=False).replace(chr(13), '&#13;')}</{name}>\n"


def _parse(payload: bytes) -> ET.Element:
    from xml.etree import ElementTree as ET  # noqa: PLC0415 - only where a set is read

    if len(payload) > _LARGEST:
        raise WaveError(f"the iXML chunk has {len(payload)} bytes, at most {_LARGEST} are read")
    try:
        # Decoded here, so that no other encoding can hide what is looked for below.
        text = payload.decode("utf-8-sig").rstrip("\0 \t\r\n")
    except UnicodeDecodeError as error:
        raise WaveError("the iXML chunk is not UTF-8") from error
    if "<!DOCTYPE" in text:
        raise WaveError("the iXML chunk declares a document type, which is not read")
    try:
        return ET.fromstring(text)  # noqa: S314 -- entities need the document type that was refused above
    except ET.ParseError as error:
        raise WaveError(f"the iXML chunk is no well-formed XML: {error}") from error


def _text(root: ET.Element, path: str) -> str:
    text = root.findtext(path)
    if text is None:
        raise WaveError(f"the iXML chunk has no {path}")
    return text


def _number(root: ET.Element, path: str) -> int:
    text = _text(root, path).strip()
    if not re.fullmatch("[0-9]{1,20}", text):
        raise WaveError(f"iXML {path} {text[:40]!a}; a whole number is needed")
    return int(text)


def _fraction(root: ET.Element, path: str) -> Fraction:
    text = _text(root, path).strip()
    match = re.fullmatch("([0-9]{1,9})/([0-9]{1,9})", text)
    if match is None or int(match[2]) == 0:
        raise WaveError(f"iXML {path} {text[:40]!a}; a fraction such as 30000/1001 is needed")
    return Fraction(int(match[1]), int(match[2]))
