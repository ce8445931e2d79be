"""What came of writing a track: its file, its digest, what was measured on it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from assembler.aligner import TrackEdit


@dataclass(frozen=True)
class TrackLevels:
    """What was measured on a track. None stands where a measure is not defined: silence, or too short a
    track.

    Args:
        integrated_lufs: programme loudness, one channel of weight 1 (BS.1770-5).
        loudness_range_lu: spread of the short-term loudness, to 0.01 LU (Tech 3342).
        max_momentary_lufs: loudest 0.4 s.
        max_short_term_lufs: loudest 3 s.
        true_peak_dbtp: highest value of the waveform, between samples too (BS.1770-5 Annex 2).
        sample_peak_dbfs: largest sample.
        rms_dbfs: of the whole track; a full-scale sine reads -3.01.
        dc_offset: mean of the samples, as a share of full scale.
        bits_in_use: from the sign to the lowest bit ever set; 0 for silence.
        clipped_runs: runs of three and more samples at one end of the scale.
        silent_share: share of the track, 0 to 1, in 10 ms slots of nothing but zeros.
    """

    integrated_lufs: float | None
    loudness_range_lu: float | None
    max_momentary_lufs: float | None
    max_short_term_lufs: float | None
    true_peak_dbtp: float | None
    sample_peak_dbfs: float | None
    rms_dbfs: float | None
    dc_offset: float
    bits_in_use: int
    clipped_runs: int
    silent_share: float


@dataclass(frozen=True)
class WrittenTrack:
    """What came of writing one track.

    Args:
        edit: which track.
        file: path inside the payload.
        levels: measured.
        audio_sha256: digest of the samples alone, as the data chunk holds them.
    """

    edit: TrackEdit
    file: str
    levels: TrackLevels
    audio_sha256: str
