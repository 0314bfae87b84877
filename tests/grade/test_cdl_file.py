"""ASC CDL files: the standard's sample, every kind there and back, and the part of a look."""

from __future__ import annotations

import numpy as np
import PyOpenColorIO as ocio
import pytest

from evenhand.errors import UsageError
from evenhand.grade.cdl_file import CdlLook, to_cdl
from evenhand.grade.cdl_fit import cdl_of, nearest_cdl
from evenhand.grade.document import Cdl
from evenhand.grade.look_file import read_look
from evenhand.grade.looks import look_named
from evenhand.grade.tables import TableLook, lattice_of
from evenhand.luts.declared import Declared
from evenhand.luts.errors import LookFileError
from evenhand.luts.tables import Table3D

COLOURS = np.random.default_rng(4).random((800, 3))
WARM = Cdl((1.1, 1.0, 0.9), (0.01, -0.02, 0.0), (1.2, 1.0, 0.9), saturation=0.8)
COOL = Cdl((0.9, 1.0, 1.1), saturation=1.4)

# The sample of the ASC CDL 1.2 document, as the manuals of public image libraries print it.
SAMPLE = b"""<ColorCorrectionCollection xmlns="urn:ASC:CDL:v1.2">
      <ColorCorrection id="cc03345">
            <SOPNode>
                 <Slope> 0.9 1.2 0.5 </Slope>
                 <Offset> 0.4 -0.5 0.6 </Offset>
                 <Power> 1.0 0.8 1.5 </Power>
            </SOPNode>
            <SATNode>
                 <Saturation> 0.85 </Saturation>
            </SATNode>
      </ColorCorrection>
</ColorCorrectionCollection>
"""


def by_opencolorio(cdl: Cdl, style, colours):
    """The same ten numbers through the reference library, in float32."""
    transform = ocio.CDLTransform(cdl.slope, cdl.offset, cdl.power, cdl.saturation)
    transform.setStyle(style)
    processor = (
        ocio.Config.CreateRaw()
        .getProcessor(transform)
        .getOptimizedCPUProcessor(
            ocio.BIT_DEPTH_F32, ocio.BIT_DEPTH_F32, ocio.OPTIMIZATION_LOSSLESS
        )
    )
    out = colours.astype(np.float32)
    processor.applyRGB(out)
    return out


@pytest.mark.oracle
def test_the_standards_sample():
    """By the formula of version 1.2, written out here, and by OpenColorIO."""
    file = read_look(SAMPLE, "sample.ccc")

    sop = np.clip(COLOURS * [0.9, 1.2, 0.5] + [0.4, -0.5, 0.6], 0, 1) ** [1.0, 0.8, 1.5]
    luma = (sop @ [0.2126, 0.7152, 0.0722])[:, None]
    expected = np.clip(luma + 0.85 * (sop - luma), 0, 1)
    np.testing.assert_allclose(file.look.apply(COLOURS), expected, atol=1e-7)
    np.testing.assert_allclose(
        file.look.apply(COLOURS), by_opencolorio(file.look.cdl, ocio.CDL_ASC, COLOURS), atol=1e-6
    )
    assert (file.kind, file.corrections, file.title) == ("ccc", ("cc03345",), "cc03345")


@pytest.mark.oracle
def test_in_a_log_space_nothing_is_clamped():
    """The form that OpenColorIO calls no-clamp, beyond 0..1 as well."""
    colours = COLOURS * 2.0 - 0.5
    look = CdlLook(name="w", cdl=WARM, space="acescct", gives="acescct")

    expected = by_opencolorio(WARM, ocio.CDL_NO_CLAMP, colours)

    np.testing.assert_allclose(look.apply(colours), expected, atol=2e-6)


@pytest.mark.parametrize("kind", ["cc", "ccc", "cdl"])
def test_what_is_written_is_read_back(kind):
    """The ten numbers, the id with its odd characters, the declared space; the same bytes twice."""
    written = to_cdl([('a <b> & "c"', WARM)], kind, "acescct", "acescct")

    file = read_look(written, f"x.{kind}")

    assert file.look.cdl == WARM
    assert file.title == 'a <b> & "c"'
    assert file.declared == file.look_spaces == ("acescct", "acescct")
    assert to_cdl([(file.title, file.look.cdl)], kind, "acescct", "acescct") == written


def test_one_of_a_collection_is_chosen_by_its_id():
    """Without an id, with a wrong or an ambiguous one, the ids are named."""
    data = to_cdl([("warm", WARM), ("cool", COOL), ("cool", WARM)], "ccc")

    assert read_look(data, "x.ccc", correction="warm").look.cdl == WARM
    with pytest.raises(LookFileError, match=r"holds 3 corrections\. Name one .*warm, cool"):
        read_look(data, "x.ccc")
    with pytest.raises(LookFileError, match="0 with the id 'hot'"):
        read_look(data, "x.ccc", correction="hot")
    with pytest.raises(LookFileError, match="2 with the id 'cool'"):
        read_look(data, "x.ccc", correction="cool")
    with pytest.raises(ValueError, match="holds one correction"):
        to_cdl([("warm", WARM), ("cool", COOL)], "cc")


@pytest.mark.parametrize(
    ("inside", "says"),
    [
        ("<SOPNode><Slope>1 1 1</Slope></SOPNode>", "not valid CC: .*Offset"),
        ("<SOPNode><Slope>1 1</Slope><Offset>0 0 0</Offset><Power>1 1 1</Power></SOPNode>", "CC"),
        ("<SOPNode><Slope>1 1 1</Slope><Offset>0 0 0</Offset><Power>1 0 1</Power></SOPNode>", "0"),
    ],
)
def test_corrections_that_mean_nothing_are_refused(inside, says):
    """Missing numbers, too few, and a power of 0."""
    with pytest.raises(LookFileError, match=says):
        read_look(f"<ColorCorrection>{inside}</ColorCorrection>".encode(), "x.cc")


def test_a_look_that_is_a_cdl_is_found_again():
    """From the table alone; saturation 0 and clipped ends included."""
    for cdl in (WARM, COOL, Cdl((0.9, 0.9, 0.9), (0.05, 0.0, 0.0), (1.0, 1.0, 1.4), saturation=0)):
        look = CdlLook(name="x", cdl=cdl)

        fit = cdl_of(look, "x", bound=0.01)

        np.testing.assert_allclose(fit.cdl.power, cdl.power, atol=1e-3)
        assert fit.cdl.saturation == pytest.approx(cdl.saturation, abs=1e-4)
        assert fit.greys < 0.01


def test_a_table_of_a_cdl_is_one_within_the_tables_error():
    """At 33 nodes a CDL's powers are bent lines: the bound of two codes takes it."""
    soft = Cdl((0.95, 0.9, 0.9), (0.02, 0.01, 0.02), (1.1, 1.0, 0.95), saturation=0.9)
    table = Table3D(lattice_of(CdlLook(name="x", cdl=soft), 33))

    fit = cdl_of(TableLook(name="t", three=table), "t")

    assert 0.01 < fit.colours < 2.0


def test_what_a_cdl_cannot_hold_is_refused_with_what_is_lost():
    """A look that turns hues: the nearest CDL comes close on greys, and is far on pure colours."""
    fit = nearest_cdl(look_named("daybreak"))

    assert 5.0 < fit.greys < 100.0
    assert fit.colours > 100.0
    with pytest.raises(
        UsageError, match="cannot hold this look within 2 10-bit codes: greys differ"
    ):
        cdl_of(look_named("daybreak"), "daybreak")
    assert cdl_of(look_named("daybreak"), "daybreak", bound=1023).cdl == fit.cdl


def test_a_person_may_say_the_space():
    """What is said replaces what the file says."""
    file = read_look(to_cdl([("w", WARM)]), "x.cc", Declared("acescct", "acescct"))

    assert file.declared == ("bt709-display", "bt709-display")
    assert file.look_spaces == ("acescct", "acescct")
    with pytest.raises(UsageError, match="no space has this name"):
        read_look(to_cdl([("w", WARM)]), "x.cc", Declared("nowhere", "nowhere"))
