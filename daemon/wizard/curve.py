"""A pump's curve as a keeper knows it: points, or only its greatest flow and head."""

from __future__ import annotations

import re
from itertools import pairwise
from typing import NamedTuple

from daemon.wizard.question import Answer, Raw, Reader
from daemon.wizard.reading import Check, quantity, tidy
from rules.site.quantities import Flow, Length

PLAIN = re.compile(r"^([0-9]+(?:\.[0-9]+)?(?:e[+-]?[0-9]+)?)\s*([^\W\d].*)$", re.IGNORECASE)
"""A quantity that is one plain number and its unit, not a fraction of an inch."""


class Point(NamedTuple):
    """One point of a pump's curve, as written and in m3/s and m."""

    flow: str
    head: str
    flow_m3_s: float
    head_m: float


def _plain(answer: Answer[float], unit: str) -> tuple[float, str]:
    """A quantity's number as written and its unit; in SI where it is not one plain number."""
    found = PLAIN.match(answer.text)
    if found:
        return float(found[1]), found[2]
    return float(f"{answer.value:.6g}"), unit


def usual_curve(flow: Answer[float], head: Answer[float]) -> tuple[Point, ...]:
    """Three points of H = Hmax (1 - (Q / Qmax)^2), the usual shape of a small centrifugal pump.

    Common practice, no source; makers' curves differ from it by some 10 % of the head.
    """
    (q, flow_unit), (h, head_unit) = _plain(flow, "m^3/s"), _plain(head, "m")
    return tuple(
        Point(
            f"{q * share:.10g} {flow_unit}",
            f"{h * (1.0 - share * share):.10g} {head_unit}",
            flow.value * share,
            head.value * (1.0 - share * share),
        )
        for share in (0.0, 0.5, 1.0)
    )


def written(curve: tuple[Point, ...]) -> str:
    """A curve as it is typed."""
    return ", ".join(f"{point.flow} at {point.head}" for point in curve)


def points(reach: Check) -> Reader[tuple[Point, ...]]:
    """Points of a curve, typed "flow at head, flow at head"."""

    def one(text: str) -> Point:
        flow, word, head = tidy(text).partition(" at ")
        if not word:
            raise ValueError(f'"{tidy(text)}": write a point like 2000 l/h at 2.5 m')
        (flow, flow_m3_s), (head, head_m) = quantity(Flow)(flow), quantity(Length)(head)
        return Point(flow, head, flow_m3_s, head_m)

    def read(text: str) -> tuple[str, tuple[Point, ...]]:
        found = tuple(one(part) for part in tidy(text).split(",") if part.strip())
        if len(found) < 2:
            raise ValueError("give two points at least, from no flow to most flow")
        for before, after in pairwise(found):
            if after.flow_m3_s <= before.flow_m3_s or after.head_m >= before.head_m:
                raise ValueError("from point to point the flow must grow and the head must fall")
        if found[-1].head_m < 0 or found[-1].flow_m3_s > 0.1:
            raise ValueError("a head cannot be below zero, nor a flow beyond 0.1 m^3/s")
        if sentence := reach(found[0].head_m):
            raise ValueError(sentence)
        return written(found), found

    return read


def _listed(raw: Raw) -> list[tuple[str, str]] | None:
    curve = raw.get("pumps", {}).get("return-pump", {}).get("curve")
    return [(str(p["flow"]), str(p["head"])) for p in curve] if curve else None


def curve_in(raw: Raw) -> str | None:
    listed = _listed(raw)
    return ", ".join(f"{flow} at {head}" for flow, head in listed) if listed else None


def end_in(raw: Raw, what: str, place: int) -> str | None:
    listed = _listed(raw)
    return listed[place][what == "head"] if listed and known_in(raw) == "rating" else None


def is_usual(curve: tuple[Point, ...]) -> bool:
    """True for a curve that is the usual one through its own ends, to the letter."""
    flow = Answer(curve[-1].flow, curve[-1].flow_m3_s, False)
    head = Answer(curve[0].head, curve[0].head_m, False)
    return written(usual_curve(flow, head)) == written(curve)


def known_in(raw: Raw) -> str | None:
    """Whether a file's curve is only the usual one, or points that somebody knew."""
    text = curve_in(raw)
    if text is None:
        return None
    return "rating" if is_usual(points(lambda _head: None)(text)[1]) else "curve"
