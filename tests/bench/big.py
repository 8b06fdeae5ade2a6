"""A large made-up programme straight in SQL: 60 school days, 8 counted units and 3 breaks at every school.

Numbers come from fixed arithmetic on ids, so that the same size gives the same rows. Nothing is drawn at random.
"""

from __future__ import annotations

from sqlalchemy import Connection, Engine

from tracker import models as m  # noqa: F401 - the tables
from tracker.db import Base
from tracker.measures.menstrual_items import ITEMS

WEEKS, DAYS, BREAKS, UNITS = 12, 60, 3, 8
FIRST = "2026-01-05"  # a Monday
LAST = "2026-03-27"
OPENS, CLOSES = 480, 900
AHEAD = "2026-04-13"  # the first of 20 school days that are planned for the term after
ROUNDS = ("2026-04-15", "2026-04-29")
LADDER_QUESTIONS = ("water_source", "toilet_improved", "water_available", "single_sex", "handwash_facility")
LADDER_QUESTIONS += ("handwash_water", "handwash_soap", "usable_girls", "usable_boys")
QUESTIONS = (*LADDER_QUESTIONS, *(question for item in ITEMS.values() for question in item.questions))

# school k has units k*100 + 1 … 8 (five cabins, two urinals, a tap), machine 9, water meter 10, incinerator 11, a cabin
# that is tallied in drawn breaks 12, a tank 13 and an energy meter 14; its cupboard is the stock place k*100 + 50
HELPERS = """
CREATE TEMP TABLE n AS WITH RECURSIVE c(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM c WHERE i < 2000) SELECT i FROM c;
CREATE TEMP TABLE d AS SELECT 5 * (w.i - 1) + k.i AS number, w.i AS week_number,
  date('{first}', '+' || (7 * (w.i - 1)) || ' days') AS week,
  date('{first}', '+' || (7 * (w.i - 1) + k.i - 1) || ' days') AS day
  FROM n w, n k WHERE w.i <= {weeks} AND k.i <= 5;
CREATE TEMP TABLE later AS SELECT date('{ahead}', '+' || (7 * (w.i - 1)) || ' days') AS week,
  date('{ahead}', '+' || (7 * (w.i - 1) + k.i - 1) || ' days') AS day FROM n w, n k WHERE w.i <= 4 AND k.i <= 5;
CREATE TEMP TABLE u AS SELECT s.i AS school, p.i AS place, s.i * 100 + p.i AS id,
  CASE WHEN p.i <= 5 THEN 'cabin' WHEN p.i <= 7 THEN 'urinal' WHEN p.i = 8 THEN 'tap' WHEN p.i = 9 THEN 'machine'
  WHEN p.i IN (10, 14) THEN 'meter' WHEN p.i = 11 THEN 'incinerator' WHEN p.i = 12 THEN 'cabin' ELSE 'tank' END AS kind
  FROM n s, n p WHERE s.i <= {schools} AND p.i <= 14;
"""
SETUP = """
INSERT INTO programme (id, code, name, zone, currency, first_weekday, phone, is_demo)
  VALUES (1, 'P1', 'Large', 'Etc/GMT-3', 'XTS', 0, '', 0);
INSERT INTO area (id, programme_id, code, name) VALUES (1, 1, 'A1', 'Area 1');
INSERT INTO term (id, programme_id, code, name, first_day, last_day) VALUES (1, 1, 'T1', 'Term', '{first}', '{last}');
INSERT INTO product (id, programme_id, code, name, menstrual, pack_size, unit_cost_minor)
  VALUES (1, 1, 'NAP', 'Napkin', 1, 10, 5);
INSERT INTO lot (id, product_id, code) VALUES (1, 1, 'unknown');
INSERT INTO stock_place (id, programme_id, code, name, kind) VALUES (1, 1, 'STORE', 'Store', 'store'),
  (2, 1, 'OUT', 'Given out', 'given out');
INSERT INTO school (id, programme_id, area_id, code, name, boarders, from_day)
  SELECT i, 1, 1, printf('S%04d', i), 'School ' || i, 0, '2025-01-01' FROM n WHERE i <= {schools};
INSERT INTO shift (id, school_id, code, name) SELECT id, id, 'day', 'Day' FROM school;
INSERT INTO school_break (shift_id, code, name, weekday, start_min, end_min, from_day)
  SELECT s.id, 'B' || b.i, 'Break ' || b.i, w.i - 1, 540 + 90 * b.i, 560 + 90 * b.i, '2025-01-01'
  FROM shift s, n b, n w WHERE b.i <= {breaks} AND w.i <= 5;
INSERT INTO school_day (school_id, shift_id, day, week, opens_min, closes_min)
  SELECT s.id, s.id, d.day, d.week, {opens}, {closes} FROM school s,
  (SELECT day, week FROM d UNION SELECT day, week FROM later) d;
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
  SELECT id, CASE WHEN place <= 8 THEN 'grid' WHEN place = 12 THEN 'drawn' ELSE 'none' END, '2025-01-01' FROM u;
INSERT INTO fitting (unit_id, kind, ml, long_ml, threshold_s, litres_basis, from_day)
  SELECT id, 'flush_two_stage', 1500, 4000, 180, 'claim', '{first}' FROM u WHERE place <= 5;
INSERT INTO fitting (unit_id, kind, ml, every_n, litres_basis, from_day)
  SELECT id, 'floor_wash', 3000, 10, 'claim', '{first}' FROM u WHERE place <= 5;
INSERT INTO fitting (unit_id, kind, ml, litres_basis, from_day)
  SELECT id, 'pre_wash', 200, 'claim', date('{first}', '+28 days') FROM u WHERE place = 1 AND school % 2 = 0;
INSERT INTO fitting (unit_id, kind, ml, litres_basis, from_day)
  SELECT id, CASE kind WHEN 'tap' THEN 'tap' ELSE 'flush_fixed' END, CASE kind WHEN 'tap' THEN 250 ELSE 1000 END,
  'claim', '{first}' FROM u WHERE kind IN ('urinal', 'tap');
INSERT INTO meter_install (unit_id, quantity, from_at, digits, step_ml, u_permille, first_value)
  SELECT id, 'water', '{first} 03:00:00.000000', 5, 10000, 20, 99000 FROM u WHERE place = 10;
INSERT INTO meter_install (unit_id, quantity, from_at, digits, step_ml, u_permille, first_value)
  SELECT id, 'energy', '{first} 03:00:00.000000', 5, 100, 20, 0 FROM u WHERE place = 14;
INSERT INTO meter_install (unit_id, quantity, from_at, digits, step_ml, u_permille, first_value)
  SELECT id, 'vends', '{first} 03:00:00.000000', 4, 1, 0, 9900 FROM u WHERE kind = 'machine';
INSERT INTO meter_scope (meter_id, unit_id, whole, from_day)
  SELECT m.id, u.id, 1, '{first}' FROM u m JOIN u
  ON u.school = m.school AND (u.place <= 8 OR u.place = 11 AND m.place = 14) WHERE m.kind = 'meter';
INSERT INTO stock_place (id, programme_id, code, name, kind, school_id, unit_id)
  SELECT id, 1, 'M' || school, 'Machine', 'machine', school, id FROM u WHERE kind = 'machine';
INSERT INTO given_how (place_id, way, price_minor, from_day) SELECT id, 'free from the machine', 0, '2025-01-01'
  FROM stock_place WHERE kind = 'machine';
INSERT INTO disposal_route (school_id, kind, from_day, permit_until, operator_until, siting_checked, flue_checked,
  ash_route) SELECT id, 'burn', '2025-01-01', '2026-12-31', '2026-12-31', '2025-12-01', '2025-12-01', 'pit' FROM school;
INSERT INTO stock_place (id, programme_id, code, name, kind, school_id)
  SELECT id * 100 + 50, 1, 'C' || id, 'Cupboard', 'cupboard', id FROM school;
INSERT INTO planned_round (programme_id, day) VALUES (1, '{next_round}'), (1, '{round_after}');
INSERT INTO tank (unit_id, capacity_ml, inflow_known, from_day)
  SELECT id, 5000000, 1, '2025-06-01' FROM u WHERE kind = 'tank';
INSERT INTO inspection_answer (school_id, term_id, question, answer, seen_on)
  SELECT s.id, 1, q.code, CASE WHEN q.code IN ('water_source', 'toilet_improved') THEN 'improved'
  WHEN q.code LIKE 'usable%' THEN '' || (s.id % 5) WHEN (s.id + length(q.code)) % 4 = 0 THEN 'no' ELSE 'yes' END,
  '{first}' FROM school s, question q;
INSERT INTO money_entry (programme_id, ref, school_id, day, kind, minor, note)
  SELECT 1, 'M' || s.id || '-' || k.kind || '-' || m.i, s.id, date('{first}', '+' || (20 * m.i) || ' days'), k.kind,
  100 + (s.id * 37 + m.i) % 500, '' FROM school s, (SELECT 'service' AS kind UNION SELECT 'supplies'
  UNION SELECT 'water' UNION SELECT 'power' UNION SELECT 'vend income') k, n m
  WHERE m.i <= 3 AND (s.id + length(k.kind)) % 11 > 0;
INSERT INTO service_visit (programme_id, ref, unit_id, purpose, asked_on, done_at, found, done, parts, back_in_service)
  SELECT 1, 'V' || s.id || '-' || k.i, s.id * 100 + 1, 'service visit',
  date('{first}', '+' || (30 * (k.i - 1)) || ' days'),
  date('{first}', '+' || (30 * (k.i - 1) + s.id % 14) || ' days') || ' 08:00:00.000000', '', 'looked over', '', 0
  FROM school s, n k WHERE k.i <= 3;
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
  SELECT u.id, w.id, CASE u.place WHEN 10 THEN 'water' WHEN 14 THEN 'energy' ELSE 'vends' END, 'tally',
  date(w.week, '+4 days') || ' 10:00:00.000000', date(w.week, '+4 days'), w.week,
  CASE u.place WHEN 14 THEN (w.id % 100) * (300 + u.school % 40) WHEN 10 THEN (99000
  + (w.id % 100) * (200 + u.school % 40)) % 100000
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
  WHERE u.kind NOT IN ('meter', 'tank') AND (u.id + d.number) % 3 = 0;
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
  date('{first}', '+' || (14 * k.i) || ' days'),
  CASE WHEN s.id % 3 > 0 THEN 'Menstrual health ' ELSE 'Topic ' END || k.i, 40 FROM school s, n k WHERE k.i <= 2;
INSERT INTO attendance (session_id, sex, grade, present)
  SELECT a.id, e.sex, e.grade, e.pupils - 5 FROM awareness_session a JOIN enrolment e ON e.shift_id = a.school_id;
INSERT INTO quiz (session_id, item, right_right, right_wrong, wrong_right, wrong_wrong)
  SELECT a.id, 'item-' || k.i, 10 + a.id % 5, a.id % 3, 8 + a.id % 7, 3 FROM awareness_session a, n k WHERE k.i <= 3;
INSERT INTO usage_count (unit_id, sheet_id, week, first_day, days, slot, source, how, visits, note)
  SELECT u.id, w.id, w.week, date(w.week, '+1 day'), 1, 'B1', 'tally', 'drawn', 4 + (u.id + w.id) % 9, ''
  FROM u JOIN week_sheet w ON w.school_id = u.school WHERE u.place = 12;
INSERT INTO level (unit_id, sheet_id, source, day, quarters)
  SELECT u.id, w.id, 'tally', date(w.week, '+4 days'), (u.school + w.id) % 5
  FROM u JOIN week_sheet w ON w.school_id = u.school WHERE u.kind IN ('tank', 'incinerator');
INSERT INTO water_delivery (programme_id, ref, tank_id, day, origin, ml)
  SELECT 1, 'W' || w.id, u.id, date(w.week, '+2 days'), 'tanker', 4000000
  FROM u JOIN week_sheet w ON w.school_id = u.school WHERE u.kind = 'tank';
INSERT INTO stock_count (place_id, product_id, sheet_id, day, week, quantity)
  SELECT w.school_id * 100 + 50, 1, w.id, date(w.week, '+4 days'), w.week, 60 + (w.id * 11) % 40 FROM week_sheet w;
INSERT INTO stock_move (programme_id, ref, sheet_id, from_place_id, to_place_id, lot_id, quantity, day, week, reason,
  note) SELECT 1, 'G' || w.id, w.id, w.school_id * 100 + 50, 2, 1, 1 + w.id % 4, w.week, w.week, 'given out', ''
  FROM week_sheet w;
INSERT INTO query (sheet_id, number, cell, question, raised_by_check, asked_at, answer)
  SELECT id, 1, '', 'Is this right?', 1, week || ' 12:00:00.000000', '' FROM week_sheet WHERE id % 10 = 0;
"""


def build(engine: Engine, schools: int) -> int:
    """Make the tables and fill them; the number of counts."""
    Base.metadata.create_all(engine)
    values = {"schools": schools, "first": FIRST, "last": LAST, "weeks": WEEKS, "breaks": BREAKS}
    values |= {"opens": OPENS, "closes": CLOSES, "ahead": AHEAD, "next_round": ROUNDS[0], "round_after": ROUNDS[1]}
    with engine.begin() as connection:
        connection.exec_driver_sql("PRAGMA defer_foreign_keys = ON")
        connection.exec_driver_sql("CREATE TEMP TABLE question (code TEXT)")
        connection.exec_driver_sql("INSERT INTO question VALUES (?)", [(question,) for question in QUESTIONS])
        for script in (HELPERS, SETUP, FACTS):
            _run(connection, script.format(**values))
        return connection.exec_driver_sql("SELECT count(*) FROM usage_count WHERE how = 'grid'").scalar_one()


def _run(connection: Connection, script: str) -> None:
    for statement in script.split(";\n"):
        if statement.strip():
            connection.exec_driver_sql(statement)
