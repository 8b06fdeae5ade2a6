"""The documents say what is there: every measure, command and frame, in the words of the programme."""

from __future__ import annotations

import ast
import inspect
import re
from pathlib import Path

import click
import pytest

from tracker import cli
from tracker.records import frames

ROOT = Path(__file__).parent.parent
MEASURES = ROOT / "tracker" / "measures"
README = ROOT / "README.md"
DEVELOPERS = ROOT / "DEVELOPERS.md"
DOCS = sorted((ROOT / "docs").rglob("*.md"))
TEXTS = [README, DEVELOPERS, *DOCS]
TEMPLATES = sorted((ROOT / "templates").rglob("*.html"))
CODE = sorted((ROOT / "tracker").rglob("*.py"))

# modules without a formula of their own: the shape of figures and of frames, and parts of a measure that is named
HELPERS = {
    "figure",
    "parts",
    "columns",
    "by_day",
    "water_rows",
    "visits_drawn",
    "flush_lines",
    "flush_plan",
    "meter_scopes",
}
# words that the wording guide asks to avoid, for people, supplies, units, faults and records
AVOIDED = (
    r"beneficiar(y|ies)",
    r"sufferers?",
    r"menstruators?",
    r"donor recipients?",
    r"tenants?",
    r"feminine hygiene",
    r"sanitary",
    r"intimate (items|care|products)",
    r"the curse",
    r"dirty days",
    r"that time of (the )?month",
    r"soiled",
    r"filth\w*",
    r"girls saved",
    r"lives changed",
    r"dignity",
    r"recess(es)?",
    r"(bathroom |toilet )?stalls?",
    r"machine id",
    r"stock-?out alarms?",
    r"zero[- ]tolerance",
    r"chaos",
    r"missing in action",
    r"redacted",
    r"suspicious",
    r"synced",
)
AVOID = re.compile(rf"\b({'|'.join(AVOIDED)})\b", re.IGNORECASE)
# text that a person reads in a tag
READ_ATTRIBUTE = re.compile(r'\b(?:alt|title|aria-label|placeholder|content|value)="([^"]*)"')


def section(path: Path, title: str) -> str:
    """A section of a document, from its ``## `` heading to the next."""
    found = re.search(rf"^## {re.escape(title)}\n(.*?)(?=^## |\Z)", path.read_text(encoding="utf-8"), re.M | re.S)
    assert found, f"{path.name} has no section {title}"
    return found[1]


def template_text(source: str) -> str:
    """What a template shows: text outside tags, the texts of tags that are read out, and the strings of expressions."""
    source = re.sub(r"\{#.*?#\}|<!--.*?-->|<!doctype[^>]*>|<(script|style)\b.*?</\1>", " ", source, flags=re.S | re.I)
    inside = " ".join(re.findall(r"\{[{%].*?[%}]\}", source, flags=re.S))
    strings = [first or second for first, second in re.findall(r"\"([^\"]*)\"|'([^']*)'", inside)]
    outside = re.sub(r"\{[{%].*?[%}]\}", " ", source, flags=re.S)
    return " ".join([re.sub(r"<[^>]*>", " ", outside), *READ_ATTRIBUTE.findall(outside), *strings])


def prose(source: str) -> str:
    """A document without code and without quoted titles, whose words are others'."""
    return re.sub(r"```.*?```|`[^`\n]*`|\"[^\"\n]*\"|“[^”\n]*”", " ", source, flags=re.S)


def sentences(source: str) -> list[str]:
    """The strings of a module that are not docstrings."""
    nodes = list(ast.walk(ast.parse(source)))
    alone = {id(node.value) for node in nodes if isinstance(node, ast.Expr)}
    strings = (node for node in nodes if isinstance(node, ast.Constant) and id(node) not in alone)
    return [node.value for node in strings if isinstance(node.value, str)]


def avoided(text: str) -> list[str]:
    return sorted({found[0].lower() for found in AVOID.finditer(text)})


def measure_modules() -> set[str]:
    return {path.stem for path in MEASURES.glob("*.py")} - {"__init__"}


def headed(text: str) -> set[str]:
    """Modules that stand in backticks in ``## `` headings."""
    headings = [line for line in text.splitlines() if line.startswith("## ")]
    return {name for line in headings for name in re.findall(r"`(?:measures/)?(\w+)\.py`", line)}


# Measures


def test_every_measure_has_a_heading_in_the_document_of_measures():
    text = (ROOT / "docs" / "measures.md").read_text(encoding="utf-8")
    assert sorted(measure_modules() - HELPERS - headed(text)) == []


def test_the_document_of_measures_has_no_heading_for_a_module_that_is_gone():
    text = (ROOT / "docs" / "measures.md").read_text(encoding="utf-8")
    assert sorted(headed(text) - measure_modules()) == []


def test_the_helper_modules_are_there():
    assert sorted(HELPERS - measure_modules()) == []


def test_a_heading_names_its_modules():
    assert headed("## Burst (`measures/burst.py`, `burst_times.py`)\n### `steady.py`\ntext `water.py`") == {
        "burst",
        "burst_times",
    }


# Commands


@pytest.mark.parametrize("name", sorted(cli.main.commands))
def test_every_command_has_help_in_whole_sentences(name):
    command = cli.main.commands[name]
    assert command.help and command.help.strip().split("\n")[0].endswith(".")
    assert isinstance(command, click.Command) and command.callback is not None


def test_every_command_of_the_readme_stands_between_markers():
    text = README.read_text(encoding="utf-8")
    marked = re.findall(r"<!-- (\w+) -->\n```sh\n([^`]+)```\n<!-- end -->", text)
    assert [name for name, _ in marked] == ["demo", "tests"]
    assert len(re.findall(r"^```sh", text, re.M)) == len(marked)
    assert text.count("```") == 2 * len(marked)


# Links


@pytest.mark.parametrize("path", TEXTS, ids=lambda path: str(path.relative_to(ROOT)))
def test_every_file_that_a_document_links_to_is_there(path):
    links = re.findall(r"\]\(([^)\s#]+)(?:#[^)]*)?\)", path.read_text(encoding="utf-8"))
    missing = [link for link in links if "://" not in link and not (path.parent / link).exists()]
    assert missing == []


def test_the_readme_names_documents():
    text = README.read_text(encoding="utf-8")
    named = set(re.findall(r"\b(?:docs/\w+|DEVELOPERS)\.md\b", text))
    assert {"docs/measures.md", "docs/deploy.md", "docs/exchange.md", "DEVELOPERS.md"} <= named
    assert [name for name in sorted(named) if not (ROOT / name).exists()] == []


# Words


@pytest.mark.parametrize("path", TEMPLATES, ids=lambda path: str(path.relative_to(ROOT)))
def test_a_page_keeps_to_the_words_of_the_programme(path):
    text = template_text(path.read_text(encoding="utf-8"))
    assert avoided(text) == []
    assert "!" not in text


@pytest.mark.parametrize("path", TEXTS, ids=lambda path: str(path.relative_to(ROOT)))
def test_a_document_keeps_to_the_words_of_the_programme(path):
    assert avoided(prose(path.read_text(encoding="utf-8"))) == []


@pytest.mark.parametrize("path", CODE, ids=lambda path: str(path.relative_to(ROOT)))
def test_a_sentence_in_the_code_keeps_to_the_words_of_the_programme(path):
    assert avoided("\n".join(sentences(path.read_text(encoding="utf-8")))) == []


def test_an_avoided_word_would_be_found():
    assert avoided("Sanitary pads for beneficiaries in each stall") == ["beneficiaries", "sanitary", "stall"]
    assert avoided("water, sanitation and installing; recessive") == []
    shown = template_text('<p title="Dignity">{% if a != 1 %}{{ "Well done!" }}{% endif %}</p><!doctype html>')
    assert avoided(shown) == ["dignity"] and shown.count("!") == 1
    assert avoided(" ".join(sentences('"""A stall."""\nx = f"{n} stalls in recess"'))) == ["recess", "stalls"]
    assert avoided(prose('the guide "Sanitary supplies" and `stall`')) == []


# Frames


def frame_functions() -> set[str]:
    """Functions that records/frames hands to the reports."""
    return {
        name
        for name in frames.__all__
        if inspect.isfunction(found := getattr(frames, name)) and found.__module__.startswith("tracker.records.frames")
    }


def test_every_frame_is_described_for_contributors():
    described = set(re.findall(r"`(\w+)`", section(DEVELOPERS, "Frames")))
    assert sorted(frame_functions() - described) == []
