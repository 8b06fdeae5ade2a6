"""A term's results for those who publish to the International Aid Transparency Initiative: IATI 2.03, results only.

Made from a report's stored content, so that a published version gives the same file for ever. Each headline is an
indicator with its period, target and actual; a number that is not recorded, or withheld, is left out, never 0.

Source: IATI Standard 2.03, activity schema: order of elements and required attributes (from memory, and compared with
its public schema). No indicator of ours is the same as one of SDG 4.a.1 or of the menstrual-health shortlist, which
count schools by what they have; so none bears such a code, each its own (vocabulary 99, the reporting organisation's).
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Final
from xml.etree import ElementTree as Xml

VERSION: Final = "2.03"
OWN_VOCABULARY: Final = "99"
OUTPUT: Final = "1"  # result type: output; use and reach are outputs, no effect on attendance or health is claimed
UNIT, PERCENT = "1", "2"  # indicator measure
IMPLEMENTATION: Final = "2"  # activity status
IMPLEMENTING: Final = "4"  # organisation role
ACTUAL_START: Final = "2"  # activity date type
IDENTIFIER: Final = re.compile(r"[A-Za-z]{2,}-[^\s/&|?]+-[^\s/&|?]+", re.ASCII)
NOT_XML: Final = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")  # XML 1.0 has no place for them
XML_LANG: Final = "{http://www.w3.org/XML/1998/namespace}lang"


@dataclass(frozen=True, slots=True)
class Publisher:
    """Who publishes: the organisation's identifier, its kind (code of the OrganisationType list), name, activity."""

    identifier: str
    kind: str
    name: str
    activity: str

    def __post_init__(self) -> None:
        """Refuse what is no identifier.

        Raises:
            ValueError: with what to write.
        """
        if not IDENTIFIER.fullmatch(self.identifier):
            raise ValueError("Write the organisation's identifier, for example XM-EXAMPLE-12345.")
        if not self.activity.startswith(self.identifier + "-") or not IDENTIFIER.fullmatch(self.activity):
            raise ValueError("The activity's identifier begins with the organisation's and a hyphen.")
        if not re.fullmatch(r"\d{2}", self.kind, re.ASCII):
            raise ValueError("Write the kind of organisation as its code of two digits.")
        if not self.name.strip():
            raise ValueError("Write the organisation's name.")


def iati_xml(content: Mapping[str, Any], publisher: Publisher) -> str:
    """The results of a report's content (``export.content``) as an IATI activities file."""
    root = Xml.Element("iati-activities", {"version": VERSION, "generated-datetime": content["cutoff_at"]})
    activity = Xml.SubElement(root, "iati-activity", {XML_LANG: "en"})
    Xml.SubElement(activity, "iati-identifier").text = publisher.activity
    reporting = Xml.SubElement(activity, "reporting-org", {"ref": publisher.identifier, "type": publisher.kind})
    _narrative(reporting, publisher.name)
    _told(activity, "title", str(content["programme"]))
    about = f"{content['title']}, {content['term']}. Made from published results; activity details stand elsewhere."
    _told(activity, "description", about)
    part = Xml.SubElement(
        activity, "participating-org", {"ref": publisher.identifier, "type": publisher.kind, "role": IMPLEMENTING}
    )
    _narrative(part, publisher.name)
    Xml.SubElement(activity, "activity-status", {"code": IMPLEMENTATION})
    Xml.SubElement(activity, "activity-date", {"iso-date": content["first_day"], "type": ACTUAL_START})
    for section in content["sections"]:
        if section["lines"]:
            _result(activity, section, content)
    Xml.indent(root)
    return '<?xml version="1.0" encoding="UTF-8"?>\n' + Xml.tostring(root, encoding="unicode") + "\n"


def _result(activity: Xml.Element, section: Mapping[str, Any], content: Mapping[str, Any]) -> None:
    result = Xml.SubElement(activity, "result", {"type": OUTPUT, "aggregation-status": "0"})
    _told(result, "title", section["title"])
    if section["intro"]:
        _told(result, "description", section["intro"])
    for line in section["lines"]:
        _indicator(result, line, content)


def _indicator(result: Xml.Element, line: Mapping[str, Any], content: Mapping[str, Any]) -> None:
    share = str(line["figure"]["unit"]).startswith("share")
    given = {"measure": PERCENT if share else UNIT, "aggregation-status": "0"}
    side = {"at least": "1", "at most": "0"}.get(line["target_side"] or "")
    indicator = Xml.SubElement(result, "indicator", given | ({"ascending": side} if side else {}))
    _told(indicator, "title", line["label"])
    _told(indicator, "description", f"{'percent' if share else line['figure']['unit']}; {line['figure']['basis']}")
    Xml.SubElement(indicator, "reference", {"vocabulary": OWN_VOCABULARY, "code": line["key"]})
    period = Xml.SubElement(indicator, "period")
    Xml.SubElement(period, "period-start", {"iso-date": content["first_day"]})
    Xml.SubElement(period, "period-end", {"iso-date": content["last_day"]})
    for name, value, comment in _values(line, share):
        one = Xml.SubElement(period, name, {"value": value} if value else {})
        _told(one, "comment", comment)


def _values(line: Mapping[str, Any], share: bool) -> Iterator[tuple[str, str, str]]:
    figure = line["figure"]
    if line["target"] is not None:
        yield "target", _digits(line["target"], share), str(line["target_words"] or "as set")
    if figure["value"] is not None:
        yield "actual", _digits(figure["value"], share), str(figure["printed"])


def _digits(value: float, share: bool) -> str:
    """A value in plain digits, a share as percent with one decimal."""
    return f"{value * 100:.1f}" if share else f"{value:.12g}"


def _told(parent: Xml.Element, name: str, text: str) -> None:
    _narrative(Xml.SubElement(parent, name), text)


def _narrative(parent: Xml.Element, text: str) -> None:
    Xml.SubElement(parent, "narrative").text = NOT_XML.sub(" ", text)
