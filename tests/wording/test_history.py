"""What the history says of a value that changed."""

from __future__ import annotations

from evenhand.wording.figures import plain
from evenhand.wording.history import edit_words


def test_a_status_a_white_and_a_look_are_worded_as_everywhere() -> None:
    """A status is no code, a white has its units, and a strength is a percentage."""
    status = edit_words(("clips", "A1", "levelled"), None, {"status": "grey_card"})
    white = edit_words(("clips", "A1", "white"), None, {"kelvin": 5600.0, "duv": 0.0032})
    look = edit_words(("clips", "A1", "look"), None, {"name": "wheat", "strength": 0.7})

    assert plain(status) == "A1: levelled by: none -> set by grey card"
    assert plain(white) == "A1: white: none -> 5600 K, Duv +0.0032"
    assert plain(look) == "A1: look: none -> wheat at 70 %"
