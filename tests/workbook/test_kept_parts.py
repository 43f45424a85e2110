"""Entry and results workbooks as they are written, a digest a part, in `kept_parts.json`: to see what a change moves.

What confirms their figures and words stands in the other tests of this room. After a change that is meant,
`PYTHONPATH=.:tests/shared python tests/workbook/test_kept_parts.py` writes the digests anew; with a folder as its
argument the parts are written there as text, for a comparison with those of another state of the code. The results
workbooks are held against it where their figures are, in `test_workbook_as_written.py`.
"""

from __future__ import annotations

import json
import re
import sys
from collections.abc import Callable, Iterator, Mapping
from decimal import Decimal
from hashlib import sha256
from io import BytesIO
from pathlib import Path
from zipfile import ZipFile

import pytest
from msgspec.structs import replace

from qc.batch import Active, Base, Batch, Displacement, DisplacementConvention, State
from qc.workbook.entry import filled_bytes, sheet_bytes
from qc.workbook.entry.plan import FillingOrder, Plan
from tests.workbook import test_workbook_figures as figures

FILE = Path(__file__).parent / "kept_parts.json"
ZINC = Active(
    name="zinc oxide",
    lot="Z-7",
    label_claim_mg=Decimal(400),
    displacement=Displacement(given=Decimal("4.7"), convention=DisplacementConvention.VALUE),
    state=State.SUSPENDED,
)
BORIC = Active(
    name="boric acid",
    label_claim_mg=Decimal(100),
    displacement=Displacement(given=Decimal("0.67"), convention=DisplacementConvention.FACTOR),
    state=State.DISSOLVED,
)
FACTS = Batch(
    units=(),
    number="26-014",
    product="Zinc",
    dosage_form="suppositories",
    base=Base.FATTY,
    nominal_mass_g=Decimal("2.00"),
    actives=(ZINC,),
)
PLANS: Mapping[str, Plan | None] = {
    "empty": None,
    "moulds": Plan(moulds=("A",), cavities=6),
    "one active": Plan(moulds=("A", "B"), cavities=6, batch=FACTS),
    "two actives": Plan(moulds=("A",), cavities=6, batch=replace(FACTS, actives=(ZINC, BORIC))),
    "five actives": Plan(
        moulds=("A",),
        cavities=2,
        batch=replace(
            FACTS, actives=tuple(replace(BORIC, name=f"salt {at}", label_claim_mg=Decimal(at)) for at in range(1, 6))
        ),
    ),
    "seventeen units": Plan(moulds=("A",), cavities=17, batch=replace(FACTS, number=None, base=None)),
    "thirty-six units": Plan(moulds=("A", "B"), cavities=18, batch=FACTS),
    "thirty-seven units": Plan(moulds=("A",), cavities=37, batch=FACTS),
    "across": Plan(moulds=("A", "B"), cavities=3, units=8, filling_order=FillingOrder.CAVITY_BY_CAVITY, batch=FACTS),
    "pessaries": Plan(moulds=("A",), cavities=30, batch=replace(FACTS, dosage_form="pessaries")),
    "many": Plan(moulds=("A", "B", "C"), cavities=80, batch=FACTS),
}
FILLED = tuple(figures.CASES)[::6]
_LONG = re.compile(r"-?\d+\.\d{9,}(?:[eE]-?\d+)?")


def parts_of(content: bytes) -> Iterator[tuple[str, str]]:
    """The parts of a workbook by name, numbers of many digits to ten figures; those about the program left out."""
    with ZipFile(BytesIO(content)) as book:
        for name in book.namelist():
            if not name.startswith("docProps"):
                text = book.read(name).decode("utf-8")
                yield name, _LONG.sub(lambda found: f"{float(found[0]):.10g}", text)


def planned(name: str) -> bytes:
    """The entry workbook of a plan."""
    return sheet_bytes(PLANS[name])


def filled(name: str) -> bytes:
    """The entry workbook with the batch of a case typed in."""
    return filled_bytes(figures.CASES[name].batch)


BOOKS: Mapping[str, tuple[Callable[[str], bytes], str]] = {
    **{f"plan {name}": (planned, name) for name in PLANS},
    **{f"filled {name}": (filled, name) for name in FILLED},
}


def kept(name: str) -> dict[str, str]:
    """The digests of a workbook as they were written last."""
    found: dict[str, str] = json.loads(FILE.read_text(encoding="utf-8"))[name]
    return found


def digests(content: bytes) -> dict[str, str]:
    """A short digest of each part."""
    return {name: sha256(text.encode()).hexdigest()[:12] for name, text in parts_of(content)}


@pytest.mark.parametrize("name", BOOKS)
def test_every_part_of_a_workbook_is_written_as_before(name: str) -> None:
    make, case = BOOKS[name]
    assert digests(make(case)) == kept(name)


if __name__ == "__main__":
    from tests.workbook.test_workbook_as_written import CASES

    made = {name: make(case) for name, (make, case) in BOOKS.items()}
    made |= {f"results {name}": figures.judged(case)[1] for name, case in CASES.items()}
    FILE.write_text(json.dumps({name: digests(one) for name, one in made.items()}, indent=1) + "\n", encoding="utf-8")
    for name, content in made.items() if sys.argv[1:] else ():
        for part, text in parts_of(content):
            path = Path(sys.argv[1]) / name.replace(" ", "-") / part.replace("/", "-")
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_text(text.replace("><", ">\n<"), encoding="utf-8")
