"""How a program uses the package: never run, only type-checked."""

from __future__ import annotations

from pathlib import Path

from assembler import build_set, check_session, draft_sheet, load_sheet, verify_set

sheet = load_sheet(Path("session.toml"))
title: str = sheet.session.title
text: str = draft_sheet(Path("captures"))
checked = check_session(Path("session.toml"), progress=print)
is_sound: bool = checked.edit.is_sound
built = build_set(Path("session.toml"), Path("set"))
start: int = built.edit.start_sample
verified = verify_set(Path("set"), against=Path("session.toml"))
problems: list[str] = [problem.text for problem in verified.problems]
