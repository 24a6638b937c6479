"""``python -m annotate`` is the command ``teachcut``."""

import sys

from annotate.cli import main

if __name__ == "__main__":
    sys.exit(main())
