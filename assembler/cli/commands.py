"""The commands, and the one place where errors become a message and an exit status.

Exit status: 0 done and sound; 1 done, but something needs a person; 2 unusable input or arguments, nothing
written; 130 interrupted. Once something is published, what comes later changes neither words nor status: the
publication knows.
"""

from __future__ import annotations

import sys
import traceback
from pathlib import Path
from typing import TYPE_CHECKING

import click

from assembler.cli.answer import DONE, INTERRUPTED, NEEDS_A_PERSON, UNUSABLE, Answer
from assembler.cli.examples import example
from assembler.cli.loudness import quiet_option, verbose_option
from assembler.cli.memory import remembering
from assembler.cli.process import give_up_output, hold_interrupts
from assembler.cli.terminal import say
from assembler.cli.values import GivenPath, Seconds
from assembler.epoch import epoch_date
from assembler.errors import AssemblerError
from assembler.publishing.publication import Publication
from assembler.version import __version__

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assembler.known import Known

MOST_JOBS = 256

CLOSING = (
    "Exit status: 0 done and sound, 1 done but something needs a person, 2 unusable input, nothing written."
)


_PATH = GivenPath(path_type=Path)
_json = click.option(
    "--json", "as_json", is_flag=True, help="Print one JSON object on standard output, no words."
)
_outside = click.option("--allow-outside", is_flag=True, help="Let the sheet's paths lead out of its folder.")
_jobs = click.option(
    "--jobs",
    type=click.IntRange(1, MOST_JOBS),
    metavar="N",
    help="Share the work among N processes.  [default: the processors, where there is enough to do]",
)


@click.group(
    epilog=f"{CLOSING}\n\n{example('demo')}", context_settings={"help_option_names": ["-h", "--help"]}
)
@click.version_option(__version__, prog_name="assembler")
def commands() -> None:
    """Turn captures of digital session tapes into one verified set.

    Start with `draft` on a folder of captures, correct the sheet by hand, look at it with `check`, then `build`
    the set and `verify` it.
    """


@commands.command(short_help="Write a first sheet for a folder of captures.", epilog=example("draft"))
@click.argument("folder", type=_PATH)
@click.option("-o", "--output", type=_PATH, metavar="SHEET", help="Write the sheet here; must not exist.")
@click.option("--into", type=_PATH, metavar="SHEET", help="Add captures that this sheet does not name yet.")
@quiet_option
@_json
@remembering
@click.pass_obj
def draft(
    publication: Publication,
    folder: Path,
    output: Path | None,
    into: Path | None,
    *,
    as_json: bool,
    known: Known,
) -> Answer:
    """Look through FOLDER for captures and write a first session sheet to correct by hand.

    Without -o the sheet is printed. Its paths are relative to FOLDER: keep the sheet there. With --into a sheet that
    stands gets new passes after those it has; nothing else in it is changed, and the old one is kept beside it.
    """
    from assembler.cli.drafting import run_draft, run_grow

    if into is not None and output is not None:
        raise click.UsageError("--into and -o are two ways; allowed: one of them")
    if into is not None:
        return run_grow(folder, into, as_json=as_json, known=known)
    return run_draft(publication, folder, output, as_json=as_json, known=known)


@commands.command(short_help="Report what a session holds; make no set.", epilog=example("check"))
@click.argument("sheet", type=_PATH)
@click.option(
    "--tables", is_flag=True, help="Print ready-made [[accepted]] tables for what asks for a person."
)
@quiet_option
@verbose_option
@_json
@_jobs
@_outside
@remembering
def check(
    sheet: Path, *, tables: bool, as_json: bool, jobs: int | None, allow_outside: bool, known: Known
) -> Answer:
    """Import and align everything that SHEET names and report what is found.

    Writes nothing but what it remembers in your cache folder (not even that with --no-cache).
    """
    from assembler.cli.sessions import run_check

    if tables and as_json:
        raise click.UsageError("--tables prints words, --json none; allowed: one of them")
    return run_check(
        sheet, tables=tables, as_json=as_json, allow_outside=allow_outside, known=known, jobs=jobs
    )


@commands.command(short_help="Report what must be played again.", epilog=example("retakes"))
@click.argument("session", metavar="SHEET|FOLDER", type=_PATH)
@click.option(
    "--pre-roll",
    type=Seconds(0, 600),
    default=5.0,
    show_default=True,
    metavar="SECONDS",
    help="How long before a place to roll.",
)
@click.option("--once", is_flag=True, help="Ask for what only one pass has, too.")
@click.option(
    "--page", type=_PATH, metavar="FILE", help="Write it as a page to print here, too; must not exist."
)
@quiet_option
@_json
@_outside
@remembering
@click.pass_obj
def retakes(
    publication: Publication,
    session: Path,
    page: Path | None,
    *,
    pre_roll: float,
    once: bool,
    as_json: bool,
    allow_outside: bool,
    known: Known,
) -> Answer:
    """List for the machine what of SHEET must be played again, from where, and whether each tape may come off.

    For a FOLDER of captures a sheet is drafted in memory. Exit status 0: nothing is to be played.
    """
    from assembler.cli.retaking import run_retakes

    return run_retakes(
        publication,
        session,
        page,
        pre_roll=pre_roll,
        once=once,
        as_json=as_json,
        allow_outside=allow_outside,
        known=known,
    )


@commands.command(short_help="Write down which pass each stretch is taken from.", epilog=example("plan"))
@click.argument("sheet", type=_PATH)
@click.option("-o", "--output", type=_PATH, metavar="PLAN", help="Write the plan here; must not exist.")
@quiet_option
@_json
@_outside
@remembering
@click.pass_obj
def plan(
    publication: Publication,
    sheet: Path,
    output: Path | None,
    *,
    as_json: bool,
    allow_outside: bool,
    known: Known,
) -> Answer:
    """Align what SHEET names and write the plan of every track, to change by hand and build with.

    Without -o the plan is printed.
    """
    from assembler.cli.drafting import run_plan

    return run_plan(publication, sheet, output, as_json=as_json, allow_outside=allow_outside, known=known)


@commands.command(short_help="Build a set.", epilog=example("build"))
@click.argument("sheet", type=_PATH)
@click.option(
    "-o", "--output", type=_PATH, metavar="SET", required=True, help="The set's folder; must not exist."
)
@click.option("--plan", "plan_file", type=_PATH, metavar="PLAN", help="Take the stretches from this plan.")
@quiet_option
@verbose_option
@_json
@_jobs
@_outside
@remembering
@click.pass_obj
def build(
    publication: Publication,
    sheet: Path,
    output: Path,
    plan_file: Path | None,
    *,
    as_json: bool,
    jobs: int | None,
    allow_outside: bool,
    known: Known,
) -> Answer:
    """Build the set that SHEET describes: aligned, repaired, equal-length tracks with their record."""
    from assembler.cli.sessions import run_build

    return run_build(
        publication,
        sheet,
        output,
        plan_file,
        as_json=as_json,
        allow_outside=allow_outside,
        known=known,
        jobs=jobs,
    )


@commands.command(short_help="Check a set.", epilog=example("verify"))
@click.argument("folder", metavar="SET", type=_PATH)
@click.option("--against", type=_PATH, metavar="SHEET", help="Compute every sample again from the captures.")
@quiet_option
@_json
@_outside
def verify(folder: Path, against: Path | None, *, as_json: bool, allow_outside: bool) -> Answer:
    """Check that SET is whole and unchanged and says what its record says."""
    from assembler.cli.sessions import run_verify

    return run_verify(folder, against, as_json=as_json, allow_outside=allow_outside)


@commands.command(short_help="Follow captures while they are recorded.", epilog=example("watch"))
@click.argument("source", metavar="FOLDER|SHEET", type=_PATH)
@quiet_option
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object a line, no words.")
@_outside
@remembering
def watch(source: Path, *, as_json: bool, allow_outside: bool, known: Known) -> Answer:
    """Follow the captures in FOLDER, or in the folder of SHEET, while they are being recorded.

    What is wrong with a pass is reported within seconds; when it ends, what must be played again. Ctrl-C ends it.
    Writes nothing but what it remembers in your cache folder.
    """
    from assembler.cli.watching import run_watch

    return run_watch(source, as_json=as_json, allow_outside=allow_outside, known=known)


@commands.command(short_help="Build a set of every session in folders.", epilog=example("batch"))
@click.argument("folders", metavar="FOLDER...", type=_PATH, nargs=-1)
@click.option(
    "-o", "--output", "root", type=_PATH, metavar="ROOT", required=True, help="Folder of the collection."
)
@click.option(
    "--jobs",
    type=click.IntRange(1, 4096),
    metavar="N",
    help="Sessions at once; as many as there are cores, or threads of the cluster, unless said.",
)
@click.option(
    "--retries",
    type=click.IntRange(0, 100),
    default=2,
    show_default=True,
    metavar="N",
    help="How often a session is tried again after its worker died.",
)
@click.option("--scheduler", metavar="ADDRESS", help="Have a Dask cluster do it, tcp://host:port.")
@click.option("--verify", "is_verify", is_flag=True, help="Verify the sets of ROOT instead, oldest first.")
@click.option("--within", type=Seconds(0, 10_000), metavar="HOURS", help="With --verify: so long at most.")
@click.option("--no-cache", is_flag=True, help="Find everything out anew, and keep nothing of it.")
@_json
@_outside
def batch(
    folders: tuple[Path, ...],
    root: Path,
    *,
    jobs: int | None,
    retries: int,
    scheduler: str | None,
    is_verify: bool,
    within: float | None,
    no_cache: bool,
    as_json: bool,
    allow_outside: bool,
) -> Answer:
    """Build a set in ROOT of every session whose sheet lies in a FOLDER, or below it.

    A set that stands is not built again, nor is it ever replaced: a session that has changed gets another one. ROOT
    has a ledger, which `collection` shows.
    """
    from assembler.cli.batching import run_batch, run_batch_verify

    if is_verify:
        if folders:
            raise click.UsageError("--verify goes through the sets of ROOT; allowed: no FOLDER")
        return run_batch_verify(
            root, scheduler=scheduler, jobs=jobs, retries=retries, within_hours=within, as_json=as_json
        )
    if not folders:
        raise click.UsageError("no FOLDER is given; allowed: one or more that hold sheets")
    if within is not None:
        raise click.UsageError("--within limits --verify; allowed: both or neither")
    return run_batch(
        folders,
        root,
        scheduler=scheduler,
        jobs=jobs,
        retries=retries,
        as_json=as_json,
        allow_outside=allow_outside,
        no_cache=no_cache,
    )


@commands.command(short_help="Show what has become of many sessions.", epilog=example("collection"))
@click.argument("root", type=_PATH)
@click.option("--csv", "csv_file", type=_PATH, metavar="FILE", help="Write a row a session; must not exist.")
@click.option("--page", type=_PATH, metavar="FILE", help="Write it as a page, too; must not exist.")
@_json
@click.pass_obj
def collection(
    publication: Publication, root: Path, csv_file: Path | None, page: Path | None, *, as_json: bool
) -> Answer:
    """Show what the ledger of ROOT tells: what is saved, what needs a person or another play, what failures share.

    Exit status 1: something needs a person, is damaged, has failed, or is to be played again.
    """
    from assembler.cli.collecting import run_collection

    if csv_file is not None and csv_file == page:
        raise click.UsageError("--csv and --page name one file; allowed: two")
    return run_collection(publication, root, csv_file, page, as_json=as_json)


@commands.command(short_help="Write an invented session to try.", epilog=example("demo"))
@click.argument("folder", type=_PATH)
@quiet_option
@_json
@click.pass_obj
def demo(publication: Publication, folder: Path, *, as_json: bool) -> Answer:
    """Write a small invented session into FOLDER, flawed on purpose and ready to build."""
    from assembler.cli.sessions import run_demo

    return run_demo(publication, folder, as_json=as_json)


def run(arguments: Sequence[str]) -> int:
    """Run one command and return its exit status; every error becomes one or two lines on standard error."""
    publication = Publication(_tell)
    try:
        epoch_date()  # libraries read it too, and fall over one that is no date
        answer = commands.main(list(arguments), prog_name="assembler", standalone_mode=False, obj=publication)
        return _printed(answer) if isinstance(answer, Answer) else DONE
    except SystemExit:
        return DONE  # whoever read the help has seen enough of it
    except BaseException as error:  # noqa: BLE001 - whatever it is, it ends here in words
        hold_interrupts()
        if sys.flags.dev_mode:
            traceback.print_exc()
        return _ended(error, publication)


class _OutputError(AssemblerError):
    """The words could not be printed; the work was over by then."""


def _printed(answer: Answer) -> int:
    """Print an answer and return its status."""
    try:
        answer.tell()
        if sys.stdout is not None:
            sys.stdout.flush()
    except (BrokenPipeError, SystemExit):
        give_up_output()  # whoever read it has heard enough; the library of tables says so by SystemExit
    except OSError as error:
        give_up_output()
        raise _OutputError(f"standard output cannot be written: {error.strerror or error}") from error
    return answer.status


def _ended(error: BaseException, publication: Publication) -> int:
    """Tell of what ended a command, and of what stands all the same; return the exit status."""
    is_late = isinstance(error, (click.exceptions.Abort, KeyboardInterrupt, _OutputError))
    standing = publication.standing
    if standing is not None:
        _tell(f"{_words(error)}; {standing} stands, whole")
        return DONE if is_late and publication.is_sound else NEEDS_A_PERSON
    if isinstance(error, (AssemblerError, click.ClickException)):
        _tell(_words(error), *_hints(error))  # they say themselves what was not done
    else:
        _tell(f"{_words(error)}; no set was written")
    return INTERRUPTED if is_late and not isinstance(error, _OutputError) else UNUSABLE


def _words(error: BaseException) -> str:
    """Return in a line what happened."""
    words = f"a fault of the program, please report it: {type(error).__name__}: {_line(error)}"
    match error:
        case click.exceptions.Abort() | KeyboardInterrupt():
            words = "interrupted"
        case click.ClickException():
            words = error.format_message()
        case AssemblerError():
            words = str(error)
        case MemoryError():
            words = "out of memory"
        case OSError():
            words = f"{error.filename}: " * bool(error.filename) + (error.strerror or _line(error))
        case ImportError():
            words = f"a part of the program cannot be loaded: {_line(error)}"
        case RuntimeError() if "start new thread" in str(error):
            words = "the system allows this process no more threads"
    return words


def _hints(error: BaseException) -> list[str]:
    """Return in a line what a person may try, if there is something to try."""
    context = getattr(error, "ctx", None)
    return [f"Try: {context.command_path} --help"] if context is not None else []


def _line(error: BaseException) -> str:
    """Return an error's own words in one line, not too long."""
    return " ".join(str(error).split())[:300]


def _tell(message: str, *more: str) -> None:
    say(f"assembler: {message}", *more, err=True)
