"""The next command, ready to paste."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from polarcheck.cli.follow_on import correct_tonight, follow_on


@pytest.mark.parametrize(("length", "is_whole"), [(50, True), (62, False)])
def test_path_is_in_the_command_where_a_line_of_80_holds_both(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, length: int, is_whole: bool
) -> None:
    """A longer one would be torn by the terminal, and what is pasted then is two commands."""
    monkeypatch.chdir(tmp_path)
    folder = Path("/" + "n" * (length - len("/") - len("/NEW_FRAMES")))
    book: Any = SimpleNamespace(folder=folder, path=folder / "NEW_FRAMES")
    for line, command in (
        (str(follow_on(None, book, None, False)), "polarcheck follow"),
        (correct_tonight(book, None), "polarcheck correct"),
    ):
        assert command in line
        assert max(map(len, line.splitlines())) < 80
        assert (str(folder) in line) is is_whole
        assert ("in the folder of the frames" in line) is not is_whole
