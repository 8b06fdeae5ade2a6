"""The demo programme in a database, loaded once for a test run; each test works on its own copy."""

from __future__ import annotations

import atexit
import shutil
import tempfile
from functools import lru_cache
from pathlib import Path

from tracker import paths
from tracker.db import make_engine, writing
from tracker.intake.folder import load_folder
from tracker.migrate import upgrade


@lru_cache(maxsize=1)
def _loaded() -> Path:
    folder = Path(tempfile.mkdtemp(prefix="washbell-test-demo-"))
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    path = folder / "demo.db"
    engine = make_engine(f"sqlite:///{path}")
    upgrade(engine)
    with writing(engine) as session:
        load_folder(session, paths.seed_data())
        session.commit()
    with engine.connect() as connection:
        connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)")
    engine.dispose()
    return path


def copy_to(folder: Path) -> Path:
    """A copy of the demo's database in a folder."""
    path = folder / "demo.db"
    shutil.copy(_loaded(), path)
    return path
