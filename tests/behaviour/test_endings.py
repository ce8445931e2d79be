"""How commands end: whatever happens to their output, and whenever they are stopped, words and status are true."""

from __future__ import annotations

import json
import os
import resource
import signal
import subprocess
import sys
from typing import TYPE_CHECKING

import pytest

from assembler.cli.commands import run
from assembler.cli.sessions import printing
from assembler.publishing.disk import Disk
from assembler.publishing.scaffold import PREFIX
from tests.support.sessions import Layout, make_tape

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping
    from pathlib import Path

NOTHING = "assembler: interrupted; no set was written\n"


@pytest.fixture(scope="module")
def sheet(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A session of one second in two equal passes."""
    layout = Layout(tmp_path_factory.mktemp("session"))
    layout.add_reel("A", ["One", "Two"])
    for name in ("A1", "A2"):
        layout.add_pass(name, "A", make_tape(1, 2), "01:00:00:00")
    return layout.write()


@pytest.fixture(scope="module")
def finished(sheet: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A set of that session."""
    target = tmp_path_factory.mktemp("sets") / "set"
    assert run(["build", str(sheet), "-o", str(target)]) == 0
    return target


def assemble(
    *arguments: object, redirection: str = "", environment: Mapping[str, str] | None = None
) -> tuple[int, str]:
    """Run a command under a shell; return its status and what it wrote to standard error."""
    script = f'"$0" -m assembler "$@" {redirection}'
    command = ["sh", "-c", script, sys.executable, *map(str, arguments)]
    done = subprocess.run(
        command,
        stdout=subprocess.PIPE if not redirection else subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        text=True,
        check=False,
        env={**os.environ, **(environment or {})},
        timeout=120,
    )
    return done.returncode, done.stderr


def closed_pipe(*arguments: object) -> tuple[int, str]:
    """Run a command whose output nobody reads any more."""
    reading, writing = os.pipe()
    os.close(reading)
    command = [sys.executable, "-m", "assembler", *map(str, arguments)]
    done = subprocess.run(
        command, stdout=writing, stderr=subprocess.PIPE, text=True, check=False, timeout=120
    )
    os.close(writing)
    return done.returncode, done.stderr


def test_a_set_stands_whatever_becomes_of_the_words(sheet: Path, finished: Path, tmp_path: Path) -> None:
    """A sound set is built with status 0 into a full, closed or broken output; what was lost is told."""
    status, told = assemble("build", sheet, "-o", tmp_path / "full", redirection="> /dev/full")
    lost = "standard output cannot be written: No space left on device"
    assert (status, told) == (0, f"assembler: {lost}; {tmp_path}/full stands, whole\n")
    assert assemble("build", sheet, "-o", tmp_path / "closed", redirection=">&- 2>&- <&-") == (0, "")
    assert assemble("build", sheet, "-o", tmp_path / "deaf", redirection="2> /dev/full") == (0, "")
    assert closed_pipe("build", sheet, "-o", tmp_path / "broken") == (0, "")
    for name in ("full", "closed", "deaf", "broken"):
        assert run(["verify", str(tmp_path / name)]) == 0
        page = "data/report.html"
        assert (tmp_path / name / page).read_bytes() == (finished / page).read_bytes()


def test_a_verdict_is_the_same_in_print_and_in_json(
    finished: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """What is printed as in order is so in JSON, by that word, and by the one that programs had first."""
    assert run(["verify", str(finished)]) == 0
    assert capsys.readouterr().out.startswith("In order: ")
    assert run(["verify", str(finished), "--json"]) == 0
    said = json.loads(capsys.readouterr().out)
    assert (said["in_order"], said["sound"]) == (True, True)


def test_a_verdict_outlasts_its_output(sheet: Path, finished: Path, tmp_path: Path) -> None:
    """Whoever stops reading changes no exit status; output that is lost on a full disk is no success."""
    faulty = tmp_path / "set"
    subprocess.run(["cp", "-r", finished, faulty], check=True)
    (faulty / "data/extra").touch()
    assert closed_pipe("verify", finished) == (0, "")
    assert closed_pipe("verify", faulty) == (1, "")
    assert closed_pipe("verify", "--json", faulty) == (1, "")
    assert closed_pipe("check", sheet) == (0, "")
    assert closed_pipe("--help") == (0, "")
    for arguments in (("verify", finished), ("verify", faulty), ("check", sheet), ("plan", sheet)):
        status, told = assemble(*arguments, redirection="> /dev/full")
        assert (status, told) == (
            2,
            "assembler: standard output cannot be written: No space left on device\n",
        )


def raise_after(method: Callable[..., object], error: BaseException) -> Callable[..., object]:
    """Return a method that does what it did, then fails."""

    def done(*arguments: object) -> object:
        method(*arguments)
        raise error

    return done


@pytest.mark.parametrize(
    ("error", "status", "words"),
    [
        (KeyboardInterrupt(), 0, "interrupted"),
        (MemoryError(), 1, "out of memory"),
        (ValueError("odd"), 1, "a fault of the program, please report it: ValueError: odd"),
    ],
)
@pytest.mark.parametrize("place", ["rename", "result", "words"])
def test_what_stands_is_told(
    sheet: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    error: BaseException,
    status: int,
    words: str,
    place: str,
) -> None:
    """From the very step that publishes on, an interrupt or error is told as one that found the set in place."""

    def fail(*_: object) -> None:
        raise error

    if place == "rename":
        monkeypatch.setattr(Disk, "rename", raise_after(Disk.rename, error))
    elif place == "result":
        monkeypatch.setattr("assembler.consolidator.building.SessionResult", fail)
    else:
        monkeypatch.setattr(printing, "print_set", fail)
    assert run(["build", str(sheet), "-o", str(tmp_path / "set")]) == status
    assert capsys.readouterr().err.strip() == f"assembler: {words}; {tmp_path}/set stands, whole"
    monkeypatch.undo()
    assert [path.name for path in tmp_path.iterdir()] == ["set"]
    assert run(["verify", str(tmp_path / "set")]) == 0


def test_what_was_taken_back_does_not_stand(
    sheet: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """An interrupt before the rename is made to last takes it back, and is told so."""
    kept = Disk.sync

    def sync(disk: Disk, path: Path) -> None:
        if path == tmp_path:
            raise KeyboardInterrupt
        kept(disk, path)

    monkeypatch.setattr(Disk, "sync", sync)
    assert run(["build", str(sheet), "-o", str(tmp_path / "set")]) == 130
    assert capsys.readouterr().err.endswith(NOTHING)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP])
@pytest.mark.parametrize("is_ignored", [False, True])
def test_signals_that_end_a_process(
    sheet: Path, tmp_path: Path, number: signal.Signals, *, is_ignored: bool
) -> None:
    """Interrupt, end and hang-up all clear up and end with 130; those the caller has ignored change nothing."""
    script = (
        "import os, sys\n"
        "from assembler.consolidator.tracks.rendering import TrackRenderer\n"
        "kept = TrackRenderer.block\n"
        "def stop(self, start, end):\n"
        f"    os.kill(os.getpid(), {int(number)})\n"
        "    return kept(self, start, end)\n"
        "TrackRenderer.block = stop\n"
        "sys.argv = ['assembler', 'build', *sys.argv[1:]]\n"
        "from assembler.cli import main\n"
        "main()\n"
    )

    def ignore() -> None:
        signal.signal(number, signal.SIG_IGN if is_ignored else signal.SIG_DFL)

    command = [sys.executable, "-c", script, str(sheet), "-o", str(tmp_path / "set")]
    done = subprocess.run(command, capture_output=True, text=True, check=False, preexec_fn=ignore)
    if is_ignored:
        assert (done.returncode, done.stderr) == (0, "")
        assert run(["verify", str(tmp_path / "set")]) == 0
    else:
        assert (done.returncode, done.stderr.lstrip("\n")) == (130, NOTHING)
        assert list(tmp_path.iterdir()) == []


def test_an_interrupt_while_the_commands_are_loaded() -> None:
    """So early an interrupt is told in one line as well."""
    script = (
        "import sys\n"
        "class Interrupt:\n"
        "    def find_spec(self, name, *_):\n"
        "        if name == 'click':\n"
        "            raise KeyboardInterrupt\n"
        "sys.meta_path.insert(0, Interrupt())\n"
        "from assembler.cli import main\n"
        "main()\n"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (130, NOTHING)


@pytest.mark.parametrize(
    "name", ["assembler.cli.process", "click", "numpy", "rich.live", "assembler.watch.watching"]
)
def test_a_signal_while_any_module_is_loaded(tmp_path: Path, name: str) -> None:
    """Ctrl-C in the first second of a watch: loading hides no interrupt, and nothing but words is shown."""
    script = (
        "import os, signal, sys\n"
        "class Interrupt:\n"
        "    def find_spec(self, name, *_):\n"
        "        if name == os.environ['STRUCK']:\n"
        "            os.kill(os.getpid(), signal.SIGINT)\n"
        "sys.meta_path.insert(0, Interrupt())\n"
        "from assembler.cli import main\n"
        "main()\n"
    )
    command = [sys.executable, "-c", script, "watch", str(tmp_path)]
    named = {**os.environ, "STRUCK": name}
    done = subprocess.run(command, capture_output=True, text=True, check=False, timeout=120, env=named)
    assert done.returncode == 130
    assert "Traceback" not in done.stderr


def test_a_signal_while_a_check_of_sheets_is_made() -> None:
    """The library that makes it, at first use, loses an exception that comes of the values that it is made with."""
    script = (
        "import os, signal, time\n"
        "from enum import Enum\n"
        "from typing import Literal\n"
        "from assembler.cli.process import prepare_process\n"
        "prepare_process()\n"
        "from pydantic import BaseModel\n"
        "struck = True\n"
        "class Mode(str, Enum):\n"
        "    AUTO = 'auto'\n"
        "    def __hash__(self):\n"
        "        global struck\n"
        "        if not struck:\n"
        "            struck = True\n"
        "            os.kill(os.getpid(), signal.SIGINT)\n"
        "        return 1\n"
        "class Repair(BaseModel, defer_build=True):\n"
        "    mode: Literal[Mode.AUTO] = Mode.AUTO\n"
        "struck = False\n"
        "try:\n"
        "    Repair()\n"
        "    time.sleep(10)\n"
        "except KeyboardInterrupt:\n"
        "    print('interrupted', struck)\n"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stdout, done.stderr) == (0, "interrupted True\n", "")


def test_a_missing_part_is_told_before_anything_is_written(sheet: Path, tmp_path: Path) -> None:
    """Once the scaffold stands no library is loaded, to the very end: one that is missing is found before.

    Parts of numpy and scipy, which are there as a whole or not at all, are loaded by the rules that need them.
    """
    script = (
        "import sys\n"
        "from assembler.publishing import scaffold\n"
        "class Missing:\n"
        "    def find_spec(self, name, *_):\n"
        "        if name.partition('.')[0] not in {*sys.stdlib_module_names, 'numpy', 'scipy'}:\n"
        "            raise ImportError(f'{name} is missing')\n"
        "kept = scaffold.Scaffold.__enter__\n"
        "def enter(self):\n"
        "    sys.meta_path.insert(0, Missing())\n"
        "    return kept(self)\n"
        "scaffold.Scaffold.__enter__ = enter\n"
        "from assembler.cli.commands import run\n"
        "sys.exit(run(sys.argv[1:]))\n"
    )
    for arguments in (["build", str(sheet), "-o", str(tmp_path / "set")], ["demo", str(tmp_path / "demo")]):
        command = [sys.executable, "-c", script, *arguments]
        done = subprocess.run(command, capture_output=True, text=True, check=False)
        assert (done.returncode, done.stderr) == (0, "")


@pytest.mark.parametrize(
    "name",
    ["click", "jinja2", "numpy", "opentimelineio", "pydantic", "rich", "scipy", "soundfile", "tomlkit"],
)
def test_a_library_that_is_not_there_is_told_before_anything_is_written(
    name: str, sheet: Path, tmp_path: Path
) -> None:
    """Whichever it is, and wherever it is first used: one line, status 2, and nothing beside what was there."""
    script = (
        "import sys\n"
        "class Missing:\n"
        "    def find_spec(self, name, *_):\n"
        f"        if name.partition('.')[0] == {name!r}:\n"
        "            raise ModuleNotFoundError(f'No module named {name!r}')\n"
        "sys.meta_path.insert(0, Missing())\n"
        "from assembler.cli import main\n"
        "main()\n"
    )
    target = tmp_path / "kept" / "set"
    target.parent.mkdir()
    command = [sys.executable, "-c", script, "build", str(sheet), "-o", str(target)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 2
    (line,) = done.stderr.splitlines()
    assert "cannot be loaded" in line
    assert name in line
    assert list(target.parent.iterdir()) == []


@pytest.mark.parametrize("epoch", ["²", "1" * 20, "253402300800", "-1", "", "1e3", " 1"])
def test_a_date_of_the_environment_that_is_none(
    finished: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], epoch: str
) -> None:
    """What is no number of seconds, or leads past the last year that dates have, is refused in one line."""
    monkeypatch.setenv("SOURCE_DATE_EPOCH", epoch)
    assert run(["verify", str(finished)]) == 2
    told = capsys.readouterr().err
    assert told.startswith(f"assembler: SOURCE_DATE_EPOCH is {epoch!r}; allowed: whole seconds since 1970")
    assert len(told.splitlines()) == 1


def test_a_plan_on_a_full_disk_leaves_nothing(sheet: Path, tmp_path: Path) -> None:
    """Under a limit on file size, as on a full disk, neither plan nor draft leaves a file, whole or in part."""

    def small_files() -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (400, 400))

    for arguments in (("plan", sheet), ("draft", sheet.parent)):
        command = [sys.executable, "-m", "assembler", *map(str, arguments), "-o", str(tmp_path / "new.toml")]
        done = subprocess.run(command, capture_output=True, text=True, check=False, preexec_fn=small_files)
        assert done.returncode == 2
        assert done.stderr.startswith("assembler: file too large for this disk")
        assert done.stderr.endswith(f"({tmp_path}/new.toml); no set was written\n")
        assert len(done.stderr.splitlines()) == 1
        assert list(tmp_path.iterdir()) == []


def test_longest_names_of_every_target(sheet: Path, tmp_path: Path) -> None:
    """Set, plan, sheet and demo may have names of 255 bytes, the most that Linux's file systems take."""
    longest = "n" * 255
    for folder, arguments in (
        ("a", ("build", sheet)),
        ("b", ("plan", sheet)),
        ("c", ("draft", sheet.parent)),
        ("d", ("demo",)),
    ):
        (tmp_path / folder).mkdir()
        target = tmp_path / folder / longest
        output = [target] if arguments == ("demo",) else ["-o", target]
        assert run([str(one) for one in (*arguments, *output)]) == 0
        assert list(target.parent.iterdir()) == [target]


def test_a_killed_demo_is_cleared_by_the_next(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """What a killed demo left is removed by the next to the same target, and told; what others left is only told."""
    script = (
        "import os, sys\n"
        "from assembler.demo import session\n"
        "session._sum_up = lambda *_: os.kill(os.getpid(), 9)\n"
        "from assembler.cli.commands import run\n"
        "run(['demo', sys.argv[1]])\n"
    )
    for name in ("mine", "other"):
        killed = subprocess.run([sys.executable, "-c", script, str(tmp_path / name)], check=False)
        assert killed.returncode == -9
    (tmp_path / ".mine.partial-my captures").mkdir()
    assert len(list(tmp_path.glob(PREFIX + "*"))) == 2
    assert run(["demo", str(tmp_path / "mine")]) == 0
    [left] = tmp_path.glob(PREFIX + "*")
    told = capsys.readouterr().err
    assert f"assembler: {left} was left by a killed run for other; it is not touched\n" in told
    assert "was left by a killed run for mine and is now removed\n" in told
    assert (tmp_path / ".mine.partial-my captures").is_dir()


def test_a_draft_of_names_that_are_no_text(
    sheet: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Folder names that are not UTF-8 cannot stand in a sheet: that is told, and no broken sheet is printed."""
    subprocess.run(["cp", "-r", sheet.parent / "captures", tmp_path / "captures"], check=True)
    (tmp_path / "captures/A1").rename(os.fsdecode(os.fsencode(tmp_path / "captures") + b"/\xff"))
    for output in ([], ["-o", str(tmp_path / "new.toml")]):
        assert run(["draft", str(tmp_path), *output]) == 2
        out = capsys.readouterr()
        assert "the name is not UTF-8" in out.err
        assert out.out == ""
    assert not (tmp_path / "new.toml").exists()


def test_too_low_a_limit_on_memory_is_told_before_anything_is_loaded() -> None:
    """Under some limits a numeric library never ends to load, and no signal but the last reaches it."""
    command = f"ulimit -v 150000; exec {sys.executable} -m assembler check nowhere.toml"
    done = subprocess.run(["sh", "-c", command], capture_output=True, text=True, timeout=60, check=False)
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr.count("\n") == 1
    assert "limit of 146 MiB on memory is too low" in done.stderr
