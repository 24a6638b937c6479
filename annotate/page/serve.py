"""The club's site over HTTP, for this machine or, with an access word, for a local network.

Starlette and uvicorn are the optional extra ``club``. Serves only files that lie inside the site
and whose kind is known; Range requests as RFC 9110 asks, so that a film can jump.
"""

from __future__ import annotations

import hmac
import ipaddress
import secrets
import time
from collections import deque
from collections.abc import AsyncIterator, Callable
from email.utils import formatdate
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import parse_qs, urlsplit

from annotate.page import pages
from annotate.page.ranges import Bytes, parse_range
from chapters.errors import InputError

if TYPE_CHECKING:
    import uvicorn
    from starlette.applications import Starlette
    from starlette.requests import Request
    from starlette.responses import Response

KINDS = {
    ".html": "text/html; charset=utf-8",
    ".css": "text/css; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".json": "application/json",
    ".mp4": "video/mp4",
    ".vtt": "text/vtt; charset=utf-8",
    ".jpg": "image/jpeg",
    ".png": "image/png",
    ".xml": "application/atom+xml; charset=utf-8",
    ".txt": "text/plain; charset=utf-8",
}
HEADERS = {
    "Content-Security-Policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; font-src 'self' data:; "
        "img-src 'self' data:; media-src 'self'; base-uri 'none'; form-action 'self'; "
        "frame-ancestors 'none'"
    ),
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), microphone=(), geolocation=()",
    "Cache-Control": "no-cache",
}
SHORTEST_WORD = 6
_COOKIE = "teachcut"
_CHUNK_BYTES = 256 * 1024
_WRONG_WORDS_A_MINUTE = 10
_MOST_FORM_BYTES = 4096
_WINDOWS_DEVICES = ("con", "prn", "aux", "nul", "com", "lpt")


def serve(
    site: Path,
    host: str = "127.0.0.1",
    port: int = 8300,
    word: str | None = None,
    said: Callable[[str], None] | None = None,
) -> None:
    """Serve ``site`` until interrupted. ``said`` gets the address once, before the first request.

    Raises InputError when there is no site, when the site would be open to a network without an
    access word, or when the extra ``club`` is not installed.
    """
    check_access(host, word)
    if not (site / "index.html").is_file():
        raise InputError(f"{site.name}: holds no site; run teachcut club first")
    try:
        import starlette  # noqa: F401
        import uvicorn
    except ImportError:
        raise InputError(
            "serving needs the extra club; install it with: pip install 'teachcut[club]'"
        ) from None
    config = server_config(make_app(site, word), host, port)
    if said is not None:
        shown = f"[{host}]" if ":" in host else host
        said(f"http://{shown}:{port}/")
    uvicorn.Server(config).run()


def server_config(app: Starlette, host: str, port: int) -> uvicorn.Config:
    """How uvicorn runs the site: quiet, nameless, trusting no proxy."""
    import uvicorn

    return uvicorn.Config(
        app,
        host=host,
        port=port,
        log_level="warning",
        access_log=False,
        server_header=False,
        proxy_headers=False,
        timeout_graceful_shutdown=2,
    )


def check_access(host: str, word: str | None) -> None:
    """Raises InputError when others could reach the site without a word, or the word is too short."""
    if word is not None and len(word) < SHORTEST_WORD:
        raise InputError(f"the access word is short; write at least {SHORTEST_WORD} characters")
    if word is None and not is_loopback(host):
        raise InputError(
            f"{host} opens the site to a network; give an access word, or serve on 127.0.0.1"
        )


def is_loopback(host: str) -> bool:
    """Whether only this machine can reach ``host``."""
    if host.lower() == "localhost":
        return True
    try:
        return ipaddress.ip_address(host.strip("[]")).is_loopback
    except ValueError:
        return False


def find_file(site: Path, path: str) -> Path | None:
    """The file of ``site`` at the decoded URL path, or None; never one outside the site."""
    names = path.removeprefix("/").split("/")
    if names[-1] == "":
        names[-1] = "index.html"
    if not all(_plain(name) for name in names):
        return None
    root = site.resolve()
    try:
        found = root.joinpath(*names).resolve(strict=True)
    except (OSError, RuntimeError, ValueError):
        return None
    inside = found.is_relative_to(root) and found.is_file() and found.suffix in KINDS
    return found if inside else None


def _plain(name: str) -> bool:
    """A name that is one step down on every system: no dots in front, no drive, no device."""
    stem = name.split(".", maxsplit=1)[0].lower().rstrip("0123456789¹²³")
    return (
        name != ""
        and not name.startswith(".")
        and not name.endswith((".", " "))
        and not any(c in '\\:*?"<>|' or ord(c) < 32 for c in name)
        and stem not in _WINDOWS_DEVICES
    )


class Door:
    """Who has said the access word; without a word everybody has.

    A wrong word costs one of ten tries a minute, for all visitors together.
    """

    def __init__(self, word: str | None, clock: Callable[[], float]) -> None:
        self.word = word
        self.token = secrets.token_urlsafe(32)
        self._clock = clock
        self._wrong: deque[float] = deque()

    def open_to(self, cookie: str | None) -> bool:
        """Whether this visitor has said the word."""
        if self.word is None:
            return True
        return cookie is not None and hmac.compare_digest(
            cookie.encode("utf-8"), self.token.encode("utf-8")
        )

    def busy(self) -> bool:
        """Whether too many wrong words came within the last minute."""
        now = self._clock()
        while self._wrong and now - self._wrong[0] > 60:
            self._wrong.popleft()
        return len(self._wrong) >= _WRONG_WORDS_A_MINUTE

    def says(self, word: str) -> bool:
        """Whether ``word`` is the access word; remembers when it is not."""
        right = self.word is not None and hmac.compare_digest(
            word.encode("utf-8"), self.word.encode("utf-8")
        )
        if not right:
            self._wrong.append(self._clock())
        return right


def make_app(
    site: Path, word: str | None = None, clock: Callable[[], float] = time.monotonic
) -> Starlette:
    """The site as an ASGI application. Without a word it answers only to this machine's own names."""
    from starlette.applications import Starlette
    from starlette.responses import Response
    from starlette.routing import Route

    door = Door(word, clock)

    async def answer(request: Request) -> Response:
        if door.word is None and not _own_name(request.headers.get("host", "")):
            return _text(Response, 421, "This site answers to this machine only.\n")
        if request.method == "POST":
            return await _enter(request, door, Response)
        path = str(request.scope["path"])
        if not door.open_to(request.cookies.get(_COOKIE)) and not _free(path):
            page = pages.fill("enter.html", wrong=False, later=False)
            return _html(Response, 401, page)
        found = find_file(site, path)
        if found is None:
            folder = find_file(site, f"{path}/")
            if folder is not None and not path.endswith("/"):
                return Response(
                    status_code=308,
                    headers={**HEADERS, "Location": f"./{path.rsplit('/', 1)[-1]}/"},
                )
            return _html(Response, 404, pages.fill("missing.html"))
        return _file(request, found)

    return Starlette(routes=[Route("/{path:path}", answer, methods=["GET", "HEAD", "POST"])])


def _free(path: str) -> bool:
    """Styles carry no case and are needed to ask for the word."""
    return path.startswith("/assets/") and path.endswith(".css")


def _own_name(host: str) -> bool:
    try:
        name = urlsplit(f"//{host}").hostname
    except ValueError:
        return False
    return name is not None and is_loopback(name)


def _text(response: type[Response], status: int, text: str) -> Response:
    return response(text, status, HEADERS, "text/plain")


def _html(response: type[Response], status: int, text: str) -> Response:
    return response(text, status, HEADERS, "text/html")


async def _enter(request: Request, door: Door, response: type[Response]) -> Response:
    """The answer to a posted word: back to the page with a cookie, or the question again."""
    if door.word is None:
        return _text(response, 405, "There is nothing to post here.\n")
    if door.busy():
        return _html(response, 429, pages.fill("enter.html", wrong=False, later=True))
    body = b""
    async for chunk in request.stream():
        body += chunk
        if len(body) > _MOST_FORM_BYTES:
            return _text(response, 413, "Too long.\n")
    said = parse_qs(body.decode("utf-8", "replace"), max_num_fields=4).get("word", [""])[0]
    if not door.says(said):
        return _html(response, 401, pages.fill("enter.html", wrong=True, later=False))
    answer = response(status_code=303, headers={**HEADERS, "Location": _here(request)})
    answer.set_cookie(_COOKIE, door.token, httponly=True, samesite="lax", path="/")
    return answer


def _here(request: Request) -> str:
    """The path of the page that was asked for; never another site (``//host``)."""
    raw = request.scope.get("raw_path") or b"/"
    return "/" + raw.decode("ascii", "replace").split("?")[0].lstrip("/\\")


def _file(request: Request, path: Path) -> Response:
    """The file, whole or in the ranges asked for."""
    from starlette.responses import Response, StreamingResponse

    stat = path.stat()
    tag = f'"{stat.st_mtime_ns:x}-{stat.st_size:x}"'
    head = {
        **HEADERS,
        "Accept-Ranges": "bytes",
        "ETag": tag,
        "Last-Modified": formatdate(stat.st_mtime, usegmt=True),
    }
    if _matches(request.headers.get("if-none-match"), tag):
        return Response(status_code=304, headers=head)
    kind = KINDS[path.suffix]
    wanted = parse_range(_range_field(request, head), stat.st_size)
    if wanted is None:
        whole = (Bytes(0, stat.st_size - 1),) if stat.st_size else ()
        head["Content-Length"] = str(stat.st_size)
        body = _bytes(path, whole, []) if request.method == "GET" else _nothing()
        return StreamingResponse(body, 200, head, kind)
    if not wanted:
        head["Content-Range"] = f"bytes */{stat.st_size}"
        return Response(status_code=416, headers=head)
    if len(wanted) == 1:
        one = wanted[0]
        head["Content-Range"] = f"bytes {one.first}-{one.last}/{stat.st_size}"
        head["Content-Length"] = str(one.length)
        return StreamingResponse(_bytes(path, wanted, []), 206, head, kind)
    boundary = secrets.token_hex(16)
    parts = [
        f"\r\n--{boundary}\r\nContent-Type: {kind}\r\n"
        f"Content-Range: bytes {one.first}-{one.last}/{stat.st_size}\r\n\r\n".encode("ascii")
        for one in wanted
    ]
    parts.append(f"\r\n--{boundary}--\r\n".encode("ascii"))
    length = sum(len(part) for part in parts) + sum(one.length for one in wanted)
    head["Content-Length"] = str(length)
    kind = f"multipart/byteranges; boundary={boundary}"
    return StreamingResponse(_bytes(path, wanted, parts), 206, head, kind)


def _range_field(request: Request, head: dict[str, str]) -> str | None:
    """The Range field, unless the method or an If-Range that does not match makes it void."""
    if request.method != "GET":
        return None
    condition = request.headers.get("if-range")
    if condition is not None and condition not in (head["ETag"], head["Last-Modified"]):
        return None
    return request.headers.get("range")


def _matches(field: str | None, tag: str) -> bool:
    """If-None-Match by weak comparison (RFC 9110, 13.1.2)."""
    if field is None:
        return False
    return field.strip() == "*" or tag in (t.strip().removeprefix("W/") for t in field.split(","))


async def _nothing() -> AsyncIterator[bytes]:
    return
    yield b""


async def _bytes(path: Path, wanted: tuple[Bytes, ...], heads: list[bytes]) -> AsyncIterator[bytes]:
    """The bytes of each range, each after its head; the last head closes the answer."""
    from anyio import open_file

    async with await open_file(path, "rb") as file:
        for index, one in enumerate(wanted):
            if heads:
                yield heads[index]
            await file.seek(one.first)
            left = one.length
            while left > 0:
                chunk = await file.read(min(_CHUNK_BYTES, left))
                if not chunk:
                    return
                left -= len(chunk)
                yield chunk
    if heads:
        yield heads[-1]
