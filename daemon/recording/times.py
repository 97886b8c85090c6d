"""Times of a recording, as people write and read them."""

from __future__ import annotations

import re

from daemon.errors import InputError
from rules.site.quantities import read

_CLOCK = re.compile(r"([0-9]+):([0-5][0-9]):([0-5][0-9](?:\.[0-9]+)?)")
_NUMBER = re.compile(r"[0-9]+(?:\.[0-9]*)?|\.[0-9]+")


def clock(t_s: float) -> str:
    """A time of a recording: "0:02:07.3"."""
    sign = "-" if t_s < 0 else ""
    whole, tenths = divmod(round(abs(t_s) * 10), 10)
    return f"{sign}{whole // 3600}:{whole // 60 % 60:02d}:{whole % 60:02d}.{tenths}"


def read_time(text: str, name: str) -> float:
    """Seconds, a duration with its unit, or h:mm:ss [s]; `name` is the option it was given to.

    Raises InputError with a sentence.
    """
    plain = text.strip()
    if found := _CLOCK.fullmatch(plain):
        return int(found[1]) * 3600.0 + int(found[2]) * 60.0 + float(found[3])
    if _NUMBER.fullmatch(plain):
        return float(plain)
    try:
        time_s = read(plain, "s", '95, "95 s", "3 min" or 0:03:00')
    except ValueError as error:
        raise InputError(f"{name}: {error}") from None
    if time_s < 0.0:
        raise InputError(f"{name}: {text} is before the beginning")
    return time_s
