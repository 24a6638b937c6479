"""Every file of a folder of real recordings makes a teaching cut or is refused in one sentence.

The folder is named by TEACHCUT_MEDIA. The table says what is known of a file by name: how long
its picture lasts, as decoded and counted with another tool, or why it must be refused. A file
without an entry must still do one or the other.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path

import av
import pytest

from annotate.cli import main
from chapters.casefile import load_case
from tests.clips import absent
from tests.journeys import trial

pytestmark = [pytest.mark.media, pytest.mark.timeout(120)]

#: Name -> seconds from the first picture shown to the end of the last one.
LASTS_S = {
    "bbb_0_30.webm": 30.0,
    "bbb_1920x1080_60fps_vp8.webm": 1.0,
    "bbb_800x640_768kbps_30fps_avc_2b_firstpts_10_sec.mp4": 4.0,
    "bear-vp9-odd-dimensions.webm": 1.0,
    "bt601.mov": 1.02,
    "decord_corrupted.mp4": 5.0,
    "decord_flipping_a_pancake.mkv": 10.35,
    "decord_video_0.mov": 0.1,
    "decord_video_180.mov": 0.1,
    "decord_video_270.mov": 0.1,
    "decord_video_90.mov": 0.1,
    "dolbyVision-hdr.MOV": 0.13,
    "edit_list_positive_shift.mp4": 9.0,
    "hlg10-color-test.mp4": 0.3,
    "iibbibb_editlist_videoonly.mp4": 12.0,
    "intel_one-by-one.mp4": 139.4,
    "internal_emulator_transformer_output.mp4": 4.97,
    "internal_emulator_transformer_output_180_rotated.mp4": 4.97,
    "internal_emulator_transformer_output_270_rotated.mp4": 4.97,
    "long_1080p_lowbitrate.mp4": 362.77,
    "long_180p_av1.mp4": 362.77,
    "mdn_flower.mp4": 5.0,
    "mdn_friday.mp4": 6.17,
    "mdnla_crystal.mp4": 11.97,
    "mdnla_rabbit.mp4": 7.8,
    "mmaction2_demo.mp4": 10.0,
    "mmaction2_demo_skeleton.mp4": 2.57,
    "mmaction2_test.avi": 6.56,
    "moviepy_example3.mp4": 2.0,
    "moviepy_fire2.mp4": 2.38,
    "moviepy_no_duration.webm": 4.94,
    "moviepy_video_with_failing_audio.mp4": 11.2,
    "mp4parse_no_timescale.mp4": 6.04,
    "pims_bulk-water.mov": 20.02,
    "sam2_02_cups.mp4": 10.01,
    "sam2_04_coffee.mp4": 9.58,
    "sam2_05_default_juggle.mp4": 10.29,
    "sam2_bedroom.mp4": 6.67,
    "sample_12_5fps_720p_1s.mp4": 1.04,
    "sample_android_slow_motion.mp4": 0.53,
    "sample_edit_list_only_preroll_sync_sample.mp4": 0.53,
    "sample_empty_track.mp4": 0.97,
    "sample_fragmented.mp4": 1.0,
    "sample_mdat_too_long.mp4": 1.0,
    "sample_portrait.mp4": 1.0,
    "sample_rotate_and_reflect.mp4": 1.0,
    "sample_sef_slow_motion.mp4": 2.07,
    "sample_shorter_audio.mp4": 1.2,
    "sample_with_chapters.mkv": 5.0,
    "sample_with_chapters.mp4": 1.0,
    "sample_with_invalid_nalu.mp4": 1.0,
    "sample_with_nero_chapters_only.mp4": 1.0,
    "sample_with_overlapping_srt.mkv": 1.0,
    "sample_with_srt.mkv": 1.0,
    "sample_with_vtt_subtitles.mkv": 1.0,
    "sample_without_stss.mp4": 1.0,
    "silent-black-25s.mp4": 25.0,
    "sleap_20190128.mp4": 120.0,
    "sleap_centered_pair_small.mp4": 73.33,
    "sowt-with-video.mov": 2.0,
    "torchcodec_bt709_full_range.mp4": 1.0,
    "torchcodec_nasa_13013.mp4": 13.0,
    "trim_optimization_failure.mp4": 5.59,
}
REFUSED = {
    "invalid-bitstream.webm": "no picture can be decoded",
    "long_edit_list_audioonly.mp4": "holds no video",
    "mdn_friday.vtt": "is text",
    "mp4parse_chunk_out_of_range.mp4": "damaged index",
    "mp4parse_invalid_userdata.mp4": "without a single picture",
    "mp4parse_zero_empty_stsc.mp4": "no picture can be decoded",
}


def trial_files() -> Sequence[Path | None]:
    """The files of the folder, or None where no folder is named."""
    folder = os.environ.get("TEACHCUT_MEDIA")
    if not folder or not Path(folder).is_dir():
        return [None]
    return sorted(p for p in Path(folder).iterdir() if p.is_file())


@pytest.mark.parametrize("recording", trial_files(), ids=lambda p: p.name if p else "no folder")
def test_a_real_recording_makes_a_film_or_is_refused_in_one_sentence(
    recording: Path | None, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Either the film reads back as planned, or one sentence names the file and nothing is written."""
    if recording is None:
        absent("the folder that TEACHCUT_MEDIA names")
    name = recording.name
    length_s = LASTS_S.get(name) or roughly_s(recording)
    told = trial.make(recording, tmp_path, length_s, capsys)
    if name in LASTS_S or (name not in REFUSED and told.code == 0):
        trial.check_made(told, length_s)
    else:
        trial.check_refused(told, name, REFUSED.get(name, ""))


#: Two of six minutes are black from end to end and looked through elsewhere; here they take time.
LONGEST_DRAFTED_S = 140


@pytest.mark.parametrize("recording", trial_files(), ids=lambda p: p.name if p else "no folder")
def test_a_real_recording_gets_a_draft_that_passes(
    recording: Path | None, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """``start`` looks through all of it and drafts a case file without a mistake; or refuses."""
    if recording is None:
        absent("the folder that TEACHCUT_MEDIA names")
    name = recording.name
    if LASTS_S.get(name, 0) > LONGEST_DRAFTED_S:
        return
    own, case = tmp_path / name, tmp_path / "case.yaml"
    try:
        own.symlink_to(recording)
    except OSError:
        own.write_bytes(recording.read_bytes())
    code = main(["start", str(own), "--to", str(case)])
    said = capsys.readouterr().err
    assert "fault of its own" not in said and "Traceback" not in said
    if name in REFUSED or (name not in LASTS_S and code != 0):
        assert code == 2 and not case.exists()
        assert said.splitlines()[-1].startswith((f"{name}: ", f"{own}: "))
        return
    assert code == 0, said
    assert main(["check", "--quick", str(case)]) == 0
    loaded = load_case(case).case
    assert [part.file for part in loaded.parts] == [name]
    assert 1 <= len(loaded.steps) <= 12


def roughly_s(recording: Path) -> float:
    """The length that the header of a file without an entry claims, ten seconds if it claims none."""
    try:
        with av.open(str(recording)) as box:
            return (box.duration or 10_000_000) / 1_000_000
    except (OSError, ValueError):
        return 10.0
