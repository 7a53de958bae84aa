"""People: a name, what they may do, and, where they want one, a passphrase."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal, get_args

if TYPE_CHECKING:
    import sqlite3

    from dashboard.access.book import Book

#: A caretaker acknowledges, shelves, writes the logbook, says who may look; view-only people look.
Role = Literal["caretaker", "view-only"]
ROLES: tuple[str, ...] = get_args(Role)
LONGEST_NAME = 40


@dataclass(frozen=True, slots=True)
class Person:
    id: int
    name: str
    role: str
    passphrase: str | None  # an Argon2 hash
    since_s: float


def named(book: Book, name: str) -> Person | None:
    """The person of that name, however it is capitalised."""
    return next(iter(_people(book, "WHERE name = ?", name)), None)


def everybody(book: Book) -> list[Person]:
    return _people(book, "ORDER BY role, name")


def _people(book: Book, where: str, *values: object) -> list[Person]:
    columns = "id, name, role, passphrase, since_s"
    return [Person(*row) for row in book.rows(f"SELECT {columns} FROM person {where}", *values)]


def added(change: sqlite3.Connection, name: str, role: str, now_s: float) -> int:
    """The id of the person of that name, who is entered in this transaction if not yet known."""
    change.execute(
        "INSERT INTO person (name, role, since_s) VALUES (?, ?, ?) ON CONFLICT DO NOTHING",
        (name, role, now_s),
    )
    (found,) = change.execute("SELECT id FROM person WHERE name = ?", (name,)).fetchone()
    return int(found)


def remove(book: Book, person: int) -> bool:
    """Take a person out with all their phones; False for the last caretaker, who stays."""
    with book.changing() as change:
        (others,) = change.execute(
            "SELECT count(*) FROM person WHERE role = 'caretaker' AND id != ?", (person,)
        ).fetchone()
        if not others:
            return False
        change.execute("DELETE FROM code WHERE name = (SELECT name FROM person WHERE id = ?)", (person,))
        change.execute("DELETE FROM person WHERE id = ?", (person,))
    return True


def keep_passphrase(book: Book, person: int, hashed: str, but_phone: int | None = None) -> None:
    """Store a new passphrase's hash. Given the phone it was set from, every other one is signed out."""
    with book.changing() as change:
        change.execute("UPDATE person SET passphrase = ? WHERE id = ?", (hashed, person))
        if but_phone is not None:
            change.execute("DELETE FROM phone WHERE person = ? AND id != ?", (person, but_phone))


def clean(name: str) -> str:
    """A name as it is stored: printable, single spaces, not long. Empty where nothing is left."""
    return " ".join("".join(sign for sign in name if sign.isprintable()).split())[:LONGEST_NAME].strip()
