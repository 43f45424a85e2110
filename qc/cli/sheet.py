"""`qc sheet`: write the entry workbook, empty or for a planned batch."""

from __future__ import annotations

from decimal import Decimal, InvalidOperation
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from qc.cli.words import refuse, refuse_call
from qc.problems import InputProblems

if TYPE_CHECKING:
    from qc.batch import Active, Base, Displacement


def register(app: typer.Typer) -> None:
    """Add the command to the command line."""
    app.command("sheet")(sheet)


def sheet(
    out: Annotated[Path, typer.Argument(metavar="[FILE]", help="The workbook to write.")] = Path("batch.xlsx"),
    form: Annotated[str, typer.Option("--form", metavar="FORM", help="Dosage form, for example suppositories.")] = "",
    product: Annotated[str, typer.Option("--product", metavar="TEXT", help="Product.")] = "",
    number: Annotated[str, typer.Option("--number", metavar="TEXT", help="Batch number.")] = "",
    base: Annotated[str | None, typer.Option("--base", metavar="fatty|water-soluble", help="The base.")] = None,
    mould: Annotated[
        list[str] | None, typer.Option("--mould", metavar="NAME", help="A mould, in the order of filling; repeat.")
    ] = None,
    cavities: Annotated[int | None, typer.Option("--cavities", metavar="N", help="Cavities of each mould.")] = None,
    units: Annotated[
        int | None, typer.Option("--units", metavar="N", help="Units to pour; all cavities if left out.")
    ] = None,
    active: Annotated[
        list[str] | None, typer.Option("--active", metavar="NAME=MG", help="An active with its label claim; repeat.")
    ] = None,
    displacement: Annotated[
        list[str] | None,
        typer.Option("--displacement", metavar="NAME=F", help="Its displacement value: g of active for 1 g of base."),
    ] = None,
    factor: Annotated[
        list[str] | None,
        typer.Option("--displacement-factor", metavar="NAME=F", help="Or its factor: g of base for 1 g of active."),
    ] = None,
    nominal: Annotated[
        str | None, typer.Option("--nominal-mass", metavar="G", help="What a cavity holds in plain base, in g.")
    ] = None,
    rules: Annotated[str, typer.Option("--rules", metavar="NAME", help="Rule set the batch shall be judged by.")] = "",
    plan_file: Annotated[
        Path | None,
        typer.Option("--plan", metavar="FILE", help="A plan kept in a TOML file, in place of these options."),
    ] = None,
    replace: Annotated[bool, typer.Option("--replace", help="Replace a file that is there already.")] = False,
) -> None:
    """Write an empty entry workbook, or one for a planned batch: with --mould and --cavities it comes with unit
    numbers, pour order, cavities and the planned mass filled in.
    """
    from qc.batch import Batch
    from qc.workbook.entry import write_sheet
    from qc.workbook.entry.plan import Plan
    from qc.workbook.entry.plan_file import read_plan

    if out.suffix.lower() != ".xlsx":
        refuse_call(f'"{out.name}" does not end in .xlsx', "Give a file name such as batch.xlsx")
    if out.exists() and not replace:
        refuse_call(f"{out} is there already", "Give another name, or --replace to write over it")
    by_options = any((mould, cavities, active, form, product, number, base, nominal, units, rules))
    if plan_file is not None and by_options:
        refuse_call("A plan was given both as a file and by options", "Give --plan alone, or the options alone")
    try:
        plan = None
        if plan_file is not None:
            plan = read_plan(plan_file)
        elif by_options:
            if not mould or cavities is None:
                refuse_call("A plan needs its moulds", "Give --mould A (once for each mould) and --cavities 12")
            plan = Plan(
                moulds=tuple(mould),
                cavities=cavities,
                units=units,
                batch=Batch(
                    units=(),
                    dosage_form=form or None,
                    product=product or None,
                    number=number or None,
                    base=_base(base),
                    actives=_actives(active or [], values=displacement or [], factors=factor or []),
                    nominal_mass_g=_decimal("--nominal-mass", nominal),
                    rules=rules or None,
                ),
            )
        write_sheet(out, plan=plan, replace=replace)
    except InputProblems as problems:
        refuse(problems)
    except ValueError as unfit:
        refuse_call(str(unfit).rstrip("."), "Nothing was written")
    except OSError as failure:
        refuse_call(f"{out} cannot be written ({failure.strerror or failure})", "Give a file that can be written")
    typer.echo(f"Wrote {out}. Fill in the pale yellow cells, then: qc check {out}")


def _base(text: str | None) -> Base | None:
    from qc.batch import Base

    if text is None:
        return None
    known = [base.value for base in Base]
    if text not in known:
        refuse_call(f'--base "{text}" is not known', f"Give {' or '.join(known)}")
    return Base(text)


def _actives(named: list[str], *, values: list[str], factors: list[str]) -> tuple[Active, ...]:
    from qc.batch import Active, Displacement, DisplacementConvention

    claims = dict(_named_number("--active", text, example="paracetamol=250") for text in named)
    numbers: dict[str, Displacement] = {}
    for option, texts, convention in (
        ("--displacement", values, DisplacementConvention.VALUE),
        ("--displacement-factor", factors, DisplacementConvention.FACTOR),
    ):
        for text in texts:
            name, given = _named_number(option, text, example="paracetamol=1.39")
            if name not in claims:
                refuse_call(f'{option} names "{name}", which no --active names', f"Give --active {name}=MG as well")
            if name in numbers:
                refuse_call(f"{name} is given two displacement numbers", "Give the value or the factor, not both")
            numbers[name] = Displacement(given=given, convention=convention)
    return tuple(
        Active(name=name, label_claim_mg=claim, displacement=numbers.get(name)) for name, claim in claims.items()
    )


def _named_number(option: str, text: str, *, example: str) -> tuple[str, Decimal]:
    name, equals, number = text.rpartition("=")
    if not equals or not name.strip():
        refuse_call(f'{option} "{text}" has no name and number', f"Give {option} {example}")
    value = _decimal(option, number.strip())
    assert value is not None
    return name.strip(), value


def _decimal(option: str, text: str | None) -> Decimal | None:
    if text is None:
        return None
    try:
        value = Decimal(text)
    except InvalidOperation:
        refuse_call(f'{option} "{text}" is not a number', "Give digits with a decimal point, for example 2.00")
    if not value.is_finite() or value <= 0:
        refuse_call(f'{option} "{text}" is not above 0', "Give a number above 0, for example 2.00")
    return value
