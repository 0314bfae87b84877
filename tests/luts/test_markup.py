"""The first look at CLF and ASC CDL files: what is refused before any other reader sees it."""

from __future__ import annotations

import pytest

from evenhand.luts.errors import LookFileError
from evenhand.luts.markup import check_markup

IDENTITY = "0 0 0 0 0 1 0 1 0 0 1 1 1 0 0 1 0 1 1 1 0 1 1 1"


def clf(inside: str, root: str = 'id="x" compCLFversion="3.0"') -> str:
    return f"<ProcessList {root}>\n{inside}\n</ProcessList>"


def lut(body: str = IDENTITY, dim: str = "2 2 2 3", step: str = "LUT3D") -> str:
    return clf(f'<{step}>\n<Array dim="{dim}">\n{body}\n</Array>\n</{step}>')


def cc(slope: str = "1 1 1", saturation: str = "1", label: str = 'id="a"') -> str:
    sop = f"<SOPNode><Slope>{slope}</Slope></SOPNode>"
    sat = f"<SATNode><Saturation>{saturation}</Saturation></SATNode>"
    return f"<ColorCorrection {label}>{sop}{sat}</ColorCorrection>"


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        (lut(), "clf"),
        ("<?xml version='1.0' encoding='UTF-8'?><!-- made by hand -->\n" + lut(), "clf"),
        (lut(IDENTITY.replace("0 1", "0e0\t+1.", 1) + " <!-- and that is all -->"), "clf"),
        (clf('<Reference-less-step-inside-Info/>').replace(
            "<Reference-less-step-inside-Info/>", "<Info><Reference/><Any><Thing/></Any></Info>"),
         "clf"),
        (clf("<Range/>", 'xmlns="http://www.smpte-ra.org/ns/2136-1/2024" id="x"'), "clf"),
        (lut("0 0.5 1", "3 1", "LUT1D"), "clf"),
        (lut("1 0 0 0 1 0 0 0 1", "3 3 3", "Matrix"), "clf"),
        (cc(), "cc"),
        (f"<ColorCorrectionCollection>{cc()}{cc()}</ColorCorrectionCollection>", "ccc"),
        ("<ColorDecisionList><ColorDecision>" + cc() + "</ColorDecision></ColorDecisionList>",
         "cdl"),
        ('<a:ColorCorrection xmlns:a="urn:ASC:CDL:v1.2" id="x"/>', "cc"),
    ],
)  # fmt: skip
def test_good_files_pass(text, kind):
    """Every kind, in UTF-8, with its mark, and in UTF-16 with a declaration that says otherwise."""
    assert check_markup(text.encode()).kind == kind
    assert check_markup(text.encode("utf-8-sig")).kind == kind
    assert check_markup(text.encode("utf-16")).kind == kind


BOMB = """<?xml version="1.0"?>
<!DOCTYPE a [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;&a;&a;">]>
<ProcessList id="&b;" compCLFversion="3.0"/>"""


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (BOMB, "line 2: a document type"),
        ('<!DOCTYPE a SYSTEM "file:///etc/passwd"><ProcessList/>', "a document type"),
        ('<?xml version="1.0" encoding="EBCDIC"?><a/>', "the encoding 'EBCDIC'"),
        (clf('<Reference path="other.clf"/>'), "line 2: a reference to another file"),
        (clf("<Blur/>"), "line 2: the unknown step <Blur>"),
        (clf("<Range/>", 'version="1.7" id="x"'), "without compCLFversion"),
        ("<LookList/>", "XML of the kind <LookList>"),
        ("<ProcessList compCLFversion='3'>", "not whole XML: no element found"),
        ("\x89PNG", "not whole XML"),
        (cc().replace("</SATNode>", ""), "mismatched tag"),
        (lut(dim="2 2 3 3"), "line 3: the table size '2 2 3 3'"),
        (lut(dim="1 1 1 3"), "n 2 to 129"),
        (lut(dim="130 130 130 3"), "n 2 to 129"),
        (lut(dim="2 2 2"), "not n n n 3"),
        (lut(dim="2 2 2 nan"), "the table size '2 2 2 nan'"),
        (lut(dim="999999999999 2 2 3"), "the table size"),
        (lut(dim="129 129 129 3"), "declares 6440067 numbers has"),
        (lut("0 1", "65537 1", "LUT1D"), "n 2 to 65536"),
        (lut("0 1", "2 2", "LUT1D"), "not n 1 or n 3"),
        (lut("1 0 0 1", "2 2", "Matrix"), "a table of size '2 2' in <Matrix>"),
        (lut(step="Range"), "in <Range>"),
        (lut(IDENTITY[:-2]), "declares 24 numbers and has 23"),
        (lut(IDENTITY + " 1"), "'1' in a table: more numbers"),
        (lut(IDENTITY.replace(" 1", "\nnan", 1)), "line 5: 'nan' in a table"),
        (lut(IDENTITY.replace("1", "1e9", 1)), "beyond"),
        (lut(IDENTITY.replace("1", "1,5", 1)), "'1,5'"),
        (lut(IDENTITY + "# 1"), "'#' in a table"),
        (lut(IDENTITY + "<Array/>"), "<Array> inside a table"),
        (lut("&#48; " + IDENTITY[2:]), "no number"),
        (clf("<LUT3D/>"), "<LUT3D> with 0 tables"),
        (clf('<Log><LogParams base="inf"/></Log>'), "LogParams base is 'inf'"),
        (clf("<Range><minInValue>nan</minInValue></Range>"), "minInValue is 'nan'"),
        (clf("<Range><minInValue>0 1</minInValue></Range>"), "minInValue has 2 numbers"),
        (cc("1 1e7 1"), "Slope is '1e7'"),
        (cc(saturation=""), "Saturation has 0 numbers"),
        (cc().replace("<Slope>", cc() + "<Slope>"), "a colour correction inside another"),
        (clf("<Description>" + "x" * 5000 + "</Description>"), "more text than it can mean"),
        (clf("<Range " + "x" * 70000 + ">"), "a tag of more than 65536 bytes"),
        (clf("<Info>" + "<a>" * 20 + "</a>" * 20 + "</Info>"), "more elements than a look has"),
        (clf("<Info>" + "<a/>" * 100_001 + "</Info>"), "more elements than a look has"),
    ],
)  # fmt: skip
def test_bad_files_are_refused(text, says):
    """Each with its name, the line and what was found."""
    with pytest.raises(LookFileError, match=says) as caught:
        check_markup(text.encode("latin-1"), "a.clf")

    assert str(caught.value).startswith("a.clf: line ")


def test_what_the_file_says_is_kept():
    """Title, descriptors, and the corrections with their places."""
    text = f"<ColorCorrectionCollection>\n {cc()}\n{cc(label='')}</ColorCorrectionCollection>"
    about = "<Description>one\n two</Description><InputDescriptor>acescct</InputDescriptor>"

    collection = check_markup(text.encode())
    steps = check_markup(clf(about + "<Range/>", 'name="Dusk" compCLFversion="3"').encode())

    assert [label for label, _, _ in collection.corrections] == ["a", ""]
    assert [text[begin:end] for _, begin, end in collection.corrections] == [cc(), cc(label="")]
    assert (steps.title, steps.words) == (
        "Dusk", {"Description": "one two", "InputDescriptor": "acescct"},
    )  # fmt: skip


def test_many_numbers_are_checked_by_compiled_code_and_agree():
    """A table beyond the size that is read plainly; a wrong number in it is found at its line."""
    rows = "\n".join(["0.25 0.5 0.75"] * 33**3)

    bad = rows.split("\n")
    bad[19_999] = "0 0.x5 0"

    check_markup(lut(rows, "33 33 33 3").encode())
    with pytest.raises(LookFileError, match=r"line 20003: '0\.x5' in a table"):
        check_markup(lut("\n".join(bad), "33 33 33 3").encode())
