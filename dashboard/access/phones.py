"""Phones: each paired browser is a session on the server, told by a secret that only its cookie holds.

Idle for thirty days or half a year old, a phone signs in again. That is longer than NIST SP 800-63B's
thirty days (AAL1), and a decision: the phone has a lock of its own, each can be revoked here, what it
may see is a water supply, and an alarm nobody can open is worth little. Whatever changes who may look
asks for the passphrase anew (`proved_s`).
"""

from __future__ import annotations

import hashlib
import secrets
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import sqlite3

    from dashboard.access.book import Book

DAY_S = 86_400.0
IDLE_S = 30 * DAY_S
LONGEST_S = 182 * DAY_S
#: "Seen" is written no oftener, to spare the card.
SEEN_EVERY_S = 600.0
PROOF_LASTS_S = 600.0
MOST_PHONES = 200


@dataclass(frozen=True, slots=True)
class Phone:
    """A paired phone with the person it belongs to."""

    id: int
    person: int
    name: str
    role: str
    label: str
    address: str
    paired_s: float
    seen_s: float
    proved_s: float

    @property
    def may_act(self) -> bool:
        return self.role == "caretaker"

    def proved(self, now_s: float) -> bool:
        """Whether who holds it has shown who they are just now."""
        return 0 <= now_s - self.proved_s < PROOF_LASTS_S


_SELECT = """SELECT phone.id, person, name, role, label, address, paired_s, seen_s, proved_s
FROM phone JOIN person ON person.id = phone.person """
_LIVE = "seen_s > ? AND paired_s > ? "


def token_hash(token: str) -> bytes:
    """What is stored of a 256-bit random token: a plain hash suffices, there is nothing to guess."""
    return hashlib.sha256(token.encode()).digest()


def entered(change: sqlite3.Connection, person: int, label: str, address: str, now_s: float) -> str:
    """A new phone of this person within a transaction; returns its token. Dead ones are swept out."""
    change.execute("DELETE FROM phone WHERE NOT (" + _LIVE + ")", (now_s - IDLE_S, now_s - LONGEST_S))
    change.execute(
        "DELETE FROM phone WHERE id IN (SELECT id FROM phone ORDER BY seen_s DESC LIMIT -1 OFFSET ?)",
        (MOST_PHONES - 1,),
    )
    token = secrets.token_urlsafe(32)
    change.execute(
        "INSERT INTO phone (person, token, label, address, paired_s, seen_s, proved_s)"
        " VALUES (?, ?, ?, ?, ?, ?, ?)",
        (person, token_hash(token), label, address, now_s, now_s, now_s),
    )
    return token


def of_token(book: Book, token: str, now_s: float) -> Phone | None:
    """The phone that this cookie belongs to, unless revoked or expired."""
    return _one(book, "WHERE token = ? AND ", now_s, token_hash(token))


def alive(book: Book, phone: int, now_s: float) -> bool:
    """Whether it may still look."""
    return _one(book, "WHERE phone.id = ? AND ", now_s, phone) is not None


def _one(book: Book, where: str, now_s: float, value: object) -> Phone | None:
    rows = book.rows(_SELECT + where + _LIVE, value, now_s - IDLE_S, now_s - LONGEST_S)
    return Phone(*rows[0]) if rows else None


def all_phones(book: Book, now_s: float) -> list[Phone]:
    rows = book.rows(
        _SELECT + "WHERE " + _LIVE + "ORDER BY name, paired_s", now_s - IDLE_S, now_s - LONGEST_S
    )
    return [Phone(*row) for row in rows]


def touch(book: Book, phone: Phone, now_s: float) -> None:
    """Remember that it was seen, now and then."""
    if now_s - phone.seen_s >= SEEN_EVERY_S:
        with book.changing() as change:
            change.execute("UPDATE phone SET seen_s = ? WHERE id = ?", (now_s, phone.id))


def prove(book: Book, phone: int, now_s: float) -> None:
    with book.changing() as change:
        change.execute("UPDATE phone SET proved_s = ? WHERE id = ?", (now_s, phone))


def revoke(book: Book, phone: int) -> None:
    """Sign a phone out for good."""
    with book.changing() as change:
        change.execute("DELETE FROM phone WHERE id = ?", (phone,))


def familiar(book: Book, person: int, address: str) -> bool:
    """Whether a phone of this person signed in from that address."""
    return bool(book.rows("SELECT 1 FROM phone WHERE person = ? AND address = ?", person, address))


def guess_label(agent: str) -> str:
    """What to call a phone, from what its browser says of itself."""
    for sign, label in (
        ("iPhone", "iPhone"),
        ("iPad", "iPad"),
        ("Android", "Android phone"),
        ("Windows", "Windows computer"),
        ("Macintosh", "Mac"),
        ("Linux", "Linux computer"),
    ):
        if sign in agent:
            return label
    return "Phone"
