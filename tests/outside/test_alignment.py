"""Word times and pronunciations against what we did not make.

- Word times: the synthesisers' own (Debian's flite and espeak-ng; flite's utterance structure,
  espeak-ng's word events of speak_lib.h), in ``tests/annotate/speech/test_align.py``; here on a
  sentence of the public domain with other words than ours.
- A real recording: ``speech/whisper_jfk.flac`` of the trial set (openai/whisper tests/jfk.flac, MIT;
  a speech by the United States government, public domain), 11 s, whose words are known. Where a
  pause ends is found here from the sound's own level.
- The language model's file: read by pocketsphinx's own reader of ARPA files.
- Needleman and Wunsch 1970: the textbook example of their method, GATTACA against GCATGCG with match
  +1, mismatch -1, gap -1, whose best score is 0 (from memory).
"""

from __future__ import annotations

import importlib.util
import os
from pathlib import Path

import numpy as np
import pytest

from annotate.speech import match as matching
from annotate.speech.align import align_take
from annotate.speech.ngram import Trigrams
from annotate.speech.sound import RATE_HZ, ArraySound, Pcm, frame_levels
from chapters.media.takes import Spool, TakeReader
from tests.annotate.sound.clips import needed
from tests.annotate.speech.voices import say

pytestmark = pytest.mark.outside

KNOWN = (
    "And so my fellow Americans, ask not what your country can do for you, "
    "ask what you can do for your country."
)
#: From the first list of the Harvard sentences (IEEE 1969), in the public domain.
HARVARD = (
    "The birch canoe slid on the smooth planks.",
    "Glue the sheet to the dark blue background.",
    "It's easy to tell the depth of a well.",
    "These days a chicken leg is a rare dish.",
    "Rice is often served in round bowls.",
)


@pytest.fixture(autouse=True)
def _pocketsphinx() -> None:
    if importlib.util.find_spec("pocketsphinx") is None:
        needed("pocketsphinx", "pip install pocketsphinx")


@pytest.fixture(scope="module")
def recording() -> Pcm:
    """The real recording at 16 kHz."""
    path = Path(os.environ.get("TEACHCUT_MEDIA", "")) / "speech" / "whisper_jfk.flac"
    if not os.environ.get("TEACHCUT_MEDIA") or not path.is_file():
        needed("speech/whisper_jfk.flac in TEACHCUT_MEDIA", "set TEACHCUT_MEDIA to the trial set")
    with TakeReader(path, path.name, RATE_HZ) as reader, Spool(reader) as spool:
        return spool.read(0, spool.count)


def test_sentences_we_did_not_write_are_timed_as_the_synthesiser_says() -> None:
    """Harvard sentences in two voices: median 15 ms, 95 of 100 words within 60 ms."""
    errors: list[float] = []
    for voice in ("flite:slt", "flite:rms"):
        pieces: list[Pcm] = []
        starts: list[float] = []
        count = 0
        for sentence in HARVARD:
            said = say(sentence, voice)
            starts += [count / RATE_HZ + start for start, _ in said.times]
            pieces += [said.pcm, np.zeros(RATE_HZ // 2, np.int16)]
            count += len(said.pcm) + RATE_HZ // 2
        alignment = align_take(np.concatenate(pieces), " ".join(HARVARD))
        errors += [
            abs(word.start_ms - 1000 * start)
            for word, start in zip(alignment.words, starts, strict=True)
        ]
        assert alignment.count("none") == 0
    assert np.median(errors) <= 15
    assert np.percentile(errors, 95) <= 60


@pytest.mark.media
def test_words_of_a_real_recording_after_a_pause_start_where_its_sound_does(recording: Pcm) -> None:
    """Every known word is placed; after each pause of 0.4 s the next word starts within 80 ms."""
    alignment = align_take(recording, KNOWN)
    assert [word.placed for word in alignment.words].count("none") == 0
    assert alignment.not_spoken == ()
    levels = frame_levels(ArraySound(recording))
    loud = levels > np.percentile(levels, 95) - 25
    changes = np.flatnonzero(np.diff(loud.astype(int)))
    quiet_since, onsets = -100, []
    for change in changes:
        if loud[change + 1]:
            if change - quiet_since >= 40:
                onsets.append((change + 1) / 100)
        else:
            quiet_since = int(change)
    starts = np.array([word.start_ms / 1000 for word in alignment.words])
    assert len(onsets) >= 4
    for onset in onsets:
        assert np.abs(starts - onset).min() <= 0.08, onset


@pytest.mark.media
def test_a_sentence_that_a_real_speaker_never_said_is_named(recording: Pcm) -> None:
    """A sentence added to the script is found missing, at the end and in the middle alike."""
    extra = "Nobody ever said this sentence about rubber sheets."
    first, second = KNOWN.split(", ask what")
    for script in (f"{KNOWN} {extra}", f"{first}. {extra} Ask what{second}"):
        alignment = align_take(recording, script)
        assert [lack.text for lack in alignment.not_spoken if lack.whole] == [extra]


def test_pocketsphinx_reads_the_language_model_as_it_was_meant(tmp_path: Path) -> None:
    """Its reader of ARPA files gives our chances, backed-off ones included."""
    import pocketsphinx

    sentences = [("dry", "the", "canal"), ("fill", "the", "canal", "now"), ("dry", "it")]
    ours = Trigrams(sentences)
    path = tmp_path / "script.arpa"
    path.write_text(ours.arpa(), "utf-8", newline="\n")
    config = pocketsphinx.Config(lm=None, hmm=None, dict=None)
    logmath = pocketsphinx.LogMath(1.0001, 0, False)
    theirs = pocketsphinx.NGramModel(config, logmath, str(path))
    for gram in (("dry",), ("dry", "the"), ("dry", "the", "canal"), ("it", "canal")):
        found = logmath.exp(int(theirs.prob(list(reversed(gram)))))  # the newest word first
        assert found == pytest.approx(ours.chance(gram), rel=0.02), gram


def test_the_textbook_alignment_has_the_textbook_score(monkeypatch: pytest.MonkeyPatch) -> None:
    """GATTACA against GCATGCG with match +1, mismatch -1, gap -1: the best score is 0."""
    for name, value in (("_MATCH", 1), ("_MISMATCH", -1), ("_GAP", -1)):
        monkeypatch.setattr(matching, name, value)
    a, b = (np.array([ord(char) for char in text], np.int32) for text in ("GATTACA", "GCATGCG"))
    for cells in (4_000_000, 8):
        monkeypatch.setattr(matching, "_CELLS", cells)
        pairs = matching._align(a, b)
        equal = sum(int(a[i] == b[j]) for i, j in pairs)
        gaps = len(a) + len(b) - 2 * len(pairs)
        assert equal - (len(pairs) - equal) - gaps == 0
