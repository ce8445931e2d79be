"""``assembler draft`` and ``assembler plan``: text for a person to change."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import click

from assembler.errors import PublishError
from assembler.importer.looking import draft_sheet

if TYPE_CHECKING:
    from pathlib import Path


def run_draft(folder: Path, output: Path | None, *, as_json: bool) -> int:
    """Print or write the draft of a sheet; return the exit status."""
    text = draft_sheet(folder)
    if output is not None:
        _write_new(output, text)
    if as_json:
        click.echo(
            json.dumps({"sheet": None if output is None else str(output), "text": text}, ensure_ascii=False)
        )
    elif output is None:
        click.echo(text, nl=False)
    else:
        click.echo(f"Sheet written: {output}\nCorrect it by hand, then: assembler check {output}")
    return 0


def run_plan(sheet: Path, output: Path | None, *, as_json: bool, allow_outside: bool) -> int:
    """Print or write the plan of a session; return the exit status."""
    from assembler.aligner import write_plan
    from assembler.cli.progress import shown_progress
    from assembler.consolidator import check_session

    with shown_progress() as progress:
        result = check_session(sheet, allow_outside=allow_outside, progress=progress)
    text = write_plan(result.sheet, result.edit)
    if output is not None:
        _write_new(output, text)
    if as_json:
        click.echo(
            json.dumps({"plan": None if output is None else str(output), "text": text}, ensure_ascii=False)
        )
    elif output is None:
        click.echo(text, nl=False)
    else:
        click.echo(
            f"Plan written: {output}\nChange it by hand, then: assembler build {sheet} --plan {output} -o SET"
        )
    return 0 if result.edit.is_sound else 1


def _write_new(path: Path, text: str) -> None:
    """Write a text whole or not at all."""
    data = text.encode()
    try:
        with path.open("xb") as file:
            try:
                file.write(data)
                file.flush()
            except BaseException:
                path.unlink(missing_ok=True)
                raise
    except FileExistsError as error:
        raise PublishError(f"{path} exists already; choose another name") from error
    except OSError as error:
        raise PublishError(f"{path}: {error.strerror}; nothing was written") from error
