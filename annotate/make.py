"""One case from its file to its finished folder, as a list of stages.

Nothing bears a finished name before everything is made: results are staged beside the target
and renamed into place, ``made.json`` last. A folder whose ``made.json`` states the fingerprint
of today's inputs is up to date and left alone.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from annotate.cache import KEPT, SegmentCache
from annotate.captioning import caption_film
from annotate.cuesheets import cue_sheet
from annotate.decide import Decided, decide
from annotate.engine import Job, encode_film_surely
from annotate.inserts import FilmInserts, write_pictures
from annotate.madefile import made_values, outputs_stand, read_fingerprint
from annotate.outplace import check_place
from annotate.page.folder import SMALL
from annotate.page.viewer import PAGE, write_viewer_page
from annotate.picture.overlay import Overlay
from annotate.plan import Plan
from annotate.progress import Report, silent
from annotate.quality import SOFTWARE, Chosen, choose, software_instead
from annotate.quick import encode_quick, plan_quick
from annotate.readback import check_captions, check_chapters, check_film
from annotate.recording import Pictures, met_damage
from annotate.sidecars import Words, caption_tracks, json_text, notice, sidecars
from annotate.sound.cuesheet import cue_sheet_html, cue_sheet_text
from annotate.soundtrack import film_sound
from annotate.stops import held_back
from chapters.casefile import LoadedCase
from chapters.errors import WorkError
from chapters.media.files import MARKER, Staging
from chapters.media.smallfilm import small_film

FILM = "teaching-cut.mp4"


@dataclass(frozen=True)
class Wishes:
    """How a film is to be made. ``again`` makes it even where it is up to date.

    ``quality`` is a level and ``encoder`` a name of ``quality.py``. A ``quick`` cut copies what it
    can and carries its clock as timed text; ``small`` adds a small AV1 file for slow lines.
    """

    again: bool = False
    quality: str = "club"
    encoder: str = SOFTWARE
    quick: bool = False
    small: bool = False


@dataclass(frozen=True)
class Made:
    """What one run did. ``fresh`` is False when the folder was up to date already."""

    folder: Path
    plan: Plan
    fresh: bool
    warnings: tuple[str, ...]


def out_folder(loaded: LoadedCase, out: Path | None = None) -> Path:
    """Where a case's results go: ``out/<case>`` beside the case file, or below ``out``."""
    root = loaded.folder / "out" if out is None else out
    return root / loaded.case.id


def make_case(
    loaded: LoadedCase,
    out: Path | None = None,
    report: Report = silent,
    wishes: Wishes = Wishes(),
) -> Made:
    """Make everything of one case.

    Raises InputError for what the user must mend, WorkError for work that failed; in both cases
    the folder is as it was before.
    """
    decided = decide(loaded, report)
    chosen = choose(wishes.quality, wishes.encoder, decided.size_px, decided.plan.film.fps)
    folder = out_folder(loaded, out)
    check_place(folder, FILM, decided.inputs)
    report("reading the recording", 0, 0)
    fingerprint = decided.fingerprint(chosen.settings, (wishes.quick, wishes.small))
    if not wishes.again and read_fingerprint(folder) == fingerprint and outputs_stand(folder):
        return Made(folder, decided.plan, False, decided.warnings + _drafts_left(folder))
    cache = SegmentCache(folder.parent / KEPT)
    words, remarks = caption_film(decided, cache, report)
    with Staging(folder) as stage:
        for name, text in sidecars(decided.plan, words).items():
            stage.path(name).write_text(text, encoding="utf-8", newline="")
        told = _draw(decided, words, stage.path, (wishes, chosen), cache, report)
        _plot(decided, stage.path("step-times.png"))
        write_viewer_page(stage.path(FILM).parent, stage.path(PAGE).parent)
        report("checking", 0, 0)
        _check(stage.path, decided.plan, words)
        names = sorted(p.name for p in stage.path(FILM).parent.iterdir())
        made = made_values(decided, chosen.settings, fingerprint, {n: stage.path(n) for n in names})
        stage.path(MARKER).write_text(json_text(made), encoding="utf-8", newline="\n")
        stage.publish(remove=_stale(folder, names))
    return Made(folder, decided.plan, True, decided.warnings + remarks + told)


def _drafts_left(folder: Path) -> tuple[str, ...]:
    """What a finished folder says of captions that nobody has read yet."""
    steps = json.loads((folder / "step-times.json").read_text("utf-8"))["steps"]
    drafts = [step["id"] for step in steps if step.get("captions_from") == "draft"]
    told = (
        f"captions of step {', '.join(drafts)} are a draft; correct heard-<step>.txt in the results"
    )
    return (told,) if drafts else ()


def _stale(folder: Path, names: list[str]) -> list[str]:
    """Pictures and captions that an earlier run made and this one has not."""
    patterns = (
        "step-*.jpg",
        "still-*.jpg",
        "captions.*.vtt",
        "captions.*.srt",
        "heard-*.txt",
        SMALL,
    )
    found = [p.name for pattern in patterns for p in folder.glob(pattern)]
    return [name for name in found if name not in names]


def _draw(
    decided: Decided,
    words: Words,
    place: Callable[[str], Path],
    how: tuple[Wishes, Chosen],
    cache: SegmentCache,
    report: Report,
) -> tuple[str, ...]:
    """Draw the film and the pictures taken from it. Returns what is worth telling of it."""
    plan, case, size = decided.plan, decided.plan.case, decided.size_px
    find_file, fonts = decided.loaded.path_of, decided.fonts
    mark = notice(plan)
    inserts = FilmInserts(plan, size, fonts, find_file, mark)
    with Pictures(decided.recording, size, case) as pictures:
        write_pictures(plan, pictures, inserts, Overlay(size, fonts), place, mark)
        sheet = cue_sheet(plan, decided.narration, pictures, mark)
    place("cue-sheet.html").write_text(cue_sheet_html(sheet), encoding="utf-8", newline="\n")
    place("cue-sheet.txt").write_text(cue_sheet_text(sheet), encoding="utf-8", newline="\n")
    burnt = words.read_cues if case.captions_in_picture else ()
    tracks = caption_tracks(plan, words)
    job = Job(decided, inserts, fonts, how[1].settings, mark, burnt=burnt, captions=tracks)
    told = _encode(job, words, place(FILM), how, cache, report)
    if how[0].small:
        report("writing the small file", 0, 0)
        small_film(place(FILM), place(SMALL), lambda done, of: report("small file", done, of))
    return told


def _plot(decided: Decided, path: Path) -> None:
    """Draw the plot of step times, after the film: the plot's library would hold memory beside it.

    It is loaded here, and must not be broken off while it loads.
    """
    plan = decided.plan
    said = notice(plan)
    with held_back():
        from annotate.stepdraw import step_times_png

        step_times_png(
            path, plan.rows, plan.ledger, title=plan.case.title, notice=said, chain=decided.fonts
        )


def _encode(
    job: Job,
    words: Words,
    film: Path,
    how: tuple[Wishes, Chosen],
    cache: SegmentCache,
    report: Report,
) -> tuple[str, ...]:
    """Encode the film, copied where the wishes and the recording allow it."""
    wishes, chosen = how
    decided = job.decided
    _, remarks = film_sound(decided)

    def sound() -> Iterator[NDArray[np.float32]]:
        return film_sound(decided)[0]

    if wishes.quick:
        quick = plan_quick(decided)
        remarks += quick.notices
        if quick.copied:
            damage = encode_quick(job, quick, film, words.chapters, sound(), cache, report)
            return remarks + met_damage(decided.recording, damage, decided.plan.steps)
        remarks += ("nothing can be copied; the film is encoded whole",)
    second = software_instead(wishes.quality, WorkError(f"{chosen.settings.codec} failed"))
    damage, failed = encode_film_surely(
        job, film, words.chapters, sound, cache, report, second.settings
    )
    if failed is not None:
        remarks += software_instead(wishes.quality, failed).told
    return remarks + met_damage(decided.recording, damage, decided.plan.steps)


def _check(place: Callable[[str], Path], plan: Plan, words: Words) -> None:
    """Read the finished files back. Raises WorkError where one is not as planned."""
    said = notice(plan)
    check_film(place(FILM), plan, words.chapters)
    check_captions(place("captions.vtt"), words.cues, said)
    for tag, cues in words.others:
        check_captions(place(f"captions.{tag}.vtt"), cues, said)
    check_chapters(place("chapters.vtt"), words.chapters)
