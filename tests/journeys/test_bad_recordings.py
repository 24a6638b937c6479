"""Wrong recordings through the command itself: exit code 2, where and what and what to write, nothing written."""

from __future__ import annotations

import os
import socket
import struct

import av
import numpy as np
import pytest
from PIL import Image

from tests.journeys.places import Place

pytestmark = pytest.mark.timeout(120)


def mp4_of_sound_alone() -> bytes:
    import io

    raw = io.BytesIO()
    with av.open(raw, "w", format="mp4") as box:
        stream = box.add_stream("aac", rate=48000)
        frame = av.AudioFrame.from_ndarray(np.zeros((1, 48000), np.float32), "fltp", "mono")
        frame.sample_rate = 48000
        box.mux(stream.encode(frame))
        box.mux(stream.encode(None))
    return raw.getvalue()


WRONG_FILES = {
    "empty": (b"", "is empty (0 bytes)"),
    "words": (b"This is no recording.\n" * 20, "is text"),
    "ffconcat": (b"ffconcat version 1.0\nfile good.mp4\n", "points to other files"),
    "hls": (b"#EXTM3U\n#EXT-X-VERSION:3\n#EXTINF:4,\ngood.mp4\n", "points to other files"),
    "dash": (b'<?xml version="1.0"?>\n<MPD xmlns="x"></MPD>\n', "points to other files"),
    "sdp": (b"v=0\r\nc=IN IP4 127.0.0.1\r\nm=video 5004 RTP/AVP 96\r\n", "is text"),
    "noise": (bytes(np.random.default_rng(7).integers(0, 256, 5000, np.uint8)), "no recording"),
    "wav": (
        b"RIFF" + struct.pack("<I", 36 + 96000) + b"WAVEfmt "
        b"" + struct.pack("<IHHIIHH", 16, 1, 1, 48000, 96000, 2, 16) + b"data"
        b"" + struct.pack("<I", 96000) + bytes(96000),
        "no recording",
    ),
}


@pytest.mark.parametrize("kind", WRONG_FILES)
def test_a_file_that_is_no_recording_is_named_for_what_it_is(kind: str, place: Place) -> None:
    """Whatever its ending says; no other file is opened through it."""
    data, words = WRONG_FILES[kind]
    (place.folder / "part.mp4").write_bytes(data)
    place.with_recording("part.mp4")
    place.refused_at("4:14: recordings[1]", "part.mp4", words)


def test_sound_alone_is_no_recording(place: Place) -> None:
    """An MP4 with a sound track and no picture."""
    (place.folder / "part.mp4").write_bytes(mp4_of_sound_alone())
    place.with_recording("part.mp4")
    place.refused_at("4:14: recordings[1]", "holds no video")


@pytest.mark.parametrize("kind", ["PNG", "JPEG", "GIF", "BMP", "TIFF", "WEBP"])
def test_a_picture_is_no_recording(kind: str, place: Place) -> None:
    """A picture that bears a recording's name; where it can be told, it is called a picture."""
    Image.new("RGB", (64, 48)).save(place.folder / "part.mp4", kind)
    place.with_recording("part.mp4")
    place.refused_at(
        "4:14: recordings[1]", "part.mp4", "recording" if kind == "WEBP" else "still picture"
    )


def test_a_recording_cut_off_before_its_index_is_refused(place: Place, good: bytes) -> None:
    """An MP4 whose index stood at its end and never came."""
    end = good.index(b"moov")
    (place.folder / "part.mp4").write_bytes(good[: end - 4])
    place.with_recording("part.mp4")
    place.refused_at("4:14: recordings[1]", "part.mp4")


def test_a_folder_is_no_recording(place: Place) -> None:
    """The advice is to name the file inside."""
    (place.folder / "part.mp4").mkdir()
    place.with_recording("part.mp4")
    place.refused_at("4:14: recordings[1]", "part.mp4 is a folder", "inside it")


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="NOT CHECKED: no named pipes here")
def test_a_pipe_is_refused_without_waiting_for_it(place: Place) -> None:
    """Nobody writes into it: reading would wait for ever."""
    os.mkfifo(place.folder / "part.mp4")
    place.with_recording("part.mp4")
    place.refused_at("4:14: recordings[1]", "is a pipe or a device")


@pytest.mark.skipif(not hasattr(socket, "AF_UNIX"), reason="NOT CHECKED: no such sockets here")
def test_a_socket_is_refused(place: Place, monkeypatch: pytest.MonkeyPatch) -> None:
    """It is no file either."""
    monkeypatch.chdir(place.folder)
    with socket.socket(socket.AF_UNIX) as ear:
        ear.bind("part.mp4")
        place.with_recording("part.mp4")
        place.refused_at("4:14: recordings[1]", "is a pipe or a device")


@pytest.mark.parametrize(
    "written",
    [
        "http://192.0.2.1/part.mp4",
        "https://192.0.2.1/part.mp4",
        "rtsp://192.0.2.1/1",
        "file:good.mp4",
        "concat:good.mp4|good.mp4",
        "data:video/mp4;base64,AAAA",
    ],
)
def test_an_address_is_never_opened(written: str, place: Place) -> None:
    """192.0.2.0/24 is reserved for documentation (RFC 5737): no answer would ever come."""
    place.with_recording(written)
    place.refused_at("4:14: recordings[1]", "is an address", "beside the case file")


@pytest.mark.parametrize(
    ("written", "words"),
    [
        ("../good.mp4", "leads out of the case file's folder"),
        ("sub/../../good.mp4", "leads out of the case file's folder"),
        ("/etc/hostname", "does not begin at the case file's folder"),
        ("C:/part.mp4", "does not begin at the case file's folder"),
        ("sub\\part.mp4", "backslash"),
        ("\\\\server\\part.mp4", "does not begin at the case file's folder"),
        ("no-such.mp4", "is not there"),
        ("good.mp4/part.mp4", "good.mp4/part.mp4"),
    ],
)
def test_a_file_that_is_elsewhere_or_nowhere_is_refused(
    written: str, words: str, place: Place
) -> None:
    """A case moves as one folder: nothing outside it is named."""
    place.with_recording(written)
    place.refused_at("4:14: recordings[1]", words)


def test_links_that_go_round_in_a_circle_are_refused(place: Place) -> None:
    """A link to itself names no file."""
    try:
        (place.folder / "part.mp4").symlink_to("part.mp4")
    except OSError:
        pytest.skip("NOT CHECKED: this account may not make links")
    place.with_recording("part.mp4")
    place.refused_at("4:14: recordings[1]", "part.mp4")
