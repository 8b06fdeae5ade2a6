"""The workbook of a school: one page a week, made to be filled in away from the network and read back.

The same pages give the same bytes. Nothing in it is a formula. What was refused comes back as the same workbook
with the sentence at the right of the row, the cell marked, and a page that lists all of it.
"""

from __future__ import annotations

import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any

from tracker.intake import workbook_form as form
from tracker.intake.week_layout import Cell, Kind, Layout
from tracker.intake.workbook_form import Page, Slot, Text

MADE = datetime(2000, 1, 1)  # the same workbook has the same bytes whenever it is made  # noqa: DTZ001
LONGEST_PROMPT = 255  # of the file format
OPTIONS = {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}
HOW_TO = (
    "Each page is one week. Fill in the white cells; all other cells are locked.",
    "Leave a cell empty if nobody counted. Write 0 only if somebody looked and there was none.",
    "Copy all digits of a dial, also zeros in front. Write times as 08:10.",
    "Do not move, add or delete rows, columns or pages. No formulas: write the number itself.",
    "A page that stays empty is passed over.",
    "When it is filled in, load it on the school's page “Spreadsheet”. You see what would change before anything is.",
    "Never write a pupil's name, class or initials.",
)


@dataclass(frozen=True, slots=True)
class WeekPage:
    """A week to be written. ``base``: the version that stood when it was made; ``wrong``: sentences by cell key."""

    week: date
    layout: Layout
    base: int = 0
    cells: Mapping[str, str] = field(default_factory=dict)
    wrong: Mapping[str, Sequence[str]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Out:
    """A workbook to be written. ``cautions``: sentences by key, printed at the act."""

    programme: str
    school: str
    school_name: str
    weeks: Sequence[WeekPage]
    cautions: Mapping[str, Sequence[str]] = field(default_factory=dict)


def workbook(out: Out) -> bytes:
    """The workbook as an .xlsx file."""
    import xlsxwriter

    target = io.BytesIO()
    book = xlsxwriter.Workbook(target, OPTIONS)
    book.set_properties({"title": f"{out.school_name}: week sheets", "created": MADE})
    writer = _Writer(book, out)
    writer.cover()
    if any(page.wrong for page in out.weeks):
        writer.to_do()
    for page in out.weeks:
        writer.week(page)
    writer.hidden_pages()
    book.close()
    return target.getvalue()


class _Writer:
    """Writes pages one after another and remembers lists, places and labels for the hidden ones."""

    def __init__(self, book: Any, out: Out) -> None:
        self.book, self.out = book, out
        self.lists: dict[tuple[str, ...], str] = {}
        self.places: list[list[str]] = []
        self.about: list[list[str]] = []
        wrap = {"text_wrap": True, "valign": "top"}
        open_cell = {"locked": False, "border": 1, "valign": "top"}
        self.looks = {
            "title": book.add_format({"bold": True, "font_size": 14}),
            "section": book.add_format({"bold": True, "font_size": 12, "top": 2}),
            "caption": book.add_format({"bold": True}),
            "head": book.add_format({"bold": True, "text_wrap": True, "valign": "bottom", "bottom": 1}),
            "label": book.add_format({"valign": "top"}),
            "hint": book.add_format({"italic": True, "valign": "top"}),
            "plain": book.add_format({"valign": "top"}),
            "wrap": book.add_format(wrap),
            "shut": book.add_format({"italic": True, "bg_color": "#D9D9D9", "border": 1}),
            "number": book.add_format({**open_cell, "num_format": "0"}),
            "text": book.add_format({**open_cell, "num_format": "@"}),
            "wrong": book.add_format(
                {**open_cell, "num_format": "@", "bg_color": "#D9D9D9", "bold": True, "border": 5}
            ),
        }

    def cover(self) -> None:
        """How to use it, and whose it is."""
        sheet = self.book.add_worksheet(form.COVER)
        sheet.set_column(0, 0, 90)
        sheet.write_string(0, 0, form.defused(self.out.school_name), self.looks["title"])
        weeks = f"{form.sheet_title(self.out.weeks[0].week)} to {form.sheet_title(self.out.weeks[-1].week)}"
        sheet.write_string(1, 0, f"Weeks that begin {weeks}", self.looks["wrap"])
        for row, said in enumerate(HOW_TO, start=3):
            sheet.write_string(row, 0, said, self.looks["wrap"])
        sheet.protect("", {"select_locked_cells": True})

    def to_do(self) -> None:
        """Everything that was refused: page, cell, what was written, what to do."""
        sheet = self.book.add_worksheet(form.TO_DO)
        sheet.set_column(0, 1, 14)
        sheet.set_column(2, 4, 44)
        for column, head in enumerate(("Page", "Cell", "What it is", "What was written", "What to do")):
            sheet.write_string(0, column, head, self.looks["head"])
        row = 0
        for page in self.out.weeks:
            for slot, said in self._refused(page):
                row += 1
                written = page.cells.get(slot.cell.key, "") if slot else ""
                what = slot.cell.label if slot else "The whole page"
                line = (form.sheet_title(page.week), slot.address if slot else "", what, written, said)
                for column, text in enumerate(line):
                    sheet.write_string(row, column, form.defused(text), self.looks["wrap"])
        sheet.protect("", {"select_locked_cells": True})

    def _page(self, page: WeekPage) -> Page:
        title = f"{self.out.school_name}, week of {form.sheet_title(page.week)}"
        return form.page_of(page.layout, form.defused(title), self.out.cautions)

    def _refused(self, page: WeekPage) -> list[tuple[Slot | None, str]]:
        slots = {slot.cell.key: slot for slot in self._page(page).slots}
        found = [(slots.get(key), said) for key, sentences in page.wrong.items() for said in sentences]
        return sorted(found, key=lambda one: (one[0].row, one[0].column) if one[0] else (-1, -1))

    def week(self, page: WeekPage) -> None:
        """One week: labels locked, cells to fill in open, with their help and their rule."""
        name = form.sheet_title(page.week)
        sheet = self.book.add_worksheet(name)
        laid = self._page(page)
        laid.texts += self._reasons(page, laid)
        sheet.set_column(0, 0, 26)
        sheet.set_column(1, 1, 22)
        sheet.set_column(form.FIRST_COLUMN, form.FIRST_COLUMN + 8, 17)
        for text in laid.texts:
            sheet.write_string(text.row, text.column, text.text, self.looks[text.look])
        for slot in laid.slots:
            self._slot(sheet, slot, page)
        sheet.protect("", {"select_locked_cells": True, "format_columns": True})
        sheet.freeze_panes(1, 1)
        labels = form.labels_hash((form.address(one.row, one.column), one.text) for one in laid.texts)
        rows = page.layout.rows
        self.about.append([name, page.week.isoformat(), str(page.base), str(rows.outages), str(rows.sessions), labels])
        self._remember(name, laid)

    def _reasons(self, page: WeekPage, laid: Page) -> list[Text]:
        """What to do, at the right of the row it is about."""
        column = max(slot.column for slot in laid.slots) + 1
        by_row: dict[int, list[str]] = {}
        for slot, said in self._refused(page):
            row = slot.row if slot else 1
            by_row.setdefault(row, []).append(f"{slot.address}: {said}" if slot else said)
        return [Text(row, column, " ".join(said), "caption") for row, said in by_row.items()]

    def _remember(self, name: str, laid: Page) -> None:
        rows: dict[int, list[str]] = {}
        for slot in laid.slots:
            rows.setdefault(slot.row, []).append(slot.cell.key)
        self.places += [[name, str(row), *keys] for row, keys in rows.items()]

    def _slot(self, sheet: Any, slot: Slot, page: WeekPage) -> None:
        cell, at = slot.cell, (slot.row, slot.column)
        if cell.kind is Kind.SHUT and cell.key not in page.wrong:
            sheet.write_string(*at, form.NO_SCHOOL, self.looks["shut"])
            return
        number = cell.kind is Kind.COUNT
        look = self.looks["wrong" if cell.key in page.wrong else "number" if number else "text"]
        text = _shown(cell, page.cells.get(cell.key, cell.default if not page.base else ""))
        if number and text.isascii() and text.isdecimal() and len(text) < 10 and text == str(int(text)):
            sheet.write_number(*at, int(text), look)
        elif text:
            sheet.write_string(*at, form.defused(text), look)
        else:
            sheet.write_blank(*at, None, look)
        sheet.data_validation(*at, *at, self._rule(cell))

    def _rule(self, cell: Cell) -> dict[str, Any]:
        """What may be written, with its help."""
        prompt = f"{cell.label}. Last: {cell.last}." if cell.last else f"{cell.label}."
        rule: dict[str, Any] = {"input_message": prompt[:LONGEST_PROMPT], "error_title": "Please look again"}
        if cell.kind is Kind.COUNT:
            most = 10 ** min(cell.length, 9) - 1
            said = "Write a whole number, or leave the cell empty if nobody counted."
            return rule | {
                "validate": "integer",
                "criteria": "between",
                "minimum": 0,
                "maximum": most,
                "error_message": said,
            }
        if cell.kind in {Kind.CHOICE, Kind.TICK}:
            said = "Choose one from the list, or leave the cell empty."
            if cell.key.endswith(":endday"):
                rule |= {"error_type": "warning"}
                said = "Choose a day of this week. If it came back in a later week, write the day as 2026-02-03."
            return rule | {"validate": "list", "source": f"={self._list(choices_of(cell))}", "error_message": said}
        if cell.kind is Kind.DIGITS:
            said = f"Write all {cell.digits} digits, also zeros in front."
            return rule | {"validate": "length", "criteria": "<=", "value": cell.length, "error_message": said}
        said = f"Write at most {cell.length} signs."
        return rule | {"validate": "length", "criteria": "<=", "value": cell.length, "error_message": said}

    def _list(self, choices: Mapping[str, str]) -> str:
        return self.lists.setdefault(tuple(choices.values()), f"choices_{len(self.lists) + 1}")

    def hidden_pages(self) -> None:
        """Lists, and the form's own description with its sign."""
        sheet = self.book.add_worksheet(form.LISTS)
        for column, (words, name) in enumerate(self.lists.items()):
            sheet.write_column(0, column, [form.defused(word) for word in words])
            letter = form.column_name(column)
            self.book.define_name(name, f"={form.LISTS}!${letter}$1:${letter}${len(words)}")
        sheet.very_hidden()
        head = [[form.FORM, form.FORM_VERSION, self.out.programme, self.out.school]]
        rows = [*head, *self.about]
        self._hide(form.ABOUT, [*rows, ["sign", form.layout_hash([*rows, *self.places])]])
        self._hide(form.PLACES, self.places)

    def _hide(self, name: str, rows: Sequence[Sequence[str]]) -> None:
        sheet = self.book.add_worksheet(name)
        for number, row in enumerate(rows):
            for column, text in enumerate(row):
                sheet.write_string(number, column, form.defused(text))
        sheet.very_hidden()


def choices_of(cell: Cell) -> dict[str, str]:
    """What may be chosen: the word for the records and the words to read, on one line each.

    >>> choices_of(Cell("t", "Tick", Kind.TICK))
    {'yes': 'yes'}
    """
    if cell.kind is Kind.TICK:
        return {"yes": "yes"}
    return {value: " ".join(label.split()) for value, label in cell.choices}


def _shown(cell: Cell, text: str) -> str:
    """A value as it stands in the workbook: a choice by its words, all else as it is."""
    return choices_of(cell).get(text, text) if cell.kind in {Kind.CHOICE, Kind.TICK} else text
