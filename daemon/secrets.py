"""The user name and password for the broker: where they come from, and how they stay unseen."""

from __future__ import annotations

import os
import stat
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

USER_VARIABLE = "WEIRKEEPER_BROKER_USER"
PASSWORD_VARIABLE = "WEIRKEEPER_BROKER_PASSWORD"

LONGEST_FILE_BYTES = 4096


class SecretError(Exception):
    """A secret that cannot be used; the text is one sentence for people, without the secret."""


@dataclass(frozen=True, slots=True, repr=False)
class Secret:
    """User name and password; no way of printing it shows the password."""

    user: str
    password: str

    def __repr__(self) -> str:
        return f"Secret(user={self.user!r}, password hidden)"


def find(secret_file: str | None, environment: Mapping[str, str]) -> Secret | None:
    """The secret from the environment, or else from the file; None when neither is given."""
    user, password = environment.get(USER_VARIABLE), environment.get(PASSWORD_VARIABLE)
    if user and password:
        return Secret(user, password)
    if user or password:
        missing = PASSWORD_VARIABLE if user else USER_VARIABLE
        raise SecretError(f"{missing} is not set, and its counterpart is; set both or neither.")
    return read(Path(secret_file)) if secret_file else None


def read(path: Path) -> Secret:
    """The secret in a file of two lines, user name and password, that its owner alone can read."""
    try:
        # without O_NONBLOCK a named pipe put there by mistake would hold up the start for ever
        handle = os.open(path, os.O_RDONLY | os.O_NONBLOCK | os.O_CLOEXEC)
    except OSError as error:
        raise SecretError(f"The secret file {path} cannot be read: {error.strerror}.") from None
    try:
        # the open file is asked, not the path: what was checked is what is read
        mode = os.fstat(handle).st_mode
        if not stat.S_ISREG(mode):
            raise SecretError(f"The secret file {path} is not a plain file.")
        if mode & 0o077:
            raise SecretError(
                f"The secret file {path} can be read by others than its owner; "
                f"run: chmod 600 {path}"
            )
        content = os.read(handle, LONGEST_FILE_BYTES + 1)
    finally:
        os.close(handle)
    try:
        lines = content.decode("utf-8").splitlines()
    except UnicodeDecodeError:
        raise SecretError(f"The secret file {path} is not text in UTF-8.") from None
    if len(content) > LONGEST_FILE_BYTES or len(lines) != 2 or not all(lines):
        raise SecretError(
            f"The secret file {path} must hold two lines: the user name, then the password."
        )
    return Secret(lines[0], lines[1])
