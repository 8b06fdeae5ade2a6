"""Eight writers, killed at random moments and started again. In full: python -m tests.bench.ledger_storm."""

import os

from tests.bench import ledger_storm


def url_of(engine) -> str:
    if engine.dialect.name == "sqlite":
        return str(engine.url)
    return f"{os.environ['WASHBELL_TEST_POSTGRES']}?options=-csearch_path%3Dtest_{os.getpid()}"


def test_no_move_is_lost_or_doubled_when_writers_are_killed(any_engine, tmp_path):
    said = ledger_storm.run(url_of(any_engine), tmp_path, moves=320, writers=8, kills=6)
    assert " kept" in said


def test_the_storm_would_see_what_is_wrong(engine, tmp_path):
    ledger_storm.build(engine)
    log = tmp_path / "writer0.log"
    ledger_storm.work(url_of(engine), 0, log, 30)
    said = ledger_storm.told([log])
    assert ledger_storm.wrong(engine, said) == []
    for spoil, seen in (
        ("UPDATE stock_balance SET quantity = quantity + 1", "balance"),
        ("DELETE FROM stock_move", "stands as None"),
    ):
        with engine.begin() as connection:
            connection.exec_driver_sql(spoil)
        assert any(seen in one for one in ledger_storm.wrong(engine, said))
