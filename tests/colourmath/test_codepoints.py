"""H.273 code points and our names."""

from __future__ import annotations

import pytest

from evenhand.colourmath.codepoints import (
    MATRIX_BY_CODE,
    PRIMARIES_BY_CODE,
    TRANSFER_BY_CODE,
    code_points,
)
from evenhand.colourmath.encodings import ENCODINGS, named
from evenhand.colourmath.primaries import PRIMARIES
from evenhand.colourmath.transfers import TRANSFERS
from evenhand.colourmath.ycbcr import MATRICES


# ITU-T H.273: tables 2, 3 and 4. A camera log has no transfer of its own: 2.
@pytest.mark.parametrize(
    ("encoding", "tags"),
    [
        ("bt709", (1, 1, 1, False)),
        ("hlg", (9, 18, 9, False)),
        ("pq", (9, 16, 9, False)),
        ("phone-log-1", (9, 2, 9, False)),
        ("phone-log-2", (2, 2, 9, False)),
        ("bt601-625", (5, 6, 5, False)),
        ("bt601-525", (6, 6, 6, False)),
        ("bt2020-sdr", (9, 14, 9, False)),
        ("p3-sdr", (12, 1, 1, False)),
        ("srgb", (1, 13, 0, True)),
        ("slog3", (2, 2, 1, False)),
    ],
)
def test_an_encoding_is_tagged_as_h273_says(encoding, tags):
    """Primaries, transfer, matrix and range flag of a file in that encoding."""
    assert code_points(named(encoding)) == tags


def test_every_name_in_the_tables_exists():
    """Tables of code points name only what the tables of curves and primaries hold."""
    assert set(PRIMARIES_BY_CODE.values()) <= set(PRIMARIES)
    assert set(TRANSFER_BY_CODE.values()) <= set(TRANSFERS)
    assert set(MATRIX_BY_CODE.values()) <= set(MATRICES)


def test_every_encoding_is_made_of_known_parts():
    """No encoding names a curve, primaries or matrix that is missing."""
    for encoding in ENCODINGS.values():
        assert encoding.transfer in TRANSFERS
        assert encoding.primaries in PRIMARIES
        assert encoding.matrix in MATRICES
