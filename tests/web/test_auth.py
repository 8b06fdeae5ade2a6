"""Log-in, its limits and its ends. Limits: docs/security.md; lengths: NIST SP 800-63B-4, from memory."""

from __future__ import annotations

import hashlib
from datetime import timedelta

import pytest

from tests.make import make_person, make_programme, make_school
from tracker.db import reading
from tracker.intake import passwords
from tracker.models.people import Credential, LoginSession, Person, RoleGrant
from tracker.records import people
from tracker.vocabulary import Role
from tracker.web.auth import MOST_FAILURES
from tracker.web.state import EXTENSION

GOOD = "kettle brown harbour nine"
WRONG_TEXT = "do not go together"


@pytest.fixture
def with_password(app, session, clock):
    """``with_password(person)`` gives somebody GOOD as password and commits."""

    def give(person: Person) -> Person:
        hashed = app.extensions[EXTENSION].hasher.hash(GOOD)
        session.add(Credential(person_id=person.id, secret_hash=hashed, set_at=clock()))
        session.commit()
        return person

    return give


@pytest.fixture
def programme(session):
    return make_programme(session)


@pytest.fixture
def coordinator(session, programme, with_password):
    school = make_school(session, programme)
    return with_password(make_person(session, programme, Role.COORDINATOR, school=school))


@pytest.fixture
def officer(session, programme, with_password):
    return with_password(make_person(session, programme, Role.OFFICER))


def log_in(browser, person, password=GOOD, **more):
    return browser.post("/log-in", data={"email": person.email, "password": password, **more})


def is_in(browser) -> bool:
    return browser.get("/account").status_code == 200


def cookie_of(browser) -> str:
    return browser.get_cookie("washbell").value


def test_the_right_password_opens_and_the_token_is_stored_only_as_a_hash(client, engine, officer):
    answer = log_in(client, officer)
    assert (answer.status_code, answer.location) == (302, "/")
    assert is_in(client)
    with client.session_transaction() as cookie:
        token = cookie["_user_id"]
    assert len(token) >= 43  # 32 random bytes in base64: 256 bits
    with reading(engine) as session:
        assert session.query(LoginSession).one().token_hash == hashlib.sha256(token.encode()).hexdigest()


def test_the_email_may_be_typed_in_capitals(client, officer):
    assert log_in(client, officer, email=officer.email.upper()).status_code == 302


def test_a_wrong_password_and_an_unknown_account_get_the_same_answer(client, officer):
    wrong = log_in(client, officer, "quite another long one")
    unknown = client.post("/log-in", data={"email": "nobody@test.example", "password": GOOD})
    assert wrong.status_code == unknown.status_code == 400
    assert WRONG_TEXT in wrong.text
    assert WRONG_TEXT in unknown.text
    assert "<title>Error: " in wrong.text
    assert officer.email in wrong.text, "what was typed stays"
    assert "quite another" not in wrong.text, "but not the password"
    assert not is_in(client)


def test_a_closed_account_does_not_open(client, session, officer):
    session.get(Person, officer.id).active = False
    session.commit()
    assert log_in(client, officer).status_code == 400


def test_after_log_in_the_person_comes_to_the_page_they_wanted_but_never_to_another_site(client, officer):
    away = client.get("/account/password")
    assert away.location == "/log-in?next=/account/password"
    assert log_in(client, officer, next="/account/password").location == "/account/password"
    for trick in ("//evil.example", "https://evil.example", "/\\evil.example", "/a\nb"):
        assert log_in(client, officer, next=trick).location == "/"


def test_each_log_in_gets_a_new_token_and_ends_the_one_before(client, engine, officer):
    log_in(client, officer)
    old = cookie_of(client)
    log_in(client, officer)
    assert cookie_of(client) != old
    client.set_cookie("washbell", old)
    assert not is_in(client)


def test_a_cookie_kept_from_before_log_out_opens_nothing(client, officer):
    log_in(client, officer)
    old = cookie_of(client)
    assert client.post("/log-out").location == "/log-in"
    client.set_cookie("washbell", old)
    assert not is_in(client)


def test_a_new_password_ends_every_other_log_in_and_keeps_this_one(app, client, officer):
    other = app.test_client()
    log_in(other, officer)
    log_in(client, officer)
    old = cookie_of(client)
    new = "seven lanterns under ferns"
    answer = client.post("/account/password", data={"password": GOOD, "new_password": new})
    assert answer.status_code == 302
    assert is_in(client)
    assert not is_in(other)
    other.set_cookie("washbell", old)
    assert not is_in(other)
    assert log_in(app.test_client(), officer).status_code == 400
    assert log_in(app.test_client(), officer, new).status_code == 302


def test_a_new_password_needs_the_old_one_and_fifteen_characters(client, engine, officer):
    log_in(client, officer)
    with reading(engine) as session:
        before = session.query(Credential).one().secret_hash
    wrong_old = client.post("/account/password", data={"password": "not it, not it", "new_password": GOOD + " x"})
    short = client.post("/account/password", data={"password": GOOD, "new_password": "fourteen chars"})
    assert "not the password you use now" in wrong_old.text
    assert "at least 15 characters" in short.text
    with reading(engine) as session:
        assert session.query(Credential).one().secret_hash == before


def test_an_own_log_in_can_be_ended_from_the_list_and_another_persons_cannot(app, engine, client, officer, coordinator):
    elsewhere, stranger = app.test_client(), app.test_client()
    log_in(elsewhere, officer)
    log_in(stranger, coordinator)
    log_in(client, officer)
    with reading(engine) as session:
        logins = {row.person_id: row.id for row in session.query(LoginSession).order_by(LoginSession.id.desc())}
    assert client.post(f"/account/log-ins/{logins[coordinator.id]}/end").status_code == 404
    assert is_in(stranger)
    assert client.post(f"/account/log-ins/{logins[officer.id]}/end").status_code == 302
    assert not is_in(elsewhere)
    assert is_in(client)


# --- limits of time: 30 minutes idle, 12 hours in all; a coordinator's own phone 7 and 30 days ---------------------


def test_thirty_minutes_without_a_request_end_the_log_in(client, clock, officer):
    log_in(client, officer)
    clock.pass_by(minutes=29)
    assert is_in(client)
    clock.pass_by(minutes=29)
    assert is_in(client), "each request counts as use"
    clock.pass_by(minutes=31)
    assert not is_in(client)


def test_an_old_cookie_is_refused_also_when_the_browser_does_not_drop_it(client, clock, officer):
    log_in(client, officer)
    old = cookie_of(client)
    clock.pass_by(minutes=31)
    client.set_cookie("washbell", old)
    assert not is_in(client)


def test_twelve_hours_end_it_however_busy(client, clock, officer):
    log_in(client, officer)
    for _ in range(24):
        clock.pass_by(minutes=29)
        assert is_in(client)
    clock.pass_by(minutes=25)  # 24 × 29 + 25 = 721 minutes, one over 12 hours
    assert not is_in(client)


def test_a_coordinators_own_phone_lasts_seven_days_idle_and_thirty_in_all(client, clock, coordinator):
    log_in(client, coordinator, own_phone="y")
    for _ in range(4):
        clock.pass_by(days=6)
        assert is_in(client)
    clock.pass_by(days=5, hours=23)
    assert is_in(client)
    clock.pass_by(hours=2)  # over 30 days
    assert not is_in(client)


def test_a_coordinators_own_phone_ends_after_seven_days_without_use(client, clock, coordinator):
    log_in(client, coordinator, own_phone="y")
    clock.pass_by(days=7, minutes=1)
    assert not is_in(client)


def test_an_officer_who_ticks_own_phone_gets_the_short_limits(client, clock, officer):
    log_in(client, officer, own_phone="y")
    clock.pass_by(minutes=31)
    assert not is_in(client)


def test_a_coordinator_who_becomes_officer_loses_the_long_log_in(client, clock, session, programme, coordinator):
    log_in(client, coordinator, own_phone="y")
    clock.pass_by(days=1)
    assert is_in(client)
    session.add(RoleGrant(programme_id=programme.id, ref="late", person_id=coordinator.id, role=Role.OFFICER))
    session.commit()
    assert not is_in(client)


# --- slowing down -------------------------------------------------------------------------------------------------


def test_five_teachers_behind_one_address_get_in_though_each_mistypes_three_times(
    app, session, programme, with_password
):
    school = make_school(session, programme)
    teachers = [make_person(session, programme, Role.COORDINATOR, school=school) for _ in range(5)]
    for teacher in teachers:
        with_password(teacher)
    for teacher in teachers:
        browser = app.test_client()
        for _ in range(3):
            assert log_in(browser, teacher, "a slip of the finger").status_code == 400
        assert log_in(browser, teacher).status_code == 302


def test_one_account_is_slowed_down_and_opens_again_after_a_minute(client, monkeypatch, officer, coordinator):
    import time

    start = time.time()
    for _ in range(5):
        assert log_in(client, officer, "guess after guess after").status_code == 400
    slowed = log_in(client, officer)
    assert slowed.status_code == 429
    assert "Wait a few minutes" in slowed.text
    assert log_in(client, coordinator).status_code == 302, "others are not held up"
    monkeypatch.setattr("time.time", lambda: start + 120)
    assert log_in(client, officer).status_code == 302, "a stranger cannot lock somebody out for good"


def test_an_unknown_account_is_slowed_down_alike(client):
    answers = [
        client.post("/log-in", data={"email": "no@test.example", "password": GOOD}).status_code for _ in "123456"
    ]
    assert answers == [400] * 5 + [429]


def test_after_a_hundred_failures_in_a_row_only_a_new_password_helps(client, session, officer):
    session.query(Credential).one().failures = MOST_FAILURES - 1
    session.commit()
    assert log_in(client, officer).status_code == 302, "99 failures: the right password still opens"
    session.query(Credential).one().failures = MOST_FAILURES
    session.commit()
    assert log_in(client, officer).status_code == 400


def test_failures_in_a_row_are_counted_and_forgotten_at_the_right_password(client, engine, officer):
    def failures() -> int:
        with reading(engine) as session:
            return session.query(Credential).one().failures

    log_in(client, officer, "not this one, no")
    log_in(client, officer, "not this one either")
    assert failures() == 2
    log_in(client, officer)
    assert failures() == 0


# --- the rule for new passwords -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "password",
    [
        "fourteen chars",
        "password1234567",
        "123456789012345678",
        "aaaaaaaaaaaaaaaaaaaa",
        "qwertyuiopasdfghjkl",
        "washbell-school-2026",
        "Mina Okoro mina okoro",
        "x" * (passwords.LONGEST + 1),
    ],
)
def test_short_common_and_context_passwords_are_refused(password):
    assert passwords.complaint(password, ("Mina Okoro", "mina@test.example")) != ""


@pytest.mark.parametrize(
    "password", [GOOD, "тихий фонарь под сливой", "no digits no capitals here", "k" * 3 + "#7!vjQ2pLmz9"]
)
def test_long_ones_of_any_kind_are_taken(password):
    """No composition rules: small letters only, any script, any sign."""
    assert passwords.complaint(password, ("Mina Okoro",)) == ""


def test_a_long_password_is_checked_whole(app, client, session, officer):
    long = "many small words in a row " * 7
    session.query(Credential).one().secret_hash = app.extensions[EXTENSION].hasher.hash(long)
    session.commit()
    assert log_in(client, officer, long[:-1]).status_code == 400
    assert log_in(client, officer, long).status_code == 302


def test_nothing_hinders_pasting_or_a_password_manager(client):
    page = client.get("/log-in").text
    assert 'autocomplete="current-password"' in page
    assert 'autocomplete="username"' in page
    assert "onpaste" not in page


def test_log_ins_stand_in_the_programmes_zone_and_only_the_latest_ten(session, client, officer, clock):
    """The programme's zone is three hours ahead of UTC; the clock of the tests stands at 09:00 UTC."""
    for number in range(12):
        people.open_login(session, officer.id, f"{number:064d}", clock() - timedelta(hours=1), clock() + timedelta(1))
    session.commit()
    log_in(client, officer)
    page = client.get("/account").text
    assert page.count('/end"') == 10
    assert "3 older log-ins are not shown." in page
    assert "12:00 (this one)" in page and "UTC" not in page
