"""The officer's page of a plan, timed over many schools: ``python -m tests.bench.restock_page``.

The large made-up programme with three more products in every cupboard, counted each week, and one in ten schools that
cannot be reached; budget and vehicle are too small for everything, so that products compete. Processor time of this
process in milliseconds, the median of five after one warm run; "anew" reads everything again, as after a write.
"""

from __future__ import annotations

import statistics
import sys
import tempfile
import time
from pathlib import Path

from sqlalchemy import Engine

from tests.bench import big
from tests.browse import browser_with, make_app, open_login
from tracker.db import make_engine, writing
from tracker.models.people import Person, RoleGrant
from tracker.reports import restock_plan
from tracker.vocabulary import Role

SIZES = (100, 300, 1000)
REPEATS = 5
LIMIT_MS, LIMIT_AT = 500, 100
MORE = """
INSERT INTO product (id, programme_id, code, name, menstrual, pack_size, unit_cost_minor, pack_ml)
  VALUES (2, 1, 'SOAP', 'Soap', 0, 12, 90, 1500), (3, 1, 'DIS', 'Disinfectant', 0, 6, 240, 7500),
  (4, 1, 'BAG', 'Bin liner', 0, 20, 9, 1200);
UPDATE product SET pack_ml = 900 WHERE id = 1;
INSERT INTO lot (id, product_id, code) VALUES (2, 2, 'L'), (3, 3, 'L'), (4, 4, 'L'), (5, 1, 'L');
INSERT INTO stock_place (id, programme_id, code, name, kind) VALUES (3, 1, 'SUP', 'Supplier', 'supplier');
INSERT INTO stock_move (programme_id, ref, from_place_id, to_place_id, lot_id, quantity, day, week, reason, note)
  SELECT 1, 'RE' || id, 3, 1, id, CASE id WHEN 5 THEN 300 ELSE 60 END * {schools}, '2026-01-05', '2026-01-05',
  'receipt', '' FROM lot WHERE id > 1;
INSERT INTO stock_count (place_id, product_id, sheet_id, day, week, quantity)
  SELECT w.school_id * 100 + 50, p.id, w.id, date(w.week, '+4 days'), w.week,
  (90 - 7 * (w.id % 100) + (w.id * 13 + p.id) % 5) * (1 + p.id % 2) FROM week_sheet w, product p WHERE p.id > 1;
"""
ASKED = "/programmes/1/restock?on=2026-04-15&until=2026-04-29&budget={budget}&litres={litres}&packs={packs}&aim=fewest"


def built(path: Path, schools: int) -> Engine:
    """The large programme with more products."""
    engine = make_engine(f"sqlite:///{path}")
    big.build(engine, schools)
    with engine.begin() as connection:
        for statement in MORE.format(schools=schools).split(";\n"):
            if statement.strip():
                connection.exec_driver_sql(statement)
    return engine


def measured(folder: Path, schools: int) -> tuple[float, float]:
    """Milliseconds of the page, warm and anew."""
    engine = built(folder / f"{schools}.db", schools)
    with writing(engine) as session:
        person = Person(email="officer@bench.example", name="Officer")
        session.add(person)
        session.flush()
        session.add(RoleGrant(programme_id=1, ref="R", person_id=person.id, role=Role.OFFICER))
        session.flush()
        token = open_login(session, person.id, big_now())
        session.commit()
    browser = browser_with(make_app(engine, big_now, folder / "access.jsonl"), token)
    out = "".join(f"&out=S{number:04d}" for number in range(10, schools + 1, 10))
    address = ASKED.format(budget=40 * schools, litres=20 * schools, packs=12 * schools) + out

    def opened() -> float:
        start = time.process_time()
        page = browser.get(address)
        if page.status_code != 200 or "The plan in short" not in page.text:
            raise RuntimeError("the page has no plan")
        return (time.process_time() - start) * 1000

    opened()
    warm = statistics.median(opened() for _ in range(REPEATS))
    anew = statistics.median(_forgetting(opened) for _ in range(REPEATS))
    engine.dispose()
    return warm, anew


def _forgetting(opened) -> float:
    restock_plan.MEMORY.clear()
    return opened()


def big_now():
    """The clock of the large programme: two days before its next round."""
    from datetime import UTC, datetime

    return datetime(2026, 4, 13, 9, tzinfo=UTC)


def main() -> int:
    """Print a line for each size; 1 where the page of 100 schools takes too long."""
    late = False
    sys.stdout.write("| schools | page, warm (ms) | page, read anew (ms) |\n|---:|---:|---:|\n")
    with tempfile.TemporaryDirectory() as folder:
        for schools in SIZES:
            warm, anew = measured(Path(folder), schools)
            late |= schools == LIMIT_AT and warm > LIMIT_MS
            sys.stdout.write(f"| {schools:,} | {warm:,.0f} | {anew:,.0f} |\n")
            sys.stdout.flush()
    return 1 if late else 0


if __name__ == "__main__":
    sys.exit(main())
