"""The commands, and the one place where errors become a message and an exit status.

Exit status: 0 done and sound; 1 done, but something needs a person; 2 unusable input or arguments, nothing
written; 130 interrupted.
"""

from __future__ import annotations

import io
import os
import resource
import signal
import sys
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from assembler import __version__
from assembler.errors import AssemblerError
from assembler.inputs import escaped, is_utf8

if TYPE_CHECKING:
    from collections.abc import Sequence

DONE, NEEDS_A_PERSON, UNUSABLE, INTERRUPTED = 0, 1, 2, 130

CLOSING = (
    "Exit status: 0 done and sound, 1 done but something needs a person, 2 unusable input, nothing written."
)


class _Path(click.Path):
    """A path that can be written down: what is printed names it, and libraries take no other."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:  # noqa: ANN401 - click's own
        path = Path(os.fsdecode(super().convert(value, param, ctx)))
        if not is_utf8(path):
            raise AssemblerError(
                f"{escaped(path)}: the name is not UTF-8; allowed: names in UTF-8 (rename it, or start in its folder)"
            )
        return path


_PATH = _Path(path_type=Path)
_json = click.option(
    "--json", "as_json", is_flag=True, help="Print one JSON object on standard output, no words."
)
_outside = click.option("--allow-outside", is_flag=True, help="Let the sheet's paths lead out of its folder.")


@click.group(epilog=CLOSING, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="assembler")
def commands() -> None:
    """Turn captures of digital session tapes into one verified set.

    Start with `draft` on a folder of captures, correct the sheet by hand, look at it with `check`, then `build`
    the set and `verify` it.
    """


@commands.command(short_help="Write a first sheet for a folder of captures.")
@click.argument("folder", type=_PATH)
@click.option("-o", "--output", type=_PATH, metavar="SHEET", help="Write the sheet here; must not exist.")
@_json
def draft(folder: Path, output: Path | None, *, as_json: bool) -> int:
    """Look through FOLDER for captures and write a first session sheet to correct by hand.

    Without -o the sheet is printed. Its paths are relative to FOLDER: keep the sheet there.
    """
    from assembler.cli.drafting import run_draft

    return run_draft(folder, output, as_json=as_json)


@commands.command(short_help="Tell what a session holds; write nothing.")
@click.argument("sheet", type=_PATH)
@_json
@_outside
def check(sheet: Path, *, as_json: bool, allow_outside: bool) -> int:
    """Import and align everything that SHEET names and tell what is found. Writes nothing."""
    from assembler.cli.sessions import run_check

    return run_check(sheet, as_json=as_json, allow_outside=allow_outside)


@commands.command(short_help="Write down which pass each stretch is taken from.")
@click.argument("sheet", type=_PATH)
@click.option("-o", "--output", type=_PATH, metavar="PLAN", help="Write the plan here; must not exist.")
@_json
@_outside
def plan(sheet: Path, output: Path | None, *, as_json: bool, allow_outside: bool) -> int:
    """Align what SHEET names and write the plan of every track, to change by hand and build with.

    Without -o the plan is printed.
    """
    from assembler.cli.drafting import run_plan

    return run_plan(sheet, output, as_json=as_json, allow_outside=allow_outside)


@commands.command(short_help="Build a set.")
@click.argument("sheet", type=_PATH)
@click.option(
    "-o", "--output", type=_PATH, metavar="SET", required=True, help="The set's folder; must not exist."
)
@click.option("--plan", "plan_file", type=_PATH, metavar="PLAN", help="Take the stretches from this plan.")
@_json
@_outside
def build(sheet: Path, output: Path, plan_file: Path | None, *, as_json: bool, allow_outside: bool) -> int:
    """Build the set that SHEET describes: aligned, repaired, equal-length tracks with their record."""
    from assembler.cli.sessions import run_build

    return run_build(sheet, output, plan_file, as_json=as_json, allow_outside=allow_outside)


@commands.command(short_help="Check a set.")
@click.argument("folder", metavar="SET", type=_PATH)
@click.option("--against", type=_PATH, metavar="SHEET", help="Compute every sample again from the captures.")
@_json
@_outside
def verify(folder: Path, against: Path | None, *, as_json: bool, allow_outside: bool) -> int:
    """Check that SET is whole and unchanged and says what its record says."""
    from assembler.cli.sessions import run_verify

    return run_verify(folder, against, as_json=as_json, allow_outside=allow_outside)


@commands.command(short_help="Write an invented session to try.")
@click.argument("folder", type=_PATH)
@_json
def demo(folder: Path, *, as_json: bool) -> int:
    """Write a small invented session into FOLDER, flawed on purpose and ready to build."""
    from assembler.cli.sessions import run_demo

    return run_demo(folder, as_json=as_json)


def run(arguments: Sequence[str]) -> int:
    """Run one command and return its exit status; every error becomes one or two lines on standard error."""
    try:
        _check_environment()
        status = commands.main(list(arguments), prog_name="assembler", standalone_mode=False)
    except (click.exceptions.Abort, KeyboardInterrupt):
        return _told("interrupted; nothing was published", INTERRUPTED)
    except click.ClickException as error:
        return _told(_usage(error), UNUSABLE)
    except AssemblerError as error:
        return _told(str(error), UNUSABLE)
    except BrokenPipeError:
        # Whoever read the output has heard enough; keep Python from complaining once more at exit.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return UNUSABLE
    except (OSError, MemoryError) as error:
        return _told(_plain(error), UNUSABLE)
    return status if isinstance(status, int) else DONE


def _check_environment() -> None:
    """Refuse a date in the environment that is none: libraries read it too, and fall over it."""
    epoch = os.environ.get("SOURCE_DATE_EPOCH", "0")
    if not epoch.isdigit():
        raise AssemblerError(f'SOURCE_DATE_EPOCH is "{epoch}"; allowed: whole seconds since 1970')


def main() -> None:
    """Run the command line of this process."""
    signal.signal(signal.SIGTERM, _interrupt)
    _allow_many_files()
    for stream in (sys.stdout, sys.stderr):
        # A terminal that cannot show a letter shows a question mark; it is no reason to fail.
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")
    sys.exit(run(sys.argv[1:]))


def _allow_many_files() -> None:
    """Let this process open as many files as the system allows: sixteen reels in many passes are over a thousand."""
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    if soft != hard:
        # Some systems name a hard limit that they then refuse; what was allowed before will have to do.
        with suppress(ValueError, OSError):
            resource.setrlimit(resource.RLIMIT_NOFILE, (hard, hard))


def _interrupt(*_: Any) -> None:  # noqa: ANN401 - the signal module's own arguments
    raise KeyboardInterrupt


def _told(message: str, status: int) -> int:
    click.echo(f"assembler: {message}", err=True)
    return status


def _usage(error: click.ClickException) -> str:
    message = error.format_message()
    context = getattr(error, "ctx", None)
    return f"{message}\nTry: {context.command_path} --help" if context is not None else message


def _plain(error: OSError | MemoryError) -> str:
    if isinstance(error, MemoryError):
        return "out of memory; nothing was published"
    place = f"{error.filename}: " if error.filename else ""
    return f"{place}{error.strerror or error}"
