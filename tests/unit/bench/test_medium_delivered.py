"""What the trials compute from a record is what a set holds."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import numpy as np
import soundfile

from assembler import build_set
from scripts.bench.medium_delivered import FADED, delivered
from scripts.bench.medium_sessions import make_session

if TYPE_CHECKING:
    from pathlib import Path


def test_delivered_samples_are_those_of_a_built_set(tmp_path: Path) -> None:
    """Read back by libsndfile, every sample outside of fades is the one that the trials judge."""
    session = make_session(tmp_path, "three", 5, seconds=5, tracks=3, own=True)
    target = tmp_path / "set"
    build_set(session.sheet, target)
    record = json.loads((target / "data" / "assembly.json").read_text())
    spans = 0
    for track in record["tracks"]:
        found, _ = soundfile.read(str(target / "data" / track["file"]), dtype="int32")
        words = delivered(session, record, track).words
        outside = words != FADED
        assert (words[outside] << 8 == found[outside]).all()
        assert np.mean(outside) > 0.9
        spans += len(track["spans"])
    assert spans > 6
