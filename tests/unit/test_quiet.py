"""Warnings and astropy's log are kept still while anyone reads, and are as before afterwards, in whatever order they end."""

from __future__ import annotations

import warnings
from contextlib import AbstractContextManager, nullcontext
from pathlib import Path

import pytest
from astropy import log

from polarcheck.frames.loading import careful
from polarcheck.quiet import WhileAny, quiet


@pytest.mark.filterwarnings("error")
def test_the_first_to_leave_does_not_speak_for_the_others() -> None:
    before = list(warnings.filters)
    first, second = quiet(), quiet()
    first.__enter__()
    second.__enter__()
    first.__exit__(None, None, None)
    warnings.warn("kept still", UserWarning, stacklevel=1)
    second.__exit__(None, None, None)
    assert list(warnings.filters) == before
    with pytest.raises(UserWarning):
        warnings.warn("heard", UserWarning, stacklevel=1)


def test_frames_read_side_by_side_leave_filters_and_log_as_they_were(tmp_path: Path) -> None:
    """As threads do that read one frame each: the second begins before the first has ended."""
    before, was_disabled = list(warnings.filters), log.disabled
    first, second = careful(tmp_path / "a.fits"), careful(tmp_path / "b.fits")
    first.__enter__()
    second.__enter__()
    first.__exit__(None, None, None)
    assert log.disabled
    second.__exit__(None, None, None)
    assert log.disabled is was_disabled
    assert list(warnings.filters) == before


def test_an_error_inside_ends_it_too() -> None:
    before = list(warnings.filters)
    with pytest.raises(ZeroDivisionError), quiet():
        1 / 0  # noqa: B018
    assert list(warnings.filters) == before


def test_a_change_that_fails_is_tried_again() -> None:
    calls: list[int] = []

    def make() -> AbstractContextManager[None]:
        calls.append(1)
        if len(calls) == 1:
            raise RuntimeError
        return nullcontext()

    state = WhileAny(make)
    with pytest.raises(RuntimeError), state:
        pass
    with state, state:
        pass
    assert len(calls) == 2
