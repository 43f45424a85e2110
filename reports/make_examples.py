"""The example reports that are kept with the sample data: `python reports/make_examples.py reports/examples`."""

from __future__ import annotations

import sys
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from decimal import Decimal
from pathlib import Path
from typing import Any

from qc.history.cavities import cavity_series, units_of
from qc.history.figures import figures_of
from qc.history.pictures import series_picture
from qc.history.products import Product
from qc.jobs.check import Checked, check_batch
from qc.problems import InputProblems
from qc.readers.options import ReadOptions
from qc.show.filing import file_whole
from qc.show.pages_pdf import Paper, first_page_image
from qc.show.write import composed, render_report

# Beside the example reports in a checkout; an installed package has neither.
SAMPLES = Path("sample_data")
KEPT = ("fails-on-content", "sound")
"""The samples whose reports are kept: one that complies and one that does not."""
JUDGED_AT = datetime(2026, 11, 26, 12, tzinfo=UTC)
"""The same on every run, because it is printed on the pages."""
FIRST_PAGE = "page-1.png"
DOTS_AN_INCH = 80.0
OPTIONS = {"weights-only": ReadOptions(form="suppositories", label_mg=Decimal(250))}
"""What the call says of a bare table; the workbooks and the folder say it themselves."""


def readable_samples(samples: Path = SAMPLES) -> dict[str, Checked]:
    """Every sample that can be read, judged, by the name of its example.

    Parameters
    ----------
    samples : Path
        Folder of the sample data.

    Returns
    -------
    dict
        Samples with typing slips are refused by the reader and have no report.
    """
    judged = {}
    for path in sorted(samples.iterdir()):
        if path.suffix not in (".xlsx", ".csv") and not (path / "units.csv").exists():
            continue
        try:
            judged[path.stem] = check_batch(path, options=OPTIONS.get(path.stem, ReadOptions()), at=JUDGED_AT)
        except InputProblems as refused:
            print(f"{path.name}: no report, refused with {len(refused.problems)} problems", file=sys.stderr)
    return judged


def example_files(example: Checked) -> dict[str, bytes]:
    """The files of one example: the report, and page one as a picture."""
    judged, document = example.to_draw(), example.sealed()
    return {
        **render_report(judged, document=document),
        FIRST_PAGE: first_page_image(composed(judged, document), paper=Paper.A4, ppi=DOTS_AN_INCH),
    }


def worn_documents() -> list[Mapping[str, Any]]:
    """The result documents of the product whose cavity wears in the sample year."""
    # The script beside the samples; a test has its folder on the path.
    sys.path.append(str(SAMPLES))
    from year import PRODUCTS, checked, year

    return [checked(batch, day).sealed() for day, batch in year() if batch.product == PRODUCTS[0].product]


def worn_cavity(documents: Sequence[Mapping[str, Any]]) -> str:
    """The chart of the cavity that wears, for the README."""
    batches = tuple(figures_of(one) for one in documents)
    product = Product(name=batches[0].product, strength="", batches=batches)
    units = [units_of(one, batch) for one, batch in zip(documents, batches, strict=True)]
    (worn,) = [one for one in cavity_series(units) if one.changes]
    return series_picture(product, worn, name="worn").svg


def write_examples(directory: Path, *, samples: Path = SAMPLES) -> None:
    """Write the example of every readable sample into a folder of its name, in place of what stands there.

    Parameters
    ----------
    directory : Path
        Folder of the examples.
    samples : Path
        Folder of the sample data.

    Raises
    ------
    OSError
        When a report cannot be written; the earlier one then stands as it was.
    """
    for name, judged in readable_samples(samples).items():
        if name in KEPT:
            file_whole(directory / name, example_files(judged), replace=True)


if __name__ == "__main__":
    write_examples(Path(sys.argv[1]))
    (Path(sys.argv[1]) / "worn-cavity.svg").write_text(f"{worn_cavity(worn_documents())}\n")
