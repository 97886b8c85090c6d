"""Reading a site file from disk."""

from __future__ import annotations

import contextlib
import pickle
import subprocess
import sys
from pathlib import Path

from rules.figures import compute
from rules.hazards.table import rows as derive_rows
from rules.hydraulics.errors import HydraulicsError
from rules.site.model import Site
from rules.site.parse import parse_site
from rules.site.problems import Problem, SiteError

LONGEST_BYTES = 1_000_000


def load(path: str) -> Site:
    """Read and check the site file at `path`; raises SiteError, with sentences."""
    site = parse_site(text_of(path), Path(path).name)
    if site.stricter:  # whether a row is made stricter or looser shows when rows are derived
        with contextlib.suppress(HydraulicsError):  # said by whoever needs the figures
            derive_rows(site, compute(site), file=Path(path).name)
    return site


def text_of(path: str) -> str:
    """The text of the site file at `path`; raises SiteError, with a sentence."""
    file = Path(path)
    try:
        if file.stat().st_size > LONGEST_BYTES:
            raise SiteError([Problem(path, "", "", "larger than 1 MB: this is no site file")])
        return file.read_text(encoding="utf-8")
    except UnicodeDecodeError:
        raise SiteError([Problem(path, "", "", "not UTF-8 text")]) from None
    except OSError as error:
        sentence = f"cannot be read: {error.strerror or error}"
        raise SiteError([Problem(path, "", "", sentence)]) from None


def load_apart(path: str) -> Site:
    """Like `load`, in a process of its own that ends at once.

    Reading quantities needs the unit library, which takes 20 MB of memory that a guard would
    otherwise carry through every night.
    """
    done = subprocess.run(
        [sys.executable, "-m", "daemon.sitefile", path], stdout=subprocess.PIPE, check=True
    )
    result = pickle.loads(done.stdout)
    if isinstance(result, SiteError):
        raise result
    assert isinstance(result, Site)
    return result


def main() -> None:
    """Read the site file named on the command line; write it, or its problems, to the parent."""
    try:
        result: Site | SiteError = load(sys.argv[1])
    except SiteError as error:
        result = error
    sys.stdout.buffer.write(pickle.dumps(result))


if __name__ == "__main__":
    main()
