"""The cheapest story through each state of each part: shortest paths, forwards and backwards.

What it costs, in nats, that flaws begin, end and meet is paid between two parts, into the place and out of it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.judge.costs import border_cost
from assembler.aligner.judge.limits import CHANCE_COST, FLAW_COST, TORN_COST
from assembler.aligner.judge.stories.scene import Parts
from assembler.aligner.judge.stories.verdict import Verdict, verdict_on
from assembler.aligner.records.limits import SURE_NATS
from assembler.aligner.sound.limits import PREDICTOR_ORDER

if TYPE_CHECKING:
    from assembler.aligner.judge.stories.scene import Scene
    from assembler.aligner.records.ranges import Range
    from assembler.arrays import Bools, Float64s, Int32s


def verdicts_on(scene: Scene) -> list[Verdict]:
    """Return what the cheapest stories say of each part: in it one version is the tape's, or none is."""
    parts = Parts(scene)
    totals = _totals(scene, parts)
    # Where now one version seems right, now another or none, flaws lie over each other.
    told = {int(np.argmin(total)) for total, same in zip(totals, scene.same, strict=True) if not same.all()}
    return [
        verdict_on(scene, parts, number, total, is_mixed=len(told) > 1) for number, total in enumerate(totals)
    ]


def _totals(scene: Scene, parts: Parts) -> list[Float64s]:
    """Return for each part and state what the cheapest story costs that has the part in that state."""
    count = len(scene.parts)
    local = [parts.costs(number) for number in range(count)]
    tables = [entering(scene, number) for number in range(1, count)]
    forward = [beginning(scene) + local[0]]
    for table, own in zip(tables, local[1:], strict=True):
        forward.append((forward[-1][:, None] + table).min(axis=0) + own)
    backward = [leaving(scene)]
    for table, own in zip(reversed(tables), reversed(local[1:]), strict=True):
        backward.append((table + own + backward[-1]).min(axis=1))
    return [ahead + behind for ahead, behind in zip(forward, reversed(backward), strict=True)]


def beginning(scene: Scene) -> Float64s:
    """Return what it costs to begin the first part in each state, shape (states,)."""
    falling = np.where(scene.flawed_before, scene.caution * FLAW_COST * (scene.holders - 1), _falling(scene))
    row: Float64s = np.asarray(falling.sum() - np.append(falling, 0.0), np.float64)
    past = None if scene.open_ends[0] else scene.around.agreed
    row[: scene.nobody] += _turning(scene, scene.flawed_before, scene.place[0])
    for version in range(scene.nobody):
        row[version] += _border(scene, past, version, scene.parts[0])
    return row


def entering(scene: Scene, number: int) -> Float64s:
    """Return what it costs to go into a part that is not the first, shape (states before, states in it)."""
    part, nobody = scene.parts[number], scene.nobody
    table = np.zeros((nobody + 1, nobody + 1))
    falling, torn = _falling(scene), scene.are_torn(part[0])
    is_seam = bool(scene.same[number - 1].all() or scene.same[number].all())
    for before in range(nobody + 1):
        for behind in range(nobody + 1):
            if before != behind:
                if before != nobody:
                    table[before, behind] += float(falling[before])
                if nobody not in (before, behind) and not is_seam:
                    table[before, behind] += CHANCE_COST
                # A level, a line or a copy is one event: it is not the tape's in part.
                table[before, behind] += TORN_COST * sum(torn[v] for v in (before, behind) if v != nobody)
            if behind == nobody:
                continue
            if before == nobody:
                table[before, behind] += _recovering(scene, behind, part)
            else:
                table[before, behind] += _border(scene, scene.versions[before], behind, part)
    return table


def leaving(scene: Scene) -> Float64s:
    """Return what the samples behind the place, on which captures agree, cost after each state, shape (states,)."""
    end, agreed = scene.place[1], scene.around.agreed
    costs = [border_cost(one, agreed, end, agreed.size, scene.around) for one in (*scene.versions, None)]
    out = np.array([0.0] * len(costs) if scene.open_ends[1] else costs)
    out[: scene.nobody] += _turning(scene, scene.flawed_behind, end)
    return out


def _falling(scene: Scene) -> Float64s:
    """Return what it costs each version to be flawed from here on; that several captures are alike, more."""
    cost = FLAW_COST * scene.holders + SURE_NATS * (scene.holders - 1)
    return np.asarray(scene.caution * cost, np.float64)


def _turning(scene: Scene, flawed_beside: Bools, at: int) -> Float64s:
    """Return what it costs each version to be right up to a place, or from it on, that is flawed beyond it."""
    if flawed_beside.all():
        return np.zeros(scene.nobody)
    # Its flaw would end just where another's begins; a level or a copy that reaches over is one event.
    return np.asarray(flawed_beside * np.where(scene.are_torn(at), TORN_COST, CHANCE_COST), np.float64)


def _border(scene: Scene, past: Int32s | None, version: int, part: Range) -> float:
    """Return what it costs that a version goes on with a part behind a border; see ``border_cost``."""
    start, end = part
    if scene.stroke(version, (start, min(start + PREDICTOR_ORDER, end))):
        return 0.0
    return border_cost(past, scene.versions[version], start, end, scene.around)


def _recovering(scene: Scene, version: int, part: Range) -> float:
    """Return what it costs that a version is right in a part behind one in which none was.

    Its own samples foretell it too, as a line drawn from sound to sound does.
    """
    own = _border(scene, scene.versions[version], version, part)
    return min(_border(scene, None, version, part), own + FLAW_COST)
