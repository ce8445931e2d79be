"""Logs in Standard MIDI Files and in comma-separated text, and what is odd about them."""

from __future__ import annotations

import io

import mido
import numpy as np
import pytest

from assembler.errors import TimecodeError, TimecodeLogError
from assembler.timecode import (
    FRAME_RATES,
    MILLISECOND_TICKS,
    TICKS_PER_BEAT_960,
    MidiLog,
    encode_full_frame,
    encode_quarter_stream,
    quarter_messages,
    read_csv_log,
    read_midi_log,
    write_midi_log,
)
from assembler.timecode.logs.csvlog import LARGEST_CSV_BYTES
from assembler.timecode.logs.messages import Collector
from assembler.timecode.logs.smf import LARGEST_MIDI_BYTES

RATE = FRAME_RATES["30"]


def make_file(division: str, *tracks: str, kind: str = "0001") -> io.BytesIO:
    """Return a Standard MIDI File from hex: division word and the events of each track."""
    data = bytes.fromhex(f"4D546864 00000006 {kind} {len(tracks):04X} {division}")
    for track in tracks:
        events = bytes.fromhex(track)
        data += b"MTrk" + len(events).to_bytes(4, "big") + events
    return io.BytesIO(data)


def read_times(stream: io.BytesIO) -> list[float]:
    """Return the times of a file's quarter frames."""
    return [round(float(second), 9) for second in read_midi_log(stream, 48000).quarter_seconds]


def kinds(log: MidiLog) -> list[str]:
    """Return the kinds of a log's findings."""
    return [finding.kind for finding in log.findings]


def test_tempo_starts_at_120() -> None:
    """Without a tempo, 480 ticks a beat are half a second (RP-001, tempo)."""
    assert read_times(make_file("01E0", "00F100 8360 F110 00FF2F00")) == [0.0, 0.5]


def test_tempo_changes() -> None:
    """Each stretch of ticks counts under its own tempo: 250000 us a beat from beat one on."""
    track = "8360 FF5103 03D090 00 F100 8360 F110 00FF2F00"
    assert read_times(make_file("01E0", track)) == [0.5, 0.75]


def test_tempo_of_another_track_counts() -> None:
    """The tempo map in the first track times messages of the second (RP-001, format 1)."""
    tracks = ("00 FF5103 0F4240 00FF2F00", "8360 F100 00FF2F00")
    assert read_times(make_file("01E0", *tracks)) == [1.0]


def test_tracks_are_merged_in_time() -> None:
    """Messages of several tracks come in order of time, and that is told."""
    log = read_midi_log(make_file("E728", "14 F110 00FF2F00", "0A F100 00FF2F00"), 48000)
    assert log.quarter_data.tolist() == [0x00, 0x10]
    assert log.quarter_seconds.tolist() == [0.01, 0.02]
    assert "order" in kinds(log)


def test_sysex_in_packets() -> None:
    """A full frame in three packets is one message; an escape in between would not be (RP-001, sysex)."""
    log = read_midi_log(
        make_file("E728", "00F0037F7F01 05F7020161 05F7040A141DF7 00F702F100 00FF2F00"), 48000
    )
    (full,) = log.full_frames
    assert (full.hours, full.minutes, full.second, full.frames, full.rate_code) == (1, 10, 20, 29, 3)
    assert full.seconds == 0.0
    assert log.quarter_data.tolist() == [0x00]


def test_unfinished_sysex_does_not_swallow_escapes() -> None:
    """A status byte cannot continue a system exclusive message: the escape after it is read."""
    log = read_midi_log(make_file("E728", "00F002417E 01F702F105 01F702F115 00FF2F00"), 48000)
    assert log.quarter_data.tolist() == [0x05, 0x15]


@pytest.mark.parametrize("event", ["F0 02 41 F7", "F7 02 F1 05", "FF 01 00"])
def test_running_status_ends_at_sysex_and_meta(event: str) -> None:
    """A data byte after a sysex, escape or meta event has no status to go on with (RP-001): the track is damaged."""
    log = read_midi_log(make_file("E728", f"00F100 00903C40 00{event} 003C00 00F110 00FF2F00"), 48000)
    assert 0x10 not in log.quarter_data.tolist()
    assert "damaged_log" in kinds(log)


def test_several_messages_in_one_escape() -> None:
    """An escape may hold several messages, real-time bytes among them (RP-001, F7 events)."""
    log = read_midi_log(make_file("E728", "00F706F105F8F115F8 00FF2F00"), 48000)
    assert log.quarter_data.tolist() == [0x05, 0x15]
    assert log.other_messages == 2


def test_cable_bytes_are_read_as_another_reader_does() -> None:
    """Quarter frames, locates and the count of others in bytes with junk are those that the parser of mido finds."""
    random = np.random.default_rng(11)
    pieces = [
        b"\xf1\x05",
        b"\xf1\x7f",
        bytes.fromhex("F07F7F0101610A141DF7"),
        b"\xf0\x7e\xf7",
        b"\xf8",
        b"\xfe",
    ]
    pieces += [b"\x90\x40\x40", b"\xc0\x05", b"\xf6", b"\x33", b"\xf7", b"\xf0\x01"]
    # Not here: a real-time byte between a quarter frame's two, which that parser takes for the end of it.
    for _ in range(300):
        stream = b"".join(pieces[index] for index in random.integers(0, len(pieces), 20))
        collected = Collector()
        collected.add_bytes(1.5, stream)
        parser = mido.Parser()
        parser.feed(stream)
        heard = [message for message in parser if message.type == "quarter_frame"]
        told = [message.frame_type << 4 | message.frame_value for message in heard]
        assert list(collected.quarter_bytes) == told
        assert list(collected.quarter_times) == [1.5] * len(told)


def test_real_time_bytes_inside_a_message() -> None:
    """Real-time bytes may stand inside any message (MIDI 1.0, system real-time): it is read without them."""
    collected = Collector()
    collected.add_bytes(0.0, bytes.fromhex("F1 F8 05 F0 7F 7F FE 01 01 61 0A 14 1D F7"))
    assert bytes(collected.quarter_bytes) == b"\x05"
    assert len(collected.full_frames) == 1


def test_unknown_chunks_are_passed_over() -> None:
    """A chunk of another kind between tracks is skipped (RP-001, chunks)."""
    data = make_file("E728", "00F100 00FF2F00").getvalue()
    data = data[:14] + b"XFIH\x00\x00\x00\x03abc" + data[14:]
    assert read_times(io.BytesIO(data)) == [0.0]


def test_damage_ends_a_track() -> None:
    """A track that stops making sense is used up to there, and the place is told."""
    log = read_midi_log(make_file("E728", "00F100 0AF110 0033 00F120 00FF2F00"), 48000)
    assert log.quarter_data.tolist() == [0x00, 0x10]
    (finding,) = [finding for finding in log.findings if finding.kind == "damaged_log"]
    assert "byte 29" in finding.text


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "byte 0: not a Standard MIDI File"),
        (b"RIFF" + bytes(40), "byte 0: not a Standard MIDI File"),
        (b"MThd\x00\x00\x00\x06\x00", "header .* cut short"),
        (make_file("E728", "00FF2F00").getvalue(), "no timecode in it: it holds no messages at all"),
        (make_file("E728", "00903C40 00FF2F00").getvalue(), "1 messages, but no quarter frame"),
        (make_file("E028", "00F100 00FF2F00").getvalue(), "SMPTE division -32 with 40 ticks"),
        (make_file("E700", "00F100 00FF2F00").getvalue(), "SMPTE division -25 with 0 ticks"),
        (make_file("0000", "00F100 00FF2F00").getvalue(), "division 0"),
        (
            make_file("E728", "0033").getvalue(),
            "no messages at all; byte 23: 33 where an event .* used up to there",
        ),
        (make_file("01E0", "00FF510307A120" * 100_001).getvalue(), "more than 100000 tempo changes"),
        (
            make_file("E728", "FFFFFF7F F100" * 4).getvalue(),
            "a time of 1073741.82 s; allowed: up to 864000 s",
        ),
    ],
)
def test_unusable_midi_files(data: bytes, words: str) -> None:
    """A file that cannot serve as a log is refused in one plain line."""
    with pytest.raises(TimecodeLogError, match=words) as caught:
        read_midi_log(io.BytesIO(data), 48000)
    assert "\n" not in str(caught.value)


class Endless(io.RawIOBase):
    """A stream without end that counts what was taken from it."""

    taken = 0

    def readable(self) -> bool:
        """Say yes."""
        return True

    def read(self, size: int | None = -1, /) -> bytes:
        """Return as many zeros as asked for; asked for all, fail."""
        assert size is not None
        assert size > 0
        self.taken += size
        return bytes(size)


@pytest.mark.parametrize("limit", [LARGEST_MIDI_BYTES, LARGEST_CSV_BYTES])
def test_endless_logs_are_refused(limit: int) -> None:
    """No more than the limit and a byte is ever read from a log."""
    stream = Endless()
    read = read_midi_log if limit == LARGEST_MIDI_BYTES else read_csv_log
    with pytest.raises(TimecodeLogError, match="too large for the log of a tape"):
        read(stream, 48000)  # type: ignore[arg-type]  # a raw stream is enough: one call of read
    assert stream.taken == limit + 1


def test_more_messages_than_a_tape_makes_are_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    """Both kinds of log stop at a number of messages, whatever these are, and say so."""
    monkeypatch.setattr("assembler.timecode.logs.messages._MOST_MESSAGES", 50)
    with pytest.raises(TimecodeLogError, match="more than 50 messages: too many"):
        read_midi_log(make_file("E728", "00F800F100" * 26), 48000)
    with pytest.raises(TimecodeLogError, match="more than 50 messages: too many"):
        read_csv_log(io.BytesIO(b"seconds,bytes\n" + b"0,F1009040\n" * 26), 48000)


def test_more_rows_than_a_log_has_are_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    """A table of blank lines without end is not read to its end."""
    monkeypatch.setattr("assembler.timecode.logs.csvlog._MOST_ROWS", 50)
    with pytest.raises(TimecodeLogError, match="more than 50 rows: too many"):
        read_csv_log(io.BytesIO(b"seconds,bytes\n" + b"\n" * 60), 48000)


def test_an_event_of_one_time_says_little() -> None:
    """Of an escape that is longer than any log makes, only the beginning is looked at."""
    log = read_midi_log(make_file("E728", "00F7 81A000" + "F105" * 10_240), 48000)
    assert log.quarter_data.size == 2048


@pytest.mark.parametrize("escaped", [False, True])
@pytest.mark.parametrize("division", [TICKS_PER_BEAT_960, MILLISECOND_TICKS, 0xE250, 0xE850, 0xE350])
def test_written_logs_are_read_back(division: int, *, escaped: bool) -> None:
    """Both forms of event under both kinds of division come back, times to the nearest tick."""
    data = encode_quarter_stream(432000, 40, RATE)
    seconds = np.arange(40) / 120
    messages = [encode_full_frame(0, RATE), *quarter_messages(data)]
    stream = io.BytesIO()
    write_midi_log(stream, np.append(0.0, seconds), messages, division=division, escaped=escaped)
    log = read_midi_log(io.BytesIO(stream.getvalue()), 48000)
    assert np.array_equal(log.quarter_data, data)
    assert np.abs(log.quarter_seconds - seconds).max() <= log.tick_seconds / 2 + 1e-12
    assert len(log.full_frames) == 1
    assert ("plain_quarter_frames" in kinds(log)) is not escaped


def test_writing_refuses_time_that_falls() -> None:
    """A Standard MIDI File has no negative delta times."""
    with pytest.raises(TimecodeError, match="may not fall"):
        write_midi_log(io.BytesIO(), np.array([1.0, 0.5]), [b"\xf1\x00", b"\xf1\x10"])


@pytest.mark.parametrize("line_end", ["\n", "\r\n"])
@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf"])
def test_table_of_seconds(line_end: str, mark: bytes) -> None:
    """Hex bytes with and without blanks, full frames and blank lines are read; the digits tell the tick."""
    rows = [
        "seconds,bytes",
        "0.000100,F1 05",
        "0.0084,f115",
        "",
        "0.5,F0 7F 7F 01 01 61 0A 14 1D F7",
        "1,90 3C 40",
    ]
    log = read_csv_log(io.BytesIO(mark + line_end.join(rows).encode()), 48000)
    assert log.quarter_seconds.tolist() == [0.0001, 0.0084]
    assert log.quarter_data.tolist() == [0x05, 0x15]
    assert log.full_frames[0].minutes == 10
    assert log.other_messages == 1
    assert log.tick_seconds == pytest.approx(1e-6)


def test_table_of_samples() -> None:
    """A sample column counts at the session's rate."""
    log = read_csv_log(io.BytesIO(b"sample,bytes\n-480,F1 05\n44100,F1 15\n"), 44100)
    assert log.quarter_seconds.tolist() == pytest.approx([-480 / 44100, 1.0])


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (b"", "line 1: header is ''"),
        (b"time,bytes\n", "line 1: header is 'time,bytes'; allowed"),
        (b"seconds,bytes\n1.0\n", "line 2: '1.0' has no comma"),
        (b"seconds,bytes\n0,F100\nx,F1 00\n", "line 3: 'x' is not a time"),
        (b"seconds,bytes\nnan,F1 00\n", "line 2: 'nan' is not a time"),
        (b"seconds,bytes\n0,F1 0G\n", "line 2: 'F1 0G' are not message bytes"),
        (b"seconds,bytes\n1e9,F1 00\n", "a time of 1000000000 s"),
        (b"seconds,bytes\n", "no timecode in it"),
        (b"\xff\xfe\x00", "^not text"),
    ],
)
def test_unusable_tables(text: bytes, words: str) -> None:
    """A table that cannot be read is refused with its line."""
    with pytest.raises(TimecodeLogError, match=words):
        read_csv_log(io.BytesIO(text), 48000)
