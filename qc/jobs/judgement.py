"""A judged batch as `qc.judge` gives it: printed, in a notebook, as tables, drawn, filed."""

from __future__ import annotations

from contextlib import nullcontext
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from msgspec import Struct

from qc.document import result_document
from qc.jobs.check import checked_by
from qc.jobs.seal import Asked
from qc.judging.judge import priors_of
from qc.problems import Notice
from qc.readers.options import ReadOptions
from qc.results import BatchVerdict, JudgedBatch, Remark, Remedied, TestResult, Verdict
from qc.rules.rule_books import RuleBook
from qc.say.in_short import means, not_met, pour_in_short
from qc.say.messages import paragraph
from qc.say.names import CAUSE, in_words
from qc.say.numbers import NOTHING
from qc.say.text import shortened
from qc.show.headline import headline_parts
from qc.show.sections.answers import likeliest, named_causes

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes


REPR_WIDTH = 100
UNMET = (Verdict.DOES_NOT_COMPLY, Verdict.SECOND_STAGE, Verdict.TOO_FEW_UNITS)


class Judgement(Struct, frozen=True):
    """A judged batch: what `qc.judge` gives.

    `print` shows it in six lines, a notebook as page one of the report. `verdict`, `tests` and `notices` are records;
    `units_frame`, `tests_frame` and `causes_frame` are tables; `plot_pour` and `plot_tray` draw on an axis;
    `write_report` files it; `as_dict` is the document that `qc check --json` writes.

    Parameters
    ----------
    judged : JudgedBatch
        The records: tests, trends, causes, assurance, rows of units.
    book : RuleBook
        The rules it was judged by.
    rules : str or Path or None
        As they were asked for.

    Examples
    --------
    >>> import qc
    >>> result = qc.judge(qc.lesson("settling-in-pour", seed=5).drawn.batch)
    >>> result.verdict.value, len(result.units_frame())
    ('does-not-comply', 24)
    >>> result.causes_frame().cause[0]
    'settling-in-pour'
    >>> result.tests_frame().test.unique().tolist()[:2]
    ['mass-uniformity', 'content-uniformity']
    >>> [one.remedy for one in result.next_pour()]
    ['finer', 'stir_each_unit', 'nearer_setting']
    """

    judged: JudgedBatch
    book: RuleBook
    rules: str | Path | None = None

    def __repr__(self) -> str:
        """Six lines: verdict, how many units, means, tests not met, the pour, the likeliest cause."""
        judged = self.judged
        batch, (verdict, reach) = judged.batch, headline_parts(judged)
        unmet = [not_met(test, most=REPR_WIDTH) for test in judged.tests if test.verdict in UNMET]
        pour = () if judged.pour_trend is None else pour_in_short(judged.pour_trend)
        told = {
            verdict.upper() + reach: " ".join(filter(None, (batch.number, batch.product))) or "batch without a number",
            "Units": f"{len(batch.units)} entered, {len(batch.weighed)} weighed; rules: {judged.rule_set}",
            "Mean": "; ".join(means(judged)),
            "Not met": "; ".join(unmet),
            "Pour": "; ".join(pour),
            "Cause": "; ".join(map(named_causes, likeliest(judged)[:1])),
        }
        return "\n".join(f"{name}: {shortened(text or NOTHING, most=REPR_WIDTH)}" for name, text in told.items())

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
            Columns: unit, pour_order, weighing_order, mould, cavity, mass_g (of two the one that counts) [g],
            deviation_percent [% of the mean of the test sample], mass_place, in_mass_sample, seen,
            left_out_because; and for each active NAME: `NAME mg`, `NAME % of label`, `NAME % of mean`, `NAME mg/g`,
            `NAME place`.
        """
        import pandas as pd

        rows = []
        for row in self.judged.unit_rows:
            flat: dict[str, object] = {
                **{name: getattr(row, name) for name in ("unit", "pour_order", "weighing_order", "mould", "cavity")},
                "mass_g": None if row.counting_g is None else float(row.counting_g),
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
        return frame.astype({"pour_order": "Int64", "weighing_order": "Int64"}) if rows else frame

    def tests_frame(self) -> pd.DataFrame:
        """One row a figure beside its limit, the tests in the order of the rule set.

        Returns
        -------
        pandas.DataFrame
            Columns: test, rule, active, verdict, n [-], what, figure and bound [in `unit`], met, unit.
        """
        import pandas as pd

        columns = ["test", "rule", "active", "verdict", "n", "what", "figure", "bound", "met", "unit"]
        tests: Any = self.as_dict()["tests"]
        return pd.DataFrame(
            ({"test": one["id"]} | one | limit for one in tests for limit in one["limits"] or [{}]), columns=columns
        )

    def causes_frame(self) -> pd.DataFrame:
        """One row a cause, the most probable first: cause, probability [0 to 1], name, evidence."""
        import pandas as pd

        ordered = sorted(self.judged.causes, key=lambda one: -one.probability)
        columns = ["cause", "probability", "name", "evidence"]
        rows = ([one.cause, one.probability, in_words(one.cause, CAUSE), paragraph(one.evidence)] for one in ordered)
        return pd.DataFrame(rows, columns=columns)

    def next_pour(self) -> tuple[Remedied, ...]:
        """What to change of the next pour, and what that is predicted to leave; nothing where no cause is sure."""
        from qc.causes.next_pour import next_pour

        priors = priors_of(self.book, confirmed={})
        return next_pour(self.judged.batch, causes=self.judged.causes, priors=priors)

    def plot_pour(self, ax: Axes, *, active: str | None = None) -> Axes:
        """Draw the masses in pour order with limits and fitted change on an axis; contents where an active is named."""
        from qc.show.series import content_series, mass_series
        from qc.show.series_drawn import draw_series

        return draw_series(ax, series=content_series(self.judged, active) if active else mass_series(self.judged))

    def plot_tray(self, ax: Axes) -> Axes:
        """Draw the tray as it was poured on an axis, each unit coloured by the deviation of its mass."""
        from qc.show.tray import draw_tray
        from qc.show.tray_plan import tray_plan

        return draw_tray(ax, plan=tray_plan(self.judged.unit_rows), limits=self.judged.mass_limits)

    def write_report(self, folder: str | Path, *, replace: bool = False, at: datetime | None = None) -> Path:
        """File the report in a folder, as `qc check` does, and give the path of its page.

        Parameters
        ----------
        folder : str or Path
            Made when it is not there.
        replace : bool
            Whether it takes the place of a report that stands there.
        at : datetime, optional
            When it was judged, which stands in the seal; now when left out.

        Raises
        ------
        qc.show.filing.ReportExists
            When a report stands there already and is not to be replaced.

        Notes
        -----
        The seal holds the rules and no facts given to `qc.read`; `qc verify --input` judges by what the file holds.
        """
        from qc.jobs.file_report import file_report
        from qc.show.pages_pdf import Paper

        asked = Asked(options=ReadOptions(), rules=self.rules, at=at or datetime.now().astimezone())
        checked = checked_by(self.judged, book=self.book, asked=asked)
        plain: dict[str, Any] = {"told": nullcontext, "part": lambda _: nullcontext()}
        file_report(checked, Path(folder), (), paper=Paper.A4, replace=replace, **plain)
        return Path(folder) / "report.html"

    def _repr_html_(self) -> str:
        """Page one of the report, for a notebook."""
        from qc.show.pages_html import page_one_html

        return page_one_html(self.judged)
