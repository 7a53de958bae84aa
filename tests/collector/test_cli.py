"""The front door finds every verb, by the short way and by the long one."""

from __future__ import annotations

import subprocess
import sys
from importlib.metadata import entry_points
from pathlib import Path

import pytest

from collector import cli

PLANT = Path(__file__).parents[2] / "simulator" / "plants" / "juniper-bench.toml"
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


def test_a_verb_that_ends_its_process_at_once_has_said_all_before(capsys: pytest.CaptureFixture[str]) -> None:
    def asked(*words: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run([sys.executable, "-m", "collector.cli", *words], capture_output=True, text=True)

    assert "check" in cli.LEAVES_NOTHING
    assert cli.main(["check", str(PLANT)]) == 0
    said, done, none = capsys.readouterr().out, asked("check", str(PLANT)), asked("check", "none.toml")
    assert (done.returncode, done.stdout, done.stderr) == (0, said, "")
    assert none.returncode == 2
    assert "none.toml" in none.stderr
