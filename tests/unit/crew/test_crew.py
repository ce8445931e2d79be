"""A crew does what an executor does, by processes; what goes wrong in them is told as if it had gone wrong here."""

from __future__ import annotations

import os
import pickle
import signal
import time
from typing import TYPE_CHECKING

import pytest

from assembler.crew import Crew
from assembler.errors import (
    AssemblerError,
    CaptureError,
    PublishError,
    SheetError,
    TimecodeLogError,
    WaveError,
    WorkerError,
)
from assembler.inputs import InputFile

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path


@pytest.fixture(scope="module")
def crew() -> Iterator[Crew]:
    """A crew of two."""
    with Crew(2) as hired:
        yield hired


def halves(task: int, advance: Callable[[float], None]) -> tuple[int, int]:
    """Tell of the half, and return the task with the process that did it."""
    advance(0.5)
    return task, os.getpid()


def refuse(problem: str) -> None:
    """Raise an error that is meant for the user."""
    raise SheetError(problem, file="a sheet", line=3, key="pass[2].audio")


def kill_itself() -> None:
    """End this process as the system does when memory runs out."""
    os.kill(os.getpid(), signal.SIGKILL)


def first_bytes(file: InputFile) -> tuple[int, bytes]:
    """Return the process, and what a file begins with."""
    return os.getpid(), file.read(0, 4)


def same(file: InputFile) -> InputFile:
    """Return what came in."""
    return file


def test_tasks_are_done_by_processes_in_order(crew: Crew) -> None:
    """Results come in the order of the tasks, from other processes, and progress ends at the whole."""
    shares: list[float] = []
    found = crew.begin(halves, range(20))(shares.append)
    assert [task for task, _ in found] == list(range(20))
    assert os.getpid() not in {process for _, process in found}
    assert shares[-1] == 1.0
    assert shares == sorted(shares)
    assert list(crew.map(pow, [2, 3], [5, 2])) == [32, 9]


def test_a_crew_of_one_works_here() -> None:
    """Without workers the same calls give the same, with progress as it goes."""
    shares: list[float] = []
    with Crew(1) as alone:
        found = alone.begin(halves, range(4))(shares.append)
        assert found == [(task, os.getpid()) for task in range(4)]
        assert shares == [0.125, 0.25, 0.375, 0.5, 0.625, 0.75, 0.875, 1.0]
        assert list(alone.map(pow, [2, 3], [5, 2])) == [32, 9]
        with pytest.raises(SheetError, match="a sheet: line 3"):
            alone.submit(refuse, "wrong").result()


def test_an_error_comes_back_as_it_was(crew: Crew) -> None:
    """An error of a worker has its class, words and places, and says where in the worker it was raised."""
    with pytest.raises(SheetError) as told:
        crew.submit(refuse, "wrong").result()
    assert str(told.value) == "a sheet: line 3: pass[2].audio: wrong"
    assert (told.value.line, told.value.problem) == (3, "wrong")
    assert any("in refuse" in note for note in told.value.__notes__)
    assert crew.submit(pow, 2, 3).result() == 8  # the worker lives


@pytest.mark.parametrize(
    "error",
    [
        SheetError("x", file="f", line=1, key="k"),
        CaptureError("x", path="p", place="byte 3"),
        WaveError("x", path="p"),
        TimecodeLogError("x"),
        PublishError("x"),
        WorkerError("x"),
    ],
)
def test_every_error_can_be_sent(error: AssemblerError) -> None:
    """What an error says outlives the way between processes."""
    again = pickle.loads(pickle.dumps(error))  # noqa: S301 - just made
    assert (type(again), str(again), again.__dict__) == (type(error), str(error), error.__dict__)


def test_a_killed_worker_is_told() -> None:
    """A worker that the system ends is an error in plain words, not a wait without end."""
    with pytest.raises(WorkerError, match=r"was killed by signal 9.*no set was written"), Crew(2) as hired:
        hired.submit(kill_itself).result()


def test_an_error_ends_workers_in_their_tasks() -> None:
    """Whoever leaves a crew by an error does not wait for what it was doing."""
    with pytest.raises(KeyboardInterrupt), Crew(2) as hired:  # noqa: PT012 - the block is what is left
        hired.submit(pow, 2, 2).result()
        sleeping = hired.submit(time.sleep, 30)
        while not sleeping.running():
            time.sleep(0.01)
        started = time.monotonic()
        raise KeyboardInterrupt
    assert time.monotonic() - started < 20


def test_a_capture_is_opened_again_by_its_name(crew: Crew, tmp_path: Path) -> None:
    """A worker reads the very file that is open here; on its way back it is the one that is open here."""
    path = tmp_path / "capture.wav"
    path.write_bytes(b"RIFF and more")
    with InputFile(path) as file:
        process, data = crew.submit(first_bytes, file).result()
        assert (process != os.getpid(), data) == (True, b"RIFF")
        assert crew.submit(same, file).result() is file


def test_another_file_of_that_name_is_refused(crew: Crew, tmp_path: Path) -> None:
    """What was put in the place of an open capture is not read for it, whatever its size and times are."""
    path, other = tmp_path / "capture.wav", tmp_path / "other"
    path.write_bytes(b"RIFF")
    other.write_bytes(b"FORM")
    with InputFile(path) as file:
        os.utime(other, ns=(file.state.mtime_ns, file.state.mtime_ns))
        other.replace(path)
        with pytest.raises(CaptureError, match=r"capture\.wav: was changed or replaced"):
            crew.submit(first_bytes, file).result()
