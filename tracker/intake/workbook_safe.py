"""Whether a file that somebody sends may be opened as a workbook at all: looked at before anything is unpacked.

An .xlsx file is a zip of XML parts. Its table of contents says how large each part becomes; the zip reader never
gives more than that, so the limits hold also for a file that lies.
"""

from __future__ import annotations

import io
import zipfile
import zlib

from defusedxml import DefusedXmlException
from defusedxml import ElementTree as SafeTree

LARGEST_FILE = 2_000_000
LARGEST_UNPACKED = 20_000_000
MOST_PARTS = 50
MOST_ROWS, MOST_COLUMNS = 5_000, 60
HIGHEST_RATIO = 100
SMALL_PART = 64_000  # a small part may be blank to the point of any ratio
CONTENT_TYPES = "[Content_Types].xml"
OLD_OR_LOCKED = b"\xd0\xcf\x11\xe0"
ZIP = b"PK\x03\x04"
MACROS = ("vbaproject", "vbadata", "macrosheets", "activex", "ctrlprops")
LINKS = ("externallinks", "connections", "querytables", "embeddings", "oleobject", "webextensions")
AGAIN = "Get a workbook from the school's page, fill it in and save it as .xlsx."
NOT_A_WORKBOOK = f"This file is not a workbook (.xlsx). {AGAIN}"
HAS_MACROS = f"This workbook holds macros or controls. They are never run here. {AGAIN}"
HAS_LINKS = f"This workbook is linked to other files or holds other files. {AGAIN}"
UNREADABLE = f"This workbook cannot be read. {AGAIN}"
TOO_LARGE = f"This file is larger than {LARGEST_FILE // 1_000_000} MB. {AGAIN}"
UNPACKS_TOO_LARGE = f"This workbook becomes too large when it is opened. {AGAIN}"
TOO_MANY_PARTS = f"This workbook has more than {MOST_PARTS} parts. Take out pages and pictures that you added. {AGAIN}"
LOCKED = f"This is an old kind of workbook, or it has a password. {AGAIN}"
TOO_LONG = f"A page of this workbook has more than {MOST_ROWS:,} rows or {MOST_COLUMNS} columns. {AGAIN}"
OWN_WORDS = f"This workbook defines text pieces of its own, which can grow without end. {AGAIN}"


class WorkbookError(ValueError):
    """The file as a whole is refused; the message says what to do."""


def check_file(name: str, data: bytes) -> None:
    """Refuse what is not a plain, small workbook.

    Args:
        name: the file's name as it was sent.
        data: its bytes.
    Raises:
        WorkbookError: with the sentence to show.
    """
    if name.lower().endswith((".xlsm", ".xltm", ".xlam")):
        raise WorkbookError(HAS_MACROS)
    if data.startswith(OLD_OR_LOCKED):
        raise WorkbookError(LOCKED)
    if not name.lower().endswith(".xlsx") or not data.startswith(ZIP):
        raise WorkbookError(NOT_A_WORKBOOK)
    if len(data) > LARGEST_FILE:
        raise WorkbookError(TOO_LARGE)
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as packed:
            _check_contents(packed.infolist())
            for part in packed.infolist():
                _check_part(packed, part)
    except (zipfile.BadZipFile, zlib.error, NotImplementedError, RuntimeError, EOFError, OSError) as error:
        raise WorkbookError(UNREADABLE) from error


def _check_contents(parts: list[zipfile.ZipInfo]) -> None:
    names = [part.filename.lower() for part in parts]
    if len(parts) > MOST_PARTS:
        raise WorkbookError(TOO_MANY_PARTS)
    if sum(part.file_size for part in parts) > LARGEST_UNPACKED or any(_swells(part) for part in parts):
        raise WorkbookError(UNPACKS_TOO_LARGE)
    if any(word in name for name in names for word in MACROS):
        raise WorkbookError(HAS_MACROS)
    if any(word in name for name in names for word in LINKS):
        raise WorkbookError(HAS_LINKS)
    if CONTENT_TYPES.lower() not in names or "xl/workbook.xml" not in names:
        raise WorkbookError(NOT_A_WORKBOOK)


def _swells(part: zipfile.ZipInfo) -> bool:
    return part.file_size > SMALL_PART and part.file_size > HIGHEST_RATIO * max(part.compress_size, 1)


def _check_part(packed: zipfile.ZipFile, part: zipfile.ZipInfo) -> None:
    with packed.open(part) as stream:
        begin = stream.read(len(ZIP))
    if begin == ZIP:
        raise WorkbookError(HAS_LINKS)
    if part.filename.lower().endswith((".xml", ".rels", ".vml")):
        _check_xml(packed, part)
    if part.filename == CONTENT_TYPES and b"macroenabled" in packed.read(part).lower():
        raise WorkbookError(HAS_MACROS)


def _check_xml(packed: zipfile.ZipFile, part: zipfile.ZipInfo) -> None:
    """Read up to the first element: entities and a document type stand before it or nowhere."""
    try:
        with packed.open(part) as stream:
            for _ in SafeTree.iterparse(stream, events=("start",), forbid_dtd=True):
                return
    except DefusedXmlException as error:
        raise WorkbookError(OWN_WORDS) from error
    except (SafeTree.ParseError, ValueError, LookupError) as error:
        raise WorkbookError(UNREADABLE) from error
