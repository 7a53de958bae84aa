"""What several rooms share: marks, pairs of words, the chart's frame."""

from __future__ import annotations

from typing import TYPE_CHECKING

from dash import dcc, html

from dashboard import figures

if TYPE_CHECKING:
    from collections.abc import Iterable

    from dash.development.base_component import Component


def pairs(rows: Iterable[tuple[str, str]]) -> Component:
    """A list of names and values."""
    return html.Dl(
        [html.Div([html.Dt(name), html.Dd(value)]) for name, value in rows],
        className="pairs",
    )


def chart(figure: figures.Figure | None, words: str, identity: str | None = None) -> Component:
    """A chart with the same in words below it, for whoever cannot see it and for whoever reads first."""
    named = {"id": identity} if identity else {}
    drawn = dcc.Graph(figure=figure or {}, config=figures.CONFIG, className="chart", responsive=True, **named)
    caption = {"id": f"{identity}-words"} if identity else {}
    return html.Figure(
        [html.Div(drawn, **{"aria-hidden": "true"}), html.Figcaption(words, className="quiet", **caption)]
    )


def picks(identity: str, label: str, options: list[tuple[str, str]], value: str) -> Component:
    """One choice of a few, large enough for a thumb."""
    return html.Fieldset(
        [
            html.Legend(label, className="label"),
            dcc.RadioItems(
                id=identity,
                options=[{"label": text, "value": key} for key, text in options],
                value=value,
                className="picks",
            ),
        ],
        className="choose",
    )
