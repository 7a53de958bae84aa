"""The book, its people, phones and codes: what is stored, how long it lasts, who may read the file."""

from __future__ import annotations

import sqlite3
import stat
import threading
from typing import TYPE_CHECKING

import pytest

from dashboard.access import codes, passphrases, people, phones
from dashboard.access.book import FILE, Book

if TYPE_CHECKING:
    from pathlib import Path

DAY_S = phones.DAY_S


def paired(book: Book, now_s: float, name: str = "Ana", role: str = "caretaker") -> str:
    """A phone of that person; its token."""
    used = codes.redeem(book, codes.new_code(book, name, role, now_s), "her phone", "192.0.2.7", now_s)
    assert used is not None
    return used[1]


def test_nobody_is_in_a_new_book(book: Book, now_s: float) -> None:
    """ETSI EN 303 645, 5.1: no default password. There is no account at all until somebody pairs."""
    assert people.everybody(book) == []
    assert phones.all_phones(book, now_s) == []
    assert not codes.any_open(book, now_s)


def test_only_its_owner_may_read_the_file(book: Book) -> None:
    assert stat.S_IMODE(book.path.stat().st_mode) == 0o600


def test_a_loose_file_is_tightened(tmp_path: Path) -> None:
    Book(tmp_path).close()
    (tmp_path / FILE).chmod(0o644)
    Book(tmp_path).close()
    assert stat.S_IMODE((tmp_path / FILE).stat().st_mode) == 0o600


def test_no_secret_stands_in_the_file(book: Book, now_s: float) -> None:
    """Codes, tokens and passphrases are stored as hashes (ASVS 5, 6.5, 7.2, 11.4)."""
    open_code = codes.new_code(book, "Ana", "caretaker", now_s)
    token = paired(book, now_s)
    people.keep_passphrase(book, people.everybody(book)[0].id, passphrases.hashed("glacier lantern ninety"))
    book.close()
    held = book.path.read_bytes()
    for secret in (open_code, open_code.replace("-", ""), token, "glacier lantern ninety"):
        assert secret.encode() not in held
    assert b"$argon2id$v=19$m=65536,t=3,p=4$" in held  # RFC 9106, section 4, second choice


def test_a_code_serves_one_phone(book: Book, now_s: float) -> None:
    code = codes.new_code(book, "Ana", "caretaker", now_s)
    assert codes.redeem(book, code, "one", "", now_s) is not None
    assert codes.redeem(book, code, "two", "", now_s) is None


def test_a_code_serves_one_of_many_at_once(tmp_path: Path, now_s: float) -> None:
    books = [Book(tmp_path) for _ in range(6)]
    code, won = codes.new_code(books[0], "Ana", "caretaker", now_s), []

    def ask(book: Book) -> None:
        won.append(codes.redeem(book, code, "phone", "", now_s))

    threads = [threading.Thread(target=ask, args=(book,)) for book in books]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(won) == 6
    assert sum(one is not None for one in won) == 1


def test_a_code_runs_out(book: Book, now_s: float) -> None:
    code = codes.new_code(book, "Ana", "caretaker", now_s, minutes=10)
    assert codes.invitation(book, code, now_s + 599) is not None
    assert codes.invitation(book, code, now_s + 600) is None
    assert codes.redeem(book, code, "late", "", now_s + 600) is None


@pytest.mark.parametrize(
    "mistyped", [str.lower, lambda code: code.replace("-", " "), lambda c: c.replace("0", "O")]
)
def test_a_code_forgives_how_it_is_typed(book: Book, now_s: float, mistyped: object) -> None:
    code = codes.new_code(book, "Ana", "caretaker", now_s)
    assert codes.invitation(book, mistyped(code), now_s) is not None  # type: ignore[operator]


def test_a_code_holds_sixty_bits(book: Book, now_s: float) -> None:
    """ASVS 5, 6.5.4 asks for 20 bits of a code that is braked."""
    assert len(set(codes.ALPHABET)) == 32
    signs = codes.new_code(book, "Ana", "caretaker", now_s).replace("-", "")
    assert len(signs) == 12
    assert set(signs) <= set(codes.ALPHABET)


def test_a_code_changes_nobodys_role(book: Book, now_s: float) -> None:
    paired(book, now_s, role="view-only")
    with pytest.raises(codes.RoleDiffers):
        codes.new_code(book, "ana", "caretaker", now_s)


def test_a_stolen_role_does_not_come_of_two_codes(book: Book, now_s: float) -> None:
    """Two codes of one new name and different roles: the person is what the first one used says."""
    looks = codes.new_code(book, "Ana", "view-only", now_s)
    acts = codes.new_code(book, "Ana", "caretaker", now_s)
    assert codes.redeem(book, looks, "one", "", now_s) is not None
    assert codes.redeem(book, acts, "two", "", now_s) is not None
    assert {phone.role for phone in phones.all_phones(book, now_s)} == {"view-only"}


def test_a_phone_expires_when_idle_and_when_old(book: Book, now_s: float) -> None:
    token = paired(book, now_s)
    phone = phones.of_token(book, token, now_s)
    assert phone is not None
    assert phones.of_token(book, token, now_s + phones.IDLE_S) is None
    at = now_s
    while at < now_s + phones.LONGEST_S - 2 * DAY_S:  # in use every day, it lasts till it is old
        phones.touch(book, phones.of_token(book, token, at) or pytest.fail("expired"), at)
        at += DAY_S
    assert phones.of_token(book, token, now_s + phones.LONGEST_S) is None


def test_a_revoked_phone_is_out(book: Book, now_s: float) -> None:
    kept, gone = paired(book, now_s), paired(book, now_s)
    phone = phones.of_token(book, gone, now_s)
    assert phone is not None
    phones.revoke(book, phone.id)
    assert phones.of_token(book, gone, now_s) is None
    assert not phones.alive(book, phone.id, now_s)
    assert phones.of_token(book, kept, now_s) is not None


def test_a_person_goes_with_their_phones_and_codes(book: Book, now_s: float) -> None:
    paired(book, now_s)
    token = paired(book, now_s, "Ben", "view-only")
    code = codes.new_code(book, "Ben", "view-only", now_s)
    ben = people.named(book, "ben")
    assert ben is not None
    assert people.remove(book, ben.id)
    assert phones.of_token(book, token, now_s) is None
    assert codes.invitation(book, code, now_s) is None


def test_the_last_caretaker_stays(book: Book, now_s: float) -> None:
    paired(book, now_s)
    paired(book, now_s, "Ben", "view-only")
    ana = people.named(book, "Ana")
    assert ana is not None
    assert not people.remove(book, ana.id)
    assert people.named(book, "Ana") == ana


def test_a_new_passphrase_signs_the_other_phones_out(book: Book, now_s: float) -> None:
    here, there = paired(book, now_s), paired(book, now_s)
    phone = phones.of_token(book, here, now_s)
    assert phone is not None
    people.keep_passphrase(book, phone.person, passphrases.hashed("glacier lantern ninety"), phone.id)
    assert phones.of_token(book, here, now_s) is not None
    assert phones.of_token(book, there, now_s) is None


def test_the_book_stays_bounded(book: Book, now_s: float) -> None:
    for at in range(codes.MOST_OPEN + 5):
        codes.new_code(book, "Ana", "caretaker", now_s + at)
    assert len(book.rows("SELECT 1 FROM code")) == codes.MOST_OPEN
    for at in range(phones.MOST_PHONES + 5):
        paired(book, now_s + at)
    assert len(book.rows("SELECT 1 FROM phone")) == phones.MOST_PHONES


def test_looking_writes_seldom(book: Book, now_s: float) -> None:
    """A phone that looks all day wears no card."""
    token = paired(book, now_s)
    before = book.rows("SELECT total_changes()")[0][0]
    for at in range(3600):
        phone = phones.of_token(book, token, now_s + at)
        assert phone is not None
        phones.touch(book, phone, now_s + at)
    assert book.rows("SELECT total_changes()")[0][0] - before <= 3600 / phones.SEEN_EVERY_S


def test_a_broken_book_lets_nobody_in_and_is_kept(tmp_path: Path, now_s: float) -> None:
    first = Book(tmp_path)
    token = paired(first, now_s)
    first.close()
    (tmp_path / FILE).write_bytes(b"not a book at all" * 100)
    again = Book(tmp_path)
    assert phones.of_token(again, token, now_s) is None
    assert len(list(tmp_path.glob(f"{FILE}.broken-*"))) == 1


def test_a_change_that_fails_changes_nothing(book: Book, now_s: float) -> None:
    def half() -> None:
        with book.changing() as change:
            people.added(change, "Ana", "caretaker", now_s)
            people.added(change, "Ben", "king", now_s)

    with pytest.raises(sqlite3.IntegrityError):
        half()
    assert people.everybody(book) == []
