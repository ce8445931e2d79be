"""How a program uses the package: only type-checked; `tests/behaviour/test_program_use.py` runs such calls."""

from __future__ import annotations

from pathlib import Path

import assembler

sheet = assembler.load_sheet("session.toml")
title: str = sheet.session.title
text: str = assembler.draft_sheet(Path("captures"))
checked: assembler.SessionResult = assembler.check_session("session.toml", progress=print)
is_sound: bool = checked.edit.is_sound
kinds = [row["kind"] for row in checked.flaws()]
states = [row["state"] for row in (*checked.states(), *checked.passes(), *checked.spans(), *checked.notes())]
plan: str = assembler.write_plan(sheet, checked.edit)
built = assembler.build_set(Path("session.toml"), "set", plan="session.plan.toml")
start: int = built.edit.start_sample
verified = assembler.verify_set("set", against="session.toml")
problems: list[str] = [problem.text for problem in verified.problems]
record = assembler.read_record(Path("set/data/assembly.json").read_bytes())
page: bytes = assembler.report_page(record)

with assembler.open_session("session.toml") as session:
    edit: assembler.Edit = session.align()
    result: assembler.SessionResult = session.result
    captured = session.read_pass("A1", "Kick", 0, 4800)
    peak = max(int(abs(session.read(track.track.name, 0, 4800)).max()) for track in edit.tracks)

batch: assembler.BatchResult = assembler.build_collection([Path("captures")], "archive", jobs=2, tell=print)
collection: assembler.Collection = assembler.read_collection("archive")
names: list[str] = [row.session for row in collection.rows if row.rolls]
checked_all: bool = assembler.verify_collection("archive", within_hours=8.0).is_sound

try:
    assembler.build_set("session.toml", "set")
except assembler.SheetError as error:
    line: int | None = error.line
except assembler.AssemblerError as error:
    words: str = str(error)
