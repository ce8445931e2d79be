"""``assembler batch``: call, tell of each session as it ends, sum up."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from assembler.cli.answer import DONE, INTERRUPTED, NEEDS_A_PERSON, Answer, json_answer, lines_answer
from assembler.cli.progress import shown_progress
from assembler.cli.terminal import say
from assembler.errors import AssemblerError

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path

    from assembler.batch import BatchResult


def run_batch(
    folders: Sequence[Path],
    root: Path,
    *,
    scheduler: str | None,
    jobs: int | None,
    retries: int,
    as_json: bool,
    allow_outside: bool,
    no_cache: bool,
) -> Answer:
    """Build what is due, and return what came of it."""
    from assembler.batch import build_collection

    options: dict[str, Any] = {"cache_mebibytes": 0} if no_cache else {}

    def work(progress: Callable[[str, float], None]) -> BatchResult:
        return build_collection(
            folders,
            root,
            jobs=jobs,
            retries=retries,
            scheduler=scheduler,
            allow_outside=allow_outside,
            progress=progress,
            tell=_tell,
            **options,
        )

    return _answer(root, work, "built", as_json=as_json)


def run_batch_verify(
    root: Path,
    *,
    scheduler: str | None,
    jobs: int | None,
    retries: int,
    within_hours: float | None,
    as_json: bool,
) -> Answer:
    """Verify sets, those first that were not looked at for longest, and return what came of it."""
    from assembler.batch import verify_collection

    def work(progress: Callable[[str, float], None]) -> BatchResult:
        return verify_collection(
            root,
            within_hours=within_hours,
            jobs=jobs,
            retries=retries,
            scheduler=scheduler,
            progress=progress,
            tell=_tell,
        )

    return _answer(root, work, "verified", as_json=as_json)


def _answer(
    root: Path, work: Callable[[Callable[[str, float], None]], BatchResult], what: str, *, as_json: bool
) -> Answer:
    try:
        with shown_progress() as progress:
            result = work(progress)
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
    counts += [f"{result.undone} failed"] if result.undone else []
    counts += [f"{result.left} left for another time"] if result.left else []
    return lines_answer(f"{root}: {', '.join(counts)}", f"Next: assembler collection '{root}'", status=status)


def _tell(line: str) -> None:
    say(line, err=True)
