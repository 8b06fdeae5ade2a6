"""The pages that describe input say what the code does, and the demo's folder carries its own description."""

import json
import re

from tracker import paths
from tracker.intake.rows import header
from tracker.intake.rules import RULES
from tracker.intake.schema import checks_text, datapackage, datapackage_text, exchange_text
from tracker.intake.setup_apart import ALL_CLASHES, ALL_SINGLE
from tracker.intake.tables import TABLES
from tracker.records.settings import KEYS, settings_text

DOCS = paths.PACKAGE.parent / "docs"


def docs(name: str) -> str:
    return (DOCS / name).read_text(encoding="utf-8")


def test_the_exchange_page_is_made_from_the_tables():
    assert docs("exchange.md") == exchange_text()


def test_every_file_and_column_stands_in_the_exchange_page():
    page = docs("exchange.md")
    sections = dict(zip(*[iter(re.split(r"^## (\w+)\.csv$", page, flags=re.M)[1:])] * 2, strict=True))
    assert list(sections) == [table.name for table in TABLES]
    for table in TABLES:
        columns = re.findall(r"^\| `(\w+)` \|", sections[table.name], flags=re.M)
        assert tuple(columns) == header(table)


def test_every_rule_stands_in_the_checks_page_with_its_softness():
    page = docs("checks.md")
    assert page == checks_text()
    listed = dict(re.findall(r"^\| `(\w+)` \| [^|]* \| (\w+) \|", page, flags=re.M))
    soft = {rule.name: "asks" if rule.soft else "refuses" for rule in RULES}
    assert listed == soft | {rule.name: "refuses" for rule in (*ALL_SINGLE, *ALL_CLASHES)}


def test_rules_have_names_of_their_own():
    names = [rule.name for rule in (*RULES, *ALL_SINGLE, *ALL_CLASHES)]
    assert len(names) == len(set(names))


def test_every_setting_stands_in_the_settings_page():
    page = docs("settings.md")
    assert page == settings_text()
    assert re.findall(r"^\| `(\w+)` \|", page, flags=re.M) == [one.key for one in KEYS]


def test_the_demos_description_fits_its_files():
    folder = paths.seed_data()
    assert (folder / "datapackage.json").read_text(encoding="utf-8") == datapackage_text(folder)


def test_a_description_follows_the_data_package_rules():
    # Frictionless Data Package v1: a resource has name and path; a key's fields are fields of the schema;
    # a foreign key names a resource of the package and as many fields as it has itself
    package = json.loads(json.dumps(datapackage(paths.seed_data())))
    fields = {one["name"]: [field["name"] for field in one["schema"]["fields"]] for one in package["resources"]}
    for one in package["resources"]:
        assert one["path"] == f"{one['name']}.csv"
        assert set(one["schema"]["primaryKey"]) <= set(fields[one["name"]])
        for key in one["schema"]["foreignKeys"]:
            assert set(key["fields"]) <= set(fields[one["name"]])
            assert set(key["reference"]["fields"]) <= set(fields[key["reference"]["resource"]])
            assert len(key["fields"]) == len(key["reference"]["fields"])


def test_the_header_of_every_demo_file_is_the_documented_one():
    for table in TABLES:
        path = paths.seed_data() / f"{table.name}.csv"
        if path.exists():
            first = path.read_text(encoding="utf-8").splitlines()[0]
            assert first == ",".join(header(table))
