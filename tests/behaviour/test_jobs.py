"""The promises hold for any number of processes: same bytes, one line, whole or not at all, nobody left behind."""

from __future__ import annotations

import resource
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from assembler.cli.commands import run
from assembler.consolidator import build_set, check_session, sha256_of
from assembler.errors import CaptureError
from tests.behaviour.test_changing_files import DAMAGES, STAGES, once
from tests.support.sessions import HOUR, Layout, make_tape, run_json

if not Path("/proc/self/stat").exists():
    pytest.skip("processes are looked for in /proc", allow_module_level=True)

WRAPPED = """
import contextlib, multiprocessing, os, signal, sys
from assembler.cli.sessions import sets

@contextlib.contextmanager
def watched():
    seen = []
    def progress(what, share):
        if what == "writing tracks" and not seen:
            seen.append(what)
            {act}
    yield progress

if __name__ == "__main__":
    sets.shown_progress = watched
    sys.argv[0] = "assembler"
    from assembler.cli import main
    main()
"""
"""The command line, with something that happens when the first track is being written."""


def session(folder: Path, seconds: float = 4) -> Path:
    """Write a reel of four tracks in two passes, each with flaws that the other has right, and a reel that fades."""
    tape = make_tape(seconds, 4)
    first, second = tape.copy(), tape[24000:].copy()
    first[60000:63000] = 0
    first[90000:90400, 1] = first[89999, 1]
    second[40000:41000, 2] = 0
    layout = Layout(folder)
    layout.add_reel("A", ["Kick", "Snare", "Bass", "Voice"])
    layout.add_pass("A1", "A", first, HOUR)
    layout.add_pass("A2", "A", second, HOUR + 24000)
    layout.add_reel("B", ["Voice"])
    layout.add_pass("B1", "B", make_tape(2, 1, seed=5), HOUR + tape.shape[0] - 24000)
    return layout.write()


def files_of(folder: Path) -> dict[str, str]:
    """Return the digest of each file of a set."""
    return {str(path.relative_to(folder)): sha256_of(path) for path in folder.rglob("*") if path.is_file()}


def build_while(tmp_path: Path, act: str) -> subprocess.CompletedProcess[str]:
    """Build with three processes, let something happen meanwhile, and wait until no process of it is left."""
    script = tmp_path / "wrapped.py"
    script.write_text(WRAPPED.format(act=act))
    sheet = session(tmp_path / "session", 30)
    command = [sys.executable, str(script), "build", str(sheet), "-o", str(tmp_path / "set"), "--jobs", "3"]
    process = subprocess.Popen(
        [*command, "--no-cache"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )
    # Whoever lives on holds the streams open.
    out, err = process.communicate(timeout=120)
    deadline = time.monotonic() + 20
    while left := alive(process.pid):
        assert time.monotonic() < deadline, f"processes are left: {left}"
        time.sleep(0.05)
    return subprocess.CompletedProcess(command, process.returncode, out, err)


def alive(group: int) -> list[str]:
    """Return the processes of a session that have not ended."""
    found = []
    for stat in Path("/proc").glob("[0-9]*/stat"):
        try:
            state, _, _, own = stat.read_text().rpartition(")")[2].split()[:4]
        except OSError:
            continue
        if int(own) == group and state != "Z":
            found.append(stat.parent.name)
    return found


def test_bytes_are_the_same_for_any_number_of_jobs(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """One, two and five processes build the same set, and check says the same."""
    sheet = session(tmp_path)
    sets, checks = [], []
    for jobs in (1, 2, 5):
        target = tmp_path / f"set-{jobs}"
        run_json(capsys, "build", sheet, "-o", target, "--no-cache", "--jobs", str(jobs))
        sets.append(files_of(target))
        checks.append(run_json(capsys, "check", sheet, "--no-cache", "--jobs", str(jobs)))
    assert sets[0] == sets[1] == sets[2]
    assert len(sets[0]) == 13
    assert checks[0] == checks[1] == checks[2]


@pytest.mark.parametrize("damage", DAMAGES)
@pytest.mark.parametrize("stage", STAGES)
def test_a_file_changed_beside_workers_is_never_published(tmp_path: Path, stage: str, damage: object) -> None:
    """What workers open and read is what was opened and digested, or no set appears; told in one line."""
    sheet = session(tmp_path)
    path = tmp_path / "captures" / "A1" / "01.wav"
    with pytest.raises(CaptureError, match=r"01\.wav") as told:
        build_set(
            sheet,
            tmp_path / "set",
            page=lambda _: b"",
            progress=once(stage, damage, path),  # type: ignore[arg-type]
            jobs=2,
        )
    assert "no set was written" in str(told.value)
    assert len(str(told.value).splitlines()) == 1
    assert sorted(each.name for each in tmp_path.iterdir()) == ["captures", "session.toml"]


def test_a_check_by_workers_tells_of_a_changed_file(tmp_path: Path) -> None:
    """A capture that is replaced before workers open it is told as that."""
    sheet = session(tmp_path)
    path = tmp_path / "captures" / "A1" / "02.wav"
    with pytest.raises(CaptureError, match=r"02\.wav"):
        check_session(sheet, progress=once("reading logs", DAMAGES[1], path), jobs=2)


def test_progress_of_comparing_grows_to_the_end_past_reading(tmp_path: Path) -> None:
    """Reading blocks is half of it; what is weighed of tracks after it is the rest, told track by track."""
    told: list[float] = []

    def tell(what: str, share: float) -> None:
        if what == "comparing reel A":
            told.append(share)

    check_session(session(tmp_path), progress=tell, jobs=2)
    assert told == sorted(told)
    assert told[-1] == 1.0
    assert len([share for share in told if 0.5 < share < 1.0]) >= 3


def test_captures_are_never_altered_by_workers(tmp_path: Path) -> None:
    """Captures may be read-only, and hold the same bytes and times afterwards."""
    sheet = session(tmp_path)
    captures = sorted((tmp_path / "captures").rglob("*.*"))
    for path in captures:
        path.chmod(0o444)
    before = [(sha256_of(path), path.stat().st_mtime_ns) for path in captures]
    assert run(["build", str(sheet), "-o", str(tmp_path / "set"), "--jobs", "2"]) in {0, 1}
    assert run(["verify", str(tmp_path / "set"), "--against", str(sheet)]) == 0
    assert [(sha256_of(path), path.stat().st_mtime_ns) for path in captures] == before


def test_an_interrupt_ends_all_processes(tmp_path: Path) -> None:
    """Ctrl-C, which reaches every process of the terminal, gives 130 and one line, and leaves nothing."""
    done = build_while(tmp_path, "os.killpg(0, signal.SIGINT)")
    assert done.stderr.splitlines()[-1] == "assembler: interrupted; no set was written"
    assert (done.returncode, "Traceback" in done.stderr) == (130, False)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["session", "wrapped.py"]


def test_a_terminated_build_ends_its_workers(tmp_path: Path) -> None:
    """A signal to the first process alone does the same."""
    done = build_while(tmp_path, "os.kill(os.getpid(), signal.SIGTERM)")
    assert done.stderr.splitlines()[-1] == "assembler: interrupted; no set was written"
    assert done.returncode == 130
    assert sorted(path.name for path in tmp_path.iterdir()) == ["session", "wrapped.py"]


def test_workers_do_not_outlive_a_killed_build(tmp_path: Path) -> None:
    """Where the first process is killed the others end by themselves; no set stands, and the next run clears up."""
    done = build_while(tmp_path, "os.kill(os.getpid(), signal.SIGKILL)")
    assert done.returncode == -signal.SIGKILL
    assert not (tmp_path / "set").exists()
    sheet = tmp_path / "session" / "session.toml"
    assert run(["build", str(sheet), "-o", str(tmp_path / "set"), "--jobs", "2"]) in {0, 1}
    assert not [path for path in tmp_path.iterdir() if path.name.startswith(".")]


def test_a_killed_worker_ends_the_build_in_a_line(tmp_path: Path) -> None:
    """A worker that the system kills is told plainly: status 2, nothing published."""
    done = build_while(
        tmp_path, "[os.kill(one.pid, signal.SIGKILL) for one in multiprocessing.active_children()]"
    )
    line = done.stderr.splitlines()[-1]
    assert line.startswith("assembler: a worker process was killed by signal 9")
    assert line.endswith("; no set was written")
    assert (done.returncode, "Traceback" in done.stderr) == (2, False)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["session", "wrapped.py"]


def test_a_full_disk_below_workers_is_told_in_one_line(tmp_path: Path) -> None:
    """A disk that takes no more gives one plain line, status 2, no set, no remains."""
    sheet = session(tmp_path)

    def small_files() -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (100_000, 100_000))

    command = [sys.executable, "-m", "assembler", "build", str(sheet), "-o", str(tmp_path / "set")]
    command += ["--no-cache", "--jobs", "2"]
    process = subprocess.run(command, capture_output=True, text=True, check=False, preexec_fn=small_files)
    assert process.returncode == 2
    (line,) = [one for one in process.stderr.splitlines() if not one.startswith("Needs a person")]
    assert "file too large for this disk" in line
    assert "no set was written" in line
    assert sorted(path.name for path in tmp_path.iterdir()) == ["captures", "session.toml"]
