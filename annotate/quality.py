"""Named quality levels, and the encoder that is used: a hardware encoder that proves itself, else x264.

The levels come from a measured frontier of speed, size and quality; the table is in DEVELOPERS.md.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from chapters.errors import InputError
from chapters.media.encode import EncoderSettings
from chapters.media.encodercheck import encoder_fault

#: Hardware encoders of H.264 that PyAV may bring, the likeliest first. Their streams differ from
#: run to run and from maker to maker, so a film is made by one encoder from end to end.
HARDWARE = ("h264_videotoolbox", "h264_nvenc", "h264_qsv", "h264_amf", "h264_mf", "h264_vaapi")
SOFTWARE = "libx264"
ENCODERS = ("auto", SOFTWARE, *HARDWARE)

#: Kept in every level: High profile with its tools, closed groups, so that segments can be joined.
#: "cpu-independent": without it the macroblock tree's quick routines read memory that nobody set,
#: and the same pictures give other bytes in another run (seen with x264 core 165).
_ALWAYS = "8x8dct=1:cabac=1:open-gop=0:cpu-independent=1"
#: The fast search of "superfast" with a short look ahead for where bits pay, one B-frame between,
#: and a gentler spread of bits towards plain areas.
_CLUB = f"{_ALWAYS}:mbtree=1:rc-lookahead=5:bframes=1:b-adapt=0:weightp=0:aq-strength=0.5"

LEVELS: dict[str, EncoderSettings] = {
    "draft": EncoderSettings(preset="ultrafast", crf=25, extra=(("x264-params", _ALWAYS),)),
    "club": EncoderSettings(preset="superfast", crf=20.5, extra=(("x264-params", _CLUB),)),
    "archive": EncoderSettings(
        preset="medium", crf=16, sound_bit_rate=256_000, extra=(("x264-params", _ALWAYS),)
    ),
}

#: What a quick cut encodes at the club level: it is little, and stands beside pictures that were
#: copied with all the recorder's bits; so bits may go for time, and CAVLC stands for CABAC.
QUICK = EncoderSettings(preset="ultrafast", crf=21, extra=(("x264-params", f"{_ALWAYS}:cabac=0"),))

#: Bits per pixel and frame that a hardware encoder is given at each level (common practice).
_BITS = {"draft": Fraction(5, 100), "club": Fraction(12, 100), "archive": Fraction(25, 100)}


@dataclass(frozen=True)
class Chosen:
    """Settings to encode with, and what the log says of them."""

    settings: EncoderSettings
    told: tuple[str, ...]


def level(name: str) -> EncoderSettings:
    """The settings of a level. Raises InputError naming the levels there are."""
    if name not in LEVELS:
        raise InputError(f"quality: {name} is not a level; write {', '.join(LEVELS)}")
    return LEVELS[name]


def hardware_settings(
    name: str, codec: str, size_px: tuple[int, int], fps: Fraction
) -> EncoderSettings:
    """A level's settings for a hardware encoder: a mean bit rate in place of a quality number."""
    rate = int(_BITS[name] * size_px[0] * size_px[1] * fps)
    options = (("b", str(rate)), ("maxrate", str(rate * 2)), ("bufsize", str(rate * 2)))
    return replace(level(name), codec=codec, preset="", threads=1, extra=options)


def choose(
    name: str,
    encoder: str,
    size_px: tuple[int, int],
    fps: Fraction,
    candidates: Sequence[str] = HARDWARE,
) -> Chosen:
    """The settings of level ``name`` for ``encoder``: "auto", "libx264" or a hardware encoder.

    "auto" takes the first hardware encoder that passes its check here, else x264. A hardware
    encoder asked for by name that fails gives way to x264 too. Raises InputError for an unknown
    name.
    """
    if encoder not in ENCODERS:
        raise InputError(f"encoder: {encoder} is not known; write {', '.join(ENCODERS)}")
    if encoder == SOFTWARE:
        return Chosen(level(name), (f"encoder: {SOFTWARE}, quality {name}",))
    told: list[str] = []
    for codec in candidates if encoder == "auto" else (encoder,):
        settings = hardware_settings(name, codec, size_px, fps)
        fault = encoder_fault(settings, size_px, fps)
        if not fault:
            return Chosen(settings, (*told, f"encoder: {codec}, quality {name}"))
        if encoder != "auto":
            told.append(f"encoder: {codec} cannot be used here: {fault}")
    return Chosen(level(name), (*told, f"encoder: {SOFTWARE}, quality {name}"))


def software_instead(name: str, error: Exception) -> Chosen:
    """What a film is begun again with when its hardware encoder failed midway."""
    told = f"encoder: {error}; the film is encoded again with {SOFTWARE}, quality {name}"
    return Chosen(level(name), (told,))
