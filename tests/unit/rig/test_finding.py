"""Where the rig file is looked for, and what a folder that may not be looked into costs: nothing."""

from __future__ import annotations

from pathlib import Path

import pytest

from polarcheck.errors import InputError
from polarcheck.rig import find_rig


def rig_in(folder: Path, text: str = "") -> Path:
    folder.mkdir(exist_ok=True)
    (folder / "rig.toml").write_text(text, encoding="utf-8")
    return folder / "rig.toml"


def test_the_nearest_rig_file_is_taken(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Named, beside the frames, in the current folder, in the user's own: in that order."""
    frames, here, own = (tmp_path / name for name in ("frames", "here", "own"))
    for folder in (frames, here, own):
        rig_in(folder)
    monkeypatch.chdir(here)
    monkeypatch.setattr("polarcheck.rig.finding.configuration_folder", lambda: own)
    named = find_rig(tmp_path / "any.toml", [frames])
    assert named is not None and named.path == tmp_path / "any.toml"
    for folder, place in (
        (frames, "beside the frames"),
        (here, "in the current folder"),
        (own, "in the configuration folder"),
    ):
        found = find_rig(None, [frames])
        assert found is not None
        assert (found.path.resolve(), found.place) == ((folder / "rig.toml").resolve(), place)
        (folder / "rig.toml").unlink()
    assert find_rig(None, [frames]) is None


def test_folder_that_may_not_be_looked_into_holds_no_rig_file(monkeypatch: pytest.MonkeyPatch) -> None:
    """A configuration folder of another user's must not stop a measurement whose headers name the site."""

    def denied(_: Path) -> bool:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "is_file", denied)
    assert find_rig(None, [Path("frames")]) is None


def test_rig_files_beside_the_frames_must_not_differ(tmp_path: Path) -> None:
    one, other = rig_in(tmp_path / "one", "[site]\n"), rig_in(tmp_path / "other", "[camera]\n")
    with pytest.raises(InputError, match="differ"):
        find_rig(None, [one.parent, other.parent])
    other.write_text("[site]\n", encoding="utf-8")
    assert find_rig(None, [one.parent, other.parent]) is not None
