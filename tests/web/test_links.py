"""A link opens one version, for a while, to whoever holds it, and nothing else."""

import json
import re
from datetime import timedelta

import pytest
from sqlalchemy import select

from tests.web.test_access import database_hash
from tests.web.world import build
from tracker import models as m
from tracker.db import reading
from tracker.records import links


@pytest.fixture
def world(session):
    found = build(session)
    session.commit()
    return found


@pytest.fixture
def officer(world, login_as):
    return login_as(world.people["officer"])


def made(officer, world, days="30", label="A funder"):
    """The answer to making a link, and its address."""
    page = officer.post(f"/publications/{world.own['publication']}/links", data={"label": label, "days": days})
    found = re.search(r"(/shared/[\w-]+)</code>", page.get_data(as_text=True))
    return page, found.group(1) if found else ""


def test_a_link_opens_the_version_and_its_files_without_logging_in(officer, world, client):
    page, address = made(officer, world)
    assert page.status_code == 200 and len(address) >= len("/shared/") + 43  # 32 random bytes
    assert client.get(address).status_code == 200
    assert client.get(f"{address}/files/report.html").status_code == 200
    assert client.get(f"{address}/files/other.txt").status_code == 404
    assert client.get(f"/publications/{world.own['publication']}").status_code == 302, "only the link's own address"


def test_only_a_hash_is_kept_and_the_address_is_shown_once(officer, world, engine):
    _, address = made(officer, world)
    token = address.removeprefix("/shared/")
    with reading(engine) as session:
        assert token not in " ".join(session.scalars(select(m.links.ShareLink.token_hash)))
    assert token not in officer.get(f"/publications/{world.own['publication']}/links").get_data(as_text=True)


def test_ended_expired_and_never_made_look_alike(officer, world, client, clock):
    answers = []
    _, ended = made(officer, world)
    listed = officer.get(f"/publications/{world.own['publication']}/links").get_data(as_text=True)
    assert officer.post(re.search(r"/publications/\d+/links/\d+/end", listed).group(0)).status_code == 302
    answers.append(client.get(ended))
    _, short = made(officer, world, days="1")
    assert client.get(short).status_code == 200
    clock.pass_by(days=1)
    answers.append(client.get(short))
    answers.append(client.get("/shared/never-made"))
    texts = {re.sub(r"[0-9a-f]{8}", "", answer.get_data(as_text=True)) for answer in answers}
    assert {answer.status_code for answer in answers} == {404} and len(texts) == 1


def test_opening_is_logged_without_the_random_part_and_changes_nothing(officer, world, client, engine, app):
    _, address = made(officer, world)
    before = database_hash(engine)
    client.get(address)
    client.get(f"{address}/files/report.html")
    assert database_hash(engine) == before
    log = app.extensions["washbell"].access_log.read_text(encoding="utf-8")
    assert address.removeprefix("/shared/") not in log
    said = [json.loads(line)["what"] for line in log.splitlines() if "shared link" in line]
    assert len(said) == 2 and "impact summary, version 1" in said[0] and said[1].endswith("report.html")


@pytest.mark.parametrize(("days", "label"), [("0", "A"), ("367", "A"), ("x", "A"), ("30", "")])
def test_a_link_without_an_end_or_without_a_name_is_refused_and_what_was_typed_stays(
    officer, world, engine, days, label
):
    before = database_hash(engine)
    page, address = made(officer, world, days, label)
    assert page.status_code == 400 and not address
    assert f'value="{days}"' in page.get_data(as_text=True)
    assert database_hash(engine) == before


def test_what_is_about_one_school_has_no_link(officer, world, session):
    assert officer.get(f"/publications/{world.own['school_publication']}/links").status_code == 404
    row = session.get(m.publications.Publication, world.own["school_publication"])
    at = row.published_at
    with pytest.raises(ValueError, match="one school"):
        links.make(session, row, "x", "0" * 64, days=5, at=at, person_id=row.approved_by_id)
    whole = session.get(m.publications.Publication, world.own["publication"])
    link = links.make(session, whole, "x", "0" * 64, days=5, at=at, person_id=row.approved_by_id)
    assert link.expires_at - at == timedelta(days=5)
