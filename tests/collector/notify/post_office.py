"""A mail server on loopback, as much of RFC 5321 as one letter needs; it can be made to turn letters away."""

from __future__ import annotations

import email
import email.policy
import socketserver
import threading
from email.message import EmailMessage
from typing import cast


class PostOffice:
    """`got` holds the letters that it took; `offered` counts those that were begun."""

    def __init__(self) -> None:
        self.got: list[EmailMessage] = []
        self.offered = 0
        self.refuses = False
        outer = self

        class Handler(socketserver.StreamRequestHandler):
            def handle(self) -> None:
                self.say("220 loopback")
                while line := self.rfile.readline().decode().strip():
                    word = line.split(" ")[0].split(":")[0].upper()
                    if word == "QUIT":
                        self.say("221 goodbye")
                        return
                    self.heed(word)

            def heed(self, word: str) -> None:
                if word == "MAIL":
                    outer.offered += 1
                    self.say("451 try again later" if outer.refuses else "250 as you say")
                elif word == "DATA":
                    self.say("354 go on")
                    lines = iter(self.rfile.readline, b".\r\n")
                    letter = email.message_from_bytes(b"".join(lines), policy=email.policy.default)
                    outer.got.append(cast("EmailMessage", letter))
                    self.say("250 taken")
                else:
                    self.say("250 as you say")

            def say(self, words: str) -> None:
                self.wfile.write(f"{words}\r\n".encode())

        self._server = socketserver.ThreadingTCPServer(("127.0.0.1", 0), Handler)
        self._server.daemon_threads = True
        threading.Thread(target=self._server.serve_forever, daemon=True).start()

    @property
    def port(self) -> int:
        return int(self._server.server_address[1])

    def close(self) -> None:
        self._server.shutdown()
        self._server.server_close()
