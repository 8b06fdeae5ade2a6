"""People, roles and log-ins, on both databases."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from tests.make import make_area, make_person, make_programme, make_school
from tracker.db import writing
from tracker.models.people import Credential, RoleGrant
from tracker.records import people
from tracker.vocabulary import Role

AT = datetime(2026, 2, 4, 9, 0, tzinfo=UTC)
TOKEN = "a" * 64


@pytest.fixture
def store(any_engine):
    with writing(any_engine) as session:
        yield session


def test_a_log_in_holds_until_its_last_instant_and_not_at_it(store):
    person = make_person(store, make_programme(store), Role.OFFICER)
    people.open_login(store, person.id, TOKEN, AT, AT + timedelta(hours=12))
    store.flush()
    held = people.holder_of(store, TOKEN, AT + timedelta(hours=11, minutes=59))
    assert (held.person_id, [grant.role for grant in held.grants]) == (person.id, [Role.OFFICER])
    assert people.holder_of(store, TOKEN, AT + timedelta(hours=12)) is None
    assert people.holder_of(store, "b" * 64, AT) is None


def test_an_ended_log_in_and_a_closed_account_open_nothing(store):
    programme = make_programme(store)
    make_person(store, programme, Role.ADMINISTRATOR)
    person = make_person(store, programme, Role.OFFICER)
    people.open_login(store, person.id, TOKEN, AT, AT + timedelta(hours=12))
    people.open_login(store, person.id, "b" * 64, AT, AT + timedelta(hours=12))
    store.flush()
    people.end_login(store, people.logins_of(store, person.id, AT)[-1], AT)
    store.flush()
    assert [login.token_hash for login in people.logins_of(store, person.id, AT)] == ["b" * 64]
    people.remove_account(store, person, AT)
    store.flush()
    assert people.holder_of(store, "b" * 64, AT) is None
    assert people.grants_of(store, person.id) == ()


def test_a_grant_reaches_its_school_area_or_programme_only(store):
    programme = make_programme(store)
    near, far = make_area(store, programme), make_area(store, programme)
    school = make_school(store, programme, near)

    def reaches(role: Role, **scope) -> bool:
        (grant,) = people.grants_of(store, make_person(store, programme, role, **scope).id)
        return grant.reaches(programme.id, near.id, school.id)

    assert reaches(Role.COORDINATOR, school=school)
    assert not reaches(Role.COORDINATOR, school=make_school(store, programme, near))
    assert reaches(Role.ENGINEER, area=near)
    assert not reaches(Role.ENGINEER, area=far)
    assert reaches(Role.OFFICER)
    (elsewhere,) = people.grants_of(store, make_person(store, make_programme(store), Role.OFFICER).id)
    assert not elsewhere.reaches(programme.id, near.id, school.id)


def test_only_coordinates_is_false_without_any_role_and_with_a_second_one(store):
    programme = make_programme(store)
    person = make_person(store, programme, Role.COORDINATOR, school=make_school(store, programme))
    people.open_login(store, person.id, TOKEN, AT, AT + timedelta(days=30))
    store.flush()
    assert people.holder_of(store, TOKEN, AT).only_coordinates
    people.add_grant(store, programme.id, person=person, role=Role.FUNDER)
    store.flush()
    assert not people.holder_of(store, TOKEN, AT).only_coordinates
    for grant in store.query(RoleGrant):
        grant.ended_at = AT
    store.flush()
    assert not people.holder_of(store, TOKEN, AT).only_coordinates


def test_a_new_password_forgets_failures_and_the_demo_mark_and_ends_log_ins(store):
    person = make_person(store, make_programme(store), Role.OFFICER)
    store.add(Credential(person_id=person.id, secret_hash="old", set_at=AT, is_demo=True, failures=7))
    people.open_login(store, person.id, TOKEN, AT, AT + timedelta(hours=12))
    store.flush()
    people.set_password(store, person.id, "new", AT)
    store.flush()
    found = people.credential_of(store, person.id)
    store.refresh(found)
    assert (found.secret_hash, found.failures, found.is_demo) == ("new", 0, False)
    assert people.logins_of(store, person.id, AT) == []


def test_the_list_shows_held_roles_first_and_the_place_by_name(store):
    programme = make_programme(store)
    area = make_area(store, programme)
    school = make_school(store, programme, area)
    make_person(store, programme, Role.ENGINEER, area=area, name="Bo")
    make_person(store, programme, Role.COORDINATOR, school=school, name="Cy")
    gone = make_person(store, programme, Role.OFFICER, name="Al")
    store.query(RoleGrant).filter_by(person_id=gone.id).one().ended_at = AT
    store.flush()
    listed = [(line.name, line.where, line.until) for line in people.people_of(store, programme.id)]
    assert listed == [("Bo", area.name, None), ("Cy", school.name, None), ("Al", "whole programme", AT)]


@pytest.mark.parametrize(
    ("role", "scope"), [(Role.COORDINATOR, ()), (Role.OFFICER, ("school",)), (Role.FUNDER, ("area",))]
)
def test_a_scope_that_does_not_fit_the_role_is_refused(store, role, scope):
    programme = make_programme(store)
    school = make_school(store, programme)
    ids = {"school": ("school_id", school.id), "area": ("area_id", school.area_id)}
    with pytest.raises(people.PeopleError):
        people.add_grant(store, programme.id, person=make_person(store), role=role, **dict(ids[name] for name in scope))


def test_the_last_administrator_cannot_be_ended(store):
    programme = make_programme(store)
    first = make_person(store, programme, Role.ADMINISTRATOR)
    grant = store.query(RoleGrant).filter_by(person_id=first.id).one()
    with pytest.raises(people.PeopleError, match="last administrator"):
        people.end_grant(store, grant, AT)
    make_person(store, programme, Role.ADMINISTRATOR)
    people.end_grant(store, grant, AT)
    assert grant.ended_at == AT
