"""What happens before the doors open: TLS or not, the address noted, the first code shown.

Beyond this machine the pages are served under TLS, with the owner's certificate or one made here: a
passphrase and a cookie must not cross a network in the clear. `--plain` is for those who put a proxy
or a tunnel before it; it is warned of.
"""

from __future__ import annotations

import os
import sys
import time
from typing import TYPE_CHECKING

from dashboard.access import certificate, codes, invite, phones
from dashboard.access.book import Book
from dashboard.web.address import loopback

if TYPE_CHECKING:
    import argparse
    from pathlib import Path


def tls_files(options: argparse.Namespace, data: Path, host: str) -> tuple[Path, Path] | None:
    """(certificate, key) to serve with, None for plain HTTP. ValueError or OSError for what cannot be."""
    if (options.cert is None) != (options.key is None):
        raise ValueError("--cert and --key: both are wanted, or neither")
    if options.cert is not None:
        if options.plain:
            raise ValueError("--plain: found together with --cert; one of them is wanted")
        for file in (options.cert, options.key):
            if not os.access(file, os.R_OK):
                raise ValueError(f"{file}: a file that can be read is wanted")
        if options.key.stat().st_mode & 0o077:
            say(f"{options.key}: others can read this key; chmod 600 {options.key}")
        return options.cert, options.key
    if options.plain or loopback(host):
        return None
    return certificate.own_certificate(data, certificate.machine_names(host, options.name))


def opened(data: Path, host: str, port: int, tls: tuple[Path, Path] | None) -> None:
    """Say where the pages are and who can see them; show the first code on a terminal, never in a log."""
    where = address(host, port, secure=tls is not None)
    say(f"Dashboard at {where}")
    if tls is not None:
        say(f"Its certificate's SHA-256 fingerprint: {certificate.fingerprint(tls[0])}")
    elif not loopback(host):
        say("WARNING: without TLS, whoever is on this network can read what the phones are sent, and their")
        say("cookies. Keep to --plain only behind a proxy or tunnel that encrypts, or for made-up water.")
    book = Book(data)
    try:
        invite.keep_address(book, where)
        now_s = time.time()
        if phones.all_phones(book, now_s) or codes.any_open(book, now_s):
            return
        if not sys.stderr.isatty():
            say("No phone is paired yet: run  holdwater pair  on this machine.")
            return
        code = codes.new_code(book, invite.FIRST, "caretaker", now_s)
    finally:
        book.close()
    link = invite.link(where, code)
    say(f"{invite.terminal(link)}\nNo phone is paired yet. The first: scan this, or open\n\n    {link}\n")
    say(f"Good once, for {codes.MINUTES:g} minutes. Later ones:  holdwater pair")


def address(host: str, port: int, *, secure: bool) -> str:
    """The one address to open: where everybody may ask, this machine's own on its network."""
    if host in ("0.0.0.0", "::"):
        host = certificate.network_address()
    scheme = "https" if secure else "http"
    return f"{scheme}://{f'[{host}]' if ':' in host else host}:{port}/"


def say(words: str) -> None:
    print(words, file=sys.stderr, flush=True)
