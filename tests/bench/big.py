"""A large made-up programme straight in SQL: 60 school days, 8 counted units and 3 breaks at every school.

Numbers come from fixed arithmetic on ids, so that the same size gives the same rows. Nothing is drawn at random.
"""

from __future__ import annotations

from sqlalchemy import Connection, Engine

from tracker import models as m  # noqa: F401 - the tables
from tracker.db import Base

WEEKS, DAYS, BREAKS, UNITS = 12, 60, 3, 8
FIRST = "2026-01-05"  # a Monday
LAST = "2026-03-27"
OPENS, CLOSES = 480, 900

# school k has units k*100 + 1 … 8 (five cabins, two urinals, a tap), machine 9, meter 10, incinerator 11
HELPERS = """
CREATE TEMP TABLE n AS WITH RECURSIVE c(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM c WHERE i < 2000) SELECT i FROM c;
CREATE TEMP TABLE d AS SELECT 5 * (w.i - 1) + k.i AS number, w.i AS week_number,
  date('{first}', '+' || (7 * (w.i - 1)) || ' days') AS week,
  date('{first}', '+' || (7 * (w.i - 1) + k.i - 1) || ' days') AS day
  FROM n w, n k WHERE w.i <= {weeks} AND k.i <= 5;
CREATE TEMP TABLE u AS SELECT s.i AS school, p.i AS place, s.i * 100 + p.i AS id,
  CASE WHEN p.i <= 5 THEN 'cabin' WHEN p.i <= 7 THEN 'urinal' WHEN p.i = 8 THEN 'tap' WHEN p.i = 9 THEN 'machine'
  WHEN p.i = 10 THEN 'meter' ELSE 'incinerator' END AS kind FROM n s, n p WHERE s.i <= {schools} AND p.i <= 11;
"""
SETUP = """
INSERT INTO programme (id, code, name, zone, currency, first_weekday, phone, is_demo)
  VALUES (1, 'P1', 'Large', 'Etc/GMT-3', 'XTS', 0, '', 0);
INSERT INTO area (id, programme_id, code, name) VALUES (1, 1, 'A1', 'Area 1');
INSERT INTO term (id, programme_id, code, name, first_day, last_day) VALUES (1, 1, 'T1', 'Term', '{first}', '{last}');
INSERT INTO product (id, programme_id, code, name, menstrual, pack_size, unit_cost_minor)
  VALUES (1, 1, 'NAP', 'Napkin', 1, 10, 5);
INSERT INTO lot (id, product_id, code) VALUES (1, 1, 'unknown');
INSERT INTO stock_place (id, programme_id, code, name, kind) VALUES (1, 1, 'STORE', 'Store', 'store');
INSERT INTO school (id, programme_id, area_id, code, name, boarders, from_day)
  SELECT i, 1, 1, printf('S%04d', i), 'School ' || i, 0, '2025-01-01' FROM n WHERE i <= {schools};
INSERT INTO shift (id, school_id, code, name) SELECT id, id, 'day', 'Day' FROM school;
INSERT INTO school_break (shift_id, code, name, weekday, start_min, end_min, from_day)
  SELECT s.id, 'B' || b.i, 'Break ' || b.i, w.i - 1, 540 + 90 * b.i, 560 + 90 * b.i, '2025-01-01'
  FROM shift s, n b, n w WHERE b.i <= {breaks} AND w.i <= 5;
INSERT INTO school_day (school_id, shift_id, day, week, opens_min, closes_min)
  SELECT s.id, s.id, d.day, d.week, {opens}, {closes} FROM school s, d;
INSERT INTO enrolment (shift_id, sex, grade, age, pupils, from_day)
  SELECT s.id, x.sex, '' || g.i, 5 + g.i, 20 + (s.id * 7 + g.i * 3) % 30, '2025-01-01'
  FROM shift s, n g, (SELECT 'girls' AS sex UNION SELECT 'boys') x WHERE g.i BETWEEN 5 AND 8;
INSERT INTO block (id, school_id, code, name) SELECT school * 10 + b.i, school, 'K' || b.i, 'Block'
  FROM (SELECT DISTINCT school FROM u), n b WHERE b.i <= 2;
INSERT INTO block_group (block_id, grp, from_day)
  SELECT id, CASE id % 10 WHEN 1 THEN 'girls' ELSE 'boys' END, '2025-01-01' FROM block;
INSERT INTO unit (id, school_id, block_id, code, name, kind, accessible, from_day, preferred_source)
  SELECT id, school, school * 10 + CASE WHEN place IN (4, 5, 6, 7) THEN 2 ELSE 1 END, 'U' || place, 'Unit', kind,
  place = 1, '2025-06-01', 'tally' FROM u;
INSERT INTO unit_way (unit_id, way, from_day)
  SELECT id, CASE WHEN place <= 8 THEN 'grid' ELSE 'none' END, '2025-01-01' FROM u;
INSERT INTO fitting (unit_id, kind, ml, long_ml, threshold_s, litres_basis, from_day)
  SELECT id, 'flush_two_stage', 1500, 4000, 180, 'claim', '{first}' FROM u WHERE kind = 'cabin';
INSERT INTO fitting (unit_id, kind, ml, every_n, litres_basis, from_day)
  SELECT id, 'floor_wash', 3000, 10, 'claim', '{first}' FROM u WHERE kind = 'cabin';
INSERT INTO fitting (unit_id, kind, ml, litres_basis, from_day)
  SELECT id, CASE kind WHEN 'tap' THEN 'tap' ELSE 'flush_fixed' END, CASE kind WHEN 'tap' THEN 250 ELSE 1000 END,
  'claim', '{first}' FROM u WHERE kind IN ('urinal', 'tap');
INSERT INTO meter_install (unit_id, quantity, from_at, digits, step_ml, u_permille, first_value)
  SELECT id, 'water', '{first} 03:00:00.000000', 5, 10000, 20, 99000 FROM u WHERE kind = 'meter';
INSERT INTO meter_install (unit_id, quantity, from_at, digits, step_ml, u_permille, first_value)
  SELECT id, 'vends', '{first} 03:00:00.000000', 4, 1, 0, 9900 FROM u WHERE kind = 'machine';
INSERT INTO meter_scope (meter_id, unit_id, whole, from_day)
  SELECT m.id, u.id, 1, '{first}' FROM u m JOIN u ON u.school = m.school AND u.place <= 8 WHERE m.kind = 'meter';
INSERT INTO stock_place (id, programme_id, code, name, kind, school_id, unit_id)
  SELECT id, 1, 'M' || school, 'Machine', 'machine', school, id FROM u WHERE kind = 'machine';
INSERT INTO given_how (place_id, way, price_minor, from_day) SELECT id, 'free from the machine', 0, '2025-01-01'
  FROM stock_place WHERE kind = 'machine';
INSERT INTO disposal_route (school_id, kind, from_day, permit_until, operator_until, siting_checked, flue_checked,
  ash_route) SELECT id, 'burn', '2025-01-01', '2026-12-31', '2026-12-31', '2025-12-01', '2025-12-01', 'pit' FROM school;
"""
FACTS = """
INSERT INTO week_sheet (id, school_id, week, code, state, version, first_sent_at)
  SELECT s.id * 100 + w.week_number, s.id, w.week, printf('%05d-%02d', s.id, w.week_number), 'accepted', 1,
  date(w.week, '+6 days') || ' 09:00:00.000000'
  FROM school s, (SELECT DISTINCT week, week_number FROM d) w;
INSERT INTO usage_count (unit_id, sheet_id, week, first_day, days, slot, source, how, visits, note)
  SELECT u.id, w.id, d.week, d.day, 1, 'B' || b.i, 'tally', 'grid',
  CASE WHEN u.place = 8 THEN 10 ELSE 4 END + (u.id * 7919 + d.number * 31 + b.i * 17) % 9, ''
  FROM u JOIN week_sheet w ON w.school_id = u.school JOIN d ON d.week = w.week, n b
  WHERE u.place <= 8 AND b.i <= {breaks};
INSERT INTO long_week (unit_id, sheet_id, week, source, seen, long_visits)
  SELECT u.id, w.id, w.week, 'tally', 40, 6 + (u.id + w.id) % 9
  FROM u JOIN week_sheet w ON w.school_id = u.school WHERE u.kind = 'cabin';
INSERT INTO reading (unit_id, sheet_id, quantity, source, at, day, week, value, note)
  SELECT u.id, w.id, CASE u.kind WHEN 'meter' THEN 'water' ELSE 'vends' END, 'tally',
  date(w.week, '+4 days') || ' 10:00:00.000000', date(w.week, '+4 days'), w.week,
  CASE u.kind WHEN 'meter' THEN (99000 + (w.id % 100) * (200 + u.school % 40)) % 100000
  ELSE (9900 + (w.id % 100) * (20 + u.school % 15)) % 10000 END, ''
  FROM u JOIN week_sheet w ON w.school_id = u.school WHERE u.kind IN ('meter', 'machine');
INSERT INTO machine_day (unit_id, sheet_id, source, day, ran_out)
  SELECT u.id, w.id, 'tally', d.day, (u.school + d.number) % 17 = 0
  FROM u JOIN week_sheet w ON w.school_id = u.school JOIN d ON d.week = w.week WHERE u.kind = 'machine';
INSERT INTO stock_count (place_id, product_id, sheet_id, day, week, quantity)
  SELECT u.id, 1, w.id, date(w.week, '+4 days'), w.week, 30 + (w.id * 13) % 50
  FROM u JOIN week_sheet w ON w.school_id = u.school WHERE u.kind = 'machine';
INSERT INTO stock_move (programme_id, ref, sheet_id, from_place_id, to_place_id, lot_id, quantity, day, week, reason,
  note) SELECT 1, 'R' || w.id, w.id, 1, u.id, 1, 30 + (w.id * 7) % 20, w.week, w.week, 'refill', ''
  FROM u JOIN week_sheet w ON w.school_id = u.school WHERE u.kind = 'machine';
INSERT INTO sighting (unit_id, sheet_id, source, day, state)
  SELECT u.id, w.id, 'tally', d.day, 'working'
  FROM u JOIN week_sheet w ON w.school_id = u.school JOIN d ON d.week = w.week
  WHERE u.kind <> 'meter' AND (u.id + d.number) % 3 = 0;
INSERT INTO outage (programme_id, ref, unit_id, source, cause, start_at, end_at, said_by, checked_by, note)
  SELECT 1, 'O' || u.id || '-' || d.number, u.id, 'tally',
  CASE u.id % 3 WHEN 0 THEN 'broken' WHEN 1 THEN 'drain blocked' ELSE 'low water' END,
  d.day || printf(' %02d:10:00.000000', 6 + u.id % 4),
  date(d.day, '+' || (u.id % 6) || ' days') || printf(' %02d:40:00.000000', 8 + u.id % 3), '', '', ''
  FROM u JOIN d ON (d.number + u.id) % 30 = 0 WHERE u.place <= 9 AND u.id % 2 = 0;
INSERT INTO burn (unit_id, sheet_id, week, first_day, days, burns)
  SELECT u.id, w.id, w.week, w.week, 7, 3 + w.id % 4 FROM u JOIN week_sheet w ON w.school_id = u.school
  WHERE u.kind = 'incinerator';
INSERT INTO bell_count (school_id, sheet_id, day, slot, grp, waiting, present)
  SELECT w.school_id, w.id, date(w.week, '+1 day'), 'B1', x.sex, (w.id * 3) % 7, 90 + w.id % 20
  FROM week_sheet w, (SELECT 'girls' AS sex UNION SELECT 'boys') x;
INSERT INTO drawn_break (school_id, week, day, slot)
  SELECT school_id, week, date(week, '+1 day'), 'B1' FROM week_sheet;
INSERT INTO awareness_session (id, programme_id, ref, school_id, day, week, topic, minutes)
  SELECT s.id * 10 + k.i, 1, 'A' || s.id || '-' || k.i, s.id, date('{first}', '+' || (14 * k.i) || ' days'),
  date('{first}', '+' || (14 * k.i) || ' days'), 'Topic ' || k.i, 40 FROM school s, n k WHERE k.i <= 2;
INSERT INTO attendance (session_id, sex, grade, present)
  SELECT a.id, e.sex, e.grade, e.pupils - 5 FROM awareness_session a JOIN enrolment e ON e.shift_id = a.school_id;
"""


def build(engine: Engine, schools: int) -> int:
    """Make the tables and fill them; the number of counts."""
    Base.metadata.create_all(engine)
    values = {"schools": schools, "first": FIRST, "last": LAST, "weeks": WEEKS, "breaks": BREAKS}
    values |= {"opens": OPENS, "closes": CLOSES}
    with engine.begin() as connection:
        connection.exec_driver_sql("PRAGMA defer_foreign_keys = ON")
        for script in (HELPERS, SETUP, FACTS):
            _run(connection, script.format(**values))
        return connection.exec_driver_sql("SELECT count(*) FROM usage_count").scalar_one()


def _run(connection: Connection, script: str) -> None:
    for statement in script.split(";\n"):
        if statement.strip():
            connection.exec_driver_sql(statement)
