"""A built set in the eyes of readers that this project did not write: tool, field, expected value.

What is expected follows from the sheet and the tape below, not from the code that wrote the set. Each reader is used
for what it can see: wavinfo 4, soundfile (libsndfile), ffprobe (ffmpeg), sox, sndfile-metadata-get (libsndfile's
tools), bagit, ``sha256sum -c`` (coreutils), opentimelineio, pyebur128 (libebur128). A tool that is not on the PATH is
skipped with its name; where the environment says CI=true its absence fails the test.

Sources of the values: time reference, EBU Tech 3285 v2, 2.3: samples since midnight; not-set loudness 0x7FFF, read
back as 327.67, same place 2.4; rows of coding history, EBU R 98-1999 Appendix 1; element names, iXML specification.
"""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import subprocess
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import bagit
import numpy as np
import opentimelineio as otio
import pyebur128
import pytest
import soundfile
from wavinfo import WavInfoReader

from assembler.consolidator import build_set, verify_set
from tests.support.sessions import RATE, Layout, make_tape

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from assembler.arrays import Int32s

SECONDS = 4
FRAMES = SECONDS * RATE + 1  # odd, so that a data chunk of 24-bit mono ends on an odd byte
MIDNIGHT = 86400 * RATE
START = MIDNIGHT - 2 * RATE  # 23:59:58:00
TITLE = "Fête d'été, soirée"
DESCRIPTION = "Second set, in the barn"
REEL = """
[[reel]]
name = "A"
tracks = ["Flügelhorn", "", "Quiet"]
prepared = { baked_f = 130, baked_hours = 6, machine = "unit 2", operator = "J. Field", error_rate = "3e-6" }
"""


@dataclass(frozen=True)
class Built:
    """A set, its tape, and how its numbers lie in 32 bits."""

    root: Path
    tape: Int32s
    bits: int
    word_length: int
    form: str

    @property
    def horn(self) -> Path:
        """The track with sound, two joins and an uncured place."""
        return self.root / "data" / "tracks" / "01_Flügelhorn.wav"

    @property
    def quiet(self) -> Path:
        """The track that holds digital silence."""
        return self.root / "data" / "tracks" / "03_Quiet.wav"


def build(folder: Path, bits: int, largest_riff: int) -> Built:
    """Build a reel of two passes: one mute that the second cures, one that is in both."""
    tape = np.concatenate([make_tape(SECONDS, 3, bits=bits), np.full((1, 3), 5, np.int32)]).astype(np.int32)
    tape[:, 2] = 0
    tape[150_000:152_000, 0] = 0
    first, second = tape.copy(), tape[20_000:100_000].copy()
    first[60_000:63_000, 0] = 0
    layout = Layout(folder, bits=bits, more=REEL)
    layout.session.update(title=TITLE, description=DESCRIPTION, originator="Millbrook Sound Archive")
    layout.session.update(reference="MSA-1995-017")
    layout.add_pass("A1", "A", first, START)
    layout.add_pass("A2", "A", second, START + 20_000)
    sheet = layout.write()
    text = sheet.read_text(encoding="utf-8").replace("[session]\n", "[session]\ndate = 1995-09-02\n", 1)
    sheet.write_text(text, encoding="utf-8")
    build_set(sheet, folder / "set", largest_riff=largest_riff)
    form = "RF64" if largest_riff < 1 << 20 else "RIFF"
    return Built(folder / "set", tape, bits, 16 if bits == 16 else 24, form)


@pytest.fixture(
    scope="module",
    params=[(16, 0xFFFFFFFE), (20, 0xFFFFFFFE), (24, 0xFFFFFFFE), (20, 100_000), (16, 100_000)],
    ids=["16", "20 in 24", "24", "20 in 24, RF64", "16, RF64"],
)
def built(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Built:
    """Return a set in each word length, and by a lowered limit as RF64."""
    bits, largest_riff = request.param
    return build(tmp_path_factory.mktemp("delivered"), bits, largest_riff)


def run(*command: str, folder: Path | None = None) -> str:
    """Return what a tool prints; skip where it is not there, fail in CI."""
    if shutil.which(command[0]) is None:
        if os.environ.get("CI") == "true":
            pytest.fail(f"{command[0]} is not on the PATH")
        pytest.skip(f"{command[0]} is not on the PATH")
    done = subprocess.run(command, check=True, capture_output=True, text=True, cwd=folder)
    assert done.stderr == ""
    return done.stdout


def history(built: Built) -> list[str]:
    """Return the three rows that the track with sound has: tape, transfer, assembly."""
    native, delivered = (
        f"A=PCM,F=48000,W={built.bits},M=mono,T=",
        f"A=PCM,F=48000,W={built.word_length},M=mono,T=",
    )
    assembly = "assembly; capture-assembler 0.1.0; from A1+A2; joins: 2; fades: 0; no dither"
    notes = "baked at 130 degF for 6 h; machine: unit 2; operator: J. Field; error rate: 3e-6"
    notes += " (what was done; not advice)"
    return [
        f"{native}tape; reel A track 1; recorded 1995-09-02",
        f"{native}transfer; reel A; passes A1+A2; {notes}",
        f"{delivered}{assembly}" + ("; 20 valid bits in 24" if built.bits == 20 else ""),
    ]


def test_wavinfo_sees_the_broadcast_extension(built: Built) -> None:
    """Every field of bext but the loudness: texts in ASCII, time reference, UMID, a row for each step."""
    seen = WavInfoReader(built.horn).bext.to_dict()
    assert seen["description"] == "Flugelhorn, Fete d'ete, soiree. Second set, in the barn"
    assert seen["originator"] == "Millbrook Sound Archive"
    assert seen["originator_ref"] == "MSA-1995-017"
    assert seen["originator_date"] == "1995-09-02"
    assert seen["originator_time"] == ""
    assert seen["time_reference"] == START
    assert seen["version"] == 2
    assert seen["coding_history"].split("\r\n") == [*history(built), ""]
    # SMPTE ST 330 basic UMID, from memory: label, length 0x13, instance number zero; the rest of the field zero.
    assert seen["umid"][:12].hex() == "060a2b340101010501010820"
    assert seen["umid"][12:16].hex() == "13000000"
    assert any(seen["umid"][16:32])
    assert not any(seen["umid"][32:])
    assert seen["umid"] != WavInfoReader(built.quiet).bext.to_dict()["umid"]


def test_wavinfo_sees_what_libebur128_measures(built: Built) -> None:
    """The loudness in bext is that of another meter, to a hundredth and its rounding; silence has no value."""
    seen = WavInfoReader(built.horn).bext.to_dict()
    samples, _ = soundfile.read(built.horn, dtype="float64", always_2d=True)
    state = pyebur128.R128State(
        1, RATE, pyebur128.MeasurementMode.MODE_I | pyebur128.MeasurementMode.MODE_TRUE_PEAK
    )
    state.add_frames(samples.reshape(-1), samples.shape[0])
    assert seen["loudness_value"] == pytest.approx(pyebur128.get_loudness_global(state), abs=0.02)
    peak = 20 * np.log10(pyebur128.get_true_peak(state, 0))
    # Annex 2 of BS.1770 allows for what two interpolations differ by: 0.2 dB is well inside it.
    assert seen["max_true_peak"] == pytest.approx(peak, abs=0.2)
    silent = WavInfoReader(built.quiet).bext.to_dict()
    fields = ("loudness_value", "max_true_peak", "max_momentary_loudness", "max_shortterm_loudness")
    assert [silent[field] for field in fields] == [327.67] * 4


def test_wavinfo_sees_ixml(built: Built) -> None:
    """Project, tape, track with its number, timecode, sample position, identifier and native word length."""
    info = WavInfoReader(built.horn)
    root = info.ixml.raw_xml
    expected = {
        "PROJECT": TITLE,
        "TAPE": "A",
        "NOTE": f"native word length {built.bits} bits",
        "FILE_UID": info.bext.to_dict()["umid"][:32].hex().upper(),
        "SPEED/TIMECODE_RATE": "30/1",
        "SPEED/TIMECODE_FLAG": "NDF",
        "SPEED/FILE_SAMPLE_RATE": "48000",
        "SPEED/DIGITIZER_SAMPLE_RATE": "48000",
        "SPEED/AUDIO_BIT_DEPTH": str(built.word_length),
        "SPEED/TIMESTAMP_SAMPLE_RATE": "48000",
        "SPEED/TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_HI": "0",
        "SPEED/TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_LO": str(START),
        "TRACK_LIST/TRACK_COUNT": "1",
        "TRACK_LIST/TRACK/CHANNEL_INDEX": "1",
        "TRACK_LIST/TRACK/INTERLEAVE_INDEX": "1",
        "TRACK_LIST/TRACK/NAME": "Flügelhorn",
    }
    assert {path: root.findtext(f"./{path}") for path in expected} == expected
    assert WavInfoReader(built.quiet).ixml.raw_xml.findtext("./TRACK_LIST/TRACK/CHANNEL_INDEX") == "3"


def test_wavinfo_sees_list_info(built: Built) -> None:
    """Archive, title, product, date, comment and software stand where archives look for them."""
    seen = WavInfoReader(built.horn).info.to_dict()
    expected = {
        "archival_location": "Millbrook Sound Archive",
        "title": "Flugelhorn, Fete d'ete, soiree",
        "product": "Fete d'ete, soiree",
        "created_date": "1995-09-02",
        "comment": "Flugelhorn, Fete d'ete, soiree. Second set, in the barn",
        "technician": "J. Field",
        "software": "capture-assembler 0.1.0",
    }
    assert {key: seen[key] for key in expected} == expected


def recorded_places(built: Built) -> list[int]:
    """Return where the record has joins and uncured places on the track with sound."""
    record = json.loads((built.root / "data" / "assembly.json").read_text())
    places = [join["at"] for join in record["tracks"][0]["joins"]]
    return sorted(places + [place["start"] for place in record["uncured"] if place["track"] == "Flügelhorn"])


def test_wavinfo_sees_the_markers(built: Built) -> None:
    """A cue point stands at each join and uncured place, the latter with its length, all of them named."""
    cues = WavInfoReader(built.horn).cues.to_dict()
    assert [cue["frame"] for cue in cues.values()] == recorded_places(built)
    assert [cue["label"] for cue in cues.values()] == ["Join A1 to A2", "Join A2 to A1", "Uncured mute"]
    assert cues[3]["length"] == 2000


def test_ffprobe_sees_format_tags_and_chapters(built: Built) -> None:
    """The stream, the tags of bext and INFO, and the markers as chapters with their names."""
    show = "stream=codec_name,sample_rate,channels,duration_ts,bits_per_sample:format_tags"
    printed = run(
        "ffprobe", "-v", "error", "-of", "json", "-show_entries", show, "-show_chapters", str(built.horn)
    )
    found = json.loads(printed)
    assert found["streams"] == [
        {
            "codec_name": f"pcm_s{built.word_length}le",
            "sample_rate": "48000",
            "channels": 1,
            "bits_per_sample": built.word_length,
            "duration_ts": FRAMES,
        }
    ]
    expected = {
        "time_reference": str(START),
        "coding_history": "".join(f"{row}\r\n" for row in history(built)),
        "comment": "Flugelhorn, Fete d'ete, soiree. Second set, in the barn",
        # ffmpeg has one name for the originator in bext and the technician in INFO; the latter stands last.
        "encoded_by": "J. Field",
        "originator_reference": "MSA-1995-017",
        "date": "1995-09-02",
        "IARL": "Millbrook Sound Archive",
        "IMED": f"digital tape; {built.bits} bits; 48000 Hz",
        "ISRF": "reel A track 1",
    }
    tags = found["format"]["tags"]
    assert {key: tags[key] for key in expected} == expected
    chapters = [(chapter["start"], chapter["tags"]["title"]) for chapter in found["chapters"]]
    names = ["Join A1 to A2", "Join A2 to A1", "Uncured mute"]
    assert chapters == list(zip(recorded_places(built), names, strict=True))


def test_sox_sees_format_and_length(built: Built) -> None:
    """Channels, rate, precision and number of samples; plain PCM, so 20 in 24 is no obstacle."""
    found = [run("sox", "--i", flag, str(built.horn)).strip() for flag in ("-c", "-r", "-b", "-s")]
    assert found == ["1", "48000", str(built.word_length), str(FRAMES)]


def test_libsndfile_tool_sees_the_metadata(built: Built) -> None:
    """sndfile-metadata-get prints the texts and the five loudness values."""
    printed = run("sndfile-metadata-get", "--all", str(built.horn))
    seen = {
        key.strip(): value.strip()
        for key, _, value in (line.partition(": ") for line in printed.splitlines())
    }
    expected = {
        "Description": "Flugelhorn, Fete d'ete, soiree. Second set, in the barn",
        "Originator": "Millbrook Sound Archive",
        "Origination ref": "MSA-1995-017",
        "Origination date": "1995-09-02",
        "Name": "Flugelhorn, Fete d'ete, soiree",
        "Create date": "1995-09-02",
        "Coding history": history(built)[0],
    }
    assert {key: seen[key] for key in expected} == expected
    bext = WavInfoReader(built.horn).bext.to_dict()
    assert float(seen["Loudness value"]) == bext["loudness_value"]
    assert float(seen["Max. true peak level"]) == bext["max_true_peak"]
    assert history(built)[2] in printed


def test_soundfile_sees_the_tape(built: Built) -> None:
    """Every sample is the tape's own: at the top of the word, low bits zero, in plain PCM of one channel."""
    info = soundfile.info(str(built.horn))
    assert (info.format, info.subtype) == (
        "RF64" if built.form == "RF64" else "WAV",
        f"PCM_{built.word_length}",
    )
    assert (info.channels, info.samplerate, info.frames) == (1, RATE, FRAMES)
    samples, _ = soundfile.read(built.horn, dtype="int32")
    assert np.array_equal(samples, built.tape[:, 0] << (32 - built.bits))
    assert np.count_nonzero(np.bitwise_and(samples, (1 << (32 - built.bits)) - 1)) == 0
    packed = samples.view(np.uint8).reshape(-1, 4)[:, 4 - built.word_length // 8 :].tobytes()
    record = json.loads((built.root / "data" / "assembly.json").read_text())
    assert record["tracks"][0]["audio_sha256"] == hashlib.sha256(packed).hexdigest()
    assert not soundfile.read(built.quiet, dtype="int32")[0][:-1].any()


def test_all_payloads_before_the_samples_are_even(built: Built) -> None:
    """The data chunk is the last; its pad byte is the only one, and the form's size counts it (RIFF 1991)."""
    data = built.horn.read_bytes()
    assert data[:4].decode() == built.form
    assert len(data) % 2 == 0
    place, names = 12, []
    while place < len(data):
        name, size = data[place : place + 4].decode(), int.from_bytes(data[place + 4 : place + 8], "little")
        names.append(name)
        if name == "data":
            break
        assert size % 2 == 0
        place += 8 + size
    room = "ds64" if built.form == "RF64" else "JUNK"
    assert names == [room, "bext", "fmt ", "iXML", "cue ", "LIST", "LIST", "data"]
    samples = FRAMES * built.word_length // 8
    assert len(data) == place + 8 + samples + samples % 2
    whole = int.from_bytes(data[20:28] if built.form == "RF64" else data[4:8], "little")
    assert whole == len(data) - 8


def test_bagit_and_coreutils_accept_the_bag(built: Built) -> None:
    """The bag validates, each manifest line checks, and bag-info names archive, reference, date and notes."""
    bag = bagit.Bag(str(built.root))
    assert bag.validate()
    expected = {
        "Source-Organization": "Millbrook Sound Archive",
        "External-Identifier": "MSA-1995-017",
        "External-Description": DESCRIPTION,
        "Bagging-Date": "1995-09-02",
    }
    assert {key: bag.info[key] for key in expected} == expected
    notes = "reel A: baked at 130 °F for 6 h; machine: unit 2; operator: J. Field; error rate: 3e-6"
    notes += " (what was done, not advice)"
    assert "not every tape may be heated" in bag.info["Transfer-Caution"]
    assert "Bag-Software-Agent" not in bag.info
    assert "date of the session" in bag.info["Bagging-Date-Is"]
    assert " ".join(bag.info["Transfer-Notes"].split()) == notes
    printed = run("sha256sum", "--check", "--strict", "--warn", "manifest-sha256.txt", folder=built.root)
    assert len([line for line in printed.splitlines() if line.endswith(": OK")]) == 7
    printed = run("sha256sum", "--check", "--strict", "--warn", "tagmanifest-sha256.txt", folder=built.root)
    assert len([line for line in printed.splitlines() if line.endswith(": OK")]) == 3


def test_the_set_verifies(built: Built) -> None:
    """Each form passes the program's own check, against the captures too."""
    result = verify_set(built.root, against=built.root.parent / "session.toml")
    assert result.problems == ()
    assert result.proved_samples == 2 * FRAMES


def clip_row(item: Any) -> tuple[Any, ...]:  # noqa: ANN401 - the library ships no types
    """Return kind, file, first sample and length of an item, in samples."""
    start, duration = item.source_range.start_time, item.source_range.duration
    assert (start.rate, duration.rate) == (RATE, RATE)
    target = item.media_reference.target_url if isinstance(item, otio.schema.Clip) else None
    return item.name, target, start.value, duration.value


def test_opentimelineio_reads_the_edit_to_the_sample(built: Built) -> None:
    """A track per delivered track, a clip per span with its file and range, markers at joins and uncured places."""
    record: Mapping[str, Any] = json.loads((built.root / "data" / "assembly.json").read_text())
    timeline = otio.adapters.read_from_file(str(built.root / "data" / "timeline.otio"))
    assert timeline.name == TITLE
    assert (timeline.global_start_time.value, timeline.global_start_time.rate) == (START, RATE)
    assert [row.name for row in timeline.tracks] == ["Flügelhorn", "Quiet"]
    rows = [clip_row(item) for item in timeline.tracks[0]]
    expected = [
        (span["pass"], f"captures/{span['pass']}/01.wav", span["pass_start"], span["end"] - span["start"])
        for span in record["tracks"][0]["spans"]
    ]
    assert len(rows) == 3
    assert rows == expected
    # The positions that the library itself works out are those of the record.
    starts = [timeline.tracks[0].range_of_child_at_index(n).start_time.value for n in range(3)]
    assert starts == [span["start"] for span in record["tracks"][0]["spans"]]
    marks = [(mark.marked_range.start_time.value, mark.name) for mark in timeline.tracks[0].markers]
    names = ["join, identical, fade 0", "join, identical, fade 0", "uncured mute"]
    assert marks == list(zip(recorded_places(built), names, strict=True))
    assert timeline.tracks[0].markers[2].marked_range.duration.value == 2000
