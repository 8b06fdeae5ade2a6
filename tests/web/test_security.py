"""Headers, cookies, form tokens, errors, compression, the access log, and refusing the demo outside the demo."""

from __future__ import annotations

import gzip
import json
import re
import subprocess
import sys

import pytest

from tests.make import make_person, make_programme
from tests.web.test_access import database_hash
from tracker.app import create_app, refuse_demo
from tracker.config import DEMO_SECRET, Settings, SettingsError
from tracker.models.people import Credential
from tracker.paths import PACKAGE, templates
from tracker.vocabulary import Role
from tracker.web import accesslog, security

POLICY = {
    "default-src": "'self'",
    "img-src": "'self' data:",
    "style-src": "'self'",
    "script-src": "'self'",
    "worker-src": "'self'",
    "object-src": "'none'",
    "base-uri": "'none'",
    "frame-ancestors": "'none'",
    "form-action": "'self'",
}


@pytest.fixture
def administrator(session, login_as):
    return login_as(make_person(session, make_programme(session), Role.ADMINISTRATOR))


@pytest.fixture
def with_fault(app):
    """The health page fails, and error pages are shown as in real life."""
    app.config["SHOW_ERROR_PAGES"] = True

    def fail():
        raise RuntimeError("secret inside of the machine")

    fail.allowed = "everyone"
    app.view_functions["front.health"] = fail
    return app.test_client()


def assert_headers(answer):
    policy = dict(part.strip().split(" ", 1) for part in answer.headers["Content-Security-Policy"].split(";"))
    assert policy == POLICY
    assert answer.headers["X-Content-Type-Options"] == "nosniff"
    assert answer.headers["Referrer-Policy"] == "no-referrer"


@pytest.mark.parametrize(
    ("method", "path", "status"),
    [
        ("GET", "/log-in", 200),
        ("GET", "/", 302),
        ("GET", "/nothing/here", 404),
        ("GET", "/log-out", 405),
        ("POST", "/account/password", 401),
        ("GET", "/people/1/", 302),
        ("GET", "/robots.txt", 200),
    ],
)
def test_every_answer_carries_the_headers_and_is_not_stored(client, method, path, status):
    answer = client.open(path, method=method)
    assert answer.status_code == status
    assert_headers(answer)
    assert answer.headers["Cache-Control"] == "no-store"


def test_a_failure_shows_a_reference_that_is_in_the_log_and_nothing_of_the_inside(with_fault, caplog):
    answer = with_fault.get("/healthz")
    assert answer.status_code == 500
    assert_headers(answer)
    reference = re.search(r"<b>([0-9a-f]{8})</b>", answer.text)[1]
    assert reference in caplog.text
    assert "secret inside" in caplog.text
    for inside in ("secret inside", "RuntimeError", "Traceback", "tracker/"):
        assert inside not in answer.text


def test_static_files_may_be_cached_and_set_no_cookie(administrator):
    page = administrator.get("/account").text
    address = re.search(r'href="(/static/washbell\.css\?v=[0-9a-f]{12})"', page)[1]
    answer = administrator.get(address)
    assert_headers(answer)
    assert "max-age=31536000" in answer.headers["Cache-Control"]
    assert "Set-Cookie" not in answer.headers


def test_on_https_the_cookie_is_bound_to_the_host_and_https_is_remembered(engine, tmp_path):
    settings = Settings(str(engine.url), "s" * 40, https=True, testing=True, access_log=tmp_path / "log")
    answer = create_app(settings, engine=engine).test_client().get("/log-in", base_url="https://localhost")
    name, *marks = [part.strip() for part in answer.headers["Set-Cookie"].split(";")]
    assert name.startswith("__Host-washbell=")
    assert {"Secure", "HttpOnly", "SameSite=Lax", "Path=/"} <= set(marks)
    assert not any(mark.startswith("Domain") for mark in marks)
    assert answer.headers["Strict-Transport-Security"] == "max-age=31536000; includeSubDomains"


def test_on_plain_http_the_cookie_has_a_plain_name_and_the_other_marks(client):
    answer = client.get("/log-in")
    name, *marks = [part.strip() for part in answer.headers["Set-Cookie"].split(";")]
    assert name.startswith("washbell=")
    assert {"HttpOnly", "SameSite=Lax"} <= set(marks)
    assert "Strict-Transport-Security" not in answer.headers


# --- form tokens --------------------------------------------------------------------------------------------------


def test_a_write_without_a_token_or_with_a_wrong_one_is_refused(administrator, engine):
    before = database_hash(engine)
    assert administrator.post("/log-out", with_token=False).status_code == 400
    for wrong in ("", "abc", "ÄÖ", security.mask("made.up.token")):
        answer = administrator.post("/log-out", with_token=False, data={"csrf_token": wrong})
        assert answer.status_code == 400
    assert database_hash(engine) == before
    assert administrator.get("/account").status_code == 200


def test_a_token_of_somebody_elses_session_is_refused(app, administrator):
    token = token_on(app.test_client().get("/log-in").text)
    assert administrator.post("/log-out", with_token=False, data={"csrf_token": token}).status_code == 400


def token_on(page: str) -> str:
    return re.search(r'name="csrf_token" value="([^"]+)"', page)[1]


def test_the_token_on_a_page_looks_new_each_time_and_each_one_counts(administrator):
    first, second = (token_on(administrator.get("/account").text) for _ in "12")
    assert first != second
    assert security.unmask(first).split(".")[0] == security.unmask(second).split(".")[0]
    assert administrator.post("/log-out", with_token=False, data={"csrf_token": first}).status_code == 302


def test_what_was_typed_into_a_form_outlives_its_session(app, administrator, clock):
    address, own = "/people/1/add", {"Sec-Fetch-Site": "same-origin"}
    token = token_on(administrator.get("/account").text)
    clock.pass_by(minutes=31)
    typed = {"csrf_token": token, "name": "<b>Ada</b>", "cells": ["1", "2"], "password": "not to be kept"}
    late = administrator.post(address, with_token=False, data=typed, headers=own)
    assert late.status_code == 400
    assert 'name="kept.name" value="&lt;b&gt;Ada&lt;/b&gt;"' in late.text
    assert late.text.count('name="kept.cells"') == 2
    assert f'name="kept_to" value="{address}"' in late.text
    assert "not to be kept" not in late.text
    assert "Please log in again" in late.text


def test_what_another_site_sent_is_not_kept(administrator):
    strangers = ({}, {"Origin": "https://evil.example"}, {"Origin": "null"})
    strangers += ({"Sec-Fetch-Site": "cross-site", "Origin": "http://localhost"}, {"Sec-Fetch-Site": "none"})
    for origin in strangers:
        answer = administrator.post("/people/1/add", with_token=False, data={"name": "Eve"}, headers=origin)
        assert answer.status_code == 400
        assert "Eve" not in answer.text


def test_after_logging_in_again_the_kept_form_can_be_sent(app, client, session, clock):
    person = make_person(session, make_programme(session), Role.ADMINISTRATOR)
    hashed = app.extensions["washbell"].hasher.hash("kettle brown harbour nine")
    session.add(Credential(person_id=person.id, secret_hash=hashed, set_at=clock()))
    session.commit()
    data = {
        "email": person.email,
        "password": "kettle brown harbour nine",
        "kept_to": "/people/1/add",
        "kept.name": "Ada",
    }
    answer = client.post("/log-in", data=data)
    assert answer.status_code == 200
    assert '<form method="post" action="/people/1/add">' in answer.text
    assert 'name="name" value="Ada"' in answer.text


# --- size and compression -----------------------------------------------------------------------------------------


def test_more_than_two_megabytes_are_refused_with_a_page(client):
    answer = client.post("/log-in", data={"email": "a" * (2 * 1024 * 1024 + 1)})
    assert answer.status_code == 413
    assert "2 megabytes" in answer.text


def test_pages_are_compressed_for_those_who_accept_it_only(client):
    packed = client.get("/log-in", headers={"Accept-Encoding": "gzip"})
    plain = client.get("/log-in")
    assert packed.headers["Content-Encoding"] == "gzip"
    assert "Content-Encoding" not in plain.headers
    assert gzip.decompress(packed.data).decode().startswith("<!doctype html>")
    assert len(packed.data) == int(packed.headers["Content-Length"]) < len(plain.data)
    assert "Accept-Encoding" in plain.headers["Vary"]
    assert "Content-Encoding" not in client.get("/healthz", headers={"Accept-Encoding": "gzip"}).headers


def test_the_frame_of_a_page_is_light(client):
    """The budget of a first visit is 60 KiB compressed; page and stylesheet together take a tenth of it."""
    packed = {"Accept-Encoding": "gzip"}
    page = client.get("/log-in", headers=packed)
    style = client.get("/static/washbell.css", headers=packed)
    assert len(page.data) + len(style.data) < 6 * 1024


# --- the access log -----------------------------------------------------------------------------------------------


def test_views_are_logged_as_one_line_each_outside_the_database(app, engine, clock):
    before = database_hash(engine)
    with app.test_request_context("/"):
        accesslog.log_view("school term report", school='S1\n{"forged": 1}', rows=12)
        accesslog.log_view("export usage.csv")
    first, second = app.extensions["washbell"].access_log.read_text().splitlines()
    line = json.loads(first)
    assert (line["what"], line["rows"], line["school"]) == ("school term report", 12, 'S1\n{"forged": 1}')
    assert line["at"] == clock().isoformat(timespec="seconds")
    assert json.loads(second)["school"] is None
    assert database_hash(engine) == before


def test_a_database_that_is_no_file_needs_a_place_for_the_access_log():
    settings = Settings("postgresql+psycopg://localhost/x", "s" * 40)
    with pytest.raises(SettingsError, match="WASHBELL_ACCESS_LOG"):
        accesslog.path_of(settings)
    assert str(accesslog.path_of(Settings("sqlite:////srv/w.db", "s" * 40))) == "/srv/w.db.access.jsonl"


# --- the demo -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("secret", [DEMO_SECRET, "short"])
def test_a_real_installation_refuses_the_demos_secret_and_a_short_one(engine, secret):
    with pytest.raises(SettingsError):
        create_app(Settings(str(engine.url), secret), engine=engine)


def test_a_real_installation_refuses_a_demo_programme(session):
    refuse_demo(session)
    make_programme(session, is_demo=True)
    with pytest.raises(SettingsError, match="new database"):
        refuse_demo(session)


def test_a_real_installation_refuses_a_demo_password(session, clock):
    person = make_person(session)
    session.add(Credential(person_id=person.id, secret_hash="x", set_at=clock(), is_demo=True))
    session.flush()
    with pytest.raises(SettingsError):
        refuse_demo(session)


def test_only_the_demo_shows_its_log_ins(engine, tmp_path):
    for demo in (True, False):
        settings = Settings(
            str(engine.url), "s" * 40, demo=demo, https=False, testing=True, access_log=tmp_path / "log"
        )
        app = create_app(settings, engine=engine)
        app.config["DEMO_LOGINS"] = [("officer", "officer@demo.example", "three made up words")]
        assert ("three made up words" in app.test_client().get("/log-in").text) is demo


# --- templates and stylesheet -------------------------------------------------------------------------------------


def test_no_template_holds_script_or_style_of_its_own():
    """The content policy forbids both; a page that had them would break unseen.

    The published report is a file to take away: it carries its style, and is never shown under the policy.
    """
    wrong = [
        (path.name, found[0])
        for path in templates().rglob("*.html")
        if path.name != "published.html"
        for found in [re.search(r"<script(?![^>]*\bsrc=)|\sstyle=|\son[a-z]+=|<style|javascript:", path.read_text())]
        if found
    ]
    assert wrong == []


def luminance(colour: str) -> float:
    """Relative luminance of sRGB as WCAG 2.2 defines it (from memory)."""
    parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    red, green, blue = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, two: str) -> float:
    light, dark = sorted((luminance(one), luminance(two)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_contrast_is_worked_out_as_published():
    assert contrast("#ffffff", "#000000") == pytest.approx(21)  # WCAG: 21:1 for black on white
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.01)  # the grey that just passes, well known


def test_every_text_colour_stands_out_and_borders_can_be_seen():
    """WCAG 2.2: 1.4.3 text 4.5:1, 1.4.11 borders of fields 3:1 (from memory)."""
    style = (PACKAGE / "static" / "washbell.css").read_text()
    colours = dict(re.findall(r"--([a-z-]+): (#[0-9a-f]{6})", style))
    grounds = ("paper", "sheet", "accent-soft", "alarm-soft", "amber-soft")
    for text in ("ink", "soft", "accent", "alarm"):
        for ground in grounds:
            assert contrast(colours[text], colours[ground]) >= 4.5, (text, ground)
    assert contrast("#ffffff", colours["accent"]) >= 4.5
    assert contrast(colours["line"], "#ffffff") >= 3
    assert contrast(colours["line"], colours["paper"]) >= 3
    assert len(style.encode()) <= 12 * 1024
    assert not re.search(
        r"https?:|@import|@font-face|(?:margin|padding|border)-(?:left|right)|text-align: (?:left|right)", style
    )


def test_the_application_starts_without_the_heavy_libraries():
    """A phone's first page must not wait for what only reports need."""
    code = (
        "import sys; from tracker.app import create_app; from tracker.config import Settings; "
        "create_app(Settings('sqlite:////nowhere/x.db', 's' * 40)); "
        "print([name for name in ('pandas', 'scipy', 'altair', 'vl_convert') if name in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], cwd=PACKAGE.parent, capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
