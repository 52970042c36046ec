"""Command line: parse, call the app, print.

Exit 0: nothing at or above --fail-on; 1: findings; 2: not a design, bad use, or a fault of the program.
"""

from __future__ import annotations

import gc
import importlib
import os
import sys
from contextlib import suppress
from importlib import import_module
from pathlib import Path
from types import ModuleType
from typing import TYPE_CHECKING, Any, NoReturn

import click

from tristrand import __version__

if TYPE_CHECKING:
    from tristrand.app.check import Workspace
    from tristrand.design import Problem

CAUTION = (
    "High voltage can kill. This program helps to design; it does not replace a qualified person, a measurement, "
    "or the law that applies where you are."
)


class _LastLine(click.Group):
    """The command group, with a last line of defence: a fault of the program is one line, never a traceback."""

    def invoke(self, ctx: click.Context) -> Any:
        """Run the command; TRISTRAND_DEBUG=1 lets an unexpected error through to the developer."""
        try:
            return super().invoke(ctx)
        except (click.ClickException, click.Abort, click.exceptions.Exit, BrokenPipeError):
            raise
        except Exception as error:
            if os.environ.get("TRISTRAND_DEBUG") == "1":
                raise
            from tristrand.design.yamltext import visible

            said = visible(f"{type(error).__name__}: {error}".rstrip(": "), 200)
            raise _stop(f"internal error ({said}); please report it with the design folder") from None


class _AllMissing(click.Command):
    """A command that names every missing option at once, not the first alone."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """As for any command, but for what is said of missing options."""
        given = list(args)
        try:
            return super().parse_args(ctx, args)
        except click.MissingParameter:
            found = self.make_parser(ctx).parse_args(given)[0]
            missing = [option.opts[0] for option in self.params if option.required and option.name not in found]
            raise click.UsageError(f"Missing: {', '.join(missing)}.", ctx) from None


@click.group(
    cls=_LastLine,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
    epilog=CAUTION,
)
@click.version_option(__version__, prog_name="tristrand")
def main() -> None:
    """Design and check the electrical system of a vehicle converted to electric drive."""
    for stream in (sys.stdout, sys.stderr):
        # A design may hold any sign; a terminal that lacks one gets a substitute, never a traceback.
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")


def run() -> NoReturn:
    """Run the command line as a process of its own, and leave without the interpreter's tidying up.

    Hardly any cyclic garbage comes up in one command; to look for it, and to take apart at the end all that was
    imported, takes longer than a study. Nothing is left open by then but the two streams.
    """
    gc.disable()
    # Matrices of a dozen rows: a second thread only waits, and starting it takes longer than the sums.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    code = 0
    try:
        main()
    except SystemExit as done:
        code = done.code if isinstance(done.code, int) else int(done.code is not None)
    for stream in (sys.stdout, sys.stderr):
        try:
            stream.flush()
        except OSError:  # the reader of a pipe has gone
            code = code or 1
    os._exit(code)


def _load_models() -> None:
    """Load pydantic without its search for plugins among all installed packages; our models use none.

    Even with the search off it loads the reader of package metadata, and with it the library's parts for mail and
    archives, which takes as long as a study. So that one is loaded when it is first called, which is never.
    """
    name = "importlib.metadata"
    os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "__all__")
    if name not in sys.modules:
        later = ModuleType(name)
        for call in ("entry_points", "distributions"):
            setattr(later, call, lambda call=call, **chosen: getattr(import_module(name), call)(**chosen))
        sys.modules[name] = later
        try:
            # A release that looks for plugins elsewhere is loaded as it is.
            with suppress(ImportError):
                import_module("pydantic.plugin._loader")
        finally:
            del sys.modules[name]
            vars(importlib).pop("metadata", None)


def _workspace(folder: Path) -> Workspace:
    """Where a command reads its folder: files that were read before are not read again."""
    from tristrand.app.check import Workspace
    from tristrand.design import Compiled, FileCache, users_folder

    kept = users_folder(folder)
    return Workspace(FileCache(compiled=Compiled(kept) if kept else None, before_models=_load_models))


@main.command()
@click.argument("folder", type=click.Path(path_type=Path))
@click.option(
    "--format",
    "form",
    type=click.Choice(["text", "json", "sarif", "html"]),
    default="text",
    show_default=True,
)
@click.option(
    "--fail-on",
    type=click.Choice(["error", "warning"]),
    default="error",
    show_default=True,
    help="Exit 1 from this severity on.",
)
@click.option(
    "--to",
    "target",
    type=click.Path(path_type=Path, dir_okay=False),
    help="Write to this file instead of the screen.",
)
def check(folder: Path, form: str, fail_on: str, target: Path | None) -> None:
    """Check the design in FOLDER and say what is wrong, why, and the way out."""
    from tristrand.app.check import Unreadable

    if target is not None and target.suffix == ".yaml":
        raise click.UsageError("a report is never written over a design file: give --to another ending than .yaml")
    try:
        checked = _workspace(folder).check(folder, "warning" if fail_on == "warning" else "error")
    except Unreadable as error:
        _unreadable(folder, error.problems, form)
    if form == "html":
        from tristrand.app.report import html

        text = html(checked)
    else:
        from tristrand.findings import render

        text = render(checked.report, form, _columns())
    _put(text, target)
    raise SystemExit(checked.report.exit_code)


@main.command()
@click.argument("names", nargs=-1, required=True, metavar="CODE | FOLDER STUDY")
@click.option("--format", "form", type=click.Choice(["text", "json"]), default="text", show_default=True)
def explain(names: tuple[str, ...], form: str) -> None:
    """Explain a rule by its CODE, or a STUDY of the design in FOLDER with every line of its working."""
    from tristrand.app.check import Unreadable
    from tristrand.app.explain import UnknownName, explain_rule, explain_study

    if len(names) > 2:
        raise click.UsageError("give a rule's code, or a folder and a study")
    folder = Path(names[0])
    try:
        data = explain_rule(names[0]) if len(names) == 1 else explain_study(_workspace(folder), folder, names[1])
    except UnknownName as error:
        raise click.UsageError(str(error)) from None
    except Unreadable as error:
        _unreadable(folder, error.problems, form)
    if form == "json":
        _put(_json(data), None)
    else:
        from tristrand.app.wording import rule_text, study_text

        _put(rule_text(data) if len(names) == 1 else study_text(data), None)


@main.command()
@click.option("--format", "form", type=click.Choice(["text", "json"]), default="text", show_default=True)
@click.option("--coverage", metavar="RULE_SET", help="Who answers each clause of this rule set: fsae-2026.")
def rules(form: str, coverage: str | None) -> None:
    """List every rule, one a line; or, with --coverage, every clause of a rule set and who answers it."""
    from tristrand.app.explain import UnknownName, rule_list
    from tristrand.app.explain import coverage as clauses

    if coverage is not None:
        try:
            rows, text = clauses(coverage, _columns())
        except UnknownName as error:
            raise click.UsageError(str(error)) from None
        _put(_json({"format_version": 1, "coverage": coverage, "clauses": rows}) if form == "json" else text, None)
        return

    listed = rule_list()
    if form == "json":
        _put(_json({"format_version": 1, "rules": listed}), None)
        return
    wide = max(len(rule["name"]) for rule in listed)
    _put(
        "".join(
            f"{rule['code']}  {rule['severity']:<7}  {rule['name']:<{wide}}  {rule['checks']}\n" for rule in listed
        ),
        None,
    )


@main.command(cls=_AllMissing)
@click.option("--pack", required=True, metavar="VOLTAGE", help="Pole to pole, for example '360 V'.")
@click.option("--minus", required=True, metavar="VOLTAGE", help="Minus pole to chassis, without the known resistor.")
@click.option("--plus", required=True, metavar="VOLTAGE", help="Plus pole to chassis, without the known resistor.")
@click.option("--with-resistor", required=True, metavar="VOLTAGE", help="Pole to chassis with the resistor across it.")
@click.option("--resistor", required=True, metavar="RESISTANCE", help="The known resistor: '180 kΩ ± 1 %'.")
@click.option("--on", "leg", required=True, type=click.Choice(["minus", "plus"]), help="The pole it was put on.")
@click.option("--meter", required=True, metavar="RESISTANCE", help="Of the voltmeter: '10 MΩ ± 1 %'.")
@click.option("--both-meters", is_flag=True, help="A meter stayed on each pole; else one meter was moved.")
@click.option("--highest", metavar="VOLTAGE", help="Highest pack voltage; else the voltage as read.")
@click.option(
    "--tolerance", default="0.5 %", show_default=True, help="Of every voltage reading, on top of a ± of its own."
)
@click.option("--per-volt", default="500 Ω/V", show_default=True, metavar="OHM_PER_VOLT", help="Required Ω/V.")
@click.option("--format", "form", type=click.Choice(["text", "json"]), default="text", show_default=True)
def insulation(form: str, **given: Any) -> None:
    """Reduce insulation readings: two voltages to the chassis, and one more with a known resistor.

    Any value may have a tolerance, such as '97.1 V ± 0.3 V'; a voltage without one is taken as rounded at its last
    digit. The verdict is drawn at the bad end of all of them.

    Exit 0: the required resistance is met; 1: it is missed; 2: the readings say nothing, or cannot be read.
    """
    from tristrand.app.insulation import BadReading, Readings, as_text, reduce

    try:
        told = reduce(Readings(**given))
    except BadReading as error:
        if form == "json":
            said = [{"message": line} for line in str(error).splitlines()]
            _put(_json({"format_version": 1, "problems": said}), None)
            raise SystemExit(2) from None
        raise click.UsageError(str(error)) from None
    _put(_json(told) if form == "json" else as_text(told), None)
    raise SystemExit(2 if "refused" in told else int(not told["met"]))


@main.command()
@click.argument("folder", type=click.Path(path_type=Path))
def schema(folder: Path) -> None:
    """Write JSON Schema files into FOLDER, so that an editor completes and checks design files."""
    from tristrand.app.starter import write_schemas

    try:
        names = write_schemas(folder)
    except OSError as error:
        raise _stop(f"{folder} cannot be written: {error.strerror}") from None
    for name in names:
        click.echo(str(folder / name))


@main.command()
@click.argument("folder", type=click.Path(path_type=Path))
def new(folder: Path) -> None:
    """Make a small valid design with comments in FOLDER, which must be new or empty."""
    from tristrand.app.starter import new_design

    try:
        names = new_design(folder)
    except OSError as error:
        # Without a number it is our own refusal, which says everything.
        said = str(error) if error.errno is None else f"{folder} cannot be written: {error.strerror}"
        raise _stop(said) from None
    for name in names:
        click.echo(str(folder / name))
    click.echo(f"Next: tristrand check {folder}")


def _columns() -> int:
    """Width of the terminal, at most 120; 100 where the output is no terminal."""
    try:
        return min(int(os.environ.get("COLUMNS") or os.get_terminal_size().columns), 120)
    except (OSError, ValueError):
        return 100


def _json(data: Any) -> str:
    import json  # a text report needs none

    return json.dumps(data, indent=2, ensure_ascii=False, allow_nan=False) + "\n"


def _put(text: str, target: Path | None) -> None:
    if target is None:
        click.echo(text, nl=not text.endswith("\n"))
        return
    from tristrand.design import write_atomic

    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        write_atomic(target, text.encode("utf-8", "replace"))
    except OSError as error:
        raise _stop(f"{target} cannot be written: {error.strerror}") from None


def _stop(message: str) -> SystemExit:
    click.echo(f"tristrand: {message}", err=True)
    return SystemExit(2)


def _unreadable(folder: Path, problems: tuple[Problem, ...], form: str) -> NoReturn:
    if form in ("json", "sarif"):
        said = [
            {"file": p.file, "line": p.line, "column": p.column, "message": p.message, "mend": p.mend} for p in problems
        ]
        click.echo(_json({"format_version": 1, "problems": said}), nl=False)
    else:
        click.echo(
            f"{folder} cannot be read as a design: {len(problems)} problem{'s' * (len(problems) != 1)}",
            err=True,
        )
        for problem in problems:
            click.echo(problem.text(), err=True)
    raise SystemExit(2)
