"""What an OpenAPI tester makes of the feed's own description: every answer is one that is described, none is a 500."""

import shutil
from pathlib import Path

import pytest
import schemathesis
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.browse import Clock, make_app
from tests.web.feed_world import KEY, build_devices
from tests.web.test_access import database_hash
from tracker.db import make_engine, writing
from tracker.web.feed_description import described

SCHEMA = schemathesis.openapi.from_dict(described())
OPERATION = SCHEMA["/api/readings"]["POST"]
MODES = [schemathesis.GenerationMode.POSITIVE, schemathesis.GenerationMode.NEGATIVE]
CASES = st.sampled_from(MODES).flatmap(lambda mode: OPERATION.as_strategy(generation_mode=mode))


@pytest.fixture(scope="module")
def stage(migrated_file: Path, tmp_path_factory: pytest.TempPathFactory):
    """The application with a school's devices."""
    path = tmp_path_factory.mktemp("fuzz") / "fuzz.db"
    shutil.copy(migrated_file, path)
    engine = make_engine(f"sqlite:///{path}")
    with writing(engine) as session:
        build_devices(session)
        session.commit()
    app = make_app(engine, Clock(), path.with_suffix(".jsonl"))
    app.config["SHOW_ERROR_PAGES"] = True  # a failure must be seen as the 500 it would be
    SCHEMA.app = app
    yield app, engine
    SCHEMA.app = None
    engine.dispose()


def test_what_is_served_is_what_is_tested(stage):
    assert stage[0].test_client().get("/api/openapi.json").json == described()


@given(case=CASES)
@settings(max_examples=100, deadline=None, suppress_health_check=list(HealthCheck))
def test_every_answer_is_one_that_is_described(case, stage):
    engine = stage[1]
    before = database_hash(engine)
    answer = case.call(app=stage[0], headers={"Authorization": f"Bearer {KEY}"})
    assert str(answer.status_code) in described()["paths"]["/api/readings"]["post"]["responses"]
    OPERATION.validate_response(answer)
    if answer.status_code != 200:
        assert database_hash(engine) == before, "a refused pack leaves nothing"
