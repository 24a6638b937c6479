"""The house is kept as DEVELOPERS.md draws it: imports go one way, libraries stay where they belong.

Read from the document: the block after "## The house" lists every module from top to bottom; a
module imports only what stands above it. The block after "## Outside libraries" says where each
library may be imported.
"""

from __future__ import annotations

import ast
import re
import sys
from fnmatch import fnmatch
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
OURS = ("chapters", "annotate", "sample_clips")


def block(heading: str, text: str | None = None) -> list[str]:
    """The lines of the first fenced block after a heading of DEVELOPERS.md."""
    text = (ROOT / "DEVELOPERS.md").read_text("utf-8") if text is None else text
    after = text.split(f"## {heading}\n", 1)[1]
    return [line for line in after.split("```")[1].splitlines()[1:] if line.strip()]


def drawn_order() -> list[str]:
    """Module names as the house lists them, top to bottom."""
    return [line.split()[0].removesuffix(".py").replace("/", ".") for line in block("The house")]


def modules() -> dict[str, Path]:
    """Every module of the packages by its dotted name; empty ``__init__`` files are no rooms."""
    found = {}
    for top in OURS:
        for path in sorted((ROOT / top).rglob("*.py")):
            if path.name == "__init__.py":
                continue
            found[".".join(path.relative_to(ROOT).with_suffix("").parts)] = path
    return found


def imports(source: str) -> list[tuple[str, int]]:
    """Every absolute import in a module, also inside functions, with its line."""
    out = []
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            out += [(a.name, node.lineno) for a in node.names]
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, "relative imports hide the arrows"
            assert node.module is not None
            out += [(f"{node.module}.{a.name}", node.lineno) for a in node.names]
    return out


def target(name: str, known: list[str]) -> str | None:
    """The module of ours that an import reaches, None for anything else."""
    parts = name.split(".")
    for n in range(len(parts), 0, -1):
        if ".".join(parts[:n]) in known:
            return ".".join(parts[:n])
    return None


def wrong_arrows(order: list[str], sources: dict[str, str]) -> list[str]:
    """Every import that reaches a module below its own, and every module the drawing lacks."""
    faults = [f"{name} is not in the house" for name in sources if name not in order]
    for name, source in sources.items():
        for imported, line in imports(source):
            aim = target(imported, list(sources))
            if aim is None or name not in order or aim not in order or aim == name:
                continue
            if order.index(aim) > order.index(name):
                faults.append(f"{name}:{line} imports {aim}, which stands below it")
    return faults


def wrong_libraries(places: dict[str, list[str]], sources: dict[str, str]) -> list[str]:
    """Every import of an outside library in a module where the list does not allow it."""
    faults = []
    for name, source in sources.items():
        for imported, line in imports(source):
            library = imported.split(".")[0]
            if library in (*OURS, *sources) or library in sys.stdlib_module_names:
                continue
            if not any(fnmatch(name, place) for place in places.get(library, [])):
                faults.append(f"{name}:{line} imports {library}")
    return faults


def library_places() -> dict[str, list[str]]:
    """Where DEVELOPERS.md lets each library in."""
    out = {}
    for line in block("Outside libraries"):
        library, _, where = line.partition(":")
        out[library.strip()] = [w.strip() for w in where.split("#")[0].split(",")]
    return out


def all_sources() -> dict[str, str]:
    """The text of every module."""
    return {name: path.read_text("utf-8") for name, path in modules().items()}


def test_every_module_stands_in_the_house_and_imports_upward_only() -> None:
    """No module is missing from the drawing, none imports one below it."""
    assert wrong_arrows(drawn_order(), all_sources()) == []


def test_the_drawing_names_no_module_that_is_gone() -> None:
    """Every line of the house is a file."""
    assert [name for name in drawn_order() if name not in modules()] == []


def test_outside_libraries_enter_only_where_they_may() -> None:
    """Each library is imported in its named places alone."""
    assert wrong_libraries(library_places(), all_sources()) == []


def test_chapters_never_imports_annotate() -> None:
    """The arrow between the two packages, also without the drawing."""
    for name, source in all_sources().items():
        if name.startswith("chapters."):
            assert not [i for i, _ in imports(source) if i.startswith("annotate")], name


def test_the_check_sees_a_planted_arrow_and_a_planted_library() -> None:
    """The checks above can fail: a downward import and a stray library are both named with their line."""
    sources = {"a": "import b\n", "b": "\nimport requests\n"}
    assert wrong_arrows(["a", "b"], sources) == ["a:1 imports b, which stands below it"]
    assert wrong_arrows(["b"], sources) == ["a is not in the house"]
    assert wrong_libraries({"requests": ["a"]}, sources) == ["b:2 imports requests"]


@pytest.mark.parametrize(
    "path", sorted(modules().values()), ids=lambda p: p.relative_to(ROOT).as_posix()
)
def test_a_file_is_no_longer_than_a_room(path: Path) -> None:
    """Files stay under about 400 lines; 450 is too long for one room."""
    assert len(path.read_text("utf-8").splitlines()) <= 450


def test_no_file_carries_a_path_of_a_machine() -> None:
    """No tracked text names a home, a scratch folder or a work folder of some machine."""
    pattern = re.compile(r"(?<![\w.])/(?:home|root|work|opt|Users)/\w")
    for path in [
        *modules().values(),
        *(ROOT / n for n in ("README.md", "DEVELOPERS.md", "CHANGELOG.md")),
    ]:
        assert not pattern.search(path.read_text("utf-8")), path


def test_every_module_imports_alone(tmp_path: Path) -> None:
    """Importing any module does no work that needs another to have been imported first."""
    import subprocess

    names = [n for n in modules() if not n.endswith("__main__")]
    code = "import importlib,sys\nfor n in sys.argv[1:]: importlib.import_module(n)"
    done = subprocess.run(
        [sys.executable, "-W", "error::SyntaxWarning", "-c", code, *names],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    assert done.stdout == ""
