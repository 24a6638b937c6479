"""What the recordings of the corpus are rich in: as they come, or in what is seldom and hard to tell.

A finder that is right on recordings as they come may still fail where flashes, faint views or a
shaking hand are many; one draw shows too few of them.
"""

from __future__ import annotations

from dataclasses import dataclass

from tests.bench import edits
from tests.bench.edits import Picture, clipped


@dataclass(frozen=True)
class Mood:
    """What happens in the recordings, how often, and how their views end.

    One of ``happens`` is drawn at every occasion, with a pause of ``pause_frames`` (least and most)
    behind it; a share ``quiet`` of the runs of one view has none and is shorter. A view ends in one of
    ``ending``, or of ``leaving`` where something lasting happened. One recording in ten is a
    ``long_flash``. The clips' contrast is taken down to the parts in ``contrasts``, in turn.

    ``shaken`` and ``noisy``: the share of the recordings that are, then least and most of the drift
    and of the tremor in pixels, and of the noise in levels.
    """

    happens: tuple[str, ...]
    ending: tuple[str, ...]
    leaving: tuple[str, ...]
    pause_frames: tuple[int, int] = (15, 50)
    quiet: float = 0.0
    long_flash: bool = True
    contrasts: tuple[float, ...] = ()
    shaken: tuple[float, float, float, float, float] = (0.4, 0.1, 0.6, 0.0, 0.8)
    noisy: tuple[float, float, float] = (0.5, 1.0, 7.0)

    def film(self, pictures: list[Picture], number: int) -> list[Picture]:
        """The pictures of clip ``number`` as this mood shows them: every second one browner, too."""
        if not self.contrasts:
            return pictures
        part = self.contrasts[number % len(self.contrasts)]
        out = []
        for picture in pictures:
            mean = picture.mean((0, 1))
            ground = mean if number % 2 else (mean + BROWN) / 2
            out.append(clipped(ground + (picture - mean) * part))
        return out


#: A brownish grey (BGR).
BROWN = (60.0, 110.0, 130.0)
#: All that may happen; flashes twice as often as anything else.
ALL = ("none", "flash", "flash", "occlusion", *edits.PASSING, *edits.LASTING)
LIGHTS = (*["flash"] * 4, "occlusion", "blink")
#: Ways to end a view in which something lasting happened: none that shows more of it, unchanged.
LEAVING = ("hard", "hard", "hard", "black")
#: Ways to end any other view, for another one or to go on with the same.
ENDING = (*LEAVING, *["dissolve"] * 4, *["fade"] * 2, *["jump"] * 8, "stop", "stop", "swap", "swap")
FEW = ("hard", "jump", "jump")

MOODS: dict[str, Mood] = {
    "plain": Mood(ALL, ENDING, LEAVING),
    "jumps": Mood(
        ALL, (*["jump"] * 14, "stop", "hard", "dissolve"), LEAVING, quiet=0.75, long_flash=False
    ),
    "dissolves": Mood(
        ALL,
        (*["dissolve"] * 9, *["fade"] * 3, "jump", "hard"),
        LEAVING,
        quiet=0.6,
        long_flash=False,
    ),
    "flashes": Mood(LIGHTS, FEW, FEW, (12, 40)),
    "faint": Mood(LIGHTS, FEW, FEW, (12, 40), contrasts=(0.06, 0.1, 0.2, 0.35, 0.5)),
    "shaken": Mood(
        LIGHTS,
        FEW,
        FEW,
        (12, 40),
        long_flash=False,
        shaken=(1.0, 0.3, 1.2, 0.3, 1.5),
        noisy=(0.6, 3.0, 10.0),
    ),
}
