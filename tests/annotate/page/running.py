"""The site's own server, running for a test."""

from __future__ import annotations

import asyncio
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import uvicorn

from annotate.page.serve import make_app, server_config


async def _until_stopped(server: uvicorn.Server) -> None:
    """Serve; then close what a browser still holds open, which the loop's end would leave unclosed."""
    await server.serve()
    await asyncio.sleep(0.05)  # a connection that was just accepted is known by then
    for connection in list(server.server_state.connections):
        connection.transport.abort()
    await asyncio.sleep(0.05)


@contextmanager
def served(site: Path, word: str | None = None) -> Iterator[str]:
    """The site behind uvicorn on a free port of this machine; gives its address."""
    server = uvicorn.Server(server_config(make_app(site, word), "127.0.0.1", 0))
    thread = threading.Thread(target=asyncio.run, args=(_until_stopped(server),), daemon=True)
    thread.start()
    while not server.started:
        assert thread.is_alive(), "the server did not start"
        time.sleep(0.01)
    port = server.servers[0].sockets[0].getsockname()[1]
    try:
        yield f"http://127.0.0.1:{port}"
    finally:
        server.should_exit = True
        thread.join(10)
