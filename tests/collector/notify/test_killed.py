"""The real daemon, broker and receiver, and SIGKILL: nothing untold, nothing stalled."""

from __future__ import annotations

import random
import time
from typing import TYPE_CHECKING

import pytest

from analytics.advice import advice
from analytics.records import Finding
from collector.commands import Acknowledge, Commands
from collector.store import Batch, Writer
from tests.collector.live.conftest import Broker, Running, until

if TYPE_CHECKING:
    from pathlib import Path

    from tests.collector.notify.receiver import Receiver

pytestmark = pytest.mark.broker
FAULTS = ("lost_prime", "overpressure", "freeze_risk", "salinity_high", "storage_leak")


def found(running: Running, fault: str) -> None:
    """A finding that stands, stored while the daemon is down, as an import stores one."""
    at_us = time.time_ns() // 1000
    with Writer(running.data, running.plant) as writer:
        writer.commit(Batch(findings=[Finding(fault, None, at_us, at_us, "high", 0.9, f"{fault} it is.")]))


def undelivered(running: Running) -> int:
    with running.history() as history:
        return len(history.due("phone"))


def test_a_message_taken_and_not_marked_is_sent_again_and_nothing_waits_for_it(
    broker: Broker, receiver: Receiver, tmp_path: Path
) -> None:
    running = Running(broker, tmp_path, settings=receiver.settings(tmp_path))
    found(running, "lost_prime")
    receiver.hangs_s = 60.0
    running.start()
    try:
        until(lambda: len(receiver.got) == 1 and running.connected())
        # the courier hangs in the middle of its call: readings are stored all the same
        publisher = broker.publisher()
        for n in range(200):
            publisher.publish("bench/pressure", f"{30 + n / 10:.1f}", qos=1)
        until(lambda: running.stored() == 200, 10)
        publisher.loop_stop()
        assert undelivered(running) == 1
        running.kill()
        receiver.hangs_s = 0.0
        running.start()
        until(lambda: undelivered(running) == 0)
        assert len(receiver.got) == 2
        assert len(set(receiver.titles())) == 1
        time.sleep(1.5)
        assert len(receiver.got) == 2
    finally:
        running.kill()


def test_killed_at_random_every_alarm_is_told_and_every_command_is_done(
    broker: Broker, receiver: Receiver, tmp_path: Path
) -> None:
    """Also the topics at the broker are right in the end."""
    chance = random.Random(5)
    running = Running(broker, tmp_path, settings=receiver.settings(tmp_path))
    commands = Commands(running.data, running.plant.name)
    seen: dict[str, str] = {}
    listener = broker.publisher()
    listener.on_message = lambda _, __, m: seen.__setitem__(m.topic, m.payload.decode())
    listener.subscribe("holdwater/#", qos=1)
    kills = 0
    try:
        for fault in FAULTS:
            found(running, fault)
            key = commands.put(Acknowledge(fault), by="Ann", now_us=time.time_ns() // 1000)
            receiver.refuses = fault == FAULTS[0]
            running.start()
            if receiver.refuses:
                until(lambda: "did not arrive" in running.log.read_text())
            time.sleep(chance.uniform(0.4, 2.5))
            running.kill()
            kills += 1
        running.start()
        until(lambda: undelivered(running) == 0 and not commands.waiting(), 40)
        assert [fault for fault in FAULTS if not told(receiver, fault)] == []
        assert len(receiver.got) <= len(FAULTS) * (kills + 1)
        with running.history() as history:
            assert {alarm.fault: alarm.state.value for alarm in history.alarms()} == dict.fromkeys(
                FAULTS, "acknowledged"
            )
            assert history.carried(key) is not None
            by_ann = [change.fault for change in history.alarm_changes() if change.by == "Ann"]
            assert sorted(by_ann) == sorted(FAULTS)
        words = running.log.read_text()
        assert "s3cretword" not in words
        assert "t0kenvalue" not in words
        topics = [f"holdwater/bench/alarm/{fault}" for fault in FAULTS]
        until(lambda: all('"acknowledged"' in seen.get(topic, "") for topic in topics))
    finally:
        running.kill()
        listener.loop_stop()


def told(receiver: Receiver, fault: str) -> bool:
    """Whether a message, or a digest, named it."""
    headline = advice(fault).title.rstrip(".")
    return any(headline in one["message"] or headline in one["title"] for one in receiver.got)
