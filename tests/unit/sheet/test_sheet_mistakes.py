"""One small faulty sheet for each mistake: its line, its key and the words that help."""

from __future__ import annotations

from pathlib import Path

import pytest

from assembler.errors import SheetError
from assembler.sheet import parse_sheet

GOOD = """\
[session]
title = "Harvest supper"
sample_rate = 48000
bit_depth = 20
frame_rate = "30"
start = "01:00:00:00"
end = "01:10:00:00"
[[reel]]
name = "A"
tracks = ["Fiddle", "", "Bass"]
[[reel]]
name = "B"
tracks = ["Drum"]
[[pass]]
name = "A1"
reel = "A"
audio = "A1/*.wav"
timecode = "A1/log.mid"
[[pass]]
name = "B1"
reel = "B"
audio = ["B1.wav"]
[[punch]]
reel = "A"
pass = "A1"
start = "01:01:00:00"
end = "01:02:00:00"
[repair]
mode = "auto"
fade_ms = 10
[deliver]
word_length = 24
"""

ANOTHER_REEL = '[[reel]]\nname = "A"\ntracks = ["Flute"]'
ANOTHER_A1 = '[[pass]]\nname = "A1"\nreel = "A"\naudio = "x.wav"'

# What is replaced, by what, then the line and key that are told, and words that must be in the error.
MISTAKES = [
    # keys
    ("title =", "titel =", 2, "session.titel", 'unknown key; did you mean "title"?'),
    ('title = "Harvest supper"\n', "", 1, "session.title", "missing; required: the session's title"),
    ("sample_rate = 48000\n", "", 1, "session.sample_rate", "missing; required: 44100 or 48000"),
    ('audio = "A1/*.wav"\n', "", 14, "pass[1].audio", "missing; required: a pattern"),
    ('name = "B1"\n', "", 19, "pass[2].name", "missing; required: the pass's name"),
    ("[repair]", "[repare]", 28, "repare", 'unknown key; did you mean "repair"?'),
    ('pass = "A1"', 'pass_name = "A1"', 25, "punch[1].pass_name", 'unknown key; did you mean "pass"?'),
    ("word_length = 24", "word_length = 24\nzzz = 1", 33, "deliver.zzz", "allowed: word_length, checksums"),
    # types and values
    ('"Harvest supper"', "1995", 2, "session.title", "found 1995; allowed: the session's title"),
    ('"Harvest supper"', '" "', 2, "session.title", "found nothing but spaces"),
    ('"Harvest supper"', '"a\\u0000b"', 2, "session.title", "found the control character U+0000"),
    ("48000", "96000000", 3, "session.sample_rate", "found 96000000; allowed: 44100 or 48000"),
    ("48000", "7999", 3, "session.sample_rate", "found 7999"),
    ("48000", '"48000"', 3, "session.sample_rate", 'found "48000"; allowed: 44100 or 48000'),
    ("48000", "48000.0", 3, "session.sample_rate", "found 48000.0"),
    ("48000", "true", 3, "session.sample_rate", "found true"),
    (
        "bit_depth = 20",
        "bit_depth = 20.0",
        4,
        "session.bit_depth",
        "found 20.0; allowed: a whole number of bits",
    ),
    ("bit_depth = 20", "bit_depth = 18", 4, "session.bit_depth", "found 18; allowed: 16, 20 or 24"),
    ('"30"', '"23.976"', 5, "session.frame_rate", 'found "23.976"; allowed: one of "24", "25"'),
    ('"30"', "30", 5, "session.frame_rate", "found 30; allowed: one of"),
    ('"30"', '"30"\ndate = "1995-09-02"', 6, "session.date", "allowed: a date without quotation marks"),
    ('"30"', '"30"\ndate = 1995-09-02T10:00:00', 6, "session.date", "found 1995-09-02 10:00:00"),
    (
        '"30"',
        '"30"\ntimecode_delay_ms = inf',
        6,
        "session.timecode_delay_ms",
        "found inf; allowed: milliseconds",
    ),
    ('mode = "auto"', 'mode = "always"', 29, "repair.mode", 'allowed: "auto", "listed" or "off"'),
    ("fade_ms = 10", "fade_ms = -1", 30, "repair.fade_ms", "found -1; allowed: milliseconds from 0 to 10000"),
    ("fade_ms = 10", 'unlike = "use"', 30, "repair.unlike", 'found "use"; allowed: "cure" or "list"'),
    ("fade_ms = 10", "fade_ms = nan", 30, "repair.fade_ms", "found nan"),
    ("word_length = 24", "word_length = 20", 32, "deliver.word_length", "found 20; allowed: 16 or 24"),
    (
        "word_length = 24",
        "word_length = 16",
        32,
        "deliver.word_length",
        "found 16; allowed: 24, as bit_depth is 20",
    ),
    (
        'tracks = ["Drum"]',
        'tracks = ["Drum"]\nbit_depth = 18',
        14,
        "reel[2].bit_depth",
        "found 18; allowed: 16, 20 or 24",
    ),
    (
        'tracks = ["Drum"]',
        'tracks = ["Drum"]\nbit_depth = 24',
        14,
        "reel[2].bit_depth",
        "found 24; allowed: 16 or 20, as bit_depth of [session] is 20",
    ),
    ("word_length = 24", "checksums = []", 32, "deliver.checksums", "found an empty list; allowed: a list"),
    ("word_length = 24", 'checksums = ["crc32"]', 32, "deliver.checksums", 'found "crc32"; allowed: a list'),
    ("word_length = 24", 'checksums = ["md5", "md5"]', 32, "deliver.checksums", "the same checksum twice"),
    ("word_length = 24", 'checksums = ["a", "b"]', 32, "deliver.checksums", 'found "a"; allowed: a list'),
    # reels
    ('["Drum"]', '["", ""]', 13, "reel[2].tracks", "found every track unused"),
    ('["Drum"]', "[]", 13, "reel[2].tracks", "found an empty list; allowed: a list of 1 to"),
    ('["Drum"]', '"Drum"', 13, "reel[2].tracks", 'found "Drum"; allowed: a list'),
    ('["Drum"]', '["Drum", 2]', 13, "reel[2].tracks", 'found 2 for track 2; allowed: a name, or ""'),
    (
        '["Drum"]',
        '["Drum", "Drum"]',
        13,
        "reel[2].tracks",
        'found "Drum" for tracks 1 and 2; allowed: each name once',
    ),
    ('["Drum"]', '["Drum"]\nprepared = 3', 14, "reel[2].prepared", "found 3; allowed: a table of notes"),
    ('["Drum"]', '["Drum"]\nprepared.baked_c = "hot"', 14, "reel[2].prepared", 'found "hot" for baked_c'),
    ('["Drum"]', '["Drum"]\nprepared.notes = [1]', 14, "reel[2].prepared", "found a list of 1 for notes"),
    ('["Drum"]', '["Drum"]\nprepared.error_rate = nan', 14, "reel[2].prepared", "found nan for error_rate"),
    ('["Drum"]', f'["Drum"]\n{ANOTHER_REEL}', 15, "reel[3].name", 'found "A" again after reel[1] (line 9)'),
    # passes
    (
        '["B1.wav"]',
        f'["B1.wav"]\n{ANOTHER_A1}',
        24,
        "pass[3].name",
        'found "A1" again after pass[1] (line 15)',
    ),
    (
        'reel = "B"\naudio',
        'reel = "C"\naudio',
        21,
        "pass[2].reel",
        'found the unknown reel "C"; allowed: "A", "B"',
    ),
    ('["B1.wav"]', "[]", 22, "pass[2].audio", "found an empty list; allowed: 1 to"),
    ('["B1.wav"]', '""', 22, "pass[2].audio", 'found ""; allowed: a path'),
    ('["B1.wav"]', '["B1.wav", 2]', 22, "pass[2].audio", "found 2; allowed: a path"),
    ('["B1.wav"]', '["B1.wav", "B1.wav"]', 22, "pass[2].audio", 'found "B1.wav" twice'),
    ('["B1.wav"]', '["B1.wav"]\nrelabel = 1', 23, "pass[2].relabel", "found 1; allowed: true or false"),
    (
        '["B1.wav"]',
        '["B1.wav"]\ntimecode = "b.wav"',
        23,
        "pass[2].timecode",
        'found "b.wav"; allowed: a .mid or .csv',
    ),
    (
        '["B1.wav"]',
        '["B1.wav"]\ntimecode = {}',
        23,
        "pass[2].timecode",
        "found a table; allowed: a .mid or .csv",
    ),
    ('["B1.wav"]', '["B1.wav"]\ntimecode.ltc_track = 0', 23, "pass[2].timecode", "found { ltc_track = 0 }"),
    (
        '["B1.wav"]',
        '["B1.wav"]\ntimecode.ltc_track = 2',
        23,
        "pass[2].timecode",
        "found track 2; allowed: 1 to 1",
    ),
    ('["B1.wav"]', '["B1.wav"]\ntimecode.smpte = 2', 23, "pass[2].timecode", "found { smpte = 2 }"),
    (
        '["B1.wav"]',
        '["B1.wav"]\ntimecode = "audio"',
        23,
        "pass[2].timecode",
        "only if another pass of the reel",
    ),
    # paths
    ('"A1/*.wav"', '"../A1/*.wav"', 17, "pass[1].audio", "outside the sheet's folder"),
    ('"A1/*.wav"', '"a/../../b.wav"', 17, "pass[1].audio", "outside the sheet's folder"),
    ('"A1/*.wav"', '"a/**/../../b.wav"', 17, "pass[1].audio", "outside the sheet's folder"),
    ('"A1/*.wav"', '"/srv/b.wav"', 17, "pass[1].audio", "outside the sheet's folder"),
    (
        '["B1.wav"]',
        '["B1.wav", "../c.wav"]',
        22,
        "pass[2].audio",
        'found "../c.wav", outside the sheet\'s folder',
    ),
    ('"A1/log.mid"', '"../log.mid"', 18, "pass[1].timecode", "outside the sheet's folder"),
    ('"A1/log.mid"', '{ ltc = "../l.wav" }', 18, "pass[1].timecode", "outside the sheet's folder"),
    ('"A1/log.mid"', '{ ltc = "../session-2/l.wav" }', 18, "pass[1].timecode", "outside the sheet's folder"),
    # labels
    (
        'end = "01:10:00:00"',
        'end = "01:00:00:00"',
        7,
        "session.end",
        'allowed: a label after start, "01:00:00:00"',
    ),
    ('end = "01:02:00:00"', 'end = "01:00:59:00"', 27, "punch[1].end", "allowed: a label after start"),
    ('start = "01:01:00:00"', 'start = "1:1:0:0"', 26, "punch[1].start", "hh:mm:ss:ff with two digits each"),
    ('start = "01:01:00:00"', 'start = "24:00:00:00"', 26, "punch[1].start", "hours to 23"),
    ('start = "01:01:00:00"', 'start = "01:60:00:00"', 26, "punch[1].start", "minutes and seconds to 59"),
    ('start = "01:01:00:00"', 'start = "01:01:60:00"', 26, "punch[1].start", "minutes and seconds to 59"),
    (
        'start = "01:01:00:00"',
        'start = "01:01:00:30"',
        26,
        "punch[1].start",
        'frames to 29 at frame_rate "30"',
    ),
    ('start = "01:01:00:00"', 'start = "01:01:00;00"', 26, "punch[1].start", '";" says drop-frame'),
    ('start = "01:01:00:00"', 'start = "-1:01:00:00"', 26, "punch[1].start", "hh:mm:ss:ff"),
    ('"A1/log.mid"', '{ start = "01:00" }', 18, "pass[1].timecode", 'found "01:00"; allowed: hh:mm:ss:ff'),
    ('["Drum"]', '["Drum"]\ntimecode_offset = "10"', 14, "reel[2].timecode_offset", "[-]hh:mm:ss:ff"),
    # punches
    (
        'reel = "A"\npass',
        'reel = "C"\npass',
        24,
        "punch[1].reel",
        'found the unknown reel "C"; allowed: "A", "B"',
    ),
    ('pass = "A1"', 'pass = "A9"', 25, "punch[1].pass", 'found the unknown pass "A9"; allowed: "A1", "B1"'),
    ('pass = "A1"', 'pass = "B1"', 25, "punch[1].pass", 'a pass of reel "B"; allowed for reel "A": "A1"'),
    # tables
    ("[[punch]]", "[punch]", 23, "punch", "allowed: tables that each begin with [[punch]]"),
    ("[repair]", "[[repair]]", 28, "repair", "found a list of 1; allowed: one table, [repair]"),
    # TOML
    ("[repair]", "[repair", 28, None, "not valid TOML"),
    ("[repair]", "[session]", 28, None, "not valid TOML: this table stands here for the second time"),
    (
        "sample_rate = 48000",
        'title = "again"',
        3,
        None,
        "not valid TOML: this key stands here for the second time",
    ),
    ("word_length = 24", 'checksums = ["md5"', 32, None, "not valid TOML"),
]


def told(text: str | bytes) -> SheetError:
    """Return the error that a sheet raises."""
    data = text if isinstance(text, bytes) else text.encode()
    with pytest.raises(SheetError) as caught:
        parse_sheet(data, path=Path("session.toml"), folder=Path("session"))
    return caught.value


def test_the_sheet_that_the_mistakes_are_made_in_is_good() -> None:
    """Without a mistake the sheet of this table parses, so each error below comes from its one change."""
    assert len(parse_sheet(GOOD.encode(), path=None, folder=Path("session")).passes) == 2


@pytest.mark.parametrize(("old", "new", "line", "key", "words"), MISTAKES)
def test_a_mistake_is_told_with_line_key_found_and_allowed(
    old: str, new: str, line: int, key: str | None, words: str
) -> None:
    """A single mistake gives a single plain line that begins with file, line and key."""
    assert old in GOOD
    error = told(GOOD.replace(old, new, 1))
    assert (error.line, error.key, error.file) == (line, key, Path("session.toml"))
    assert words in error.problem
    place = f"session.toml: line {line}: " + (f"{key}: " if key else "")
    assert str(error).startswith(place)
    assert "\n" not in str(error)


def test_a_drop_frame_label_that_does_not_exist_is_refused() -> None:
    """Drop-frame leaves out frames 00 and 01 of each minute but the tenths. Source: SMPTE ST 12-1."""
    drop = GOOD.replace('"30"', '"29.97df"')
    for start, is_good in {
        "01:01:00:00": False,
        "00:59:00;01": False,
        "01:01:00.01": False,
        "01:01:00;02": True,
        "01:00:00;00": True,
        "01:01:01;00": True,
    }.items():
        text = drop.replace(
            'start = "01:01:00:00"\nend = "01:02:00:00"', f'start = "{start}"\nend = "01:02:00;02"'
        )
        if is_good:
            assert parse_sheet(text.encode(), path=None, folder=Path("x")).punches[0].start == start
        else:
            assert (told(text).line, told(text).key) == (26, "punch[1].start")
            assert "drop-frame has no frames 00 and 01" in told(text).problem


def test_punches_that_contradict_each_other_are_refused() -> None:
    """Two passes for one place: refused with both lines, over midnight too; one pass twice, or side by side, is not."""
    second = '[[pass]]\nname = "A2"\nreel = "A"\naudio = "A2.wav"\n[repair]'
    for start, end, name, is_good in (
        ("01:01:30:00", "01:03:00:00", "A2", False),
        ("01:00:30:00", "01:01:00:01", "A2", False),
        ("23:00:00:00", "01:01:00:01", "A2", False),
        ("01:02:00:00", "01:03:00:00", "A2", True),
        ("01:01:30:00", "01:03:00:00", "A1", True),
    ):
        punch = f'[[punch]]\nreel = "A"\npass = "{name}"\nstart = "{start}"\nend = "{end}"\n'
        text = GOOD.replace("[repair]", punch + second)
        if is_good:
            assert len(parse_sheet(text.encode(), path=None, folder=Path("x")).punches) == 2
        else:
            error = told(text)
            assert (error.line, error.key) == (31, "punch[2].start")
            assert f'found "{start}" to "{end}" from "A2", of which punch[1] (line 26) takes' in error.problem


def test_the_frames_of_a_label_are_held_to_the_rate() -> None:
    """Frame 24 exists at 25 a second and not at 24."""
    text = GOOD.replace('end = "01:10:00:00"', 'end = "01:10:00:24"')
    assert parse_sheet(text.replace('"30"', '"25"').encode(), path=None, folder=Path("x")).session.end
    assert "frames to 23" in told(text.replace('"30"', '"24"')).problem


def test_a_sheet_without_session_reel_or_pass_says_which_is_missing() -> None:
    """Each of the three tables that a sheet must have is asked for by name."""
    session, rest = GOOD.split("[[reel]]", 1)
    reels, passes = ("[[reel]]" + rest).split("[[pass]]", 1)
    assert told(reels + "[[pass]]" + passes).key == "session"
    no_pass = told(session + reels)
    assert (no_pass.key, no_pass.problem) == (
        "pass",
        "no pass in the sheet; required: at least one [[pass]] table",
    )
    no_reel = told(session + '[[pass]]\nname = "A1"\nreel = "A"\naudio = "a.wav"\n')
    assert 'found the unknown reel "A"; allowed: none' in no_reel.problem
    assert no_reel.problem.endswith("(and 1 more in this sheet)")


def test_the_first_of_several_mistakes_is_told_and_the_others_counted() -> None:
    """The error is for the first mistake in the order of the file, and says how many follow, in one line."""
    text = GOOD.replace("word_length = 24", "word_length = 20").replace('"A1/*.wav"', '"../x"')
    error = told(text.replace('pass = "A1"', 'pass = "A9"'))
    assert (error.line, error.key) == (17, "pass[1].audio")
    assert str(error).startswith("session.toml: line 17: pass[1].audio: found")
    assert str(error).endswith("(and 2 more in this sheet)")
    assert "\n" not in str(error)


def test_a_key_in_quotation_marks_is_told_in_one_line() -> None:
    """A key that holds a line end or is very long does not break the error."""
    error = told(GOOD + '"a\\nb' + "c" * 500 + '" = 1\n')
    assert "\n" not in str(error)
    assert len(str(error)) < 250
    assert error.line == 33
