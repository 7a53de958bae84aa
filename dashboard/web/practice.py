"""Practice on its addresses: the room, an exercise, its moments, an answer.

`/at/<plant>/practice` chooses; POST `…/new` begins an exercise and leads to `…/practice/<id>`, whose
script asks for moments, the overview, runs and the comparison with the plant's own readings; POST
`…/mend` plays it again with the fault mended at a moment. Nothing
here writes to a history: the one thing kept is what was answered, in a file of Practice's own.
"""

from __future__ import annotations

import threading
from typing import TYPE_CHECKING, Any

from flask import Flask, Response, abort, jsonify, redirect, request

from dashboard.drawing.figures import DARK, LIGHT
from dashboard.pages import practice as page
from dashboard.practice import frames, strip
from dashboard.practice.healthy import Stretch
from dashboard.practice.lessons import Lesson
from dashboard.practice.record import Record
from dashboard.practice.session import BLIND_DAYS, Session, Sessions, chosen
from dashboard.site import now_us
from dashboard.telling.status import status

if TYPE_CHECKING:
    from dashboard.site import Site
    from dashboard.web.files import Files
    from dashboard.web.sites import Sites

#: The first moment of an exercise may take so long, the healthy stretch included.
FIRST_WITHIN_S = 60.0


class Room:
    """Practice on one plant."""

    def __init__(self, site: Site) -> None:
        self.site, self.sessions = site, Sessions()
        self.record = Record(site.data / site.plant.name)
        self._stretch: Stretch | None = None
        self._lock = threading.Lock()

    @property
    def stretch(self) -> Stretch:
        with self._lock:
            if self._stretch is None:
                told = self.site.facts().outlook("delivery_cut_in_m3_s")
                self._stretch = Stretch(self.site.plant, told.p50 if told else None)
            return self._stretch

    def warm(self) -> None:
        """Make the healthy stretch while its reader still chooses."""
        threading.Thread(target=self.stretch.ready, name="practice", daemon=True).start()

    def begin(self, lesson: Lesson, level: int, **how: Any) -> Session:
        session = Session(self.site.plant, lesson, level, **how)
        self.sessions.add(session)
        session.start(self.stretch)
        return session


def mount(server: Flask, sites: Sites, files: Files) -> None:
    rooms = {name: Room(site) for name, site in sites.by_name.items()}
    _choosing(server, sites, files, rooms)
    _playing(server, sites, files, rooms)
    _mending(server, sites, rooms)


def _choosing(server: Flask, sites: Sites, files: Files, rooms: dict[str, Room]) -> None:
    @server.get("/at/<name>/practice")
    def practice(name: str) -> str:
        site, room = sites[name], rooms[name]
        room.warm()
        return page.choosing(site.plant, room.record.read(), files, sites.base(name))

    @server.post("/at/<name>/practice/new")
    def practice_new(name: str) -> Response:
        site, room = sites[name], rooms[name]
        lessons = page.possible(site.plant)
        if request.form.get("blind"):
            marks = room.record.read()
            right = {key: one.right for key, one in marks.items()}
            lesson, choices, begins_h = chosen(lessons, lambda one: right.get(one.name, 0))
            session = room.begin(lesson, 1, begins_h=begins_h, choices=choices, days=BLIND_DAYS)
        else:
            named = {one.name: one for one in lessons}
            level = request.form.get("level", "1")
            if request.form.get("lesson") not in named or level not in ("0", "1", "2"):
                abort(400)
            second = named.get(request.form.get("second", ""))
            if second is named[request.form["lesson"]]:
                second = None
            session = room.begin(named[request.form["lesson"]], int(level), second=second)
        return redirect(f"{sites.base(name)}/practice/{session.id}", 303)

    @server.post("/at/<name>/practice/<identity>/answer")
    def practice_answer(name: str, identity: str) -> Response:
        session = _session(sites, rooms, name, identity)
        answer = request.form.get("answer", "")
        if answer not in session.choices:
            abort(400)
        if session.blind:
            session.answer = answer
            right = answer == session.lesson.name
            try:
                rooms[name].record.answered(session.lesson.name, right)
            except OSError:
                session.failed = "The answer could not be noted: is the disk full?"
        return redirect(f"{sites.base(name)}/practice/{identity}#answer", 303)


def _mending(server: Flask, sites: Sites, rooms: dict[str, Room]) -> None:
    @server.post("/at/<name>/practice/<identity>/mend")
    def practice_mend(name: str, identity: str) -> Response:
        session = _session(sites, rooms, name, identity)
        try:
            at_us = int(request.form.get("t", "")) * 1000
        except ValueError:
            abort(400)
        called = [one.raised_us for lesson in session.lessons if (one := session.detection(lesson))]
        if session.blind or session.mended_us is not None or not called:
            abort(400)
        room = rooms[name]
        again = session.mended(min(max(at_us, min(called)), session.until_us))
        room.sessions.add(again)
        again.start(room.stretch)
        return redirect(f"{sites.base(name)}/practice/{again.id}", 303)


def _session(sites: Sites, rooms: dict[str, Room], name: str, identity: str) -> Session:
    sites[name]
    session = rooms[name].sessions.get(identity)
    if session is None:
        abort(404)
    return session


def _ready(sites: Sites, rooms: dict[str, Room], name: str, identity: str) -> tuple[Session, int]:
    """An exercise that can be watched, and the moment asked for, brought within it."""
    session = _session(sites, rooms, name, identity)
    if not session.ready.wait(FIRST_WITHIN_S):
        abort(503)
    try:
        asked_us = int(request.args.get("t", "0")) * 1000
    except ValueError:
        abort(400)
    return session, min(max(asked_us, session.begin_us), session.until_us)


def _playing(server: Flask, sites: Sites, files: Files, rooms: dict[str, Room]) -> None:
    @server.get("/at/<name>/practice/<identity>")
    def practice_play(name: str, identity: str) -> str | Response:
        base = sites.base(name)
        sites[name]
        session = rooms[name].sessions.get(identity)
        if session is None:  # made room for newer ones, or the server was started again
            return redirect(f"{base}/practice", 303)
        if not session.ready.is_set():
            return page.waiting(session, rooms[name].stretch.share, files, base)
        own = status(sites[name].facts())
        return page.playing(session, own, files, base)

    @server.get("/at/<name>/practice/<identity>/moment")
    def practice_moment(name: str, identity: str) -> Response:
        session, at_us = _ready(sites, rooms, name, identity)
        base, twin = f"{sites.base(name)}/practice/{identity}", request.args.get("twin") == "1"
        return jsonify(frames.frame(session, at_us, base, request.args.get("seen", ""), twin=twin))

    @server.get("/at/<name>/practice/<identity>/overview")
    def practice_overview(name: str, identity: str) -> Response:
        session, _ = _ready(sites, rooms, name, identity)
        return jsonify(frames.overview(session, _look(session), twin=request.args.get("twin") == "1"))

    @server.get("/at/<name>/practice/<identity>/runs")
    def practice_runs(name: str, identity: str) -> Response:
        session, at_us = _ready(sites, rooms, name, identity)
        look = DARK if request.args.get("dark") == "1" else LIGHT
        return jsonify(page.runs(session, at_us, look, twin=request.args.get("twin") == "1"))

    @server.get("/at/<name>/practice/<identity>/beside")
    def practice_beside(name: str, identity: str) -> str:
        session, at_us = _ready(sites, rooms, name, identity)
        span = request.args.get("span", "")
        if span not in frames.SPANS:
            abort(400)
        return page.beside(session, sites[name], at_us, now_us(), _look(session), span)

    @server.get("/at/<name>/practice/<identity>/own")
    def practice_own(name: str, identity: str) -> Response:
        _session(sites, rooms, name, identity)
        own = status(sites[name].facts())
        return jsonify({"mood": own.mood, "verdict": own.verdict})

    @server.get("/at/<name>/practice/<identity>/findings/<path:which>")
    def practice_why(name: str, identity: str, which: str) -> str:
        session, _ = _ready(sites, rooms, name, identity)
        content = page.why(session, which, files, sites.base(name))
        if content is None:
            abort(404)
        return content


def _look(session: Session) -> strip.Look:
    look = request.args.get("look", "pressure")
    if look not in dict(strip.looks(session.plant)):
        abort(400)
    return look  # type: ignore[return-value]
