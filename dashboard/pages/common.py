"""What several rooms share: marks, pairs of words, the chart's frame."""

from __future__ import annotations

from typing import TYPE_CHECKING

from dash import ALL, ClientsideFunction, Input, Output, State, dcc, html

from dashboard.drawing import figures

if TYPE_CHECKING:
    from collections.abc import Iterable

    import dash
    from dash.development.base_component import Component


def pairs(rows: Iterable[tuple[str, str]], className: str = "pairs") -> Component:  # noqa: N803 (Dash's word)
    """A list of names and values; "told" for values that are sentences."""
    return html.Dl(
        [html.Div([html.Dt(name), html.Dd(value)]) for name, value in rows],
        className=className,
    )


def chart(figure: figures.Figure, words: str, identity: str | None = None) -> Component:
    """A chart with the same in words below it, for whoever cannot see it and for whoever reads first."""
    named = {"id": identity} if identity else {}
    # the frame keeps the figure's height from the first paint on: nothing below it moves or is covered
    frame = {"height": f"{figure['layout']['height']}px"}
    drawn = dcc.Graph(
        figure=figure, config=figures.CONFIG, className="chart", responsive=True, style=frame, **named
    )
    caption = {"id": f"{identity}-words"} if identity else {}
    return html.Figure(
        [html.Div(drawn, **{"aria-hidden": "true"}), html.Figcaption(words, className="quiet", **caption)]
    )


def picks(identity: str, label: str, options: list[tuple[str, str]], value: str) -> Component:
    """One choice of a few, each a button that says whether it is pressed; held in a store of that id."""
    return html.Div(
        [
            dcc.Store(id=identity, data=value),
            html.Span(label, className="label", id=f"{identity}-label"),
            html.Div(
                [
                    html.Button(
                        text,
                        id={"pick": identity, "key": key},
                        className="pick",
                        **{"aria-pressed": "true" if key == value else "false"},
                    )
                    for key, text in options
                ],
                className="picks",
                role="group",
                **{"aria-labelledby": f"{identity}-label"},
            ),
        ],
        className="choose",
    )


def register_picks(app: dash.Dash, identity: str) -> None:
    """Wire the buttons of `picks` to their store, in the browser."""
    buttons = {"pick": identity, "key": ALL}
    app.clientside_callback(
        ClientsideFunction("screen", "pick"),
        Output(identity, "data"),
        Output(buttons, "aria-pressed"),
        Input(buttons, "n_clicks"),
        State(buttons, "id"),
        State(identity, "data"),
    )
