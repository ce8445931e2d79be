"""What one capture shows by itself: bits in use, how much of it stands still, where its log puts it, at which pace."""

from __future__ import annotations

from contextlib import ExitStack
from dataclasses import dataclass
from typing import TYPE_CHECKING

from assembler.aligner.sound.levels import constant_runs
from assembler.aligner.sound.scale import bits_used, smallest_word
from assembler.errors import CaptureError, TimecodeError
from assembler.importer import PassAudio
from assembler.importer.places.log import read_log
from assembler.inputs import InputFile
from assembler.known import NOTHING, Known
from assembler.timecode import decode_quarter_frames, draft_clock, frame_rate, settle_clocks
from assembler.wave import WaveFile

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from assembler.drafting.found import DraftPass
    from assembler.timecode import ClockDraft

WORD_LENGTH = 24
"""Of the samples as they are compared here: it holds any capture's."""
BLOCK_SAMPLES = 1 << 18
STILL_SAMPLES = 32
"""Equal samples in a row: sound has few such, what a machine conceals has many (common practice, no source)."""
PULLED_DOWN = 1.001
"""29.97 frames a second are logged as 30, which they fall after by this."""


@dataclass(frozen=True)
class Heard:
    """What a capture shows by itself.

    Args:
        found: the capture.
        length: of its longest track, in samples.
        bits: of its samples in use, from the sign down, as a tape's word length; None where it is too soft to tell.
        still: samples of all tracks in runs of equal ones.
        start: timeline sample of its first one by its log; None where no log tells.
        pace: log seconds a tape second, where that is a known wrong rate; else 1.
    """

    found: DraftPass
    length: int
    bits: int | None
    still: int
    start: int | None = None
    pace: float = 1.0

    @property
    def reach(self) -> tuple[int, int] | None:
        """The timeline range that it covers by its log."""
        return None if self.start is None else (self.start, self.start + self.length)


@dataclass(frozen=True)
class Captures:
    """Where captures lie, and what was found out before of such.

    Args:
        folder: that their paths are relative to.
        known: what is known.
    """

    folder: Path
    known: Known = NOTHING


def open_audio(folder: Path, found: DraftPass, opened: ExitStack) -> PassAudio:
    """Return a capture's audio, its tracks in the order of the files.

    Raises:
        CaptureError: a file cannot be read.
    """
    files = [opened.enter_context(WaveFile(folder / path)) for path in found.files]
    channels = [(i, c) for i, file in enumerate(files) for c in range(file.info.format.channels)]
    return PassAudio(files, channels, WORD_LENGTH)


def hear(captures: Captures, found: DraftPass, advance: Callable[[float], None] = lambda _: None) -> Heard:
    """Return what a capture shows by itself; all of it is read once, unless it is known.

    Args:
        captures: where it lies.
        found: the capture.
        advance: called with the share of the work done.

    Raises:
        CaptureError: a file cannot be read.
    """
    with ExitStack() as opened:
        audio = open_audio(captures.folder, found, opened)
        log = _open_log(captures.folder, found, opened)
        measured = captures.known.recall(
            "heard",
            (found.frame_rate, audio, log),
            lambda: _measured(found.frame_rate, audio, log, advance),
        )
    return Heard(found, audio.length, *measured)


def _measured(
    rate: str | None, audio: PassAudio, log: InputFile | None, advance: Callable[[float], None]
) -> tuple[int | None, int, int | None, float]:
    """Return bits in use, samples that stand still, the first one's place and the pace of the log."""
    tracks = range(audio.tracks)
    bits = bits_used(audio, tracks, WORD_LENGTH) if audio.length else None
    still = 0
    for start in range(0, audio.length, BLOCK_SAMPLES):
        for track in tracks:
            runs = constant_runs(audio.read(track, start, BLOCK_SAMPLES), STILL_SAMPLES)
            still += sum(run.end - run.start for run in runs)
        advance(min(1.0, (start + BLOCK_SAMPLES) / audio.length))
    word = None if bits is None else smallest_word(bits)
    clock = _clock(rate, log, audio.sample_rate)
    if clock is None:
        return word, still, None, 1.0
    return word, still, round(settle_clocks([clock])[0].stretches[0].shift_samples), clock.known_ratio


def _open_log(folder: Path, found: DraftPass, opened: ExitStack) -> InputFile | None:
    if found.log is None or found.frame_rate is None:
        return None
    try:
        return opened.enter_context(InputFile(folder / found.log))
    except CaptureError:
        return None  # a check of the sheet will tell what is wrong with it


def _clock(rate_name: str | None, log: InputFile | None, sample_rate: int) -> ClockDraft | None:
    if log is None or rate_name is None:
        return None
    rate = frame_rate(rate_name)
    try:
        return draft_clock(decode_quarter_frames(read_log(log, sample_rate), rate), rate, sample_rate)
    except (CaptureError, TimecodeError):
        return None  # as above


def measured_words(heard: Heard) -> list[str]:
    """Return what was measured that differs from what files and log say, in plain lines."""
    found = heard.found
    words = []
    if heard.bits is not None and found.bit_depth is not None and heard.bits < found.bit_depth:
        words.append(
            f"{found.name}: measured {heard.bits} bits in use; its files have room for {found.bit_depth}"
        )
    if is_pulled_down(heard):
        words.append(f"{found.name}: its log says 30 frames a second, which come at the pace of 29.97")
    elif heard.pace != 1.0:
        words.append(
            f"{found.name}: its timecode takes {heard.pace:.4f} s for a second by the files' rate: is that rate, or "
            "the log's, wrong? (relabel = true on the pass takes its samples at the session's rate)"
        )
    return words


def is_pulled_down(heard: Heard) -> bool:
    """Return whether a log that says 30 frames a second runs at 29.97."""
    return heard.found.frame_rate in ("30", "29.97") and heard.pace == PULLED_DOWN
