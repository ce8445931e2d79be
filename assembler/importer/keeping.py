"""How a session's open captures stand in what is asked of what is known, and in its answers."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import TYPE_CHECKING, Any

from assembler.importer.audio import PassAudio
from assembler.sheet import Reel, Sheet

if TYPE_CHECKING:
    from assembler.importer.session import ImportedPass, ImportedSession

_NO_MATTER = frozenset({"path", "folder", "text", "allow_outside"})
"""Where a sheet lies and how it is laid out; what it says is in its records."""


def sheet_words(sheet: Sheet) -> tuple[object, ...]:
    """Return all that a sheet says; its captures are known by their files."""
    return tuple((one.name, getattr(sheet, one.name)) for one in fields(Sheet) if one.name not in _NO_MATTER)


@dataclass(frozen=True)
class SessionObjects:
    """Passes, their audio and reels of an open session, by name; tracks may be read in another order than theirs."""

    session: ImportedSession

    def name_of(self, value: object) -> list[Any] | None:
        """Return what an object of the session is called; None where it is none."""
        if isinstance(value, Reel):
            return ["reel", value.name]
        audio = value if isinstance(value, PassAudio) else getattr(value, "audio", None)
        if not isinstance(audio, PassAudio):
            return None
        owner = next(one for one in self.session.passes if one.audio.files == audio.files)
        kind = "audio" if audio is value else "pass"
        return [kind, owner.name, audio.channels, audio.polarity]

    def named(self, name: list[Any]) -> PassAudio | ImportedPass | Reel:
        """Return the object of a name.

        Raises:
            LookupError: the session has none.
        """
        if name[0] == "reel":
            return next(iter(reel for reel in self.session.sheet.reels if reel.name == name[1]))
        owner = {one.name: one for one in self.session.passes}[name[1]]
        audio, channels = owner.audio, tuple((file, channel) for file, channel in name[2])
        if (audio.channels, audio.polarity) != (channels, tuple(name[3])):
            audio = audio.rewired(channels, name[3])
        return audio if name[0] == "audio" else replace(owner, audio=audio)
