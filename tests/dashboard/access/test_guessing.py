"""Guessing: what a passphrase must stand, and the brake."""

from __future__ import annotations

import pytest

from dashboard.access import passphrases
from dashboard.access.brake import Brake, network


@pytest.mark.parametrize(
    "weak",
    [
        "password1234",  # ASVS 5, 6.2.4: among the commonest
        "qwertyuiopas",
        "aaaaaaaaaaaaaaaa",
        "holdwater2026",  # 6.2.11: words of the context
        "juniperbench1",
        "short one",
        "",
    ],
)
def test_a_weak_passphrase_is_refused_with_a_reason(weak: str) -> None:
    assert passphrases.objection(weak, "Juniper Bench", "Ana")


@pytest.mark.parametrize(
    "good",
    ["glacier lantern ninety", "tin roof sparrow ledger", "Ωμέγα ποτάμι λίθος εννέα", "x" * 5 + "vTq9!pLz"],
)
def test_a_good_one_is_taken_whatever_its_signs(good: str) -> None:
    """ASVS 5, 6.2.5 and 6.2.8: no rules about kinds of signs; verified exactly as given."""
    assert passphrases.objection(good, "Ana") is None
    stored = passphrases.hashed(good)
    assert passphrases.matches(stored, good)
    assert not passphrases.matches(stored, good.swapcase())
    assert not passphrases.matches(stored, good + " ")
    longest = good.ljust(passphrases.LONGEST, "~")
    stored = passphrases.hashed(longest)
    assert passphrases.matches(stored, longest)
    assert not passphrases.matches(stored, longest + "~")


def test_sixty_four_signs_are_allowed_and_more_than_the_longest_are_not() -> None:
    """ASVS 5, 6.2.9: at least 64 characters permitted."""
    long = "glacier lantern ninety tin roof sparrow ledger moss on the north side of it"
    assert passphrases.objection(long) is None
    assert passphrases.objection("x7" * 100)


def test_nobody_has_no_passphrase_that_fits() -> None:
    assert not passphrases.matches(None, "nobody has this passphrase")
    assert not passphrases.matches("not a hash", "anything at all")


def test_the_brake_lets_some_through_and_then_one_by_one() -> None:
    brake = Brake(burst=5, every_s=30)
    assert [brake.take("a", 0.0) for _ in range(5)] == [0] * 5
    assert brake.take("a", 0.0) == pytest.approx(30)
    assert brake.take("a", 20.0) == pytest.approx(10)
    assert brake.take("a", 30.0) == 0
    assert brake.take("a", 30.0) > 0
    assert brake.take("b", 30.0) == 0


def test_waiting_is_never_longer_for_trying() -> None:
    """No lock-out: whoever hammers for an hour still waits no longer than one refill."""
    brake = Brake(burst=5, every_s=30)
    waits = [brake.take("a", second * 0.1) for second in range(36_000)]
    assert max(waits) <= 30
    assert sum(wait == 0 for wait in waits) <= 5 + 3600 / 30


def test_a_success_gives_the_tries_back() -> None:
    brake = Brake(burst=5, every_s=30)
    for _ in range(50):
        assert brake.take("a", 0.0) == 0
        brake.give_back("a")


def test_a_clock_set_back_grants_nothing_and_locks_nobody_out() -> None:
    brake = Brake(burst=2, every_s=30)
    brake.take("a", 1e9)
    brake.take("a", 1e9)
    assert 0 < brake.take("a", 0.0) <= 30
    assert brake.take("a", 31.0) == 0


def test_the_brakes_memory_is_bounded() -> None:
    brake = Brake(burst=5, every_s=30, most=100)
    for asker in range(10_000):
        brake.take(str(asker), 0.0)
    assert len(brake) == 100


@pytest.mark.parametrize(
    ("address", "asker"),
    [
        ("192.0.2.7", "192.0.2.7"),
        ("2001:db8:1:2:aaaa:bbbb:cccc:dddd", "2001:db8:1:2::/64"),
        ("::ffff:192.0.2.7", "192.0.2.7"),
        ("", ""),
    ],
)
def test_a_house_is_one_asker(address: str, asker: str) -> None:
    assert network(address) == asker
