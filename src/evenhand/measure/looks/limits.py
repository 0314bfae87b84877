"""What is measured on a look: units, limits, and the words and the remedy of each fault."""

from __future__ import annotations

from typing import Final, Literal

import msgspec

Verdict = Literal["pass", "warn", "fail"]
RANK: Final[dict[Verdict, int]] = {"pass": 0, "warn": 1, "fail": 2}


class Limit(msgspec.Struct, frozen=True, kw_only=True):
    """One measure. A value beyond `warn` is worth a look, beyond `fail` a fault.

    `below`: it is low values that are faults. Without limits it is for information.
    """

    name: str
    unit: str
    digits: int
    good: str
    fault: str = ""
    remedy: str = ""
    warn: float | None = None
    fail: float | None = None
    below: bool = False

    def verdict(self, value: float) -> Verdict:
        """What the limits say of a value."""
        if self.warn is None or self.fail is None:
            return "pass"
        if not self.below:
            return "fail" if value > self.fail else "warn" if value > self.warn else "pass"
        return "fail" if value < self.fail else "warn" if value < self.warn else "pass"


_ROWS: Final = {
    "grey_drop": Limit(
        name="order of greys", unit="10-bit codes", digits=2, warn=0.05, fail=0.5,
        good="lighter greys stay lighter",
        fault="a lighter grey comes out darker than its neighbour",
        remedy="make the tone curve rise everywhere; take out the dip",
    ),
    "slope_max": Limit(
        name="steepest tone", unit="×", digits=2, warn=2.2, fail=3.0,
        good="no tones are pulled far apart",
        fault="tones are pulled apart so far that noise and steps show",
        remedy="lower the contrast, or give the strength that passes",
    ),
    "kept": Limit(
        name="flattest tone", unit="×", digits=2, warn=0.25, fail=0.12, below=True,
        good="tones keep their differences",
        fault="neighbouring tones come out alike",
        remedy="open the flat part of the tone curve, most often its toe or shoulder",
    ),
    "lost_darks": Limit(
        name="lost darks", unit="L*", digits=2, warn=1.4, fail=3.0,
        good="darks are held to the end",
        fault="darks run into one black",
        remedy="raise the toe: begin the curve at black",
    ),
    "lost_lights": Limit(
        name="lost lights", unit="L*", digits=2, warn=2.2, fail=4.0,
        good="lights are held to the end",
        fault="lights run into one white",
        remedy="soften the shoulder: let the curve reach white at white only",
    ),
    "black": Limit(
        name="black lands at", unit="% of signal", digits=1, warn=10.0, fail=20.0,
        good="black stays dark",
        fault="black is grey",
        remedy="lower the black end of the tone curve",
    ),
    "card": Limit(
        name="18 % grey moves by", unit="L*", digits=1,
        good="where the grey card's light comes to lie",
    ),
    "white": Limit(
        name="white lands at", unit="% of signal", digits=1, warn=88.0, fail=75.0, below=True,
        good="white stays light",
        fault="white is grey",
        remedy="raise the white end of the tone curve",
    ),
    "cast": Limit(
        name="tint of greys", unit="ΔE00", digits=1, warn=6.0, fail=12.0,
        good="greys lean by what a look may lean",
        fault="greys have a strong colour of their own",
        remedy="lean less: lower the tint, or give the strength that passes",
    ),
    "ripple": Limit(
        name="swing of the tint", unit="L*a*b*", digits=2, warn=0.8, fail=2.0,
        good="the tint runs smoothly along the greys",
        fault="the tint swings to and fro along the greys",
        remedy="smooth the curves of red, green and blue, or use fewer points",
    ),
    "hue_fold": Limit(
        name="hues that turn back", unit="°", digits=1, warn=0.2, fail=3.0,
        good="hues keep their order",
        fault="hues overtake each other, so that a gradient turns back",
        remedy="turn the hue less, or over a wider band",
    ),
    "hue_speed": Limit(
        name="fastest hue", unit="×", digits=2, warn=2.5, fail=4.0,
        good="hues stay near each other",
        fault="hues that were near are torn apart",
        remedy="turn the hue less, or over a wider band",
    ),
    "torn": Limit(
        name="hues torn apart", unit="×", digits=2, warn=2.5, fail=4.0,
        good="colours that were near stay near",
        fault="colours that were near come out far apart, as at the edge of a key",
        remedy="give the selection of hues a softer edge, or move it less",
    ),
    "saturation_drop": Limit(
        name="saturation that turns back", unit="Oklab × 100", digits=2, warn=0.15, fail=0.8,
        good="more colour stays more colour",
        fault="a stronger colour comes out weaker than its neighbour",
        remedy="let saturation rise without a step or a key's edge",
    ),
    "bend": Limit(
        name="roughness of the table", unit="Oklab × 100", digits=2, warn=0.75, fail=1.5,
        good="the table is smooth",
        fault="the table has kinks or noise, which gradients show as edges",
        remedy="smooth the table, or make it anew from the look's moves",
    ),
    "grey_bend": Limit(
        name="roughness of greys", unit="Oklab × 100", digits=2, warn=0.9, fail=2.5,
        good="greys run smoothly",
        fault="the grey scale has kinks, which gradients show as edges",
        remedy="smooth the tone curve, or use fewer points",
    ),
    "step_8": Limit(
        name="banding at 8 bits", unit="ΔE00", digits=2, warn=0.65, fail=1.2,
        good="steps of 8-bit pictures stay fine",
        fault="neighbouring codes of an 8-bit picture come out visibly apart",
        remedy="use it on 10-bit pictures only, or lower contrast and saturation",
    ),
    "step_10": Limit(
        name="banding at 10 bits", unit="PQ codes", digits=2, warn=1.5, fail=2.5,
        good="steps of 10-bit pictures stay unseen",
        fault="neighbouring codes of a 10-bit picture come out visibly apart",
        remedy="lower the contrast where the curve is steepest",
    ),
    "outside": Limit(
        name="outside the display", unit="% of colours", digits=1, warn=1.0, fail=10.0,
        good="all values lie in the display's range",
        fault="values lie beyond 0 to 1 and are cut off",
        remedy="bring strong colours in softly instead of leaving the cut to the display",
    ),
    "pinned": Limit(
        name="pinned at a limit", unit="% of inner colours", digits=1, warn=8.0, fail=30.0,
        good="strong colours keep their detail",
        fault="strong colours run into the display's limits and lose detail",
        remedy="lower saturation or contrast, or bring strong colours in softly",
    ),
    "lost_detail": Limit(
        name="detail lost", unit="% of inner steps", digits=1, warn=1.5, fail=5.0,
        good="neighbouring colours stay apart",
        fault="neighbouring colours come out alike",
        remedy="take out steps, soften contrast, leave some saturation",
    ),
    "skin_turn": Limit(
        name="skin turns by", unit="°", digits=1, warn=10.0, fail=16.0,
        good="skin keeps its hue",
        fault="skin turns towards green or magenta",
        remedy="spare skin hues from turn and tint",
    ),
    "skin_spread": Limit(
        name="skins turn apart by", unit="°", digits=1, warn=10.0, fail=18.0,
        good="skins stay alike in hue",
        fault="light and dark skins, or lit and shaded ones, go different ways",
        remedy="spare skin hues, or tint darks and lights less",
    ),
    "skin_chroma_low": Limit(
        name="palest skin", unit="×", digits=2, warn=0.5, fail=0.35, below=True,
        good="skin keeps its blood",
        fault="skin loses most of its colour",
        remedy="take less saturation from skin hues",
    ),
    "skin_chroma_high": Limit(
        name="reddest skin", unit="×", digits=2, warn=1.25, fail=1.6,
        good="skin does not glow",
        fault="skin comes out far too colourful",
        remedy="give less saturation and contrast to skin hues",
    ),
    "skin_shift": Limit(
        name="skin shifts by", unit="ΔE00", digits=1,
        good="mean over all skins, lightness and all",
    ),
    "interpolation": Limit(
        name="error of the table", unit="ΔE00", digits=2, warn=0.85, fail=1.5,
        good="the table is as good as the look",
        fault="the table is too coarse for the look",
        remedy="use a larger table: 33 or 65 nodes a side",
    ),
    "undone": Limit(
        name="cannot be undone", unit="% of the inner table", digits=2, warn=0.3, fail=3.0,
        good="colours neither change places nor become one",
        fault="colours change places or become one",
        remedy="turn hues less or over a wider band, leave room at the ends; if red, green and "
        "blue may be in a wrong order, check that first",
    ),
    "mirrored": Limit(
        name="of that inside out", unit="% of the inner table", digits=2,
        good="where colours change places",
    ),
    "flat": Limit(
        name="of that pressed flat", unit="% of the inner table", digits=2,
        good="where colours become one",
    ),
}  # fmt: skip
LIMITS: Final[dict[str, Limit]] = _ROWS
# Where a look says that its greys stay grey.
NEUTRAL_CAST: Final = msgspec.structs.replace(
    _ROWS["cast"], warn=0.5, fail=1.0, digits=2,
    good="greys stay grey",
    fault="greys are tinted, though the look says that they stay grey",
    remedy="mend the look, or say that it tints greys",
)  # fmt: skip
_OF_HUE: Final = frozenset(
    {
        "hue_fold",
        "hue_speed",
        "torn",
        "saturation_drop",
        "mirrored",
        "flat",
        "undone",
        "lost_detail",
    }
    | {key for key in _ROWS if key.startswith("skin_") and key != "skin_shift"}
)


# A conversion holds an output transform, and two honest ones differ by as much as this: skin at
# full light by 29 degrees between the plain one and ACES 2.
_OF_OUTPUT_TRANSFORM: Final = frozenset(
    {"hue_speed", "torn", "saturation_drop", "grey_bend", "lost_lights"}
    | {key for key in _ROWS if key.startswith("skin_") and key != "skin_shift"}
)


def not_asked(*, has_hues: bool, converts: bool = False) -> frozenset[str]:
    """The measures that mean nothing on a look.

    Those of hue and skin on black and white; on a conversion those that hold its output transform
    against another.
    """
    left = frozenset() if has_hues else _OF_HUE
    return left | _OF_OUTPUT_TRANSFORM if converts else left
