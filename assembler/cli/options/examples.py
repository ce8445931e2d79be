"""An example for each command, told at the end of its help: each works when pasted, in this order, in one folder."""

from __future__ import annotations

from typing import Final

EXAMPLES: Final = {
    "demo": "assembler demo try-it",
    "draft": "assembler draft try-it -o try-it/draft.toml",
    "check": "assembler check try-it/session.toml",
    "retakes": "assembler retakes try-it/session.toml",
    "plan": "assembler plan try-it/session.toml -o try-it-plan.toml",
    "build": "assembler build try-it/session.toml -o try-it-set",
    "verify": "assembler verify try-it-set --against try-it/session.toml",
    "batch": "assembler batch try-it -o try-it-archive",
    "collection": "assembler collection try-it-archive",
    "watch": "assembler watch try-it",
}
"""By command. All but the first work on what the first one writes, and ``verify`` on what ``build`` does."""

_BEFORE: Final = {
    "demo": "",
    "verify": " (after those of demo and build)",
    "collection": " (after those of demo and batch)",
}


def example(command: str) -> str:
    """Return the last lines of a command's help; a line of its own is not broken."""
    before = _BEFORE.get(command, " (after that of demo)")
    return f"Example{before}:\n\n\b\n  {EXAMPLES[command]}"
