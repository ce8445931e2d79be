"""A machine without the example sessions passes: what needs them is skipped, and says what for."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from tests.support import examples

if TYPE_CHECKING:
    from pathlib import Path


def test_a_machine_without_examples_skips(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing beside the checkout, no folder named: skipped with a reason, where every reader has to be there too."""
    monkeypatch.setattr(examples, "BESIDE", tmp_path)
    monkeypatch.delenv(examples.FOLDER_VARIABLE, raising=False)
    monkeypatch.setenv("CI", "true")
    with pytest.raises(pytest.skip.Exception, match="no example-session beside the checkout"):
        examples.example_session("example-session")


def test_a_named_folder_has_to_hold_the_session(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A folder that somebody names is used, and its lack told as a failure; nothing else is looked at then."""
    beside = tmp_path / "else" / "example-session"
    beside.mkdir(parents=True)
    (beside / "session.toml").touch()
    monkeypatch.setattr(examples, "BESIDE", tmp_path)
    monkeypatch.delenv(examples.FOLDER_VARIABLE, raising=False)
    assert examples.example_session("example-session") == beside
    monkeypatch.setenv(examples.FOLDER_VARIABLE, str(tmp_path / "named"))
    with pytest.raises(pytest.fail.Exception, match=r"no example-session/session\.toml"):
        examples.example_session("example-session")
    named = tmp_path / "named" / "example-session"
    named.mkdir(parents=True)
    (named / "session.toml").touch()
    assert examples.example_session("example-session") == named
