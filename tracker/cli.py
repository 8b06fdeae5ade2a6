"""The command: thin; each act calls the same functions as the pages. Errors go to standard error."""

from __future__ import annotations

import re
import shutil
import sys
import tempfile
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import NoReturn

import click

from tracker import __version__
from tracker.config import SettingsError, from_environment

WRONG_INPUT = 2
REFUSED = 1


def fail(message: str, code: int = REFUSED) -> NoReturn:
    """Say what is wrong on standard error and leave with a code."""
    click.echo(message, err=True)
    sys.exit(code)


def utc_now() -> datetime:
    """The clock; everything below the doors is handed the time."""
    return datetime.now(UTC)


@click.group(context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(__version__, prog_name="washbell")
def main() -> None:
    """Keep school toilets, napkin machines and incinerators working, and say what they did.

    A real installation reads WASHBELL_DATABASE and WASHBELL_SECRET from the environment.
    Exit codes: 0 done, 1 refused, 2 wrong input.
    """


def _engine():
    from tracker.db import make_engine

    try:
        settings = from_environment()
    except SettingsError as error:
        fail(str(error))
    return settings, make_engine(settings.database_url)


def _progress_bar() -> Callable[[int, int, str], None] | None:
    if not sys.stderr.isatty():
        return None

    def show(done: int, total: int, file: str) -> None:
        click.echo(f"\r{done:>8} of {total} rows  {file:<24}", nl=False, err=True)
        if done >= total:
            click.echo("", err=True)

    return show


@main.command("init-db")
def init_db() -> None:
    """Create the tables, or bring them to this version."""
    from tracker.migrate import upgrade

    _, engine = _engine()
    upgrade(engine)
    click.echo("The database is ready.")


@main.command()
@click.argument("folder", type=click.Path(exists=True, file_okay=False, path_type=Path))
@click.option("--correct", metavar="REASON", help="Change rows that differ from what is stored, for this reason.")
def load(folder: Path, correct: str | None) -> None:
    """Check a FOLDER of CSV files whole and load it, or load nothing.

    docs/exchange.md describes the files. Loading the same folder twice changes nothing.
    """
    from tracker.db import writing
    from tracker.intake.folder import FolderError, load_folder

    _, engine = _engine()
    with writing(engine) as session:
        try:
            result = load_folder(session, folder, progress=_progress_bar(), correction_reason=correct)
        except FolderError as error:
            session.rollback()
            for problem in error.problems:
                click.echo(problem.line_text(), err=True)
            fail(f"Nothing was loaded: {len(error.problems)} to correct.", WRONG_INPUT)
        session.commit()
    click.echo(result.summary())


@main.command()
@click.option("--port", type=click.IntRange(0, 65535), default=8765, show_default=True, help="0 picks a free one.")
@click.option("--keep", type=click.Path(path_type=Path), help="Keep the demo's database in this folder.")
def demo(port: int, keep: Path | None) -> None:
    """Serve the made-up programme on this machine, from a throw-away copy."""
    from tracker import demo as made_up
    from tracker.app import create_app
    from tracker.web import ready

    folder = keep or Path(tempfile.mkdtemp(prefix="washbell-demo-"))
    folder.mkdir(parents=True, exist_ok=True)
    database = folder / "demo.db"
    try:
        if not database.exists():
            click.echo("Loading the made-up programme …")
            made_up.prepare(database, progress=_progress_bar())
        app = create_app(made_up.settings(database), now=made_up.now)
        app.config["DEMO_LOGINS"] = list(made_up.LOGINS)
        made_up.publish_ended_terms(app)
        ready.start(app)
        _serve_demo(app, port, made_up.LOGINS)
    finally:
        if keep is None:
            shutil.rmtree(folder, ignore_errors=True)


def _serve_demo(app, port: int, logins) -> None:
    import waitress

    try:
        server = waitress.create_server(app, host="127.0.0.1", port=port, threads=8)
    except OSError:
        fail(f"Port {port} is taken. Choose another with --port, or 0 for a free one.")
    click.echo(f"The demo is open at http://127.0.0.1:{server.effective_port}  (Ctrl-C ends it)\n")
    for role, email, password in logins:
        click.echo(f"  {role.value:<14} {email:<32} {password}")
    sys.stdout.flush()
    try:
        server.run()
    except KeyboardInterrupt:
        click.echo("\nClosed.")


@main.command()
@click.option("--host", default="127.0.0.1", show_default=True)
@click.option("--port", type=click.IntRange(0, 65535), default=8000, show_default=True)
@click.option("--threads", default=8, show_default=True)
@click.option(
    "--behind", metavar="ADDRESS", help="Address of the proxy in front, whose forwarded headers are believed."
)
def serve(host: str, port: int, threads: int, behind: str | None) -> None:
    """Serve a real installation. Put a proxy with https in front; docs/deploy.md shows how.

    Without --behind every visitor counts as one address when log-ins are slowed down.
    """
    import waitress

    from tracker.app import create_app, refuse_demo
    from tracker.db import reading
    from tracker.migrate import SchemaError, check
    from tracker.web import ready

    settings, engine = _engine()
    try:
        settings.check()
        check(engine)
        with reading(engine) as session:
            refuse_demo(session)
    except (SettingsError, SchemaError) as error:
        fail(str(error))
    click.echo(f"Serving on http://{host}:{port}")
    app = create_app(settings)
    ready.start(app)
    proxy = {"trusted_proxy": behind, "trusted_proxy_headers": "x-forwarded-for x-forwarded-proto"} if behind else {}
    waitress.serve(app, host=host, port=port, threads=threads, clear_untrusted_proxy_headers=True, **proxy)


@main.command("add-administrator")
@click.argument("programme")
@click.argument("email")
@click.argument("name")
def add_administrator(programme: str, email: str, name: str) -> None:
    """Add the first person of a PROGRAMME; the password is asked for."""
    from argon2 import PasswordHasher

    from tracker.db import writing
    from tracker.intake import passwords
    from tracker.records import people
    from tracker.vocabulary import Role

    _, engine = _engine()
    password = click.prompt("Password (at least 15 characters)", hide_input=True, confirmation_prompt=True)
    if wrong := passwords.complaint(password, (name, email, programme)):
        fail(wrong, WRONG_INPUT)
    secret_hash = PasswordHasher().hash(password)
    with writing(engine) as session:
        found = people.programme_by_code(session, programme)
        if found is None:
            fail(f"There is no programme {programme}. Load one first, or check the code.", WRONG_INPUT)
        person = people.add_person(session, name=name, email=email)
        try:
            people.add_grant(session, found.id, person=person, role=Role.ADMINISTRATOR)
        except people.PeopleError as error:
            fail(str(error), WRONG_INPUT)
        people.set_password(session, person.id, secret_hash, utc_now())
        session.commit()
    click.echo(f"{name} can log in as administrator.")


@main.command()
@click.argument("kind", type=click.Choice(["school", "programme", "impact"]))
@click.option("--term", "term_code", required=True, help="The term's code.")
@click.option("--programme", "programme_code", help="Needed where the database holds several.")
@click.option("--school", "school_code", help="The school's code, for the school term report.")
@click.option("--format", "shape", type=click.Choice(["text", "json", "csv", "pdf"]), default="text", show_default=True)
@click.option("--out", type=click.Path(path_type=Path), help="Folder for CSV files (needed for them), or a file.")
@click.option("--as-of", help="Report as known at this local time, for example 2026-02-03T18:00.")
def report(*, kind, term_code, programme_code, school_code, shape, out, as_of) -> None:
    """Print a term's report: school, programme, or the funder's impact summary."""
    from tracker.db import reading
    from tracker.reports import build, export

    _check_report_words(kind, school_code, shape, out)
    _, engine = _engine()
    with reading(engine) as session:
        try:
            named = {"programme_code": programme_code, "school_code": school_code, "as_of": as_of}
            made = build.by_code(session, kind, term_code, **named, now=utc_now())
        except LookupError as error:
            fail(str(error.args[0]), WRONG_INPUT)
    if shape == "csv":
        _write_csv(export.csv_files(made), out)
        return
    if shape == "pdf":
        from tracker.reports.pdf import pdf

        out.write_bytes(pdf(made))
        return
    content = export.json_text(made) if shape == "json" else export.text(made)
    if out:
        out.write_text(content, encoding="utf-8")
    else:
        click.echo(content)


def _check_report_words(kind: str, school_code: str | None, shape: str, out: Path | None) -> None:
    if kind == "school" and not school_code:
        fail("Say which school with --school CODE.", WRONG_INPUT)
    if kind != "school" and school_code:
        fail(f"The {kind} report is about the whole programme. Leave --school out.", WRONG_INPUT)
    if shape == "csv" and out is None:
        fail("CSV is several files. Say into which folder with --out FOLDER.", WRONG_INPUT)
    if shape == "pdf" and out is None:
        fail("A PDF is a file. Name it with --out FILE.", WRONG_INPUT)
    if shape == "csv" and out is not None and out.is_file():
        fail(f"{out} is a file. Name a folder with --out.", WRONG_INPUT)
    if shape != "csv" and out is not None and (out.is_dir() or not out.parent.is_dir()):
        fail(f"{out} cannot be written. Name a file in a folder that is there with --out.", WRONG_INPUT)


def _write_csv(files: dict[str, str], out: Path) -> None:
    out.mkdir(parents=True, exist_ok=True)
    for name, content in files.items():
        (out / re.sub(r"[^A-Za-z0-9_.-]", "_", name)).write_text(content, encoding="utf-8", newline="")
    click.echo(f"{len(files)} files written to {out}")


@main.command("plan")
@click.option("--programme", "programme_code", help="Needed where the database holds several.")
@click.option("--on", required=True, metavar="DAY", help="Day of the round, for example 2026-02-03.")
@click.option("--next", "until", required=True, metavar="DAY", help="Day of the next round.")
@click.option("--lead", default="", metavar="DAYS", help="Days until the next delivery can be used.")
@click.option("--budget", default="", metavar="AMOUNT", help="In the programme's currency.")
@click.option("--vehicle", default="", metavar="CODE", help="A vehicle on record, with its room.")
@click.option("--litres", default="", metavar="N", help="Room in the vehicle.")
@click.option("--packs", default="", metavar="N", help="Room in the vehicle.")
@click.option("--aim", type=click.Choice(["fewest", "equal", "lowest"]), default="fewest", show_default=True)
@click.option("--unreached", "unreached", multiple=True, metavar="SCHOOL", help="Cannot be reached; may be repeated.")
@click.option("--product", "products", multiple=True, metavar="CODE", help="Only this one; may be repeated.")
@click.option("--out", "to", type=click.Path(path_type=Path), help="A file: .csv (each school and product) or .json.")
def plan_round(*, programme_code, to, unreached, products, **typed) -> None:
    """Plan a restocking round: what to bring to each school, and why.

    Aims: fewest expected requests unmet, equal run-out, highest lowest share of requests met. Nothing is changed.
    """
    from tracker.db import reading
    from tracker.intake.restock_ask import Typed
    from tracker.reports import export

    if to is not None and (to.suffix not in {".csv", ".json"} or not to.parent.is_dir()):
        fail(f"{to} cannot be written. Name a file that ends in .csv or .json, in a folder that is there.", WRONG_INPUT)
    _, engine = _engine()
    with reading(engine) as session:
        made = _planned(session, programme_code, Typed(**typed, out=unreached, products=products))
    if to is None:
        click.echo(export.text(made))
        return
    content = export.json_text(made) if to.suffix == ".json" else export.csv_files(made)["lines.csv"]
    to.write_text(content, encoding="utf-8", newline="")
    click.echo(f"The plan is written to {to}.")


OPTIONS = {"until": "--next", "out": "--unreached", "products": "--product"}


def _planned(session, programme_code: str | None, typed):
    """The plan as a report, or every mistake in what was typed, each with its option."""
    from tracker.intake.restock_ask import choices_of, read_ask
    from tracker.reports import build, restock_plan, restock_report

    try:
        programme_id, today = build.programme_and_day(session, programme_code, utc_now())
    except LookupError as error:
        fail(str(error.args[0]), WRONG_INPUT)
    reading = read_ask(typed, choices_of(session, programme_id, today))
    errors = reading.errors
    if reading.ask is not None:
        ask = reading.ask
        try:
            made = restock_plan.make(session, ask.asked, ask.limits, ask.aim)
            return restock_report.lay_out(made, utc_now(), __version__)
        except restock_plan.NoPlanError as refused:
            errors = {refused.field: str(refused)}
    for field, sentence in errors.items():
        click.echo(f"{OPTIONS.get(field, '--' + field)}: {sentence}", err=True)
    fail("There is no plan.", WRONG_INPUT)


@main.command("check-audit")
def check_audit() -> None:
    """Seal the audit trail so far and say whether any sealed row was changed since."""
    from tracker.db import writing
    from tracker.records import audit

    _, engine = _engine()
    with writing(engine) as session:
        broken = audit.verify(session)
        if broken is not None:
            fail(f"The audit trail was changed at or after row {broken}.")
        audit.seal(session, utc_now())
        session.commit()
    click.echo("The audit trail is whole.")


@main.command("check-stock")
@click.option("--rebuild", is_flag=True, help="Make the balances anew from the moves, and settle what was reported.")
def check_stock(*, rebuild: bool) -> None:
    """Compare every stock balance with the sum of its moves, and report the differences.

    Exit code 1 where one differs. With --rebuild the balances are made anew first.
    """
    from tracker.db import writing
    from tracker.records import ledger

    _, engine = _engine()
    with writing(engine) as session:
        if rebuild:
            changed = ledger.rebuild(session)
            session.commit()
            click.echo(f"Made anew. Moves of the ledger's own that changed: {changed}.")
        unequal = ledger.check(session)
        session.rollback()
    for one in unequal:
        where = f"{one.place}, {one.product}, lot {one.lot}"
        click.echo(f"{where}: the balance says {one.balance}, the moves say {one.moves}.", err=True)
    if unequal:
        fail(f"Balances that differ: {len(unequal)}. Run: washbell check-stock --rebuild")
    click.echo("Every balance is the sum of its moves.")
