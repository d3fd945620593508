"""The picture of the program's parts is that of the code as it stands."""

from __future__ import annotations

from xml.etree import ElementTree

from architecture import PICTURE, SAYS, arrows, parts, svg


def test_every_part_says_what_it_is_for() -> None:
    assert not set(parts()) - set(SAYS)


def test_nothing_is_imported_from_below() -> None:
    order = list(parts())
    assert all(order.index(high) < order.index(low) for low, high in arrows())


def test_the_picture_is_that_of_the_code() -> None:
    """``python tests/architecture.py`` draws it anew."""
    assert PICTURE.read_text(encoding="utf-8") == svg()


def test_the_picture_can_be_read() -> None:
    ElementTree.fromstring(svg())
