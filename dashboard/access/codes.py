"""Pairing codes: made on the machine itself or by a caretaker, good once and for a few minutes.

Sixty random bits in twelve signs without look-alikes (Crockford's base 32), so that a code can be
typed as well as scanned, and guessing one within its time is hopeless even without the brake.
"""

from __future__ import annotations

import hashlib
import secrets
from dataclasses import dataclass
from typing import TYPE_CHECKING

from dashboard.access import people, phones

if TYPE_CHECKING:
    from dashboard.access.book import Book

ALPHABET = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
SIGNS, GROUP = 12, 4
MINUTES = 10.0
MOST_OPEN = 20
_ALIKE = str.maketrans("OIL", "011")


@dataclass(frozen=True, slots=True)
class Invitation:
    """What an unused code promises."""

    name: str
    role: str
    until_s: float


class RoleDiffers(ValueError):
    """A person is known by that name with another role."""


def new_code(book: Book, name: str, role: str, now_s: float, minutes: float = MINUTES) -> str:
    """A new code for a phone of that person. RoleDiffers where the person is known as something else."""
    known = people.named(book, name)
    if known is not None and known.role != role:
        raise RoleDiffers(f"{known.name} is known as {known.role}")
    code = "".join(secrets.choice(ALPHABET) for _ in range(SIGNS))
    with book.changing() as change:
        change.execute("DELETE FROM code WHERE until_s <= ?", (now_s,))
        change.execute(
            "DELETE FROM code WHERE hash IN (SELECT hash FROM code ORDER BY until_s DESC LIMIT -1 OFFSET ?)",
            (MOST_OPEN - 1,),
        )
        change.execute(
            "INSERT INTO code VALUES (?, ?, ?, ?)", (_hash(code), name, role, now_s + 60 * minutes)
        )
    return spaced(code)


def invitation(book: Book, code: str, now_s: float) -> Invitation | None:
    """What the code promises, without using it."""
    rows = book.rows(
        "SELECT name, role, until_s FROM code WHERE hash = ? AND until_s > ?", _hash(code), now_s
    )
    return Invitation(*rows[0]) if rows else None


def any_open(book: Book, now_s: float) -> bool:
    return bool(book.rows("SELECT 1 FROM code WHERE until_s > ?", now_s))


def redeem(book: Book, code: str, label: str, address: str, now_s: float) -> tuple[int, str] | None:
    """Use the code up: (person, the new phone's token), in one step, so that it serves one phone only."""
    with book.changing() as change:
        row = change.execute(
            "DELETE FROM code WHERE hash = ? AND until_s > ? RETURNING name, role", (_hash(code), now_s)
        ).fetchone()
        if row is None:
            return None
        person = people.added(change, row["name"], row["role"], now_s)
        return person, phones.entered(change, person, label, address, now_s)


def spaced(code: str) -> str:
    return "-".join(code[at : at + GROUP] for at in range(0, len(code), GROUP))


def _hash(code: str) -> bytes:
    signs = "".join(sign for sign in code.upper().translate(_ALIKE) if sign in ALPHABET)
    return hashlib.sha256(signs.encode()).digest()
