"""Writing a file whole or not at all."""

from __future__ import annotations

import contextlib
import os
from pathlib import Path

from daemon.errors import InputError


def current(file: Path) -> str | None:
    """The text of a file, None where there is none; raises InputError where it cannot be read."""
    try:
        return file.read_bytes().decode()
    except FileNotFoundError:
        return None
    except UnicodeDecodeError:
        raise InputError(f"{file}: not UTF-8 text") from None
    except OSError as error:
        raise InputError(f"{file}: cannot be read: {error.strerror or error}") from None


def ready(file: Path) -> None:
    """Raise InputError where `file` could not be written, before anything is asked."""
    folder = file.resolve().parent
    if not folder.is_dir():
        raise InputError(f"{file}: there is no folder {folder}")
    if not os.access(folder, os.W_OK | os.X_OK):
        raise InputError(f"{file}: the folder {folder} cannot be written to")


def replace(file: Path, text: str) -> None:
    """Put `text` in place of what `file` holds, so that it is there whole or not at all.

    A link keeps pointing to the file that it names, and a file keeps its mode.
    """
    place = file.resolve()
    beside = place.with_name(f".{place.name}.{os.getpid()}.part")
    try:
        number = os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o666)
        with os.fdopen(number, "w", encoding="utf-8", newline="") as stream:
            if place.exists():
                os.fchmod(number, place.stat().st_mode & 0o777)
            stream.write(text)
            stream.flush()
            os.fsync(number)
        beside.replace(place)
    except OSError as error:
        raise InputError(f"{file}: cannot be written: {error.strerror or error}") from None
    finally:
        with contextlib.suppress(FileNotFoundError):
            beside.unlink()
