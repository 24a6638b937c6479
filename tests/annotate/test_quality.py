"""Levels and encoders: every level works, a hardware encoder must prove itself, x264 steps in."""

from __future__ import annotations

import os
import subprocess
import sys
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import av
import pytest

from annotate.quality import LEVELS, choose, hardware_settings, level, software_instead
from chapters.errors import EncoderError, InputError
from chapters.media.encode import EncoderSettings
from chapters.media.encodercheck import encoder_fault

ROOT = Path(__file__).parent.parent.parent

SIZE, FPS = (320, 240), Fraction(30)


@pytest.mark.parametrize("name", LEVELS)
def test_every_level_passes_the_check_that_hardware_must_pass(name: str) -> None:
    """Opens, can be joined, loses nothing, gives back what it was given."""
    assert encoder_fault(LEVELS[name], SIZE, FPS) == ""


ENCODE = """
import hashlib
from dataclasses import replace
from fractions import Fraction
from annotate.quality import LEVELS
from chapters.media.encode import VideoEncoder
from tests.clips import numbered_planes
for name, level in LEVELS.items():
    encoder = VideoEncoder((320, 240), Fraction(30), replace(level, threads=1))
    packets = [p for n in range(60) for p in encoder.encode(*numbered_planes(n, 320, 240))]
    packets += encoder.finish()
    print(name, hashlib.sha256(b"".join(bytes(p.data) for p in packets)).hexdigest())
"""


def test_equal_pictures_are_coded_to_equal_bytes() -> None:
    """Whatever lay in memory before: else no kept segment could be trusted, nor any comparison.

    glibc fills fresh memory with a given byte where MALLOC_PERTURB_ is set; elsewhere three runs
    are still three runs.
    """
    found = []
    for filled in ("0", "77", "170"):
        done = subprocess.run(
            [sys.executable, "-c", ENCODE],
            cwd=ROOT,
            env=os.environ | {"MALLOC_PERTURB_": filled},
            capture_output=True,
            text=True,
            check=True,
        )
        found.append(done.stdout.splitlines())
    assert found[0] == found[1] == found[2]
    assert [line.split()[0] for line in found[0]] == list(LEVELS)


def test_an_encoder_that_is_not_there_is_told_and_replaced() -> None:
    """No machine has this one: the log says why, the film gets x264."""
    absent = "h264_videotoolbox" if "h264_videotoolbox" not in av.codecs_available else "h264_mf"
    chosen = choose("club", absent, SIZE, FPS)
    assert chosen.settings == level("club")
    assert absent in chosen.told[0] and "libx264" in chosen.told[-1]


def test_auto_takes_the_first_that_passes() -> None:
    """A codec that opens stands in for hardware; one that does not is passed over."""
    good = choose("club", "auto", SIZE, FPS, candidates=("no_such_encoder", "libx264"))
    assert good.settings == hardware_settings("club", "libx264", SIZE, FPS)
    none = choose("club", "auto", SIZE, FPS, candidates=("no_such_encoder",))
    assert none.settings == level("club") and "libx264" in none.told[-1]


def test_the_check_sees_spoilt_pictures() -> None:
    """An encoder that gives back mud is refused, and told how far off it is."""
    mud = EncoderSettings(crf=51, preset="ultrafast", extra=(("x264-params", "qp=51"),))
    assert "off" in encoder_fault(mud, SIZE, FPS)


def test_the_check_refuses_another_codec() -> None:
    """What is not H.264 cannot be read as such."""
    other = replace(level("club"), codec="mpeg4", preset="", extra=())
    assert encoder_fault(other, SIZE, FPS) != ""


def test_unknown_names_are_answered_with_the_known_ones() -> None:
    """A slip in the case file or on the command line."""
    with pytest.raises(InputError, match="draft, club, archive"):
        level("best")
    with pytest.raises(InputError, match="auto, libx264"):
        choose("club", "fastest", SIZE, FPS)


def test_a_failure_midway_names_what_is_used_instead() -> None:
    """The log says which encoder finishes the film."""
    chosen = software_instead("club", EncoderError("film", "the device was lost"))
    assert chosen.settings == level("club")
    assert "device was lost" in chosen.told[0] and "libx264" in chosen.told[0]
