"""A picture of what a terminal would show, as SVG that needs nothing from elsewhere."""

from __future__ import annotations

import io
from pathlib import Path

from rich.console import Console, RenderableType
from rich.terminal_theme import TerminalTheme

WIDTH = 128

THEME = TerminalTheme(
    (250, 250, 247),
    (40, 44, 52),
    [
        (40, 44, 52),
        (190, 40, 40),
        (30, 120, 60),
        (160, 110, 0),
        (30, 90, 180),
        (130, 60, 150),
        (0, 110, 130),
        (120, 120, 120),
    ],
)

FRAME = """\
<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}">
<style>
.{unique_id}-matrix {{ font-family: "DejaVu Sans Mono", Menlo, Consolas, monospace;
  font-size: {char_height}px; line-height: {line_height}px; }}
{styles}
</style>
<defs>{lines}</defs>
<rect width="100%" height="100%" fill="#fafaf7" rx="8"/>
<g transform="translate({terminal_x}, 20)">
{backgrounds}
<g class="{unique_id}-matrix">{matrix}</g>
</g>
</svg>
"""


def draw(shown: RenderableType, file: str) -> None:
    """Write `shown` as an SVG picture to `file`."""
    console = Console(
        record=True, markup=False, width=WIDTH, file=io.StringIO(), force_terminal=True
    )
    console.print(shown)
    svg = console.export_svg(title="", theme=THEME, code_format=FRAME, unique_id="live")
    Path(file).write_text(svg, encoding="utf-8")
