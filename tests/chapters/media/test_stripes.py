"""The top of every picture tells where a group of pictures changes, and nothing else is asked of it."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from chapters.media.decode import PacketDecoder
from chapters.media.stripes import can_scan, cut_off, scan
from tests.chapters.media.test_survey import CLOSED, recording, steady
from tests.scenes import Grey, shot


def steps(path: Path, pictures: list[Grey], options: dict[str, str] | None = None) -> list[float]:
    """The steps of a scan over one whole recording."""
    path, facts = recording(path, pictures, options or CLOSED)
    with PacketDecoder(facts.source, quick=True, threads=1) as decoder:
        assert can_scan(decoder)
        return [glance.step for glance in scan(decoder, 0, len(facts.source.table))]


def test_every_frame_is_glanced_at_once(tmp_path: Path) -> None:
    """Also with B pictures: as many glances as frames, key pictures whole."""
    _, facts = recording(tmp_path / "a.mp4", shot(1, 90), {**CLOSED, "bf": "2"})
    with PacketDecoder(facts.source, quick=True, threads=1) as decoder:
        seen = list(scan(decoder, 0, 90))

    assert sorted(glance.number for glance in seen) == list(range(90))
    assert [glance.key for glance in seen] == [glance.whole is not None for glance in seen]
    assert sum(glance.key for glance in seen) == 3


def test_a_steady_view_has_no_step(tmp_path: Path) -> None:
    """Noise alone moves no stripe."""
    assert max(steps(tmp_path / "a.mp4", steady(60))) < 0.08


def test_a_cut_away_and_back_steps_twice(tmp_path: Path) -> None:
    """Both changes stand out, at their frames."""
    pictures = steady(60)
    pictures[20:40] = steady(20, seed=2)
    found = steps(tmp_path / "a.mp4", pictures)

    assert min(found[20], found[40]) > 0.5
    assert np.argsort(found)[-2:].tolist() in ([20, 40], [40, 20])


def test_an_empty_top_gives_no_verdict(tmp_path: Path) -> None:
    """Where the whole view is black nothing can be said, and that is said."""
    found = steps(tmp_path / "a.mp4", [np.full((90, 160), 16, np.uint8)] * 30)

    assert all(step == float("inf") for step in found[1:])


def test_only_slices_are_cut_off() -> None:
    """A unit of 100 bytes keeps its length field right; parameter sets and key slices stay whole."""
    units = [bytes([67]) + bytes(20), bytes([65]) + bytes(999), bytes([101]) + bytes(299)]
    packet = b"".join(len(unit).to_bytes(4, "big") + unit for unit in units)
    cut = cut_off(packet, 0.1)

    assert cut == b"".join(
        len(unit).to_bytes(4, "big") + unit for unit in (units[0], units[1][:100], units[2])
    )


def test_a_broken_packet_does_not_stop_the_cut() -> None:
    """A length that runs past the end gives what is there."""
    assert cut_off((1000).to_bytes(4, "big") + bytes([65, 1, 2]), 0.5) == (3).to_bytes(
        4, "big"
    ) + bytes([65, 1, 2])
