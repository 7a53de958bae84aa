"""Phones and people: who may look, who may act, invite, forget, a passphrase. All works without script.

Letting somebody in, taking somebody out and changing a passphrase ask the passphrase anew after ten
minutes, so that a phone left on a bench lets nobody else in. Forgetting a phone does not: it only
shuts a door, and is wanted in haste.
"""

from __future__ import annotations

import logging
from typing import TYPE_CHECKING
from urllib.parse import urlsplit

from flask import Blueprint, Response, abort, redirect, request

from dashboard.access import codes, invite, passphrases, people, phones
from dashboard.access.brake import Brake
from dashboard.access.gate import of_server, require_caretaker, who
from dashboard.access.leaf import leaf
from dashboard.telling import display
from dashboard.web.address import loopback

if TYPE_CHECKING:
    from dashboard.web.files import Files

HERE = "/people"
log = logging.getLogger("holdwater.access")


def household(files: Files) -> Blueprint:
    routes = Blueprint("household", __name__)
    proving = Brake(5, 30.0)

    def page(status: int = 200, **said: object) -> Response:
        return Response(leaf("people.html", files, **_state(), **said), status)

    def unproved() -> Response | None:
        """The page that asks for the passphrase, where it was not given just now."""
        if who().proved(of_server().clock()):
            return None
        return page(403, wrong="First show that it is you: your passphrase, please.")

    @routes.get(HERE)
    def home() -> Response:
        return page()

    @routes.post(f"{HERE}/prove")
    def prove() -> Response:
        gate, me = of_server(), who()
        person = people.named(gate.book, me.name)
        if (wait := proving.take(str(me.person), gate.clock())) > 0:
            return page(429, wrong=f"Too many tries. The next one counts in {int(wait) + 1} s.")
        secret = request.form.get("passphrase", "")
        if not passphrases.matches(person.passphrase if person else None, secret):
            log.warning("refused a passphrase for %s, who is signed in", me.name)
            return page(401, wrong="That is not your passphrase.")
        proving.give_back(str(me.person))
        phones.prove(gate.book, me.id, gate.clock())
        return redirect(HERE, 303)

    @routes.post(f"{HERE}/passphrase")
    def passphrase() -> Response:
        if (first := unproved()) is not None:
            return first
        secret, me = request.form.get("new", ""), who()
        if why := passphrases.objection(secret, me.name):
            return page(400, wrong=why, changing=True)
        people.keep_passphrase(of_server().book, me.person, passphrases.hashed(secret), me.id)
        log.info("%s has a new passphrase", me.name)
        return page(done="Your passphrase is kept. Your other phones were signed out.")

    @routes.post(f"{HERE}/forget")
    def forget() -> Response:
        number, me = _number("phone"), who()
        of_whom = {phone.id: phone.person for phone in _phones()}
        if of_whom.get(number) != me.person:
            require_caretaker()
        phones.revoke(of_server().book, number)
        log.info("%s signed phone %d out", me.name, number)
        return redirect(HERE, 303)

    @routes.post(f"{HERE}/remove")
    def remove() -> Response:
        if (first := unproved()) is not None:
            return first
        if not people.remove(of_server().book, _number("person")):
            return page(409, wrong="There must be one caretaker at least.")
        log.info("%s took person %d out", who().name, _number("person"))
        return redirect(HERE, 303)

    @routes.post(f"{HERE}/invite")
    def invitation() -> Response:
        if (first := unproved()) is not None:
            return first
        gate = of_server()
        name, role = people.clean(request.form.get("name", "")), request.form.get("role", "")
        if not name or role not in people.ROLES:
            return page(400, wrong="A name is wanted, and what they may do.")
        try:
            code = codes.new_code(gate.book, name, role, gate.clock())
        except codes.RoleDiffers as error:
            return page(409, wrong=f"{error}. Choose that, or another name.")
        log.info("%s invites %s (%s)", who().name, name, role)
        link = invite.link(request.host_url, code)
        return Response(
            leaf(
                "invite.html",
                files,
                code=code,
                drawing=invite.drawing(link),
                name=name,
                role=role,
                here_only=loopback(urlsplit(request.host_url).hostname or ""),
            )
        )

    return routes


def _state() -> dict[str, object]:
    """What the page shows: a caretaker sees everybody, others their own phones."""
    gate, me = of_server(), who()
    now_s = gate.clock()
    persons = [one for one in people.everybody(gate.book) if me.may_act or one.id == me.person]
    held = {one.id: [(phone, _seen(now_s - phone.seen_s)) for phone in _phones() if phone.person == one.id]
            for one in persons}  # fmt: skip
    mine = people.named(gate.book, me.name)
    return {
        "me": me,
        "persons": persons,
        "held": held,
        "proved": me.proved(now_s),
        "has_passphrase": mine is not None and mine.passphrase is not None,
        "kept_days": round(phones.IDLE_S / phones.DAY_S),
    }


def _seen(age_s: float) -> str:
    """How long ago a phone was seen, no finer than it is noted."""
    return "in use" if age_s < 2 * phones.SEEN_EVERY_S else f"seen {display.ago(age_s)}"


def _phones() -> list[phones.Phone]:
    return phones.all_phones(of_server().book, of_server().clock())


def _number(field: str) -> int:
    value = request.form.get(field, "")
    if not value.isascii() or not value.isdigit() or len(value) > 15:
        abort(400)
    return int(value)
