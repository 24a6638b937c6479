"""A request to end that comes at a bad moment is heard a moment later.

A stop is an exception raised wherever the main thread happens to be. In the midst of loading a
library that is written in another language it leaves that library half loaded, and the stop is lost
in an error of the library's own: of 220 stops while the plot's library loaded two were.
"""

from __future__ import annotations

import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager

#: What asks a run to end: Ctrl-C, and the system.
_ASKS = (signal.SIGINT, signal.SIGTERM)


@contextmanager
def held_back() -> Iterator[None]:
    """What is done meanwhile is done to its end; a stop asked for meanwhile is raised then.

    For what takes a second or two. Raises KeyboardInterrupt. Does nothing in another thread than
    the main one, where no stop is ever raised.
    """
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    asked: list[int] = []
    before = {n: signal.signal(n, lambda number, _frame: asked.append(number)) for n in _ASKS}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, signal.SIG_DFL if handler is None else handler)
        if asked:
            raise KeyboardInterrupt
