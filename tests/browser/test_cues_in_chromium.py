"""The page's own reading of WebVTT against Chromium's parser."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from annotate.page.cues import read_cues

pytestmark = [pytest.mark.browser, pytest.mark.outside]

AWKWARD = """WEBVTT - with a header

STYLE
::cue { color: white }

NOTE a comment
over two lines

1
00:01.000 --> 00:02.500 line:90% align:start
<v Speaker>Said &amp; done</v> &lt;not a tag&gt;

00:00:03.000 --> 00:00:04.000
Two lines
with <i>slanted</i> words &nbsp;here

00:00:05.000 --> 00:00:04.000
ends before it starts

100:00:00.000 --> 100:00:01.000
a long day

00:00:06.000 --> 00:00:07.000
&amp;lt; stays one step
"""


def test_same_cues(new_page: Callable[..., Any]) -> None:
    """Times and text are those that Chromium's parser finds in the same file."""
    page = new_page()
    page.goto("about:blank")
    theirs = page.evaluate(
        """async (text) => {
          const film = document.createElement("video");
          const track = document.createElement("track");
          track.src = URL.createObjectURL(new Blob([text], { type: "text/vtt" }));
          track.default = true;
          film.append(track);
          document.body.append(film);
          await new Promise((done) => (track.onload = done));
          return [...track.track.cues].filter((cue) => cue.endTime > cue.startTime)
            .map((cue) => [Math.round(cue.startTime * 1000), Math.round(cue.endTime * 1000), cue.getCueAsHTML().textContent]);
        }""",
        AWKWARD,
    )
    assert [[c.start_ms, c.end_ms, c.text] for c in read_cues(AWKWARD)] == theirs
