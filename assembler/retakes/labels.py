"""Labels as the machine shows them: a tape's own timecode, before the sheet's offset moved it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assembler.timecode import (
    day_samples,
    format_label,
    frame_rate,
    frame_to_sample,
    parse_offset,
    sample_to_frame,
)

if TYPE_CHECKING:
    from assembler.sheet import Reel, Sheet


class TapeLabels:
    """Writes timeline samples as labels of one tape."""

    def __init__(self, sheet: Sheet, reel: Reel) -> None:
        self._rate = frame_rate(sheet.session.frame_rate)
        self._sample_rate = sheet.session.sample_rate
        frames = 0 if reel.timecode_offset is None else parse_offset(reel.timecode_offset, self._rate)
        samples = frame_to_sample(abs(frames), self._rate, self._sample_rate)
        self._offset = samples if frames >= 0 else -samples

    def earlier(self, sample: int, samples: int) -> int:
        """Return a place before another on the timeline, but none before the tape's own 00:00:00:00."""
        return sample - min(samples, self._on_tape(sample))

    def first(self, sample: int) -> str:
        """Return the label of the frame that holds a timeline sample."""
        return format_label(self._frame(sample), self._rate)

    def behind(self, sample: int) -> str:
        """Return the label of the first frame that begins at a timeline sample or after it."""
        frame = self._frame(sample)
        begins = frame_to_sample(frame, self._rate, self._sample_rate) == self._on_tape(sample)
        return format_label(frame + (not begins), self._rate)

    def _frame(self, sample: int) -> int:
        return sample_to_frame(self._on_tape(sample), self._rate, self._sample_rate)

    def _on_tape(self, sample: int) -> int:
        """Return a timeline sample as the tape counts it; before its midnight that is the day before."""
        place = sample - self._offset
        return place if place >= 0 else place % day_samples(self._rate, self._sample_rate)
