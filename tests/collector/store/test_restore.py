"""A copy is put back whole, or nothing is changed."""

from __future__ import annotations

from pathlib import Path

import pytest

from collector.cli import main
from collector.store import Batch, History, Writer
from collector.store.backup import back_up
from collector.store.errors import HistoryDamaged, HistoryForeign, HistoryTaken
from collector.store.restore import restore
from tests.collector.store.plants import SECOND_US, START_US, plant, seconds


def wrote(data: Path, first: int) -> list[int]:
    """Ten seconds of readings into the history under `data`; the times of all that is there."""
    with Writer(data, plant()) as history:
        found = history.admit(seconds(START_US + first * SECOND_US, 10))
        history.commit(Batch(found))
    return held(data)


def held(data: Path) -> list[int]:
    with History(data, plant()) as history:
        return history.readings("pressure", 0, 2**62).time_us.tolist()


def test_a_copy_comes_back_and_what_was_there_is_set_aside(tmp_path: Path) -> None:
    name = plant().name
    before = wrote(tmp_path, 0)
    back_up(tmp_path / name, tmp_path / "copy" / name)
    wrote(tmp_path, 100)
    aside = restore(tmp_path / "copy" / name, tmp_path / name)
    assert held(tmp_path) == before
    assert aside is not None
    (tmp_path / "old" / name).mkdir(parents=True)
    aside.rename(tmp_path / "old" / name / "history.sqlite")
    assert len(held(tmp_path / "old")) == 20
    assert len(wrote(tmp_path, 200)) == 20  # and it goes on from there


def test_it_may_come_to_a_new_machine(tmp_path: Path) -> None:
    name = plant().name
    before = wrote(tmp_path, 0)
    back_up(tmp_path / name, tmp_path / "copy" / name)
    assert restore(tmp_path / "copy" / name, tmp_path / "fresh" / name) is None
    assert held(tmp_path / "fresh") == before


def test_a_copy_that_is_not_whole_changes_nothing(tmp_path: Path) -> None:
    name = plant().name
    before = wrote(tmp_path, 0)
    copy = back_up(tmp_path / name, tmp_path / "copy" / name)
    body = bytearray(copy.read_bytes())
    body[3000:9000] = b"\xff" * 6000
    copy.write_bytes(bytes(body))
    with pytest.raises(HistoryDamaged):
        restore(copy.parent, tmp_path / name)
    copy.write_bytes(b"")
    with pytest.raises((HistoryForeign, HistoryDamaged)):
        restore(copy.parent, tmp_path / name)
    assert held(tmp_path) == before


def test_not_while_another_writes(tmp_path: Path) -> None:
    name = plant().name
    wrote(tmp_path, 0)
    back_up(tmp_path / name, tmp_path / "copy" / name)
    with Writer(tmp_path, plant()), pytest.raises(HistoryTaken):
        restore(tmp_path / "copy" / name, tmp_path / name)


def test_the_verb_says_what_it_did(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = Path(__file__).parents[3] / "simulator" / "plants" / "juniper-bench.toml"
    words = ["restore", str(file), str(tmp_path / "copy"), "--data", str(tmp_path / "data")]
    assert main(words) == 2
    assert "no copy here" in capsys.readouterr().err
