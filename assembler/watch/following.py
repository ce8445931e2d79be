"""One pass followed from its first sample to its end: what is new in it each time it is looked at.

Sound is looked at in windows that overlap, so that whatever lies across the border of two is seen whole in one.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

import numpy as np

from assembler.aligner.compare.limits import LONE_MARGIN
from assembler.aligner.events.limits import AROUND_SAMPLES
from assembler.aligner.records.ranges import merged, total, without
from assembler.aligner.sound.limits import MOST_ALIKE
from assembler.aligner.sound.scale import bits_used, smallest_word
from assembler.errors import WaveError
from assembler.importer import PassAudio
from assembler.timecode import format_sample, frame_rate
from assembler.watch.captures.growing import GrowingWave
from assembler.watch.clock import GrowingClock
from assembler.watch.events import WORDS_OF_KIND, Event, length_words, tracks_words
from assembler.watch.examining import Place, Scales, alike_tracks, examine, levels_of

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from concurrent.futures import Executor

    from assembler.aligner.records.ranges import Range
    from assembler.arrays import Int32s
    from assembler.sheet import Pass, Reel, Sheet
    from assembler.watch.captures.scanning import Found
    from assembler.watch.examining import Examined, Seen, Witness

STEP_SECONDS: Final = 1.0
"""So much new sound is looked at at once; while more has gathered, up to the longest."""

LONGEST_SECONDS: Final = 10.0
"""Sound looked at at once where much has gathered, and the longest standstill that is seen whole."""

EDGE: Final = AROUND_SAMPLES + 64
"""What lies so near to the border of a window is left to the next one."""

OVERLAP: Final = LONE_MARGIN + 2 * EDGE
"""Samples of the window before that are looked at again."""

STILL_SECONDS: Final = 0.5
"""So much more is looked at again where a track stands still at the end of a window; where all do, the longest."""

DEAD_SECONDS: Final = 3.0
"""A track of zeros is told after so much sound of the others, and two tracks that are alike."""

LEAST_WORD_SECONDS: Final = 2.0
"""Sound by which a tape's word length is measured first."""

SLIP_REACH: Final = 4800
"""A slip that lies so near to one that was told is that one."""


@dataclass
class Follower:
    """A pass that is being recorded.

    Args:
        name: of the pass.
        capture: its files.
        sheet: for rates, and where the pass's timecode is.
        one: the pass.
        reel: its tape.
        started: when it was first seen, by a clock that never goes back.
    """

    name: str
    capture: Found
    sheet: Sheet
    one: Pass
    reel: Reel
    started: float
    clock: GrowingClock = field(default_factory=GrowingClock)
    grew_at: float = 0.0
    has_ended: bool = False
    seen: int = 0
    files: list[GrowingWave] = field(default_factory=list)
    _keep: int = 0
    _heard_shift: int | None = None
    _word: int = 0
    _word_until: float = 0.0
    _told: dict[int, list[Range]] = field(default_factory=dict)
    _alone: dict[tuple[str, int], int] = field(default_factory=dict)
    _slips: list[int] = field(default_factory=list)
    _sounds: set[int] = field(default_factory=set)
    _alike: dict[tuple[int, int], int] = field(default_factory=dict)
    _told_alike: set[tuple[int, int]] = field(default_factory=set)
    _dead: frozenset[int] = frozenset()
    _found_clock: bool = False
    _told_clock: str = ""

    def __post_init__(self) -> None:
        """Open the capture's files.

        Raises:
            WaveError: one of them cannot be read.
        """
        self.grew_at = self.started
        try:
            for path in self.capture.paths:
                self.files.append(GrowingWave(path))
        except WaveError:
            self.close()
            raise

    def close(self) -> None:
        """Close the files."""
        for file in self.files:
            file.close()

    @property
    def rate(self) -> int:
        """Samples in a second, as the sheet says."""
        return self.sheet.session.sample_rate

    @property
    def length(self) -> int:
        """Samples that all tracks hold by now."""
        return min(file.info.frames for file in self.files)

    @property
    def is_final(self) -> bool:
        """Whether the headers of all files say what these hold."""
        return all(file.is_final for file in self.files)

    def refresh(self, now: float) -> None:
        """Look at the files again.

        Raises:
            WaveError: one of them has become shorter, or cannot be read any more.
        """
        for file in self.files:
            if file.refresh():
                self.grew_at = now

    def label(self, at: int) -> str | None:
        """Return the timecode of a sample; None where it is not known."""
        shift = self._heard_shift
        if shift is None:
            if self.clock.position is None:
                return None
            shift = self.clock.position.shift_at(at)
        sample = at + shift
        return (
            format_sample(sample, frame_rate(self.sheet.session.frame_rate), self.rate)
            if sample >= 0
            else None
        )

    def news(
        self, now: float, witnesses: Sequence[Witness], executor: Executor, *, is_last: bool = False
    ) -> Iterator[Event]:
        """Yield what is new: of the log, and of one window of sound if enough has gathered.

        Args:
            now: by the clock of ``started``.
            witnesses: finished passes of the same reel.
            executor: runs tracks side by side.
            is_last: whether nothing more will come.
        """
        window = self._window(is_last=is_last)
        if window is None and not is_last and self.length == self.seen and self.clock.is_lost:
            return
        audio = self._audio()
        self.clock.follow(self.sheet, self.one, self.reel, audio, now)
        yield from self._clock_news()
        if window is None:
            return
        scales = self._scales(audio)
        self.seen = window[1]
        levels = levels_of(audio, max(window[0], window[1] - self.rate), window[1], scales.full_scale)
        yield self._recording(levels)
        yield from self._dead_news(audio, window)
        tracks = [track for track, name in enumerate(self.reel.tracks) if name and track in self._sounds]
        if tracks and window[1] - window[0] > 4 * EDGE:
            found = examine(audio, window, tracks, self._place(), witnesses, scales, executor)
            yield from self._sound_news(found, window)
            self._keep_still(audio, window, tracks)

    def leftover(self, kind: str, start: int, end: int, tracks: Sequence[int]) -> list[int]:
        """Return the tracks of a flaw, found later by a check, on which it has not been told."""
        if kind == "slip":
            return [] if any(abs(start - at) <= SLIP_REACH for at in self._slips) else list(tracks)
        return [track for track in tracks if not self._is_told(track, (start, end))]

    def flaw(self, kind: str, start: int, end: int, tracks: Sequence[int], more: dict[str, object]) -> Event:
        """Return a flaw as an event."""
        words = WORDS_OF_KIND.get(kind, kind)
        if kind == "slip":
            samples = int(str(more.get("samples", 0)))
            words += f" of {abs(samples)} samples {'lost' if samples > 0 else 'repeated'}"
        else:
            goes_on = " and going on" if more.get("goes_on") else ""
            words += (
                f", {length_words(end - start, self.rate)}{goes_on}, {tracks_words(tracks, self.reel.tracks)}"
            )
        label = self.label(start)
        return Event("flaw", self.name, words, kind, start, end, tuple(tracks), label, more)

    def _audio(self) -> PassAudio:
        channels = [
            (number, channel)
            for number, file in enumerate(self.files)
            for channel in range(file.info.format.channels)
        ]
        return PassAudio(self.files, channels, self.sheet.deliver.word_length)

    def _window(self, *, is_last: bool) -> Range | None:
        """Return what is to be looked at next; None while too little is new."""
        length = self.length
        new = length - self.seen
        if new <= 0 or (new < STEP_SECONDS * self.rate and not is_last):
            return None
        longest = round(LONGEST_SECONDS * self.rate)
        end = min(length, self.seen + longest)
        start = min(max(0, self.seen - OVERLAP), max(self._keep, self.seen - longest))
        # A slip ends what can be held against another pass at one shift.
        behind = max((at for at in self._slips if at <= self.seen), default=0)
        return max(start, behind), end

    def _scales(self, audio: PassAudio) -> Scales:
        bits = self.sheet.deliver.word_length
        said = self.reel.bit_depth or self.sheet.session.bit_depth
        seconds = audio.length / self.rate
        if seconds >= max(LEAST_WORD_SECONDS, self._word_until):
            self._word_until = 4.0 * seconds if seconds < 60 else float("inf")
            used = bits_used(audio, range(audio.tracks), bits)
            self._word = 0 if used is None else min(bits, smallest_word(used))
        word = self._word or min(bits, said)
        return Scales(self.rate, 1 << (bits - word), (1 << (bits - 1)) - 1)

    def _place(self) -> Place | None:
        position = self.clock.position
        if self._heard_shift is not None:
            return Place(self._heard_shift, 0.0, is_heard=True)
        if position is None:
            return None
        common = 0.0 if position.clock is None else position.clock.common_samples
        shift = position.shift_at(self.seen)
        return Place(shift, 6.0 * position.uncertainty_samples + common, is_heard=False)

    def _recording(self, levels: Sequence[float | None]) -> Event:
        words = f"recording, {length_words(self.seen, self.rate)}"
        more = {
            "samples": self.seen,
            "seconds": round(self.seen / self.rate, 3),
            "sample_rate": self.rate,
            "levels": list(levels),
        }
        return Event("recording", self.name, words, timecode=self.label(self.seen), more=more)

    def _clock_news(self) -> Iterator[Event]:
        clock = self.clock
        if clock.position is not None and not self._found_clock:
            self._found_clock = True
            yield Event("timecode", self.name, "timecode found", "found", 0, 0, (), self.label(0))
        elif (
            not self._found_clock and clock.problem and self.length > 10 * self.rate and not self._told_clock
        ):
            self._told_clock = "none"
            words = f"no timecode so far ({clock.problem})"
            yield Event("timecode", self.name, words, "none", 0, self.length)
        state = "lost" if clock.is_lost else ""
        if self._found_clock and state != self._told_clock:
            self._told_clock = state
            at = min(round(clock.lost_at * self.rate), self.length)
            if state:
                words = f"timecode lost {length_words(at, self.rate)} in, while sound goes on"
                yield Event("timecode", self.name, words, "lost", at, self.length, (), self.label(at))
            else:
                words = "timecode is back"
                yield Event(
                    "timecode", self.name, words, "found", at, self.length, (), self.label(self.length)
                )

    def _dead_news(self, audio: PassAudio, window: Range) -> Iterator[Event]:
        end = window[1]
        for track in range(audio.tracks):
            if track not in self._sounds and audio.read(track, window[0], end - window[0]).any():
                self._sounds.add(track)
        used = {track for track, name in enumerate(self.reel.tracks) if name}
        is_late = self._sounds and end >= DEAD_SECONDS * self.rate
        dead = frozenset(used - self._sounds) if is_late else frozenset()
        if dead - self._dead:
            yield self._dead_event("dead", "nothing but zeros so far", 0, end, sorted(dead))
        self._dead = dead
        pairs = alike_tracks(audio, *window)
        self._alike = {pair: self._alike.get(pair, window[0]) for pair in pairs}
        for pair, since in self._alike.items():
            if pair not in self._told_alike and window[1] - since >= DEAD_SECONDS * self.rate:
                self._told_alike.add(pair)
                yield self._dead_event("alike", "the same numbers as each other", since, window[1], pair)

    def _dead_event(self, kind: str, words: str, start: int, end: int, tracks: Sequence[int]) -> Event:
        told = f"{words}: {tracks_words(tracks, self.reel.tracks)}"
        return Event(
            "dead_track", self.name, told, kind, max(0, start), end, tuple(tracks), self.label(max(0, start))
        )

    def _sound_news(self, found: Examined, window: Range) -> Iterator[Event]:
        if found.shift is not None:
            self._heard_shift = found.shift
        for at, samples in found.slips:
            if all(abs(at - known) > SLIP_REACH for known in self._slips):
                self._slips.append(at)
                yield self.flaw("slip", at, at, range(len(self.reel.tracks)), {"samples": samples})
        low = window[0] + EDGE
        high = window[1] - EDGE
        self._keep = self.seen
        fresh: list[Seen] = []
        for flaw in found.flaws:
            if flaw.start < low:
                continue
            if flaw.end > high:
                # It goes on: the next window begins before it.
                self._keep = min(self._keep, flaw.start - LONE_MARGIN)
                if flaw.end - flaw.start < self.rate:
                    continue
            if not self._is_told(flaw.track, (flaw.start, flaw.end)):
                fresh.append(flaw)
        yield from self._flaw_events(fresh, high)

    def _keep_still(self, audio: PassAudio, window: Range, tracks: Sequence[int]) -> None:
        """Let the next window begin before what stands still at the end of this one, to see it whole."""
        changed = [_last_change(audio.read(track, window[0], window[1] - window[0])) for track in tracks]
        last = max(changed)
        if window[1] - window[0] - last > EDGE:
            self._keep = min(self._keep, window[0] + last - OVERLAP)
        else:
            still = window[1] - round(STILL_SECONDS * self.rate)
            short = [window[0] + at for at in changed if window[0] + at >= still]
            self._keep = min([self._keep, *(at - OVERLAP for at in short)])

    def _flaw_events(self, flaws: Sequence[Seen], high: int) -> Iterator[Event]:
        """Yield flaws, those of one kind that overlap on several tracks as one."""
        for kind in dict.fromkeys(flaw.kind for flaw in flaws):
            own = [flaw for flaw in flaws if flaw.kind == kind]
            for start, end in merged((flaw.start, flaw.end) for flaw in own):
                inside = [flaw for flaw in own if start <= flaw.start < end]
                tracks = sorted({flaw.track for flaw in inside})
                for flaw in inside:
                    places = [*self._told.get(flaw.track, []), (flaw.start, flaw.end)]
                    self._told[flaw.track] = merged(places)
                if len(tracks) == 1:
                    self._alone[kind, tracks[0]] = self._alone.get((kind, tracks[0]), 0) + 1
                    if self._alone[kind, tracks[0]] > MOST_ALIKE:
                        continue  # so often on one track alone it may be how it is played: the check weighs it
                yield self.flaw(kind, start, end, tracks, {"goes_on": True} if end > high else {})

    def _is_told(self, track: int, place: Range) -> bool:
        new = total(without([place], self._told.get(track, [])))
        return new < 0.5 * (place[1] - place[0])


def _last_change(samples: Int32s) -> int:
    """Return where a track has its value of the end from on."""
    moved = np.flatnonzero(samples != samples[-1])
    return int(moved[-1]) + 1 if moved.size else 0
