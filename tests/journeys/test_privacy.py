"""Nothing of the source but its pictures goes out, and a patient's film says when it may not go out."""

from __future__ import annotations

import base64
import html
import re
import struct
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

import av
import cv2
import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image, PngImagePlugin

from annotate.cli import main
from annotate.picture.fonts import FontChain
from annotate.words import NOT_FOR_PUBLICATION
from tests.clips import SoundTrack, VideoTrack, even_times, ffmpeg, write_clip

pytestmark = pytest.mark.timeout(300)

U8 = NDArray[np.uint8]

#: What a recorder, an exporting program or a hand may leave in a recording or beside it. Each
#: holds a word that stands nowhere else.
PLANTED = (
    "Quillfeather",  # a name in the file's name
    "Marrowby",  # a name in a folder's name
    "Ottersby",  # title
    "Pellingham",  # artist
    "Brackenhurst",  # comment
    "Sallowfield",  # maker of the camera
    "Thistlemere",  # model of the camera
    "Wrenbury",  # program that wrote the file
    "Yarrowdene",  # a chapter's name
    "Zephyrholm",  # a track's name
    "Umberleigh",  # a name in the cover picture
    "Larkspurton",  # a name in the still
    "Nettlecombe",  # who edited the still
    "+48.1371+011.5754",  # where it was recorded
    "48.1371",
    "2019-03-07",  # when
    "20190307",
    "10:21:37:12",  # time code
    "C-4711-Foxglove",  # the practice's number of the consent record
)

CASE = """\
case: bench
title: A practice tooth
subject: {subject}
height: 360
sound: room
recordings: [Marrowby/Quillfeather_20190307.mov, Marrowby/Umberleigh.mp4]
steps:
  - {{id: one, title: First step, from: 0.5, to: 3, note: Look here.,
     notes_in: {{de: Hierher sehen.}}, stills: [{{file: Marrowby/Larkspurton.jpg, hold: 2}}],
     ask: {{question: Which wall, choices: [mesial, distal], answer: distal}}}}
  - {{id: two, title: Second step, from: 4, show: 4x}}
"""


def write_source(folder: Path) -> None:
    """A recording and a still full of what must not go out."""
    place = folder / "Marrowby"
    place.mkdir()
    write_clip(
        folder / "bare.mp4",
        VideoTrack(
            even_times(300, 25), size_px=(640, 360), tags={"color_range": 1, "colorspace": 1}
        ),
        SoundTrack((Fraction(1),)),
    )
    info = PngImagePlugin.PngInfo()
    info.add_text("Author", "Umberleigh")
    Image.new("RGB", (64, 64), "red").save(folder / "cover.png", pnginfo=info)
    chapters = ";FFMETADATA1\n[CHAPTER]\nTIMEBASE=1/1\nSTART=0\nEND=5\ntitle=Yarrowdene\n"
    (folder / "chapters.txt").write_text(chapters, encoding="utf-8")
    ffmpeg(
        *("-i", folder / "bare.mp4", "-i", folder / "cover.png", "-map", "0:v", "-map", "1:v"),
        *("-c", "copy", "-t", "2", "-disposition:v:1", "attached_pic"),
        *("-metadata", "title=Ottersby", "-metadata", "artist=Pellingham"),
        place / "Umberleigh.mp4",
    )
    ffmpeg(
        *("-i", folder / "bare.mp4", "-i", folder / "chapters.txt"),
        *("-map", "0:v", "-map", "0:a", "-map_chapters", "1", "-c", "copy"),
        *("-timecode", "10:21:37:12"),
        *("-metadata", "creation_time=2019-03-07T09:21:37Z"),
        *("-metadata", "com.apple.quicktime.creationdate=2019-03-07T10:21:37+0100"),
        *("-metadata", "com.apple.quicktime.location.ISO6709=+48.1371+011.5754/"),
        *("-metadata", "com.apple.quicktime.make=Sallowfield"),
        *("-metadata", "com.apple.quicktime.model=Thistlemere"),
        *("-metadata", "com.apple.quicktime.software=Wrenbury"),
        *("-metadata", "title=Ottersby", "-metadata", "artist=Pellingham"),
        *("-metadata", "comment=Brackenhurst", "-metadata:s:v:0", "handler_name=Zephyrholm"),
        *("-movflags", "use_metadata_tags", "-f", "mov", place / "Quillfeather_20190307.mov"),
    )
    exif = Image.Exif()
    exif[0x9286] = "Larkspurton"
    exif[0x013B] = "Nettlecombe"
    exif[0x0132] = "2019-03-07 10:21:37"
    Image.new("RGB", (320, 240), (90, 120, 150)).save(
        place / "Larkspurton.jpg", exif=exif, comment=b"Larkspurton"
    )


@dataclass(frozen=True)
class Made:
    """The results by name, and the folder everything was made in."""

    files: dict[str, bytes]
    folder: Path

    def path(self, name: str) -> Path:
        """Where a result is."""
        return self.folder / "out" / "bench" / name

    @property
    def texts(self) -> dict[str, str]:
        """Every result that is text."""
        ends = (".txt", ".vtt", ".srt", ".csv", ".json", ".html")
        return {n: d.decode("utf-8") for n, d in self.files.items() if n.endswith(ends)}


def make(folder: Path, subject: str) -> Made:
    """Make the case over the planted source."""
    write_source(folder)
    (folder / "case.yaml").write_text(CASE.format(subject=subject), encoding="utf-8")
    assert main(["make", str(folder / "case.yaml")]) == 0
    results = folder / "out" / "bench"
    return Made({p.name: p.read_bytes() for p in sorted(results.iterdir())}, folder)


CONSENT = "patient\nconsent: {reference: C-4711-Foxglove, covers: teaching in study clubs}"


@pytest.fixture(scope="module")
def agreed(tmp_path_factory: pytest.TempPathFactory) -> Made:
    """A patient case with a consent record."""
    return make(tmp_path_factory.mktemp("agreed"), CONSENT)


@pytest.fixture(scope="module")
def barred(tmp_path_factory: pytest.TempPathFactory) -> Made:
    """The same case without one."""
    return make(tmp_path_factory.mktemp("barred"), "patient")


def test_everything_is_planted_in_the_source(agreed: Made) -> None:
    """Else a search that finds nothing would prove nothing: nearly all of it is in the raw bytes."""
    place = agreed.folder / "Marrowby"
    raw = b"".join(p.read_bytes() + p.name.encode() for p in sorted(place.iterdir()))
    raw += str(place).encode() + (agreed.folder / "case.yaml").read_bytes()
    missing = [word for word in PLANTED if word.encode() not in raw]
    assert set(missing) <= {"2019-03-07", "10:21:37:12"}  # kept as numbers by the container
    with av.open(str(place / "Quillfeather_20190307.mov")) as box:
        assert box.metadata["creation_time"].startswith("2019-03-07")
        codes = [s.metadata.get("timecode") for s in box.streams]
        assert "10:21:37:12" in codes
        assert box.chapters()[0]["metadata"]["title"] == "Yarrowdene"
    with av.open(str(place / "Umberleigh.mp4")) as box:
        assert len(box.streams.video) == 2  # the cover is the second


def forms(word: str) -> Iterator[bytes]:
    """A word as bytes in the encodings that text in files takes, and as HTML and JSON write it."""
    for text in {word, word.lower(), word.upper(), html.escape(word), word.replace("/", "\\/")}:
        yield text.encode("utf-8")
        yield text.encode("utf-16-le")
        yield text.encode("utf-16-be")


def inside(name: str, data: bytes) -> Iterator[bytes]:
    """The bytes of a result, and of what is packed inside them: PNG chunks, pictures in a page."""
    yield data
    if name.endswith(".png"):
        for kind, body in png_chunks(data):
            if kind in (b"zTXt", b"iTXt", b"iCCP"):
                yield zlib.decompress(body[body.index(b"\0") + 2 :])
    for packed in re.findall(rb"base64,([A-Za-z0-9+/=]{40,})", data):
        yield base64.b64decode(packed)


def test_no_result_holds_anything_of_the_source(agreed: Made) -> None:
    """Names, places, dates, makers, chapters, the cover, the consent's number: byte for byte absent."""
    found = [
        (name, word)
        for name, data in agreed.files.items()
        for part in inside(name, data)
        for word in PLANTED
        for form in forms(word)
        if form in part
    ]
    assert found == []
    assert len(agreed.files) > 18


def test_no_result_holds_a_place_of_this_machine(agreed: Made) -> None:
    """Neither the folder it was made in, nor the user's home, nor the machine's name."""
    import socket

    places = {str(agreed.folder), str(Path.home()), agreed.folder.name, socket.gethostname()}
    for name, data in agreed.files.items():
        for place in places:
            if len(place) > 4 and place != "localhost":
                assert place.encode() not in data, (name, place)


def png_chunks(data: bytes) -> Iterator[tuple[bytes, bytes]]:
    """(type, body) of each chunk of a PNG."""
    at = 8
    while at < len(data):
        (length,) = struct.unpack(">I", data[at : at + 4])
        yield data[at + 4 : at + 8], data[at + 8 : at + 8 + length]
        at += 12 + length


def test_pictures_carry_no_metadata(agreed: Made) -> None:
    """PNG: only what makes the picture; JPEG: no APP segments but JFIF's, no comment."""
    pictures = [n for n in agreed.files if n.endswith((".png", ".jpg"))]
    assert len(pictures) >= 5
    for name in pictures:
        data = agreed.files[name]
        if name.endswith(".png"):
            kinds = {kind for kind, _ in png_chunks(data)}
            assert kinds <= {b"IHDR", b"PLTE", b"tRNS", b"IDAT", b"IEND", b"pHYs", b"sRGB"}, name
        else:
            at = 2
            while data[at + 1] != 0xDA:
                marker, (length,) = data[at + 1], struct.unpack(">H", data[at + 2 : at + 4])
                assert marker == 0xE0 or not 0xE1 <= marker <= 0xEF, (name, hex(marker))
                assert marker != 0xFE, name
                at += 2 + length


def boxes(data: bytes) -> Iterator[tuple[bytes, bytes]]:
    """(type, body) of every box of an MP4, those inside other boxes too."""
    at = 0
    while at + 8 <= len(data):
        size, kind = struct.unpack(">I4s", data[at : at + 8])
        head = 8
        if size == 1:
            (size,) = struct.unpack(">Q", data[at + 8 : at + 16])
            head = 16
        if size < head:
            return
        body = data[at + head : at + size]
        yield kind, body
        if kind in (b"moov", b"trak", b"mdia", b"minf", b"stbl", b"udta", b"edts"):
            yield from boxes(body)
        at += size


def test_the_film_carries_no_time_and_no_track_but_its_own(agreed: Made) -> None:
    """Creation and modification times of every header are zero; picture, sound, chapters; no cover."""
    data = agreed.files["teaching-cut.mp4"]
    times = 0
    for kind, body in boxes(data):
        if kind in (b"mvhd", b"tkhd", b"mdhd"):
            wide = body[0] == 1
            form, end = (">QQ", 20) if wide else (">II", 12)
            assert struct.unpack(form, body[4:end]) == (0, 0), kind
            times += 1
    assert times >= 5
    with av.open(str(agreed.path("teaching-cut.mp4"))) as box:
        kinds = [s.type for s in box.streams]
        assert kinds.count("video") == 1 and kinds.count("audio") == 1
        assert "timecode" not in box.metadata
        tags = {**box.metadata, **{k: v for s in box.streams for k, v in s.metadata.items()}}
        assert not {"creation_time", "location", "artist", "comment", "make", "model"} & set(tags)
        assert box.metadata.get("title") == "A practice tooth"


# The mark


def words_in(y: U8, sizes: range) -> float:
    """How well the first words of the mark are found in a grey picture, -1 to 1, at any size given."""
    chain = FontChain([], "en")
    best = -1.0
    for size in sizes:
        mask = chain.draw("NOT FOR PUBLICATION", size, "strong").mask
        if mask.shape[0] >= y.shape[0] or mask.shape[1] >= y.shape[1]:
            continue
        for ink in (mask, 255 - mask):  # light on dark, dark on light
            found = cv2.matchTemplate(y, np.ascontiguousarray(ink), cv2.TM_CCOEFF_NORMED)
            best = max(best, float(found.max()))
    return best


FOUND = 0.75
FILM_SIZES = range(9, 20)


def test_a_picture_without_the_words_is_told_from_one_with_them() -> None:
    """The finder itself: other words of the same length do not pass for the mark."""
    chain = FontChain([], "en")
    for text, there in (("NOT FOR PUBLICATION", True), ("NEVER PUT ON A SHELF", False)):
        canvas = np.full((60, 400), 30, np.uint8)
        mask = chain.draw(text, 13, "strong").mask
        canvas[20 : 20 + mask.shape[0], 31 : 31 + mask.shape[1]] = (
            30 + mask.astype(int) * 200 // 255
        )
        assert (words_in(canvas, FILM_SIZES) > FOUND) is there, text


def film_pictures(made: Made, every: int) -> list[tuple[float, U8]]:
    """(time, luma) of every so many pictures of the film, and of the last one."""
    found: list[tuple[float, U8]] = []
    with av.open(str(made.path("teaching-cut.mp4"))) as box:
        for frame in box.decode(video=0):
            found.append(
                (float(frame.time or 0), np.asarray(frame.to_ndarray(format="gray8"), np.uint8))
            )
    return [*found[::every], found[-1]]


def test_every_picture_of_a_barred_film_is_marked(barred: Made) -> None:
    """Cards, footage at any speed, the still: the words are found on all of them; fades apart."""
    shown = [(t, y) for t, y in film_pictures(barred, 12) if t > 1.2]
    weak = [(t, round(score, 2)) for t, y in shown if (score := words_in(y, FILM_SIZES)) <= FOUND]
    closing = [t for t, _ in shown][-1]
    # the closing card comes up over its first second and a bit
    assert [t for t, _ in weak if not closing - 9 < t < closing - 6.5] == [], weak
    assert len(shown) > 30


def test_no_picture_of_an_agreed_film_is_marked(agreed: Made) -> None:
    """With a consent record the words stand nowhere."""
    assert max(words_in(y, FILM_SIZES) for _, y in film_pictures(agreed, 40)) <= FOUND


def grey(made: Made, name: str) -> U8:
    """A picture file as luma."""
    with Image.open(made.path(name)) as image:
        return np.asarray(image.convert("L"))


def picture_names(made: Made) -> list[str]:
    """Every picture among the results."""
    return [n for n in made.files if n.endswith((".png", ".jpg"))]


def test_every_picture_file_of_a_barred_case_is_marked(barred: Made, agreed: Made) -> None:
    """Poster, step pictures, the still, the plot; none of an agreed case."""
    names = picture_names(barred)
    assert {"poster.jpg", "step-1.jpg", "step-2.jpg", "step-times.png", "still-1.jpg"} <= set(names)
    for name in names:
        sizes = range(36, 50) if name.endswith(".png") else range(9, 24)
        assert words_in(grey(barred, name), sizes) > FOUND, name
        assert words_in(grey(agreed, name), sizes) <= FOUND, name


def test_every_text_of_a_barred_case_says_so(barred: Made, agreed: Made) -> None:
    """Captions in every language, chapters, tables, values, page, cue sheet; no text of an agreed one."""
    assert {"captions.de.srt", "captions.srt", "chapters.txt", "step-times.csv"} <= set(
        barred.texts
    )
    assert barred.texts.keys() == agreed.texts.keys()
    said = {n: " ".join(html.unescape(text).split()) for n, text in barred.texts.items()}
    assert [n for n, text in said.items() if NOT_FOR_PUBLICATION not in text] == []
    assert [n for n, text in agreed.texts.items() if "NOT FOR PUBLICATION" in text] == []


def test_a_practice_case_bears_no_mark(tmp_path: Path) -> None:
    """Where there is no patient there is nothing to consent to."""
    made = make(tmp_path, "simulated")
    assert [n for n, text in made.texts.items() if "NOT FOR PUBLICATION" in text] == []
