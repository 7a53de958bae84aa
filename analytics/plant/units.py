"""The owner's units, by pint: one registry, made on first use because making it is slow."""

from __future__ import annotations

import re
from functools import cache
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from pint import UnitRegistry

#: The trade's names that pint does not know, in pint's definition language.
_TRADE = (
    "gpm = gallon / minute",
    "gph = gallon / hour",
    "cfs = foot ** 3 / second",
    "lpm = liter / minute",
    "lps = liter / second",
    "psig = psi",
    "barg = bar",
    "kPag = kilopascal",
)

#: Spellings of more than one word, and signs that pint would read as something else.
_SPELLINGS = (
    (re.compile(r"\b(?:ft|foot|feet)\s+(?:of\s+)?(?:water|wc|H2O)\b"), "ft_H2O"),
    (re.compile(r"\b(?:in|inch|inches)\s+(?:of\s+)?(?:water|wc|H2O)\b"), "inch_H2O"),
    (re.compile(r"\b(?:m|metres?|meters?)\s+(?:of\s+)?(?:water|wc|H2O)\b"), "m_H2O"),
    (re.compile(r"\b(?:in|inch|inches)\s+(?:of\s+)?(?:mercury|Hg)\b"), "inch_Hg"),
    (re.compile(r"\b(?:imperial|imp\.?)\s+gal(?:lons?)?\b"), "imperial_gallon"),
    (re.compile(r"\bUS\s+gal(?:lons?)?\b"), "gallon"),
    (re.compile(r"\b(m|cm|mm|ft|in|yd)([23])\b"), r"\1^\2"),
    (re.compile(r"°\s*C\b"), "degC"),
    (re.compile(r"°\s*F\b"), "degF"),
)

#: Dimensions by the word we use for them when we speak to the owner, and a unit of each.
DIMENSIONS: dict[str, tuple[str, str]] = {
    "pressure": ("Pa", "psi, bar, kPa, ft or m of water"),
    "volume": ("m^3", "gal, L, m^3"),
    "flow": ("m^3/s", "gpm, L/min, m^3/h"),
    "length": ("m", "ft, in, m, cm, mm"),
    "area": ("m^2", "ft^2, m^2"),
    "time": ("s", "s, min, h, days"),
    "power": ("W", "hp, W, kW"),
    "current": ("A", "A, mA"),
    "temperature": ("degC", "degC, degF"),
    "conductivity": ("S/m", "dS/m, mS/cm, uS/cm"),
}


class UnknownUnit(ValueError):
    """The text names no unit that is known."""


class WrongDimension(ValueError):
    """The unit is known and measures something else."""


@cache
def registry() -> UnitRegistry[Any]:
    """The one registry. Temperatures are points on a scale, not differences."""
    from pint import UnitRegistry

    made: UnitRegistry[Any] = UnitRegistry(autoconvert_offset_to_baseunit=True, cache_folder=":auto:")
    for definition in _TRADE:
        made.define(definition)
    return made


def spelt(text: str) -> str:
    """The owner's spelling as pint takes it."""
    for pattern, word in _SPELLINGS:
        text = pattern.sub(word, text)
    return text


#: What a unit may look like before pint, which was made to read whole formulas, is asked about it.
_UNIT = re.compile(
    r"[^\W\d_]+\w{0,30}(?:\s?(?:\^|\*\*)\s?-?[1-3])?(?:\s?[*/·]\s?[^\W\d_]\w{0,30}(?:\s?(?:\^|\*\*)\s?-?[1-3])?){0,3}"
)


@cache
def conversion(unit: str, dimension: str) -> tuple[float, float]:
    """(factor, offset) that turn a value in `unit` into the SI unit of `dimension` (see DIMENSIONS).

    Raises UnknownUnit or WrongDimension.
    """
    import pint

    si = DIMENSIONS[dimension][0]
    word = spelt(unit.strip())
    if not _UNIT.fullmatch(word):
        raise UnknownUnit(unit)
    try:
        found = registry().Unit(word)
    except (pint.PintError, ValueError, TypeError, AttributeError, AssertionError, KeyError) as error:
        raise UnknownUnit(unit) from error
    if not found.is_compatible_with(si):
        raise WrongDimension(unit)
    zero, ten = (registry().Quantity(x, found).to(si).magnitude for x in (0.0, 10.0))
    # Products of exact factors carry rounding in the last digit; twelve are more than any sensor's.
    factor = float(f"{(ten - zero) / 10.0:.12g}")
    return factor, float(f"{zero:.12g}")


_QUANTITY = re.compile(
    r"\s*([+-]?(?:\d+(?:,\d{3})+|\d+)?(?:\.\d*)?(?:[eE][+-]?\d+)?(?:\s*/\s*\d+)?)\s*(.*)", re.DOTALL
)


def quantity(text: str, dimension: str) -> float:
    """`"30 psi"`, `"3/4 hp"`, `"1,800 ft^2"` in the SI unit of `dimension`.

    Raises ValueError without a number, UnknownUnit or WrongDimension.
    """
    matched = _QUANTITY.fullmatch(text)
    assert matched is not None  # the pattern ends in .*
    number, unit = matched.groups()
    number = number.replace(",", "").strip()
    above, _, below = number.partition("/")
    try:
        value = float(above) / (float(below) if below else 1.0)
    except (ValueError, ZeroDivisionError) as error:
        raise ValueError(text) from error
    if not unit.strip():
        raise UnknownUnit("")
    factor, offset = conversion(unit.strip(), dimension)
    return value * factor + offset
