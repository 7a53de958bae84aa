"""A certificate made at set-up, for owners who have none.

A phone believes a certificate that an authority signed. So an authority is made that may speak for
this machine's own names and addresses only (RFC 5280, 4.2.1.10), it signs one certificate, and its
key is thrown away, never having been written: whoever takes `ca.pem` into their phone trusts this
machine and nothing else, for ever after. 820 days, since phones take none of more than 825 from an
authority that their owner added; then both are made anew.
"""

from __future__ import annotations

import ipaddress
import os
import socket
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

FOLDER, CA, CERT, KEY = "tls", "ca.pem", "cert.pem", "key.pem"
LASTS = timedelta(days=820)
RENEW_BEFORE = timedelta(days=30)


def own_certificate(data: Path, names: Iterable[str], now: datetime | None = None) -> tuple[Path, Path]:
    """(certificate, key) files for these names and addresses; made where they are missing, old or others'."""
    folder, wanted = data / FOLDER, sorted(set(names))
    cert, key = folder / CERT, folder / KEY
    at = now or datetime.now(UTC)
    if not (key.exists() and _serves(cert, wanted, at)):
        _make(folder, wanted, at)
    return cert, key


def machine_names(host: str, further: Iterable[str]) -> list[str]:
    """The names that phones may call this machine by: its own, those given, and the address served at."""
    own = socket.gethostname().split(".")[0].lower()
    found = {"localhost", "127.0.0.1", "::1", own, f"{own}.local", *further}
    return sorted(found | ({network_address()} if host in ("0.0.0.0", "::") else {host}))


def network_address() -> str:
    """This machine's address on its network, by the route that the system would choose."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # a documentation address: nothing is sent, a route is chosen
            return str(probe.getsockname()[0])
        except OSError:
            return "127.0.0.1"


def fingerprint(cert: Path) -> str:
    """SHA-256 of the certificate, in pairs, as browsers show it."""
    first = x509.load_pem_x509_certificates(cert.read_bytes())[0]
    return first.fingerprint(hashes.SHA256()).hex(":").upper()


def _serves(cert: Path, wanted: list[str], at: datetime) -> bool:
    """Whether the certificate there is still good, and for all these names."""
    try:
        held = x509.load_pem_x509_certificates(cert.read_bytes())[0]
        said = held.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    except (OSError, ValueError, x509.ExtensionNotFound):
        return False
    if not held.not_valid_before_utc <= at < held.not_valid_after_utc - RENEW_BEFORE:
        return False
    return {_general(name) for name in wanted} <= set(said)


def _make(folder: Path, wanted: list[str], at: datetime) -> None:
    authority, leaf = ec.generate_private_key(ec.SECP256R1()), ec.generate_private_key(ec.SECP256R1())
    title = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, f"Holdwater on {socket.gethostname()[:40]}")])
    names = [_general(name) for name in wanted]
    span = at - timedelta(days=1), at + LASTS
    ca = (
        _begun(title, title, authority.public_key(), span)
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(_usage(sign=True), critical=True)
        .add_extension(x509.NameConstraints([_subtree(name) for name in wanted], None), critical=True)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(authority.public_key()), critical=False)
        .sign(authority, hashes.SHA256())
    )
    of_authority = x509.AuthorityKeyIdentifier.from_issuer_public_key(authority.public_key())
    # a subject without a name: name constraints would hold a common name to them as well
    cert = (
        _begun(x509.Name([]), title, leaf.public_key(), span)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(_usage(sign=False), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(x509.SubjectAlternativeName(names), critical=True)
        .add_extension(of_authority, critical=False)
        .sign(authority, hashes.SHA256())
    )
    pem = serialization.Encoding.PEM
    private = leaf.private_bytes(pem, serialization.PrivateFormat.PKCS8, serialization.NoEncryption())
    folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    _write(folder / KEY, private, 0o600)
    _write(folder / CA, ca.public_bytes(pem), 0o644)
    _write(folder / CERT, cert.public_bytes(pem) + ca.public_bytes(pem), 0o644)


def _begun(
    subject: x509.Name, issuer: x509.Name, key: ec.EllipticCurvePublicKey, span: tuple[datetime, datetime]
) -> x509.CertificateBuilder:
    return (
        x509.CertificateBuilder(issuer, subject, key, x509.random_serial_number())
        .not_valid_before(span[0])
        .not_valid_after(span[1])
    )


def _usage(*, sign: bool) -> x509.KeyUsage:
    return x509.KeyUsage(
        digital_signature=not sign,
        key_cert_sign=sign,
        crl_sign=sign,
        content_commitment=False,
        key_encipherment=False,
        data_encipherment=False,
        key_agreement=False,
        encipher_only=False,
        decipher_only=False,
    )


def _general(name: str) -> x509.GeneralName:
    try:
        return x509.IPAddress(ipaddress.ip_address(name))
    except ValueError:
        return x509.DNSName(name)


def _subtree(name: str) -> x509.GeneralName:
    """The name alone, as a name constraint: an address is a network of one."""
    try:
        return x509.IPAddress(ipaddress.ip_network(name))
    except ValueError:
        return x509.DNSName(name)


def _write(path: Path, body: bytes, mode: int) -> None:
    """Replace in one step, never readable by others for a moment."""
    new = path.with_suffix(".new")
    new.unlink(missing_ok=True)
    with os.fdopen(os.open(new, os.O_CREAT | os.O_EXCL | os.O_WRONLY, mode), "wb") as file:
        file.write(body)
    new.replace(path)
