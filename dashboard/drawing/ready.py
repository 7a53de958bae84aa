"""A page of Dash's components as HTML: for rooms that call nothing back, which so need no React to open.

Charts become pictures (`still`), with their figures beside for Plotly to take over when one is touched.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from dash.development.base_component import Component
from markupsafe import Markup, escape

from dashboard.drawing import still

if TYPE_CHECKING:
    from dashboard.drawing.figures import Figure

_NAMES = {"className": "class", "colSpan": "colspan", "rowSpan": "rowspan", "htmlFor": "for"}


@dataclass
class Ready:
    """A page as HTML, and the figures of its charts in order."""

    html: Markup = field(default_factory=Markup)
    figures: list[Figure] = field(default_factory=list)


def ready(page: list[Component]) -> Ready:
    """TypeError for a component that wants a script of Dash's."""
    found = Ready()
    found.html = _html(page, found)
    for figure in found.figures:
        figure["layout"]["yaxis"]["range"] = still.limits(figure)  # so that nothing jumps
    return found


def _html(node: Any, found: Ready) -> Markup:
    if node is None:
        return Markup()
    if isinstance(node, (list, tuple)):
        return Markup().join(_html(one, found) for one in node)
    if not isinstance(node, Component):
        return escape(node)
    told = node.to_plotly_json()
    props = told["props"]
    if told["type"] == "Graph":
        return _chart(props, found)
    if told["namespace"] != "dash_html_components":
        raise TypeError(f"{told['type']} wants a script of Dash's")
    tag = told["type"].lower()
    attributes = Markup().join(
        Markup(' {}="{}"').format(_NAMES.get(name, name), value)
        for name, value in props.items()
        if name != "children" and value is not None
    )
    return Markup("<{}{}>{}</{}>").format(Markup(tag), attributes, _html(props.get("children"), found), tag)


def _chart(props: dict[str, Any], found: Ready) -> Markup:
    found.figures.append(props["figure"])
    picture = Markup(still.html(props["figure"]))
    return Markup('<div class="chart" data-figure="{}">{}</div>').format(len(found.figures) - 1, picture)
