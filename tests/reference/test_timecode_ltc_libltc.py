"""Linear timecode against libltc 1.3.2, a library of other hands: streams it made, and what it reads of ours.

The streams are kept in `ltc/streams.json`; its README tells how they were made.
"""

from __future__ import annotations

import base64
import hashlib
import json
import shutil
import subprocess
import zlib
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest

from assembler.timecode import FrameRate, format_label, frame_rate, parse_label
from assembler.timecode.ltc import decode_ltc, encode_ltc

HERE = Path(__file__).parent / "ltc"
STREAMS = json.loads((HERE / "streams.json").read_text(encoding="utf-8"))
ARGUMENTS = [stream["arguments"] for stream in STREAMS]


@dataclass(frozen=True)
class Call:
    """What libltc was asked for."""

    rate: FrameRate
    sample_rate: int
    frame: int
    count: int
    slowness: float
    user_bits: int


def read_call(arguments: str) -> Call:
    """Return the meaning of a call's arguments; libltc sets the drop-frame flag at 29.97."""
    fps, sample_rate, hours, minutes, seconds, frames, count, slowness, user_bits = arguments.split()
    rate = frame_rate("29.97df" if fps == "29.97" else fps)
    label = f"{int(hours):02}:{int(minutes):02}:{int(seconds):02}:{int(frames):02}"
    return Call(
        rate, int(sample_rate), parse_label(label, rate), int(count), float(slowness), int(user_bits, 16)
    )


@pytest.fixture(scope="module")
def program(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return libltc's writer and reader, built anew; without compiler or library the test is left out."""
    compiler = shutil.which("cc") or shutil.which("gcc")
    if compiler is None:
        pytest.skip("no C compiler")
    probe = [compiler, "-E", "-x", "c", "-include", "ltc.h", "-"]
    if subprocess.run(probe, input=b"", capture_output=True, check=False).returncode:
        pytest.skip("no libltc")
    built = tmp_path_factory.mktemp("libltc") / "libltc_stream"
    subprocess.run([compiler, "-O1", HERE / "libltc_stream.c", "-lltc", "-o", built], check=True)
    return built


@pytest.mark.parametrize("stream", STREAMS, ids=ARGUMENTS)
def test_reads_libltc(stream: dict[str, str]) -> None:
    """Each word of libltc's streams is read with its label, flags, user bits and place.

    The first word has no edge before it and is not looked for. libltc changes level between two samples and
    rounds half cells to whole samples: a tolerance of 1 sample.
    """
    samples = zlib.decompress(base64.b64decode(stream["zlib_base64"]))
    assert hashlib.sha256(samples).hexdigest() == stream["sha256"]
    call = read_call(stream["arguments"])
    log = decode_ltc([np.frombuffer(samples, dtype=np.uint8).astype(np.int32)], call.sample_rate, call.rate)
    direction = -1 if call.slowness < 0 else 1
    words = np.arange(1, call.count)
    length = call.sample_rate / float(call.rate.exact) * abs(call.slowness)
    begins = words + (1 if direction < 0 else 0)
    assert log.frames.tolist() == ((call.frame + direction * words) % call.rate.frames_per_day).tolist()
    np.testing.assert_allclose(log.start_samples, begins * length - 0.5, atol=1.0)
    np.testing.assert_allclose(log.end_samples - log.start_samples, direction * length, atol=1.0)
    assert (log.reverse == (direction < 0)).all()
    assert (log.drop_flags == call.rate.drop).all()
    assert not log.colour_flags.any()
    assert (log.user_bits == call.user_bits).all()
    assert log.refused == 0
    assert {finding.kind for finding in log.findings} <= {"user_bits"}


@pytest.mark.parametrize("stream", STREAMS, ids=ARGUMENTS)
def test_libltc_makes_the_kept_streams(stream: dict[str, str], program: Path) -> None:
    """The kept streams are what libltc makes of their arguments."""
    made = subprocess.run([program, "write", *stream["arguments"].split()], capture_output=True, check=True)
    assert hashlib.sha256(made.stdout).hexdigest() == stream["sha256"]


@pytest.mark.parametrize("name", ["24", "25", "29.97df", "30"])
@pytest.mark.parametrize("sample_rate", [44_100, 48_000, 96_000])
def test_libltc_reads_ours(name: str, sample_rate: int, program: Path) -> None:
    """In an encoded stripe libltc reads the same labels, flags, user bits and places (3 samples: its own give)."""
    rate = frame_rate(name)
    first = parse_label("00:00:59:10", rate)
    stripe = encode_ltc(first, 60, rate, sample_rate, user_bits=0x1234ABCD, colour=True, first_sample=700)
    samples = np.rint(128 + 120 * stripe / 0.5).astype(np.uint8).tobytes()
    told = subprocess.run(
        [program, "read", str(float(rate.exact)), str(sample_rate)],
        input=samples,
        capture_output=True,
        check=True,
    )
    lines = [line.split() for line in told.stdout.decode("ascii").splitlines()]
    # It needs a word or two to find the speed.
    missed = 59 - len(lines)
    assert 0 <= missed <= 2
    frames = first + missed + np.arange(len(lines))
    labels = [format_label(int(frame), rate).replace(";", ":") for frame in frames]
    assert [line[0] for line in lines] == labels
    assert {tuple(line[1:4]) for line in lines} == {(str(int(rate.drop)), "1", "1234abcd")}
    assert {line[6] for line in lines} == {"0"}
    begins = 700 + (frames - first) * sample_rate / float(rate.exact)
    np.testing.assert_allclose([int(line[4]) for line in lines], begins, atol=3)
