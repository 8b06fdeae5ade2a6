"""The administrator's people page."""

from __future__ import annotations

import pytest

from tests.make import make_area, make_person, make_programme, make_school
from tracker.db import reading
from tracker.models.audit import Audit
from tracker.models.people import Credential, LoginSession, Person, RoleGrant
from tracker.vocabulary import Role

GOOD = "kettle brown harbour nine"


@pytest.fixture
def programme(session):
    return make_programme(session)


@pytest.fixture
def school(session, programme):
    return make_school(session, programme)


@pytest.fixture
def administrator(session, programme, school, login_as):
    return login_as(make_person(session, programme, Role.ADMINISTRATOR))


@pytest.fixture
def saved(engine):
    """A fresh look at what is stored."""
    with reading(engine) as session:
        yield session


def form(role: Role, **more):
    return {"name": "Ada Example", "email": "Ada@Test.example", "role": role.value, "school_id": 0, "area_id": 0} | more


def test_a_coordinator_is_added_with_a_school_and_shown_in_the_list(administrator, programme, school, saved):
    answer = administrator.post(f"/people/{programme.id}/add", data=form(Role.COORDINATOR, school_id=school.id))
    assert answer.status_code == 302
    person = saved.query(Person).filter_by(email="ada@test.example").one()
    grant = saved.query(RoleGrant).filter_by(person_id=person.id).one()
    assert (grant.role, grant.school_id, grant.programme_id) == (Role.COORDINATOR, school.id, programme.id)
    page = administrator.get(f"/people/{programme.id}/").text
    assert "Ada Example" in page
    assert school.name in page
    audit = saved.query(Audit).filter(Audit.role == "administrator", Audit.programme_id == programme.id)
    assert [(row.act, row.table_name) for row in audit.order_by(Audit.seq)] == [
        ("added", "person"),
        ("added", "role_grant"),
    ]


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ({"name": ""}, "Enter the name."),
        ({"email": "ada"}, "Enter an address like"),
        ({"role": "coordinator"}, "Choose the coordinator&#39;s school."),
        ({"role": "headmaster"}, "Choose one of the list."),
        ({"school_id": 999_999}, "Choose one of the list."),
    ],
)
def test_a_wrong_entry_is_refused_at_its_place_and_what_was_typed_stays(
    administrator, programme, saved, change, sentence
):
    answer = administrator.post(f"/people/{programme.id}/add", data=form(Role.OFFICER, phone="555 01") | change)
    assert answer.status_code == 400
    assert answer.text.count(sentence) == 2, "in the summary and at the field"
    assert 'value="555 01"' in answer.text
    assert "<title>Error: " in answer.text
    assert saved.query(Person).count() == 1, "only the administrator"


def test_a_school_of_another_programme_is_no_choice(administrator, session, programme, saved):
    foreign = make_school(session, make_programme(session))
    session.commit()
    answer = administrator.post(f"/people/{programme.id}/add", data=form(Role.COORDINATOR, school_id=foreign.id))
    assert answer.status_code == 400
    assert saved.query(RoleGrant).count() == 1


def test_somebody_with_an_account_keeps_name_and_password_and_gets_the_role(
    administrator, session, programme, clock, saved
):
    known = make_person(session, make_programme(session), Role.OFFICER, email="ada@test.example", name="Ada Before")
    session.add(Credential(person_id=known.id, secret_hash="theirs", set_at=clock()))
    session.commit()
    administrator.post(f"/people/{programme.id}/add", data=form(Role.FUNDER))
    assert saved.get(Person, known.id).name == "Ada Before"
    assert saved.query(Credential).one().secret_hash == "theirs"
    assert saved.query(RoleGrant).filter_by(person_id=known.id).count() == 2


def test_the_password_of_somebody_who_also_works_elsewhere_is_not_ours_to_set(
    administrator, session, programme, clock, saved
):
    shared = make_person(session, programme, Role.OFFICER)
    other = make_programme(session)
    session.add(RoleGrant(programme_id=other.id, ref="x", person_id=shared.id, role=Role.OFFICER))
    session.commit()
    where = f"/people/{programme.id}/person/{shared.id}"
    assert "also works in another programme" in administrator.get(where).text
    assert administrator.post(where + "/password", data={"new_password": GOOD}).status_code == 404
    assert administrator.post(where + "/close").status_code == 404
    assert saved.query(Credential).count() == 0
    assert saved.get(Person, shared.id).active


def test_setting_a_password_ends_the_persons_log_ins_and_stores_a_hash_only(
    administrator, session, programme, login_as, saved
):
    officer = make_person(session, programme, Role.OFFICER)
    browser = login_as(officer)
    answer = administrator.post(f"/people/{programme.id}/person/{officer.id}/password", data={"new_password": GOOD})
    assert answer.status_code == 302
    stored = saved.query(Credential).one()
    assert stored.secret_hash.startswith("$argon2id$")
    assert not stored.is_demo
    assert browser.get("/account").status_code == 302
    assert saved.query(LoginSession).filter_by(person_id=officer.id).one().ended_at is not None


def test_an_easy_password_is_refused(administrator, session, programme, saved):
    officer = make_person(session, programme, Role.OFFICER)
    session.commit()
    where = f"/people/{programme.id}/person/{officer.id}/password"
    answer = administrator.post(where, data={"new_password": "password12345678"})
    assert answer.status_code == 400
    assert "easy to guess" in answer.text
    assert saved.query(Credential).count() == 0


def test_an_ended_role_is_gone_at_the_next_request(administrator, session, programme, login_as, saved):
    second = make_person(session, programme, Role.ADMINISTRATOR)
    browser = login_as(second)
    grant = session.query(RoleGrant).filter_by(person_id=second.id).one()
    session.commit()
    assert browser.get(f"/people/{programme.id}/").status_code == 200
    assert administrator.post(f"/people/{programme.id}/role/{grant.id}/end").status_code == 302
    assert browser.get(f"/people/{programme.id}/").status_code == 403
    assert saved.get(RoleGrant, grant.id).ended_at is not None


def test_the_last_administrator_stays(administrator, programme, saved):
    grant = saved.query(RoleGrant).one()
    saved.close()
    administrator.post(f"/people/{programme.id}/role/{grant.id}/end")
    administrator.post(f"/people/{programme.id}/person/{grant.person_id}/close")
    assert "last administrator" in administrator.get(f"/people/{programme.id}/").text
    assert saved.get(RoleGrant, grant.id).ended_at is None
    assert saved.get(Person, grant.person_id).active


def test_a_closed_account_is_out_at_once_and_keeps_its_name(administrator, session, programme, login_as, saved):
    officer = make_person(session, programme, Role.OFFICER)
    browser = login_as(officer)
    administrator.post(f"/people/{programme.id}/person/{officer.id}/close")
    assert browser.get("/account").status_code == 302
    assert not saved.get(Person, officer.id).active
    assert saved.query(RoleGrant).filter_by(person_id=officer.id).one().ended_at is not None


def test_the_same_role_twice_and_a_scope_that_does_not_fit_are_refused(
    administrator, session, programme, school, saved
):
    area = make_area(session, programme)
    engineer = make_person(session, programme, Role.ENGINEER, area=area)
    session.commit()
    where = f"/people/{programme.id}/person/{engineer.id}/role"
    again = administrator.post(where, data={"role": "engineer", "area_id": area.id, "school_id": 0})
    fits_not = administrator.post(where, data={"role": "funder", "area_id": area.id, "school_id": 0})
    wider = administrator.post(where, data={"role": "engineer", "area_id": 0, "school_id": 0})
    assert "already has this role" in again.text
    assert "Only an officer or an engineer" in fits_not.text
    assert wider.status_code == 302
    assert saved.query(RoleGrant).filter_by(person_id=engineer.id).count() == 2
