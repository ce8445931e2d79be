"""``assembler batch``: call, tell of each session as it ends, sum up."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING, Any

import click

from assembler.cli.answer import DONE, INTERRUPTED, NEEDS_A_PERSON, Answer, json_answer, lines_answer
from assembler.cli.options.examples import example
from assembler.cli.options.shared import PATH, json_option, outside_option
from assembler.cli.options.values import Seconds
from assembler.cli.terminal.progress import told_progress
from assembler.cli.terminal.words import say
from assembler.errors import AssemblerError

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from assembler.batch import BatchResult


@click.command(short_help="Build a set of every session in folders.", epilog=example("batch"))
@click.argument("folders", metavar="FOLDER...", type=PATH, nargs=-1)
@click.option(
    "-o", "--output", "root", type=PATH, metavar="ROOT", required=True, help="Folder of the collection."
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
@json_option
@outside_option
def batch(
    folders: tuple[Path, ...],
    root: Path,
    *,
    is_verify: bool,
    within: float | None,
    no_cache: bool,
    as_json: bool,
    allow_outside: bool,
    **workers: Any,  # noqa: ANN401 - jobs, retries and scheduler, as both ways take them
) -> Answer:
    """Build a set in ROOT of every session whose sheet lies in a FOLDER, or below it.

    A set that stands is not built again, nor is it ever replaced: a session that has changed gets another one. ROOT
    has a ledger, which `collection` shows.
    """
    if is_verify:
        if folders:
            raise click.UsageError("--verify goes through the sets of ROOT; allowed: no FOLDER")
    elif not folders:
        raise click.UsageError("no FOLDER is given; allowed: one or more that hold sheets")
    elif within is not None:
        raise click.UsageError("--within limits --verify; allowed: both or neither")
    from assembler.batch import build_collection, verify_collection

    if is_verify:
        work = partial(verify_collection, root, within_hours=within, **workers)
        return _answer(root, work, "verified", as_json=as_json)
    remembered: dict[str, Any] = {"cache_mebibytes": 0} if no_cache else {}
    work = partial(build_collection, folders, root, allow_outside=allow_outside, **remembered, **workers)
    return _answer(root, work, "built", as_json=as_json)


def _answer(root: Path, work: Callable[..., BatchResult], what: str, *, as_json: bool) -> Answer:
    try:
        with told_progress() as (progress, tell):
            result = work(progress=progress, tell=tell)
    except KeyboardInterrupt:
        # Sets and rows that came before it stand: "no set was written" would be untrue.
        words = f"interrupted; what is in the ledger of {root} stands: run the same again to go on"
        say(f"assembler: {words}", err=True)
        return Answer(INTERRUPTED, lambda: None)
    except AssemblerError:
        raise
    except Exception as error:
        raise AssemblerError(
            f"a fault of the program, please report it: {type(error).__name__}: {error}; what is in the ledger of "
            f"{root} stands"
        ) from error
    done = len(result.rows) - result.undone
    status = DONE if result.is_sound else NEEDS_A_PERSON
    if as_json:
        return json_answer(
            {
                "root": str(root),
                what: done,
                "kept": len(result.kept),
                "undone": result.undone,
                "left": result.left,
                "sessions": [row.model_dump(mode="json") for row in result.rows],
            },
            status,
        )
    counts = (
        [f"{done} {what}", f"{len(result.kept)} stood already"] if what == "built" else [f"{done} {what}"]
    )
    counts += _open_counts(what, result)
    counts += [f"{result.undone} failed"] if result.undone else []
    counts += [f"{result.left} left for another time"] if result.left else []
    return lines_answer(f"{root}: {', '.join(counts)}", f"Next: assembler collection '{root}'", status=status)


def _open_counts(what: str, result: BatchResult) -> list[str]:
    """Return why the status is 1, beside what failed."""
    from assembler.collection import SessionState, counted_state

    state, rows = SessionState.ASKS, (*result.rows, *result.kept)
    if what == "verified":
        state, rows = SessionState.DAMAGED, result.rows
    count = sum(row.state is state for row in rows)
    return [counted_state(count, state)] if count else []
