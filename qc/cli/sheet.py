"""`qc sheet`: write the entry workbook, empty or for a planned batch."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Annotated

import typer

from qc.cli.options import argument, option, read_options, takes_facts
from qc.cli.words import printable, refuse_call, usable, writing
from qc.problems import Problem, gathering, tell_together
from qc.readers.options import ReadOptions


@takes_facts("label_mg", "sheet", "mass_unit", "batch_number", "decimal", "order", "ignore")
def sheet(
    context: typer.Context,
    out: Annotated[Path, argument("[FILE]", "The workbook to write.")] = Path("batch.xlsx"),
    form: Annotated[str | None, option("--form FORM", "Dosage form, for example suppositories.")] = None,
    product: Annotated[str | None, option("--product TEXT", "Product.")] = None,
    number: Annotated[str | None, option("--number TEXT", "Batch number.")] = None,
    base: Annotated[str | None, option("--base fatty|water-soluble", "The base.")] = None,
    mould: Annotated[list[str] | None, option("--mould NAME", "A mould, in the order of filling; repeat.")] = None,
    cavities: Annotated[int | None, option("--cavities N", "Cavities of each mould.")] = None,
    units: Annotated[
        int | None, option("--units N", "Units to pour; all cavities if left out, 30 without a plan.", least=1)
    ] = None,
    active: Annotated[list[str] | None, option("--active NAME=MG", "An active with its label claim; repeat.")] = None,
    displacement: Annotated[
        list[str] | None,
        option("--displacement NAME=F", "Its displacement value: g of active for 1 g of base; with --from F."),
    ] = None,
    factor: Annotated[
        list[str] | None, option("--displacement-factor NAME=F", "Or its factor: g of base for 1 g of active.")
    ] = None,
    nominal: Annotated[str | None, option("--nominal-mass G", "What a cavity holds in plain base, in g.")] = None,
    rules: Annotated[str | None, option("--rules NAME", "Rule set the batch shall be judged by.")] = None,
    plan_file: Annotated[
        Path | None, option("--plan FILE", "A plan kept in a TOML file, in place of these options.")
    ] = None,
    source: Annotated[
        Path | None, option("--from FILE", "A spreadsheet or table of your own; the workbook holds what is read of it.")
    ] = None,
    replace: Annotated[bool, option("--replace", "Replace a file that nobody has typed into.")] = False,
    discard: Annotated[bool, option("--discard-entries", "Replace a file with all that was typed into it.")] = False,
    **facts: str | None,
) -> None:
    """Write an empty entry workbook, or one for a planned batch: with --mould and --cavities it comes with unit
    numbers, pour order, cavities and the planned mass filled in; with --from with all that was entered elsewhere.
    """
    from qc.jobs.sheet import write_sheet
    from qc.rules.forms import find_form, nearest_forms
    from qc.say.messages import words
    from qc.workbook.entry import EMPTY_UNITS
    from qc.workbook.entry.kept import what_was_typed
    from qc.workbook.entry.plan import few_for_a_second_stage
    from qc.workbook.entry.plan_file import plan_of, read_plan

    if out.suffix.lower() != ".xlsx":
        refuse_call(f'"{out.name}" does not end in .xlsx', "Give a file name such as batch.xlsx")
    if out.exists() and not discard:
        if typed := what_was_typed(out):
            refuse_call(f"{out} is there already, and {typed}", "Give another name, or --discard-entries to lose them")
        if not replace:
            refuse_call(f"{out} is there already", "Give another name, or --replace to write over it")
    planned = (mould, cavities, units, active, factor, product, number, base, nominal, rules, plan_file)
    if source is not None:
        values, refused = displacement or [], list[Problem]()
        if any(planned) or len(values) > 1 or any("=" in value for value in values):
            refuse_call("A workbook is filled from a file or for a plan", "Give --from, or the options of the plan")
        options = read_options(context, refused, displacement=next(iter(values), None))
        _write_from(source, out, options=options, refused=refused, replace=replace, discard=discard)
        return
    if any(facts.values()):
        refuse_call(
            "--label-mg, --sheet, --mass-unit, --batch, --decimal, --order and --ignore go with --from",
            "Give --from FILE, or leave them out",
        )
    by_options = any((mould, cavities, active, form, product, number, base, nominal, rules))
    if plan_file is not None and by_options:
        refuse_call("A plan was given both as a file and by options", "Give either --plan or the options")
    with usable("Nothing was written"):
        plan = None
        if plan_file is not None:
            plan = read_plan(plan_file)
        elif by_options:
            if form is not None and find_form(form) is None:
                near = ", ".join(one.name for one in nearest_forms(form, most=1)) or "suppositories"
                refuse_call(f'--form "{form}" is no dosage form that a rule here names', f"Give for example {near}")
            if not mould or cavities is None:
                refuse_call("A plan needs its moulds", "Give --mould A (once for each mould) and --cavities 12")
            told = {
                "batch_number": number,
                "product": product,
                "dosage_form": form,
                "base": base,
                "moulds": mould,
                "cavities": cavities,
                "units": units,
                "nominal_mass_g": nominal,
                "rules": rules,
            }
            given = {key: value for key, value in told.items() if value is not None}
            numbers = {"label_claim_mg": active, "displacement_value": displacement, "displacement_factor": factor}
            plan = plan_of({**given, "active": _actives(numbers)}, path=Path("the plan"))
        with writing("The workbook", out, "Give a file that can be written"):
            write_sheet(out, plan=plan, units=units or EMPTY_UNITS, replace=replace, discard=discard)
        short = None if plan is None else few_for_a_second_stage(plan)
    if short is not None:
        typer.echo(words(short))
    typer.echo(f"Wrote {out}. Fill in the pale yellow cells, then: qc check {out}")


def _write_from(
    source: Path, out: Path, *, options: ReadOptions, refused: list[Problem], replace: bool, discard: bool
) -> None:
    """Write the workbook of what is read of a file, and say what was read, set aside and ignored."""
    from msgspec import structs

    from qc.jobs.check import with_rule_words
    from qc.jobs.sheet import write_sheet
    from qc.readers.read import read_batch
    from qc.say.read_back import note_with_what_was_told, what_was_left, what_was_read
    from qc.show.pages_text import wrapped

    if source.resolve() == out.resolve():
        refuse_call(f"{out} is the file that is read", "Give another name for the workbook, such as entered.xlsx")
    problems, batch = list(refused), None
    noticed: list[str] = []
    with gathering(problems, noticed):
        batch = read_batch(source, options=with_rule_words(options))
    tell_together(problems, refused, noticed)
    assert batch is not None
    with writing("The workbook", out, "Give a file that can be written"):
        noted = structs.replace(batch, note=note_with_what_was_told(batch))
        write_sheet(out, batch=noted, replace=replace, discard=discard)
    told = [what_was_read(batch, short=False)]
    told += [f"{one}." for one in what_was_left(batch, short=False)]
    told += [f"{notice.where}: {notice.text}" for notice in batch.notices if notice.ignored is None]
    for text in told:
        typer.echo(printable("\n".join(wrapped(text, rest="  "))))
    typer.echo(f"Wrote {out}. Look it over, then: qc check {out}")


def _actives(numbers: Mapping[str, list[str] | None]) -> list[dict[str, str]]:
    """The tables of the actives, as a file of a plan has them: each from an option --active, with its other numbers."""
    actives: list[dict[str, str]] = []
    for key, texts in numbers.items():
        for text in texts or ():
            name, equals, number = map(str.strip, text.rpartition("="))
            own = next((one for one in actives if one["name"] == name), None)
            if not name or not equals:
                refuse_call(f'"{text}" has no name and number', "Give both, for example paracetamol=250")
            if key == "label_claim_mg":
                actives.append({"name": name, key: number})
            elif own is None or key in own:
                many = "two numbers of one kind" if own else "a displacement number and no label claim"
                refuse_call(f"{name} is given {many}", f"Give --active {name}=MG, and one displacement number")
            else:
                own[key] = number
    return actives
