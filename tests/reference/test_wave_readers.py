"""Delivered files in the eyes of readers that this project did not write, and files of foreign writers read
here.

Readers: wavinfo, soundfile (libsndfile), scipy, the standard library's wave, ffprobe, sox,
    sndfile-metadata-get. A tool
that is not on the PATH is skipped with its name, but fails where the environment says CI=true.
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import warnings
import wave
from fractions import Fraction
from typing import TYPE_CHECKING

import numpy as np
import pytest
import soundfile
from scipy.io import wavfile
from wavinfo import WavInfoReader

from assembler.errors import WaveError
from assembler.wave import (
    BroadcastExtension,
    Loudness,
    Marker,
    PcmFormat,
    TrackSheet,
    WaveFile,
    encode_bext,
    encode_info,
    encode_ixml,
    encode_markers,
    pack_samples,
    wave_header,
    wave_trailer,
)

if TYPE_CHECKING:
    from pathlib import Path

    from assembler.arrays import Int32s

FRAMES = 1001  # odd, so that 24-bit data ends on an odd byte
BEXT = BroadcastExtension(
    description="Lantern Fair, evening set; reel A track 1",
    originator="Millbrook Sound Archive",
    originator_reference="GBMSA000000000042103000123456789",
    origination_date="1995-09-02",
    origination_time="10:30:00",
    time_reference=(5 << 32) + 7,
    umid=bytes.fromhex("060A2B34010101050101") + bytes(range(1, 23)),
    loudness=Loudness(-22.64, 12.76, -1.0, -18.03, -19.5),
    coding_history="A=PCM,F=48000,W=20,M=mono,T=tape\r\nA=PCM,F=48000,W=24,M=mono,T=assembled\r\n",
)
SHEET = TrackSheet(
    project="Lantern Fair",
    tape="A",
    track_name="Flügelhorn",
    channel_index=3,
    frame_rate=Fraction(30000, 1001),
    drop_frame=True,
    sample_rate=48000,
    bit_depth=24,
    start_sample=(5 << 32) + 7,
)
MARKERS = [Marker(100, 0, "join", "A1 to A2"), Marker(500, 40, "uncured")]
INFO = {"INAM": "Lantern Fair", "IARL": "Millbrook", "ICRD": "1995-09-02"}


def needs(tool: str) -> pytest.MarkDecorator:
    """Skip where ``tool`` is not on the PATH; in CI the test runs and fails instead."""
    missing = shutil.which(tool) is None and os.environ.get("CI") != "true"
    return pytest.mark.skipif(missing, reason=f"{tool} is not on the PATH")


def run(*command: str) -> str:
    """Return what a tool prints."""
    return subprocess.run(command, check=True, capture_output=True, text=True).stdout


def twenty_bits(frames: int) -> Int32s:
    """Return noise of 20 bits, left-justified in 24, with both extremes."""
    samples = np.random.default_rng(8).integers(-(1 << 19), 1 << 19, (frames, 1)).astype(np.int32) << 4
    samples[:2, 0] = (-(1 << 23), 0x7FFFF0)
    return samples


SAMPLES = twenty_bits(FRAMES)


@pytest.fixture(params=["RIFF", "RF64"])
def delivered(request: pytest.FixtureRequest, tmp_path: Path) -> Path:
    """Return a delivered file with every chunk, as RIFF and, by a lowered limit, as RF64."""
    pcm = PcmFormat(1, 48000, 24, 20)
    chunks = [("bext", encode_bext(BEXT)), ("iXML", encode_ixml(SHEET)), *encode_markers(MARKERS)]
    chunks.append(("LIST", encode_info(INFO)))
    limit = 1000 if request.param == "RF64" else 0xFFFFFFFE
    header = wave_header(pcm, FRAMES, chunks, largest_riff=limit)
    assert header[:4] == request.param.encode()
    path = tmp_path / "01_Flugelhorn.wav"
    path.write_bytes(header + pack_samples(SAMPLES, 24) + wave_trailer(pcm, FRAMES))
    return path


def test_wavinfo_reads_every_bext_field(delivered: Path) -> None:
    """All fields of the broadcast extension, history and loudness to the hundredth."""
    assert WavInfoReader(delivered).bext.to_dict() == {
        "description": BEXT.description,
        "originator": BEXT.originator,
        "originator_ref": BEXT.originator_reference,
        "originator_date": BEXT.origination_date,
        "originator_time": BEXT.origination_time,
        "time_reference": BEXT.time_reference,
        "version": 2,
        "umid": BEXT.umid + bytes(32),
        "coding_history": BEXT.coding_history,
        "loudness_value": -22.64,
        "loudness_range": 12.76,
        "max_true_peak": -1.0,
        "max_momentary_loudness": -18.03,
        "max_shortterm_loudness": -19.5,
    }


def test_wavinfo_reads_format_ixml_markers_and_info(delivered: Path) -> None:
    """Everything beside bext that wavinfo can see."""
    info = WavInfoReader(delivered)
    assert tuple(info.fmt) == (1, 1, 48000, 144000, 3, 24)
    assert info.data.frame_count == FRAMES
    assert (info.ixml.project, info.ixml.tape) == (SHEET.project, SHEET.tape)
    assert [tuple(track) for track in info.ixml.track_list] == [("3", "1", SHEET.track_name, "")]
    speed = info.ixml.raw_xml.find("./SPEED")
    assert speed.findtext("TIMECODE_RATE") == "30000/1001"
    assert speed.findtext("TIMECODE_FLAG") == "DF"
    assert speed.findtext("TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_HI") == "5"
    assert speed.findtext("TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_LO") == "7"
    assert info.info.to_dict()["title"] == INFO["INAM"]
    assert info.info.to_dict()["archival_location"] == INFO["IARL"]
    assert info.cues.to_dict() == {
        1: {"frame": 100, "label": "join", "note": "A1 to A2"},
        2: {"frame": 500, "label": "uncured", "length": 40},
    }


def test_soundfile_reads_the_same_samples(delivered: Path) -> None:
    """The library behind soundfile finds rate, frames and every sample (left-justified in 32 bits)."""
    read, rate = soundfile.read(delivered, dtype="int32", always_2d=True)
    assert rate == 48000
    assert np.array_equal(read, SAMPLES << 8)


def test_scipy_reads_the_same_samples(delivered: Path) -> None:
    """Every sample is found; it warns of each chunk that it does not know."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", wavfile.WavFileWarning)
        rate, read = wavfile.read(delivered)
    assert rate == 48000
    assert np.array_equal(read, SAMPLES[:, 0] << 8)


@pytest.mark.parametrize("delivered", ["RIFF"], indirect=True)
def test_the_standard_library_reads_the_same_bytes(delivered: Path) -> None:
    """The standard library's wave, which knows plain PCM in RIFF only, finds format and samples."""
    with wave.open(str(delivered)) as file:
        assert file.getparams()[:4] == (1, 3, 48000, FRAMES)
        assert file.readframes(FRAMES) == pack_samples(SAMPLES, 24)


@needs("ffprobe")
def test_ffprobe_reads_tags_chapters_and_length(delivered: Path) -> None:
    """The tool shows time reference, description, originator, history, UMID, and the markers as chapters."""
    show = "stream=codec_name,sample_rate,channels,duration_ts:format_tags"
    command = ("ffprobe", "-v", "error", "-of", "json", "-show_entries", show, "-show_chapters")
    found = json.loads(run(*command, str(delivered)))
    stream, tags = found["streams"][0], found["format"]["tags"]
    expected = {"codec_name": "pcm_s24le", "sample_rate": "48000", "channels": 1, "duration_ts": FRAMES}
    assert {key: stream[key] for key in expected} == expected
    assert tags["time_reference"] == str(BEXT.time_reference)
    assert tags["comment"] == BEXT.description
    assert tags["encoded_by"] == BEXT.originator
    assert tags["originator_reference"] == BEXT.originator_reference
    assert tags["coding_history"] == BEXT.coding_history
    assert tags["umid"].upper().startswith("0X" + BEXT.umid.hex().upper())
    assert [chapter["start"] for chapter in found["chapters"]] == [100, 500]


@needs("sox")
def test_sox_reads_format_and_length(delivered: Path) -> None:
    """The tool agrees on channels, rate, word length and number of samples."""
    found = [run("sox", "--i", flag, str(delivered)).strip() for flag in ("-c", "-r", "-b", "-s")]
    assert found == ["1", "48000", "24", str(FRAMES)]


@needs("sndfile-metadata-get")
def test_libsndfile_tools_read_the_metadata(delivered: Path) -> None:
    """sndfile-metadata-get prints description, originator, loudness and history as they were given."""
    printed = run("sndfile-metadata-get", "--all", str(delivered))
    for text in (
        BEXT.description,
        BEXT.originator,
        BEXT.originator_reference,
        BEXT.origination_date,
        BEXT.origination_time,
        "-22.64",
        "12.76",
        "T=assembled",
        INFO["INAM"],
    ):
        assert text in printed


@needs("ffprobe")
def test_bw64_is_read_here_and_elsewhere(tmp_path: Path) -> None:
    """The RF64 bytes under the form id BW64 (ITU-R BS.2088) are read by wavinfo, ffprobe and this package."""
    pcm = PcmFormat(1, 48000, 24, 24)
    header = wave_header(pcm, FRAMES, [("bext", encode_bext(BEXT))], largest_riff=0)
    path = tmp_path / "a.wav"
    path.write_bytes(b"BW64" + header[4:] + pack_samples(SAMPLES, 24) + wave_trailer(pcm, FRAMES))
    with WaveFile(path) as file:
        assert file.info.chunk_map.form == "BW64"
        assert file.info.faults == ()
        assert file.info.bext == BEXT
        assert np.array_equal(file.read(0, FRAMES), SAMPLES)
    assert WavInfoReader(path).bext.time_reference == BEXT.time_reference
    assert run("ffprobe", "-v", "error", "-show_entries", "stream=duration_ts", str(path)).split()[1] == (
        f"duration_ts={FRAMES}"
    )


@pytest.mark.parametrize("form", ["WAV", "WAVEX", "RF64"])
@pytest.mark.parametrize("bits", [16, 24])
def test_files_that_libsndfile_wrote_are_read(tmp_path: Path, form: str, bits: int) -> None:
    """Plain, extensible and RF64 files of libsndfile give the samples that were handed to it."""
    samples = np.random.default_rng(bits).integers(-(1 << bits - 1), 1 << bits - 1, (777, 3)).astype(np.int32)
    path = tmp_path / "a.wav"
    soundfile.write(path, samples << (32 - bits), 44100, format=form, subtype=f"PCM_{bits}")
    with WaveFile(path) as file:
        assert file.info.format == PcmFormat(3, 44100, bits, bits)
        assert np.array_equal(file.read(0, 777), samples)


@pytest.mark.parametrize(("form", "bits"), [("WAV", "FLOAT"), ("WAVEX", "FLOAT"), ("WAV", "PCM_U8")])
def test_other_samples_that_libsndfile_wrote_are_refused(tmp_path: Path, form: str, bits: str) -> None:
    """Float and 8-bit files are named for what they are."""
    path = tmp_path / "a.wav"
    soundfile.write(path, np.zeros(10), 48000, format=form, subtype=bits)
    words = "8-bit PCM" if bits == "PCM_U8" else "32-bit floating point"
    with pytest.raises(WaveError, match=words):
        WaveFile(path)


@needs("ffmpeg")
def test_a_bext_that_ffmpeg_wrote_is_read(tmp_path: Path) -> None:
    """A version 1 bext, 24-bit extensible format and RF64 of an independent writer are read."""
    source, path = tmp_path / "in.wav", tmp_path / "out.wav"
    soundfile.write(source, SAMPLES << 8, 48000, subtype="PCM_24")
    tags = ("description=set one", "originator=Millbrook", "time_reference=21474836487")
    metadata = [part for tag in tags for part in ("-metadata", tag)]
    command = ["ffmpeg", "-v", "error", "-i", str(source), "-c:a", "pcm_s24le", *metadata]
    run(*command, "-write_bext", "1", "-rf64", "always", str(path))
    with WaveFile(path) as file:
        assert file.info.chunk_map.form == "RF64"
        assert file.info.bext is not None
        bext = file.info.bext
        assert (bext.description, bext.originator) == ("set one", "Millbrook")
        assert (bext.time_reference, bext.version) == (21474836487, 1)
        assert np.array_equal(file.read(0, FRAMES), SAMPLES)
