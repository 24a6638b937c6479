"""Chromium as a second opinion: its own WebVTT parser and its own text segmentation.

The page is made here and loads nothing: tracks come as data: URLs. A machine without Chromium or
playwright skips loudly, and fails when TEACHCUT_NO_SKIP=1.
"""

from __future__ import annotations

import base64
import os
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import pytest

_ARGS = ["--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage"]
_READ_TRACK = """
async ([kind, url]) => {
  const video = document.createElement("video");
  const track = document.createElement("track");
  track.kind = kind;
  track.src = url;
  const done = new Promise(resolve => {
    track.onload = () => resolve("loaded");
    track.onerror = () => resolve("error");
  });
  video.append(track);
  document.body.append(video);
  track.track.mode = "hidden";
  const state = await done;
  const cues = [...(track.track.cues ?? [])].map(cue => ({
    id: cue.id, start: Math.round(cue.startTime * 1000), end: Math.round(cue.endTime * 1000),
    text: cue.text, shown: cue.getCueAsHTML().textContent, line: cue.line,
  }));
  video.remove();
  return {state, cues};
}
"""
_CLUSTERS = """
texts => {
  const cutter = new Intl.Segmenter("en", {granularity: "grapheme"});
  return texts.map(text => [...cutter.segment(text)].map(part => part.segment));
}
"""


def absent(what: str) -> None:
    """Skip, or fail where skipping is forbidden."""
    if os.environ.get("TEACHCUT_NO_SKIP") == "1":
        pytest.fail(f"{what} is needed and absent")
    pytest.skip(f"LOUD: {what} is absent, so Chromium's opinion was not asked")


class Browser:
    """One open page."""

    def __init__(self, page: Any) -> None:
        self._page = page

    def cues(self, vtt: str, kind: str = "captions") -> list[dict[str, Any]]:
        """What Chromium's WebVTT parser makes of the text; fails if it refuses the file."""
        url = "data:text/vtt;base64," + base64.b64encode(vtt.encode("utf-8")).decode("ascii")
        found = self._page.evaluate(_READ_TRACK, [kind, url])
        assert found["state"] == "loaded"
        cues: list[dict[str, Any]] = found["cues"]
        return cues

    def clusters(self, texts: list[str]) -> list[list[str]]:
        """The texts cut by the browser's own Intl.Segmenter."""
        cut: list[list[str]] = self._page.evaluate(_CLUSTERS, texts)
        return cut


@contextmanager
def browser(driver: Any, program: str) -> Iterator[Browser]:
    """Chromium with an empty page, closed again whatever happens."""
    running = driver.chromium.launch(executable_path=program, args=_ARGS)
    try:
        page = running.new_page()
        page.set_content("<!doctype html><title>captions</title><body></body>")
        yield Browser(page)
    finally:
        running.close()
