"""CLF: the examples that its specification prints, by its own formulas; and what is written."""

from __future__ import annotations

import numpy as np
import pytest

from evenhand.colourmath import acescct
from evenhand.colourmath.cdl import apply_cdl
from evenhand.grade.clf import to_clf
from evenhand.grade.document import Cdl
from evenhand.grade.look_file import read_look
from evenhand.grade.looks import look_named
from evenhand.grade.tables import TableLook, lattice_of, trilinear
from evenhand.luts.errors import LookFileError
from evenhand.luts.tables import Table3D

COLOURS = np.random.default_rng(3).random((500, 3))

# Examples 1 to 6 and 8 to 15 of S-2014-006 (Common LUT Format, version 3), as printed; the terms
# are in CLF-EXAMPLES-LICENCE.txt. Examples 1 to 12 are single nodes.
EXAMPLES = {
    1: """<LUT1D id="lut-23" name="4 Value Lut" inBitDepth="12i" outBitDepth="12i">
    <Description>1D LUT - Turn 4 grey levels into 4 inverted codes</Description>
    <Array dim="4 1">
        3
        2
        1
        0
    </Array>
</LUT1D>""",
    2: """<LUT3D id="lut-24" name="green look" interpolation="trilinear" inBitDepth="12i"
 outBitDepth="16f">
    <Description>3D LUT</Description>
    <Array dim="2 2 2 3">
        0.0 0.0 0.0
        0.0 0.0 1.0
        0.0 1.0 0.0
        0.0 1.0 1.0
        1.0 0.0 0.0
        1.0 0.0 1.0
        1.0 1.0 0.0
        1.0 1.0 1.0
    </Array>
</LUT3D>""",
    3: """<Matrix id="lut-28" name="AP0 to AP1" inBitDepth="16f" outBitDepth="16f" >
    <Description>3x3 color space conversion from AP0 to AP1</Description>
    <Array dim="3 3">
         1.45143931614567     -0.236510746893740    -0.214928569251925
        -0.0765537733960204    1.17622969983357     -0.0996759264375522
         0.00831614842569772  -0.00603244979102103   0.997716301365324
    </Array>
</Matrix>""",
    4: """<Matrix id="lut-25" name="colorspace conversion" inBitDepth="10i" outBitDepth="10i" >
    <Description> 3x4 Matrix , 4th column is offset </Description>
    <Array dim="3 4">
        1.2     0.0     0.0     0.002
        0.0     1.03    0.001   -0.005
        0.004   -0.007  1.004   0.0
    </Array>
</Matrix>""",
    5: """<Range inBitDepth="10i" outBitDepth="10i">
    <Description>10-bit full range to SMPTE range</Description>
    <minInValue>0</minInValue>
    <maxInValue>1023</maxInValue>
    <minOutValue>64</minOutValue>
    <maxOutValue>940</maxOutValue>
</Range>""",
    6: """<Log inBitDepth="16f" outBitDepth="16f" style="log10">
    <Description>Base 10 Logarithm</Description>
</Log>""",
    8: """<Exponent inBitDepth="32f" outBitDepth="32f" style="basicFwd">
    <Description>Basic 2.2 Gamma</Description>
    <ExponentParams exponent="2.2"/>
</Exponent>""",
    9: """<Exponent inBitDepth="32f" outBitDepth="32f" style="monCurveFwd">
    <Description>EOTF (sRGB)</Description>
    <ExponentParams exponent="2.4" offset="0.055" />
</Exponent>""",
    10: """<Exponent inBitDepth="32f" outBitDepth="32f" style="monCurveRev">
    <Description>CIE L*</Description>
    <ExponentParams exponent="3.0" offset="0.16" />
</Exponent>""",
    11: """<Exponent inBitDepth="32f" outBitDepth="32f" style="monCurveRev">
    <Description>Rec. 709 OETF</Description>
    <ExponentParams exponent="2.2222222222222222" offset="0.099" />
</Exponent>""",
    12: """<ASC_CDL id="cc01234" inBitDepth="16f" outBitDepth="16f" style="Fwd">
    <Description>scene 1 exterior look</Description>
    <SOPNode>
        <Slope>1.000000 1.000000 0.900000</Slope>
        <Offset>-0.030000 -0.020000 0.000000</Offset>
        <Power>1.2500000 1.000000 1.000000</Power>
    </SOPNode>
    <SatNode>
        <Saturation>1.700000</Saturation>
    </SatNode>
</ASC_CDL>""",
    14: """<?xml version="1.0" encoding="UTF-8"?>
<ProcessList id="ACEScsc.ACES_to_ACEScct.a1.0.3" name="ACES2065-1 to ACEScct"
    compCLFversion="3.0">
    <Description>ACES2065-1 to ACEScct Log working space</Description>
    <InputDescriptor>Academy Color Encoding Specification (ACES2065-1)</InputDescriptor>
    <OutputDescriptor>ACEScct Log working space</OutputDescriptor>
    <Info>
        <ACEStransformID>ACEScsc.ACES_to_ACEScct.a1.0.3</ACEStransformID>
        <ACESuserName>ACES2065-1 to ACEScct</ACESuserName>
    </Info>
    <Matrix inBitDepth="16f" outBitDepth="16f">
        <Array dim="3 3">
             1.451439316146 -0.236510746894 -0.214928569252
            -0.076553773396  1.176229699834 -0.099675926438
             0.008316148426 -0.006032449791  0.997716301365
        </Array>
    </Matrix>
    <Log inBitDepth="16f" outBitDepth="16f" style="cameraLinToLog">
        <LogParams base="2" logSideSlope="0.05707762557" logSideOffset="0.5547945205"
            linSideBreak="0.0078125" />
    </Log>
</ProcessList>""",
    15: """<?xml version="1.0" encoding="UTF-8"?>
<ProcessList id="5ac02dc7-1e02-4f87-af46-fa5a83d5232d" compCLFversion="3.0">
    <Description>CIE-XYZ D65 to CIELAB L*, a*, b* (scaled by 1/100, neutrals at
        0.0 chroma)</Description>
    <InputDescriptor>CIE-XYZ, D65 white (scaled [0,1])</InputDescriptor>
    <OutputDescriptor>CIELAB L*, a*, b* (scaled by 1/100, neutrals at 0.0
        chroma)</OutputDescriptor>
    <Matrix inBitDepth="16f" outBitDepth="16f">
        <Array dim="3 3">
            1.052126639 0.000000000 0.000000000
            0.000000000 1.000000000 0.000000000
            0.000000000 0.000000000 0.918224951
        </Array>
    </Matrix>
    <Exponent inBitDepth="16f" outBitDepth="16f" style="monCurveRev">
        <ExponentParams exponent="3.0" offset="0.16" />
    </Exponent>
    <Matrix inBitDepth="16f" outBitDepth="16f">
        <Array dim="3 3">
            0.00000000  1.00000000  0.00000000
            4.31034483 -4.31034483  0.00000000
            0.00000000  1.72413793 -1.72413793
        </Array>
    </Matrix>
</ProcessList>""",
}
AP0_TO_AP1 = np.array(
    [
        [1.451439316146, -0.236510746894, -0.214928569252],
        [-0.076553773396, 1.176229699834, -0.099675926438],
        [0.008316148426, -0.006032449791, 0.997716301365],
    ]
)


def power_with_a_line(signal, g, k):
    """`monCurveFwd` of the specification."""
    slope = (g - 1) / k * (k * g / ((g - 1) * (1 + k))) ** g
    return np.where(signal >= k / (g - 1), ((signal + k) / (1 + k)) ** g, signal * slope)


def root_with_a_line(signal, g, k):
    """`monCurveRev` of the specification."""
    slope = (g - 1) / k * (k * g / ((g - 1) * (1 + k))) ** g
    at = (k * g / ((g - 1) * (1 + k))) ** g
    return np.where(signal >= at, (1 + k) * signal ** (1 / g) - k, signal / slope)


def lab(xyz):
    """CIE 15: L*, a*, b* over 100, of XYZ under the D65 that the example's matrix holds."""
    ratio = xyz * [1.052126639, 1.0, 0.918224951]
    root = np.where(ratio > (6 / 29) ** 3, np.cbrt(ratio), ratio * (29 / 6) ** 2 / 3 + 4 / 29)
    x, y, z = root.T
    return np.stack([1.16 * y - 0.16, 5.0 * (x - y), 2.0 * (y - z)], axis=-1)


EXPECTED = {
    1: lambda v: (3.0 - 3.0 * v) / 4095.0,
    2: lambda v: v,
    3: lambda v: v @ AP0_TO_AP1.T,
    4: lambda v: (
        v @ np.array([[1.2, 0, 0], [0, 1.03, 0.001], [0.004, -0.007, 1.004]]).T
        + np.array([0.002, -0.005, 0.0]) / 1023
    ),
    5: lambda v: (v * 876 + 64) / 1023,
    6: lambda v: np.log10(v),
    8: lambda v: v**2.2,
    9: lambda v: power_with_a_line(v, 2.4, 0.055),
    10: lambda v: root_with_a_line(v, 3.0, 0.16),
    11: lambda v: root_with_a_line(v, 1 / 0.45, 0.099),
    12: lambda v: apply_cdl(
        v,
        Cdl((1.0, 1.0, 0.9), (-0.03, -0.02, 0.0), (1.25, 1.0, 1.0), saturation=1.7),
        clamp=True,
    ),
    14: lambda v: acescct.from_linear(v @ AP0_TO_AP1.T),
    15: lab,
}


@pytest.mark.oracle
@pytest.mark.parametrize("number", EXAMPLES)
def test_published_examples(number):
    """Each example of the specification gives what the specification's formula gives."""
    text = EXAMPLES[number]
    if "<ProcessList" not in text:
        text = f'<ProcessList id="example" compCLFversion="3.0">\n{text}\n</ProcessList>'

    file = read_look(text.encode(), f"example-{number}.clf")

    np.testing.assert_allclose(file.look.apply(COLOURS), EXPECTED[number](COLOURS), atol=2e-6)
    assert file.kind == "clf"
    assert file.declared is None


def test_blue_runs_fastest():
    """Example 2 with its green row dimmed: a pure green, and no other colour, is dimmed."""
    text = EXAMPLES[2].replace("0.0 1.0 0.0", "0.0 0.5 0.0")
    look = read_look(f'<ProcessList compCLFversion="3.0" id="x">{text}</ProcessList>'.encode(),
                     "x.clf").look  # fmt: skip

    np.testing.assert_allclose(look.apply(np.eye(3)), np.diag([1.0, 0.5, 1.0]), atol=1e-7)


@pytest.mark.parametrize("size", [2, 9, 33])
def test_what_is_written_is_read_back(size):
    """Seven decimals, the order of the axes, the declared spaces, the title, and the reading."""
    lattice = lattice_of(look_named("daybreak"), size)
    data = to_clf(lattice, "d", "bt709-display", "bt709-display", title='Day <break> & "dusk"')

    file = read_look(data, "d.clf")

    np.testing.assert_allclose(lattice_of(file.look, size), lattice, atol=1.5e-7)
    expected = TableLook(name="t", three=Table3D(lattice)).apply(COLOURS)
    np.testing.assert_allclose(file.look.apply(COLOURS), expected, atol=1e-6)
    assert file.title == 'Day <break> & "dusk"'
    assert file.declared == ("bt709-display", "bt709-display")


def test_a_file_may_ask_for_trilinear_reading():
    """What the file says is done; without a word it is read by tetrahedra."""
    table = Table3D(lattice_of(look_named("daybreak"), 5))
    written = to_clf(table.values, "d")
    asks = written.replace(b'"tetrahedral"', b'"trilinear"')
    silent = written.replace(b' interpolation="tetrahedral"', b"")
    look = TableLook(name="t", three=table)

    for data, expected in (
        (asks, look.read(COLOURS, trilinear)),
        (silent, look.apply(COLOURS)),
    ):
        found = read_look(data, "d.clf").look.apply(COLOURS)
        np.testing.assert_allclose(found, expected, atol=1e-6)


def test_the_id_follows_the_content():
    """Same lattice, same bytes; another lattice, another id."""
    lattice = lattice_of(look_named("rye"), 5)
    other = lattice.copy()
    other[0, 0, 0, 0] += 1e-6

    first, again, changed = (to_clf(values, "r") for values in (lattice, lattice.copy(), other))

    assert first == again
    assert first.split(b'"')[5] != changed.split(b'"')[5]


def test_a_rewritten_file_is_read_anew():
    """Files are told apart by content: a cache that goes by name would answer with the old."""
    values = [np.full((2, 2, 2, 3), value) for value in (0.25, 0.75)]

    found = [read_look(to_clf(v, "same"), "same.clf").look.apply(COLOURS[:1])[0, 0] for v in values]

    assert found == pytest.approx([0.25, 0.75])


PREFIXED = """<?xml version="1.0" encoding="UTF-8"?>
<lut:ProcessList xmlns:lut="http://www.smpte-ra.org/ns/2136-1/2024" id="a"
    compCLFversion="ST2136-1:2024">
  <lut:LUT1D inBitDepth="16f" outBitDepth="16f">
    <lut:Array dim="2 3">0 0 0  1 .5 1</lut:Array>
  </lut:LUT1D>
</lut:ProcessList>"""
ODD = """<?xml version="1.0" encoding="utf-8"?>

<!-- <ProcessList> -->
  <ProcessList compCLFversion="3" id="id1"><Info><Any Reference="none"/></Info>
  <Matrix id="'1'" inBitDepth="32f" outBitDepth='32f' name='"&gt;"'>
    <Array dim="3 3 3"> 1.0 <!-- one
 <b> --> -0 +0.0e+1
\t0\t0.05e1\t0.
 0 0 1</Array>
  </Matrix>
  <Description>&amp; <!-- </Matrix> --> done</Description>
</ProcessList>
<!-- end -->"""


@pytest.mark.parametrize("text", [PREFIXED, ODD, ODD.replace("\n", "\r\n")])
def test_legal_oddities_are_read(text):
    """A namespace prefix; comments, quotes, signs and exponents where XML and CLF allow them."""
    look = read_look(text.encode(), "odd.clf").look

    np.testing.assert_allclose(look.apply(np.eye(3)), np.diag([1.0, 0.5, 1.0]), atol=1e-7)


def test_reading_leaves_the_log_as_it_was():
    """OpenColorIO's log function is put back, or the process would hang at its end."""
    import subprocess
    import sys

    code = (
        "from evenhand.grade import ocio\n"
        "for data in (b'<ProcessList/>', b'no'):\n"
        "    try:\n"
        "        ocio.load(data, 'clf')\n"
        "    except ocio.CannotLoad as error:\n"
        "        print(error)\n"
    )
    run = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, timeout=60, check=True
    )

    assert len(run.stdout.splitlines()) == 2
    assert "the file" not in run.stdout


@pytest.mark.parametrize(
    ("node", "says"),
    [
        ('<Matrix inBitDepth="32f" outBitDepth="32f"/>', "<Matrix> with 0 tables"),
        ('<Log inBitDepth="32f" outBitDepth="32f" style="odd"/>', "not valid CLF"),
        ('<Range inBitDepth="32f" outBitDepth="32f"><minInValue>1</minInValue></Range>', "Range"),
        ('<Exponent inBitDepth="32f" outBitDepth="32f" style="odd"/>', "style"),
        ('<Log inBitDepth="32f" outBitDepth="32f" style="antiLog10"/>'
         '<Log inBitDepth="32f" outBitDepth="32f" style="antiLog10"/>', "beyond"),
    ],
)  # fmt: skip
def test_opencolorios_refusals_name_the_file(node, says):
    """Its reason in one line, under the file's name, without the name that it was given inside."""
    with pytest.raises(LookFileError, match=says) as caught:
        read_look(
            f'<ProcessList id="x" compCLFversion="3.0">{node}</ProcessList>'.encode(), "a.clf"
        )

    assert str(caught.value).startswith("a.clf: ")
    assert "\n" not in caught.value.found


def test_a_lattice_that_is_none_is_not_written():
    """Shapes and values that cannot be read back."""
    with pytest.raises(ValueError, match="N, N, N, 3"):
        to_clf(np.zeros((2, 2, 3, 3)), "x")
    with pytest.raises(ValueError, match="N 2 to 129"):
        to_clf(np.zeros((1, 1, 1, 3)), "x")
    with pytest.raises(ValueError, match="finite"):
        to_clf(np.full((2, 2, 2, 3), np.inf), "x")
