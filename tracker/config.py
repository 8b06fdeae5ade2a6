"""Settings: one frozen object, read from the environment."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

DEMO_SECRET = "washbell-demo-secret-never-for-real-use"  # noqa: S105 - refused outside the demo
SHORTEST_SECRET = 32


class SettingsError(ValueError):
    """The installation is not set up to run; the message says what to do."""


@dataclass(frozen=True, slots=True)
class Settings:
    """What an installation is told from outside.

    database_url: SQLAlchemy address of the database.
    secret: signs cookies and form tokens, at least 32 characters.
    demo: serve the made-up programme with its log-ins shown; never with real data.
    https: the site is reached through https (cookies then carry the host prefix and the secure mark).
    access_log: file that keeps who looked at or exported what; None keeps it beside the database.
    """

    database_url: str
    secret: str
    demo: bool = False
    https: bool = True
    access_log: Path | None = None
    testing: bool = False

    def check(self) -> None:
        """Refuse to run a real installation with the demo's secret or a short one.

        Raises:
            SettingsError: with what to do.
        """
        if self.demo or self.testing:
            return
        if self.secret == DEMO_SECRET:
            raise SettingsError("WASHBELL_SECRET is the demo's. Set a secret of your own, at least 32 characters.")
        if len(self.secret) < SHORTEST_SECRET:
            raise SettingsError(f"WASHBELL_SECRET is too short. Use at least {SHORTEST_SECRET} random characters.")


def from_environment(environ: Mapping[str, str] | None = None) -> Settings:
    """Read WASHBELL_DATABASE, WASHBELL_SECRET, WASHBELL_HTTPS and WASHBELL_ACCESS_LOG.

    Raises:
        SettingsError: something needed is not set.
    """
    env = os.environ if environ is None else environ
    missing = [name for name in ("WASHBELL_DATABASE", "WASHBELL_SECRET") if not env.get(name)]
    if missing:
        raise SettingsError("Set " + " and ".join(missing) + " in the environment; docs/deploy.md shows how.")
    log = env.get("WASHBELL_ACCESS_LOG")
    return Settings(
        database_url=env["WASHBELL_DATABASE"],
        secret=env["WASHBELL_SECRET"],
        https=env.get("WASHBELL_HTTPS", "1") != "0",
        access_log=Path(log) if log else None,
    )
