"""A record of a large session, made up: 16 reels of 8 tracks, 300 joins, 2,000 places; and views for it."""

from __future__ import annotations

import itertools
import json
from typing import TYPE_CHECKING, Any

import numpy as np

from assembler.record.recorded.reading import read_record
from assembler.report.views import DIFFERENCE, RESULT, Clip, Trace, View, Views, Window

if TYPE_CHECKING:
    from assembler.record.recorded.whole import RecordedSet

RATE = 48_000
FIRST = 3600 * RATE
Json = Any
LEVELS = {
    "integrated_lufs": -20.0,
    "loudness_range_lu": 2.0,
    "max_momentary_lufs": -15.0,
    "max_short_term_lufs": -16.0,
    "true_peak_dbtp": -1.0,
    "sample_peak_dbfs": -1.5,
    "rms_dbfs": -21.0,
    "dc_offset": 0.0,
    "bits_in_use": 16,
    "clipped_runs": 0,
    "silent_share": 0.0,
}


def large_record(
    reels: int = 16,
    tracks: int = 8,
    passes: int = 4,
    seconds: int = 1800,
    joins: int = 300,
    places: int = 2000,
) -> RecordedSet:
    """Return a record with so many reels and tracks on each, joins in all, and uncured places in all."""
    rng = np.random.default_rng(1)
    length = seconds * RATE
    names = [[f"Reel {reel + 1} track {track + 1}" for track in range(tracks)] for reel in range(reels)]
    listed_passes = [
        _pass(reel, number, tracks, length, rng) for reel in range(reels) for number in range(passes)
    ]
    delivered = [
        _track(reel, track, names[reel][track], tracks, passes, length, joins // (reels * tracks) + 1, rng)
        for reel in range(reels)
        for track in range(tracks)
    ]
    record = {
        "format": 2,
        "program": "made up",
        "session": {
            "title": "Large",
            "sample_rate": RATE,
            "bit_depth": 16,
            "frame_rate": "29.97df",
            "word_length": 16,
        },
        "start": {"timecode": "00:59:56;12", "sample": FIRST},
        "length": length,
        "reels": [_reel(reel, names[reel], length, rng) for reel in range(reels)],
        "passes": listed_passes,
        "tracks": delivered,
        "uncured": [_uncured(names, passes, length, rng) for _ in range(places)],
        "notes": [],
        "sound": False,
    }
    return read_record(json.dumps(record).encode())


def _reel(reel: int, names: list[str], length: int, rng: np.random.Generator) -> Json:
    order = ["proven", "seen_once", "suspect", "flawed", "missing"]
    states = []
    for track in range(len(names)):
        edges = [0, *sorted(rng.integers(1, length, 60).tolist()), length]
        stretches = [
            {
                "start": FIRST + a,
                "end": FIRST + b,
                "state": order[int(rng.choice(5, p=[0.6, 0.3, 0.04, 0.03, 0.03]))],
            }
            for a, b in itertools.pairwise(edges)
        ]
        states.append({"track": track, "stretches": stretches})
    return {"name": f"R{reel + 1}", "tracks": names, "states": states}


def _pass(reel: int, number: int, tracks: int, length: int, rng: np.random.Generator) -> Json:
    at = np.sort(rng.integers(0, length - 5000, 32))
    flaws = [
        {
            "kind": str(rng.choice(["mute", "hold", "click", "burst"])),
            "start": int(start),
            "end": int(start) + int(rng.integers(1, 4000)),
            "tracks": sorted({int(one) for one in rng.integers(0, tracks, 3)}),
            "cured": bool(rng.integers(2)),
            "because": {"rule": "likeliest_story", "nats": float(rng.integers(10, 900))},
        }
        for start in at
    ]
    return {
        "name": f"R{reel + 1}-{number + 1}",
        "reel": f"R{reel + 1}",
        "files": [{"path": f"R{reel + 1}-{number + 1}.wav", "sha256": None, "samples": length}],
        "channels": [[0, track] for track in range(tracks)],
        "polarity": [1] * tracks,
        "stretches": [{"pass_start": 0, "pass_end": length, "timeline_start": FIRST}],
        "flaws": flaws,
    }


def _track(
    reel: int,
    track: int,
    name: str,
    tracks: int,
    passes: int,
    length: int,
    joins: int,
    rng: np.random.Generator,
) -> Json:
    edges = [0, *sorted({int(at) for at in rng.integers(1000, length - 1000, joins)}), length]
    spans = [
        {"start": a, "end": b, "pass": f"R{reel + 1}-{number % passes + 1}", "pass_start": a}
        for number, (a, b) in enumerate(itertools.pairwise(edges))
    ]
    return {
        "number": reel * tracks + track + 1,
        "name": name,
        "reels": [f"R{reel + 1}"],
        "file": f"tracks/{reel * tracks + track + 1:03}.wav",
        "audio_sha256": "0" * 64,
        "levels": LEVELS,
        "spans": spans,
        "joins": [
            {"at": at, "fade": 480, "law": "constant_power", "correlation": 0.5, "difference_peak": 7}
            for at in edges[1:-1]
        ],
    }


def _uncured(names: list[list[str]], passes: int, length: int, rng: np.random.Generator) -> Json:
    reel = int(rng.integers(len(names)))
    start = int(rng.integers(0, length - 5000))
    held = [
        {"pass": f"R{reel + 1}-{number + 1}", "kind": "mute", "text": "mute", "taken": number == 0}
        for number in range(passes)
    ]
    return {
        "reel": f"R{reel + 1}",
        "track": str(rng.choice(names[reel])),
        "start": start,
        "end": start + int(rng.integers(1, 4000)),
        "kind": "mute",
        "passes": held,
    }


def large_views(record: RecordedSet, sounds: int, columns: int) -> Views:
    """Return views of the first places with so many bytes of clips, and so many numbers of waveforms, in all."""
    rng = np.random.default_rng(2)
    numbers = {track.name: track.number for track in record.tracks}
    views = []
    count = min(300, len(record.uncured))
    for place in record.uncured[:count]:
        width = max(2, columns // (count * 12))
        sources = [one.pass_name for one in place.held]
        traces = tuple(
            Trace(source, *(tuple(rng.integers(-20_000, 20_000, width).tolist()) for _ in range(2)))
            for source in (*sources, RESULT, DIFFERENCE)
        )
        clips = tuple(
            Clip(source, place.start, rng.bytes(sounds // (count * len(sources))), is_held_back=False)
            for source in sources
        )
        window = Window("whole place", place.start, 4, traces)
        views.append(View(numbers[place.track], place.start, place.end, (window,), clips))
    return Views(tuple(views), without_clips=len(record.uncured) - count, without_windows=0)
