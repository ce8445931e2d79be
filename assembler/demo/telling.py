"""The words of the demo session's own README: what each pass is, and what goes wrong where."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from assembler.demo.faults import SWEEP
from assembler.demo.music.voices import SAMPLE_RATE
from assembler.demo.scenario import FRAME_RATE, PASSES, REELS, TAPE_START, find_reel
from assembler.timecode import format_sample, frame_rate

if TYPE_CHECKING:
    from assembler.demo.faults import Fault
    from assembler.demo.scenario import DemoPass

_WORDS: Final = {
    "clog": "one head of two clogged: every other sample is the mean of its neighbours",
    "dropout": "dropout: a patch is not read; lone lost samples are means, of several the last good one is held",
    "scratch": "scratch in step with the drum: every sweep loses the same part, so what is lost is strewn",
    "unlock": "servo out of lock: muted, ragged at both ends; no timecode meanwhile",
    "repeat": "the recorder writes a buffer again in place of the next",
    "slip": "slip: the recorder loses a buffer; all that follows comes early",
    "word": "a single wrong word",
}
_UNLIKE: Final = ("crease in the tape: each pass loses its own part", "yes, woven of both passes")
_ALIKE: Final = ("crease over the tape's whole width: muted in every pass", "no: the tape itself is damaged")
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
        "The build ends with status 1, because one place of reel B is lost on all four tracks in every pass and\n"
        "needs a person.\n\n"
        f"## Passes\n\n{tell_passes()}\n## Wrong on purpose\n\n{tell_faults()}"
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


def tell_faults() -> str:
    """Return a Markdown table of every fault, those of the tapes last."""
    rows = [
        _row(one.name, fault.start, fault.samples, *_told(one, fault))
        for one in PASSES
        for fault in one.faults
    ]
    for reel in REELS:
        owners = " and ".join(one.name for one in PASSES if one.reel == reel.name)
        for damage in reel.damages:
            what, cured = _ALIKE if damage.alike else _UNLIKE
            rows.append(_row(owners, damage.sweep * SWEEP, damage.sweeps * SWEEP, "all", what, cured))
        for mute in reel.desk_mutes:
            row = (
                reel.tracks[mute.track],
                "digital zeros on the tape",
                "no fault: the mixer was muted in a rest",
            )
            rows.append(_row(owners, mute.start, mute.end - mute.start, *row))
    head = "| pass | at | samples, about | tracks | what | cured? |\n| --- | --- | --- | --- | --- | --- |\n"
    return head + "".join(rows)


def _told(demo_pass: DemoPass, fault: Fault) -> tuple[str, str, str]:
    track = find_reel(demo_pass.reel).tracks[fault.track] if fault.kind == "word" else "all"
    others = " and ".join(
        one.name for one in PASSES if one.reel == demo_pass.reel and one != demo_pass and _has(one, fault)
    )
    return track, _WORDS[fault.kind], f"yes, by {others}"


def _has(demo_pass: DemoPass, fault: Fault) -> bool:
    return demo_pass.start <= fault.start and fault.start + fault.samples <= demo_pass.end


def _row(passes: str, start: int, samples: int, tracks: str, what: str, cured: str) -> str:
    return f"| {passes} | {_label(start)} | {samples} | {tracks} | {what} | {cured} |\n"


def _label(tape_sample: int) -> str:
    return format_sample(TAPE_START + tape_sample, frame_rate(FRAME_RATE), SAMPLE_RATE)
