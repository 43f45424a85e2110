"""What to see in each picture of this batch, in one sentence, taken from what was judged."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from qc.results import JudgedBatch, Place, Trend, UnitRow
from qc.say.messages import words
from qc.say.numbers import fixed, percent, plain_limit, signed_beside
from qc.say.text import ELLIPSIS, counted, listed, said, shortened
from qc.show.headline import test_verdict
from qc.show.names_apart import names_apart, shared_beginning
from qc.show.plane import boundaries_of, dosage_test
from qc.show.series import Series, mean_mass_g
from qc.show.tray import LETTERS_OF_A_UNIT
from qc.show.tray_layout import LETTERS_OF_A_MOULD

NAMES = 8
LONGEST_BEGINNING = 60
LONGEST_NAME = 18


def short_names(units: Sequence[str], *, rows: Sequence[UnitRow]) -> str:
    """Units by name, long lists and long names cut; the rows are those of all units."""
    known = _known(rows)
    return listed([known[unit] for unit in units], most=NAMES)


def _known(rows: Sequence[UnitRow]) -> dict[str, str]:
    return names_apart((row.unit for row in rows), most=LONGEST_NAME)


def left_out_of_names(rows: Sequence[UnitRow]) -> str:
    """What the names on the tray begin with and do not show, as a sentence for its caption; empty where nothing is."""
    beginnings = (
        ("units", shared_beginning((row.unit for row in rows), most=LETTERS_OF_A_UNIT)),
        ("moulds", shared_beginning((row.mould for row in rows if row.mould), most=LETTERS_OF_A_MOULD)),
    )
    told = [f'{of} "{shortened(beginning, most=LONGEST_BEGINNING)}"' for of, beginning in beginnings if beginning]
    return f' "{ELLIPSIS}" stands for the beginning that all share: {listed(told)}.' if told else ""


def tray_caption(judged: JudgedBatch, *, by_mould: bool) -> str:
    """Which units stand out on the tray, or that none does."""
    rows = [row for row in judged.unit_rows if row.deviation_percent is not None]
    inner, outer = judged.mass_limit_percent, judged.mass_outer_percent
    where = "Each circle is a unit in its cavity" if by_mould else "Each circle is a unit, in rows in pour order"
    if not rows:
        return f"{where}; no deviation could be worked out."
    limits = (inner, outer)
    beyond = [row for row in rows if row.place in (Place.BEYOND_INNER, Place.BEYOND_OUTER)]
    if inner is not None and beyond:
        worst = max(beyond, key=lambda row: abs(row.deviation_percent or 0))
        shown = signed_beside(worst.deviation_percent, limits=limits, decimals=1)
        return (
            f"{where}: {counted(len(beyond), 'unit')} of {len(rows)} {'lies' if len(beyond) == 1 else 'lie'} beyond "
            f"{plain_limit(inner)} % of the mean ({short_names([row.unit for row in beyond], rows=judged.unit_rows)}), "
            f"farthest unit {_known(judged.unit_rows)[worst.unit]} at {shown} %."
        )
    lightest, heaviest = _ends(rows, known=_known(judged.unit_rows))
    ends = f"lightest is unit {lightest}, heaviest unit {heaviest}"
    if inner is not None:
        return f"{where}: all {len(rows)} lie within {plain_limit(inner)} % of the mean mass; {ends}."
    return f"{where}: {ends}; no limit was judged."


def seen(defects: Sequence[tuple[str, str]], *, letters: Mapping[str, str], rows: Sequence[UnitRow]) -> str:
    """Which units carry a letter for a defect, as the end of the caption of the tray."""
    told = []
    for letter, defect in defects:
        units = [row.unit for row in rows if letter in letters.get(row.unit, "")]
        told.append(f"{letter} = {defect} ({short_names(units, rows=rows)})")
    return f" A letter in a box marks what the eye saw: {'; '.join(told)}." if told else ""


def _ends(rows: Sequence[UnitRow], *, known: Mapping[str, str]) -> tuple[str, str]:
    ordered = sorted(rows, key=lambda row: row.deviation_percent or 0)
    low, high = (
        f"{known[row.unit]} ({signed_beside(row.deviation_percent, limits=(), decimals=1)} %)"
        for row in (ordered[0], ordered[-1])
    )
    return low, high


def mass_caption(judged: JudgedBatch, series: Series) -> str:
    """How many masses lie within the limits, what was found of a change, and which units could not be placed."""
    outside = [point.unit for point in series.points if point.outside]
    mean = mean_mass_g(judged)
    limit = judged.mass_limit_percent
    total = len(series.points)
    if mean is None or limit is None:
        told = f"{counted(total, 'mass', 'masses')} in pour order; no limit was judged"
    elif outside:
        told = (
            f"{len(outside)} of {counted(total, 'mass', 'masses')} {'lies' if len(outside) == 1 else 'lie'} beyond "
            f"{plain_limit(limit)} % of the mean of {fixed(mean, decimals=3)} g: "
            f"{short_names(outside, rows=judged.unit_rows)}"
        )
    else:
        about = f"{plain_limit(limit)} % of the mean of {fixed(mean, decimals=3)} g"
        told = f"All {counted(total, 'mass', 'masses')} lie within {about}"
    trend = judged.pour_trend.mass if judged.pour_trend else None
    return told + _change(trend) + _not_placed(series, rows=judged.unit_rows)


def content_caption(judged: JudgedBatch, series: Series, *, active: str) -> str:
    """How many contents lie within the limits about the mean, and what was found of a change."""
    outside = [point.unit for point in series.points if point.outside]
    limit = judged.content_inner_percent
    total = counted(len(series.points), "unit")
    if limit is None:
        told = f"{total} assayed, in pour order; no limit about the mean was judged"
    elif outside:
        told = (
            f"{len(outside)} of {total} assayed {'lies' if len(outside) == 1 else 'lie'} more than "
            f"{plain_limit(limit)} % from the mean: {short_names(outside, rows=judged.unit_rows)}"
        )
    else:
        told = f"All {total} assayed lie within {plain_limit(limit)} % of the mean; the label is a separate line"
    trend = judged.pour_trend.content.get(active) if judged.pour_trend else None
    return told + _change(trend) + _not_placed(series, rows=judged.unit_rows)


def _change(trend: Trend | None) -> str:
    if trend is None:
        return "."
    return " ".join([".", *(said(words(part)) for part in (trend.sentence, trend.picture) if part)])


def _not_placed(series: Series, *, rows: Sequence[UnitRow]) -> str:
    if not series.not_placed:
        return ""
    return f" Not drawn, for want of a pour order: {short_names(series.not_placed, rows=rows)}."


def scatter_caption(rows: Sequence[tuple[UnitRow, float, float]]) -> str:
    """How to read mass against content, with the ranges of this batch."""
    masses = [mass for _, mass, _ in rows]
    contents = [content for _, _, content in rows]
    return (
        f"{counted(len(rows), 'unit')}: masses run over {percent(_range(masses), decimals=1)} of their mean, "
        f"contents over {percent(_range(contents), decimals=1)}; along the dashed line the dose follows the fill, "
        f"away from it the mix differs."
    )


def _range(values: Sequence[float]) -> float:
    return (max(values) - min(values)) / (sum(values) / len(values)) * 100


def plane_caption(judged: JudgedBatch, *, active: str) -> str:
    """Where the sample stands with regard to the edge of acceptance."""
    edges = " and ".join(str(edge.n) for edge in boundaries_of(judged, active))
    test = dosage_test(judged, active)
    if test is None:
        return f"Edges of acceptance for {edges} units; this sample has no mean and standard deviation to place."
    value = test.figures.get("acceptance_value")
    shown = f" (acceptance value {fixed(value, decimals=1)})" if value is not None else ""
    return (
        "Samples under the line of their number of units pass on mean and spread; "
        f"this sample of {test.n} units stands at mean {fixed(test.figures['mean_percent'], decimals=1)} %, "
        f"SD {fixed(test.figures['sd_percent'], decimals=2)} %{shown}: {test_verdict(test)}."
    )
