"""``python -m tracker.demo_data FOLDER``: write the demo's files."""

from __future__ import annotations

import sys
from pathlib import Path

from tracker.demo_data import write

TROUBLE = 2


def main(arguments: list[str]) -> int:
    """Write the files; the exit code is 2 where no folder was named."""
    if len(arguments) != 1:
        sys.stderr.write("Name the folder to write to: python -m tracker.demo_data FOLDER\n")
        return TROUBLE
    write(Path(arguments[0]))
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
