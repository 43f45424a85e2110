"""What a caller from Python gets: a judged batch with its document, its table of units and its page in a notebook."""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec import Struct

from qc.document import result_document
from qc.problems import Notice
from qc.results import BatchVerdict, JudgedBatch, Remark, TestResult

if TYPE_CHECKING:
    import pandas as pd


class Judgement(Struct, frozen=True):
    """A judged batch.

    Parameters
    ----------
    judged : JudgedBatch
        The records: tests, trends, causes, assurance, rows of units.
    """

    judged: JudgedBatch

    @property
    def verdict(self) -> BatchVerdict:
        """What all tests together say of the batch."""
        return self.judged.verdict

    @property
    def tests(self) -> tuple[TestResult, ...]:
        """The tests, in the order of the rule set."""
        return self.judged.tests

    @property
    def notices(self) -> tuple[Notice | Remark, ...]:
        """Remarks of the reader and of the judge."""
        return self.judged.notices

    def as_dict(self) -> dict[str, object]:
        """The result document, without its `input` part."""
        return result_document(self.judged)

    def units_frame(self) -> pd.DataFrame:
        """One row a unit.

        Returns
        -------
        pandas.DataFrame
            Columns: unit, pour_order, mould, cavity, mass_g [g], deviation_percent [% of the mean of the test sample],
            mass_place, in_mass_sample, seen, left_out_because; and for each active NAME: `NAME mg`,
            `NAME % of label`, `NAME % of mean`, `NAME mg/g`, `NAME place`.
        """
        import pandas as pd

        rows = []
        for row in self.judged.unit_rows:
            flat: dict[str, object] = {
                "unit": row.unit,
                "pour_order": row.pour_order,
                "mould": row.mould,
                "cavity": row.cavity,
                "mass_g": None if row.mass_g is None else float(row.mass_g),
                "deviation_percent": row.deviation_percent,
                "mass_place": None if row.place is None else row.place.value,
                "in_mass_sample": row.in_mass_sample,
                "seen": "; ".join(row.seen),
                "left_out_because": row.left_out_because,
            }
            for active, content in row.contents.items():
                flat[f"{active} mg"] = content.mg
                flat[f"{active} % of label"] = content.percent_of_label
                flat[f"{active} % of mean"] = content.percent_of_mean
                flat[f"{active} mg/g"] = content.concentration_mg_per_g
                flat[f"{active} place"] = None if content.place is None else content.place.value
            rows.append(flat)
        frame = pd.DataFrame(rows)
        return frame.astype({"pour_order": "Int64"}) if "pour_order" in frame else frame

    def _repr_html_(self) -> str:
        """Page one of the report, for a notebook."""
        from qc.show.pages_html import page_one_html

        return page_one_html(self.judged)
