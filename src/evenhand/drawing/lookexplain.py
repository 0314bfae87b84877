"""A look explained on one page of HTML: before and after, moves, place, curves, figures."""

from __future__ import annotations

from collections.abc import Sequence

from markupsafe import Markup

from evenhand.drawing import lookhealth
from evenhand.drawing.lookmodel import ExplainModel
from evenhand.drawing.webpage import rendered
from evenhand.measure.looks.traces import Traces


def explain_html(model: ExplainModel, traces: Sequence[Traces]) -> str:
    """The whole page. Drawings and tables of health escape what is put in them."""
    health = model.health
    return rendered(
        "lookexplain.html.j2",
        m=model,
        mark_warn="△",
        summary=lookhealth.summary(health),
        faults=Markup(lookhealth.faults(health)),
        panels=Markup("".join(lookhealth.panels(traces).values())),
        table=Markup(lookhealth.table(health)),
    )
