"""Pages of a report taken apart, and a night to make them of."""

from __future__ import annotations

from functools import cache
from html.parser import HTMLParser

from daemon.commands.reporting import bands
from simulator.library import load_drill
from simulator.report.told import KEEPERS, Told
from tests.simulator.nights import Ask, play, shorter, site

LASTS_S = 420.0
NAMES = {"classroom": "two-drains-blocked", "rack": "two-drains-blocked"}


@cache
def told(where: str = "classroom") -> Told:
    """Two drains blocked, the first seven minutes of it, under all three keepers."""
    name = NAMES[where]
    nights = {k: play(Ask(name, where, keeper=k, lasts_s=LASTS_S)) for k in KEEPERS}
    drill = shorter(load_drill(name), LASTS_S)
    return Told(name, "drains", site(where), drill, nights, bands(site(where)), "weirkeeper drill")


class Page(HTMLParser):
    """A page taken apart: every element with its attributes, every text; ill-formed is an error."""

    VOID = frozenset({"meta"})

    def __init__(self, text: str) -> None:
        super().__init__(convert_charrefs=True)
        self.open: list[str] = []
        self.elements: list[tuple[str, dict[str, str]]] = []
        self.texts: list[tuple[str, str]] = []
        self.feed(text)
        self.close()
        assert self.open == []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        keys = [key for key, _ in attrs]
        assert len(keys) == len(set(keys)), f"{tag} says {keys} twice"
        self.elements.append((tag, {key: value or "" for key, value in attrs}))
        if tag not in self.VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.handle_starttag(tag, attrs)
        self.open.pop()

    def handle_endtag(self, tag: str) -> None:
        assert self.open, f"</{tag}> closes nothing"
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.texts.append((self.open[-1] if self.open else "", data))

    def all(self, tag: str) -> list[dict[str, str]]:
        """The attributes of every element of this name."""
        return [attributes for name, attributes in self.elements if name == tag]

    @property
    def said(self) -> str:
        """All that is there to read."""
        words = " ".join(text for tag, text in self.texts if tag not in ("style", "script"))
        return " ".join(words.split())
