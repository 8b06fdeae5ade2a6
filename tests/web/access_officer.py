"""Who may use the officer's door."""

from __future__ import annotations

from tests.web.access_table import Entry

OFFICER = {"officer"}
SCHOOL = {"school_id": "school"}
PROGRAMME = {"programme_id": "programme"}
PROGRAMME_TERM = PROGRAMME | {"term": "term"}
SHEET = {"sheet_id": "sheet"}
PLACE = {"place_id": "place"}
FIRST = {"number": 1}

ORDER = {"order_id": "order"}
ROUND = {"round_id": "round"}
ROUND_DAY = {"day_id": "round_day"}

ROWS = [
    Entry("workbook.of_programme", {"officer", "officer_area"}, {"programme_id": "programme"}),
    Entry("workbook.page", {"coordinator", "officer"}, {"school_id": "school"}),
    Entry("workbook.look", {"coordinator", "officer"}, {"school_id": "school"}),
    Entry("workbook.load", {"coordinator", "officer"}, {"school_id": "school"}),
    Entry("workbook.reasons", {"coordinator", "officer"}, {"school_id": "school"}),
    Entry("workbook.week_file", {"coordinator", "officer"}, {"school_id": "school"}, {"week": "2026-01-26"}),
    Entry("workbook.term_file", {"coordinator", "officer"}, {"school_id": "school", "term_id": "term"}),
    Entry("officer.home", {"officer", "officer_area", "officer_elsewhere"}),
    Entry("officer.reports", {"officer", "officer_area", "officer_elsewhere"}),
    Entry("officer.today", {"officer", "officer_area"}, {"programme_id": "programme"}),
    Entry("officer.evidence", {"officer", "officer_area"}, PROGRAMME),
    Entry("officer.add_trial", OFFICER, PROGRAMME),
    Entry("officer.add_grant", OFFICER, PROGRAMME),
    Entry("officer.add_share", OFFICER, {"grant_id": "funding_grant"}),
    Entry("officer.end_share", OFFICER, {"share_id": "grant_share"}),
    Entry("officer.spot_checks", {"officer", "officer_area"}, PROGRAMME | {"term": "term"}),
    Entry("officer.draw_checks", OFFICER, PROGRAMME | {"term": "term"}),
    Entry("officer.answer_check", OFFICER, {"check_id": "spot_check"}),
    Entry("officer.pays_back", {"officer", "officer_area"}, PROGRAMME_TERM),
    Entry("officer.pays_back_file", {"officer", "officer_area"}, PROGRAMME_TERM, {"name": "report.json"}),
    Entry("officer.open_costs", {"officer", "officer_area"}, PROGRAMME_TERM),
    Entry(
        "officer.open_costs_file", {"officer", "officer_area"}, PROGRAMME | {"term": "term"}, {"name": "report.json"}
    ),
    Entry("officer.restock", {"officer", "officer_area"}, {"programme_id": "programme"}),
    Entry("officer.restock_file", {"officer", "officer_area"}, {"programme_id": "programme"}, {"name": "report.json"}),
    Entry("officer.school", OFFICER, SCHOOL),
    Entry("officer.danger", OFFICER, SCHOOL),
    Entry("officer.outage", OFFICER, SCHOOL),
    Entry("officer.end_outage", OFFICER, {"outage_id": "outage"}),
    Entry("officer.ask_engineer", OFFICER, {"unit_id": "unit"}),
    Entry("officer.withdraw", OFFICER, {"visit_id": "job"}),
    Entry("officer.stock_home", {"officer", "officer_area", "officer_elsewhere"}),
    Entry("officer.stock", {"officer", "officer_area"}, PROGRAMME),
    Entry("officer.stock_differences", {"officer", "officer_area"}, PROGRAMME),
    Entry("officer.stock_machines", {"officer", "officer_area"}, PROGRAMME),
    Entry("officer.stock_place", OFFICER, PLACE),
    Entry("officer.stock_move", OFFICER, PLACE),
    Entry("officer.stock_count", OFFICER, PLACE),
    Entry("officer.stock_write_off", OFFICER, PLACE),
    Entry("officer.stock_return", OFFICER, PLACE | {"lender_id": "lender", "product_id": "product"}),
    Entry("officer.explain_difference", OFFICER, PLACE | {"product_id": "product"}, {"on": "2026-02-02"}),
    Entry("officer.empty_coins", OFFICER, {"unit_id": "machine"}),
    Entry("officer.sheet", OFFICER, SHEET),
    Entry("officer.accept", OFFICER, SHEET),
    Entry("officer.ask", OFFICER, SHEET),
    Entry("officer.close_query", OFFICER, SHEET, FIRST),
    Entry("officer.rounds_home", {"officer", "officer_area", "officer_elsewhere"}),
    Entry("officer.rounds", {"officer", "officer_area"}, PROGRAMME),
    Entry("officer.new_round", {"officer", "officer_area"}, PROGRAMME),
    Entry("officer.roads", {"officer", "officer_area"}, PROGRAMME),
    Entry("officer.orders_page", OFFICER, PROGRAMME),
    Entry("officer.order_page", OFFICER, ORDER),
    Entry("officer.order_send", OFFICER, ORDER),
    Entry("officer.order_receive", OFFICER, ORDER),
    Entry("officer.order_close", OFFICER, ORDER),
    Entry("officer.round", OFFICER, ROUND),
    Entry("officer.pick_list", OFFICER, ROUND),
    Entry("officer.delivery_notes", OFFICER, ROUND),
    Entry("officer.round_days", OFFICER, ROUND),
    Entry("officer.round_order", OFFICER, ROUND),
    Entry("officer.close_round", OFFICER, ROUND),
    Entry("officer.cancel_round", OFFICER, ROUND),
    Entry("officer.best_order", OFFICER, ROUND_DAY),
    Entry("officer.set_out", OFFICER, ROUND_DAY),
    Entry("officer.round_back", OFFICER, ROUND_DAY),
]
