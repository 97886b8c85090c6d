"""Waves on a surface, and what they throw over a rim."""

from __future__ import annotations

from math import floor, pi, sin, sqrt

WAVE_M = (0.001, 0.003)  # height above the mean level of the waves that a pump makes
CREST_SHARE = 0.3  # of a rim, which a crest reaches; the rest sees the mean level (our own guess)
_PIECES = 32  # of the table, from a mean level one wave below the rim to one above


def _mean(level: float) -> float:
    """The mean over a wave of height 1 of what stands over the rim, to the power of 1.5."""
    total = 0.0
    for k in range(360):
        over = level + sin(2.0 * pi * (k + 0.5) / 360)
        if over > 0.0:
            total += over * sqrt(over)
    return total / 360


_TABLE = [_mean(-1.0 + 2.0 * k / _PIECES) for k in range(_PIECES + 1)]


def over_rim(head_m: float, wave_m: float) -> float:
    """What a weir's law makes of a wavy surface: the mean of its head to the power of 1.5 [m^1.5].

    `head_m` is the mean level above the rim, below zero under it; waves are sines `wave_m` high.
    A wave far above the rim adds 3/16 of its square over that of the head (Taylor's series).
    """
    still = head_m * sqrt(head_m) if head_m > 0.0 else 0.0
    if wave_m <= 0.0 or head_m <= -wave_m:
        return still
    level = head_m / wave_m
    if level >= 1.0:
        wavy = still * (1.0 + 0.1875 / (level * level))
    else:
        at = (level + 1.0) * 0.5 * _PIECES
        piece = min(floor(at), _PIECES - 1)
        low, high = _TABLE[piece], _TABLE[piece + 1]
        wavy = wave_m * sqrt(wave_m) * (low + (at - piece) * (high - low))
    return still + CREST_SHARE * (wavy - still)
