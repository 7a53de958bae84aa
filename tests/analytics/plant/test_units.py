"""Units: the trade's table against pint, and how quantities are read."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analytics.plant.dimensions import SI, Dimension
from analytics.plant.trade_units import FACTORS, FOR_PINT, TEMPERATURES
from analytics.plant.units import UnitError, quantity, ratio, registry, unit

SPELLED = [(kind, spelled, factor) for kind, table in FACTORS.items() for spelled, factor in table.items()]


@pytest.mark.parametrize(("kind", "spelled", "factor"), SPELLED, ids=[spelled for _, spelled, _ in SPELLED])
def test_the_trades_units_are_pints(kind: Dimension, spelled: str, factor: float) -> None:
    """Source: pint 0.25's default registry, which takes its factors from CODATA and NIST SP 811."""
    assert registry().Quantity(1.0, FOR_PINT.get(spelled, spelled)).to(SI[kind]).m == pytest.approx(
        factor, rel=1e-12
    )


@pytest.mark.parametrize("spelled", TEMPERATURES)
@pytest.mark.parametrize("degrees", [-40.0, 0.0, 98.6])
def test_temperatures_are_points_on_a_scale(spelled: str, degrees: float) -> None:
    wanted = registry().Quantity(degrees, spelled).to("degC").m
    assert unit(spelled).to_si(degrees) == pytest.approx(wanted, abs=1e-9)


@pytest.mark.parametrize("spelled", FOR_PINT)
def test_every_trade_spelling_is_one_of_our_kinds(spelled: str) -> None:
    assert unit(spelled).dimension is not None


@pytest.mark.parametrize(
    ("text", "si"),
    [
        # NIST SP 811 (2008), appendix B.8, to its printed digits.
        ("1 psi", 6.894757e3),
        ("1 ft_H2O", 2.989067e3),
        ("1 inHg", 3.386389e3),
        ("1 gpm", 6.309020e-5),
        ("1 hp", 7.456999e2),
        ("1 acre_foot", 1.233489e3),
        ("1 imperial_gallon", 4.54609e-3),
        ("1 metric_horsepower", 7.354988e2),
    ],
)
def test_factors_as_printed(text: str, si: float) -> None:
    """From memory of the tables; the digits are those of NIST SP 811."""
    assert quantity(text)[0] == pytest.approx(si, rel=1e-6)


@pytest.mark.parametrize(
    ("text", "kind", "si"),
    [
        ("30psi", Dimension.PRESSURE, 206_842.72),
        (" 2.1  bar ", Dimension.PRESSURE, 210_000),
        ("-10 inHg", Dimension.PRESSURE, -33_863.89),
        ("23 ft of water", Dimension.PRESSURE, 68_748.5),
        ("10 kgf/cm^2", Dimension.PRESSURE, 980_665),
        ("3/4 hp", Dimension.POWER, 559.2749),
        ("1 1/2 hp", Dimension.POWER, 1118.5498),
        ("1e3 L", Dimension.VOLUME, 1.0),
        (".5 m³", Dimension.VOLUME, 0.5),
        ("1.4 dS/m", Dimension.CONDUCTIVITY, 0.14),
        ("1400 µS/cm", Dimension.CONDUCTIVITY, 0.14),
        ("1400 μS/cm", Dimension.CONDUCTIVITY, 0.14),  # the Greek letter
        ("1.4 mmho/cm", Dimension.CONDUCTIVITY, 0.14),
        ("32 degF", Dimension.TEMPERATURE, 0.0),
        ("-40 °C", Dimension.TEMPERATURE, -40.0),
        ("2 fortnights", Dimension.TIME, 2_419_200),
    ],
)
def test_quantities_as_owners_write_them(text: str, kind: Dimension, si: float) -> None:
    value, found = quantity(text)
    assert found.dimension is kind
    assert value == pytest.approx(si, rel=1e-6, abs=1e-9)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "psi",
        "30",
        "30 xyz",
        "30 psia",
        "1,5 bar",
        "1/0 hp",
        "1e999 m",
        "3 dBm",
        "٣ m",
        "1 m*",
        "5 ()",
        "1 m^^2",
        "nan m",
        "inf m",
        "1_000 gal",
        "9" * 200 + " m",
    ],
)
def test_what_is_no_quantity(text: str) -> None:
    with pytest.raises(UnitError):
        quantity(text)


def test_units_of_one_kind_convert() -> None:
    assert ratio("kPa", "psi")[0] == pytest.approx(0.1450377, rel=1e-6)
    assert ratio("mV", "V") == pytest.approx((1e-3, 0.0))
    factor, offset = ratio("degF", "degC")
    assert 212 * factor + offset == pytest.approx(100)
    for one, other in (("psi", "gal"), ("V", "A"), ("V", "%")):
        with pytest.raises(UnitError):
            ratio(one, other)


@given(st.text(max_size=40) | st.from_regex(r"[a-zA-Z%°µ/*^ ]{1,12}", fullmatch=True))
def test_any_text_is_a_unit_or_unit_error(text: str) -> None:
    try:
        found = unit(text)
    except UnitError:
        return
    assert found.dimension is None or found.factor > 0
