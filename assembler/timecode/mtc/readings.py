"""Quarter frames put in their places and made whole readings, echoes and disorder sorted out.

Messages are counted by their piece numbers and their times, so that a lost one costs only itself.

Source: MIDI 1.0 Detailed Specification, MIDI Time Code.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from assembler.timecode.findings import Finding
from assembler.timecode.labels import Labels, labels_to_frames

if TYPE_CHECKING:
    from assembler.arrays import Bools, Bytes, Float64s, Int64s
    from assembler.timecode.logs.messages import MidiLog
    from assembler.timecode.rates import FrameRate

PIECES: Final = 8
"""Quarter frames that tell one reading."""

# A message that repeats the one before it sooner than this is an echo; pieces of one number are 8 pieces apart.
_ECHO_QUARTERS: Final = 4.0
# Over a longer pause the count of missing messages would be a guess: at a rate a tenth off, three in 32.
_LONGEST_BRIDGE: Final = 32.0
# Messages that are held up are let go within so many.
_HELD_MESSAGES: Final = 32


@dataclass(frozen=True)
class Messages:
    """Quarter frames in the order of a tape that runs forward.

    Args:
        data: shape (n,), their data bytes.
        place: shape (n,), quarters of a frame from the first message, missing ones counted; means nothing
            from run to run.
        run: shape (n,), the number of each one's run: messages that follow each other in one direction.
    """

    data: Bytes
    place: Int64s
    run: Int64s


@dataclass(frozen=True)
class Readings:
    """Whole readings; all arrays of shape (n,).

    Args:
        start: number of the message that each begins at.
        place: of that message.
        run: of that message.
        labels: what they say.
        code: rate code of each.
    """

    start: Int64s
    place: Int64s
    run: Int64s
    labels: Labels
    code: Int64s

    def take(self, chosen: Bools) -> Readings:
        """Return the readings where ``chosen``, shape (n,), is true."""
        return Readings(
            self.start[chosen],
            self.place[chosen],
            self.run[chosen],
            self.labels.take(chosen),
            self.code[chosen],
        )


def drop_echoes(log: MidiLog, rate: FrameRate) -> tuple[Float64s, Bytes, list[Finding]]:
    """Return times and data without messages that came twice."""
    seconds, data = log.quarter_seconds, log.quarter_data
    echo = np.zeros(data.size, dtype=np.bool_)
    soon = np.diff(seconds) < _ECHO_QUARTERS / (4 * float(rate.exact))
    echo[1:] = (data[1:] == data[:-1]) & soon
    # A tape that turns round sends the same piece again: after it, or before it, come pieces in falling order.
    piece = data >> 4
    echo[1:-1] &= piece[2:] != piece[1:-1] + 7 & 7
    echo[2:] &= piece[:-2] != piece[2:] + 1 & 7
    if not echo.any():
        return seconds, data, []
    place = float(seconds[np.flatnonzero(echo)[0]])
    finding = Finding("repeated", place, f"{int(echo.sum())} quarter frames came twice; each is used once")
    return seconds[~echo], data[~echo], [finding]


def count_steps(seconds: Float64s, piece: Int64s, rate: FrameRate) -> Int64s:
    """Return how many quarters of a frame lie from each message to the next; falling where the tape ran backwards.

    The numbers of two pieces tell the step but for whole eights, and these and the direction are what comes nearest to
    the time between them. Zero: the two have nothing to do with each other.

    Args:
        seconds: shape (n,), log time of each message.
        piece: shape (n,), number of its piece.
        rate: how timecode counts.

    Returns:
        Shape (n - 1,).
    """
    clock = seconds * 4 * float(rate.exact)
    elapsed, apart = np.diff(clock), np.diff(piece)
    forward, backward = _fit_eights(apart, clock), _fit_eights(-apart, clock)
    misfit, back_misfit = np.abs(elapsed - forward), np.abs(elapsed - backward)
    # A message that was held up comes late, however soon it should have come.
    misfit[forward == 1] = 0.0
    is_back = (back_misfit < misfit) | ((back_misfit == misfit) & (backward < forward))
    unlike = (elapsed > _LONGEST_BRIDGE) | (np.minimum(misfit, back_misfit) > PIECES / 2)
    return np.asarray(np.where(unlike, 0, np.where(is_back, -backward, forward)), dtype=np.int64)


def _fit_eights(apart: Int64s, clock: Float64s) -> Int64s:
    """Return the steps, at least one, that differ from these by whole eights and come nearest to the time elapsed.

    Args:
        apart: shape (n - 1,), by how much the number of each piece differs from that of the one before it.
        clock: shape (n,), times in quarters of a frame.
    """
    least = (apart - 1) % PIECES + 1
    counted = np.concatenate(([0], np.cumsum(least)))
    index = np.arange(least.size)
    ahead = np.minimum(index + _HELD_MESSAGES, least.size)
    # Messages held up and then let go make up for the time; where some are missing, it stays lost.
    lasting = clock[ahead] - clock[index] - (counted[ahead] - counted[index])
    excess = np.clip(np.minimum(np.diff(clock) - least, lasting), 0.0, 2 * _LONGEST_BRIDGE)
    return np.asarray(least + PIECES * np.rint(excess / PIECES), dtype=np.int64)


def link_messages(data: Bytes, steps: Int64s) -> Messages:
    """Return messages in runs of forward steps.

    Args:
        data: shape (n,), their data bytes.
        steps: shape (n - 1,), as ``count_steps`` gives them.
    """
    zero = np.zeros(1, dtype=np.int64)
    place = np.cumsum(np.concatenate((zero, np.abs(steps)))).astype(np.int64)
    run = np.cumsum(np.concatenate((zero, steps <= 0))).astype(np.int64)
    return Messages(data, place[: data.size], run[: data.size])


def assemble_readings(messages: Messages) -> Readings:
    """Return whole readings, whether or not their label exists."""
    data, place = messages.data, messages.place
    start = np.flatnonzero(data >> 4 == 0)
    start = start[start + PIECES <= data.size]
    last = start + PIECES - 1
    start = start[(messages.run[start] == messages.run[last]) & (place[last] - place[start] == PIECES - 1)]
    nibbles = (data[start[:, None] + np.arange(PIECES)] & 15).astype(np.int64)
    labels = Labels(
        hours=nibbles[:, 6] | (nibbles[:, 7] & 1) << 4,
        minutes=nibbles[:, 4] | (nibbles[:, 5] & 3) << 4,
        seconds=nibbles[:, 2] | (nibbles[:, 3] & 3) << 4,
        frames=nibbles[:, 0] | (nibbles[:, 1] & 1) << 4,
    )
    return Readings(start, place[start], messages.run[start], labels, nibbles[:, 7] >> 1 & 3)


def origins_of(readings: Readings, rate: FrameRate) -> Int64s:
    """Return, in quarters of a frame in the day, where each reading's run would have been at place zero."""
    return (4 * labels_to_frames(readings.labels, rate) - readings.place) % (4 * rate.frames_per_day)


def confirm_readings(readings: Readings, rate: FrameRate) -> Bools:
    """Return which readings to believe: those that a neighbour in their run continues, and lone ones."""
    if not readings.start.size:
        return np.zeros(0, dtype=np.bool_)
    origin = origins_of(readings, rate)
    agrees = (np.diff(origin) == 0) & (np.diff(readings.run) == 0)
    alone = np.bincount(readings.run)[readings.run] == 1
    return np.asarray(np.append(agrees, [False]) | np.append([False], agrees) | alone, dtype=np.bool_)
