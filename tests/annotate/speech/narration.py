"""A narration of our own over a practice tooth, as written and as spoken, and takes made of it.

``{2.5 %|two point five percent}`` is written as the first and spoken as the second.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np

from tests.annotate.speech.voices import RATE_HZ, Pcm, say

_TEXT = """
This is a practice tooth held in a clamp on the bench.
We will find a perforation in its floor and seal it.
First the clamp goes on, then the rubber sheet.
Check the seal with a gentle stream of air.
If you see bubbles at the margin, seat the sheet again.
The microscope stands at a middle magnification.
Keep both hands low and let the elbows rest.
Now the old filling comes out in thin layers.
Use a round bur and stop as soon as the colour changes.
Rinse, dry, and look again before you cut deeper.
The chamber opens at about {4 mm|four millimetres} below the cusp.
Here the floor is darker than the walls around it.
A small red point beside the orifice tells us where the hole is.
Touch it with a paper point and read how deep it went.
The mark stands at {11.5 mm|eleven point five millimetres}.
Write the number down before you reach for the file.
The second canal lies under a shelf of dentine.
An ultrasonic tip takes the shelf away without pressure.
Move the tip in short strokes and never hold it still.
Cool it with water every few seconds.
The mesiobuccal orifice is now open.
A size {10|ten} file follows the wall and drops into place.
Turn it a quarter clockwise and draw it back.
Do the same three times and clean the flutes.
The apex locator reads zero at the foramen.
Working length is half a millimetre short of that.
Irrigate with {NaOCl|sodium hypochlorite} at {2.5 %|two point five percent}.
Let the needle move freely, never bind it in the canal.
After {20 s|twenty seconds} draw the liquid off again.
A rinse with {EDTA|E D T A} removes the smear layer.
Finish with saline so that nothing reacts.
Dry the canal with paper points until one comes out clean.
Look into the canal at the highest magnification.
You can see the isthmus between both canals.
It is filled with debris and needs another rinse.
Warm the solution and agitate it with a plastic tip.
Now we turn to the perforation itself.
Bleeding would spoil the seal, so we wait.
Press a damp pellet on the floor for a minute.
Meanwhile the assistant mixes the cement.
The powder takes up water until it looks like wet sand.
Too much water and the paste will run away.
Carry a small portion with the needle and set it on the hole.
Tap it with a plugger of the right width.
Add a second portion and level it with the floor.
Do not wash the cement away while it sets.
A moist pellet stays above it until the next visit.
In this film we leave that wait out, and the clock says so.
The radiograph shows the plug as a white disc.
Its edges meet the dentine all around.
There is no gap between the plug and the wall.
Compare this picture with the one at the start.
The furcation looks the same as before.
Next we fit the gutta percha cone.
It should resist a little when you pull it.
Mark its length with the tweezers at the cusp.
Coat the cone thinly with sealer.
Too much sealer goes where you cannot follow.
Set the cone slowly and let the air escape.
Heat the plugger and cut the cone at the orifice.
Condense what is left with light pressure.
Leave about {5 mm|five millimetres} of filling at the apex.
Backfill the upper part in two steps.
Each step cools under pressure for {10 s|ten seconds}.
Wipe the chamber with alcohol on a small pellet.
Etch the margins and rinse them well.
The bond is thinned with air and cured.
Place the composite in layers of {2 mm|two millimetres}.
Cure every layer from two sides.
Shape the surface before the last layer sets.
Remove the sheet and check the contact.
The bite is marked with thin blue foil.
Polish until the marks look even.
Take the final radiograph from the same angle.
The obturation ends at the working length.
No sealer went beyond the apex.
A recall after six months is planned.
On a patient the periapical tissue would now heal.
On this practice tooth we cut it open instead.
The section shows the plug from the side.
Cement fills the hole from the floor to the ligament.
Its thickness is {1.8 mm|one point eight millimetres}.
The margin is tight at forty times.
What took longest was finding the second canal.
Eight minutes went into that one step.
With a better light it would have been five.
So set the lamp before you start.
Try the same on a spare tooth.
Count your own minutes and compare.
Thank you for watching this lesson.
"""

SENTENCES: tuple[str, ...] = tuple(line for line in _TEXT.strip().splitlines())
_PAIR = re.compile(r"\{([^|}]*)\|([^}]*)\}")


def written(sentence: str) -> str:
    """As it stands in the script."""
    return _PAIR.sub(r"\1", sentence)


def spoken(sentence: str) -> str:
    """As the synthesiser is asked to say it."""
    return _PAIR.sub(r"\2", sentence)


@dataclass(frozen=True)
class TrueWord:
    """One written word of the script and when it was truly said (None: it was not)."""

    text: str
    start_s: float | None
    end_s: float | None
    sentence: int


@dataclass(frozen=True)
class Narration:
    """A take: 16 kHz mono int16, the script's words with their true times, unscripted spans."""

    pcm: Pcm
    script: str
    words: tuple[TrueWord, ...]
    unscripted: tuple[tuple[float, float], ...] = ()


def narrate(
    sentences: tuple[str, ...],
    voice: str,
    skip: frozenset[int] = frozenset(),
    ad_lib: dict[int, str] | None = None,
    seed: int = 1,
    room_dbfs: float = -66.0,
) -> Narration:
    """Speak ``sentences`` with pauses of 0.25 to 0.9 s over faint steady room noise.

    Sentences in ``skip`` stand in the script and are not spoken; ``ad_lib[i]`` is spoken before
    sentence i and stands in no script.
    """
    rng = np.random.default_rng(seed)
    pieces: list[Pcm] = []
    count = 0

    def lay(pcm: Pcm) -> float:
        nonlocal count
        start = count / RATE_HZ
        pieces.append(pcm)
        count += len(pcm)
        return start

    def pause() -> None:
        lay(np.zeros(round(rng.uniform(0.25, 0.9) * RATE_HZ), np.int16))

    words: list[TrueWord] = []
    unscripted: list[tuple[float, float]] = []
    for number, sentence in enumerate(sentences):
        if ad_lib and number in ad_lib:
            pause()
            extra = say(spoken(ad_lib[number]), voice)
            at = lay(extra.pcm)
            unscripted.append((at + extra.times[0][0], at + extra.times[-1][1]))
        if number in skip:
            words += [TrueWord(w, None, None, number) for w in _written_words(sentence)]
            continue
        pause()
        said = say(spoken(sentence), voice)
        at = lay(said.pcm)
        words += _true_words(sentence, said.times, at, number)
    pause()
    pcm = np.concatenate(pieces).astype(float)
    pcm += rng.normal(0, 32768 * 10 ** (room_dbfs / 20), len(pcm))
    script = " ".join(written(s) for s in sentences)
    final = np.clip(np.round(pcm), -32768, 32767).astype(np.int16)
    return Narration(final, script, tuple(words), tuple(unscripted))


def _parts(sentence: str) -> list[tuple[str, str]]:
    """(written, spoken) token by token: written words of one brace share its spoken words."""
    parts: list[tuple[str, str]] = []
    position = 0
    for match in _PAIR.finditer(sentence):
        parts += [(w, w) for w in sentence[position : match.start()].split()]
        parts.append((match[1], match[2]))
        position = match.end()
        trailing = re.match(r"\S+", sentence[position:])
        if trailing:
            parts[-1] = (parts[-1][0] + trailing[0], parts[-1][1] + trailing[0])
            position += trailing.end()
    return parts + [(w, w) for w in sentence[position:].split()]


def _written_words(sentence: str) -> list[str]:
    return [word for text, _ in _parts(sentence) for word in text.split()]


def _true_words(
    sentence: str, times: tuple[tuple[float, float], ...], at: float, number: int
) -> list[TrueWord]:
    out: list[TrueWord] = []
    index = 0
    for text, said in _parts(sentence):
        length = len(said.split())
        start, end = at + times[index][0], at + times[index + length - 1][1]
        for place, word in enumerate(text.split()):
            known = place == 0
            out.append(TrueWord(word, start if known else float("nan"), end, number))
        index += length
    return out
