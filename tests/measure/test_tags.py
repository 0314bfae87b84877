"""Two places with colour tags, and the rule between them."""

from __future__ import annotations

from evenhand.measure.identity.tags import TagSigns, resolve
from evenhand.reasons import because

HLG, SDR = TagSigns(9, 18, 9, False), TagSigns(1, 1, 1, False)
OPEN = TagSigns()


def test_the_bitstream_counts() -> None:
    """Where both speak the bitstream wins, and each disagreement is named."""
    chosen, conflicts = resolve(HLG, SDR)

    assert chosen == HLG
    assert len(conflicts) == 3
    assert conflicts[1] == because("conflict.tags", tag="transfer", bitstream=18, container=1)


def test_the_container_fills_gaps() -> None:
    """Where the bitstream is silent the container counts, without a conflict."""
    assert resolve(OPEN, SDR) == (SDR, ())
    assert resolve(TagSigns(9, 2, 9, None), TagSigns(9, 18, 9, True)) == (
        TagSigns(9, 18, 9, True),
        (),
    )
    assert resolve(HLG, OPEN) == (HLG, ())


def test_range_has_its_own_conflict() -> None:
    """Narrow and full are one more place to disagree."""
    chosen, conflicts = resolve(TagSigns(1, 1, 1, True), SDR)

    assert chosen.full_range is True
    assert conflicts == (because("conflict.ranges", bitstream=True, container=False),)


def test_codes_of_one_meaning_agree() -> None:
    """H.273 transfers 1, 6, 14 and 15 are one curve, primaries 6 and 7 one set, matrices 5 and 6
    one pair of weights."""
    assert resolve(TagSigns(6, 6, 6, False), TagSigns(7, 14, 5, False))[1] == ()
