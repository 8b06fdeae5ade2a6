"""Who may import whom: records in, measures, reports out, and no way back."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent / "tracker"

# layer -> (layers of ours it may import, libraries it must never see)
WEB = {"flask", "flask_login", "flask_wtf", "flask_limiter", "wtforms", "werkzeug", "jinja2"}
SQL = {"sqlalchemy", "alembic"}
CHARTS = {"altair", "vl_convert"}
TOP = {"vocabulary", "paths", "config", "cautions", "__init__"}
ALLOWED: dict[str, tuple[set[str], set[str]]] = {
    "vocabulary": (set(), WEB | SQL | CHARTS | {"pandas", "numpy"}),
    "cautions": (set(), WEB | SQL | CHARTS | {"pandas", "numpy"}),
    "paths": (set(), WEB | SQL | CHARTS | {"pandas", "numpy"}),
    "config": (set(), WEB | SQL | CHARTS | {"pandas", "numpy"}),
    "measures": ({"vocabulary", "measures"}, WEB | SQL | CHARTS | {"time", "os", "pathlib", "random"}),
    "db": ({"vocabulary"}, WEB | CHARTS | {"pandas", "numpy"}),
    "models": ({"vocabulary", "db", "models"}, WEB | CHARTS | {"pandas", "numpy"}),
    "migrate": ({"paths", "db", "models", "migrations"}, WEB | CHARTS | {"pandas", "numpy"}),
    "migrations": ({"db", "models", "migrations"}, WEB | CHARTS | {"pandas", "numpy"}),
    "records": ({"vocabulary", "db", "models", "records", "measures"}, WEB | CHARTS),
    "intake": ({"vocabulary", "records", "measures", "intake", "models"}, WEB | CHARTS),
    "reports": (
        {"vocabulary", "records", "measures", "reports", "cautions", "paths", "__init__"},
        WEB | SQL | {"intake"},
    ),
    "demo_data": ({"vocabulary", "measures", "intake", "demo_data", "paths"}, WEB | SQL | CHARTS | {"pandas"}),
}
# measures that any measure may build on; otherwise no measure knows another's formula
SHARED_MEASURES = {"figure", "intervals", "calendar", "dials", "parts", "norms"}
SHARED_MEASURES |= {"differences", "clusters", "changes", "burst", "burst_gamma", "burst_times", "steady"}
SHARED_MEASURES |= {"faults", "lost", "columns", "by_day"}
# one measure in several modules: inside a family they may build on each other, and nobody else on them
FAMILIES: dict[str, set[str]] = {
    "what flows, and its meter": {
        *("flush", "flush_lines", "flush_plan", "manual_flush", "cleaning_water", "water_rows", "water"),
        *("meter_scopes", "balance", "tanks", "tank_use", "power", "power_balance"),
    },
    "visits": {"visits", "visits_drawn", "visit_estimate"},
    "crowded breaks": {"crowding", "crowding_breaks", "crowding_cabins"},
    "demand": {"censored", "censored_core", "counts", "intermittent", "demand", "forecast", "stock_levels", "use"}
    | {"supplier_order"},
    "records against themselves": {"consistency", "stock_balance"},
    "fittings compared": {"comparison", "trials"},
}
# families whose modules begin with their name
FAMILY_NAMES = ("disclosure", "restock", "stops")
# records may ask the pure calendar, and nothing else of the measures
RECORDS_MAY_ASK = {"tracker.measures.calendar"}
# models are named in the exchange format only
INTAKE_MODELS_IN = {"tables.py"}


def layer_of(path: Path) -> str:
    first = path.relative_to(ROOT).parts[0]
    return first.removesuffix(".py")


def imports_of(path: Path) -> set[str]:
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path} has a relative import"
            module = node.module or ""
            found.add(module)
            found |= {f"{module}.{alias.name}" for alias in node.names if module.startswith("tracker")}
    return found


def wrongs(path: Path, layer: str, imports: set[str]) -> list[str]:
    allowed, banned = ALLOWED[layer]
    wrong = []
    for name in sorted(imports):
        top = name.split(".")[0]
        if top in banned:
            wrong.append(f"{path.name} imports {name}")
        if top != "tracker" or name == "tracker":
            continue
        part = name.split(".")[1]
        if not (ROOT / part).exists() and not (ROOT / f"{part}.py").exists():
            continue  # a name of the package itself, such as __version__
        if part not in allowed and part != layer:
            wrong.append(f"{path.name} imports {name}")
        if layer == "records" and name.startswith("tracker.measures.") and not _asked(name):
            wrong.append(f"{path.name} imports {name}")
        if layer == "intake" and part == "models" and path.name not in INTAKE_MODELS_IN:
            wrong.append(f"{path.name} imports {name}")
    return wrong


def _asked(name: str) -> bool:
    return any(name == ok or name.startswith(ok + ".") for ok in RECORDS_MAY_ASK)


FILES = sorted(path for path in ROOT.rglob("*.py") if layer_of(path) in ALLOWED)


@pytest.mark.parametrize("path", FILES, ids=lambda path: str(path.relative_to(ROOT)))
def test_every_module_imports_only_what_its_layer_may(path: Path):
    assert wrongs(path, layer_of(path), imports_of(path)) == []


def measures_of(imports: set[str]) -> set[str]:
    """Names of measure modules among imported names."""
    named = {
        name.removeprefix("tracker.measures.").split(".")[0] for name in imports if name.startswith("tracker.measures.")
    }
    return {name for name in named if (ROOT / "measures" / f"{name}.py").exists()}


def families_of(name: str) -> set[str]:
    found = {family for family, members in FAMILIES.items() if name in members}
    return found | {family for family in FAMILY_NAMES if name == family or name.startswith(family + "_")}


def strangers(name: str, imports: set[str]) -> list[str]:
    """Measures that a measure builds on though it is of another family."""
    others = measures_of(imports) - SHARED_MEASURES - {name}
    return sorted(other for other in others if not families_of(name) & families_of(other))


MEASURES = sorted((ROOT / "measures").glob("*.py"))


@pytest.mark.parametrize("path", MEASURES, ids=lambda path: path.stem)
def test_no_measure_knows_the_formula_of_another(path: Path):
    found = strangers(path.stem, imports_of(path))
    assert found == [], f"{path.stem} builds on {found}: share what both need, or name a family of one measure"


def test_a_measure_that_knows_anothers_formula_would_be_caught():
    assert strangers("uptake", {"tracker.measures.supplies", "tracker.measures.supplies.given_out_total"}) == [
        "supplies"
    ]
    assert strangers("water", {"tracker.measures", "tracker.measures.visits"}) == ["visits"]
    assert strangers("stops", {"tracker.measures.restock_terms"}) == ["restock_terms"]
    assert strangers("water", {"tracker.measures.flush", "tracker.measures.figure"}) == []


def test_shared_measures_build_on_shared_ones_only():
    for name in sorted(SHARED_MEASURES):
        assert not families_of(name), f"{name} is shared and of a family"
        assert strangers(name, imports_of(ROOT / "measures" / f"{name}.py")) == []


def test_families_name_modules_that_are_there_each_once():
    named = [name for members in FAMILIES.values() for name in members]
    assert len(named) == len(set(named))
    assert {f"{name}.py" for name in {*named, *SHARED_MEASURES, *FAMILY_NAMES}} <= {path.name for path in MEASURES}


def test_the_table_names_every_layer_below_the_doors():
    doors = {"web", "cli", "app", "demo", "__init__", "__main__"}
    layers = {layer_of(path) for path in ROOT.rglob("*.py")}
    assert layers - doors <= set(ALLOWED)


def test_a_measure_that_asks_the_database_would_be_caught():
    path = ROOT / "measures" / "water.py"
    assert wrongs(path, "measures", {"tracker.records.frames"}) and wrongs(path, "measures", {"flask"})
    assert wrongs(path, "records", {"tracker.measures.water", "tracker.measures.water.flush_ml"})


def test_no_import_runs_in_a_circle():
    graph: dict[str, set[str]] = {}
    for path in ROOT.rglob("*.py"):
        name = ".".join(("tracker", *path.relative_to(ROOT).with_suffix("").parts)).removesuffix(".__init__")
        graph[name] = {found for found in top_level_imports(path) if found.startswith("tracker.")}
    known = set(graph)
    edges = {name: {_module(found, known) for found in found_all} - {None, name} for name, found_all in graph.items()}
    assert circle(edges) == []


def top_level_imports(path: Path) -> set[str]:
    found: set[str] = set()
    for node in ast.parse(path.read_text(encoding="utf-8")).body:
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            found |= {f"{node.module}.{alias.name}" for alias in node.names}
    return found


def _module(name: str, known: set[str]) -> str | None:
    if name in known:
        return name
    parent = name.rpartition(".")[0]
    return parent if parent in known else None


def circle(edges: dict[str, set]) -> list[str]:
    done: set[str] = set()

    def walk(name: str, path: tuple[str, ...]) -> list[str]:
        if name in path:
            return [*path[path.index(name) :], name]
        if name in done:
            return []
        for other in sorted(edges.get(name, ())):
            found = walk(other, (*path, name))
            if found:
                return found
        done.add(name)
        return []

    for start in sorted(edges):
        found = walk(start, ())
        if found:
            return found
    return []
