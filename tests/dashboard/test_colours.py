"""What axe cannot judge: text and lines inside drawings, the sun, and eyes that tell fewer colours apart.

Contrast: WCAG 2.2, 1.4.3 and 1.4.11, relative luminance as defined there. Colour vision: Machado,
Oliveira and Fernandes 2009, matrices of full severity (from memory); distance is CIE 1976 u'v' with
lightness left out, so that brightness alone does not pass.
"""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest

from dashboard.drawing import figures

LOOK = (Path(figures.__file__).parents[1] / "assets" / "look.css").read_text("utf-8")
CHROMA = {
    "protan": [[0.1523, 1.0526, -0.2049], [0.1145, 0.7863, 0.0992], [-0.0039, -0.0481, 1.0520]],
    "deutan": [[0.3673, 0.8606, -0.2280], [0.2801, 0.6725, 0.0474], [-0.0118, 0.0429, 0.9689]],
    "tritan": [[1.2555, -0.0767, -0.1788], [-0.0784, 0.9308, 0.1476], [0.0047, 0.6914, 0.3039]],
}
#: linear sRGB to XYZ (IEC 61966-2-1)
XYZ = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
#: A just noticeable difference in u'v' is some 0.004; ten of them are plain to see (common practice).
PLAIN = 0.04


def themes() -> dict[str, dict[str, str]]:
    """The colours of look.css by theme; the sun's stand on the day's."""
    day = dict(
        re.findall(r"--([a-z]+): (#[0-9a-f]{3,6})", LOOK[LOOK.index(":root {") : LOOK.index("@media")])
    )
    found = {"day": day}
    for name in ("dark", "sun"):
        block = re.search(rf"^:root\[data-theme={name}\] {{(.*?)^}}", LOOK, flags=re.S | re.M)
        assert block is not None, name
        found[name] = day | dict(re.findall(r"--([a-z]+): (#[0-9a-f]{3,6})", block[1]))
    return found


THEMES = themes()


def linear(colour: str) -> np.ndarray:
    digits = colour[1:] if len(colour) == 7 else "".join(2 * digit for digit in colour[1:])
    value = np.array([int(digits[k : k + 2], 16) for k in (0, 2, 4)]) / 255.0
    return np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)


def contrast(one: str, other: str) -> float:
    light, dark = sorted((float(linear(c) @ [0.2126, 0.7152, 0.0722]) for c in (one, other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_contrast_of_black_on_white_is_what_the_standard_says() -> None:
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert contrast("#777", "#fff") == pytest.approx(4.48, abs=0.005)  # the well-known grey that fails


@pytest.mark.parametrize("theme", THEMES)
def test_every_word_stands_out_from_every_ground(theme: str) -> None:
    colours = THEMES[theme]
    for ink in ("ink", "quiet", "water", "warm"):
        for ground in ("paper", "sky", "soil", "wash", "raised"):
            if (ink, ground) in {("water", "wash"), ("water", "soil")}:
                continue  # no blue word stands there
            assert contrast(colours[ink], colours[ground]) >= 4.5, (ink, ground)


@pytest.mark.parametrize("theme", THEMES)
def test_pipe_and_vessels_stand_out_as_drawings_must(theme: str) -> None:
    colours = THEMES[theme]
    assert contrast(colours["water"], colours["paper"]) >= 3.0
    assert contrast(colours["water"], colours["shallow"]) >= 3.0
    assert contrast(colours["warm"], colours["wash"]) >= 3.0


def test_full_sun_has_the_contrast_of_print() -> None:
    """WCAG 1.4.6, the enhanced level, for all text."""
    sun = THEMES["sun"]
    for ink in ("ink", "quiet", "water", "warm"):
        assert contrast(sun[ink], sun["paper"]) >= 7.0, ink
    assert contrast(sun["pipe"], sun["paper"]) >= 7.0


def test_charts_wear_the_pages_colours() -> None:
    for look, theme in ((figures.LIGHT, "day"), (figures.DARK, "dark")):
        for name in ("ink", "quiet", "rule", "water", "warm", "paper"):
            assert getattr(look, name) == THEMES[theme][name]


def chromaticity(colour: str, matrix: list[list[float]]) -> np.ndarray:
    seen = np.clip(np.array(matrix) @ linear(colour), 0.0, 1.0)
    x, y, z = XYZ @ seen
    return np.array([4 * x, 9 * y]) / (x + 15 * y + 3 * z)


@pytest.mark.parametrize("theme", THEMES)
@pytest.mark.parametrize("eyes", CHROMA)
def test_water_and_warning_differ_to_every_kind_of_eye(theme: str, eyes: str) -> None:
    water, warm = (chromaticity(THEMES[theme][name], CHROMA[eyes]) for name in ("water", "warm"))
    assert np.hypot(*(water - warm)) > PLAIN
