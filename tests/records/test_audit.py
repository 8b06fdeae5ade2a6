"""Every change is written with who, when, before and after; sealed rows cannot be edited unseen."""

import json
from datetime import UTC, date, datetime

import pytest
from sqlalchemy import delete, func, select, update

from tests.make import make_area, make_person, make_programme, make_school
from tracker.models.audit import Audit
from tracker.models.people import Credential, LoginSession
from tracker.models.sheets import SheetVersion, WeekSheet
from tracker.records import audit
from tracker.vocabulary import Role, SheetState

AT = datetime(2026, 1, 20, 8, tzinfo=UTC)


def lines(session, table):
    return session.scalars(select(Audit).where(Audit.table_name == table).order_by(Audit.seq)).all()


def test_an_added_row_is_written_with_its_actor_and_instant(session):
    programme = make_programme(session)
    person = make_person(session, programme, Role.OFFICER)
    session.info["actor"] = audit.Actor(person.id, "officer", programme.id)
    session.info["now"] = AT
    area = make_area(session, programme, name="North")
    (line,) = lines(session, "area")
    assert (line.act, line.person_id, line.role, line.programme_id, line.at) == (
        "added", person.id, "officer", programme.id, AT,
    )  # fmt: skip
    assert (line.row_key, line.before, json.loads(line.after)["name"]) == (str(area.id), None, "North")


def test_a_changed_row_keeps_only_what_changed_before_and_after(session):
    area = make_area(session, name="North")
    session.info["reason"] = "renamed by the council"
    area.name = "Upper North"
    session.flush()
    line = lines(session, "area")[-1]
    assert (line.act, line.before, line.after) == ("changed", '{"name":"North"}', '{"name":"Upper North"}')
    assert line.reason == "renamed by the council"


def test_before_is_known_also_where_the_row_was_not_read(session):
    area = make_area(session, name="North")
    session.commit()  # the row is expired: nobody has read its old name when the new one is set
    area.name = "South"
    session.flush()
    assert lines(session, "area")[-1].before == '{"name":"North"}'


def test_a_removed_row_is_written_whole(session):
    area = make_area(session, name="North")
    session.commit()
    session.delete(area)
    session.flush()
    line = lines(session, "area")[-1]
    assert (line.act, json.loads(line.before)["name"], line.after) == ("removed", "North", None)


def test_a_flush_without_a_change_writes_nothing(session):
    area = make_area(session, name="North")
    before = session.scalar(select(func.count()).select_from(Audit))
    area.name = "North"
    session.flush()
    assert session.scalar(select(func.count()).select_from(Audit)) == before


def test_secrets_and_log_ins_never_reach_the_trail(session):
    person = make_person(session)
    session.add(Credential(person_id=person.id, secret_hash="$argon2id$very-secret", set_at=AT))
    session.add(LoginSession(token_hash="token-secret", person_id=person.id, created_at=AT, expires_at=AT))
    session.flush()
    assert json.loads(lines(session, "credential")[0].after)["secret_hash"] == "***"
    assert lines(session, "login_session") == []
    texts = session.scalars(select(Audit.after)).all()
    assert not [one for one in texts if one and "secret" in one.replace("secret_hash", "")]


def test_a_payload_is_kept_as_its_hash(session):
    school = make_school(session)
    sheet = WeekSheet(
        school_id=school.id, week=date(2026, 1, 12), code="C1", state=SheetState.SENT, version=1, first_sent_at=AT
    )
    session.add(sheet)
    session.flush()
    session.add(
        SheetVersion(
            sheet_id=sheet.id, number=1, reference="R1", sent_at=AT, payload='{"a": "typed"}', payload_hash="0" * 64
        )
    )
    session.flush()
    after = json.loads(lines(session, "sheet_version")[0].after)
    assert after["payload"].startswith("sha256:")
    assert "typed" not in lines(session, "sheet_version")[0].after


def sealed(session, batches=3):
    """Three batches of audit rows, each sealed."""
    programme = make_programme(session)
    ends = []
    for number in range(batches):
        make_area(session, programme, name=f"Area {number}")
        ends.append(audit.seal(session, AT).last_seq)
    return ends


def test_an_untouched_trail_verifies(session):
    assert audit.verify(session) is None
    sealed(session)
    assert audit.verify(session) is None
    assert audit.seal(session, AT) is None, "nothing new, nothing to seal"


@pytest.mark.parametrize("batch", [0, 1, 2])
def test_an_edited_row_is_reported_with_its_batch(session, batch):
    ends = sealed(session)
    session.execute(update(Audit).where(Audit.seq == ends[batch]).values(after='{"name":"Other"}'))
    assert audit.verify(session) == (1 if batch == 0 else ends[batch - 1] + 1)


def test_a_removed_row_is_reported(session):
    ends = sealed(session)
    session.execute(delete(Audit).where(Audit.seq == ends[1]))
    assert audit.verify(session) == ends[0] + 1


def test_an_edit_of_the_instant_or_the_person_shows_too(session):
    ends = sealed(session)
    session.execute(update(Audit).where(Audit.seq == ends[0]).values(at=datetime(2020, 1, 1, tzinfo=UTC)))
    assert audit.verify(session) == 1
