"""How often each figure of a look's health is wrong, and how long the health of a look takes.

python bench/lookhealth.py [--write]    (3 to 6 minutes; --write makes lookhealth-results.md)

Looks that nobody tuned for the test (random legal recipes, published formulas) and faults of graded
strength, on nothing and on two of the random looks, are measured and held to `visible.TRUTHS`.
"""

from __future__ import annotations

import statistics
import sys
import time
import warnings
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Final

import msgspec
import numpy as np

HERE = Path(__file__).parent
sys.path.append(str(HERE.parent / "tests" / "measure"))
warnings.simplefilter("ignore")

import formulas  # noqa: E402
import made_looks  # noqa: E402
import visible  # noqa: E402

from evenhand.grade.lattice import tetrahedral  # noqa: E402
from evenhand.grade.looks import LOOKS  # noqa: E402
from evenhand.grade.tables import lattice_of  # noqa: E402
from evenhand.kernels import tetrahedra  # noqa: E402
from evenhand.measure.looks import table  # noqa: E402
from evenhand.measure.looks.health import figures, health_of_look, judged  # noqa: E402
from evenhand.measure.looks.limits import LIMITS, NEUTRAL_CAST, RANK, not_asked  # noqa: E402
from evenhand.measure.looks.probes import even_points, probes, skin_signal  # noqa: E402

RANDOM: Final = 300
ROUNDS: Final = 5
RESULTS: Final = HERE / "lookhealth-results.md"
# Which truth each figure is held to; skins and casts are in part judgement, see the truths.
HELD_TO: Final = {
    "grey_drop": "order", "slope_max": "step_10", "kept": "merge", "lost_darks": "dark",
    "lost_lights": "light", "cast": "cast", "ripple": "swings", "hue_fold": "fold",
    "hue_speed": "torn", "torn": "torn", "saturation_drop": "drop", "bend": "kink",
    "grey_bend": "grey_kink", "step_8": "step_8", "step_10": "step_10", "pinned": "loss",
    "lost_detail": "loss", "skin_turn": "skin_hue", "skin_spread": "skin_apart",
    "skin_chroma_low": "skin_pale", "skin_chroma_high": "skin_red", "interpolation": "table",
    "undone": "inside_out",
}  # fmt: skip


class Case(msgspec.Struct, frozen=True):
    """One look: where it is from, and what was found."""

    group: str
    name: str
    amount: float
    neutral: bool
    plain: bool
    found: dict[str, float]
    truth: dict[str, float]

    def asked(self, key: str) -> bool:
        """Whether the figure is asked of this look at all."""
        if key == "cast" and not self.neutral:
            return False
        if key == "pinned" and not self.found["hues"]:
            return False  # all colours on one line: most of them lie at its ends or near
        return key not in not_asked(has_hues=bool(self.found["hues"]))

    def wrong(self, key: str) -> bool:
        """Whether the truth says that what the figure is about is wrong here."""
        return visible.TRUTHS[HELD_TO[key]].holds(self.truth[HELD_TO[key]])

    def verdict(self, key: str) -> str:
        limit = NEUTRAL_CAST if key == "cast" else LIMITS[key]
        return limit.verdict(self.found[key])


def cases(count: int) -> Iterator[tuple[str, str, float, bool, bool, visible.Transform]]:
    """Group, name, amount, whether greys stay, whether on nothing, and the look."""
    for recipe in formulas.random_recipes(count):
        yield "random", recipe.name, 1.0, recipe.is_neutral, True, recipe.apply
    for name, look, neutral in formulas.published():
        for strength in (0.5, 1.0):
            yield "published", name, strength, neutral, True, _mixed(look, strength)
    quiet = [r for r in formulas.random_recipes(12, seed=7) if r.name in ("random-0", "random-3")]
    for base in (None, *quiet):
        under = made_looks.identity if base is None else base.apply
        neutral = base is None or base.is_neutral
        for name, (fault, amounts) in made_looks.FAULTS.items():
            for amount in amounts:
                made = _after(under, fault(amount))
                yield "made", name, amount, neutral, base is None, made
                if base is None:
                    yield "table", name, amount, neutral, True, _tabled(fault(amount))


def _mixed(look: visible.Transform, strength: float) -> visible.Transform:
    return lambda v: v + strength * (look(v) - v)


def _after(first: visible.Transform, second: visible.Transform) -> visible.Transform:
    return lambda v: second(first(v))


def _tabled(look: visible.Transform) -> visible.Transform:
    """The look as a table of 33 nodes a side, read by NumPy: for this the table is all there is."""
    values = lattice_of(made_looks.Made("look", look), 33).astype(np.float32)
    return lambda v: tetrahedral(values, np.clip(v, 0.0, 1.0) * 32.0)


def measured(look: visible.Transform) -> tuple[dict[str, float], dict[str, float]]:
    """Figures of the health test, and truths."""
    made = made_looks.Made("look", look)
    lattice = lattice_of(made, 33)
    points = even_points(4096)
    found = figures(lattice, made.apply(probes().signal))
    found["interpolation"] = table.interpolation(
        np.clip(tetrahedra.read(lattice, points), 0, 1), made.apply(points)
    )
    truth = visible.truths(look, skin_signal().reshape(-1, 3))
    pixels = np.random.default_rng(5).beta(2, 2, size=(20000, 3))
    read = np.clip(tetrahedra.read(lattice, pixels), 0, 1)
    truth["table"] = table.interpolation(read, made.apply(pixels))
    found["guess"] = table.interpolation_of_table(lattice)
    return found, truth


def gathered(count: int) -> list[Case]:
    """Every look, measured."""
    return [Case(*about, *measured(look)) for *about, look in cases(count)]


def share(count: int, of: int) -> str:
    """A count with its share and the 95 % interval (Wilson 1927)."""
    if not of:
        return "none"
    z, p = 1.96, count / of
    middle = (p + z * z / (2 * of)) / (1 + z * z / of)
    half = z * np.sqrt(p * (1 - p) / of + z * z / (4 * of * of)) / (1 + z * z / of)
    low, high = 100 * max(middle - half, 0.0), 100 * min(middle + half, 1.0)
    return f"{count} of {of} ({low:.0f}–{high:.0f} %)"


def figure_rows(everything: Sequence[Case]) -> list[str]:
    """One line a figure: how often it is wrong."""
    rows = [
        "| figure | held to | false alarms △ | false alarms ✕ | misses | clear ones without ✕ |",
        "|---|---|---|---|---|---|",
    ]
    for key in HELD_TO:
        asked = [case for case in everything if case.asked(key)]
        fine = [case.verdict(key) for case in asked if not case.wrong(key)]
        wrong = [case for case in asked if case.wrong(key)]
        clear = [case.verdict(key) for case in wrong if _clear(case, key)]
        missed = sum(case.verdict(key) == "pass" for case in wrong)
        rows.append(
            f"| {LIMITS[key].name} | {HELD_TO[key]} | "
            f"{share(sum(v != 'pass' for v in fine), len(fine))} | "
            f"{share(fine.count('fail'), len(fine))} | {share(missed, len(wrong))} | "
            f"{share(sum(v != 'fail' for v in clear), len(clear))} |"
        )
    return rows


def _clear(case: Case, key: str) -> bool:
    """Twice as far as is just visible (half as far where low is wrong)."""
    truth = visible.TRUTHS[HELD_TO[key]]
    value = case.truth[HELD_TO[key]]
    return value < truth.visible / 2 if truth.below else value > 2 * truth.visible


def group_rows(everything: Sequence[Case]) -> list[str]:
    """The whole verdict: looks with nothing to be seen, and looks with something."""
    rows = [
        "| looks | nothing wrong | of these △ | of these ✕ | something wrong | of these passed |",
        "|---|---|---|---|---|---|",
    ]
    for group in ("random", "published", "made", "table"):
        own = [case for case in everything if case.group == group]
        state = [
            (any(case.asked(k) and case.wrong(k) for k in HELD_TO), _whole(case)) for case in own
        ]
        fine = [verdict for wrong, verdict in state if not wrong]
        bad = [verdict for wrong, verdict in state if wrong]
        rows.append(
            f"| {group} | {len(fine)} | {share(fine.count('warn'), len(fine))} | "
            f"{share(fine.count('fail'), len(fine))} | {len(bad)} | "
            f"{share(bad.count('pass'), len(bad))} |"
        )
    return rows


def _whole(case: Case) -> str:
    measures = judged(case.found, case.neutral, bool(case.found["hues"]))
    return max((m.verdict for m in measures), key=RANK.__getitem__)


def fault_rows(everything: Sequence[Case]) -> list[str]:
    """Each made fault on nothing: from which amount it is there, and from which it is said."""
    rows = [
        "| fault | amounts | visible from | △ from | ✕ from | which figures say ✕ first |",
        "|---|---|---|---|---|---|",
    ]
    for name, (_, amounts) in made_looks.FAULTS.items():
        own = [c for c in everything if c.group == "made" and c.plain and c.name == name]
        seen = [c for c in own if any(c.asked(k) and c.wrong(k) for k in HELD_TO)]
        warned = [c for c in own if _whole(c) != "pass"]
        failed = [c for c in own if _whole(c) == "fail"]
        ordered = -1 if name == "posterised" and amounts[0] > amounts[-1] else 1
        first = min(failed, key=lambda c: ordered * c.amount, default=None)
        says = [] if first is None else [k for k in LIMITS if _says(first, k)]
        least = [f"{min(c.amount for c in each):.3g}" if each else "–" for each in (seen, warned)]
        least.append("–" if first is None else f"{first.amount:.3g}")
        steps = ", ".join(f"{amount:.3g}" for amount in amounts)
        said = ", ".join(LIMITS[k].name for k in says[:3])
        rows.append(f"| {name} | {steps} | {' | '.join(least)} | {said} |")
    return rows


def _says(case: Case, key: str) -> bool:
    return key in case.found and case.asked(key) and case.verdict(key) == "fail"


def guess_row(everything: Sequence[Case]) -> str:
    """How good the table's error is when it is estimated from every second node."""
    own = [c for c in everything if c.group in ("random", "published") and c.truth["table"] > 0.02]
    ratio = [c.found["guess"] / c.found["interpolation"] for c in own]
    low, middle, high = np.quantile(ratio, (0.05, 0.5, 0.95))
    return (
        f"The error of a table that is all there is, estimated from every second node, is "
        f"{middle:.2f} times the true one in the median ({low:.2f} to {high:.2f} for 90 % of "
        f"{len(own)} looks)."
    )


def milliseconds(run: Callable[[], object]) -> float:
    """The median of some runs after a first one that compiles and warms."""
    run()
    taken = []
    for _ in range(ROUNDS):
        start = time.perf_counter()
        run()
        taken.append(time.perf_counter() - start)
    return 1e3 * statistics.median(taken)


def time_rows() -> list[str]:
    """Milliseconds of the health of each look that evenhand brings, its table included."""
    rows = ["| nodes a side | median of the looks, ms | slowest, ms |", "|---|---|---|"]
    for size in (17, 33, 65):
        taken = [milliseconds(lambda k=k, s=size: health_of_look(LOOKS[k], s)) for k in LOOKS]
        rows.append(f"| {size} | {statistics.median(taken):.0f} | {max(taken):.0f} |")
    return rows


def shipped_rows() -> list[str]:
    """The looks that evenhand brings, at each strength."""
    rows = ["| look | 50 % | 70 % | 100 % | not passed at 100 % |", "|---|---|---|---|---|"]
    for name, look in LOOKS.items():
        health = health_of_look(look)
        words = ", ".join(m.name for m in health.strengths[-1].faults) or "–"
        rows.append(f"| {name} | {' | '.join(p.verdict for p in health.strengths)} | {words} |")
    return rows


def report(everything: Sequence[Case]) -> str:
    """The results as a page."""
    count = {g: sum(c.group == g for c in everything) for g in ("random", "published", "made")}
    truths = [
        f"| {key} | {truth.title} | {truth.source} |" for key, truth in visible.TRUTHS.items()
    ]
    return "\n".join(
        [
            "# Health of looks: how often it is wrong, and how long it takes",
            "",
            "Made by `python bench/lookhealth.py --write`.",
            f"{count['random']} random legal recipes, {count['published']} looks of published "
            f"formulas at 50 and 100 %, {count['made']} made faults of graded strength (on nothing "
            "and on two random looks), and the faults on nothing once more as tables.",
            "Counts are followed by the 95 % interval of the share.",
            "",
            "## Figures", "", *figure_rows(everything), "",
            "Misses: the truth holds and the figure passes. Clear ones: the truth is exceeded "
            "twofold. A fault that one figure misses may be found by another: see below.",
            "", guess_row(everything), "",
            "## Whole verdicts", "", *group_rows(everything), "",
            "## Made faults on nothing", "", *fault_rows(everything), "",
            "## Truths", "", "| | what is wrong | by |", "|---|---|---|", *truths, "",
            "## The looks that evenhand brings", "", *shipped_rows(), "",
            "## Time", "", *time_rows(), "",
            "All three strengths, the making of the table included; two shared cores.", "",
        ]
    )  # fmt: skip


if __name__ == "__main__":
    page = report(gathered(RANDOM))
    if "--write" in sys.argv:
        RESULTS.write_text(page, "utf-8")
    sys.stdout.write(page)
