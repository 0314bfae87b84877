"""An invented shoot of twelve clips, as the report page takes it."""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np
import pytest
from numpy.typing import NDArray

from evenhand.drawing.model import (
    ClipReport,
    Evidence,
    Figure,
    Identification,
    LookLine,
    MasterCheck,
    MasterFile,
    Picture,
    PlaceReport,
    ReportModel,
    UnreadableFile,
)
from evenhand.drawing.picture import picture_jpeg
from evenhand.drawing.scopes import scope_set
from evenhand.grade.document import White
from evenhand.grade.fidelity import CompileReport
from evenhand.measure.decisions import (
    Difference,
    Evenness,
    EvennessPoint,
    LevelDecision,
    Proposal,
    Residual,
    Spread,
)
from evenhand.measure.ends import EndsOverTime, WorstMoment
from evenhand.measure.scopes import measure_scopes
from evenhand.reasons import because

Signal = NDArray[np.float32]
Fault = tuple[str, str, float, int, float]
Pair = tuple[Signal, Signal]  # as shot, graded

# Clip, place, stops, kelvin, Duv: the invented faults.
FAULTS = (
    ("A001", "The oven room", -0.3, 5900, 0.001),
    ("A002", "The oven room", -0.95, 5250, -0.002),
    ("A003", "The oven room", 1.1, 6900, 0.002),
    ("A004", "The prep room", 0.2, 6150, 0.013),
    ("A005", "The prep room", -0.6, 5700, 0.009),
    ("A006", "The prep room", 0.45, 6600, 0.011),
    ("A007", "The yard at dawn", 0.0, 7900, 0.003),
    ("A008", "The yard at dawn", 0.35, 7000, 0.002),
    ("A009", "The yard at dawn", -0.7, 8800, 0.001),
    ("A010", "The shop counter", 0.4, 6250, 0.004),
    ("A011", "The shop counter", -0.35, 7300, 0.002),
    ("A012", "The shop counter", 0.3, 5600, 0.003),
)
REFERENCES = {"The oven room": "A001", "The prep room": "A004"}
REFERENCES |= {"The yard at dawn": "A007", "The shop counter": "A010"}
_COMPILED = CompileReport(
    luma_p999=0.62,
    chroma_p999=1.1,
    de_p999=0.18,
    de_max=0.74,
    stress_luma_p999=0.7,
    stress_chroma_p999=1.3,
    stress_de_p999=0.2,
    stress_de_max=0.9,
    size=65,
    shaped=False,
    neutral_cast=0.1,
    keeps_neutral=True,
    pixels=100_000,
    within_bound=True,
    chroma_within_goal=True,
)
ALONE = ("A006", "A012")  # no shared view
HLG, SDR = "A008", "A011"


def ramp_pair(seed: int, size: tuple[int, int] = (54, 96)) -> Pair:
    """A small picture that is no photograph: ramps and a little noise, flat and graded."""
    height, width = size
    noise = np.random.default_rng(seed).normal(0, 0.01, (height, width, 3))
    across = np.linspace(0.05, 0.95, width)[None, :, None] * np.array([1.0, 0.9, 0.75])
    graded = np.clip(np.broadcast_to(across, (height, width, 3)) + noise, 0, 1)
    return (0.3 + 0.4 * graded).astype(np.float32), graded.astype(np.float32)


def _identification(clip: str) -> Identification:
    if clip == HLG:
        return Identification(
            "BT.2100 HLG",
            "Container and bitstream both say transfer 18, and the levels agree.",
            0.99,
            (
                Evidence("container tags", "9 / 18 / 9, narrow", "HLG", 1.0),
                Evidence("bitstream tags", "9 / 18 / 9, narrow", "HLG", 1.0),
                Evidence("levels", "median luma 52 %, peak 97 %", "HLG, phone log", 0.2),
            ),
        )
    if clip == SDR:
        return Identification(
            "BT.709, display-referred",
            "Tags and levels agree. Highlights are already rolled off.",
            0.97,
            (Evidence("container tags", "1 / 1 / 1, narrow", "BT.709", 1.0),),
        )
    return Identification(
        "phone log, first generation, narrow range",
        "The tags leave the transfer open, as they do for log; the sensor black sits where this "
        "curve puts it.",
        0.94,
        (
            Evidence("container tags", "primaries 9, transfer 2, matrix 9", "phone log", 0.6),
            Evidence("codec and depth", "4:2:2, 10 bits", "log, HLG", 0.3),
            Evidence("sensor black", "code 197; the curve puts black at 196", "phone log 1", 0.7),
            Evidence("full-range reading", "black would fall below zero", "not full range", -0.4),
        ),
        ("The file name says nothing of log.",) if clip == "A003" else (),
    )


def _difference(fault: Fault) -> Difference:
    reference = next(f for f in FAULTS if f[0] == REFERENCES[fault[1]])
    mired = 1e6 / fault[3] - 1e6 / reference[3]
    return Difference(fault[2] - reference[2], mired, fault[4] - reference[4])


def _levelling(fault: Fault) -> LevelDecision:
    clip, place, stops, kelvin, duv = fault
    reference = REFERENCES[place]
    if clip in ALONE:
        return LevelDecision(
            clip=clip,
            place=place,
            reference=reference,
            status="unchanged",
            why=(because("level.no-common-view", clip=reference),),
            proposal=Proposal(
                White(kelvin + 300, 0.002),
                7.4,
                33.0,
                (
                    because(
                        "proposal.tones",
                        clip=reference,
                        stops=0.4,
                        half_within=0.5,
                        tenth_over=1.6,
                    ),
                ),
                (
                    because(
                        "proposal.colours-fit",
                        clip=reference,
                        mired=18.0,
                        shifted=0.84,
                        as_shot=0.31,
                        share=0.6,
                    ),
                ),
            ),
            would_change=(because("change.view-of-both"), because("change.anchor-in-clip")),
        )
    if clip == reference:
        return LevelDecision(
            clip=clip,
            place=place,
            reference=reference,
            status="reference",
            stops=-stops,
            white=White(kelvin, duv),
            confidence=0.98,
            why=(because("chart.patches-agree", residual=0.02, worst_grey=0.01),),
        )
    return LevelDecision(
        clip=clip,
        place=place,
        reference=reference,
        status="matched",
        stops=-stops,
        white=White(kelvin, duv),
        confidence=0.96,
        difference=_difference(fault),
        stops_error=0.004,
        mired_error=0.4,
        why=(because("match.points-agree", points=961, coverage=0.4, support=0.8, spread=0.04),),
        would_change=(because("change.other-reference"),),
    )


def _ends(clipped: float) -> EndsOverTime:
    """Five frames, of which the third is clipped most."""
    shares = tuple(clipped * part for part in (0.2, 0.5, 1.0, 0.4, 0.0))
    return EndsOverTime(
        clip_level=99.1,
        clip_from="picture",
        clip_stops=3.9,
        black_level=15.1,
        seconds=(0.2, 0.6, 1.0, 1.4, 1.8),
        clipped=shares,
        crushed=(0.0, 0.0, 0.004, 0.0, 0.0),
        worst_clipped=WorstMoment(1.0, clipped),
        worst_crushed=WorstMoment(1.0, 0.004),
    )


def _masters(clip: str) -> tuple[MasterFile, ...]:
    loud = MasterCheck("integrated loudness", "−4.3 LUFS", "−23.0 ± 0.5 LUFS", "fail")
    fine = MasterCheck("integrated loudness", "−23.1 LUFS", "−23.0 ± 0.5 LUFS")
    checks = (
        MasterCheck("decodes to the end", "50 frames", "50 frames"),
        MasterCheck("frame times", "exact", "exact"),
        MasterCheck("picture against the grade", "luma p99.9 0.8 code", "≤ 2 codes"),
        MasterCheck("tags", "1 / 1 / 1, narrow", "1 / 1 / 1, narrow"),
        loud if clip == "A012" else fine,
    )
    return (
        MasterFile(f"{clip}_uhd.mp4", "web-uhd", "HEVC, 3840 × 2160, 25/1", 41_234_000, checks),
        MasterFile(f"{clip}_edit.mov", "edit", "4:2:2 intra, 1920 × 1080, 25/1", 96_000_000),
    )


def _clip(fault: Fault, pair: Pair) -> ClipReport:
    clip = fault[0]
    before, after = pair
    portrait = before.shape[0] > before.shape[1]
    return ClipReport(
        id=clip,
        file=f"card-A/2026-11-02/{clip}.mov",
        codec="4:2:2 intra 10-bit",
        size="1080 × 1920 upright" if portrait else "1920 × 1080",
        rate="variable, mean 25.9 fps" if clip == "A006" else "25 fps",
        duration=2.0,
        sound="stereo 48 kHz",
        shown_at="0.8 s",
        identification=_identification(clip),
        levelling=_levelling(fault),
        adjustment=(Figure("contrast", "× 1.08"),) if clip == "A005" else (),
        output_transform="ACES 2, SDR 100 cd/m²",
        look=LookLine("Hearth", 0.7, "Warm highlights, soft shoulder, quiet blues."),
        compiled=_COMPILED,
        ends=_ends(2.61 if clip == "A003" else 0.0),
        ends_notes=("levelling cannot restore it",) if clip == "A003" else (),
        before=picture_jpeg(before),
        after=picture_jpeg(after),
        scopes_before=scope_set(measure_scopes(before, "bt2020")),
        scopes_after=scope_set(measure_scopes(after)),
        masters=_masters(clip),
        warnings=("The sensor clipped in the fire; that detail is gone.",)
        if clip == "A003"
        else (),
    )


def _evenness(place: str) -> Evenness:
    mine = [f for f in FAULTS if f[1] == place]
    left = Difference(0.006, -0.4, 0.0002)
    points = []
    for fault in mine:
        if fault[0] in ALONE:
            points.append(EvennessPoint(fault[0], "unchanged", None, None))
        elif fault[0] == REFERENCES[place]:
            zero = Difference(0.0, 0.0, 0.0)
            points.append(EvennessPoint(fault[0], "reference", zero, zero))
        else:
            points.append(EvennessPoint(fault[0], "matched", _difference(fault), left))
    known = [p.before for p in points if p.before]
    stops, mired = (max(abs(getattr(d, a)) for d in known) for a in ("stops", "mired"))
    outlier = "A009" if place == "The yard at dawn" else None
    before = Spread(stops, mired, stops / 2, mired / 2)
    after = Spread(0.006, 0.4, 0.004, 0.3)
    return Evenness(place, REFERENCES[place], tuple(points), before, after, outlier)


def sample_model(pictures: Mapping[str, Pair]) -> ReportModel:
    """The whole shoot; `pictures` by clip id."""
    places = tuple(
        PlaceReport(name, tuple(f[0] for f in FAULTS if f[1] == name), reference, _evenness(name))
        for name, reference in REFERENCES.items()
    )
    return ReportModel(
        shoot="First Bread",
        card="Aldersyke A",
        date="25 November 2026",
        version="0.1.0",
        clips=tuple(_clip(f, pictures[f[0]]) for f in FAULTS),
        places=places,
        unreadable=(
            UnreadableFile(
                "card-A/2026-11-02/A013.mov",
                "the file ends before its index",
                "Copy it from the card again and compare the checksums.",
            ),
        ),
        notes=("One night and morning at Aldersyke Bakery.",),
        truth=(
            Residual(
                "A002",
                "The oven room",
                "matched",
                Difference(-0.95, 37.0, -0.005),
                Difference(0.004, 0.5, 0.0001),
            ),
        ),
    )


@pytest.fixture(scope="session")
def full_model() -> ReportModel:
    """Twelve clips in four places, with everything done."""
    return sample_model({f[0]: ramp_pair(i) for i, f in enumerate(FAULTS)})


@pytest.fixture
def tiny_picture() -> Callable[[], Picture]:
    """Makes a picture of a few pixels."""
    return lambda: picture_jpeg(ramp_pair(0, (6, 8))[1])
