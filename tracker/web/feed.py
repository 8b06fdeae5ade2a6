"""Where a school's devices send their readings: one address, a key in a header, packs in, problems out in words."""

from __future__ import annotations

import json
import threading
from contextlib import AbstractContextManager, nullcontext
from typing import Any, NoReturn

from flask import Blueprint, Response, request
from flask_limiter.util import get_remote_address
from limits import parse

from tracker.db import writing
from tracker.intake import feed as intake
from tracker.intake import senml
from tracker.records import feed as records
from tracker.web.access import public, with_key
from tracker.web.clock import now
from tracker.web.errors import problem
from tracker.web.feed_description import described
from tracker.web.security import token_hash
from tracker.web.state import state

bp = Blueprint("feed", __name__)

LARGEST = 256 * 1024
MEDIA = ("application/senml+json", "application/json")
WRONG_KEYS = parse("60/minute")
TITLE = "Nothing of this pack was kept"
SHOWN = 50  # problems that an answer names
TURN = threading.Lock()


@bp.get("/api/openapi.json")
@public
def description():
    """What can be sent, as an OpenAPI 3.1 document."""
    return Response(json.dumps(described()), mimetype="application/json")


@bp.get("/api/report.schema.json")
@public
def report_schema():
    """The JSON Schema of a report's JSON."""
    from tracker.reports.report_schema import report_schema as schema

    return Response(json.dumps(schema()), mimetype="application/schema+json")


@bp.post("/api/readings")
@with_key
def readings():
    """Keep a pack of readings. A pack that comes again changes nothing."""
    at = now()
    wrong = ("feed key", get_remote_address())
    if not state().throttle.test(WRONG_KEYS, *wrong):
        return problem(429, "Too many wrong keys", "Wait a minute, then send with the key that was given.")
    with _turn(), writing(state().engine) as session:
        sender = records.sender_of(session, token_hash(_key()))
        if sender is None:
            state().throttle.hit(WRONG_KEYS, *wrong)
            answer = problem(401, "This key is not known", "Send the school's key as “Authorization: Bearer …”.")
            answer.headers["WWW-Authenticate"] = "Bearer"
            return answer
        try:
            entries = senml.resolve(_pack())
            intake.take(session, sender, entries, at)
        except _UnreadableError as error:
            return problem(error.code, TITLE, str(error))
        except senml.PackError as error:
            return problem(400, TITLE, str(error), **({} if error.record is None else {"record": error.record}))
        except intake.RefusedPackError as error:
            named = [{"record": one.record, "name": one.name, "detail": one.message} for one in error.refusals]
            detail = f"{len(named)} records cannot be taken. Correct them and send the pack again."
            return problem(422, TITLE, detail, problems=named[:SHOWN])
        session.commit()
    return {"taken": len(entries)}


def _turn() -> AbstractContextManager[object]:
    """On SQLite devices wait here in turn, so that at most one of them competes with people for the write lock, which
    is given to whoever happens to ask at the right moment. PostgreSQL locks the school's channels only."""
    return TURN if state().engine.dialect.name == "sqlite" else nullcontext()


def _key() -> str:
    scheme, _, key = request.headers.get("Authorization", "").partition(" ")
    return key.strip() if scheme.lower() == "bearer" else ""


class _UnreadableError(ValueError):
    def __init__(self, code: int, message: str) -> None:
        super().__init__(message)
        self.code = code


def _pack() -> Any:
    if request.mimetype not in MEDIA:
        raise _UnreadableError(415, "Send the pack as application/senml+json.")
    request.max_content_length = LARGEST
    try:
        return json.loads(request.get_data(), parse_constant=_no_number)
    except (ValueError, RecursionError) as error:
        raise _UnreadableError(400, "The pack is not readable as JSON in UTF-8.") from error


def _no_number(_text: str) -> NoReturn:
    raise ValueError("not a number of JSON")
