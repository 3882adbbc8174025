"""The requests of the page that adds files: begin, the next piece, how far it is, the form."""

from __future__ import annotations

import json
from typing import Any

from dash import Dash
from flask import Response, abort, request

from dashboard.adding_page import adding_html
from dashboard.intake import Intake
from dashboard.source import Source
from dashboard.upload import PIECE_BYTES, Draft, Refused

LOOK_AGAIN_MS = 300  # while something is under way (our choice: it feels immediate)
STILL_HERE_MS = 60_000  # else, so that an open page keeps its files


def register(app: Dash, source: Source) -> None:
    """Nothing where there is no season to add to."""
    if source.season is None:
        return
    intake = Intake(source, source.season)
    server = app.server

    @server.post("/upload/begin")
    def begin() -> Response:
        try:
            asked = request.get_json(silent=True)
        except RecursionError:  # nested deeper than any request of ours
            abort(400)
        asked = asked if isinstance(asked, dict) else {}
        name, size, draft = asked.get("name"), asked.get("size"), asked.get("draft")
        if not isinstance(name, str) or type(size) is not int or not isinstance(draft, str | None):
            abort(400)
        return _answer(lambda: _begun(*intake.begin(draft or None, name, size)))

    @server.post("/upload/<draft>/<file>")
    def piece(draft: str, file: str) -> Response:
        def take() -> dict[str, Any]:
            at = request.args.get("at", "")
            if not at.isascii() or not at.isdigit() or len(at) > 15:
                raise Refused(400, "Where these bytes belong is not said.")
            found, taken = intake.shelf.piece(draft, file, int(at), request.get_data(cache=False))
            if taken.state == "waiting":
                intake.received(found, taken)
            return {"have": taken.have}

        return _answer(take)

    @server.get("/upload/<draft>")
    def view(draft: str) -> Response:
        def look() -> dict[str, Any]:
            try:
                return _viewed(intake, intake.shelf.draft(draft), request.args.get("seen", ""))
            except Refused as gone:  # an answer like any other: the page may ask once more after a cancel
                return {"error": gone.why}

        return _answer(look)

    @server.post("/upload/<draft>")
    def form(draft: str) -> Response:
        def act() -> dict[str, Any]:
            found = intake.shelf.draft(draft)
            given = {key: value for key, value in request.form.items() if key != "do"}
            action, _, token = request.form.get("do", "").partition(":")
            if action == "cancel":
                intake.shelf.cancel(found)
                return {"go": "/"}
            if action == "leave":
                intake.shelf.leave_out(found, token)
            elif action == "store":
                intake.store(found, given)
            else:
                intake.answered(found, given)
            return _viewed(intake, found, "")

        return _answer(act)


def _begun(draft: Draft, file: Any) -> dict[str, Any]:
    return {"draft": draft.token, "file": file.token, "piece": PIECE_BYTES, "refused": file.why}


def _viewed(intake: Intake, draft: Draft, seen: str) -> dict[str, Any]:
    """How far it is; the page itself only where it is another than the one that was seen."""
    version, stored = draft.version, draft.phase == "stored"
    if stored and not draft.told:
        return {"version": version, "go": f"/match/{draft.match}"}
    again = LOOK_AGAIN_MS if draft.busy or draft.doing else STILL_HERE_MS
    answer: dict[str, Any] = {"version": version, "again": again}
    if seen != str(version):
        answer["html"] = adding_html(intake, draft)
    return answer


def _answer(make: Any) -> Response:
    try:
        made, status = make(), 200
    except Refused as refused:
        made, status = {"error": refused.why, "have": refused.have}, refused.status
    return Response(json.dumps(made), status=status, mimetype="application/json")
