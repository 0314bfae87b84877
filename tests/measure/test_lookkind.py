"""Telling creative looks from conversions by the table alone, and declarations that disagree."""

from __future__ import annotations

from collections import Counter

import numpy as np
import pytest
from made_tables import LOGS, OUTPUT_TRANSFORMS, UNKNOWN_LOGS, UNKNOWN_OUTPUT_TRANSFORMS

from evenhand.grade.looks import LOOKS, look_named
from evenhand.grade.tables import TableLook, lattice_of
from evenhand.luts.tables import Table3D
from evenhand.measure.looks.kind import LookKind, look_kind
from evenhand.measure.looks.place import check_declared, check_place

DISPLAY = "bt709-display"
ALL_LOGS = LOGS | UNKNOWN_LOGS
ALL_OUTPUT_TRANSFORMS = OUTPUT_TRANSFORMS | UNKNOWN_OUTPUT_TRANSFORMS
STYLES = (None, "oven-light", "daybreak", "rye")


def colours(size: int) -> np.ndarray:
    return lattice_of(TableLook(name="identity"), size).reshape(-1, 3)


def kind_of(values: np.ndarray) -> LookKind:
    size = round(len(values) ** (1 / 3))
    lattice = values.reshape(size, size, size, 3)
    return look_kind(TableLook(name="x", three=Table3D(lattice)))


def styled(picture: np.ndarray, style: str | None) -> np.ndarray:
    """A conversion with a look at 70 % baked in after it."""
    if style is None:
        return picture
    return picture + 0.7 * (look_named(style).apply(picture) - picture)


def conversions(size: int, logs, output_transforms, styles):
    """(log, output transform, style, finding) for each combination."""
    grid = colours(size)
    for log, to_light in logs.items():
        light = to_light(grid)
        for name, render in output_transforms.items():
            picture = np.asarray(render(light))
            for style in styles:
                yield log, name, style, kind_of(styled(picture, style))


def test_conversions_are_told_from_looks():
    """A few of each, at 17 nodes; the log itself is among those proposed."""
    logs = {n: LOGS[n] for n in ("phone-log-1", "phone-log-2", "slog3-full", "logc3")}
    output_transforms = {n: OUTPUT_TRANSFORMS[n] for n in ("aces2", "shoulder")}

    for log, _, _, found in conversions(17, logs, output_transforms, (None, "daybreak")):
        assert found.kind == "conversion"
        assert log in found.logs


@pytest.mark.parametrize("style", LOOKS)
def test_shipped_looks_are_looks(style):
    """At full and at low strength, from a table of 17 nodes; black and white as well."""
    grid = colours(17)

    for strength in (0.1, 1.0):
        shown = grid + strength * (look_named(style).apply(grid) - grid)
        assert kind_of(shown).kind in {"look", "identity"}


@pytest.mark.parametrize(
    ("change", "kind"),
    [
        (lambda v: v, "identity"),
        (lambda v: v + 0.002, "identity"),
        (lambda v: 1.0 - v, "else"),
        (lambda v: v[:, [1, 0, 2]], "else"),
        (lambda v: v**2.4, "else"),
        (lambda v: np.clip((np.log2(v + 0.01) + 7.0) / 7.0, 0.0, 1.0), "else"),
        (lambda v: np.round(v * 5.0) / 5.0 * [1.0, 0.2, 0.5], "else"),
        (lambda v: np.full_like(v, 0.4), "else"),
    ],
    ids=["identity", "nearly", "inverse", "swap", "to linear", "to log", "false colour", "flat"],
)
def test_what_is_neither(change, kind):
    """Identity, and tables that are neither a look nor a conversion."""
    found = kind_of(change(colours(17)))

    assert found.kind == kind
    assert (found.logs, found.twice) == ((), ())


@pytest.mark.slow
def test_every_made_conversion_and_look_is_told_by_its_kind():
    """392 conversions at 33 nodes: 14 logs, three unknown, by 7 output transforms, two unknown.

    Each plain and with three looks at 70 %. And ten looks at four strengths. The kind is right for
    every one. The log is less sure: for 89 % of 308 it is in the proposed set,
    and where output transform and look hide it, it is another. These counts are what was measured.
    """
    kinds, logs = Counter(), Counter()
    for log, output_transform, style, found in conversions(
        33, ALL_LOGS, ALL_OUTPUT_TRANSFORMS, STYLES
    ):
        kinds[found.kind] += 1
        if log in LOGS and found.kind == "conversion":
            group = (output_transform in OUTPUT_TRANSFORMS, style is not None)
            alone = found.logs == (log,)
            logs[group, "alone" if alone else "in set" if log in found.logs else "wrong"] += 1
    grid = colours(33)
    looks = Counter(
        kind_of(grid + strength * (look.apply(grid) - grid)).kind
        for look in LOOKS.values()
        for strength in (0.1, 0.3, 0.6, 1.0)
    )

    assert kinds == {"conversion": 392}
    assert looks["look"] + looks["identity"] == 4 * len(LOOKS)
    assert logs[(True, False), "alone"] == 55  # known output transform, no look: always named alone
    assert logs[(True, True), "wrong"] <= 10  # of 165
    assert logs[(False, False), "wrong"] <= 1  # of 22
    assert logs[(False, True), "wrong"] <= 35  # of 66


def test_a_conversion_applied_twice_is_found():
    """A conversion whose result is taken for log and converted again, in one table."""
    grid = colours(33)

    for log in ("phone-log-1", "slog3-full", "acescct"):
        once = OUTPUT_TRANSFORMS["aces2"](LOGS[log](grid))
        found = kind_of(OUTPUT_TRANSFORMS["aces2"](LOGS[log](once)))
        assert found.kind == "else"
        assert log in found.twice
        assert check_place(found, DISPLAY).verdict == "disagrees"
        assert "applied twice" in found.says


def test_a_declaration_that_disagrees_says_why():
    """A conversion declared a display look; a display look declared a conversion."""
    grid = colours(17)
    look = kind_of(look_named("oven-light").apply(grid))
    conversion = kind_of(OUTPUT_TRANSFORMS["aces2"](LOGS["phone-log-1"](grid)))

    as_look = check_declared(conversion, DISPLAY, DISPLAY)
    as_conversion = check_declared(look, "phone-log-1", DISPLAY)
    as_log_look = check_declared(conversion, "phone-log-1", "phone-log-1")

    assert {p.verdict for p in (as_look, as_conversion, as_log_look)} == {"disagrees"}
    assert as_look.says.startswith(
        "declared display, but the grey response is that of a conversion from log (signal 0 gives "
    )
    assert "phone-log-1" in as_look.remedy
    assert "greys stay where they are (signal 0 gives 0 %, 50 % gives 50 %" in as_conversion.says
    assert "a picture for a display" in as_log_look.says


def test_a_declaration_that_fits_agrees():
    """And what a table cannot tell is doubtful, not wrong."""
    grid = colours(17)
    look = kind_of(look_named("oven-light").apply(grid))
    conversion = kind_of(OUTPUT_TRANSFORMS["aces2"](LOGS["logc3"](grid)))

    assert check_declared(look, DISPLAY, DISPLAY).verdict == "agrees"
    assert check_declared(conversion, "logc3", DISPLAY).verdict == "agrees"
    other = check_declared(conversion, "phone-log-1", DISPLAY)
    assert (other.verdict, "logc3" in other.says) == ("doubtful", True)
    assert check_declared(look, "acescct", "acescct").verdict == "doubtful"
    assert check_declared(kind_of(1.0 - grid), DISPLAY, DISPLAY).verdict == "doubtful"


def test_a_look_in_the_wrong_place_is_caught():
    """A creative look straight on log, and a conversion after another one."""
    grid = colours(17)
    look = kind_of(look_named("daybreak").apply(grid))
    conversion = kind_of(OUTPUT_TRANSFORMS["aces1"](LOGS["phone-log-2"](grid)))

    on_log = check_place(look, "phone-log-1")
    again = check_place(conversion, DISPLAY)

    assert on_log.verdict == again.verdict == "disagrees"
    assert "a creative look straight on phone-log-1" in on_log.says
    assert "converted already" in again.says
    assert check_place(look, DISPLAY).verdict == "agrees"
    assert check_place(conversion, "phone-log-2").verdict == "agrees"
