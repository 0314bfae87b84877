"""What is said of an encoding: every sign, conflict and assumption has its words and figures."""

from __future__ import annotations

import msgspec
import pytest

from evenhand.measure.identity.clues import FAMILIES, Signs, clues
from evenhand.measure.identity.evidence import Identification, identify
from evenhand.measure.identity.picture import PictureStats
from evenhand.measure.identity.tags import TagSigns
from evenhand.reasons import because
from evenhand.wording.figures import plain
from evenhand.wording.identity import CLAUSES, tag_words
from evenhand.wording.saying import clause

PICTURE = PictureStats(
    pictures=3, floor=200.0, low=210.0, middle=400.0, high=700.0, ceiling=800.0, dark=0.0,
    outside=0.0, white=0.0, saturation=0.3, clip_code=None, impossible=0.0,
)  # fmt: skip
PLAIN = Signs(codec="hevc", profile="Main 10", bits=10, chroma="4:2:0", height=1080)
PHONE, HLG, SDR = TagSigns(9, 2, 9, None), TagSigns(9, 18, 9, None), TagSigns(1, 1, 1, False)


def seen(**figures: float) -> PictureStats:
    return msgspec.structs.replace(PICTURE, **figures)


# Clips that together show every sign, conflict and assumption that there is.
CLIPS = [
    PLAIN,
    msgspec.structs.replace(PLAIN, bits=8, height=480, picture=seen(floor=64, ceiling=940)),
    msgspec.structs.replace(PLAIN, bitstream=HLG, container=SDR, picture=seen(outside=0.02)),
    msgspec.structs.replace(PLAIN, bitstream=TagSigns(1, 1, 1, True), container=SDR),
    msgspec.structs.replace(
        PLAIN, bitstream=PHONE, created="2024-05-01", log_hints={"log": "phone log 1"},
        vendor=("make",), picture=seen(impossible=0.01, clip_code=900),
    ),
    msgspec.structs.replace(
        PLAIN, bitstream=TagSigns(2, 2, 9, None), log_hints={"log": "phone log 2"},
        picture=seen(floor=300, ceiling=930, white=0.05, clip_code=940),
    ),
    msgspec.structs.replace(
        PLAIN, bitstream=PHONE, log_hints={"log": "phone log 1"},
        picture=seen(dark=0.002, floor=80, ceiling=900),
    ),
]  # fmt: skip


def reasons(found: Identification) -> list[str]:
    """All that a verdict tells, as codes."""
    told = [*found.conflicts, *found.assumed]
    told += [reason for item in found.evidence for reason in (item.found, item.says)]
    return [reason.code for reason in told]


def test_all_that_identification_tells_is_in_the_table() -> None:
    """The clips above meet every clause, and none is shown as a bare code."""
    met = {code for clip in CLIPS for code in reasons(identify(clip))}

    assert met == set(CLAUSES)


@pytest.mark.parametrize("clip", CLIPS)
def test_every_clause_takes_the_facts_that_it_is_given(clip: Signs) -> None:
    """What is made of a clip can be said, with no code and no missing figure in it."""
    found = identify(clip)
    told = [*found.conflicts, *found.assumed, *(c.found for c in clues(clip))]
    told += [reason for item in found.evidence for reason in (item.found, item.says)]

    for reason in told:
        words = clause(reason)
        assert words
        assert reason.code not in words
        assert "None" not in words


def test_a_verdict_is_read_back_as_it_was() -> None:
    """Codes and figures survive being written down."""
    for clip in CLIPS:
        found = identify(clip)
        assert msgspec.json.decode(msgspec.json.encode(found), type=Identification) == found


def test_conflicts_name_both_sides_and_the_rule() -> None:
    """Which tag, what each place says, and why one of them counts."""
    differ = because("conflict.tags", tag="transfer", bitstream=16, container=1)
    ranges = because("conflict.ranges", bitstream=True, container=False)
    outside = because("conflict.outside-range", tagged=False, share=0.024)

    assert clause(differ) == (
        "transfer: the bitstream says PQ (16), the container BT.709 (1); the bitstream counts, "
        "because it was made with the pictures"
    )
    assert clause(ranges) == (
        "range: the bitstream says full, the container narrow; the bitstream counts"
    )
    assert "has no range tag, but 2.4 % of the picture" in plain(clause(outside))


def test_a_picture_against_the_tags_is_told_by_its_sign() -> None:
    """The sign that contradicts a verdict is said in its own words."""
    against = because(
        "conflict.picture", encoding="phone-log-1", sign="sign.darker-than-black",
        share=0.002, level=150,
    )  # fmt: skip

    assert plain(clause(against)) == (
        "phone-log-1 fits the tags, but 0.20 % is under code 150; black of phone log is code 196"
    )


@pytest.mark.parametrize(
    ("black", "white", "words"),
    [
        (True, True, "black and white"),
        (True, False, "no white"),
        (False, True, "no black"),
        (False, False, "neither black nor white"),
    ],
)
def test_contrast_says_which_end_is_empty(black: bool, white: bool, words: str) -> None:
    """Four pictures, four ends of the sentence."""
    contrast = because("sign.contrast", low=64.0, high=940.0, black=black, white=white)

    assert clause(contrast).endswith(f"codes 64 and 940: {words}")


def test_families_and_tags_have_names() -> None:
    """A reserved code point is said as what it is; every family can be named."""
    assert tag_words("primaries", 99) == "reserved (99)"
    assert tag_words("primaries", 9) == "BT.2020 (9)"  # H.273 table 2
    both = clause(because("says.family", families=[*FAMILIES]))
    assert both == "phone log or another log or HLG or PQ or SDR"
