"""``assembler watch`` on captures that a recorder is writing: what it says, when, and how it ends."""

from __future__ import annotations

import shutil
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from tests.support.recorder import Recording
from tests.support.sessions import HOUR, RATE, Layout, make_tape
from tests.support.watchers import Watcher

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from assembler.arrays import Int32s

MUTE, HOLD, MEANS = (200_000, 202_000), (330_000, 331_500), (460_000, 464_000)

KEYS = {
    "recording": {"event", "pass", "seconds"},
    "flaw": {"event", "pass", "kind", "start", "end", "tracks", "timecode"},
    "timecode": {"event", "pass", "kind", "start", "end", "timecode"},
    "dead_track": {"event", "pass", "kind", "tracks", "timecode"},
    "ended": {"event", "pass"},
    "retakes": {"event", "pass", "rolls", "reels", "suspects"},
}


def with_flaws(tape: Int32s) -> Int32s:
    """Return a capture with a mute of all tracks, a level held on one, and every second sample concealed on all."""
    captured = tape.copy()
    captured[slice(*MUTE)] = 0
    captured[slice(*HOLD), 1] = captured[HOLD[0], 1]
    part = captured[MEANS[0] : MEANS[1] + 1].astype(np.int64)
    part[1:-1:2] = (part[0:-2:2] + part[2::2]) // 2
    captured[MEANS[0] : MEANS[1] + 1] = part
    return captured


def saved(path: Path, samples: Int32s) -> str:
    """Write samples for a recorder and return where."""
    path.parent.mkdir(parents=True, exist_ok=True)
    np.save(path, samples)
    return str(path)


def is_recording(watcher: Watcher, name: str = "A1") -> bool:
    """Return whether a pass has not been told to have ended so far. How soon that is is measured, not tested."""
    return all((event["event"], event["pass"]) != ("ended", name) for event in watcher.events)


def is_flaw(kind: str, place: tuple[int, int], slack: int = 64) -> Callable[[dict[str, Any]], bool]:
    """Return what tells whether an event is a flaw of a kind at a place."""

    def tell(event: dict[str, Any]) -> bool:
        if event["event"] != "flaw" or event["kind"] != kind:
            return False
        return bool(max(abs(event["start"] - place[0]), abs(event["end"] - place[1])) <= slack)

    return tell


@pytest.mark.parametrize(
    "how",
    [
        {"header": "zero", "log": "csv"},
        {"header": "max", "log": "mid", "poly": True, "form": "RF64"},
        {"header": "flush", "log": "mid", "log_size": "max"},
    ],
    ids=["sizes zero", "polyphonic RF64", "sizes of the last flush"],
)
def test_flaws_are_told_while_the_tape_runs(tmp_path: Path, how: dict[str, Any]) -> None:
    """What was put into a capture is told with kind, place, tracks and timecode before the recorder stops."""
    samples = saved(tmp_path / "a.npy", with_flaws(make_tape(14, 4, bits=24)))
    folder = tmp_path / "session"
    folder.mkdir()
    recording = Recording(str(folder / "captures" / "A1"), samples, speed=2.0, **how)
    with Watcher(folder) as watcher, recording.running() as recorder:
        mute = watcher.wait_for(is_flaw("mute", MUTE))
        assert is_recording(watcher), "told only after the recorder had stopped"
        hold = watcher.wait_for(is_flaw("hold", HOLD))
        means = watcher.wait_for(is_flaw("means", MEANS, slack=600))
        ended = watcher.wait_for(lambda event: event["event"] == "ended")
        retakes = watcher.wait_for(lambda event: event["event"] == "retakes" and event["rolls"])
        assert recorder.wait() == 0
        assert watcher.interrupt() == 130
    # 30 frames a second of 1600 samples, the first one of 01:00:00:00.
    assert (mute["timecode"], hold["timecode"]) == ("01:00:04:05", "01:00:06:26")
    assert mute["tracks"] == means["tracks"] == [0, 1, 2, 3]
    assert hold["tracks"] == [1]
    assert ended["samples"] == 14 * RATE
    assert {"mute", "hold", "means"} <= {kind for roll in retakes["rolls"] for kind in roll["kinds"]}
    for event in watcher.events:
        assert KEYS[event["event"]] <= set(event), event
        assert event["pass"] == ("" if event["event"] == "retakes" else "A1")
    assert watcher.events[-1]["event"] == "retakes"


def test_a_slip_against_another_pass_is_told(tmp_path: Path) -> None:
    """A retake that loses samples is held against the finished pass while it runs."""
    tape = make_tape(16, 3, bits=24)
    layout = Layout(tmp_path, bits=24)
    layout.add_reel("A", ["One", "Two", "Three"])
    layout.add_pass("A1", "A", tape, HOUR)
    sheet = layout.write()
    captured = np.concatenate((tape[:RATE], tape[RATE : 9 * RATE], tape[9 * RATE + 700 :]))
    captured[5 * RATE : 5 * RATE + 400, 2] = 0
    samples = saved(tmp_path / "a.npy", captured)
    recording = Recording(str(tmp_path / "captures" / "A2"), samples, speed=2.0, wait=6.0)
    with Watcher(sheet) as watcher, recording.running() as process:
        mute = watcher.wait_for(is_flaw("mute", (5 * RATE, 5 * RATE + 400)))
        slip = watcher.wait_for(lambda event: event.get("kind") == "slip")
        assert is_recording(watcher, "A2"), "told only after the recorder had stopped"
        watcher.wait_for(lambda event: event["event"] == "ended")
        process.wait()
        assert watcher.interrupt() == 130
    assert (slip["pass"], slip["samples"], slip["tracks"]) == ("A2", 700, [0, 1, 2])
    assert abs(slip["start"] - 9 * RATE) <= 16
    assert (mute["tracks"], mute["timecode"]) == ([2], "01:00:05:00")
    assert sum(event.get("kind") == "slip" for event in watcher.events) == 1


def test_lost_timecode_is_told(tmp_path: Path) -> None:
    """A log that ends while sound goes on is told with where it ended."""
    samples = saved(tmp_path / "a.npy", make_tape(16, 2, bits=24))
    recording = Recording(str(tmp_path / "A1"), samples, speed=2.0, log_until=5.0)
    with Watcher(tmp_path) as watcher, recording.running():
        lost = watcher.wait_for(lambda event: event.get("kind") == "lost")
        assert is_recording(watcher), "told only after the recorder had stopped"
        assert abs(lost["start"] - 5 * RATE) <= RATE // 10


def test_dead_tracks_and_tracks_alike_are_told(tmp_path: Path) -> None:
    """A track of zeros beside others that sound, and two tracks with the same numbers."""
    tape = make_tape(8, 4, bits=24)
    tape[:, 1] = 0
    tape[:, 3] = tape[:, 2]
    samples = saved(tmp_path / "a.npy", tape)
    recording = Recording(str(tmp_path / "A1"), samples, speed=4.0)
    with Watcher(tmp_path) as watcher, recording.running() as process:
        dead = watcher.wait_for(lambda event: event.get("kind") == "dead")
        alike = watcher.wait_for(lambda event: event.get("kind") == "alike")
        process.wait()
    assert (dead["event"], dead["tracks"]) == ("dead_track", [1])
    assert (alike["event"], alike["tracks"]) == ("dead_track", [2, 3])


def test_files_that_vanish_are_replaced_or_renamed(tmp_path: Path) -> None:
    """Whatever becomes of the files, the watch goes on and says so."""
    samples = saved(tmp_path / "a.npy", make_tape(20, 2, bits=24))
    with Watcher(tmp_path) as watcher:
        with Recording(str(tmp_path / "A1"), samples, speed=3.0).running():
            watcher.wait_for(lambda event: event["event"] == "recording" and event["seconds"] > 2)
            (tmp_path / "A1").rename(tmp_path / "A9")
            watcher.wait_for(lambda event: event["event"] == "recording" and event["seconds"] > 8)
            assert not [event for event in watcher.events if event["event"] == "ended"], "a new name ended it"
        shutil.rmtree(tmp_path / "A9")
        gone = watcher.wait_for(lambda event: event["event"] == "ended")
        assert (gone["pass"], gone["words"]) == ("A1", "vanished")
        with Recording(str(tmp_path / "B1"), samples, speed=3.0).running():
            watcher.wait_for(lambda event: event["pass"] == "B1" and event.get("seconds", 0) > 2)
        with (tmp_path / "B1" / "01.wav").open("r+b") as file:
            file.truncate(100_000)
        cut = watcher.wait_for(lambda event: event["event"] == "ended" and event["pass"] == "B1")
        assert "shorter" in cut["words"]
        assert watcher.interrupt() == 130


@pytest.mark.parametrize(("options", "lengths"), [((), 1), (("--quiet",), 0)])
def test_plain_lines_in_a_pipe_and_the_list_at_the_end(
    tmp_path: Path, options: tuple[str, ...], lengths: int
) -> None:
    """Without ``--json`` each event is a line, lengths are no wall, and Ctrl-C prints what must be played again.

    With ``--quiet`` only what is wrong is a line.
    """
    samples = saved(tmp_path / "a.npy", with_flaws(make_tape(12, 3, bits=24)))
    recording = Recording(str(tmp_path / "A1"), samples, speed=6.0)
    with Watcher(tmp_path, *options, as_json=False) as watcher, recording.running() as process:
        process.wait()
        until = 0
        while not any("finished" in line for line in watcher.lines) and until < 600:
            until += 1
            watcher.lines += watcher.take(0.1)
        assert watcher.interrupt() == 130
    text = "\n".join(watcher.lines)
    assert "A1 01:00:04:05: mute, 41.7 ms, all tracks" in text
    assert sum("recording" in line for line in watcher.lines) == lengths
    assert "roll to 00:59:59:05" in text


def test_a_folder_that_is_not_there_is_refused(tmp_path: Path) -> None:
    """One plain line, status 2."""
    with Watcher(tmp_path / "none") as watcher:
        assert watcher.process.wait(60) == 2
        assert "is no folder and no sheet" in watcher.stderr()
