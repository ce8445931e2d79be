"""All captures of a folder followed at once, and what must be played again renewed whenever one of them ends."""

from __future__ import annotations

import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import TYPE_CHECKING, Final, Self

from assembler.aligner import THREADS
from assembler.errors import AssemblerError, CaptureError
from assembler.inputs import kind_of
from assembler.known import NOTHING
from assembler.sheet.near import near_words
from assembler.watch.captures.growing import is_finished, settled_at
from assembler.watch.captures.roster import Roster, drafted, make_roster, read_sheet
from assembler.watch.captures.scanning import Scanner
from assembler.watch.checking import Checked, Checking
from assembler.watch.following import Follower
from assembler.watch.listing import flaws_found, retakes_event

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Iterator

    from assembler.inputs import AnyPath
    from assembler.known import Known
    from assembler.sheet import Sheet
    from assembler.watch.captures.scanning import FileKey, Found, Scan
    from assembler.watch.events import Event

POLL_SECONDS: Final = 0.25
SCAN_SECONDS: Final = 1.0

QUIET_SECONDS: Final = 3.0
"""A capture whose headers are final, and that does not grow for so long, has ended."""

STOPPED_SECONDS: Final = 12.0
"""One whose headers are not final has ended after this: the recorder or its machine has stopped."""


class Watch:
    """Follows the captures in a folder. Use as a context manager: it closes what is open.

    Args:
        source: a folder of captures, or a sheet: then its folder.
        allow_outside: the sheet's paths may lead out of its folder.
        known: what was found out before.

    Raises:
        SheetError: the sheet cannot be used.
        CaptureError: there is no such folder.
    """

    def __init__(self, source: AnyPath, *, allow_outside: bool = False, known: Known = NOTHING) -> None:
        source = Path(source)
        if not source.exists() or (not source.is_dir() and kind_of(source)):
            near = near_words(source.parent, source.name)
            words = f"is no folder and no sheet; allowed: a folder of captures, or a sheet{near}"
            raise CaptureError(words, path=source)
        self._source = source
        self._allow_outside = allow_outside
        self._known = known
        self._folder = source if source.is_dir() else source.parent
        self._sheet: Sheet | None = read_sheet(source, allow_outside=allow_outside)
        self._scanner = Scanner(self._folder)
        self._names: frozenset[tuple[Path, FileKey]] = frozenset()
        self._roster: Roster | None = None
        self._followed: dict[str, Follower] = {}
        self._finished: dict[str, tuple[Found, float]] = {}
        self._is_stale = True
        self._checking: Checking | None = None
        self._checked = Checked(None)
        self._awaited: list[Follower] = []
        self._scanned_at = -1e9
        self._executor = ThreadPoolExecutor(THREADS)
        self.last: Event | None = None

    def __enter__(self) -> Self:
        """Return the watch itself."""
        return self

    def __exit__(self, *_: object) -> None:
        """Close all that is open; a check that runs is given up."""
        if self._checking is not None:
            self._checking.stop()
        self._checked.close()
        for follower in (*self._followed.values(), *self._awaited):
            follower.close()
        self._executor.shutdown()

    def run(self) -> Iterator[Event]:
        """Yield events as things happen, without an end."""
        while True:
            began = time.monotonic()
            is_busy = False
            for event in self.look(began):
                is_busy = is_busy or event.event == "recording"
                yield event
            if not is_busy:
                time.sleep(max(0.02, POLL_SECONDS - (time.monotonic() - began)))

    def finish(self, seconds: float) -> Iterator[Event]:
        """Yield what a check that runs, or that waits to be made, comes to; none where it takes longer than that."""
        until = time.monotonic() + seconds
        while (self._checking is not None or self._is_stale) and time.monotonic() < until:
            yield from self._check()
            time.sleep(0.05)

    @property
    def is_checked(self) -> bool:
        """Whether the last list holds all that is finished."""
        return self._checking is None and not self._is_stale

    def look(self, now: float) -> Iterator[Event]:
        """Yield what is new by now: one look at the folder and at each capture.

        Args:
            now: seconds of a clock that never goes back.
        """
        if now - self._scanned_at >= SCAN_SECONDS:
            self._scanned_at = now
            yield from self._scan(now)
        for name, follower in list(self._followed.items()):
            yield from self._follow(name, follower, now)
        yield from self._check()

    def _scan(self, now: float) -> Iterator[Event]:
        scan = self._scanner.look()
        if scan.names != self._names:
            self._names = scan.names
            self._take_names(scan)
        self._follow_renamed(scan)
        if self._roster is None:
            return
        taken = {key for one in self._followed.values() for key in one.capture.keys}
        for name, capture in self._roster.captures.items():
            state = capture, settled_at(capture.paths)
            if name in self._followed or set(capture.keys) & taken or self._finished.get(name) == state:
                continue
            if is_finished(capture.paths, time.time(), (QUIET_SECONDS, STOPPED_SECONDS)):
                self._finished[name] = state
                self._is_stale = True
                continue
            try:
                follower = Follower(
                    name,
                    capture,
                    self._roster.sheet,
                    self._roster.pass_of(name),
                    self._roster.reel_of(name),
                    now,
                )
            except (AssemblerError, OSError):
                continue  # its header is not written yet, or it is gone already
            self._finished.pop(name, None)
            self._followed[name] = follower
            yield follower.recording()

    def _take_names(self, scan: Scan) -> None:
        """Say anew which pass each capture is."""
        if self._source.is_dir() or self._sheet is None:
            try:
                found = read_sheet(self._source, allow_outside=self._allow_outside)
                self._sheet = found or self._sheet
            except AssemblerError:
                return  # being written, or gone: the last one holds
        if self._sheet is None:
            self._names = frozenset()
            return
        self._roster = make_roster(self._sheet, scan.captures)
        for name in set(self._followed) & set(self._roster.captures):
            follower = self._followed[name]
            follower.sheet, follower.one = self._roster.sheet, self._roster.pass_of(name)

    def _follow_renamed(self, scan: Scan) -> None:
        """Let captures that are recorded have the names that they have by now."""
        places = {key: path for one in scan.captures for path, key in zip(one.paths, one.keys, strict=True)}
        for follower in self._followed.values():
            for file, key in zip(follower.files, follower.capture.keys, strict=True):
                file.source.path = places.get(key, file.source.path)

    def _follow(self, name: str, follower: Follower, now: float) -> Iterator[Event]:
        why = ""
        try:
            follower.refresh(now)
            if any(file.fate() for file in follower.files):
                self._follow_renamed(self._scanner.look())
            fates = {file.fate() for file in follower.files} - {""}
            why = "vanished" if "vanished" in fates else "replaced by another capture" if fates else ""
        except CaptureError as error:
            why = error.problem
        quiet = now - follower.grew_at
        if not why and quiet >= QUIET_SECONDS and follower.is_final:
            why = "finished"
        elif not why and quiet >= STOPPED_SECONDS:
            why = "stopped growing, and its header was never finished"
        try:
            witnesses = self._checked.witnesses(follower.reel.name, len(follower.reel.tracks))
            yield from follower.news(now, witnesses, self._executor, is_last=bool(why))
        except (CaptureError, OSError) as error:
            why = why or f"unreadable: {error}"
        if not why and quiet >= QUIET_SECONDS and follower.stall():
            yield follower.recording("stalled")
        if why and not (why == "finished" and follower.seen < follower.length):
            yield from self._end(name, follower, why)

    def _end(self, name: str, follower: Follower, why: str) -> Iterator[Event]:
        del self._followed[name]
        follower.close()
        is_there = all(not file.fate() for file in follower.files) and why != "has become shorter"
        if is_there:
            self._finished[name] = follower.capture, settled_at(follower.capture.paths)
            self._awaited.append(follower)
        else:
            self._names = frozenset()
        self._is_stale = True
        yield follower.ended(why)

    def _check(self) -> Iterator[Event]:
        # An interrupt may strike anywhere: what is begun is noted before what it is for is forgotten.
        if self._checking is None and self._is_stale:
            if self._roster is not None:
                now_there = self._roster.captures
                there = {name: one for name, (one, _) in self._finished.items() if now_there.get(name) == one}
                files = {name: one.paths for name, one in there.items()}
                self._checking = Checking(self._sheet_of(self._roster, there), files, self._known)
            self._is_stale = False
        result = None if self._checking is None else self._checking.result()
        if result is None:
            return
        if result is not self._checked:
            self._checked.close()
            self._checked = result
        waiting, self._awaited = self._awaited, []
        yield from flaws_found(result, waiting)
        if result.edit is not None or result.problem or self.last is not None:
            event = self.last = retakes_event(result)
            self._checking = None
            yield event
        self._checking = None

    def _sheet_of(
        self, roster: Roster, names: Collection[str]
    ) -> Callable[[Callable[[float], None]], Sheet | None]:
        """Return what gives the sheet to check: a folder's is drafted as ``draft`` does, which hears all of it."""
        if not self._source.is_dir() or not names:
            return lambda _: roster.only(names)
        return lambda advance: drafted(
            self._folder, names, advance, allow_outside=self._allow_outside, known=self._known
        )
