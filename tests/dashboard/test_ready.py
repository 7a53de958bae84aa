"""Rooms that come ready from the server: the same words and charts as their components, no script needed."""

from __future__ import annotations

import html as entities
import json
import re
from typing import TYPE_CHECKING, Any

import pytest
from dash import dcc, html
from dash.development.base_component import Component

from dashboard.drawing import figures
from dashboard.drawing.ready import ready
from dashboard.pages import cycles, storage
from dashboard.pages.common import chart
from dashboard.site import Site
from dashboard.web.app import make_app
from tests.dashboard import made
from tests.dashboard.paired import client_of

if TYPE_CHECKING:
    from pathlib import Path

    from flask.testing import FlaskClient


@pytest.fixture(scope="module")
def client(folder: Path) -> FlaskClient:
    return client_of(make_app([made.juniper()], folder, "127.0.0.1:8050"))


def texts(node: Any) -> list[str]:
    """Every text of a tree of components, in order."""
    if isinstance(node, (list, tuple)):
        return [text for one in node for text in texts(one)]
    if isinstance(node, Component):
        return texts(getattr(node, "children", None))
    return [] if node is None else [str(node)]


@pytest.mark.parametrize("page", [cycles, storage])
def test_every_word_of_the_components_stands_in_the_page(
    folder: Path, page: Any, monkeypatch: pytest.MonkeyPatch, at_us: int
) -> None:
    monkeypatch.setattr(page, "now_us", lambda: at_us)
    layout = page.layout(Site(made.juniper(), folder), "", {}, "")
    found = ready(layout)
    bare = entities.unescape(re.sub(r'<div class="chart".*?(?=<figcaption)', "", found.html, flags=re.S))
    bare = re.sub(r"<[^>]+>", "", bare)
    at = 0
    for text in texts(layout):
        assert (at := bare.find(text, at)) >= 0, text
    assert found.html.count('class="still"') == found.html.count("data-figure=") == len(found.figures) > 0


def test_what_is_written_stays_text_and_names_become_htmls() -> None:
    page = [
        html.P(["<b>", html.B("a & b", className="words"), None, 3], **{"aria-live": "polite"}),
        html.Td("x", colSpan=2, title='"quoted"'),
    ]
    assert ready(page).html == (
        '<p aria-live="polite">&lt;b&gt;<b class="words">a &amp; b</b>3</p>'
        '<td colspan="2" title="&#34;quoted&#34;">x</td>'
    )


def test_a_component_that_wants_a_script_is_refused() -> None:
    with pytest.raises(TypeError, match="Store"):
        ready([dcc.Store(id="held")])


def test_a_charts_figure_keeps_the_picture_s_scale() -> None:
    figure = figures.base(figures.LIGHT, unit="psi")
    figures.line(figure, [0.0, 1.0], [30.0, 50.0], figures.LIGHT)
    found = ready([chart(figure, "Pressure in a run.")])
    assert found.figures[0]["layout"]["yaxis"]["range"] == pytest.approx([29.0, 52.0])
    assert "Pressure in a run." in found.html


@pytest.mark.parametrize("room", ["cycles", "storage"])
def test_its_figures_come_when_asked_for_and_no_dash_with_it(client: FlaskClient, room: str) -> None:
    page = client.get(f"/at/juniper-bench/{room}")
    assert not re.search(r'src="[^"]*(dash|charts)\.js"', page.text)
    assert "react-entry-point" not in page.text
    told = client.get(f"/at/juniper-bench/{room}?figures=1").json
    assert isinstance(told, list)
    assert len(told) == page.text.count("data-figure=")
    assert all(one["data"] for one in told)


def test_set_up_is_there_before_dash_is_asked_for(client: FlaskClient) -> None:
    """Expected figures as text; Dash's bundle is only told of, for the part that calls back."""
    page = client.get("/at/juniper-bench/set-up").text
    text = re.sub(r"<script.*?</script>", "", page, flags=re.S)
    assert "Water it gives a cycle" in text
    assert not re.search(r'src="[^"]*(dash|charts)\.js"', page)
    told = re.search(r'<script type="application/json" id="dash">(.*?)</script>', page)
    assert told is not None
    assert client.get(json.loads(told[1])["script"]).status_code == 200
