"""What a page brings for its charts to be studied: where Plotly is, and how it is dressed."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

from markupsafe import Markup

from dashboard.drawing import figures

if TYPE_CHECKING:
    from dashboard.web.files import Files

#: Colours of the light chart and what stands in their place in the dark: the phone knows which it is.
DARK = {
    getattr(figures.LIGHT, name): getattr(figures.DARK, name) for name in figures.Look.__dataclass_fields__
}


def data_of(told: dict[str, object]) -> Markup:
    """Data inside a page's element of type application/json; "<" cannot end the element."""
    return Markup(json.dumps(told, separators=(",", ":")).replace("<", "\\u003c"))


def about(files: Files) -> Markup:
    """The element that study.js reads."""
    told = data_of({"dark": DARK, "config": figures.CONFIG, "charts": files.url("charts.js")})
    return Markup('<script type="application/json" id="study">{}</script>').format(told)
