"""One page of help for each door, on screen, on paper and in the docs, from one source."""

from __future__ import annotations

import re

import pytest

from tracker import paths
from tracker.vocabulary import Role
from tracker.web.guide_texts import GUIDES, as_text

DOCS = paths.PACKAGE.parent / "docs" / "guides"


def test_every_door_has_a_guide():
    assert set(GUIDES) == {role.value for role in Role}


@pytest.mark.parametrize("door", GUIDES)
def test_a_guide_is_open_and_says_what_the_docs_say(client, door):
    answer = client.get(f"/guides/{door}")
    assert answer.status_code == 200
    page = re.sub(r"\s+", " ", answer.get_data(as_text=True)).replace("&#39;", "'")
    for heading, said in GUIDES[door].parts:
        assert heading in page and all(sentence in page for sentence in said)
    assert (DOCS / f"{door}.md").read_text(encoding="utf-8") == as_text(door)


@pytest.mark.parametrize("door", GUIDES)
def test_a_guide_holds_whole_sentences_and_at_most_two_cautions(door):
    guide = GUIDES[door]
    assert len(guide.cautions) <= 2
    said = [guide.about, *(sentence for _, sentences in guide.parts for sentence in sentences)]
    assert all(sentence[0].isupper() and sentence.endswith(".") and "!" not in sentence for sentence in said)


def test_a_door_that_is_not_there_has_no_guide(client):
    assert client.get("/guides/nobody").status_code == 404


def test_what_to_count_is_said_for_every_section_of_the_sheet():
    # sections of a week sheet with figures: visits, meters, supplies, used supplies, working or not, lessons
    said = " ".join(sentence for heading, part in GUIDES["coordinator"].parts for sentence in part)
    for subject in ("Visits:", "At the bell:", "Meters and counters:", "Supplies:", "Used supplies:", "Working or"):
        assert subject in said
