"""What the fuzzers once found stays mended, and Hypothesis looks a little further each time."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.fuzz.seeds import cases, seeds
from tests.fuzz.targets import TARGETS

EACH = sorted(TARGETS)


@pytest.mark.parametrize("target", EACH)
def test_what_was_found_stays_mended(target: str) -> None:
    for path in cases(target):
        TARGETS[target](path.read_bytes())


@pytest.mark.parametrize("target", EACH)
def test_every_seed(target: str) -> None:
    for seed in seeds(target):
        TARGETS[target](seed)


@st.composite
def spoilt(draw: st.DrawFn, target: str) -> bytes:
    """A good example with pieces cut out, doubled, swapped with another's, or overwritten."""
    text = draw(st.sampled_from(seeds(target)))
    other = draw(st.sampled_from(seeds(target)))
    for _ in range(draw(st.integers(1, 4))):
        at = draw(st.integers(0, len(text)))
        length = draw(st.integers(0, 40))
        piece = draw(
            st.one_of(
                st.binary(max_size=8),
                st.integers(0, max(len(other) - 1, 0)).map(lambda start: other[start : start + 40]),
                st.just(text[at : at + length] * 2),
            )
        )
        text = text[:at] + piece + text[at + length :]
    return text


@pytest.mark.parametrize("target", EACH)
def test_spoilt_examples(target: str) -> None:
    @settings(max_examples=150, deadline=None)
    @given(st.one_of(spoilt(target), st.binary(max_size=200)))
    def run(data: bytes) -> None:
        TARGETS[target](data)

    run()
