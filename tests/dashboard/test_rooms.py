"""The rooms made of components: layouts, charts and moves, without a browser."""

from __future__ import annotations

import ast
import json
from pathlib import Path
from typing import Any
from urllib.parse import parse_qsl

import numpy as np
import plotly.graph_objects as go
import pytest
from dash._utils import to_json  # what the server itself sends

from analytics.appraisal import foretells
from dashboard.drawing import export, figures
from dashboard.pages import cycles, history, setup, storage
from dashboard.site import Site
from dashboard.telling import evidence
from dashboard.telling.names import EVIDENCE
from tests.dashboard import made

PHONE = {"dark": False, "fine": False, "wide": False}
DESK = {"dark": True, "fine": True, "wide": True}
HOUR_US = 3_600_000_000


@pytest.fixture(autouse=True)
def as_of_the_made_up_day(monkeypatch: pytest.MonkeyPatch, at_us: int) -> None:
    for page in (cycles, history, setup, storage):
        if hasattr(page, "now_us"):
            monkeypatch.setattr(page, "now_us", lambda: at_us)


@pytest.fixture(scope="module")
def site(folder: Path) -> Site:
    return Site(made.juniper(), folder)


@pytest.fixture(scope="module")
def wrong(wrong_folder: Path) -> Site:
    return Site(made.juniper(), wrong_folder)


def said(layout: Any) -> str:
    """A layout as the server sends it."""
    return to_json(layout)


def charts(layout: Any) -> list[dict[str, Any]]:
    """Every figure of a layout, checked by the chart library's own schema."""
    found: list[dict[str, Any]] = []

    def look(node: Any) -> None:
        if isinstance(node, dict):
            if node.get("type") == "Graph" and node["props"].get("figure"):
                found.append(node["props"]["figure"])
            for value in node.values():
                look(value)
        elif isinstance(node, list):
            for value in node:
                look(value)

    look(json.loads(said(layout)))
    for figure in found:
        go.Figure(figure)  # raises for any property that does not exist
    return found


@pytest.mark.parametrize("screen", [PHONE, DESK])
@pytest.mark.parametrize("page", [cycles, storage, setup])
def test_every_room_has_one_heading_and_valid_charts(site: Site, page: Any, screen: dict[str, bool]) -> None:
    layout = page.layout(site, "", screen, "127.0.0.1:8050")
    assert said(layout).count('"type":"H1"') == 1
    for figure in charts(layout):
        assert figure["layout"]["dragmode"] == ("zoom" if screen["fine"] else False) or page is cycles
        assert figure["layout"]["paper_bgcolor"] == "rgba(0,0,0,0)"


def test_no_chart_offers_to_send_anything_to_anybody() -> None:
    assert figures.CONFIG["showSendToCloud"] is False
    assert figures.CONFIG["displayModeBar"] is False


def test_evidence_is_named_with_the_owners_units() -> None:
    from dataclasses import replace

    one = replace(
        made.clogged(0),
        evidence={
            "run_time_s": 9.1,
            "drop_pa": 62_052.8,
            "delivery_m3_s": 6.30902e-4,
            "drawdown_m3": 0.045,
            "starts_per_hour": 31.0,
            "level_m": 0.3048,
            "air_temperature_c": -1.0,
            "bad_words_1": 12.0,
            "with_lost_prime": 1.0,
        },
    )
    assert evidence.evidence_words(one, "us") == [
        ("Runs last", "9.1 s"),
        ("Drop", "9.0 psi"),
        ("Delivery", "10.0 gpm"),
        ("Drawdown", "11.9 gal"),
        ("Starts per hour", "31"),
        ("Level", "1.00 ft"),
        ("Air at the pipe", "30 °F"),
        ("Readings that cannot be", "12"),
        ("What follows from it", "lost prime"),
    ]


def test_every_number_that_a_detector_gives_has_words() -> None:
    """Keys of dictionaries in the fault modules that end in a unit are evidence, and an owner reads them."""
    given: set[str] = set()
    for path in (Path(cycles.__file__).parents[2] / "analytics" / "faults").glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text())):
            keys: list[ast.expr | None] = []
            if isinstance(node, ast.Dict):
                keys = node.keys
            elif isinstance(node, ast.Subscript) and isinstance(node.ctx, ast.Store):
                keys = [node.slice]
            constants = [key.value for key in keys if isinstance(key, ast.Constant)]
            given |= {one for one in constants if isinstance(one, str)}
    measured = {name for name in given if any(name.endswith(ending) for ending, _ in evidence.ENDINGS)}
    assert len(measured) > 25
    assert measured - set(EVIDENCE) == set()


@pytest.mark.parametrize(
    ("name", "value", "words"),
    [
        ("filter_resistance_share_1", 44.2, "44 times"),
        ("for_filter_1", 0.98, "98 %"),
        ("delivery_share_1", 0.61, "61 %"),
        ("empty_p50_s", 0.0, "no time"),
        ("loss_m3_s", 100 * 3.785411784e-3 / 86_400, "100 gal a day"),
        ("bad_words_1", 1234.0, "1,234"),
        ("empty_p50_s", 86_400.0 * 9, "9 days"),
    ],
)
def test_shares_and_spans_read_as_people_say_them(name: str, value: float, words: str) -> None:
    assert evidence.worded(name, value, "us") == (EVIDENCE[name], words)


def test_history_moves_and_scales_about_its_middle() -> None:
    window, far = [0, 4 * HOUR_US], 99 * HOUR_US
    assert history.moved(window, "closer", 4 * HOUR_US) == [2 * HOUR_US, 4 * HOUR_US]
    assert history.moved(window, "earlier", far) == [-2 * HOUR_US, 2 * HOUR_US]
    assert history.moved(window, "later", far) == [2 * HOUR_US, 6 * HOUR_US]
    assert history.moved(window, "closer", far) == [HOUR_US, 3 * HOUR_US]
    assert history.moved(window, "wider", far) == [-2 * HOUR_US, 6 * HOUR_US]
    for _ in range(80):
        window = history.moved(window, "closer", far)
    assert window[1] - window[0] == history.SHORTEST_US


def test_a_drawn_zoom_is_read_in_the_owners_zone(site: Site) -> None:
    # 14:00 daylight time in Boise is 20:00 UTC
    begin = 1_778_616_000_000_000
    drawn = {"x0": "2026-05-12 14:00:00", "x1": "2026-05-12 15:00:00.5"}
    assert history.view_of(site, drawn).window == [begin, begin + 3_600_500_000]
    assert history.view_of(site, {"x0": drawn["x1"], "x1": drawn["x0"]}).window[0] == begin


@pytest.mark.parametrize(
    "asked",
    [
        {"signal": "nobody"},
        {"span": "century"},
        {"from": "1"},
        {"from": "a", "to": "b"},
        {"from": "5", "to": "1"},
        {"from": "-900000000", "to": "1"},
        {"x0": "yesterday", "x1": "today"},
        {"x0": "2026-05-12 14:00:00"},
        {"from": "1", "to": "999999999999999999999"},
    ],
)
def test_an_address_that_we_never_write_is_refused(site: Site, asked: dict[str, str]) -> None:
    with pytest.raises((KeyError, ValueError)):
        history.view_of(site, asked)


def test_every_way_from_a_view_leads_where_it_says(site: Site, at_us: int) -> None:
    """The queries are read back by what reads addresses."""
    view = history.view_of(site, {"signal": "rain tank", "span": "week"})
    ways = history.controls(site, view)
    for key, query, here in ways["spans"]:
        found = history.view_of(site, dict(parse_qsl(query)))
        assert found.to_us - found.from_us == history.SPANS[key]
        assert found.signal.name == "rain tank"
        assert here == (key == "week")
    for _, query, _ in ways["signals"]:
        assert history.view_of(site, dict(parse_qsl(query))).window == view.window
    for words, query in ways["moves"]:
        found = history.view_of(site, dict(parse_qsl(query)))
        assert found.window == history.moved(view.window, words.lower(), at_us)


def test_dates_of_a_window_are_said_as_people_do(at_us: int) -> None:
    signal = made.juniper().signals[0]
    day = history.View(signal, at_us - 24 * HOUR_US, at_us)
    hour = history.View(signal, at_us - HOUR_US, at_us)
    assert history.dates(day, "America/Boise") == "11 May, 14:00, to 12 May 2026, 14:00"
    assert history.dates(hour, "America/Boise") == "12 May 2026, 13:00 to 14:00"


def test_history_draws_a_band_from_afar_and_the_runs_from_near(site: Site, at_us: int) -> None:
    figure, words = history.drawn(site, "pressure", at_us - 14 * 24 * HOUR_US, at_us, PHONE)
    low, _high = figure["data"][1]["y"], figure["data"][0]["y"]
    assert len(low) <= 2 * history.STEPS
    assert min(v for v in low if v is not None) == 30.0
    assert "Band: lowest to highest" in words
    near, _ = history.drawn(site, "pressure", at_us - HOUR_US, at_us, PHONE)
    strokes = [s for s in near["layout"]["shapes"] if s["type"] == "rect"]
    assert len(strokes) == len(site.history.cycles(at_us - HOUR_US, at_us))


def test_history_marks_findings_of_that_time_only(site: Site, at_us: int) -> None:
    _, with_it = history.drawn(site, "pressure", at_us - 6 * 24 * HOUR_US, at_us, PHONE)
    _, without = history.drawn(site, "pressure", at_us - 24 * HOUR_US, at_us, PHONE)
    assert "1 finding marked" in with_it
    assert "finding" not in without


def test_history_before_anything_was_kept_says_so(site: Site) -> None:
    figure, words = history.drawn(site, "pressure", 0, HOUR_US, PHONE)
    assert words == "No reading was kept between these times."
    assert figure["data"] == []


def test_a_gap_is_not_bridged(site: Site) -> None:
    from collector.store.shapes import Bands

    minute = 60_000_000
    times = np.array([0, 1, 2, 60, 61, 62]) * minute
    ones = np.ones(6)
    bands = Bands(times, ones, ones, ones, np.ones(6, int), minute)
    x, low, mean, high = history.columns(site.plant.signals[0], bands, "UTC", "us")
    assert mean.index(None) == 3
    assert len(x) == len(low) == len(mean) == len(high) == 7


def test_the_csv_and_the_chart_hold_the_same_span(site: Site, at_us: int) -> None:
    rows = list(export.csv_of(site, site.plant.signals[0], at_us - HOUR_US, at_us))
    assert rows[1].startswith("2026-05-12T19:00:00")


def test_the_expected_run_climbs_from_cut_in_to_cut_out(site: Site) -> None:
    curve = cycles.ideal(site.plant)
    assert curve is not None
    seconds, pressure = curve
    assert pressure[0] == pytest.approx(30 * made.PSI)
    assert pressure[-1] == pytest.approx(50 * made.PSI)
    assert np.all(np.diff(pressure) > 0)
    # by hand: 4,600 ft is 12.4 psi; 44 gal * 40.4 * (1/42.4 - 1/62.4) = 13.4 gal; at 9 gpm 89.6 s
    assert seconds[-1] == pytest.approx(89.6, abs=0.5)


def test_daily_medians_stand_at_noon() -> None:
    day = 86_400_000_000
    days, medians = cycles.daily([0, 1, 2, day], [1.0, 9.0, 2.0, 5.0], "UTC")
    assert days == ["1970-01-01 12:00:00", "1970-01-02 12:00:00"]
    assert medians == [2.0, 5.0]


def test_rain_adds_depth_times_roof_less_the_first_flush(site: Site) -> None:
    """1 inch on 1,800 ft2 is 1,122 gal (0.6234 gal per ft2 and inch); 0.85 of it, less 40 gal: 914."""
    assert "914 gal" in said(storage.layout(site, "", PHONE, ""))


def test_set_up_says_who_can_look(site: Site) -> None:
    assert "this machine only" in said(setup.layout(site, "", PHONE, "127.0.0.1:8050"))
    assert "paired phones on the network" in said(setup.layout(site, "", PHONE, "0.0.0.0:8050"))


def test_set_up_says_what_is_foretold_and_by_what(site: Site) -> None:
    """As `holdwater check` does: of each forecast."""
    told = said(setup.layout(site, "", PHONE, "127.0.0.1:8050"))
    foretold = foretells(site.plant)
    assert foretold
    for one in foretold:
        assert one.words in told


def test_storage_shows_the_season_by_the_plans_own_figures(site: Site, at_us: int) -> None:
    from dashboard.telling.garden_plan import planned
    from dashboard.telling.gauge import gauge

    layout = storage.layout(site, "", PHONE, "")
    told = planned(site.facts(at_us), None, gauge(site, at_us))
    assert told is not None
    band = charts(layout)[-1]["data"]
    gallons = [line.held_m3[1] / made.GAL for line in told.lines]
    assert band[-1]["y"] == pytest.approx(gallons, abs=0.06)
    assert all(low <= high for high, low in zip(band[0]["y"], band[1]["y"], strict=True))
    text = said(layout)
    assert "Through the season" in text
    assert "Half as much roof again" in text
    assert "Hargreaves" in text
    assert "metered by the pump" in text
    assert "cross-connection" in text


def test_storage_says_what_a_season_wants(site: Site) -> None:
    from dataclasses import replace

    from dashboard.pages.season import lacking

    bare = replace(site.plant, garden=None, climate=None)
    assert "lacks [garden], [climate] with rain and temperatures." in lacking(bare)


@pytest.mark.parametrize(
    ("days", "words"),
    [
        (None, "not known yet"),
        ((0.0, 0.0, 0.0), "empty"),
        ((0.8, 1.1, 1.4), '"day"'),
        ((200.0, 300.0, 730.0), "200 to 365 or more, if no rain falls"),
        ((700.0, 730.0, 730.0), "over a year"),
    ],
)
def test_the_storages_one_figure(
    site: Site,
    monkeypatch: pytest.MonkeyPatch,
    at_us: int,
    days: tuple[float, float, float] | None,
    words: str,
) -> None:
    from analytics.records import Outlook

    told = [] if days is None else [Outlook("days_to_empty", "rain", at_us, *days)]
    monkeypatch.setattr(site, "_outlooks", lambda: told)
    assert words in said(storage.layout(site, "", PHONE, ""))
