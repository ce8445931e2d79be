"""The commands, and the one place where errors become a message and an exit status.

Exit status: 0 done and sound; 1 done, but something needs a person; 2 unusable input or arguments, nothing
written; 130 interrupted. Once something is published, what comes later changes neither words nor status: the
publication knows.
"""

from __future__ import annotations

import sys
import traceback
from typing import TYPE_CHECKING

import click

from assembler.cli.answer import DONE, INTERRUPTED, NEEDS_A_PERSON, UNUSABLE, Answer
from assembler.cli.many.batch import batch
from assembler.cli.many.collection import collection
from assembler.cli.options.examples import example
from assembler.cli.process import give_up_output, hold_interrupts
from assembler.cli.sessions.retakes import retakes
from assembler.cli.sessions.sets import build, check, demo, verify
from assembler.cli.sessions.sheets import draft, plan
from assembler.cli.terminal.words import say
from assembler.cli.watching.watch import watch
from assembler.epoch import epoch_date
from assembler.errors import AssemblerError
from assembler.publishing.publication import Publication
from assembler.version import __version__

if TYPE_CHECKING:
    from collections.abc import Sequence


CLOSING = (
    "Exit status: 0 done and sound, 1 done but something needs a person, 2 unusable input, nothing written."
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


for _one in (draft, check, retakes, plan, build, verify, watch, batch, collection, demo):
    commands.add_command(_one)


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
