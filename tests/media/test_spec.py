"""What a master must be, and the picture a clip gets in one."""

from __future__ import annotations

from fractions import Fraction
from importlib.resources import files
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from evenhand.errors import UsageError
from evenhand.media.records import ColourTags
from evenhand.media.spec import load_spec, parse_spec, plan_picture, spec_names

TEXT = files("evenhand").joinpath("specs", "web-hd.toml").read_text(encoding="utf-8")


@pytest.mark.parametrize("name", spec_names())
def test_every_packaged_spec_reads_and_knows_three_qualities(name: str) -> None:
    """A packaged spec bears the name of its file, and `good` is what one gets without asking."""
    spec = load_spec(name)

    assert spec.name == name
    assert list(spec.quality) == ["draft", "good", "best"]
    assert spec.level() is spec.quality["good"]


def test_the_uhd_web_master_is_what_web_players_take() -> None:
    """The values people rely on, among them the tag that players of one large system insist on."""
    spec = load_spec("web-uhd")

    assert (spec.width, spec.height, spec.frame_rate) == (3840, 2160, 25)
    assert (spec.container, spec.codec, spec.codec_tag) == ("mp4", "hevc", "hvc1")
    assert (spec.profile, spec.bits, spec.chroma) == ("Main 10", 10, "4:2:0")
    assert spec.faststart


@pytest.mark.oracle
@pytest.mark.parametrize(
    ("name", "codes"), [("web-uhd", (1, 1, 1)), ("web-uhd-hlg", (9, 18, 9)), ("archive", (1, 1, 1))]
)
def test_colour_tags_are_the_code_points_of_h273(name: str, codes: tuple[int, int, int]) -> None:
    """ITU-T H.273 tables 2 to 4: BT.709 is 1, BT.2020 is 9, HLG is 18."""
    assert load_spec(name).tags == ColourTags(*codes, full_range=False)


@pytest.mark.parametrize("name", ["web-uhd", "web-uhd-hlg", "web-hd", "web-720"])
def test_hevc_settings_keep_segments_alike_and_closed(name: str) -> None:
    """Every level closes its groups of pictures and keeps its settings out of the file."""
    for level in load_spec(name).quality.values():
        settings = level.encoder["x265-params"].split(":")

        assert "open-gop=0" in settings
        assert "info=0" in settings


def test_an_unknown_name_lists_the_known_ones() -> None:
    """The person sees what could have been meant."""
    with pytest.raises(UsageError) as caught:
        load_spec("web-8k")

    assert caught.value.subject == "web-8k"
    assert all(name in caught.value.remedy for name in spec_names())


def test_a_spec_of_ones_own_is_read_from_its_path(tmp_path: Path) -> None:
    """Any TOML file of the same shape serves."""
    path = tmp_path / "festival.toml"
    path.write_text(TEXT.replace('rate = "25"', 'rate = "24000/1001"'), encoding="utf-8")

    assert load_spec(path).frame_rate == Fraction(24000, 1001)


def test_a_missing_file_is_wrong_usage(tmp_path: Path) -> None:
    """The path is named."""
    with pytest.raises(UsageError, match="cannot be read"):
        load_spec(tmp_path / "absent.toml")


@pytest.mark.parametrize(
    ("old", "new", "key", "allowed"),
    [
        ('rate = "25"', 'rate = "25"\nsise = 3', "sise", "width"),
        ("bit_rate", "bitrate", "sound.bitrate", "bit_rate"),
        ("psnr_luma = 34.0", "psnr = 34.0", "quality.good.psnr", "psnr_luma"),
    ],
)
def test_an_unknown_key_is_named_with_the_allowed_ones(
    old: str, new: str, key: str, allowed: str
) -> None:
    """At every depth of the file."""
    with pytest.raises(UsageError) as caught:
        parse_spec(TEXT.replace(old, new), "own.toml")

    assert caught.value.found == f"unknown key {key}"
    assert allowed in caught.value.remedy


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('rate = "25"', "rate = 25", "Expected `str`"),
        ('rate = "25"', 'rate = "fast"', "frames a second"),
        ('rate = "25"', 'rate = "25/0"', "frames a second"),
        ('codec = "hevc"', 'codec = "vhs"', "Invalid enum value"),
        ("width = 1920\n", "", "go together"),
        ("width = 1920", "width = 1921", "even sizes"),
        ("width = 1920", "width = 720", "long side"),
        ('"yuv420p10le"', '"yuv420p"', "hevc masters are written as"),
        ('codec = "aac"', 'codec = "pcm"', "expected mov"),
        ('"hvc1"', '"hevc1"', "four characters"),
        ("key_every = 2.0", "key_every = 0.0", "0.1 to 60"),
        ('default_quality = "good"', 'default_quality = "fine"', "not one of its levels"),
        ("open-gop=0", "opengop=0", "unknown x265-params opengop"),
        ('name = "web-hd"', 'name = "web-hd', "not TOML"),
    ],
)
def test_values_that_cannot_be_are_refused_in_words(old: str, new: str, said: str) -> None:
    """Before anything is encoded; the encoder itself would pass some of them over silently."""
    assert old in TEXT
    with pytest.raises(UsageError) as caught:
        parse_spec(TEXT.replace(old, new, 1), "own.toml")

    assert said in caught.value.found


def test_an_unknown_quality_lists_the_known_ones() -> None:
    """A level is asked for by name."""
    with pytest.raises(UsageError, match="draft, good or best"):
        load_spec("web-hd").level("superb")


@pytest.mark.parametrize(
    ("shown", "size", "scale", "turned"),
    [
        ((3840, 2160), (3840, 2160), 1.0, False),
        ((1920, 1080), (3840, 2160), 2.0, False),
        ((2160, 3840), (2160, 3840), 1.0, True),
        ((1080, 1920), (2160, 3840), 2.0, True),
        ((3840, 1634), (3840, 1634), 1.0, False),
        ((4096, 2160), (3840, 2024), 0.9375, False),
        ((1440, 1440), (2160, 2160), 1.5, False),
    ],
)
def test_a_picture_fits_the_frame_in_its_own_orientation(
    shown: tuple[int, int], size: tuple[int, int], scale: float, turned: bool
) -> None:
    """Whole, without bars, as large as the frame allows; sizes worked out by hand."""
    plan = plan_picture(load_spec("web-uhd"), *shown)

    assert (plan.width, plan.height) == size
    assert plan.scale == pytest.approx(scale)
    assert plan.turned is turned


def test_pixels_that_are_not_square_are_made_square() -> None:
    """1440 × 1080 with pixels of 4:3 is a picture of 1920 × 1080."""
    plan = plan_picture(load_spec("web-hd"), 1440, 1080, Fraction(4, 3))

    assert (plan.width, plan.height) == (1920, 1080)


@pytest.mark.parametrize("shown", [(1920, 1080), (1080, 1920), (1919, 1081)])
def test_the_archive_keeps_the_size_as_shot(shown: tuple[int, int]) -> None:
    """An odd last column or row is left out, and no pixel is resampled."""
    plan = plan_picture(load_spec("archive"), *shown)

    assert (plan.width, plan.height) == (shown[0] // 2 * 2, shown[1] // 2 * 2)
    assert plan.scale == 1.0


def test_a_spec_may_forbid_enlarging() -> None:
    """A small picture then stays as large as it is."""
    spec = parse_spec(TEXT.replace('rate = "25"', 'rate = "25"\nenlarge = false'), "own.toml")

    assert plan_picture(spec, 640, 360).width == 640


@given(st.integers(16, 8192), st.integers(16, 8192))
def test_no_plan_leaves_the_frame_or_the_shape(width: int, height: int) -> None:
    """Sizes are even and inside the frame, one side fills it, and the shape is kept to a pixel."""
    spec = load_spec("web-hd")
    plan = plan_picture(spec, width, height)
    frame = (1080, 1920) if plan.turned else (1920, 1080)

    assert plan.width % 2 == plan.height % 2 == 0
    assert plan.width <= frame[0]
    assert plan.height <= frame[1]
    assert plan.width == frame[0] or plan.height == frame[1]
    assert abs(plan.width - width * plan.scale) <= 1.5
    assert abs(plan.height - height * plan.scale) <= 1.5
