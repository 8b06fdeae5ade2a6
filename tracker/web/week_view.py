"""What the pages of a week sheet show: cells, layout, where the sheet stands, questions. No decision about rights."""

from __future__ import annotations

import json
import secrets
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from tracker.intake import week_sheet, week_totals
from tracker.intake.week_cells import facts_to_cells
from tracker.intake.week_layout import Cell, Layout, RowCounts, day_choices, layout
from tracker.intake.week_plan import SheetPlan, long_day
from tracker.intake.week_source import plan_for
from tracker.records import sheets
from tracker.records.context import SchoolContext
from tracker.vocabulary import SheetState
from tracker.web.access import person_id
from tracker.web.database import db

PREFIX = "c."
FORM_VERSION = 2  # one higher when the meaning of a cell's key changes; drafts of the version before can still be sent
FIRST_FORM = "1"  # forms of the first version did not say which they are
MOST_TYPED = 400  # characters kept of one cell
SECTION_OF = {
    "usage_counts": "visits",
    "long_weeks": "visits",
    "bell_counts": "visits",
    "readings": "meters",
    "levels": "meters",
    "stock_moves": "supplies",
    "stock_counts": "supplies",
    "machine_days": "supplies",
    "burns": "disposal",
    "outages": "units",
    "sightings": "units",
}
STATE_SAID = {
    None: "Not reported yet.",
    SheetState.DRAFT: "Draft kept on the server. Not sent yet.",
    SheetState.SENT: "Received. The officer has not looked at it yet.",
    SheetState.QUERIED: "Received. There are questions to answer.",
    SheetState.ACCEPTED: "Accepted.",
}


@dataclass
class WeekView:
    """One school's week as it is shown and typed at this moment."""

    school: Any
    week: date
    context: SchoolContext
    plan: SheetPlan
    cells: dict[str, str]
    kept: dict[str, list[dict[str, str]]]
    base: int
    key: str
    sheet: Any = None
    rows: RowCounts = field(default_factory=RowCounts)
    from_paper: bool = False
    reason: str = ""
    reason_needed: bool = False
    form_known: bool = True  # whether the form it came in is one of the last two
    has_draft: bool = False
    queries: list[Any] = field(default_factory=list)
    notices: list[str] = field(default_factory=list)

    @property
    def form(self) -> int:
        """The form's version, as pages carry it."""
        return FORM_VERSION

    @property
    def layout(self) -> Layout:
        """The sheet for what is typed now."""
        return week_sheet.sheet_of(self.plan, self.cells, self.rows)

    @property
    def state_said(self) -> str:
        """Where the sheet stands, in a sentence."""
        state = self.sheet.state if self.sheet is not None else SheetState.DRAFT if self.has_draft else None
        return STATE_SAID[state]

    @property
    def notes(self) -> dict[str, str]:
        """Notes on questions, by their cell key."""
        return {name: text for name, text in self.cells.items() if name.startswith("note:") and text}

    @property
    def queries_by_cell(self) -> dict[str, list[Any]]:
        """Questions that still wait, by cell."""
        found: dict[str, list[Any]] = {}
        for query in self.queries:
            if query.closed_at is None and not query.answer:
                found.setdefault(query.cell, []).append(query)
        return found

    def unfolded(self, wrong: Collection[str]) -> set[str]:
        """Folded tables that stand open: they hold something, a row was asked for, or something is wrong there."""
        said = set(wrong) | set(self.queries_by_cell)
        layout, usual = self.layout, RowCounts()
        found = {
            table.key
            for table in layout.tables()
            for cell in (cell for row in table.rows for cell in row.cells)
            if table.folded and (cell.key in said or (table.key not in self.fold_said and self._holds(cell)))
        }
        more = {"out": layout.rows.outages > usual.outages, "sessions": layout.rows.sessions > usual.sessions}
        return found | {name for name, asked in more.items() if asked}

    def _holds(self, cell: Cell) -> bool:
        return self.cells.get(cell.key, cell.default) != cell.default

    @property
    def fold_said(self) -> dict[str, str]:
        """What a folded table says while it is closed: when dials were read."""
        days = dict(day_choices(self.plan))
        day, time = (self.cells.get(f"read:{part}", "") for part in ("day", "time"))
        return {"read": f"{days.get(day, day)}, {time}"} if day and time else {}

    @property
    def kept_said(self) -> dict[str, list[str]]:
        """Rows that no cell can show, as sentences by section."""
        found: dict[str, list[str]] = {}
        for table, rows in self.kept.items():
            found.setdefault(SECTION_OF.get(table, "sessions"), []).extend(_said(table, row) for row in rows)
        return found

    def cell_label(self, name: str) -> str:
        """A cell's label for people."""
        return week_sheet.label_of(self.layout, name)


def _said(table: str, row: Mapping[str, str]) -> str:
    if table == "stock_moves":
        return f"{row['quantity']} pieces of {row['product']}, {row['reason']}, on {_day(row['day'])}"
    if table == "attendance":
        grade = f", grade {row['grade']}" if row.get("grade") else ""
        return f"{row['present']} {row['sex']} at the session{grade}"
    if table == "outages":
        end = f" until {_time(row['end_local_time'])}" if row.get("end_local_time") else ", still open"
        return f"{row['unit']}: {row['cause']}, since {_time(row['start_local_time'])}{end}"
    if table == "quizzes":
        return f"Quiz totals: {row['item']}"
    hidden = {"school", "ref", "note", "source", "how", "session"}
    return ", ".join(text for name, text in row.items() if text and name not in hidden)


def _day(text: str) -> str:
    return long_day(date.fromisoformat(text))


def _time(text: str) -> str:
    day, _, clock = text.partition("T")
    return f"{_day(day)} {clock[:5]}"


def version_cells(
    plan: SheetPlan, payload: Mapping[str, Any]
) -> tuple[dict[str, str], dict[str, list[dict[str, str]]]]:
    """Cells of a payload, and the rows that no cell can show."""
    rows = RowCounts(
        max(len(payload.get("outages", [])), RowCounts().outages),
        max(len(payload.get("awareness_sessions", [])), RowCounts().sessions),
    )
    return facts_to_cells(layout(plan, rows), payload)


def opened(school: Any, week: date) -> WeekView:
    """The sheet as it stands: the person's own draft, else the latest version, else empty."""
    view = _standing(school, week)
    draft = sheets.find_draft(db(), person_id(), school.id, week)
    if draft is not None:
        view.cells, view.base, view.has_draft = json.loads(draft.cells), draft.base_version, True
        view.notices.append("This is your draft. It is not sent yet.")
        if view.sheet is not None and view.base != view.sheet.version:
            view.notices.append("Somebody sent this week after your draft. When you send, you will see both.")
    return view


def typed(school: Any, week: date, form: Mapping[str, Any]) -> WeekView:
    """The sheet as the form brings it; nothing known is asked again and nothing typed is lost."""
    view = _standing(school, week)
    view.cells = {
        name.removeprefix(PREFIX): str(text)[:MOST_TYPED] for name, text in form.items() if name.startswith(PREFIX)
    }
    base = form.get("base", "")
    view.base = int(base) if base.isdecimal() and len(base) < 6 else -1
    view.key = str(form.get("key", ""))[:64] or view.key
    view.from_paper = form.get("from_paper") == "yes" or bool(week_totals.typed_totals(view.cells))
    view.form_known = form.get("form", FIRST_FORM) in {str(FORM_VERSION), str(FORM_VERSION - 1)}
    view.reason = " ".join(str(form.get("reason", "")).split())[:200]
    return view


def new_key() -> str:
    """A form's own random key."""
    return secrets.token_urlsafe(24)


def _standing(school: Any, week: date) -> WeekView:
    context, plan = plan_for(db(), school.id, week)
    sheet = sheets.find_sheet(db(), school.id, week)
    payload = sheets.find_payload(db(), school.id, week) if sheet is not None else {}
    cells, kept = version_cells(plan, payload)
    view = WeekView(school, week, context, plan, cells, kept, sheet.version if sheet else 0, new_key())
    view.sheet = sheet
    if sheet is not None:
        view.queries = sheets.queries_of(db(), sheet.id)
        view.reason_needed = sheets.published_covers(db(), school, week)
    return view


@dataclass(frozen=True)
class Difference:
    """A cell that differs between what is typed and what stands now."""

    cell: str
    label: str
    base: str
    yours: str
    now: str
    yours_raw: str
    now_raw: str
    choose: str


def differences(view: WeekView, opened_from: Mapping[str, str], now: Mapping[str, str]) -> list[Difference]:
    """Yours and theirs by cell; a cell that only one side changed is chosen already, for the other somebody must."""
    known = view.layout.by_key()
    found = []
    for name in [*known, *sorted({*view.cells, *now} - set(known))]:
        yours, theirs, base = (side.get(name, "") for side in (view.cells, now, opened_from))
        if yours == theirs or (name in known and known[name].kind == "hidden"):
            continue
        choose = "yours" if base == theirs else "now" if base == yours else ""
        opened, mine, others = (text or "empty" for text in (base, yours, theirs))
        found.append(Difference(name, view.cell_label(name), opened, mine, others, yours, theirs, choose))
    return found
