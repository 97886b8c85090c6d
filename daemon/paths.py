"""Where the daemon keeps its state and its control socket."""

from __future__ import annotations

import os
from pathlib import Path


def state_dir(given: str | None, site: str) -> Path:
    """The folder for state: as given, else systemd's, else the user's own."""
    if given:
        return Path(given)
    if systemd := os.environ.get("STATE_DIRECTORY"):
        return Path(systemd.split(":")[0])
    base = os.environ.get("XDG_STATE_HOME") or str(Path.home() / ".local" / "state")
    return Path(base) / "weirkeeper" / site


def control_socket(given: str | None) -> Path:
    """The control socket: as given, else systemd's runtime folder, else the user's own."""
    if given:
        return Path(given)
    if systemd := os.environ.get("RUNTIME_DIRECTORY"):
        return Path(systemd.split(":")[0]) / "control.sock"
    system = Path("/run/weirkeeper/control.sock")
    if system.exists():
        return system
    base = os.environ.get("XDG_RUNTIME_DIR") or f"/tmp/weirkeeper-{os.getuid()}"
    return Path(base) / "weirkeeper" / "control.sock"
