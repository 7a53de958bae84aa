"""Garden crops: how much salt each stands, and how much water it wants, by crop group.

`threshold` a: soil salinity ECe up to which nothing is lost; `slope` b: yield lost beyond it.
Yield [%] = 100 - b (ECe - a), between 0 and 100.

Source: a and b from the USDA-ARS Salinity Laboratory's table (Maas 1990), seen; bean, corn and both
squashes agree with PMC6002086 table 3. Another copy prints 5.6 for eggplant's slope; the Laboratory's
6.9 is used. Crop coefficients: FAO Irrigation and Drainage Paper 56, table 12, crop groups, from memory.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Kc:
    """Crop coefficient at the season's start, in full leaf, and at its end."""

    start: float
    full: float
    end: float


@dataclass(frozen=True, slots=True)
class Crop:
    threshold_s_m: float  # ECe
    slope: float  # share of the yield lost for each S/m above it
    kc: Kc


_SMALL = Kc(0.70, 1.05, 0.95)
_NIGHTSHADE = Kc(0.60, 1.15, 0.80)
_GOURD = Kc(0.50, 1.00, 0.80)
_ROOT = Kc(0.50, 1.10, 0.95)
_LEGUME = Kc(0.40, 1.15, 0.55)
_CORN = Kc(0.30, 1.15, 1.05)
_BERRY = Kc(0.40, 0.85, 0.75)

#: Without a crop: the reference surface's own need.
AS_REFERENCE = Kc(1.0, 1.0, 1.0)


def _crop(a_ds_m: float, b_percent: float, kc: Kc) -> Crop:
    return Crop(a_ds_m * 0.1, b_percent / 100 / 0.1, kc)


CROPS: dict[str, Crop] = {
    "bean": _crop(1.0, 19, _LEGUME),
    "beet": _crop(4.0, 9.0, _ROOT),
    "broccoli": _crop(2.8, 9.2, _SMALL),
    "cabbage": _crop(1.8, 9.7, _SMALL),
    "carrot": _crop(1.0, 14, _SMALL),
    "celery": _crop(1.8, 6.2, _SMALL),
    "corn": _crop(1.7, 12, _CORN),
    "cucumber": _crop(2.5, 13, _GOURD),
    "eggplant": _crop(1.1, 6.9, _NIGHTSHADE),
    "lettuce": _crop(1.3, 13, _SMALL),
    "onion": _crop(1.2, 16, _SMALL),
    "pepper": _crop(1.5, 14, _NIGHTSHADE),
    "potato": _crop(1.7, 12, _ROOT),
    "radish": _crop(1.2, 13, _SMALL),
    "scallop squash": _crop(3.2, 16, _GOURD),
    "spinach": _crop(2.0, 7.6, _SMALL),
    "strawberry": _crop(1.0, 33, _BERRY),
    "sweet potato": _crop(1.5, 11, _ROOT),
    "tomato": _crop(2.5, 9.9, _NIGHTSHADE),
    "turnip": _crop(0.9, 9, _ROOT),
    "zucchini": _crop(4.7, 9.4, _GOURD),
}
