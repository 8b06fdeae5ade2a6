"""People, their roles, passwords and log-ins: the only personal data kept."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import func, select, update
from sqlalchemy.orm import Session

from tracker.models.people import Credential, LoginSession, Person, RoleGrant
from tracker.models.programme import Area, Programme
from tracker.models.school import School
from tracker.vocabulary import Role


class PeopleError(ValueError):
    """A change that is refused; the message says what to do."""


@dataclass(frozen=True, slots=True)
class Grant:
    """A role that is held now. ``area_id`` and ``school_id`` None: the whole programme."""

    id: int
    programme_id: int
    role: Role
    area_id: int | None
    school_id: int | None

    def reaches(self, programme_id: int, area_id: int, school_id: int) -> bool:
        """Whether a school of a programme and area lies inside the grant.

        >>> Grant(1, 5, Role.OFFICER, None, None).reaches(5, 2, 9)
        True
        >>> Grant(1, 5, Role.OFFICER, 3, None).reaches(5, 2, 9)
        False
        """
        return (
            self.programme_id == programme_id
            and self.area_id in (None, area_id)
            and self.school_id in (None, school_id)
        )


@dataclass(frozen=True, slots=True)
class Holder:
    """Whose log-in a token is, with the roles held at this moment."""

    person_id: int
    name: str
    email: str
    login_id: int
    created_at: datetime
    grants: tuple[Grant, ...]

    @property
    def only_coordinates(self) -> bool:
        """Whether every role held is a coordinator's: only then may a log-in last on an own phone."""
        return bool(self.grants) and all(grant.role is Role.COORDINATOR for grant in self.grants)


@dataclass(frozen=True, slots=True)
class Listed:
    """A line of the people page: a person with one role. ``until`` None: held now."""

    person_id: int
    name: str
    email: str
    active: bool
    grant_id: int
    role: Role
    where: str
    until: datetime | None


# --- log-ins ------------------------------------------------------------------------------------------------------


def find_person(session: Session, email: str) -> Person | None:
    """The person with this e-mail address, upper and lower case alike; None where there is none."""
    return session.scalar(select(Person).where(Person.email == email.strip().lower()))


def credential_of(session: Session, person_id: int) -> Credential | None:
    """The person's password record; None while no password was set."""
    return session.scalar(select(Credential).where(Credential.person_id == person_id, Credential.kind == "password"))


def grants_of(session: Session, person_id: int) -> tuple[Grant, ...]:
    """Roles the person holds now, in steady order; empty where every role was ended."""
    rows = session.scalars(
        select(RoleGrant)
        .where(RoleGrant.person_id == person_id, RoleGrant.ended_at.is_(None))
        .order_by(RoleGrant.programme_id, RoleGrant.role, RoleGrant.id)
    )
    return tuple(Grant(row.id, row.programme_id, row.role, row.area_id, row.school_id) for row in rows)


def holder_of(session: Session, token_hash: str, at: datetime) -> Holder | None:
    """Whose log-in the token is; None when it was ended, has run out, or the account was removed."""
    row = session.execute(
        select(LoginSession, Person)
        .join(Person, Person.id == LoginSession.person_id)
        .where(
            LoginSession.token_hash == token_hash,
            LoginSession.ended_at.is_(None),
            LoginSession.expires_at > at,
            Person.active,
        )
    ).one_or_none()
    if row is None:
        return None
    login, person = row
    return Holder(person.id, person.name, person.email, login.id, login.created_at, grants_of(session, person.id))


def open_login(session: Session, person_id: int, token_hash: str, at: datetime, until: datetime) -> None:
    """Start a log-in and forget the failures before it."""
    session.add(LoginSession(token_hash=token_hash, person_id=person_id, created_at=at, expires_at=until))
    session.execute(update(Credential).where(Credential.person_id == person_id).values(failures=0))


def note_failure(session: Session, person_id: int) -> None:
    """Count one more failure in a row for a person's password."""
    session.execute(
        update(Credential).where(Credential.person_id == person_id).values(failures=Credential.failures + 1)
    )


def logins_of(session: Session, person_id: int, at: datetime) -> list[LoginSession]:
    """The person's log-ins that still hold, newest first."""
    return list(
        session.scalars(
            select(LoginSession)
            .where(LoginSession.person_id == person_id, LoginSession.ended_at.is_(None), LoginSession.expires_at > at)
            .order_by(LoginSession.created_at.desc(), LoginSession.id.desc())
        )
    )


def end_login(session: Session, login: LoginSession, at: datetime) -> None:
    """End one log-in; its cookie is worth nothing from now on."""
    if login.ended_at is None:
        login.ended_at = at


def end_all_logins(session: Session, person_id: int, at: datetime) -> None:
    """End every log-in of a person, at a new password or the account's removal."""
    session.execute(
        update(LoginSession)
        .where(LoginSession.person_id == person_id, LoginSession.ended_at.is_(None))
        .values(ended_at=at)
    )


# --- changes ------------------------------------------------------------------------------------------------------


def set_password(session: Session, person_id: int, secret_hash: str, at: datetime, *, is_demo: bool = False) -> None:
    """Store a new password's hash, forget failures and end every log-in of the person."""
    found = credential_of(session, person_id)
    if found is None:
        session.add(Credential(person_id=person_id, secret_hash=secret_hash, set_at=at, is_demo=is_demo))
    else:
        found.secret_hash, found.set_at, found.failures, found.is_demo = secret_hash, at, 0, is_demo
    end_all_logins(session, person_id, at)


def add_person(session: Session, *, name: str, email: str, phone: str = "") -> Person:
    """The person with this address, added when there is none; somebody known elsewhere keeps name and password."""
    person = find_person(session, email)
    if person is None:
        person = Person(email=email.strip().lower(), name=name.strip(), phone=phone.strip())
        session.add(person)
        session.flush()  # the role needs the id
    return person


def add_grant(
    session: Session,
    programme_id: int,
    *,
    person: Person,
    role: Role,
    area_id: int | None = None,
    school_id: int | None = None,
) -> RoleGrant:
    """Give a person a role in a programme, an area or a school.

    Raises:
        PeopleError: a coordinator without school, a scope of another programme, or a role already held.
    """
    _check_scope(session, programme_id, role, area_id, school_id)
    for held in grants_of(session, person.id):
        if (held.programme_id, held.role, held.area_id, held.school_id) == (programme_id, role, area_id, school_id):
            raise PeopleError("This person already has this role there.")
    number = session.scalar(select(func.count()).where(RoleGrant.programme_id == programme_id)) or 0
    ref = f"{person.email[:40]}-{number + 1}"
    grant = RoleGrant(
        programme_id=programme_id, ref=ref, person_id=person.id, role=role, area_id=area_id, school_id=school_id
    )
    session.add(grant)
    return grant


def _check_scope(session: Session, programme_id: int, role: Role, area_id: int | None, school_id: int | None) -> None:
    if role is Role.COORDINATOR and school_id is None:
        raise PeopleError("Choose the coordinator's school.")
    if role is not Role.COORDINATOR and school_id is not None:
        raise PeopleError("Only a coordinator belongs to one school. Leave the school empty.")
    if role not in (Role.OFFICER, Role.ENGINEER) and area_id is not None:
        raise PeopleError("Only an officer or an engineer belongs to an area. Leave the area empty.")
    school = session.get(School, school_id) if school_id is not None else None
    area = session.get(Area, area_id) if area_id is not None else None
    if school_id is not None and (school is None or school.programme_id != programme_id):
        raise PeopleError("This school is not in the programme. Choose one of the list.")
    if area_id is not None and (area is None or area.programme_id != programme_id):
        raise PeopleError("This area is not in the programme. Choose one of the list.")


def end_grant(session: Session, grant: RoleGrant, at: datetime) -> None:
    """End a role; the next request of the person is decided without it.

    Raises:
        PeopleError: it is the programme's last administrator.
    """
    if grant.ended_at is not None:
        return
    if grant.role is Role.ADMINISTRATOR and _administrators(session, grant.programme_id) == 1:
        raise PeopleError("This is the programme's last administrator. Add another one first.")
    grant.ended_at = at


def _administrators(session: Session, programme_id: int) -> int:
    return (
        session.scalar(
            select(func.count()).where(
                RoleGrant.programme_id == programme_id,
                RoleGrant.role == Role.ADMINISTRATOR,
                RoleGrant.ended_at.is_(None),
            )
        )
        or 0
    )


def remove_account(session: Session, person: Person, at: datetime) -> None:
    """Close an account: every role and log-in ends; the name stays for the records it signed.

    Raises:
        PeopleError: the person is a programme's last administrator.
    """
    for grant in session.scalars(
        select(RoleGrant).where(RoleGrant.person_id == person.id, RoleGrant.ended_at.is_(None))
    ):
        end_grant(session, grant, at)
    person.active = False
    end_all_logins(session, person.id, at)


# --- lists --------------------------------------------------------------------------------------------------------


def people_of(session: Session, programme_id: int) -> list[Listed]:
    """Everybody with a role in the programme, held roles first, then by name."""
    rows = session.execute(
        select(RoleGrant, Person, Area.name, School.name)
        .join(Person, Person.id == RoleGrant.person_id)
        .outerjoin(Area, Area.id == RoleGrant.area_id)
        .outerjoin(School, School.id == RoleGrant.school_id)
        .where(RoleGrant.programme_id == programme_id)
        .order_by(RoleGrant.ended_at.is_not(None), Person.name, RoleGrant.role, RoleGrant.id)
    ).all()
    return [
        Listed(
            person.id,
            person.name,
            person.email,
            person.active,
            grant.id,
            grant.role,
            school or area or "whole programme",
            grant.ended_at,
        )
        for grant, person, area, school in rows
    ]


def belongs(session: Session, person_id: int, programme_id: int) -> bool:
    """Whether the person has or had a role in the programme."""
    found = select(RoleGrant.id).where(RoleGrant.person_id == person_id, RoleGrant.programme_id == programme_id)
    return session.scalar(found.limit(1)) is not None


def only_in(session: Session, person_id: int, programme_id: int) -> bool:
    """Whether every role the person holds now is in the programme."""
    return all(grant.programme_id == programme_id for grant in grants_of(session, person_id))


def programme_ids(session: Session) -> list[int]:
    """Every programme of this installation."""
    return list(session.scalars(select(Programme.id).order_by(Programme.id)))


def programme_by_code(session: Session, code: str) -> Programme | None:
    """The programme of that code."""
    return session.scalar(select(Programme).where(Programme.code == code))


def areas_of(session: Session, programme_id: int) -> list[Area]:
    """Areas of a programme by name."""
    return list(session.scalars(select(Area).where(Area.programme_id == programme_id).order_by(Area.name)))


def schools_of(session: Session, programme_id: int) -> list[School]:
    """Schools of a programme by name."""
    return list(session.scalars(select(School).where(School.programme_id == programme_id).order_by(School.name)))


def school_by_code(session: Session, programme_id: int, code: str) -> School | None:
    """The school with this code; None where there is none."""
    return session.scalar(select(School).where(School.programme_id == programme_id, School.code == code))


def has_demo(session: Session) -> bool:
    """Whether a demo programme or a demo password is in the database."""
    programme = session.scalar(select(Programme.id).where(Programme.is_demo).limit(1))
    credential = session.scalar(select(Credential.id).where(Credential.is_demo).limit(1))
    return programme is not None or credential is not None
