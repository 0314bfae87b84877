"""Drift and flicker inside a clip in words."""

from __future__ import annotations

from evenhand.wording.figures import percent, size_of_mired, size_of_stops
from evenhand.wording.saying import Clause


def _a_minute(stops: float, mired: float) -> str:
    return f"the light moves by {stops:+.2f} stop and {mired:+.1f} mired a minute"


def _levelled(stops: float, mired: float, known: list[bool], key: float, compared: int) -> str:
    gone = "both" if all(known) else "the first" if known[0] else "the second"
    other = "" if all(known) else "; the other is not known well enough"
    return (
        f"exposure moves by {size_of_stops(stops)} and white by {size_of_mired(mired)} while the "
        f"view stays; {gone} levelled to the moment at {key:.1f} s, by {compared} comparisons "
        f"with the key frame{other}"
    )


def _found(hertz: float, stops: float, milliseconds: float, fit: float) -> str:
    return (
        f"the rows ripple at {hertz:.2f} Hz by ±{stops:.3f} stop, read in {milliseconds:.1f} ms "
        f"(R² {fit:.2f})"
    )


def _lamps(lamps: list[float], word: str) -> str:
    return f" {word} ".join(f"{hertz:.0f}" for hertz in lamps)


CLAUSES: dict[str, Clause] = {
    "drift.nothing-in-common": lambda: (
        "neighbouring frames have nothing in common that could be measured"
    ),
    "drift.if-picture": lambda: "a picture that is neither black, white nor noise",
    "drift.part-lit": lambda frames, compared: (
        f"in {frames} of {compared} frames that were compared with the key frame the light had "
        "changed in a part of the picture: that is no camera's"
    ),
    "drift.if-one-light": lambda: "a clip in one light",
    "drift.too-short": lambda seconds: f"its {seconds:.1f} s are too short to know drift by",
    "drift.if-longer": lambda seconds: f"a clip of {seconds:.1f} s or more",
    "drift.no-other-view": lambda seconds, key: (
        f"no other part of its {seconds:.1f} s shows the view of the key frame at {key:.1f} s in "
        "one and the same light"
    ),
    "drift.if-more-view": lambda: "more of the clip in one view and one light",
    "drift.too-few": lambda frames: f"{frames} frames are too few",
    "drift.if-frames": lambda frames: f"{frames} frames or more",
    "drift.steady": lambda stops, mired: (
        f"exposure stays within {size_of_stops(stops)} and white within {size_of_mired(mired)}"
    ),
    "drift.daylight": lambda stops, mired: f"{_a_minute(stops, mired)}, as daylight does",
    "drift.daylight-kept": lambda stops, mired: (
        f"{_a_minute(stops, mired)}, as daylight does, and that is kept"
    ),
    "drift.if-range": lambda stops, mired: (
        f"a range over {size_of_stops(stops)} or {size_of_mired(mired)} in one view"
    ),
    "drift.levelled": _levelled,
    "drift.capped": lambda stops, mired: (
        f"no more than {size_of_stops(stops, 1)} and {size_of_mired(mired, 0)} are levelled"
    ),
    "drift.if-meant": lambda: "a person's word that the change is meant",
    "drift.followed": lambda stops, mired: (
        f"exposure moves by {size_of_stops(stops)} and white by {size_of_mired(mired)} while the "
        "picture keeps its brightness: the camera followed the scene into another light"
    ),
    "drift.if-one-and-same": lambda: "a person's word that the light was one and the same",
    "drift.cut": lambda at: (
        f"the picture changes at once at {', '.join(f'{second:.1f} s' for second in at)}"
    ),
    "drift.left-view": lambda: "where the camera left the view for other light, its change is kept",
    "drift.lit-in-part": lambda frames: (
        f"{frames} frames were lit differently from place to place: that is no camera's"
    ),
    "drift.other-view": lambda share, seconds: (
        f"{percent(share)} of the clip shows another view: there the correction goes back to "
        f"none within {seconds:.0f} s"
    ),
    "drift.short": lambda: "all frames of it were measured",
    "drift.glanced": lambda frames, run, stops, mired: (
        f"{frames} frames over the clip, each compared with the next, and {run} consecutive ones "
        f"stay within {size_of_stops(stops)} and {size_of_mired(mired)}"
    ),
    "drift.if-glance": lambda stops, mired: (
        f"a frame a second that differs by over {size_of_stops(stops)} or "
        f"{size_of_mired(mired, 0)} in one view"
    ),
    "drift.only-a-part": lambda minutes: (
        f"only {minutes:.0f} minutes round the key frame were measured"
    ),
    "flicker.blind": lambda hertz, rate: (
        f"bands of {hertz:.0f} Hz would stand still at {rate:.2f} frames a second and cannot be "
        "told from the scene"
    ),
    "flicker.none": lambda lamps, fit: (
        f"no ripple of {_lamps(lamps, 'or')} Hz in the rows (R² {fit:.2f})"
    ),
    "flicker.if-stronger": lambda stops, fit: (
        f"a ripple of at least {stops:g} stop with an R² of {fit:g} or more"
    ),
    "flicker.found": _found,
    "flicker.levelled": lambda share: f"levelled, about {percent(share)} of it stays",
    "flicker.if-meant": lambda: "a person's word that the flicker is meant",
    "flicker.too-strong": lambda stops: f"more than {stops:g} stop is not mains light",
    "flicker.no-one-wave": lambda share: (
        f"one wave does not describe it: {percent(share)} would stay"
    ),
    "flicker.if-one-form": lambda: "light that keeps one frequency and one form",
    "flicker.phase-lost": lambda seconds: (
        f"over {seconds:.0f} s the mains does not keep one phase, so it is left in"
    ),
    "flicker.if-shorter": lambda seconds: f"a clip of no more than {seconds:.0f} s",
    "flicker.too-few": lambda frames: (
        f"{frames} frames in a row are too few to know mains flicker by"
    ),
    "flicker.if-longer": lambda frames: f"{frames} frames or more",
    "flicker.hidden": lambda lamps, rate: (
        f"at {rate:.2f} frames a second bands of {_lamps(lamps, 'and')} Hz stand still, so that "
        "they cannot be told from the scene"
    ),
    "flicker.if-other-rate": lambda: "another frame rate",
    "flicker.unseen": lambda: (
        "too few rows can be compared from frame to frame (dark, clipped, or moving too much)"
    ),
    "flicker.if-steadier": lambda: "a steadier or better exposed picture",
}
