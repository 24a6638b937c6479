"""A stop that must wait: heard at the end of what is done, never in the midst of it."""

from __future__ import annotations

import signal
import threading
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from annotate.make import _plot
from annotate.stops import held_back


@pytest.mark.parametrize("asked", [signal.SIGINT, signal.SIGTERM])
def test_a_stop_is_heard_when_the_work_is_done(asked: signal.Signals) -> None:
    """All of the work is done, then the stop is raised, and the next one is heard at once again."""
    done = []
    before = signal.getsignal(asked)
    with pytest.raises(KeyboardInterrupt), held_back():
        signal.raise_signal(asked)
        done.append("all of it")
    assert done == ["all of it"]
    assert signal.getsignal(asked) is before


def test_a_stop_while_the_plot_is_drawn_waits_for_it(monkeypatch: pytest.MonkeyPatch) -> None:
    """Its library is loaded and used to the end."""
    done = []

    def draw(*_: object, **__: object) -> None:
        signal.raise_signal(signal.SIGINT)
        done.append("drawn")

    monkeypatch.setattr("annotate.stepdraw.step_times_png", draw)
    monkeypatch.setattr("annotate.make.notice", lambda _plan: "")
    plan = SimpleNamespace(rows=(), ledger=None, case=SimpleNamespace(title="One"))
    decided: Any = SimpleNamespace(plan=plan, fonts=None)
    with pytest.raises(KeyboardInterrupt):
        _plot(decided, Path("step-times.png"))
    assert done == ["drawn"]


def test_without_a_stop_nothing_is_raised_and_an_error_goes_through() -> None:
    """The handlers are as before either way."""
    before = signal.getsignal(signal.SIGINT)
    with held_back():
        pass
    with pytest.raises(ValueError, match="its own"), held_back():
        raise ValueError("its own")
    assert signal.getsignal(signal.SIGINT) is before


def test_in_another_thread_nothing_is_held_back() -> None:
    """Stops are raised in the main thread alone, and only there can they be held back."""
    done = []

    def work() -> None:
        with held_back():
            done.append(signal.getsignal(signal.SIGINT))

    thread = threading.Thread(target=work)
    thread.start()
    thread.join()
    assert done == [signal.getsignal(signal.SIGINT)]
