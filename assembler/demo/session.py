"""Writes the demo session to a folder: captures, logs, the sheet and a page that tells what is wrong where.

Captures are written by libsndfile, as a workstation would write them, and not by this package's own writer:
the demo must not agree with the program only because both make the same mistake. The same version of this
package and its libraries writes the same bytes every time.
"""

from __future__ import annotations

import io
from dataclasses import dataclass
from importlib import resources
from pathlib import Path
from typing import TYPE_CHECKING

from assembler.demo.logs import write_log
from assembler.demo.music.voices import SAMPLE_RATE
from assembler.demo.recording import capture_pass, captured_samples, demo_truth, pass_generator
from assembler.demo.scenario import PASSES, DemoPass, find_reel
from assembler.demo.telling import tell_session
from assembler.errors import PublishError

if TYPE_CHECKING:
    from collections.abc import Callable

    from assembler.arrays import Int32s
    from assembler.inputs import AnyPath
    from assembler.publishing.publication import Publication


@dataclass(frozen=True)
class DemoSummary:
    """What was written.

    Args:
        sheet: the session sheet, to be built.
        captures: names of the passes, in the sheet's order.
        files: how many files the folder holds.
        bytes: their size altogether.
    """

    sheet: Path
    captures: tuple[str, ...]
    files: int
    bytes: int


def write_demo(
    folder: AnyPath,
    *,
    progress: Callable[[str, float], None] | None = None,
    publication: Publication | None = None,
) -> DemoSummary:
    """Write the demo session and return what was written.

    The folder appears whole or not at all, as a set does.

    Args:
        folder: must not exist, or be empty; its parent is made where it is missing.
        progress: called with what is being done and the share of it that is done, up to 1.
        publication: what is reported of the session, and of what lies beside it.

    Raises:
        PublishError: the folder holds something already, or it cannot be written.
    """
    # As slow to load as all that makes sets: commands that only ask for names must not wait for it. What writes
    # captures is loaded with it, so that it is not found missing when the folder stands.
    import soundfile  # noqa: F401, PLC0415

    from assembler.publishing.scaffold import Scaffold  # noqa: PLC0415
    from assembler.publishing.staging import write_failure  # noqa: PLC0415

    folder = Path(folder)
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise PublishError(f"{folder}: {error.strerror}; nothing was written") from error
    scaffold = Scaffold(folder, publication, over_empty=True)
    try:
        with scaffold:
            _fill(scaffold.work, progress or _say_nothing)
            summary = _sum_up(scaffold.work, folder)
            scaffold.publication.is_sound = True
            scaffold.land()
    except OSError as error:
        raise write_failure(error, Path(error.filename or folder), scaffold) from error
    return summary


def read_demo_sheet() -> bytes:
    """Return the demo's session sheet, byte for byte as ``write_demo`` writes it."""
    return resources.files("assembler.demo").joinpath("session.toml").read_bytes()


def _fill(folder: Path, progress: Callable[[str, float], None]) -> None:
    truth = demo_truth()
    progress("writing captures", 0.0)
    for done, demo_pass in enumerate(PASSES, start=1):
        _write_pass(folder / "captures" / demo_pass.name, demo_pass, truth.reels[demo_pass.reel])
        progress("writing captures", done / len(PASSES))
    (folder / "session.toml").write_bytes(read_demo_sheet())
    (folder / "README.md").write_text(tell_session(), encoding="utf-8", newline="\n")


def _write_pass(folder: Path, demo_pass: DemoPass, tape: Int32s) -> None:
    folder.mkdir(parents=True)
    capture = capture_pass(demo_pass, tape)
    samples = captured_samples(capture)
    if demo_pass.polyphonic:
        _write_wave(folder / f"{demo_pass.name}.wav", samples)
    else:
        for place, track in enumerate(find_reel(demo_pass.reel).tracks):
            _write_wave(folder / f"{place + 1} {track or 'unused'}.wav", samples[:, place])
    write_log(folder, demo_pass.log, capture, pass_generator(demo_pass))


def _write_wave(path: Path, samples: Int32s) -> None:
    # Slow to load and needed by this one function: commands that only ask for names must not wait for it.
    import soundfile  # noqa: PLC0415

    # Into memory first: the library tells a full disk as an error of its own, or not at all.
    content = io.BytesIO()
    soundfile.write(content, samples.astype("int16"), SAMPLE_RATE, subtype="PCM_16", format="WAV")
    path.write_bytes(content.getbuffer())


def _sum_up(work: Path, folder: Path) -> DemoSummary:
    files = [path for path in work.rglob("*") if path.is_file()]
    return DemoSummary(
        sheet=folder / "session.toml",
        captures=tuple(demo_pass.name for demo_pass in PASSES),
        files=len(files),
        bytes=sum(path.stat().st_size for path in files),
    )


def _say_nothing(_what: str, _share: float) -> None:
    """Stand in for a progress display that nobody asked for."""
