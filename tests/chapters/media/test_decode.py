"""Decoding by packet: frames keep their packet's number, and closing never blocks."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from chapters.media.probe import probe
from tests.clips import VideoTrack, even_times, write_clip

_SEEK_OFTEN = """
import random, sys
from fractions import Fraction
from pathlib import Path
from chapters.media.frames import FrameReader
from chapters.media.probe import probe
path = Path(sys.argv[1])
found = probe(path, "clip")
draw = random.Random(3)
with FrameReader(path, found, (320, 192)) as reader:
    for _ in range(300):
        next(reader.from_time(Fraction(draw.randrange(int(found.length * 1000)), 1000)))
print("closed")
"""


@pytest.mark.parametrize(("suffix", "codec"), [("webm", "libvpx-vp9"), ("mp4", "libx264")])
def test_seeking_and_closing_in_mid_decode_never_blocks(
    tmp_path: Path, suffix: str, codec: str
) -> None:
    """Three hundred seeks with decoder threads at work come to an end."""
    clip = write_clip(
        tmp_path / f"c.{suffix}", VideoTrack(even_times(120, 30), codec=codec, gop=40)
    )
    run = subprocess.run(
        [sys.executable, "-c", _SEEK_OFTEN, str(clip.path)],
        cwd=Path(__file__).parents[3],
        capture_output=True,
        text=True,
        timeout=100,
        check=False,
    )
    assert run.stdout.strip() == "closed", run.stderr


def test_two_readers_of_one_clip_do_not_mix_up_their_packets(tmp_path: Path) -> None:
    """Decoders that run side by side each get their own packets' numbers back."""
    from chapters.media.decode import PacketDecoder

    clip = write_clip(tmp_path / "c.mp4", VideoTrack(even_times(90, 30), gop=30))
    source = probe(clip.path, "clip").source
    with PacketDecoder(source) as one, PacketDecoder(source) as two:
        pairs = [(a, b) for (a, _), (b, _) in zip(one.run(), two.run(), strict=True)]
    assert len(pairs) == 90
    assert all(a == b for a, b in pairs)
