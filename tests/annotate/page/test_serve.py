"""The server over a real socket: ranges, what lies outside, the access word, the headers."""

from __future__ import annotations

import http.client
import re
import socket
from collections.abc import Iterator
from email.parser import BytesParser
from pathlib import Path

import pytest

from annotate.page.serve import Door, check_access, find_file, is_loopback, make_app, serve
from chapters.errors import InputError
from tests.annotate.page.running import served

FILM = bytes(range(256)) * 40


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A small site with a secret beside it."""
    root = tmp_path_factory.mktemp("served")
    site = root / "site"
    (site / "cases/one").mkdir(parents=True)
    (site / "assets").mkdir()
    (site / "index.html").write_text("<h1>Club</h1>", encoding="utf-8")
    (site / "cases/one/index.html").write_text("<h1>One</h1>", encoding="utf-8")
    (site / "assets/club.css").write_text("h1 {}", encoding="utf-8")
    (site / "cases/one/film.mp4").write_bytes(FILM)
    (site / "empty.txt").write_bytes(b"")
    (site / ".hidden.txt").write_text("secret", encoding="utf-8")
    (site / "program.py").write_text("secret", encoding="utf-8")
    (root / "secret.txt").write_text("secret", encoding="utf-8")
    (site / "link.txt").symlink_to(root / "secret.txt")
    (site / "out").symlink_to(root, target_is_directory=True)
    return site


@pytest.fixture(scope="module")
def address(site: Path) -> Iterator[str]:
    """The server's host and port."""
    with served(site) as url:
        yield url.removeprefix("http://")


def ask(
    address: str, path: str, method: str = "GET", body: str | None = None, **fields: str
) -> tuple[int, dict[str, str], bytes]:
    """Status, headers in lower case, body."""
    connection = http.client.HTTPConnection(address, timeout=10)
    headers = {name.replace("_", "-"): value for name, value in fields.items()}
    connection.request(method, path, body=body, headers=headers)
    answer = connection.getresponse()
    out = answer.status, {k.lower(): v for k, v in answer.getheaders()}, answer.read()
    connection.close()
    return out


def test_whole_film(address: str) -> None:
    """Without a Range the whole file comes, and the answer says that ranges are welcome."""
    status, head, body = ask(address, "/cases/one/film.mp4")
    assert (status, body) == (200, FILM)
    assert head["accept-ranges"] == "bytes" and head["content-type"] == "video/mp4"
    assert int(head["content-length"]) == len(FILM)


@pytest.mark.parametrize(
    ("field", "first", "last"),
    [
        ("bytes=0-0", 0, 0),
        ("bytes=100-199", 100, 199),
        ("bytes=-5", 10235, 10239),
        ("bytes=10000-", 10000, 10239),
        ("bytes=0-999999", 0, 10239),
        ("bytes=-999999", 0, 10239),
    ],
)
def test_one_range(address: str, field: str, first: int, last: int) -> None:
    """One range is answered 206 with exactly its bytes."""
    status, head, body = ask(address, "/cases/one/film.mp4", Range=field)
    assert (status, body) == (206, FILM[first : last + 1])
    assert head["content-range"] == f"bytes {first}-{last}/10240"
    assert int(head["content-length"]) == last - first + 1


def test_many_ranges(address: str) -> None:
    """Several ranges come as multipart/byteranges, which the standard library's mail parser reads."""
    status, head, body = ask(address, "/cases/one/film.mp4", Range="bytes=0-9,500-509,-3")
    assert status == 206 and int(head["content-length"]) == len(body)
    parts = (
        BytesParser()
        .parsebytes(f"Content-Type: {head['content-type']}\r\n\r\n".encode() + body)
        .get_payload()
    )
    assert [part["Content-Range"] for part in parts] == [
        "bytes 0-9/10240",
        "bytes 500-509/10240",
        "bytes 10237-10239/10240",
    ]
    boundary = re.findall("boundary=(.*)", head["content-type"])[0].encode()
    pieces = [p.split(b"\r\n\r\n", 1)[1] for p in body.split(b"\r\n--" + boundary)[1:-1]]
    assert pieces == [FILM[0:10], FILM[500:510], FILM[-3:]]


@pytest.mark.parametrize("field", ["bytes=10240-", "bytes=99999-100000", "bytes=-0"])
def test_beyond_the_end(address: str, field: str) -> None:
    """A range beyond the end is answered 416 with the length."""
    status, head, body = ask(address, "/cases/one/film.mp4", Range=field)
    assert (status, head["content-range"], body) == (416, "bytes */10240", b"")


@pytest.mark.parametrize("field", ["items=0-5", "bytes=9-3", "bytes=x", "nonsense"])
def test_ranges_that_are_none(address: str, field: str) -> None:
    """What is no byte range is ignored."""
    assert ask(address, "/cases/one/film.mp4", Range=field)[0] == 200


def test_conditions(address: str) -> None:
    """A known copy is answered 304; a range of a copy that has changed since is answered whole."""
    tag = ask(address, "/cases/one/film.mp4")[1]["etag"]
    assert ask(address, "/cases/one/film.mp4", If_None_Match=f'"x", W/{tag}')[0] == 304
    assert ask(address, "/cases/one/film.mp4", Range="bytes=0-1", If_Range=tag)[0] == 206
    assert ask(address, "/cases/one/film.mp4", Range="bytes=0-1", If_Range='"old"')[0] == 200
    assert ask(address, "/cases/one/film.mp4", Range="bytes=0-1", If_Range=f"W/{tag}")[0] == 200


def test_head(address: str) -> None:
    """HEAD gives the same head without a body, and no range (RFC 9110, 14.2)."""
    status, head, body = ask(address, "/cases/one/film.mp4", "HEAD", Range="bytes=0-1")
    assert (status, head["content-length"], body) == (200, "10240", b"")


def test_empty_file(address: str) -> None:
    """An empty file is a file."""
    assert ask(address, "/empty.txt")[::2] == (200, b"")
    assert ask(address, "/empty.txt", Range="bytes=0-")[0] == 416


@pytest.mark.parametrize(
    "path",
    [
        "/../secret.txt", "/%2e%2e/secret.txt", "/..%2fsecret.txt", "/%2e%2e%2fsecret.txt", "/cases/../../secret.txt", "/..%5csecret.txt",
        "/..\\secret.txt", "//secret.txt", "/%2f%2e%2e/secret.txt", "/link.txt", "/out/secret.txt", "/.hidden.txt", "/program.py", "/index.html%00.txt",
        "/etc/passwd", "/%252e%252e/secret.txt", "/cases/one/./film.mp4/../../../secret.txt", "/index.html/", "/c:/secret.txt", "/cases/one/film.mp4::$DATA",
    ],
)  # fmt: skip
def test_nothing_outside(address: str, path: str) -> None:
    """No spelling of a path leads out of the site, through a link, to a hidden file or an unknown kind."""
    host, port = address.split(":")
    with socket.create_connection((host, int(port)), timeout=10) as raw:
        raw.sendall(f"GET {path} HTTP/1.1\r\nHost: {address}\r\nConnection: close\r\n\r\n".encode())
        answer = b"".join(iter(lambda: raw.recv(65536), b""))
    assert answer.split(b" ")[1] in (b"404", b"400")
    assert b"secret" not in answer.split(b"\r\n\r\n", 1)[1]


def test_names_of_windows(site: Path) -> None:
    """Device names, drives, trailing dots and backslashes are no files anywhere."""
    for path in (
        "/con",
        "/NUL.txt",
        "/com1.html",
        "/index.html.",
        "/index.html ",
        "/a:b.html",
        "/cases\\one\\index.html",
    ):
        assert find_file(site, path) is None
    assert find_file(site, "/") == site.resolve() / "index.html"


def test_folders(address: str) -> None:
    """A folder's address leads to its page."""
    status, head, _ = ask(address, "/cases/one")
    assert (status, head["location"]) == (308, "./one/")
    assert b"One" in ask(address, "/cases/one/")[2]


def test_headers(address: str) -> None:
    """Every answer carries the strict policy, without an exception for inline scripts."""
    for path in ("/", "/cases/one/film.mp4", "/nowhere"):
        head = ask(address, path)[1]
        policy = head["content-security-policy"]
        assert (
            "default-src 'none'" in policy
            and "script-src 'self';" in policy
            and "unsafe" not in policy
        )
        assert head["x-content-type-options"] == "nosniff"
        assert head["referrer-policy"] == "no-referrer"
        assert "server" not in head


@pytest.mark.parametrize("method", ["POST", "PUT", "DELETE", "OPTIONS"])
def test_only_reading(address: str, method: str) -> None:
    """Nothing can be changed through the server."""
    assert ask(address, "/index.html", method)[0] == 405


@pytest.mark.parametrize(
    ("host", "status"),
    [
        ("127.0.0.1:80", 200),
        ("localhost", 200),
        ("[::1]:9", 200),
        ("club.example", 421),
        ("", 421),
        ("127.0.0.1.example", 421),
        ("[", 421),
    ],
)
def test_own_names_only(address: str, host: str, status: int) -> None:
    """Without a word the site answers only to this machine's own names, so no page of the web can reach it by a false name."""
    assert ask(address, "/", Host=host)[0] == status


def test_access_word(site: Path) -> None:
    """With a word nothing but the styles comes before it is said; a wrong one is refused, the right one opens."""
    with served(site, "tin opener") as url:
        address = url.removeprefix("http://")
        for path in ("/", "/cases/one/film.mp4", "/nowhere"):
            status, _, body = ask(address, path)
            assert status == 401 and b"Access word" in body and b"Club</h1>" not in body
        assert ask(address, "/assets/club.css")[0] == 200
        form = {"Content_Type": "application/x-www-form-urlencoded"}
        assert ask(address, "/cases/one/", "POST", "word=wrong", **form)[0] == 401
        status, head, _ = ask(address, "/cases/one/", "POST", "word=tin+opener", **form)
        assert (status, head["location"]) == (303, "/cases/one/")
        assert (
            "httponly" in head["set-cookie"].lower()
            and "samesite=lax" in head["set-cookie"].lower()
        )
        cookie = head["set-cookie"].split(";")[0]
        assert ask(address, "/cases/one/film.mp4", Cookie=cookie, Range="bytes=0-1")[::2] == (
            206,
            FILM[:2],
        )
        assert ask(address, "/", Cookie="teachcut=guess")[0] == 401
        assert (
            ask(address, "//elsewhere.example/", "POST", "word=tin+opener", **form)[1]["location"]
            == "/elsewhere.example/"
        )
        assert ask(address, "/", "POST", "word=" + "x" * 5000, **form)[0] == 413


def test_ten_wrong_words_a_minute() -> None:
    """After ten wrong words the door waits until a minute has passed."""
    now = [0.0]
    door = Door("tin opener", lambda: now[0])
    for _ in range(10):
        assert not door.busy()
        assert not door.says("wrong")
    assert door.busy()
    now[0] = 61
    assert not door.busy() and door.says("tin opener")


def test_no_network_without_a_word(tmp_path: Path) -> None:
    """Serving to others asks for a word, and a short one is refused."""
    with pytest.raises(
        InputError, match=r"0\.0\.0\.0 opens the site to a network; give an access word"
    ):
        check_access("0.0.0.0", None)
    with pytest.raises(InputError, match="at least 6 characters"):
        check_access("0.0.0.0", "abc")
    check_access("0.0.0.0", "tin opener")
    check_access("127.0.0.1", None)
    assert is_loopback("::1") and is_loopback("127.9.9.9") and not is_loopback("192.0.2.1")
    with pytest.raises(InputError, match="holds no site; run teachcut club first"):
        serve(tmp_path)
    assert make_app(tmp_path) is not None
