"""The views of one track, made block by block beside its rendering.

What rendering reads of passes, and what it delivers, is looked at while it is in its hands; of what it does not read
only the ranges around places are read, each once. Kept is what places that have not ended yet still need: a dozen
seconds of each pass at most.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, replace
from itertools import accumulate
from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.records.ranges import common, merged
from assembler.consolidator.viewing.gathering import MadeView
from assembler.consolidator.viewing.hushing import clip_samples, flac_of, held_back
from assembler.consolidator.viewing.layout import Frame, clip_of, frames_of
from assembler.consolidator.viewing.tracing import Sound, numbers_size, traces_of
from assembler.report.views import RESULT, Clip, View, Window

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assembler.arrays import Int32s
    from assembler.consolidator.tracks.rendering import SpanReader
    from assembler.consolidator.viewing.choosing import Choice
    from assembler.consolidator.viewing.sources import TrackSources


@dataclass(frozen=True)
class _Job:
    """A window or, without a frame, the clips of one place."""

    end: int
    start: int
    place: int
    frame: Frame | None


@dataclass(frozen=True)
class _Piece:
    """A range of the set as every source has it: the passes, then the result."""

    start: int
    end: int
    sounds: tuple[Sound, ...]


class TrackViewer:
    """Makes the views of one track; fed with its blocks in order.

    Args:
        sources: of the track.
        choices: its places.
    """

    def __init__(self, sources: TrackSources, choices: Sequence[Choice]) -> None:
        self._sources = sources
        self._choices = choices
        self._jobs = sorted(
            (job for place, one in enumerate(choices) for job in self._jobs_of(place, one)),
            key=lambda job: (job.end, job.start, job.place),
        )
        self._wanted = merged((job.start, job.end) for job in self._jobs)
        # For each job the first sample that it or a later one needs.
        self._needed = list(accumulate((job.start for job in reversed(self._jobs)), min))[::-1]
        self._done = 0
        self._pieces: list[_Piece] = []
        self._heard: dict[str, list[tuple[int, Int32s]]] = defaultdict(list)
        self._windows: dict[int, list[Window]] = defaultdict(list)
        self._clips: dict[int, tuple[Clip, ...]] = {}

    def _jobs_of(self, place: int, choice: Choice) -> list[_Job]:
        sources, span = self._sources, (choice.start, choice.end)
        jobs = []
        if choice.columns:
            frames = frames_of(
                span,
                is_join=choice.is_join,
                columns=choice.columns,
                length=sources.length,
                sample_rate=sources.sample_rate,
            )
            jobs = [_Job(frame.end, frame.start, place, frame) for frame in frames]
        if choice.has_clips:
            start, end = clip_of(span, length=sources.length, sample_rate=sources.sample_rate)
            jobs.append(_Job(end, start, place, None))
        return jobs

    def listening(self, read: SpanReader) -> SpanReader:
        """Return a reader for the renderer that lets what it reads of a block be seen until the block is taken."""
        if not self._jobs:
            return read

        def heard(pass_name: str, start: int, count: int) -> Int32s:
            samples = read(pass_name, start, count)
            self._heard[pass_name].append((start, samples))
            return samples

        return heard

    def take(self, start: int, samples: Int32s) -> None:
        """Take the next block of the rendered track.

        Args:
            start: its first sample.
            samples: shape (n,).

        Raises:
            CaptureError: a capture cannot be read.
        """
        end = start + samples.size
        for low, high in common(self._wanted, [(start, end)]):
            passes = [one.sound(low, high, self._heard[one.name]) for one in self._sources.passes]
            result = Sound(RESULT, samples[low - start : high - start].copy(), None)
            self._pieces.append(_Piece(low, high, (*passes, result)))
        self._heard.clear()
        while self._done < len(self._jobs) and self._jobs[self._done].end <= end:
            self._do(self._jobs[self._done])
            self._done += 1
        needed = self._needed[self._done] if self._done < len(self._jobs) else end
        self._pieces = [piece for piece in self._pieces if piece.end > needed]

    def views(self) -> tuple[MadeView, ...]:
        """Return what was made of the track's places, when all blocks were taken; nothing of places without a part."""
        made = []
        for place, choice in enumerate(self._choices):
            windows, clips = tuple(self._windows[place]), self._clips.get(place, ())
            size = sum(numbers_size(window.traces) for window in windows)
            view = View(choice.track, choice.start, choice.end, windows, clips)
            made.append(MadeView(choice.order, view, size))
        return tuple(made)

    def _do(self, job: _Job) -> None:
        sounds = self._sounds(job.start, job.end)
        if job.frame is not None:
            frame = job.frame
            window = Window(frame.title, frame.start, frame.step, traces_of(sounds, frame.step))
            self._windows[job.place] = sorted([*self._windows[job.place], window], key=_reading_order)
        else:
            self._clips[job.place] = self._clips_of(job, sounds)

    def _sounds(self, start: int, end: int) -> list[Sound]:
        """Return what all sources have of a range that was taken."""
        parts = []
        for piece in self._pieces:
            low, high = max(start, piece.start), min(end, piece.end)
            if low < high:
                parts.append([one.part(low - piece.start, high - piece.start) for one in piece.sounds])
        return [_joined(same) for same in zip(*parts, strict=True)]

    def _clips_of(self, job: _Job, sounds: Sequence[Sound]) -> tuple[Clip, ...]:
        sources = self._sources
        encoded: dict[bytes, bytes] = {}
        clips = []
        for number, sound in enumerate(sounds):
            if sound.source != RESULT and sound.is_empty:
                continue
            own = () if sound.source == RESULT else sources.passes[number].flawed
            flawed = [
                (low - job.start, high - job.start)
                for low, high in common(merged((*own, *sources.doubtful)), [(job.start, job.end)])
            ]
            values, is_held_back = held_back(
                sound.samples, flawed, 1 << (sources.word_length - 1), sources.sample_rate
            )
            samples = clip_samples(values, sources.word_length)
            # The result is mostly what one of the passes has.
            key = samples.tobytes()
            if key not in encoded:
                encoded[key] = flac_of(samples, sources.sample_rate)
            clips.append(Clip(sound.source, job.start, encoded[key], is_held_back))
        return tuple(clips)


def _reading_order(window: Window) -> tuple[bool, int]:
    return window.step == 1, window.start


def _joined(parts: Sequence[Sound]) -> Sound:
    if len(parts) == 1:
        return parts[0]
    samples = np.concatenate([one.samples for one in parts])
    if all(one.held is None for one in parts):
        return replace(parts[0], samples=samples)
    held = [np.ones(one.samples.size, bool) if one.held is None else one.held for one in parts]
    return replace(parts[0], samples=samples, held=np.concatenate(held))
