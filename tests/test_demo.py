"""The demo as a visitor finds it."""

from sqlalchemy import select

from tracker import demo
from tracker.app import create_app
from tracker.db import make_engine, reading
from tracker.models.publications import Publication


def test_the_demos_funder_finds_the_ended_terms_published_once(demo_copy):
    app = create_app(demo.settings(demo_copy), now=demo.now)
    demo.publish_ended_terms(app)
    demo.publish_ended_terms(app)
    engine = make_engine(f"sqlite:///{demo_copy}")
    with reading(engine) as session:
        found = session.scalars(select(Publication.number).order_by(Publication.term_id)).all()
    engine.dispose()
    assert list(found) == [1, 1]
