"""Passphrases: Argon2id by argon2-cffi (RFC 9106's second choice: 64 MiB, three passes), one at a time.

What is too easy is refused by zxcvbn, which knows common passwords, names and keyboard walks; there
are no rules about kinds of signs (OWASP ASVS 5, 6.2). One hash at a time, because each takes 64 MiB
of a small machine.
"""

from __future__ import annotations

import threading
from functools import cache

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerifyMismatchError
from zxcvbn import zxcvbn

SHORTEST, LONGEST = 12, 128
#: zxcvbn's scale of 0 to 4: 3 is "safely unguessable" against an offline attack on a slow hash.
STRONG_ENOUGH = 3
#: zxcvbn's time grows with the square of the length; what stands in the first signs is enough to judge.
_JUDGED = 60

_hasher = PasswordHasher()
_turn = threading.BoundedSemaphore(1)


def objection(passphrase: str, *known: str) -> str | None:
    """Why it will not do, in a sentence; None where it will. `known` words (names) count as guessed."""
    if len(passphrase) < SHORTEST:
        return f"At least {SHORTEST} characters: four words that do not belong together are easy to keep."
    if len(passphrase) > LONGEST:
        return f"At most {LONGEST} characters."
    parts = [name.lower().split() for name in known]
    words = ["holdwater", *(word for part in parts for word in [*part, "".join(part)])]
    if zxcvbn(passphrase[:_JUDGED], user_inputs=words)["score"] < STRONG_ENOUGH:
        return "Too easy to guess. Four words that do not belong together are hard to guess."
    return None


def hashed(passphrase: str) -> str:
    with _turn:
        return _hasher.hash(passphrase)


def matches(stored: str | None, passphrase: str) -> bool:
    """Whether it is the one, to the last sign (OWASP ASVS 5, 6.2.8). Takes as long where there is none, so
    that names cannot be found out; and no longer for one too long to be anybody's."""
    with _turn:
        try:
            same = _hasher.verify(stored or _nobodys(), passphrase[:LONGEST])
            return same and stored is not None and len(passphrase) <= LONGEST
        except (VerifyMismatchError, InvalidHashError):
            return False


def outdated(stored: str) -> bool:
    """Whether the library has since raised its parameters."""
    return _hasher.check_needs_rehash(stored)


@cache
def _nobodys() -> str:
    return _hasher.hash("nobody has this passphrase")
