"""gunicorn, started from here: one process, many threads, because every open phone holds one."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gunicorn.app.base import BaseApplication

from dashboard.web.patience import PatientWorker

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from flask import Flask

#: 24 phones and room to answer beside them.
THREADS = 32


class _Server(BaseApplication):
    def __init__(
        self, make: Callable[[], Flask], host: str, port: int, tls: tuple[Path, Path] | None
    ) -> None:
        self._make, self._bind = make, f"[{host}]:{port}" if ":" in host else f"{host}:{port}"
        self._tls = {} if tls is None else {"certfile": str(tls[0]), "keyfile": str(tls[1])}
        super().__init__()

    def load_config(self) -> None:
        for name, value in {
            "bind": self._bind,
            "workers": 1,
            "worker_class": PatientWorker,
            "threads": THREADS,
            "worker_connections": 200,
            "timeout": 60,
            "graceful_timeout": 1,  # streams never end by themselves; phones come back
            "keepalive": 15,
            "loglevel": "error",  # a warning for every garbled request would let strangers fill the log
            "limit_request_line": 4094,
            "control_socket_disable": True,
            **self._tls,  # gunicorn's context is the standard library's: TLS 1.2 or later
        }.items():
            if name in self.cfg.settings:
                self.cfg.set(name, value)

    def load(self) -> Flask:
        return self._make()


def serve(make: Callable[[], Flask], host: str, port: int, tls: tuple[Path, Path] | None = None) -> None:
    """Serve until SIGTERM or SIGINT, under TLS given (certificate, key). `make` is called in the worker."""
    _Server(make, host, port, tls).run()
