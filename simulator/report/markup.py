"""Writing HTML and SVG: every text and every attribute that goes in is escaped here, once."""

from __future__ import annotations

from html import escape

VOID = frozenset({"meta", "line", "path"})
"""Elements that hold nothing here."""


class Html(str):
    """Markup that is already escaped; plain text is not of this kind."""

    __slots__ = ()


def text(content: str) -> Html:
    """A text, escaped."""
    return content if isinstance(content, Html) else Html(escape(content, quote=True))


def join(*parts: str) -> Html:
    """Parts one after the other; those that are no markup are escaped."""
    return Html("".join(text(part) for part in parts))


def el(name: str, /, *inside: str, **attributes: str | float | None) -> Html:
    """An element. An attribute's underscore stands for a hyphen, and one at its end for nothing.

    An attribute that is None is left out.
    """
    given = "".join(
        f' {key.rstrip("_").replace("_", "-")}="{text(_plain(value))}"'
        for key, value in attributes.items()
        if value is not None
    )
    if name in VOID:
        return Html(f"<{name}{given}>" if name == "meta" else f"<{name}{given}/>")
    return Html(f"<{name}{given}>{join(*inside)}</{name}>")


def _plain(value: str | float) -> str:
    return value if isinstance(value, str) else number(value)


def number(value: float) -> str:
    """A coordinate: two digits after the point are finer than any screen."""
    return f"{value:.2f}".rstrip("0").rstrip(".") if value % 1 else f"{value:.0f}"
