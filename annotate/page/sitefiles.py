"""The files of a built site: written only where they differ, listed, and taken away when stale.

``club.json`` lists every file that a build wrote. It names new files before they are written and
forgets old ones after they are gone, so a build that was stopped half-way leaves nothing that the
next build does not know of. Files it does not list are never touched.
"""

from __future__ import annotations

import json
import shutil
from pathlib import Path, PurePosixPath

from chapters.errors import InputError

LIST = "club.json"


class SiteFiles:
    """One build of the site at ``root``. Raises InputError when ``root`` holds something else."""

    def __init__(self, root: Path) -> None:
        self.root = root
        self._before = _listed(root)
        self._now: set[str] = set()

    def plan(self, names: set[str]) -> None:
        """Say which files this build will write, before it writes the first."""
        self.root.mkdir(parents=True, exist_ok=True)
        self._now = names
        self._write_list(self._before | names)

    def text(self, name: str, text: str) -> None:
        """Write a text file unless it stands there already, word for word."""
        target = self._target(name)
        data = text.encode("utf-8", "replace")
        if target.is_file() and target.stat().st_size == len(data) and target.read_bytes() == data:
            return
        part = target.with_name(f".{target.name}.part")
        try:
            part.write_bytes(data)
            part.replace(target)
        finally:
            part.unlink(missing_ok=True)

    def media(self, name: str, source: Path) -> None:
        """Put a film or a picture there: a hard link where the disk allows it, else a copy."""
        target = self._target(name)
        if target.exists():
            if source.samefile(target) or _same(source, target):
                return
            target.unlink()
        part = target.with_name(f".{target.name}.part")
        part.unlink(missing_ok=True)
        try:
            try:
                part.hardlink_to(source.resolve())
            except OSError:
                shutil.copy2(source, part)
            part.replace(target)
        finally:
            part.unlink(missing_ok=True)

    def finish(self) -> int:
        """Take away what an earlier build wrote and this one did not; returns how many files."""
        stale = sorted(self._before - self._now)
        for name in stale:
            target = self.root / name
            target.unlink(missing_ok=True)
            for folder in target.relative_to(self.root).parents:
                if folder == Path():
                    break
                try:
                    (self.root / folder).rmdir()
                except OSError:
                    break
        self._write_list(self._now)
        return len(stale)

    def _target(self, name: str) -> Path:
        if name not in self._now:
            raise ValueError(f"{name} was not planned")
        target = self.root / name
        target.parent.mkdir(parents=True, exist_ok=True)
        return target

    def _write_list(self, names: set[str]) -> None:
        text = json.dumps({"made_by": "teachcut club", "files": sorted(names)}, indent=0)
        part = self.root / f".{LIST}.part"
        part.write_text(text, encoding="utf-8", newline="\n")
        part.replace(self.root / LIST)


def _same(source: Path, target: Path) -> bool:
    """Whether a copy is still a copy: by size and time, as copying keeps both."""
    ours, theirs = source.stat(), target.stat()
    return (ours.st_size, ours.st_mtime_ns) == (theirs.st_size, theirs.st_mtime_ns)


def _listed(root: Path) -> set[str]:
    """The files that earlier builds wrote."""
    if root.exists() and not root.is_dir():
        raise InputError(f"{root}: is no folder; name another place for the site")
    if not root.is_dir() or not any(root.iterdir()):
        return set()
    advice = "empty it or name another place for the site"
    try:
        found = json.loads((root / LIST).read_text(encoding="utf-8"))
        names = found["files"] if found["made_by"] == "teachcut club" else None
    except (OSError, ValueError, KeyError, TypeError):
        names = None
    if not isinstance(names, list) or not all(isinstance(n, str) and _inside(n) for n in names):
        raise InputError(f"{root}: holds something that teachcut club did not write; {advice}")
    return set(names)


def _inside(name: str) -> bool:
    path = PurePosixPath(name)
    return (
        name != ""
        and not path.is_absolute()
        and ".." not in path.parts
        and not any(c in name for c in "\\:\0")
    )
