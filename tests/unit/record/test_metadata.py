"""What is embedded in a track, as it follows from the record."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import pytest

from assembler.record.embedded.cuts import embedding_notes
from assembler.record.embedded.history import coding_history
from assembler.record.embedded.metadata import TrackMetadata, time_reference
from assembler.record.recorded.reading import read_unwritten
from assembler.record.recorded.tracks import RecordedLevels

if TYPE_CHECKING:
    from assembler.record.recorded.whole import RecordedSet

LEVELS = {
    "integrated_lufs": -22.645,
    "loudness_range_lu": 12.765,
    "max_momentary_lufs": None,
    "max_short_term_lufs": None,
    "true_peak_dbtp": -0.5,
    "sample_peak_dbfs": -1.0,
    "rms_dbfs": -20.0,
    "dc_offset": 0.0,
    "bits_in_use": 16,
    "clipped_runs": 0,
    "silent_share": 0.0,
}


def make_record(*, start: int = 0, length: int = 1000, frame_rate: str = "30", **session: Any) -> RecordedSet:  # noqa: ANN401
    """Return a record of one reel in two passes, joined in the middle, nothing written yet."""
    name = session.pop("track", "Kick")
    prepared = session.pop("prepared", {})
    one = {
        "reel": "A",
        "channels": [[0, 0]],
        "polarity": [1],
        "files": [{"path": "captures/01.wav", "sha256": None, "samples": length}],
    }
    half = length // 2
    record = {
        "format": 1,
        "program": "capture-assembler 0.1.0",
        "session": {
            "title": "Fair",
            "sample_rate": 48000,
            "bit_depth": 20,
            "frame_rate": frame_rate,
            "word_length": 24,
        },
        "start": {"timecode": "00:00:00:00", "sample": start},
        "length": length,
        "reels": [{"name": "A", "tracks": [name], "prepared": prepared}],
        "passes": [{"name": "A1", **one}, {"name": "A2", **one}],
        "tracks": [
            {
                "number": 1,
                "name": name,
                "reels": ["A"],
                "spans": [
                    {"start": 0, "end": half, "pass": "A1", "pass_start": 0},
                    {"start": half, "end": length, "pass": "A2", "pass_start": half},
                ],
                "joins": [
                    {"at": half, "fade": 4, "law": "constant_power", "correlation": 0.5, "difference_peak": 9}
                ],
            }
        ],
        "uncured": [{"reel": "A", "track": name, "start": length - 10, "end": length - 5, "kind": "mute"}],
    }
    record["session"].update(session)  # type: ignore[attr-defined]
    return read_unwritten(json.dumps(record).encode())


def metadata_of(record: RecordedSet) -> TrackMetadata:
    """Return the metadata of the only track."""
    return TrackMetadata(record, record.tracks[0])


def written(record: RecordedSet, digest: str = "ab" * 32) -> TrackMetadata:
    """Return the metadata once digest and levels are known."""
    known = {"audio_sha256": digest, "levels": RecordedLevels.model_validate(LEVELS)}
    return TrackMetadata(record, record.tracks[0].model_copy(update=known))


# Frames in a day by SMPTE ST 12-1 (drop rule from memory): 30 x 86400; drop frame leaves out 2592 of them.
# 2592000 x 1001/30000 s are 86486.4 s; 2589408 x 1001/30000 s are 86399.9136 s.
@pytest.mark.parametrize(
    ("frame_rate", "start", "reference"),
    [
        ("30", 86_400 * 48_000 - 1, 86_400 * 48_000 - 1),
        ("30", 86_400 * 48_000, 0),
        ("25", 86_400 * 48_000 + 1920, 1920),
        ("29.97", 86_400 * 48_000, 86_400 * 48_000),
        ("29.97", 4_151_347_200 + 5, 5),
        ("29.97df", 4_147_195_853 + 5, 5),
    ],
)
def test_the_time_reference_begins_again_at_midnight(frame_rate: str, start: int, reference: int) -> None:
    """A timeline that has run on past 23:59:59 gives samples since midnight, at every rate."""
    record = make_record(start=start, frame_rate=frame_rate)
    assert time_reference(record) == reference
    assert metadata_of(record).broadcast_extension().time_reference == reference
    assert metadata_of(record).track_sheet().start_sample == reference


def test_a_row_for_each_step_of_the_chain() -> None:
    """EBU R 98 rows: the tape and its transfer at the native word length, the assembly at the delivered one."""
    record = make_record(
        date="1995-09-02", prepared={"baked_c": 54.4, "baked_hours": 6, "operator": "J. Field, Ötz"}
    )
    notes = "baked at 54.4 degC for 6 h; operator: J. Field; Otz"
    assembly = "assembly; capture-assembler 0.1.0; from A1+A2; joins: 1; fades: 1; dither in the fades alone"
    assert coding_history(record, record.tracks[0]) == [
        "A=PCM,F=48000,W=20,M=mono,T=tape; reel A track 1; recorded 1995-09-02",
        f"A=PCM,F=48000,W=20,M=mono,T=transfer; reel A; passes A1+A2; {notes}",
        f"A=PCM,F=48000,W=24,M=mono,T={assembly}; 20 valid bits in 24",
    ]


def test_chunks_keep_their_sizes() -> None:
    """Digest and levels are known last; writing them moves nothing."""
    record = make_record()
    before, after = metadata_of(record).chunks(), written(record).chunks()
    assert [(name, len(payload)) for name, payload in before] == [
        (name, len(payload)) for name, payload in after
    ]
    assert before != after


def test_the_umid_follows_from_the_samples() -> None:
    """The same samples at the same place have one UMID; other samples, or the same elsewhere, have another."""
    umid = written(make_record()).umid()
    # SMPTE ST 330, basic: 12 bytes of label, length 0x13, three bytes of instance number, 16 of material number.
    assert umid[:10].hex() == "060a2b34010101050101"
    assert umid[12:16].hex() == "13000000"
    # RFC 9562, 4.1 and 4.2: the version stands in the seventh byte's upper half, the variant in the ninth's.
    assert (umid[16 + 6] >> 4, umid[16 + 8] >> 6) == (5, 2)
    assert len(umid) == 32
    assert written(make_record(title="Other", originator="Who")).umid() == umid
    others = [written(make_record(), "cd" * 32).umid(), written(make_record(start=1)).umid()]
    assert len({umid, *others}) == 3


def test_loudness_is_rounded_half_away_from_zero() -> None:
    """EBU Tech 3285 v2, 2.4: -22.645 is stored as -2265 and 12.765 as 1277; what is not set as 0x7FFF."""
    bext = written(make_record()).chunks()[0][1]
    words = [int.from_bytes(bext[412 + 2 * n : 414 + 2 * n], "little", signed=True) for n in range(5)]
    assert words == [-2265, 1277, -50, 0x7FFF, 0x7FFF]


def test_markers_name_joins_and_uncured_places() -> None:
    """A join has sides, timecode, law and fade; an uncured place its length."""
    found = [
        (mark.sample, mark.length, mark.label, mark.note) for mark in metadata_of(make_record()).markers()
    ]
    assert found == [
        (500, 0, "Join A1 to A2", "00:00:00:00; constant_power; fade 4 samples"),
        (990, 5, "Uncured mute", "00:00:00:00"),
    ]


def test_markers_end_where_a_cue_chunk_does() -> None:
    """Past 32 bits a marker is left out, and that is told; the track is written all the same."""
    record = make_record(length=(1 << 32) + 100)
    assert [mark.sample for mark in metadata_of(record).markers()] == [(1 << 31) + 50]
    assert [note.text for note in embedding_notes(record)] == [
        "markers end at sample 4294967295, the last that a cue chunk can name"
    ]


def test_plain_texts_draw_no_note() -> None:
    """What every field holds as it is needs no telling."""
    texts: dict[str, Any] = {
        "title": "x" * 100,
        "originator": "y" * 32,
        "reference": "z" * 32,
        "description": "d" * 148,
    }
    record = make_record(**texts)
    assert embedding_notes(record) == []
    assert len(metadata_of(record).broadcast_extension().description) == 256


@pytest.mark.parametrize(
    ("keys", "said"),
    [
        ({"title": "Fête"}, "title 'Fête' stands as 'Fete' in bext"),
        ({"originator": "Żółw"}, "originator 'Żółw' stands as 'Zolw' in bext"),
        ({"originator": "y" * 33}, "originator '" + "y" * 33 + "' is cut to 32 characters in bext"),
        ({"reference": "z" * 33}, "is cut to 32 characters in bext"),
        ({"reference": "ß" * 17}, "is cut to 32 characters in bext"),
        ({"description": "d" * 250}, "description is cut to 256 characters in bext: Kick"),
        ({"track": "Røst"}, "track 1 'Røst' stands as 'Rost'"),
        ({"prepared": {"notes": "séché"}}, "transfer notes of reel A 'séché' stands as 'seche'"),
    ],
)
def test_changed_and_cut_texts_are_told(keys: dict[str, Any], said: str) -> None:
    """A text that bext, markers or INFO hold otherwise than the sheet draws a note of kind other."""
    notes = embedding_notes(make_record(**keys))
    assert any(said in note.text for note in notes), notes
    assert {note.kind for note in notes} == {"other"}


def test_info_holds_what_archives_look_for() -> None:
    """Empty texts are left out by the chunk; operators and reels are named."""
    record = make_record(originator="Millbrook", prepared={"operator": "J. Field"})
    assert metadata_of(record).info() == {
        "IARL": "Millbrook",
        "INAM": "Kick, Fair",
        "IPRD": "Fair",
        "ICRD": "",
        "ICMT": "Kick, Fair",
        "IMED": "digital tape; 20 bits; 48000 Hz",
        "ISRF": "reel A track 1",
        "ITCH": "J. Field",
        "ISFT": "capture-assembler 0.1.0",
    }


def test_a_set_of_format_1_has_what_its_version_embedded() -> None:
    """Its stretches keep the purpose and its history the words that it was written with; format 2 has new ones."""
    old = make_record(prepared={"machine": "unit 2"})
    uncured = read_unwritten(
        json.dumps(
            {
                **json.loads(old.model_dump_json(by_alias=True)),
                "uncured": [{"reel": "A", "track": "Kick", "start": 5, "end": 9, "kind": "mute"}],
            }
        ).encode()
    )
    for record, purpose, is_said in (
        (uncured, b"rgn ", False),
        (uncured.model_copy(update={"format": 2}), b"scrp", True),
    ):
        assert any(purpose in payload for _, payload in metadata_of(record).chunks())
        rows = coding_history(record, record.tracks[0])
        assert any("not advice" in row for row in rows) is is_said
