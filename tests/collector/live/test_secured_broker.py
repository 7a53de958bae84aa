"""A broker that asks who we are and speaks TLS, and settings that are wrong about either."""

from __future__ import annotations

import subprocess
from pathlib import Path

import pytest
import trustme

from tests.collector.live.conftest import Broker, Running, until

pytestmark = pytest.mark.broker

SECRET = "a fieldful of barley"


@pytest.fixture
def secured(tmp_path: Path) -> tuple[Broker, Path]:
    """(broker with a user and TLS, its authority's certificate)."""
    folder = tmp_path / "broker"
    folder.mkdir()
    authority = trustme.CA()
    authority.cert_pem.write_to_path(str(folder / "ca.pem"))
    ours = authority.issue_cert("localhost")
    ours.private_key_pem.write_to_path(str(folder / "key.pem"))
    for number, part in enumerate(ours.cert_chain_pems):
        part.write_to_path(str(folder / "cert.pem"), append=number > 0)
    subprocess.run(
        ["mosquitto_passwd", "-b", "-c", str(folder / "passwords"), "holdwater", SECRET],
        check=True,
        timeout=20,
    )
    made = Broker(
        folder,
        f"allow_anonymous false\npassword_file {folder}/passwords\n"
        f"certfile {folder}/cert.pem\nkeyfile {folder}/key.pem\n",
    )
    return made, folder / "ca.pem"


def daemon(broker: Broker, folder: Path, ca: Path | None, secret: str) -> Running:
    """A daemon that knows the secret and whom to trust by its settings file alone."""
    (folder / "password").write_text(secret + "\n")
    (folder / "password").chmod(0o600)
    lines = ["[broker]", 'user = "holdwater"', f'password_file = "{folder}/password"']
    lines += [f'ca_file = "{ca}"'] if ca else []
    (folder / "settings.toml").write_text("\n".join(lines))
    made = Running(broker, folder, settings=folder / "settings.toml")
    made.url = f"mqtts://localhost:{broker.port}"
    return made


def test_password_and_tls(secured: tuple[Broker, Path], tmp_path: Path) -> None:
    broker, ca = secured
    broker.start()
    ours = daemon(broker, tmp_path, ca, SECRET)
    ours.start()
    try:
        until(ours.connected)
    finally:
        assert ours.stop() == 0
        broker.stop()
    assert SECRET not in ours.log.read_text()
    kept = [path for path in tmp_path.rglob("*") if path.suffix == ".sqlite" or path.name == "daemon.json"]
    assert len(kept) >= 2
    assert [path.name for path in kept if path.stat().st_mode & 0o077] == []  # for its owner's eyes


@pytest.mark.parametrize(
    ("trusted", "secret", "host", "said"),
    [
        (True, "wrong", "localhost", "Not authorized"),
        (False, SECRET, "localhost", "CERTIFICATE_VERIFY_FAILED"),
        (True, SECRET, "127.0.0.1", "CERTIFICATE_VERIFY_FAILED"),  # the certificate is for localhost
    ],
    ids=["password", "authority", "name"],
)
def test_refused_once_said_and_still_alive(
    secured: tuple[Broker, Path], tmp_path: Path, trusted: bool, secret: str, host: str, said: str
) -> None:
    broker, ca = secured
    broker.start()
    ours = daemon(broker, tmp_path, ca if trusted else None, secret)
    ours.url = f"mqtts://{host}:{broker.port}"
    ours.start()
    try:
        until(lambda: ours.log.exists() and "no broker at" in ours.log.read_text())
    finally:
        assert ours.stop() == 0
        broker.stop()
    words = ours.log.read_text()
    assert said.lower() in words.lower()
    assert words.count("no broker at") == 1
    assert secret not in words or secret == "wrong"
