"""`draw`: the picture of a site as a file. Only here is the drawing library loaded, when needed."""

from __future__ import annotations

import io
import os
import tempfile
import warnings
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING

from daemon.errors import InputError

if TYPE_CHECKING:
    from rules.plan import Plan

FORMATS = (".svg", ".png", ".pdf")
DOTS_INCH = 200


def draw(plan: Plan, file: str) -> None:
    """Draw the plumbing to scale and its curves to `file`: .svg, .png or .pdf (A4 pages).

    The same plan gives the same bytes. The file is replaced only once the picture is whole.
    Raises InputError with a sentence.
    """
    path = Path(file)
    suffix = path.suffix.lower()
    if suffix not in FORMATS:
        known = ", ".join(FORMATS[:-1])
        raise InputError(f"{file}: the name of a picture must end in {known} or {FORMATS[-1]}")
    try:
        import matplotlib.style
    except ImportError as error:
        raise InputError(
            f"a picture needs a drawing library that cannot be loaded ({error}); install the extra "
            'with pip install "weirkeeper[plot]", or leave the picture out'
        ) from None
    from daemon.plot.looks import STYLE

    with matplotlib.style.context(["default", STYLE]), warnings.catch_warnings():
        # a letter that the font lacks becomes an empty box, which the picture itself shows
        warnings.filterwarnings("ignore", message="Glyph .* missing from")
        picture = _pdf(plan) if suffix == ".pdf" else _stacked(plan, suffix[1:])
    try:
        _replace(path, picture)
    except OSError as error:
        sentence = f"{file}: the picture cannot be written: {error.strerror or error}"
        raise InputError(sentence) from None


def _stacked(plan: Plan, kind: str) -> bytes:
    """All pages one under the other, as one picture."""
    from matplotlib.figure import Figure

    from daemon.plot.looks import INCH_MM, PAGE_MM
    from daemon.plot.pages import draw_page, pages

    found = pages(plan)
    wide, high = (side / INCH_MM for side in PAGE_MM)
    figure = Figure(figsize=(wide, high * len(found)), dpi=DOTS_INCH)
    parts = figure.subfigures(len(found), 1, squeeze=False)
    for i, page in enumerate(found):
        draw_page(parts[i, 0], plan, page, i + 1, len(found))
    out = io.BytesIO()
    nameless = {"Date": None, "Creator": None} if kind == "svg" else {"Software": None}
    figure.savefig(out, format=kind, dpi=DOTS_INCH, metadata=nameless)
    return out.getvalue()


def _pdf(plan: Plan) -> bytes:
    """Each page as a page of A4."""
    from matplotlib.backends.backend_pdf import PdfPages
    from matplotlib.figure import Figure

    from daemon.plot.looks import INCH_MM, PAGE_MM
    from daemon.plot.pages import draw_page, pages

    found = pages(plan)
    out = io.BytesIO()
    nameless = {"CreationDate": None, "Creator": None, "Producer": None}
    with PdfPages(out, metadata={**nameless, "Title": plan.site.site.name}) as document:
        for i, page in enumerate(found):
            figure = Figure(figsize=(PAGE_MM[0] / INCH_MM, PAGE_MM[1] / INCH_MM))
            draw_page(figure, plan, page, i + 1, len(found))
            document.savefig(figure)
    return out.getvalue()


def _replace(path: Path, picture: bytes) -> None:
    """Write beside the file, then put it in its place: nobody ever sees half a picture."""
    handle, beside = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
    try:
        with os.fdopen(handle, "wb") as new:
            new.write(picture)
        Path(beside).chmod(0o644)
        Path(beside).replace(path)
    except OSError:
        with suppress(OSError):
            Path(beside).unlink()
        raise
