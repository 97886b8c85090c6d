"""weirkeeper schema: the JSON Schema of the site file."""

from __future__ import annotations

import argparse
import json

DESCRIPTION = """\
Prints the JSON Schema of the site file. An editor that knows it completes keys and explains them:

  weirkeeper schema > weirkeeper.schema.json
"""


def add_arguments(_command: argparse.ArgumentParser) -> None:
    """It takes none."""


def main(_options: argparse.Namespace) -> int:
    """Print the schema."""
    from rules.site.model import Site

    schema = Site.model_json_schema(by_alias=True)
    schema["$schema"] = "https://json-schema.org/draft/2020-12/schema"
    schema["title"] = "Weirkeeper site file"
    print(json.dumps(schema, indent=2))
    return 0
