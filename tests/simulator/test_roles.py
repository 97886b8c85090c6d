"""Roles that a drill names, and what plays them on each site."""

from __future__ import annotations

import pytest

from rules.site.model import Site
from simulator.story.roles import NoSuchRoleError, resolve
from tests.simulator.stories import everything


@pytest.fixture(scope="module", name="everything")
def _everything() -> Site:
    return everything()


def test_roles_on_the_classroom(classroom: Site) -> None:
    said = {
        "first display": ("display",),
        "the overflow box of the first display": ("overflow-box",),
        "inlet chamber": ("inlet",),
        "return chamber": ("return",),
        "reservoir": ("reservoir",),
    }
    for role, ids in said.items():
        assert resolve(classroom, "chamber", role) == ids
    drains = ("main-drain", "open-drain", "emergency-drain")
    assert resolve(classroom, "passage", "every drain of the first display") == drains
    assert resolve(classroom, "passage", "main drain of the first display") == drains[:1]
    assert resolve(classroom, "passage", "second drain of the first display") == drains[1:2]
    assert resolve(classroom, "passage", "first siphon drain") == ("main-drain",)
    assert resolve(classroom, "passage", "screen") == ("sponge",)
    assert resolve(classroom, "branch", "branch of the first display") == ("riser",)
    assert resolve(classroom, "pump", "first return pump") == ("return-pump",)
    assert resolve(classroom, "valve", "the top-off valve") == ("top-off-valve",)
    assert resolve(classroom, "sensor", "high float of the first display") == ("display-high",)
    assert resolve(classroom, "sensor", "low float of the return chamber") == ("return-low",)
    assert resolve(classroom, "meter", "flow meter") == ("return-flow",)
    assert resolve(classroom, "passage", "first-baffle") == ("first-baffle",)


def test_roles_on_the_rack(rack: Site) -> None:
    """Four displays, and each one's main drain is its open one."""
    displays = ("upper-left", "upper-right", "lower-left", "lower-right")
    assert resolve(rack, "chamber", "every display") == displays
    main = resolve(rack, "passage", "main drain of the third display")
    assert main == ("lower-left-drain",)
    assert resolve(rack, "sensor", "drain-watch float of the overflow box of the second display")
    assert len(resolve(rack, "passage", "every drain")) == 8


def test_what_a_site_lacks_is_a_sentence(rack: Site) -> None:
    for sort, role, sentence in (
        ("passage", "the first siphon drain", "Frag rack has no first siphon drain"),
        ("passage", "every siphon drain of the first display", "has no siphon drain of the first"),
        ("chamber", "fifth display", "has no fifth display"),
        ("passage", "main-drain", 'has no passage called "main-drain"'),
    ):
        with pytest.raises(NoSuchRoleError, match=sentence):
            resolve(rack, sort, role)  # type: ignore[arg-type]


def test_roles_of_every_sort_of_thing(everything: Site, rack: Site, workshop: Site) -> None:
    assert resolve(everything, "output", "pump relay of the first display") == ("pump-relay",)
    assert resolve(everything, "output", "top-off valve") == ("top-off-valve",)
    assert resolve(everything, "output", "spare pump of the display") == ("spare-pump",)
    assert resolve(everything, "output", "sounder") == ("sounder",)
    assert resolve(everything, "level", "level sensor of the return chamber") == ("return-depth",)
    assert resolve(everything, "input", "level sensor") == ("return-depth",)
    assert resolve(everything, "input", "flow meter of the display") == ("return-flow",)
    assert resolve(everything, "pad", "leak pad") == ("floor-pad",)
    assert resolve(everything, "sensor", "float of the refugium") == ("refugium-high",)
    assert resolve(everything, "chamber", "skimmer chamber") == ("inlet",)
    assert resolve(everything, "chamber", "refugium") == ("refugium",)
    assert resolve(everything, "passage", "emergency drain of the refugium")
    assert resolve(everything, "passage", "sponge") == ("sponge",)
    assert resolve(everything, "passage", "third baffle") == ("last-baffle",)
    assert resolve(everything, "branch", "canister") == ("refugium-feed",)
    assert resolve(workshop, "chamber", "refugium") == ("refugium",)
    for sort, role in (
        ("level", "level sensor"),
        ("chamber", "refugium"),
        ("chamber", "spare chamber"),
        ("passage", "canister"),
        ("sensor", "flow-meter"),
    ):
        with pytest.raises(NoSuchRoleError, match="Frag rack has no"):
            resolve(rack, sort, role)  # type: ignore[arg-type]
    with pytest.raises(NoSuchRoleError):  # a contact is asked for, and it is none
        resolve(everything, "sensor", "return-depth")
    with pytest.raises(NoSuchRoleError):  # the heartbeat switches nothing that could weld
        resolve(everything, "output", "heartbeat")
