"""``made.json``: what a finished folder was made from. Its presence is what "finished" means.

It names no input file and no path: names of recordings can name people. Inputs stand by part
number and hash.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict
from pathlib import Path
from typing import Any

from annotate.decide import Decided
from annotate.sidecars import head_values
from annotate.version import VERSION
from chapters.media.encode import EncoderSettings
from chapters.media.files import MARKER, sha256_of


def made_values(
    decided: Decided, settings: EncoderSettings, fingerprint: str, outputs: Mapping[str, Path]
) -> dict[str, Any]:
    """The values of ``made.json``; ``outputs`` maps finished names to where the files are now."""
    inputs = [
        {"input": i, "sha256": digest, "bytes": path.stat().st_size}
        for i, ((path, _), digest) in enumerate(zip(decided.inputs, decided.hashes, strict=True), 1)
    ]
    return head_values(decided.plan) | {
        "teachcut": VERSION,
        "fingerprint": fingerprint,
        "inputs": inputs,
        "settings": {k: str(v) for k, v in asdict(settings).items()},
        "libraries": decided.library_versions,
        "outputs": [
            {"name": name, "sha256": sha256_of(path), "bytes": path.stat().st_size}
            for name, path in sorted(outputs.items())
            if name != MARKER
        ],
    }


def _read(folder: Path) -> dict[str, Any]:
    try:
        values = json.loads((folder / MARKER).read_text("utf-8"))
    except (OSError, ValueError):
        return {}
    return values if isinstance(values, dict) else {}


def read_fingerprint(folder: Path) -> str | None:
    """The fingerprint of a finished folder, None where there is none that can be read."""
    found = _read(folder).get("fingerprint")
    return found if isinstance(found, str) else None


def outputs_stand(folder: Path) -> bool:
    """Whether every output that ``made.json`` names is there with its size."""
    outputs = _read(folder).get("outputs")
    if not isinstance(outputs, list) or not outputs:
        return False
    for output in outputs:
        path = folder / str(output.get("name"))
        if not path.is_file() or path.stat().st_size != output.get("bytes"):
            return False
    return True
