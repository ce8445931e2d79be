"""Why something is told: its words, and what is kept where several are told as one."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

from assembler import record
from assembler.aligner.records.because import Because, Rule, stronger, weaker
from assembler.aligner.records.findings import (
    FoundFlaw,
    Undecided,
    joined_flaws,
    joined_places,
    visited_places,
)
from assembler.report import RULE_WORDS, because_words, with_reason


def test_every_rule_has_words() -> None:
    """Page and terminal say each of them in an engineer's words; the schema knows each and older ones."""
    assert set(RULE_WORDS) == {rule.value for rule in Rule}
    schema = json.loads((Path(record.__file__).parent / "assembly.schema.json").read_text(encoding="utf-8"))
    assert set(schema["$defs"]["because"]["properties"]["rule"]["enum"]) >= set(RULE_WORDS)


def test_flaws_joined_keep_the_strongest_rule() -> None:
    """An exact rule before any count, a count before none, the larger before the less."""
    flaws = [
        FoundFlaw("P1", 0, "mute", 0, 10, because=Because(Rule.OTHER_TRACKS)),
        FoundFlaw("P1", 0, "mute", 10, 20, because=Because(Rule.STORY, 31.5)),
        FoundFlaw("P1", 0, "mute", 20, 30, because=Because(Rule.STORY, 212.0)),
    ]
    (joined,) = joined_flaws(flaws)
    assert (joined.start, joined.end, joined.because) == (0, 30, Because(Rule.STORY, 212.0))
    still = FoundFlaw("P1", 0, "mute", 30, 40, because=Because(Rule.STANDSTILL))
    assert joined_flaws([*flaws, still])[0].because == Because(Rule.STANDSTILL)
    first, second = Because(Rule.STORY, 5.0), Because(Rule.CONCEALED, 5.0)
    assert (stronger(first, second), weaker(first, second)) == (first, first)


def test_open_places_joined_keep_what_is_least_sure() -> None:
    """A person who looks at several parts at once is told the worst of them."""
    places = [
        Undecided(0, start, start + 10, "P1", ("P2",), because=Because(Rule.STORY, nats))
        for start, nats in ((0, 9.0), (20, 2.5))
    ]
    assert [place.because for place in joined_places(places)] == [Because(Rule.STORY, 2.5)]


def test_places_close_together_are_visited_once_whoever_differs() -> None:
    """All passes that differ in any of them are named; on another track, or further away, it is another visit."""
    because = Because(Rule.STORY, 2.5)
    first = Undecided(0, 0, 10, "P1", ("P2",), because=because)
    second = Undecided(0, 20, 40, "P2", ("P1", "P3"), because=because)
    assert joined_places([first, second]) == [first, second]
    (visit,) = visited_places([first, second])
    assert (visit.start, visit.end, visit.members) == (0, 40, ("P1", "P2", "P3"))
    assert len(visited_places([first, replace(second, start=6000, end=6020)])) == 2
    assert len(visited_places([first, replace(second, track=1)])) == 2


def test_words_say_the_rule_and_its_lead() -> None:
    """The lead to whole nats, a small one to a tenth; none where the rule has none."""
    assert because_words("agreed_build", 212.4) == "because: a machine's doing, though passes agree, 212 nats"
    assert because_words("likeliest_story", 1.25) == "because: likeliest story of the place, 1.2 nats"
    assert because_words("standstill", None) == "because: all tracks stand still at once"
    assert because_words("of_a_later_version", None) == "because: of a later version"
    assert with_reason("Open", "", None) == "Open"
