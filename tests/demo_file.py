"""The demo's database, prepared once for a test run; each test works on its own copy."""

from __future__ import annotations

import atexit
import shutil
import tempfile
from functools import lru_cache
from pathlib import Path

from tracker import demo


@lru_cache(maxsize=1)
def prepared() -> Path:
    """The demo as ``washbell demo`` makes it; to be read, never written to."""
    folder = Path(tempfile.mkdtemp(prefix="washbell-test-demo-"))
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    path = folder / "demo.db"
    demo.prepare(path)
    path.chmod(0o444)
    return path


def copy_to(folder: Path) -> Path:
    """A copy of the demo's database in a folder."""
    path = folder / "demo.db"
    shutil.copyfile(prepared(), path)
    return path
