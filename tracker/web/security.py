"""What every answer and every write carries: form tokens, headers, cookies, compression. Reasons: docs/security.md."""

from __future__ import annotations

import base64
import gzip
import hashlib
import secrets
from datetime import UTC, datetime, timedelta

from flask import Flask, Request, Response, abort, current_app, g, request, session
from flask.sessions import SecureCookieSession, SecureCookieSessionInterface, SessionMixin
from flask_wtf.csrf import CSRFError, generate_csrf, validate_csrf
from itsdangerous import BadSignature, TimestampSigner, URLSafeTimedSerializer
from markupsafe import Markup
from wtforms.validators import ValidationError

from tracker.config import Settings
from tracker.web.clock import now
from tracker.web.database import READS
from tracker.web.state import state

IDLE = timedelta(minutes=30)
IDLE_OWN_PHONE = timedelta(days=7)
CONTENT_POLICY = (
    "default-src 'self'; img-src 'self' data:; style-src 'self'; script-src 'self'; worker-src 'self'; "
    "object-src 'none'; base-uri 'none'; frame-ancestors 'none'; form-action 'self'"
)
COMPRESSED = ("text/html", "text/css", "text/csv", "text/plain", "image/svg+xml", "application/json", "text/javascript")
SMALLEST = 500
TOKEN_FIELD = "csrf_token"  # noqa: S105 - the name of a form field


def init_app(app: Flask, settings: Settings) -> None:
    """Set cookies and limits, and hook the checks around every request."""
    app.config.update(
        SECRET_KEY=settings.secret,
        SESSION_COOKIE_NAME="__Host-washbell" if settings.https else "washbell",
        SESSION_COOKIE_SECURE=settings.https,
        SESSION_COOKIE_HTTPONLY=True,
        SESSION_COOKIE_SAMESITE="Lax",
        SESSION_COOKIE_PATH="/",
        SESSION_REFRESH_EACH_REQUEST=True,
        PERMANENT_SESSION_LIFETIME=IDLE,
        MAX_CONTENT_LENGTH=2 * 1024 * 1024,
        WTF_CSRF_TIME_LIMIT=None,  # the token lives and ends with its session
    )
    app.session_interface = IdleSessions()
    app.jinja_env.globals["csrf_field"] = csrf_field
    app.jinja_env.globals["csrf_token"] = masked_token
    app.before_request(_begin)
    app.before_request(_check_token)
    app.after_request(lambda response: _headers(response, settings.https))
    app.after_request(_compress)


def token_hash(token: str) -> str:
    """What is kept of a log-in, a device's key or a link: long and random, so a plain hash cannot be turned back."""
    return hashlib.sha256(token.encode()).hexdigest()


def _begin() -> None:
    g.request_ref = secrets.token_hex(4)


# --- the session cookie -------------------------------------------------------------------------------------------


class _ClockSigner(TimestampSigner):
    """Stamps and ages cookies by the application's clock."""

    def get_timestamp(self) -> int:
        return int(now().timestamp())


class IdleSessions(SecureCookieSessionInterface):
    """Flask's signed cookie, refused when it is older than its own idle limit; each answer renews it."""

    digest_method = staticmethod(hashlib.sha256)

    def get_signing_serializer(self, app: Flask) -> URLSafeTimedSerializer:
        """The serializer with our clock."""
        return URLSafeTimedSerializer(
            app.config["SECRET_KEY"],
            salt=self.salt,
            serializer=self.serializer,
            signer=_ClockSigner,
            signer_kwargs={"key_derivation": self.key_derivation, "digest_method": self.digest_method},
        )

    def open_session(self, app: Flask, request: Request) -> SecureCookieSession:
        """The session of the cookie, or an empty one where it is missing, forged or too old."""
        value = request.cookies.get(self.get_cookie_name(app), "")
        serializer = self.get_signing_serializer(app)
        with app.app_context():
            try:
                data, stamped = serializer.loads(
                    value, max_age=int(IDLE_OWN_PHONE.total_seconds()), return_timestamp=True
                )
            except BadSignature:
                return self.session_class()
            fresh = now() - stamped <= _idle(data)
        return self.session_class(data) if fresh else self.session_class()

    def should_set_cookie(self, app: Flask, session: SessionMixin) -> bool:
        """Whether the answer renews the cookie: never on static files, which caches may keep."""
        return request.endpoint != "static" and super().should_set_cookie(app, session)

    def get_expiration_time(self, app: Flask, session: SessionMixin) -> datetime | None:
        """When the browser drops the cookie: on an own phone after its idle limit, else when the browser is closed.

        The browser's clock decides, so this is real time also where the application's clock stands still.
        """
        return datetime.now(UTC) + IDLE_OWN_PHONE if session.get("own_phone") else None


def _idle(data) -> timedelta:
    return IDLE_OWN_PHONE if data.get("own_phone") else IDLE


# --- form tokens --------------------------------------------------------------------------------------------------


def masked_token() -> str:
    """The session's form token under a fresh mask, so that compressed pages never repeat a secret."""
    session.permanent = True
    return mask(generate_csrf())


def forget_session() -> None:
    """Start an empty session; the token of the one before must not get onto this answer."""
    session.clear()
    g.pop(TOKEN_FIELD, None)


def mask(token: str) -> str:
    """A token hidden under random bytes that stand before it."""
    plain = token.encode()
    noise = secrets.token_bytes(len(plain))
    return base64.urlsafe_b64encode(noise + bytes(a ^ b for a, b in zip(noise, plain, strict=True))).decode()


def unmask(text: str) -> str:
    """The token under the mask; "" for what cannot be one."""
    try:
        raw = base64.urlsafe_b64decode(text.encode())
    except ValueError:
        return ""
    half = len(raw) // 2
    return bytes(a ^ b for a, b in zip(raw[:half], raw[half:], strict=False)).decode("latin-1")


def csrf_field() -> Markup:
    """The hidden field every form that writes must hold."""
    return Markup('<input type="hidden" name="{}" value="{}">').format(TOKEN_FIELD, masked_token())


def _check_token() -> None:
    if request.method in READS:
        return
    if request.endpoint is None:
        return  # answered with 404 or 405 by the router
    limit = request.max_content_length
    if limit is not None and (request.content_length or 0) > limit:
        abort(413)
    if getattr(current_app.view_functions[request.endpoint], "by_key", False):
        return  # a machine's key stands in a header, which no foreign page can set
    try:
        validate_csrf(unmask(request.headers.get("X-CSRFToken") or request.form.get(TOKEN_FIELD, "")))
    except ValidationError as error:
        raise CSRFError(str(error)) from error
    g.csrf_valid = True


def same_origin() -> bool:
    """Whether the browser says that what was sent came from a page of ours.

    Under our referrer policy a form's ``Origin`` is "null", so ``Sec-Fetch-Site`` is asked first.
    """
    site = request.headers.get("Sec-Fetch-Site")
    if site is not None:
        return site == "same-origin"
    scheme = "https" if state().settings.https else "http"
    return request.headers.get("Origin", "") == f"{scheme}://{request.host}"


# --- answers ------------------------------------------------------------------------------------------------------


def _headers(response: Response, https: bool) -> Response:
    response.headers["Content-Security-Policy"] = CONTENT_POLICY
    response.headers["X-Content-Type-Options"] = "nosniff"
    response.headers["Referrer-Policy"] = "no-referrer"
    response.headers["Cross-Origin-Opener-Policy"] = "same-origin"
    if https:
        response.headers["Strict-Transport-Security"] = "max-age=31536000; includeSubDomains"
    if request.endpoint != "static" or response.status_code >= 400:
        response.headers.setdefault("Cache-Control", "no-store")
    return response


def _compress(response: Response) -> Response:
    """Gzip what is text and worth it. Sound for private pages because the only secret in them is masked."""
    if response.mimetype in COMPRESSED:
        response.vary.add("Accept-Encoding")
    if (
        response.mimetype not in COMPRESSED
        or response.status_code in (204, 206, 304)
        or request.accept_encodings.quality("gzip") <= 0
        or "Content-Encoding" in response.headers
    ):
        return response
    response.direct_passthrough = False
    body = response.get_data()
    if len(body) <= SMALLEST:
        return response
    response.set_data(gzip.compress(body, compresslevel=6, mtime=0))
    response.headers["Content-Encoding"] = "gzip"
    etag, weak = response.get_etag()
    if etag and not weak:
        response.set_etag(etag, weak=True)
    return response
