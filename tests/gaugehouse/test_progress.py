"""Bars on long work: on a terminal and nowhere else, and never among the results."""

import sys

import pytest

from gaugehouse.progress import progress


def test_a_bar_is_for_a_terminal_only(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
    with progress("verify", 2) as step:
        step(1)
    assert capsys.readouterr() == ("", "")
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True)
    monkeypatch.setenv("TERM", "xterm")
    with progress("verify", 2) as step:
        step(2)
    told = capsys.readouterr()
    assert told.out == ""
    assert "verify" in told.err
