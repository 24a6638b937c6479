"""The one test command: ``python -m tests``. Style, types, then the tests; stops at nothing, fails if any did.

``--no-skip`` forbids skipping: what a machine lacks is then a failure, named in the test's words.
Everything else is handed to pytest.
"""

from __future__ import annotations

import os
import subprocess
import sys


def run(name: str, *command: str) -> bool:
    """Run one tool of this environment; say how it ended."""
    print(f"== {name}", flush=True)
    good = subprocess.run([sys.executable, "-m", *command], check=False).returncode == 0
    print(f"== {name}: {'passed' if good else 'FAILED'}", flush=True)
    return good


def main() -> int:
    """Run everything and return the exit code."""
    rest = sys.argv[1:]
    if "--no-skip" in rest:
        rest.remove("--no-skip")
        os.environ["TEACHCUT_NO_SKIP"] = "1"
    good = [
        run("style", "ruff", "check", "."),
        run("format", "ruff", "format", "--check", "."),
        run("types", "mypy"),
        run("tests", "pytest", "-n", "auto", "--dist", "loadfile", *rest),
    ]
    return 0 if all(good) else 1


if __name__ == "__main__":
    sys.exit(main())
