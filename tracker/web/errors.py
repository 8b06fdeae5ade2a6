"""Plain pages for what goes wrong: what to do, a short reference that is in the log, nothing of the inside."""

from __future__ import annotations

import json

from flask import Flask, Response, current_app, g, render_template, request
from flask_wtf.csrf import CSRFError
from werkzeug.exceptions import HTTPException

from tracker.web.security import TOKEN_FIELD, same_origin

TEXTS: dict[int, tuple[str, str]] = {
    400: ("This could not be read", "Go back, look at what was entered, and send it again."),
    401: ("Please log in", "You are not logged in. Log in, then open the page again."),
    403: ("This page is for somebody else's work", "Your account does not have the role for this page."),
    404: ("Nothing found here", "The address may be mistyped, or the page is not one of yours."),
    405: ("This page does not take that", "Go back and use the buttons of the page."),
    409: ("Somebody changed this in the meantime", "Open the page again, look at what is there now, and decide."),
    413: ("This is too large", "Send at most 2 megabytes. Split the file, or leave out what is not needed."),
    429: ("Too many tries", "Wait a few minutes, then try again."),
    500: (
        "Something went wrong on our side",
        "Nothing of this step was saved. Try again; if it stays, tell the contact.",
    ),
}
MACHINES = "/api/"  # below this address machines ask, not people
SECRET_FIELDS = ("password", TOKEN_FIELD)


def init_app(app: Flask) -> None:
    """Answer every error with a page of ours."""
    app.register_error_handler(CSRFError, _expired)
    app.register_error_handler(HTTPException, _http)
    app.register_error_handler(Exception, _broken)


def _http(error: HTTPException):
    if error.code is None or error.code < 400:
        return error
    if error.code == 401 and same_origin():
        return _keep_what_was_typed(401)
    current_app.logger.info("%s %s %s at %s", g.get("request_ref", ""), error.code, request.method, request.endpoint)
    return _page(error.code, getattr(error, "description", None) if error.code == 409 else None)


def _broken(error: Exception):
    if current_app.testing and not current_app.config.get("SHOW_ERROR_PAGES"):
        raise error
    current_app.logger.error("%s failed at %s", g.get("request_ref", ""), request.endpoint, exc_info=error)
    g.bare = True  # the database may be what failed: the page must not ask it who is there
    return _page(500)


def _expired(error: CSRFError):
    """A form whose session has ended. When our own page sent it, nothing typed is lost: it can be sent again."""
    current_app.logger.info("%s form token: %s", g.get("request_ref", ""), error.description)
    if same_origin():
        return _keep_what_was_typed(400)
    return _page(400)


def problem(code: int, title: str, detail: str, **more: object) -> Response:
    """An error for a machine, as RFC 9457 shapes it."""
    body = {"title": title, "status": code, "detail": detail, **more}
    return Response(json.dumps(body), status=code, mimetype="application/problem+json")


def _keep_what_was_typed(code: int):
    kept = [
        (name, value)
        for name, values in request.form.lists()
        for value in values
        if not any(secret in name for secret in SECRET_FIELDS)
    ]
    page = render_template(
        "errors/expired.html",
        kept=kept,
        kept_to=request.full_path.rstrip("?"),
        had_file=bool(request.files),
        reference=g.get("request_ref", ""),
    )
    return page, code


def _page(code: int, detail: str | None = None):
    title, text = TEXTS.get(code, TEXTS[400] if code < 500 else TEXTS[500])
    if request.path.startswith(MACHINES):
        return problem(code, title, detail or text)
    page = render_template(
        "errors/error.html", title=title, text=detail or text, code=code, reference=g.get("request_ref", "")
    )
    return page, code
