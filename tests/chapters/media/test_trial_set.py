"""Every file of a folder of real recordings is read to its end or refused in one sentence.

The folder is named by TEACHCUT_MEDIA. What is expected of a file by name was found by other
means: decoded and counted with another tool, oddities looked up in the projects the files come
from. A file without an entry must still be read or refused.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

import pytest

from chapters.errors import RecordingError
from chapters.media.files import check_input
from chapters.media.frames import FrameReader
from chapters.media.probe import Probe, probe
from chapters.media.samples import read_samples
from tests.clips import absent

pytestmark = pytest.mark.media

LONG = 360  # frames; longer recordings are read at both ends and in the middle
_VIDEO = {".mp4", ".mov", ".mkv", ".webm", ".avi", ".mpg", ".ts", ".mts", ".wmv", ".flv", ".m4v"}


@dataclass(frozen=True)
class Known:
    """What is known of a file: frames shown, first stamp in seconds, turn clockwise, mirrored."""

    frames: int
    first_s: float = 0.0
    turn: int = 0
    mirrored: bool = False
    variable: bool = False
    size_px: tuple[int, int] | None = None
    lost: int = 0  # of the frames, how many cannot be decoded
    sound: bool | None = None


REFUSED = {
    "mp4parse_chunk_out_of_range.mp4": "damaged index",
    "mp4parse_zero_empty_stsc.mp4": "no picture can be decoded",
    "mp4parse_invalid_userdata.mp4": "without a single picture",
    "invalid-bitstream.webm": "no picture can be decoded",
    "long_edit_list_audioonly.mp4": "holds no video",
}
KNOWN = {
    "torchcodec_nasa_13013.mp4": Known(325, size_px=(320, 180), sound=True),
    "torchcodec_bt709_full_range.mp4": Known(30, size_px=(1280, 720), sound=False),
    "bbb_0_30.webm": Known(720, 0.003),
    "moviepy_fire2.mp4": Known(25, turn=180, variable=True, sound=True),
    "moviepy_no_duration.webm": Known(74, variable=True),
    "moviepy_video_with_failing_audio.mp4": Known(280, sound=True),
    "moviepy_example3.mp4": Known(48),
    "decord_corrupted.mp4": Known(50, lost=1),
    "decord_video_0.mov": Known(3, size_px=(568, 320)),
    "decord_video_90.mov": Known(3, turn=90, size_px=(320, 568)),
    "decord_video_180.mov": Known(3, turn=180, size_px=(568, 320)),
    "decord_video_270.mov": Known(3, turn=270, size_px=(320, 568)),
    "decord_flipping_a_pancake.mkv": Known(310),
    "mmaction2_demo.mp4": Known(280, size_px=(426, 256)),
    "mmaction2_demo_skeleton.mp4": Known(72, variable=True),
    "mmaction2_test.avi": Known(164),
    "sam2_02_cups.mp4": Known(300, sound=True),
    "sam2_04_coffee.mp4": Known(287, sound=True),
    "sam2_05_default_juggle.mp4": Known(247, sound=False),
    "sam2_bedroom.mp4": Known(200, sound=False),
    "intel_one-by-one.mp4": Known(1394, sound=False),
    "sleap_20190128.mp4": Known(3000, sound=False),
    "sleap_centered_pair_small.mp4": Known(1100, size_px=(388, 384)),
    "pims_bulk-water.mov": Known(480, sound=False),
    "mdn_flower.mp4": Known(150, sound=True),
    "mdn_friday.mp4": Known(185, sound=True),
    "mdnla_crystal.mp4": Known(359),
    "mdnla_rabbit.mp4": Known(234),
    # twelve bad packets, and two frames that come out of the decoder after a later one
    "mp4parse_no_timescale.mp4": Known(182, 0.0664, lost=14),
    "sample_with_chapters.mp4": Known(30),
    "sample_with_nero_chapters_only.mp4": Known(30),
    "sample_with_chapters.mkv": Known(150),
    "sample_portrait.mp4": Known(30, size_px=(720, 1080)),
    "sample_rotate_and_reflect.mp4": Known(30, turn=270, mirrored=True, size_px=(720, 1080)),
    "internal_emulator_transformer_output.mp4": Known(149),
    "internal_emulator_transformer_output_180_rotated.mp4": Known(149, turn=180),
    "internal_emulator_transformer_output_270_rotated.mp4": Known(149, turn=270),
    "edit_list_positive_shift.mp4": Known(270, 1.0),
    "iibbibb_editlist_videoonly.mp4": Known(12),
    "sample_edit_list_only_preroll_sync_sample.mp4": Known(16),
    "bbb_800x640_768kbps_30fps_avc_2b_firstpts_10_sec.mp4": Known(120, 10.0, size_px=(1138, 640)),
    "long_1080p_lowbitrate.mp4": Known(10883),
    "long_180p_av1.mp4": Known(21766),
    "sample_android_slow_motion.mp4": Known(7, variable=True, sound=False),
    "sample_sef_slow_motion.mp4": Known(63),
    "sample_empty_track.mp4": Known(30),
    "sample_shorter_audio.mp4": Known(72),
    "sample_without_stss.mp4": Known(30),
    "sample_mdat_too_long.mp4": Known(30),
    "sample_with_invalid_nalu.mp4": Known(30, lost=1),
    "sample_fragmented.mp4": Known(30, 0.0667),
    "sowt-with-video.mov": Known(100),
    "bt601.mov": Known(30),
    "sample_12_5fps_720p_1s.mp4": Known(13),
    "silent-black-25s.mp4": Known(750),
    "trim_optimization_failure.mp4": Known(167),
    "sample_with_srt.mkv": Known(30),
    "sample_with_overlapping_srt.mkv": Known(30, 0.067),
    "sample_with_vtt_subtitles.mkv": Known(30),
    "bear-vp9-odd-dimensions.webm": Known(30, size_px=(162, 122)),
    "bbb_1920x1080_60fps_vp8.webm": Known(60, sound=True),
    "dolbyVision-hdr.MOV": Known(4, turn=90, size_px=(720, 1280)),
    "hlg10-color-test.mp4": Known(9),
}


def trial_files() -> Sequence[Path | None]:
    folder = os.environ.get("TEACHCUT_MEDIA")
    if not folder or not Path(folder).is_dir():
        return [None]
    return sorted(p for p in Path(folder).iterdir() if p.suffix.lower() in _VIDEO)


def starts_for(found: Probe) -> list[tuple[Fraction, int]]:
    """Where to read and how many frames: all of a short recording, three stretches of a long one."""
    if found.frame_count <= LONG:
        return [(Fraction(0), found.frame_count)]
    return [(Fraction(0), 60), (found.length / 2, 60), (found.length - 2, 10**6)]


@pytest.mark.parametrize("path", trial_files(), ids=lambda p: p.name if p else "no folder")
def test_a_real_recording_is_read_to_its_end_or_refused_in_one_sentence(path: Path | None) -> None:
    """Times grow, pictures have the size asked for, counts and oddities are those known."""
    if path is None:
        absent("the folder that TEACHCUT_MEDIA names")
    try:
        found = probe(check_input(path, path.name), path.name)
    except RecordingError as refused:
        text = str(refused)
        assert path.name in REFUSED, text
        assert REFUSED[path.name] in text
        assert text.startswith(f"{path.name}: ")
        assert len(text) < 300
        assert "\n" not in text
        assert "Err" not in text
        return
    assert path.name not in REFUSED
    shown = 0
    size_px = (min(320, found.video.width_px), min(240, found.video.height_px))
    with FrameReader(found.source.path, found, size_px) as reader:
        for start, most in starts_for(found):
            last = Fraction(-1)
            for number, picture in enumerate(reader.from_time(start)):
                assert last < picture.at < found.length
                assert picture.length > 0
                assert picture.y.shape == size_px[::-1]
                last = picture.at
                shown += 1
                if number + 1 >= most:
                    break
        lost = bool(reader.damage)
    assert found.length - last < max(Fraction(1, 2), 3 * found.longest_gap)
    sound = read_samples(found.source.path, found, Fraction(0), min(found.length, Fraction(3)))
    assert sound.shape[1] == 2
    known = KNOWN.get(path.name)
    if known is not None:
        check(found, known, shown, lost)


def check(found: Probe, known: Known, shown: int, lost: bool) -> None:
    """Hold what was found against what is known of the file."""
    assert found.frame_count == known.frames
    if known.frames <= LONG:
        assert shown == known.frames - known.lost
    assert lost == bool(known.lost)
    zero = found.timeline.seconds(found.timeline.zero)
    assert abs(float(zero) - known.first_s) < 0.001 or found.timeline.by_order
    assert found.video.rotation_deg == known.turn
    assert found.video.mirrored == known.mirrored
    assert found.variable == known.variable
    if known.size_px is not None:
        assert (found.video.width_px, found.video.height_px) == known.size_px
    if known.sound is not None:
        assert (found.sound is not None) == known.sound
