"""What a master must be: specs read from TOML, and the size of picture a clip gets in one."""

from __future__ import annotations

import tomllib
from fractions import Fraction
from importlib.resources import files
from pathlib import Path
from typing import Any, Literal

import msgspec

from evenhand.errors import UsageError
from evenhand.media.records import ColourTags
from evenhand.names import brief, short_name
from evenhand.smallfiles import read_small

_LARGEST = 1 << 20  # bytes; those that come with evenhand have a thousandth of it

Codec = Literal["hevc", "prores", "h264"]
Container = Literal["mp4", "mov"]
PixelFormat = Literal["yuv420p", "yuv420p10le", "yuv422p10le"]
MasterEncoding = Literal["bt709", "hlg", "pq"]

# H.273 code points; every master is narrow range.
_TAGS = {
    "bt709": ColourTags(1, 1, 1, full_range=False),
    "hlg": ColourTags(9, 18, 9, full_range=False),
    "pq": ColourTags(9, 16, 9, full_range=False),
}
_FORMATS = {"yuv420p": (8, "4:2:0"), "yuv420p10le": (10, "4:2:0"), "yuv422p10le": (10, "4:2:2")}
_CARRIES: dict[Codec, frozenset[str]] = {
    "hevc": frozenset({"yuv420p10le", "yuv422p10le"}),
    "prores": frozenset({"yuv422p10le"}),
    "h264": frozenset({"yuv420p"}),
}
# The encoders drop what they do not know in these lists without a word, so the words are held here.
_PARAMETERS = frozenset(
    {"aq-mode", "aq-strength", "bframes", "cbqpoffs", "crqpoffs", "deblock", "frame-threads"}
    | {"info", "keyint", "log-level", "lookahead-slices", "master-display", "max-cll", "me"}
    | {"min-keyint", "no-sao", "open-gop", "pools", "psy-rd", "psy-rdoq", "rc-lookahead", "rd"}
    | {"ref", "sao", "scenecut", "subme", "vbv-bufsize", "vbv-maxrate"}
)


class Sound(msgspec.Struct, frozen=True):
    """The sound of a master. Rates in Hz, `bit_rate` in bit/s for each track of coded sound.

    `copy` takes packets over as they are where they already are what the spec asks for. `tracks`
    is "default" (the clip's default track, mixed down to two channels where it has more) or "all"
    (every track with the channels it has).
    """

    codec: Literal["aac", "pcm"]
    rate: Literal[48000] = 48000
    bit_rate: int = 256_000
    copy: bool = False
    tracks: Literal["default", "all"] = "default"


class Quality(msgspec.Struct, frozen=True):
    """One quality level: the encoder's settings, and what the written master must reach.

    `psnr_luma` and `psnr_chroma` are the lowest PSNR in dB that a compared frame may have;
    `bits_per_pixel` is what the room on the drive is reckoned with.
    """

    encoder: dict[str, str]
    psnr_luma: float
    psnr_chroma: float
    bits_per_pixel: float


class MasterSpec(msgspec.Struct, frozen=True):
    """What a master must be.

    `width` × `height` is the frame in pixels, long side first; both None means the size as shot.
    `rate` is in frames a second ("25" or "24000/1001"). `profile` is what a decoder reports.
    `key_every` is the longest way between two key frames in seconds.
    """

    name: str
    title: str
    container: Container
    codec: Codec
    codec_tag: str
    profile: str
    pixel_format: PixelFormat
    encoding: MasterEncoding
    rate: str
    sound: Sound
    quality: dict[str, Quality]
    range: Literal["narrow"] = "narrow"
    width: int | None = None
    height: int | None = None
    enlarge: bool = True
    faststart: bool = True
    key_every: float = 2.0
    default_quality: str = "good"

    @property
    def bits(self) -> int:
        """Bits of one sample."""
        return _FORMATS[self.pixel_format][0]

    @property
    def chroma(self) -> str:
        """Chroma sampling, "4:2:0" or "4:2:2"."""
        return _FORMATS[self.pixel_format][1]

    @property
    def frame_rate(self) -> Fraction:
        """Frames a second."""
        return Fraction(self.rate)

    @property
    def tags(self) -> ColourTags:
        """The colour tags that the container and the bitstream carry."""
        return _TAGS[self.encoding]

    def level(self, quality: str | None = None) -> Quality:
        """Return a quality level by name, the default for None. Raises UsageError."""
        name = quality or self.default_quality
        if name not in self.quality:
            raise UsageError(
                name, f"spec {self.name} has no such quality", f"Use {_listed(self.quality)}"
            )
        return self.quality[name]


class PicturePlan(msgspec.Struct, frozen=True):
    """The picture of one master in pixels.

    `scale` is the factor from the clip's upright square-pixel picture; `turned` says that the
    spec's frame stands upright for this clip.
    """

    width: int
    height: int
    scale: float
    turned: bool


def plan_picture(
    spec: MasterSpec, shown_width: int, shown_height: int, pixel_aspect: Fraction = Fraction(1)
) -> PicturePlan:
    """Fit a clip's upright picture into the spec's frame: whole, without bars, sizes even.

    `shown_width` × `shown_height` is the picture after rotation; `pixel_aspect` is the width of one
    of its pixels over its height (1 where the sizes already allow for it). The frame is turned for
    an upright picture. A spec without a frame, or one that may not enlarge a smaller picture, keeps
    the clip's own size; an odd last column or row is then left out, so that no pixel is resampled.
    """
    width = shown_width * pixel_aspect
    height = Fraction(shown_height)
    turned = height > width
    if spec.width is None or spec.height is None:
        scale = Fraction(1)
    else:
        frame = (spec.height, spec.width) if turned else (spec.width, spec.height)
        scale = min(frame[0] / width, frame[1] / height)
        if scale > 1 and not spec.enlarge:
            scale = Fraction(1)
    even = _even_below if scale == 1 and pixel_aspect == 1 else _even_near
    return PicturePlan(even(width * scale), even(height * scale), float(scale), turned)


def spec_names() -> tuple[str, ...]:
    """Names of the specs that come with evenhand, sorted."""
    folder = files("evenhand").joinpath("specs")
    names = (entry.name for entry in folder.iterdir())
    return tuple(sorted(name.removesuffix(".toml") for name in names if name.endswith(".toml")))


def load_spec(name_or_path: str | Path) -> MasterSpec:
    """Return the spec of that name, or the one in that TOML file.

    Raises UsageError for a name that is unknown, a file that cannot be read, a key that specs do
    not have (named, with those they have) and a value that cannot be.
    """
    asked = str(name_or_path)
    if asked in spec_names():
        text = files("evenhand").joinpath("specs", f"{asked}.toml").read_text(encoding="utf-8")
        return parse_spec(text, asked)
    path = Path(name_or_path)
    if path.suffix != ".toml":
        raise UsageError(
            asked,
            "no spec has this name",
            f"Use {_listed(spec_names())}, or the path of a .toml file of your own",
        )

    def refused(found: str) -> UsageError:
        return UsageError(path, f"this is no spec: {found}", "Check the path of the file")

    try:
        return parse_spec(read_small(path, _LARGEST, refused).decode("utf-8"), asked)
    except UnicodeDecodeError as error:
        raise refused("it is no text") from error


def parse_spec(text: str, subject: str) -> MasterSpec:
    """Read a spec from TOML text; `subject` is what errors call it. Raises UsageError."""
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise UsageError(subject, f"this is not TOML: {error}", "Correct the line") from error
    _refuse_unknown(data, MasterSpec, subject, "")
    _refuse_unknown(data.get("sound"), Sound, subject, "sound.")
    levels = data.get("quality")
    for name, level in levels.items() if isinstance(levels, dict) else ():
        _refuse_unknown(level, Quality, subject, f"quality.{name}.")
    try:
        spec = msgspec.convert(data, MasterSpec)
    except msgspec.ValidationError as error:
        raise UsageError(
            subject, f"a value does not fit: {error}", "docs/masters.md lists what each key takes"
        ) from error
    problem = _problem(spec)
    if problem:
        raise UsageError(subject, problem, "docs/masters.md lists what each key takes")
    return spec


def _refuse_unknown(table: Any, record: type[msgspec.Struct], subject: str, where: str) -> None:
    if not isinstance(table, dict):
        return
    allowed = [field.name for field in msgspec.structs.fields(record)]
    for key in table:
        if key not in allowed:
            raise UsageError(
                subject, f"unknown key {where}{key}", f"Allowed are {_listed(allowed)}"
            )


def _problem(spec: MasterSpec) -> str:
    """Say what about a spec cannot be, or nothing."""
    checks = (
        _name_problem(spec.name),
        _rate_problem(spec.rate),
        _frame_problem(spec),
        _codec_problem(spec),
        _quality_problem(spec),
    )
    return next((found for found in checks if found), "")


def _name_problem(name: str) -> str:
    fits = name == short_name(name) and "/" not in name
    return "" if fits else f"name is {brief(name)!r}, which no master could be named after"


def _rate_problem(rate: str) -> str:
    try:
        fits = 1 <= Fraction(rate) <= 480
    except (ValueError, ZeroDivisionError):
        fits = False
    return "" if fits else f"rate is {rate!r}, expected frames a second such as 25 or 24000/1001"


def _frame_problem(spec: MasterSpec) -> str:
    if spec.width is None and spec.height is None:
        return ""
    if spec.width is None or spec.height is None:
        return "width and height go together"
    if spec.width % 2 or spec.height % 2 or not 16 <= spec.height <= spec.width <= 8192:
        return (
            f"the frame is {spec.width} x {spec.height}, expected even sizes from 16 to 8192, "
            "the long side as width"
        )
    return ""


def _codec_problem(spec: MasterSpec) -> str:
    if spec.pixel_format not in _CARRIES[spec.codec]:
        return f"{spec.codec} masters are written as {_listed(sorted(_CARRIES[spec.codec]))}"
    if spec.container == "mp4" and (spec.codec == "prores" or spec.sound.codec == "pcm"):
        return "an mp4 carries neither prores nor pcm here, expected mov"
    if len(spec.codec_tag) != 4:
        return f"codec_tag is {spec.codec_tag!r}, expected four characters"
    if not 0.1 <= spec.key_every <= 60:
        return f"key_every is {spec.key_every}, expected 0.1 to 60 seconds"
    return ""


def _quality_problem(spec: MasterSpec) -> str:
    if spec.default_quality not in spec.quality:
        return f"default_quality is {spec.default_quality!r}, which is not one of its levels"
    for name, level in spec.quality.items():
        for option in ("x265-params", "x264-params"):
            for setting in filter(None, level.encoder.get(option, "").split(":")):
                word = setting.partition("=")[0]
                if word not in _PARAMETERS:
                    known = ", ".join(sorted(_PARAMETERS))
                    return f"quality.{name}: unknown {option} {word}, allowed are {known}"
    return ""


def _even_below(size: Fraction) -> int:
    return max(2, int(size) // 2 * 2)


def _even_near(size: Fraction) -> int:
    return max(2, round(size / 2) * 2)


def _listed(names: Any) -> str:
    words = list(names)
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} or {words[-1]}"
