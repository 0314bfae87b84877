"""Where the constants of `evenhand.measure.confidence` come from.

    python -m bench.levelling.fit [--count 250]

Fits the weights of a match's doubt by maximum likelihood (Student's t, four degrees of freedom) on
one half of made cases, and shows how well they are kept on the other half.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence

import cv2
import numpy as np
from scipy import stats
from scipy.optimize import minimize

from bench.levelling.made import made_cases
from bench.levelling.sources import by_name
from evenhand.measure.confidence import MOST_HUE, RIGHT_MIRED, RIGHT_STOPS
from evenhand.measure.decisions import Match
from evenhand.measure.matching import match

FREEDOM = 4.0
FLOORS = (0.003, 0.25)
SEEDS = (101, 102)  # of the half that is fitted, and of the half that it is checked on


def main() -> None:
    """Fits, checks, and shows both."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--count", type=int, default=250)
    count = parser.parse_args().count
    cv2.setNumThreads(1)
    fitted, checked = (made(seed, count) for seed in SEEDS)
    weights = [fit(fitted, axis) for axis in (0, 1)]
    names = (("error", "tone", "hue"), ("error", "hue"))
    for name, values in zip(names, weights, strict=True):
        told = ", ".join(f"{n} {v:.4f}" for n, v in zip(name, values, strict=True))
        sys.stdout.write(f"{told}\n")
    for name, cases in (("fitted", fitted), ("checked", checked)):
        sure = sureness(cases, weights)
        right = np.array([made_cases.is_right(left) for _, left in cases])
        sys.stdout.write(f"{name}: {len(cases)} accepted, {right.mean():.1%} right\n")
        for low in np.arange(0, 1, 0.1):
            inside = (sure >= low) & (sure < low + 0.1 + 1e-9 * (low > 0.85))
            if inside.any():
                sys.stdout.write(
                    f"  {low:.0%}: {inside.sum()} said {sure[inside].mean():.1%}, "
                    f"right {right[inside].mean():.1%}\n"
                )


Cases = Sequence[tuple[Match, tuple[float, float, float]]]


def made(seed: int, count: int) -> Cases:
    """Accepted matches of made cases, and what is left over."""
    found = []
    for number, pictures in enumerate(by_name(12).values()):
        rng = np.random.default_rng([seed, number])
        for _ in range(count):
            case = made_cases.make_case(pictures, rng, most_troubles=2)
            one = match(made_cases.seen(case.a), made_cases.seen(case.b))
            if one.accepted:
                found.append((one, made_cases.left_over(one, case.a, case.b)))
    return found


def _parts(cases: Cases, axis: int) -> np.ndarray:
    hue = np.minimum([m.hue for m, _ in cases], MOST_HUE)
    if axis == 0:
        return np.array([[m.stops_error, m.tone, h] for (m, _), h in zip(cases, hue, strict=True)])
    return np.array([[m.mired_error, h] for (m, _), h in zip(cases, hue, strict=True)])


def _scale(weights: np.ndarray, parts: np.ndarray, axis: int) -> np.ndarray:
    return np.sqrt(FLOORS[axis] ** 2 + ((weights * parts) ** 2).sum(axis=1))


def fit(cases: Cases, axis: int) -> np.ndarray:
    """Weights of the parts of the doubt of exposure (axis 0) or white (1)."""
    parts, left = _parts(cases, axis), np.array([e[axis] for _, e in cases])

    def surprise(logs: np.ndarray) -> float:
        scale = _scale(np.exp(logs), parts, axis)
        found = stats.t.logpdf(left / scale, FREEDOM) - np.log(scale)
        return float(-found.mean() + 1e-4 * ((logs + 4) ** 2).sum())

    start = np.array([0.0, *[-3.0] * (parts.shape[1] - 1)])
    found = minimize(surprise, start, method="Nelder-Mead", options={"maxfev": 20000})
    return np.exp(found.x)


def sureness(cases: Cases, weights: Sequence[np.ndarray]) -> np.ndarray:
    """The probability of being right by these weights."""
    found = np.ones(len(cases))
    for axis, limit in ((0, RIGHT_STOPS), (1, RIGHT_MIRED)):
        scale = _scale(weights[axis], _parts(cases, axis), axis)
        found *= 2 * stats.t.cdf(limit / scale, FREEDOM) - 1
    return found


if __name__ == "__main__":
    main()
