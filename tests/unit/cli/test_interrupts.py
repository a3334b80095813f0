"""The interrupt key is heard at once, but not in the middle of what belongs together."""

from __future__ import annotations

import signal

import pytest

from polarcheck.cli.interrupts import Interrupts

NUMBERS = [signal.SIGINT, signal.SIGTERM]


@pytest.mark.parametrize("number", NUMBERS)
def test_an_interrupt_is_heard_at_once(number: int) -> None:
    done: list[str] = []
    with pytest.raises(KeyboardInterrupt), Interrupts().heard():
        signal.raise_signal(number)
        done.append("after")
    assert done == []


@pytest.mark.parametrize("number", NUMBERS)
def test_what_belongs_together_is_done_first(number: int) -> None:
    interrupts, done = Interrupts(), []
    with pytest.raises(KeyboardInterrupt), interrupts.heard():
        with interrupts.put_off():
            done.append("written")
            signal.raise_signal(number)
            done.append("shown")
        done.append("after")
    assert done == ["written", "shown"]


def test_a_second_interrupt_does_not_wait() -> None:
    interrupts, done = Interrupts(), []
    with pytest.raises(KeyboardInterrupt), interrupts.heard(), interrupts.put_off():
        signal.raise_signal(signal.SIGINT)
        done.append("written")
        signal.raise_signal(signal.SIGINT)
        done.append("shown")
    assert done == ["written"]
    with interrupts.heard(), interrupts.put_off():
        done.append("nothing waits from before")
    assert done[-1] == "nothing waits from before"


def test_handlers_are_given_back() -> None:
    before = [signal.getsignal(number) for number in NUMBERS]
    with Interrupts().heard():
        assert [signal.getsignal(number) for number in NUMBERS] != before
    assert [signal.getsignal(number) for number in NUMBERS] == before


@pytest.mark.parametrize("number", NUMBERS)
def test_what_whoever_started_us_has_us_ignore_stays_ignored(number: int) -> None:
    before = signal.signal(number, signal.SIG_IGN)
    try:
        with Interrupts().heard():
            signal.raise_signal(number)
        assert signal.getsignal(number) is signal.SIG_IGN
    finally:
        signal.signal(number, before)
