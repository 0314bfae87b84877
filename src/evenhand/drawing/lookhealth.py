"""A picture of a look's health: panels, what is wrong and what to do, and the table of figures."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from evenhand.drawing.escaping import escape
from evenhand.drawing.healthpanels import (
    hue_panel,
    ramp_panel,
    skin_panel,
    tint_panel,
    tone_panel,
)
from evenhand.measure.looks.health import AtStrength, Health, Measure
from evenhand.measure.looks.limits import LIMITS, NEUTRAL_CAST, Limit, Verdict
from evenhand.measure.looks.traces import Traces

_SIGN: Final[dict[Verdict, str]] = {"pass": "○", "warn": "△", "fail": "✕"}
_SAID: Final[dict[Verdict, str]] = {"pass": "passes", "warn": "look at it", "fail": "fails"}
_GROUPS: Final = (
    ("Tone", ("grey_drop", "slope_max", "kept", "lost_darks", "lost_lights")),
    ("Where greys land", ("black", "card", "white")),
    ("Tint", ("cast", "ripple")),
    ("Hue and saturation", ("hue_fold", "hue_speed", "torn", "saturation_drop")),
    ("Smoothness", ("bend", "grey_bend", "step_8", "step_10")),
    ("Display", ("outside", "pinned", "lost_detail")),
    ("Skin", tuple(key for key in LIMITS if key.startswith("skin_"))),
    ("Table", ("interpolation", "undone", "mirrored", "flat")),
)

STYLE: Final = """
.lh{--lh-ink:#1d1d1d;--lh-quiet:#585858;--lh-grid:#dcdcdc;--lh-ground:#ffffff;--lh-a:#a64b00;
--lh-b:#0a5c9e;--lh-fail:#a32a00;--lh-warn:#725300;color:var(--lh-ink);background:var(--lh-ground);
font-family:system-ui,sans-serif;line-height:1.45}
@media (prefers-color-scheme:dark){.lh{--lh-ink:#ededed;--lh-quiet:#b8b8b8;--lh-grid:#474747;
--lh-ground:#1e1e1e;--lh-a:#f2b56b;--lh-b:#7cc4ff;--lh-fail:#ff9d7a;--lh-warn:#e8c468}}
.lh h2{font-size:1.25rem;margin:0 0 .3rem}
.lh p{margin:.3rem 0}
.lh-panels{display:grid;grid-template-columns:repeat(auto-fit,minmax(min(100%,330px),1fr));
gap:1.25rem;margin:1rem 0}
.lookhealth{display:block;width:100%;height:auto;font-size:15px}
.lookhealth .lh-t{fill:var(--lh-quiet);font-variant-numeric:tabular-nums;white-space:pre}
.lookhealth .lh-s{font-size:12px}
.lookhealth .lh-title{fill:var(--lh-ink);font-size:17px;font-weight:600}
.lookhealth .lh-grid{stroke:var(--lh-grid)}
.lookhealth .lh-zero{stroke:var(--lh-quiet);stroke-width:1.25}
.lookhealth .lh-before{fill:none;stroke:var(--lh-quiet);stroke-width:1.25;stroke-dasharray:5 4}
.lookhealth .lh-curve{fill:none;stroke:var(--lh-ink);stroke-linejoin:round}
.lookhealth .lh-way{stroke:var(--lh-quiet);stroke-width:1}
.lookhealth .lh-a{fill:none;stroke:var(--lh-a);stroke-width:2.5}
.lookhealth .lh-b{fill:none;stroke:var(--lh-b);stroke-width:2.5;stroke-dasharray:9 4}
.lookhealth .lh-mark{fill:var(--lh-ground);stroke:var(--lh-ink);stroke-width:2.25}
.lookhealth .lh-dot{stroke:var(--lh-ink);stroke-width:.75}
.lookhealth .lh-cross{fill:none;stroke:var(--lh-fail);stroke-width:2.5}
.lh-faults{list-style:none;padding:0;margin:.6rem 0;display:grid;gap:.6rem 1.25rem;
grid-template-columns:repeat(auto-fit,minmax(min(100%,330px),1fr))}
.lh-faults li{border-left:4px solid var(--lh-warn);padding:.15rem 0 .15rem .7rem}
.lh-faults .lh-fail{border-color:var(--lh-fail)}
.lh-table{border-collapse:collapse;width:100%;font-size:.9rem;font-variant-numeric:tabular-nums}
.lh-table th,.lh-table td{padding:.22rem .3rem;text-align:right;vertical-align:baseline}
.lh-table th[scope=row],.lh-table tbody th[colspan]{text-align:left;font-weight:400}
.lh-table tbody th[colspan]{font-weight:600;padding-top:.7rem}
.lh-table tbody th[colspan]{border-bottom:1px solid var(--lh-grid)}
.lh-table small{color:var(--lh-quiet)}
.lh-v-fail{color:var(--lh-fail);font-weight:700}
.lh-v-warn{color:var(--lh-warn);font-weight:600}
.lh-table td{white-space:nowrap}
.lh-limits{color:var(--lh-quiet);}
@media (max-width:640px){.lh-limits{display:none}}
"""


def health_page(health: Health, traces: Sequence[Traces]) -> str:
    """A page of HTML that needs nothing beside itself."""
    title = f"Health of {health.look}"
    return (
        '<!doctype html><html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width,initial-scale=1">'
        '<meta http-equiv="Content-Security-Policy" '
        "content=\"default-src 'none'; style-src 'unsafe-inline'; img-src data:\">"
        f"<title>{escape(title)}</title><style>{STYLE}"
        "body{margin:0}main.lh{padding:1rem;max-width:1400px;margin:auto}</style></head>"
        f'<body class="lh"><main class="lh">{health_section(health, traces)}</main></body></html>'
    )


def health_section(health: Health, traces: Sequence[Traces], ident: str = "health") -> str:
    """The same for a page that has `STYLE`, inside an element of class "lh"."""
    return (
        f"<h2>{_SIGN[health.verdict]} {escape(health.look)} {_SAID[health.verdict]}</h2>"
        f"<p>{escape(summary(health))}</p>{faults(health)}"
        f'<div class="lh-panels">{"".join(panels(traces, ident).values())}</div>'
        f"{table(health)}"
    )


def panels(traces: Sequence[Traces], ident: str = "health") -> dict[str, str]:
    """The SVG of each panel, by name; `ident` starts the ids inside."""
    return {
        "tone": tone_panel(traces, f"{ident}-tone"),
        "tint": tint_panel(traces, f"{ident}-tint"),
        "hue": hue_panel(traces, f"{ident}-hue"),
        "skin": skin_panel(traces, f"{ident}-skin"),
        "ramps": ramp_panel(traces, f"{ident}-ramps"),
    }


def summary(health: Health) -> str:
    """The state of the look in a sentence or two."""
    each = ", ".join(f"{p.strength:.0%} {_SAID[p.verdict]}" for p in health.strengths)
    kind = "Black and white. " if health.black_and_white else ""
    grey = "It says that greys stay grey. " if health.neutral else ""
    return f"{kind}{grey}Measured with {health.size} nodes a side, at strengths: {each}."


def faults(health: Health) -> str:
    """What is not passed at the greatest strength: what it is, how much, what to do."""
    rows = []
    for measure in health.strengths[-1].faults:
        value = f"{_number(measure)} {measure.unit}"
        fine = _fine_at(health, measure.key)
        rows.append(
            f'<li class="lh-{measure.verdict}"><strong>{_SIGN[measure.verdict]} '
            f"{escape(measure.words)}</strong><br>{escape(measure.name)}: {escape(value)}. "
            f"{escape(_sentence(measure.remedy))}{escape(fine)}</li>"
        )
    return f'<ul class="lh-faults">{"".join(rows)}</ul>' if rows else ""


def table(health: Health) -> str:
    """All figures at all strengths, as an HTML table."""
    head = "".join(f'<th scope="col">{part.strength:.0%}</th>' for part in health.strengths)
    rows = []
    for name, keys in _GROUPS:
        found = [row for key in keys if (row := _row(health, key))]
        if found:
            span = len(health.strengths) + 2
            rows.append(f'<tr><th colspan="{span}" scope="rowgroup">{name}</th></tr>')
            rows += found
    return (
        f'<table class="lh-table"><thead><tr><td></td>{head}'
        f'<th scope="col" class="lh-limits">△ ✕ beyond</th></tr></thead>'
        f"<tbody>{''.join(rows)}</tbody></table>"
    )


def _row(health: Health, key: str) -> str:
    if not any(measure.key == key for part in health.strengths for measure in part.measures):
        return ""
    cells = [_cell(part, key) for part in health.strengths]
    limit = NEUTRAL_CAST if key == "cast" and health.neutral else LIMITS[key]
    name = f"{escape(limit.name)} <small>{escape(limit.unit)}</small>"
    return (
        f'<tr><th scope="row">{name}</th>{"".join(cells)}'
        f'<td class="lh-limits">{_limits(limit)}</td></tr>'
    )


def _cell(part: AtStrength, key: str) -> str:
    for measure in part.measures:
        if measure.key == key:
            sign = _SIGN[measure.verdict] if LIMITS[key].warn is not None else ""
            said = _SAID[measure.verdict] if sign else "for information"
            return (
                f'<td class="lh-v-{measure.verdict}" title="{said}">{_number(measure)} {sign}</td>'
            )
    return ""


def _limits(limit: Limit) -> str:
    if limit.warn is None or limit.fail is None:
        return ""
    side = "&lt;" if limit.below else "&gt;"
    return f"{side} {limit.warn:g}, {limit.fail:g}"


def _number(measure: Measure) -> str:
    return f"{measure.value:.{LIMITS[measure.key].digits}f}".replace("-", "−")


def _fine_at(health: Health, key: str) -> str:
    """At which strength the fault is gone, where it is at one of them."""
    passed = [
        part.strength
        for part in health.strengths
        if any(m.key == key and m.verdict == "pass" for m in part.measures)
    ]
    return f" At {max(passed):.0%} it passes." if passed else ""


def _sentence(words: str) -> str:
    return f"{words[:1].upper()}{words[1:]}."
