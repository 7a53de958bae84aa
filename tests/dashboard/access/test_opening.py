"""Before the doors open: TLS, its certificate, the first code, and the verb that lets phones in."""

from __future__ import annotations

import argparse
import os
import re
import socket
import ssl
import stat
import subprocess
import sys
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from cryptography import x509

from dashboard import pair
from dashboard.access import certificate, codes, people, phones
from dashboard.access.book import Book
from dashboard.access.opening import opened, tls_files
from tests.dashboard import made
from tests.dashboard.paired import token_of

if TYPE_CHECKING:
    from collections.abc import Iterator

NAMES = ["127.0.0.1", "::1", "localhost", "shed", "shed.local"]


def said(**given: object) -> argparse.Namespace:
    return argparse.Namespace(**({"cert": None, "key": None, "plain": False, "name": []} | given))


def mode(path: Path) -> int:
    return stat.S_IMODE(path.stat().st_mode)


def test_loopback_needs_no_tls_and_the_network_has_it(tmp_path: Path) -> None:
    assert tls_files(said(), tmp_path, "127.0.0.1") is None
    assert tls_files(said(), tmp_path, "0.0.0.0") is not None
    assert tls_files(said(plain=True), tmp_path, "0.0.0.0") is None


def test_the_made_certificate_is_private_and_bounded(tmp_path: Path) -> None:
    cert, key = certificate.own_certificate(tmp_path, NAMES)
    assert mode(key) == 0o600
    assert mode(key.parent) == 0o700
    leaf, authority = x509.load_pem_x509_certificates(cert.read_bytes())
    leaf.verify_directly_issued_by(authority)
    # 825 days: the most that phones take from an authority added by hand (Apple HT210176, from memory)
    assert leaf.not_valid_after_utc - leaf.not_valid_before_utc <= timedelta(days=825)
    limits = authority.extensions.get_extension_for_class(x509.NameConstraints)
    assert limits.critical
    assert len(limits.value.permitted_subtrees or []) == len(NAMES)
    keys = [path for path in tmp_path.rglob("*") if path.is_file() and b"PRIVATE KEY" in path.read_bytes()]
    assert keys == [key]  # the authority's own was never written


def test_it_is_kept_while_it_is_good_and_made_anew_when_not(tmp_path: Path) -> None:
    now = datetime.now(UTC)
    first = certificate.own_certificate(tmp_path, NAMES, now)[0].read_bytes()
    assert certificate.own_certificate(tmp_path, NAMES, now + timedelta(days=700))[0].read_bytes() == first
    more = certificate.own_certificate(tmp_path, [*NAMES, "barn"], now)[0].read_bytes()
    assert more != first
    assert certificate.own_certificate(tmp_path, NAMES, now + timedelta(days=800))[0].read_bytes() != more


@pytest.fixture
def server(tmp_path: Path) -> Iterator[tuple[Path, int]]:
    """`holdwater dashboard` under the certificate that it made; (data folder, port)."""
    made.fill(tmp_path, int(time.time()), days=0.1)
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        port = one.getsockname()[1]
    cert, key = certificate.own_certificate(tmp_path, NAMES)
    words = ["dashboard", str(made.PLANT_FILE), "--data", str(tmp_path), "--listen", f"127.0.0.1:{port}"]
    words += ["--cert", str(cert), "--key", str(key), "--name", "shed"]
    process = subprocess.Popen([sys.executable, "-m", "collector.cli", *words])
    until = time.monotonic() + 30
    while time.monotonic() < until:
        try:
            socket.create_connection(("127.0.0.1", port), 1).close()
            break
        except OSError:
            assert process.poll() is None
            time.sleep(0.1)
    yield tmp_path, port
    process.terminate()
    process.wait(20)


def shake_hands(port: int, ca: Path, name: str, newest: ssl.TLSVersion | None = None) -> str:
    context = ssl.create_default_context(cafile=str(ca))
    if newest is not None:
        context.minimum_version = ssl.TLSVersion.TLSv1
        context.maximum_version = newest
    with (
        socket.create_connection(("127.0.0.1", port), 5) as plain,
        context.wrap_socket(plain, server_hostname=name) as wrapped,
    ):
        host = f"[{name}]" if ":" in name else name
        request = f"GET /health HTTP/1.1\r\nHost: {host}\r\nConnection: close\r\n\r\n"
        wrapped.sendall(request.encode())
        return wrapped.recv(4096).decode()


@pytest.mark.filterwarnings("ignore:ssl.TLSVersion:DeprecationWarning")  # an old version is tried on purpose
def test_a_phone_that_trusts_it_checks_it_and_no_other_name_passes(server: tuple[Path, int]) -> None:
    data, port = server
    ca = data / "tls" / "ca.pem"
    for name in NAMES:
        assert "HTTP/1.1 503" in shake_hands(port, ca, name)  # no daemon runs here, and health says so
    with pytest.raises(ssl.SSLCertVerificationError):
        shake_hands(port, ca, "elsewhere.example")
    with pytest.raises((ssl.SSLError, ConnectionError)):
        shake_hands(port, ca, "localhost", ssl.TLSVersion.TLSv1_1)
    assert mode(data / "access.sqlite") == 0o600


def test_the_authority_cannot_vouch_for_others(tmp_path: Path) -> None:
    """Its constraints, by another verifier: a leaf for another name, signed by such an authority."""
    from cryptography.hazmat.primitives import hashes
    from cryptography.hazmat.primitives.asymmetric import ec
    from cryptography.x509.verification import PolicyBuilder, Store, VerificationError

    key = ec.generate_private_key(ec.SECP256R1())
    title, span = x509.Name([]), (datetime.now(UTC) - timedelta(1), datetime.now(UTC) + timedelta(9))
    held = x509.load_pem_x509_certificates(certificate.own_certificate(tmp_path, NAMES)[0].read_bytes())[1]
    authority = certificate._begun(held.subject, held.subject, key.public_key(), span)
    for extension in held.extensions:  # the same authority with a key that was not thrown away
        if extension.oid != x509.SubjectKeyIdentifier.oid:
            authority = authority.add_extension(extension.value, extension.critical)
    skid = x509.SubjectKeyIdentifier.from_public_key(key.public_key())
    ca = authority.add_extension(skid, critical=False).sign(key, hashes.SHA256())

    def verified(name: str) -> bool:
        leaf = ec.generate_private_key(ec.SECP256R1())
        cert = (
            certificate._begun(title, held.subject, leaf.public_key(), span)
            .add_extension(x509.SubjectAlternativeName([x509.DNSName(name)]), critical=True)
            .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
            .add_extension(
                x509.AuthorityKeyIdentifier.from_issuer_public_key(key.public_key()), critical=False
            )
            .add_extension(x509.ExtendedKeyUsage([x509.ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
            .sign(key, hashes.SHA256())
        )
        try:
            PolicyBuilder().store(Store([ca])).build_server_verifier(x509.DNSName(name)).verify(cert, [])
        except VerificationError:
            return False
        return True

    assert verified("shed.local")
    assert not verified("elsewhere.example")


@pytest.mark.parametrize(
    "given",
    [{"cert": Path("c.pem")}, {"key": Path("k.pem")}, {"cert": Path("no.pem"), "key": Path("no.key")}],
)
def test_half_a_certificate_is_the_owners_mistake(tmp_path: Path, given: dict[str, Path]) -> None:
    with pytest.raises(ValueError, match="wanted"):
        tls_files(said(**given), tmp_path, "127.0.0.1")


def test_plain_beyond_this_machine_is_warned_of(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    opened(tmp_path, "0.0.0.0", 8050, None)
    assert "WARNING: without TLS" in capsys.readouterr().err
    opened(tmp_path, "127.0.0.1", 8050, None)
    assert "WARNING" not in capsys.readouterr().err


def test_no_code_is_printed_where_a_log_would_keep_it(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    opened(tmp_path, "127.0.0.1", 8050, None)
    told = capsys.readouterr().err
    assert "holdwater pair" in told
    assert "code=" not in told
    assert not codes.any_open(Book(tmp_path), time.time())


def test_on_a_terminal_the_first_code_is_shown_and_only_while_nobody_is_in(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("sys.stderr.isatty", lambda: True)
    opened(tmp_path, "127.0.0.1", 8050, None)
    code = re.search(r"http://127.0.0.1:8050/pair\?code=([0-9A-Z-]+)", capsys.readouterr().err)
    assert code is not None
    book = Book(tmp_path)
    assert codes.redeem(book, code[1], "phone", "", time.time()) is not None
    opened(tmp_path, "127.0.0.1", 8050, None)
    assert "code=" not in capsys.readouterr().err


def verb(data: Path, *words: str) -> int:
    parser = argparse.ArgumentParser()
    pair.arguments(parser)
    return pair.run(parser.parse_args(["--data", str(data), *words]))


def test_the_verb_lets_in_lists_and_forgets(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert verb(tmp_path) == 2  # no address known yet
    opened(tmp_path, "127.0.0.1", 8050, None)
    capsys.readouterr()
    assert verb(tmp_path, "--name", "Ben", "--view-only") == 0
    shown = capsys.readouterr().out
    code = re.search(r"code=([0-9A-Z-]+)", shown)
    assert code is not None
    assert "█" in shown
    book = Book(tmp_path)
    assert codes.redeem(book, code[1], "Ben's phone", "", time.time()) is not None
    assert people.everybody(book)[0].role == "view-only"
    assert verb(tmp_path, "--list") == 0
    number = re.search(r"(\d+)  Ben \(view-only\), Ben's phone", capsys.readouterr().out)
    assert number is not None
    assert verb(tmp_path, "--forget", "99") == 2
    assert verb(tmp_path, "--forget", number[1]) == 0
    assert phones.all_phones(book, time.time()) == []


@pytest.mark.parametrize("words", [("--name", " "), ("--minutes", "0"), ("--minutes", "1e9")])
def test_the_verb_says_what_is_wrong(tmp_path: Path, words: tuple[str, str]) -> None:
    opened(tmp_path, "127.0.0.1", 8050, None)
    assert verb(tmp_path, *words) == 2


def test_the_verb_changes_no_role(tmp_path: Path) -> None:
    opened(tmp_path, "127.0.0.1", 8050, None)
    token_of(Book(tmp_path), "view-only", name="Ben")
    assert verb(tmp_path, "--name", "Ben") == 2


def test_root_makes_the_book_for_the_folders_owner(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    given: list[tuple[int, int]] = []
    folder = os.stat_result((0o40700, 1, 1, 1, 1234, 1234, 0, 0, 0, 0))
    stat_of = Path.stat
    monkeypatch.setattr(os, "geteuid", lambda: 0)
    monkeypatch.setattr(os, "fchown", lambda _, user, group: given.append((user, group)))
    monkeypatch.setattr(
        Path, "stat", lambda path, **how: folder if path == tmp_path else stat_of(path, **how)
    )
    Book(tmp_path).close()
    assert given == [(1234, 1234)]
