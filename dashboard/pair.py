"""`holdwater pair`: let a phone in, from the machine itself; see and forget those that are."""

from __future__ import annotations

import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import argparse

    from dashboard.access.book import Book

HELP = "let a phone in: shows a QR code, good once and for some minutes; or lists and forgets phones"


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--data", type=Path, metavar="FOLDER", help="where the histories are kept")
    parser.add_argument("--name", default="Owner", metavar="PERSON", help="whose phone it is (Owner)")
    parser.add_argument(
        "--view-only", action="store_true", help="this person may look and not change anything"
    )
    parser.add_argument("--minutes", type=float, default=10.0, metavar="N", help="how long it is good (10)")
    parser.add_argument("--address", metavar="URL", help="of the dashboard, where it is reached by another")
    parser.add_argument("--list", action="store_true", help="only list the paired phones")
    parser.add_argument("--forget", type=int, metavar="NUMBER", help="sign the phone of that number out")


def run(options: argparse.Namespace) -> int:
    from collector.settings import data_folder
    from dashboard.access.book import Book

    data = data_folder(options.data)
    try:
        book = Book(data)
    except OSError as error:
        print(f"{error}; run this as the user that Holdwater runs as", file=sys.stderr)
        return 2
    try:
        if options.list or options.forget is not None:
            return _listed(book, options.forget)
        return _invited(book, options)
    finally:
        book.close()


def _listed(book: Book, forget: int | None) -> int:
    from dashboard.access import phones

    now_s = time.time()
    held = phones.all_phones(book, now_s)
    if forget is not None:
        if forget not in {phone.id for phone in held}:
            known = ", ".join(str(phone.id) for phone in held) or "none"
            print(f"--forget {forget}: no phone has that number; known: {known}", file=sys.stderr)
            return 2
        phones.revoke(book, forget)
        print("Signed out.")
        return 0
    for phone in held:
        days = (now_s - phone.seen_s) / phones.DAY_S
        print(f"{phone.id:>4}  {phone.name} ({phone.role}), {phone.label}, seen {days:.1f} days ago")
    if not held:
        print("No phone is paired.")
    return 0


def _invited(book: Book, options: argparse.Namespace) -> int:
    from dashboard.access import codes, invite, people

    name, address = people.clean(options.name), options.address or invite.kept_address(book)
    mistakes = []
    if not name:
        mistakes.append(f"--name {options.name!r}: a name of letters is wanted")
    if not 0 < options.minutes <= 7 * 24 * 60:
        mistakes.append(f"--minutes {options.minutes:g}: above 0 and at most 10080 (a week) is wanted")
    if address is None:
        mistakes.append("--address: no dashboard has run on this data folder yet; start it, or say its URL")
    if mistakes or address is None:
        print("\n".join(mistakes), file=sys.stderr)
        return 2
    role = "view-only" if options.view_only else "caretaker"
    try:
        code = codes.new_code(book, name, role, time.time(), options.minutes)
    except codes.RoleDiffers as error:
        print(f"--name {name}: {error}; name another person", file=sys.stderr)
        return 2
    show(address, code, name, role, options.minutes)
    return 0


def show(address: str, code: str, name: str, role: str, minutes: float) -> None:
    """The invitation on standard output."""
    from dashboard.access import invite

    link = invite.link(address, code)
    may = "who may look and act" if role == "caretaker" else "who may look and not change anything"
    print(invite.terminal(link))
    print(f"A phone for {name}, {may}: scan this, or open\n\n    {link}\n")
    print(f"or type {code} at {address}. Good once, for {minutes:g} minutes.")
