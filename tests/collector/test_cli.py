"""The front door finds every verb, by the short way and by the long one."""

from __future__ import annotations

from importlib.metadata import entry_points
from pathlib import Path

import pytest

from collector import cli

ENTRIES = {entry.name: entry for entry in entry_points(group=cli.GROUP)}


@pytest.mark.parametrize("name", sorted(ENTRIES))
def test_a_verb_asked_for_is_the_one_that_is_entered_under_its_name(name: str) -> None:
    assert cli.verbs(name) == {name: ENTRIES[name].load()}


def test_no_verb_of_the_folder_is_left_unentered() -> None:
    """Such a one would work when asked for and be missing from the list."""
    for file in Path(cli.__file__).with_name("verbs").glob("*.py"):
        if file.stem.isalpha():
            assert file.stem in ENTRIES


def test_asked_for_nothing_or_nonsense_all_are_listed() -> None:
    assert (
        list(cli.verbs(None))
        == list(cli.verbs("nonsense"))
        == list(cli.verbs("one_plant"))
        == sorted(ENTRIES)
    )
