"""What every table of the site file shares: strict keys, frozen values, checked ids."""

from __future__ import annotations

from typing import Annotated

from pydantic import BaseModel, ConfigDict, StringConstraints

ID_PATTERN = r"^[a-z0-9]+(-[a-z0-9]+)*$"
Id = Annotated[str, StringConstraints(pattern=ID_PATTERN, max_length=40)]
"""An id: lower-case letters, digits and single hyphens, so that it can stand in an MQTT topic."""

Name = Annotated[
    str, StringConstraints(min_length=1, max_length=80, pattern=r"^[^\x00-\x1f\x7f]+$")
]
"""A name for people to read: any text of one line."""


class Table(BaseModel):
    """A table of the site file: frozen, and closed to keys it does not know."""

    model_config = ConfigDict(frozen=True, extra="forbid", validate_by_name=True)
