"""The way in and out: pair with a code, sign in with a passphrase, sign out. All works without script."""

from __future__ import annotations

import logging
from typing import TYPE_CHECKING
from urllib.parse import urlsplit

from flask import Blueprint, Response, redirect, request

from dashboard.access import codes, cookies, passphrases, people, phones
from dashboard.access.brake import Brake, network
from dashboard.access.gate import of_server, who
from dashboard.access.leaf import leaf

if TYPE_CHECKING:
    from dashboard.web.files import Files

LONGEST_LABEL = 40
log = logging.getLogger("holdwater.access")


def doors(files: Files) -> Blueprint:
    """The routes; their brakes live as long as the server."""
    routes = Blueprint("doors", __name__)
    # Five tries at once and then two a minute from one place; ten and then one a minute at one name from
    # places where that person was never seen. A stranger thus slows strangers down and nobody else: a
    # paired phone stays signed in, and `holdwater pair` on the machine has a brake of its own.
    pairing, place, name = Brake(5, 30.0), Brake(5, 30.0), Brake(10, 60.0)

    def page(status: int = 200, **said: object) -> Response:
        said.setdefault("next", local(request.values.get("next", "")))
        answer = Response(leaf("door.html", files, **said), status)
        if wait := said.get("wait"):
            answer.headers["Retry-After"] = str(wait)
        return answer

    @routes.route("/sign-in", methods=["GET", "POST"])
    def sign_in() -> Response:
        gate, now_s = of_server(), of_server().clock()
        if request.method == "GET":
            return page(first=not people.everybody(gate.book))
        given, secret = request.form.get("name", ""), request.form.get("passphrase", "")
        person = people.named(gate.book, people.clean(given))
        here = network(request.remote_addr or "")
        wait = place.take(here, now_s)
        stranger = person is None or not phones.familiar(gate.book, person.id, request.remote_addr or "")
        if wait == 0 and stranger:
            wait = name.take(person.name if person else "", now_s)
        if wait > 0:
            return page(429, wait=int(wait) + 1, name=given)
        if not passphrases.matches(person.passphrase if person else None, secret) or person is None:
            # a name that is nobody's is not repeated: it may be a passphrase in the wrong field
            log.warning("refused a passphrase for %s, at %s", person.name if person else "nobody known", here)
            return page(401, wrong="Name and passphrase do not belong together.", name=given)
        place.give_back(here)
        if passphrases.outdated(person.passphrase or ""):
            people.keep_passphrase(gate.book, person.id, passphrases.hashed(secret))
        with gate.book.changing() as change:
            token = phones.entered(change, person.id, label(), request.remote_addr or "", now_s)
        log.info("%s signed in, at %s", person.name, here)
        return let_in(token)

    @routes.route("/pair", methods=["GET", "POST"])
    def pair() -> Response:
        gate, now_s = of_server(), of_server().clock()
        code = request.values.get("code", "")
        here = network(request.remote_addr or "")
        if not code:
            return page(first=not people.everybody(gate.book))
        if (wait := pairing.take(here, now_s)) > 0:
            return page(429, wait=int(wait) + 1)
        promised = codes.invitation(gate.book, code, now_s)
        if promised is None:
            log.warning("refused a pairing code, at %s", here)
            return page(401, spent="This code was used, has run out, or was mistyped.")
        pairing.give_back(here)
        person = people.named(gate.book, promised.name)
        said = {"invitation": promised, "code": code, "known": person is not None and person.passphrase}
        said["label"] = phones.guess_label(request.headers.get("User-Agent", ""))
        secret = request.form.get("passphrase", "")
        if request.method == "GET":
            return page(**said)
        if secret and not said["known"] and (why := passphrases.objection(secret, promised.name)):
            return page(400, wrong=why, **said)
        used = codes.redeem(gate.book, code, label(), request.remote_addr or "", now_s)
        if used is None:
            return page(401, spent="This code was used a moment ago.")
        if secret and not said["known"]:
            people.keep_passphrase(gate.book, used[0], passphrases.hashed(secret))
        log.info("paired a phone of %s (%s), at %s", promised.name, promised.role, here)
        return let_in(used[1])

    @routes.post("/sign-out")
    def sign_out() -> Response:
        phones.revoke(of_server().book, who().id)
        answer = redirect("/sign-in", 303)
        cookies.take_back(answer, of_server().secure)
        return answer

    return routes


def let_in(token: str) -> Response:
    """On to where the phone was going, with its cookie. Whatever cookie it had is dead or replaced."""
    answer = redirect(local(request.form.get("next", "")) or "/", 303)
    cookies.give(answer, token, of_server().secure)
    return answer


def label() -> str:
    """What the phone is to be called: as given, else as its browser says."""
    return people.clean(request.form.get("label", ""))[:LONGEST_LABEL] or phones.guess_label(
        request.headers.get("User-Agent", "")
    )


def local(path: str) -> str:
    """The path if it stays on this server, else nothing: a sign-in must not send people elsewhere."""
    parts = urlsplit(path)
    inside = path.startswith("/") and not path.startswith("//") and not (parts.scheme or parts.netloc)
    return path if inside and "\\" not in path and path.isprintable() else ""
