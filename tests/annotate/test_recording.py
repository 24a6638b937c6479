"""What a recording's parts have to say of themselves, put into recording time and steps."""

from __future__ import annotations

from fractions import Fraction as F
from pathlib import Path

from annotate.recording import Pictures, damage_sentences, open_recording
from chapters.case import Case, Part, Step
from chapters.media.probe import Damage
from chapters.spans import Span
from chapters.timemap import PartSpan
from chapters.times import RecordingTime as R
from tests.clips import SoundTrack, VideoTrack, even_times, read_number, write_clip

STEPS = (
    Step("one", "One", R(F(0)), R(F(12))),
    Step("two", "Two", R(F(12)), R(F(30))),
)
PART = PartSpan("b.mp4", F(10), F(20), F(0))


def test_damage_is_told_in_recording_time_with_the_steps_it_touches() -> None:
    """The second part's own second 1.25 is second 11.25 of the recording, and lies in step one."""
    damage = [Damage(Span(F(5, 4), F(3, 2)), "the picture is damaged")]
    assert damage_sentences(PART, damage, STEPS) == (
        "b.mp4: from 0:11.2 to 0:11.5: the picture is damaged; it touches one",
    )


def test_damage_close_together_is_one_sentence() -> None:
    """Twelve bad packets within seconds are one finding; another, far behind, is its own."""
    damage = [
        Damage(Span(F(n, 4), F(n + 1, 4)), ("lost", "smeared")[n % 2]) for n in range(0, 24, 3)
    ]
    damage.append(Damage(Span(F(15), F(16)), "smeared"))
    assert damage_sentences(PART, damage, STEPS) == (
        "b.mp4: from 0:10.0 to 0:15.5: lost, smeared; it touches one, two",
        "b.mp4: from 0:25.0 to 0:26.0: smeared; it touches two",
    )


def test_an_early_end_touches_the_step_that_runs_to_it() -> None:
    """A truncated part: the place where the picture ends, and the step that has lost its end."""
    damage = [Damage(Span(F(20), F(47)), "the picture ends here; the header promises 0:47")]
    assert damage_sentences(PART, damage, STEPS) == (
        "b.mp4: at 0:30.0: the picture ends here; the header promises 0:47; it touches two",
    )


def test_an_early_end_does_not_touch_the_steps_of_the_next_part() -> None:
    """What the header promised beyond the end is nowhere on the line: the next part follows at once."""
    first = PartSpan("a.mp4", F(0), F(10), F(0))
    damage = [Damage(Span(F(10), F(47)), "the picture ends here")]
    steps = (
        Step("before", "B", R(F(0)), R(F(9))),
        Step("across", "A", R(F(9)), R(F(12))),
        Step("after", "L", R(F(12)), R(F(30))),
    )
    assert damage_sentences(first, damage, steps) == (
        "a.mp4: at 0:10.0: the picture ends here; it touches across",
    )


def test_damage_that_ends_where_a_step_begins_does_not_touch_it() -> None:
    """Spans are half-open: the first good frame belongs to the next step."""
    damage = [Damage(Span(F(1), F(2)), "lost")]
    assert damage_sentences(PART, damage, STEPS)[0].endswith("it touches one")


def test_a_recording_without_sound_is_told_only_where_sound_is_wanted(tmp_path: Path) -> None:
    """A film that keeps no room sound has nothing to say about a missing sound track."""
    write_clip(tmp_path / "mute.mp4", VideoTrack(even_times(10, 25)))
    write_clip(tmp_path / "loud.mp4", VideoTrack(even_times(10, 25)), SoundTrack())
    case = Case("c", "C", (Part("mute.mp4"), Part("loud.mp4")), STEPS)
    recording = open_recording(case, lambda name: tmp_path / name)
    wanted = [n for n in recording.notices(STEPS, sound=True) if "sound" in n]
    assert len(wanted) == 1 and wanted[0].startswith("mute.mp4: ")
    assert not [n for n in recording.notices(STEPS, sound=False) if "sound" in n]


class Counted(Pictures):
    """Pictures that count how often they seek."""

    seeks = 0

    def _open(self, index: int, own: F) -> None:
        self.seeks += 1
        super()._open(index, own)


def test_a_jump_over_a_key_frame_is_sought_and_shows_the_right_frame(tmp_path: Path) -> None:
    """Frame by frame and at 8x it is read on; past a far key frame, and backward, it is sought."""
    write_clip(tmp_path / "a.mp4", VideoTrack(even_times(360, 30), gop=60))
    case = Case("c", "C", (Part("a.mp4"),), STEPS)
    recording = open_recording(case, lambda name: tmp_path / name)
    runs = {
        1: [F(n, 30) for n in range(90)],
        2: [*(F(n, 30) for n in range(30)), *(F(240 + n, 30) for n in range(30))],
        3: [F(8 * n, 30) for n in range(40)],
        4: [F(9), F(1)],
    }
    wanted = {1: 1, 2: 2, 3: 1, 4: 2}
    for run, times in runs.items():
        pictures = Counted(recording, (320, 192), case, decoder_threads=1)
        with pictures:
            for r in times:
                assert read_number(pictures.planes_at(r)[0]) == r * 30
            assert pictures.seeks == wanted[run], run
