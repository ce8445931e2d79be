"""Which files on disk a pass stands for."""

from __future__ import annotations

import errno
import os
from pathlib import Path

import pytest

from assembler.errors import SheetError
from assembler.sheet import Sheet, find_audio, find_timecode, parse_sheet

HEAD = """\
[session]
title = "Harvest supper"
sample_rate = 48000
bit_depth = 16
frame_rate = "30"
[[reel]]
name = "A"
tracks = ["Fiddle", "Bass"]
"""


def make(folder: Path, *names: str) -> None:
    """Make empty files: only names count here."""
    for name in names:
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.touch()


def sheet_of(folder: Path, *passes: str, allow_outside: bool = False) -> Sheet:
    """Return a sheet whose passes have the given lines; the first pass's audio stands on line 12."""
    tables = [f'[[pass]]\nname = "A{n}"\nreel = "A"\n{lines}\n' for n, lines in enumerate(passes, 1)]
    text = (HEAD + "".join(tables)).encode()
    return parse_sheet(text, path=folder / "session.toml", folder=folder, allow_outside=allow_outside)


def audio_of(folder: Path, lines: str) -> list[str]:
    """Return the audio of a sheet's only pass, relative to its folder."""
    sheet = sheet_of(folder, lines)
    return [path.relative_to(folder).as_posix() for path in find_audio(sheet, sheet.passes[0])]


def timecode_of(folder: Path, lines: str) -> str | None:
    """Return the timecode file of a sheet's only pass, relative to its folder."""
    sheet = sheet_of(folder, lines)
    path = find_timecode(sheet, sheet.passes[0])
    return None if path is None else path.relative_to(folder).as_posix()


def audio_error(folder: Path, lines: str) -> SheetError:
    """Return the error of looking for a pass's audio, which is always at its key."""
    with pytest.raises(SheetError) as caught:
        audio_of(folder, lines)
    assert (caught.value.line, caught.value.key) == (12, "pass[1].audio")
    return caught.value


def test_a_pattern_gives_its_files_in_natural_order(tmp_path: Path) -> None:
    """Numbers count by value, letter case does not, and the suffix comes last."""
    make(tmp_path, "c/10 Bass.wav", "c/2 Voice.WAV", "c/1 fiddle.wav", "c/1 fiddle 2.wav", "c/readme.txt")
    expected = ["c/1 fiddle.wav", "c/1 fiddle 2.wav", "c/2 Voice.WAV", "c/10 Bass.wav"]
    assert audio_of(tmp_path, 'audio = "c/*.wav"') == expected


def test_a_list_keeps_its_own_order(tmp_path: Path) -> None:
    """A list says which file is which track: nothing is sorted."""
    make(tmp_path, "b.wav", "a.wav")
    assert audio_of(tmp_path, 'audio = ["b.wav", "a.wav"]') == ["b.wav", "a.wav"]


def test_one_polyphonic_file_is_found(tmp_path: Path) -> None:
    """A path without pattern signs is one file."""
    make(tmp_path, "A1.wav")
    assert audio_of(tmp_path, 'audio = "A1.wav"') == ["A1.wav"]


def test_brackets_in_a_real_name_are_no_pattern(tmp_path: Path) -> None:
    """A folder or file that exists as it is written is meant, whatever signs its name holds."""
    make(tmp_path, "A1 [take 2]/1.wav", "A1 [take 2]/2.wav", "A1 t/3.wav", "x [1].wav", "x 1.wav")
    assert audio_of(tmp_path, 'audio = "A1 [take 2]/*.wav"') == ["A1 [take 2]/1.wav", "A1 [take 2]/2.wav"]
    assert audio_of(tmp_path, 'audio = "x [1].wav"') == ["x [1].wav"]
    assert audio_of(tmp_path, 'audio = "A1 [t]/*.wav"') == ["A1 t/3.wav"]


def test_two_stars_stand_for_any_depth(tmp_path: Path) -> None:
    """Files of a folder come together, in natural order of the folders."""
    make(tmp_path, "c/10/1.wav", "c/2/1.wav", "c/2/x/1.wav", "c/0.wav", "c/.trash/9.wav")
    assert audio_of(tmp_path, 'audio = "c/**/*.wav"') == ["c/0.wav", "c/2/1.wav", "c/2/x/1.wav", "c/10/1.wav"]
    assert audio_of(tmp_path, 'audio = "c/**/x/*.wav"') == ["c/2/x/1.wav"]


def test_hidden_files_are_no_tracks(tmp_path: Path) -> None:
    """Some systems put a "._" companion beside every file on a foreign disk (common practice, no source)."""
    make(tmp_path, "c/1.wav", "c/._1.wav")
    assert audio_of(tmp_path, 'audio = "c/*.wav"') == ["c/1.wav"]


def test_timecode_is_never_taken_for_a_track(tmp_path: Path) -> None:
    """Logs, recordings of timecode that any pass names, and a timecode.wav are left out of a pattern's
    files.
    """
    make(tmp_path, "1.wav", "2.wav", "log.mid", "log.csv", "ltc.wav", "timecode.wav")
    other = 'audio = "1.wav"\ntimecode = { ltc = "ltc.wav" }'
    sheet = sheet_of(tmp_path, 'audio = "*"', other)
    assert [path.name for path in find_audio(sheet, sheet.passes[0])] == ["1.wav", "2.wav"]


def test_a_track_called_timecode_counts_where_a_track_carries_it(tmp_path: Path) -> None:
    """With ltc_track the timecode is one of the tape's tracks, and its file one of the pass's files."""
    make(tmp_path, "1.wav", "timecode.wav")
    assert audio_of(tmp_path, 'audio = "*.wav"\ntimecode = { ltc_track = 2 }') == ["1.wav", "timecode.wav"]


def test_a_log_listed_as_a_track_is_refused(tmp_path: Path) -> None:
    """A list that names the pass's own timecode is a mistake, not a track less."""
    make(tmp_path, "1.wav", "ltc.wav", "log.mid")
    lines = 'audio = ["1.wav", "ltc.wav"]\ntimecode = { ltc = "ltc.wav" }'
    assert 'found "ltc.wav", which holds timecode' in audio_error(tmp_path, lines).problem
    assert 'found "log.mid", which holds timecode' in audio_error(tmp_path, 'audio = ["log.mid"]').problem


def test_what_is_not_there_is_told(tmp_path: Path) -> None:
    """A pattern without a match, a missing file and a folder each get their own words."""
    make(tmp_path, "c/1.txt", "c/log.mid")
    assert 'no audio matches "c/*.wav"' in audio_error(tmp_path, 'audio = "c/*.wav"').problem
    assert 'no audio matches "c/*.mid"' in audio_error(tmp_path, 'audio = "c/*.mid"').problem
    assert 'no audio matches "d/*/x?.wav"' in audio_error(tmp_path, 'audio = "d/*/x?.wav"').problem
    assert 'no file "c/2.wav"' in audio_error(tmp_path, 'audio = ["c/2.wav"]').problem
    assert 'found the folder "c"; allowed: a file, or c/*.wav' in audio_error(tmp_path, 'audio = "c"').problem


def test_one_file_under_two_names_is_told(tmp_path: Path) -> None:
    """A list that reaches the same file twice, by another spelling or a link, is refused."""
    make(tmp_path, "c/1.wav")
    (tmp_path / "c/2.wav").symlink_to("1.wav")
    assert "twice" in audio_error(tmp_path, 'audio = ["c/1.wav", "c/../c/1.wav"]').problem
    assert "twice" in audio_error(tmp_path, 'audio = "c/*.wav"').problem


def test_a_link_out_of_the_folder_is_refused_unless_allowed(tmp_path: Path) -> None:
    """What leaves the sheet's folder by a link is found where the files are."""
    make(tmp_path, "elsewhere/1.wav", "session/x")
    folder = tmp_path / "session"
    (folder / "c").symlink_to("../elsewhere")
    assert "link out of the sheet's folder" in audio_error(folder, 'audio = "c/*.wav"').problem
    assert "link out of the sheet's folder" in audio_error(folder, 'audio = "c/1.wav"').problem
    sheet = sheet_of(folder, 'audio = "c/*.wav"', allow_outside=True)
    assert find_audio(sheet, sheet.passes[0]) == (folder / "c/1.wav",)


def test_a_link_that_leads_nowhere_is_told(tmp_path: Path) -> None:
    """A track whose file is gone is not passed over in silence; a link in a circle is the same."""
    make(tmp_path, "c/1.wav")
    (tmp_path / "c/2.wav").symlink_to("gone.wav")
    assert (
        '"2.wav" is a link to a file that is not there' in audio_error(tmp_path, 'audio = "c/*.wav"').problem
    )
    (tmp_path / "c/2.wav").unlink()
    (tmp_path / "c/2.wav").symlink_to("2.wav")
    lines = 'audio = "c/*.wav"\ntimecode = { ltc = "ltc.wav" }'
    assert '"2.wav" is a link to a file that is not there' in audio_error(tmp_path, lines).problem
    assert (
        '"2.wav" is a link to a file that is not there' in audio_error(tmp_path, 'audio = "c/*.wav"').problem
    )


def test_names_that_the_system_refuses_are_told(tmp_path: Path) -> None:
    """A name longer than any file system allows is one plain line."""
    name = "x" * 300 + ".wav"
    assert "can't look through" in audio_error(tmp_path, f'audio = "{name}"').problem
    sheet = sheet_of(tmp_path, f'audio = "1.wav"\ntimecode = {{ ltc = "{name}" }}')
    with pytest.raises(SheetError, match="can't look through"):
        find_timecode(sheet, sheet.passes[0])


def test_a_pattern_that_runs_through_everything_ends(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Going through more files and folders than a session can have is an error, not a wait."""
    monkeypatch.setattr("assembler.sheet.patterns._MOST_STEPS", 20)
    make(tmp_path, *(f"{n}/{n}.wav" for n in range(12)))
    assert "more than 20 files and folders" in audio_error(tmp_path, 'audio = "**/*.wav"').problem


def test_a_named_log_is_the_timecode(tmp_path: Path) -> None:
    """A log or recording that the sheet names is taken whatever else lies there; the other sources have no
    file.
    """
    make(tmp_path, "1.wav", "timecode.mid", "other.csv", "ltc.wav")
    assert timecode_of(tmp_path, 'audio = "1.wav"\ntimecode = "other.csv"') == "other.csv"
    assert timecode_of(tmp_path, 'audio = "1.wav"\ntimecode = { ltc = "ltc.wav" }') == "ltc.wav"
    assert timecode_of(tmp_path, 'audio = "1.wav"\ntimecode = "bext"') is None
    assert timecode_of(tmp_path, 'audio = "1.wav"\ntimecode = { start = "01:00:00:00" }') is None


def test_a_named_log_that_is_missing_is_told(tmp_path: Path) -> None:
    """The error stands at the timecode's own key."""
    make(tmp_path, "1.wav")
    with pytest.raises(SheetError, match=r'no file "log.mid"') as caught:
        timecode_of(tmp_path, 'audio = "1.wav"\ntimecode = "log.mid"')
    assert (caught.value.line, caught.value.key) == (13, "pass[1].timecode")


@pytest.mark.parametrize(
    ("files", "expected"),
    [
        (["c/timecode.mid", "c/other.csv"], "c/timecode.mid"),
        (["c/Timecode.CSV", "c/other.mid"], "c/Timecode.CSV"),
        (["c/timecode.wav", "c/other.mid"], "c/timecode.wav"),
        (["c/timecode.txt", "c/other.mid"], "c/other.mid"),
        (["c/anything.mid"], "c/anything.mid"),
        (["c/anything.csv", "c/._anything.csv"], "c/anything.csv"),
        (["above.mid"], None),
        ([], None),
    ],
)
def test_without_a_name_the_timecode_lies_beside_the_audio(
    tmp_path: Path, files: list[str], expected: str | None
) -> None:
    """First `timecode.*` beside the audio, else the only log there."""
    make(tmp_path, "c/1.wav", "c/2.wav", *files)
    assert timecode_of(tmp_path, 'audio = "c/*.wav"') == expected


@pytest.mark.parametrize("files", [["c/timecode.mid", "c/timecode.csv"], ["c/a.mid", "c/b.csv"]])
def test_several_logs_that_could_be_meant_are_named(tmp_path: Path, files: list[str]) -> None:
    """Nothing is guessed between two logs: the sheet has to name one."""
    make(tmp_path, "c/1.wav", *files)
    with pytest.raises(SheetError, match="found 2 that could be its log") as caught:
        timecode_of(tmp_path, 'audio = "c/*.wav"')
    assert (caught.value.line, caught.value.key) == (9, "pass[1].timecode")
    assert all(f'"{Path(name).name}"' in caught.value.problem for name in files)


def test_a_folder_that_can_not_be_read_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Missing permission is one plain line (played, since the superuser may read every folder)."""

    def refuse(folder: Path) -> None:
        raise PermissionError(errno.EACCES, "Permission denied", str(folder))

    make(tmp_path, "c/1.wav")
    monkeypatch.setattr("assembler.sheet.patterns.os.scandir", refuse)
    assert "Permission denied" in audio_error(tmp_path, 'audio = "c/*.wav"').problem


def test_a_pattern_stands_for_no_more_files_than_a_list_may_name(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each file of a pass is held open: a pattern that points at a whole archive is refused before any is opened."""
    monkeypatch.setattr("assembler.sheet.files.MOST_FILES", 3)
    for number in range(4):
        (tmp_path / f"{number}.wav").write_bytes(b"")
    assert "stands for 4 files; allowed: 1 to 3 files" in audio_error(tmp_path, 'audio = "*.wav"').problem


def test_named_timecode_is_looked_up_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The work grows with the number of passes, not with its square: a sheet of thousands took minutes."""
    (tmp_path / "a.wav").write_bytes(b"")
    (tmp_path / "a.mid").write_bytes(b"")
    passes = "".join(
        f'[[pass]]\nname = "{n}"\nreel = "A"\naudio = "a.wav"\ntimecode = "a.mid"\n' for n in range(60)
    )
    text = (
        '[session]\ntitle = "x"\nsample_rate = 48000\nbit_depth = 16\nframe_rate = "30"\n'
        f'[[reel]]\nname = "A"\ntracks = ["One"]\n{passes}'
    )
    sheet = parse_sheet(text.encode(), path=None, folder=tmp_path)
    looked_up = []
    real = os.path.realpath

    def counted(path: str) -> str:
        looked_up.append(path)
        return real(path)

    monkeypatch.setattr(os.path, "realpath", counted)
    for one in sheet.passes:
        find_audio(sheet, one)
    assert len(looked_up) < 10 * 60
