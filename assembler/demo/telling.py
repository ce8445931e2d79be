"""The words of the demo session's own README: what each pass is, and what is wrong where."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from assembler.demo.scenario import FRAME_RATE, PASSES, REELS, TAPE_START, find_reel
from assembler.demo.voices import SAMPLE_RATE
from assembler.timecode import format_sample, frame_rate

if TYPE_CHECKING:
    from collections.abc import Iterable

    from assembler.demo.flaws import Flaw

_WORDS: Final = {
    "mute": "mute: digital zeros",
    "hold": "hold: one value stands still",
    "straight": "straight: a line is drawn across the place",
    "repeat": "repeat: the block before is heard again",
    "click": "click: a few samples thrown far off",
    "burst": "burst: loud noise in place of the sound",
}
_LOGS: Final = {
    "beats": "`timecode.mid`, plain messages, ticks per beat",
    "frames": "`timecode.mid`, escape events, millisecond ticks",
    "seconds": "`timecode.csv`, `seconds,bytes`",
    "sample": "`timecode.csv`, `sample,bytes`",
}


def tell_session() -> str:
    """Return the text of README.md in the demo's folder, in Markdown."""
    return (
        "# Harvest supper at Otterby: a demo session\n\n"
        "Invented from first to last, and faulty on purpose. `session.toml` is the sheet.\n"
        "Build and verify it:\n\n"
        "    assembler build session.toml -o ../set\n"
        "    assembler verify ../set\n\n"
        "The build ends with status 1, because one place is wrong in every pass and needs a person.\n\n"
        f"## Passes\n\n{tell_passes()}\n## Wrong on purpose\n\n{tell_flaws()}"
    )


def tell_passes() -> str:
    """Return a Markdown table of the passes."""
    rows = (
        f"| {one.name} | {one.reel} | {_label(one.start)} | {_label(one.end)} "
        f"| {'one file' if one.polyphonic else 'one file a track'} | {_LOGS[one.log]} |\n"
        for one in PASSES
    )
    return "| pass | reel | from | to | audio | log |\n| --- | --- | --- | --- | --- | --- |\n" + "".join(
        rows
    )


def tell_flaws() -> str:
    """Return a Markdown table of every flaw, those of the tapes last."""
    rows = [row for one in PASSES for row in _flaw_rows(one.name, one.reel, one.flaws, "yes")]
    for reel in REELS:
        owners = " and ".join(one.name for one in PASSES if one.reel == reel.name)
        rows += _flaw_rows(owners, reel.name, reel.damage, "no: the tape itself is damaged")
        rows += _flaw_rows(owners, reel.name, reel.desk_mutes, "no flaw: the mixer was muted in a rest")
    head = "| pass | at | samples | tracks | what | cured? |\n| --- | --- | --- | --- | --- | --- |\n"
    return head + "".join(rows)


def _flaw_rows(passes: str, reel: str, flaws: Iterable[Flaw], cured: str) -> list[str]:
    names = find_reel(reel).tracks
    return [
        f"| {passes} | {_label(flaw.start)} | {flaw.end - flaw.start} "
        f"| {', '.join(names[track] or '(unused)' for track in flaw.tracks)} "
        f"| {_WORDS[flaw.kind]} | {cured} |\n"
        for flaw in flaws
    ]


def _label(tape_sample: int) -> str:
    return format_sample(TAPE_START + tape_sample, frame_rate(FRAME_RATE), SAMPLE_RATE)
