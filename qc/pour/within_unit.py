"""Tip, middle and end of the same units: did the active sink inside the unit before it set?"""

from __future__ import annotations

import math
from collections import defaultdict
from fractions import Fraction
from statistics import fmean, stdev

from msgspec.structs import replace

from qc.batch import Batch, Part
from qc.contents import Scale, active_named, determinations, scale_of, typed
from qc.results.messages import Message, message
from qc.results.pour import WithinUnit
from qc.stats.student import two_sided_p, two_sided_quantile

PAIRS = ((Part.TIP, Part.END), (Part.TIP, Part.MIDDLE), (Part.MIDDLE, Part.END))
CALLED = 0.05


def within_units(batch: Batch) -> tuple[WithinUnit, ...]:
    """The ratio of concentrations between two parts of the same unit, over units, with interval and test.

    Parameters
    ----------
    batch : Batch

    Returns
    -------
    tuple of WithinUnit
        One for each active and pair of parts assayed; empty when no parts were.

    Notes
    -----
    Calculated on logarithms: the mean log ratio over units with Student's interval, turned back into a ratio. The pairs
    of an active share the 5 % (Bonferroni), in the p-values and in the intervals.

    References
    ----------
    Student, The probable error of a mean, Biometrika 6 (1908) 1-25 (from memory), on paired differences of logarithms.
    """
    found = []
    for active in dict.fromkeys(assay.active for assay in batch.assays if assay.part is not Part.WHOLE):
        scale = scale_of(batch, active=active_named(batch, active), whole=False)
        if scale is None:
            found.append(_not_compared(active, message("parts.no_label", active=active)))
            continue
        parts, unweighed = _log_concentrations(batch, active, scale)
        spread = _between_units(parts)
        pairs = {
            (first, second): [of[first] - of[second] for of in parts.values() if first in of and second in of]
            for first, second in PAIRS
        }
        together = sum(len(ratios) > 1 for ratios in pairs.values())
        found += [
            _compared(active, *pair, ratios, spread, together=together) for pair, ratios in pairs.items() if ratios
        ]
        if not parts and unweighed:
            found.append(_not_compared(active, message("parts.unweighed", active=active)))
    return tuple(found)


def _not_compared(active: str, sentence: Message) -> WithinUnit:
    return WithinUnit(active=active, parts="tip, middle, end", n=0, ratio=None, sentence=sentence)


def _log_concentrations(batch: Batch, active: str, scale: Scale) -> tuple[dict[str, dict[Part, float]], bool]:
    """Log concentration of each part of each unit, and whether parts had to be left out for want of a mass."""
    by_part: dict[tuple[str, Part], list[float]] = defaultdict(list)
    unweighed = False
    for assay in determinations(batch, active=active_named(batch, active), whole=False):
        if assay.part_mass_g is None:
            unweighed = True
        elif (entry := typed(assay)) is not None and entry > 0:
            content = float(Fraction(entry) * scale.factor(assay))
            by_part[(assay.unit, assay.part)].append(content / float(assay.part_mass_g))
    units: dict[str, dict[Part, float]] = defaultdict(dict)
    for (unit, part), values in by_part.items():
        units[unit][part] = math.log(fmean(values))
    return dict(units), unweighed


def _between_units(parts: dict[str, dict[Part, float]]) -> float | None:
    """Spread of the units' own mean concentrations [% RSD]; None with fewer than three units of the same parts."""
    most = max((frozenset(of) for of in parts.values()), key=len, default=frozenset())
    means = [fmean(of.values()) for of in parts.values() if frozenset(of) == most]
    return 100 * stdev(means) if len(means) >= 3 else None


def _compared(
    active: str, first: Part, second: Part, ratios: list[float], spread: float | None, *, together: int
) -> WithinUnit:
    n, middle = len(ratios), fmean(ratios)
    ratio, what = math.exp(middle), f"{first.value} over {second.value}"
    found = WithinUnit(active=active, parts=what, n=n, ratio=ratio, between_units_percent=spread)
    if n < 2:
        return replace(found, sentence=message("parts.one_unit", active=active, parts=what, ratio=ratio))
    error = stdev(ratios) / math.sqrt(n)
    half = two_sided_quantile(1 - CALLED / together, df=n - 1) * error
    alone = two_sided_p(middle / error, df=n - 1) if error > 0 else float(middle == 0)
    p_value = min(1.0, together * alone)
    low, high = math.exp(middle - half), math.exp(middle + half)
    richer = first if ratio > 1 else second
    return replace(
        found,
        low=low,
        high=high,
        p_value=p_value,
        sentence=message(
            "parts.compared",
            active=active,
            parts=what,
            ratio=ratio,
            interval=(low, high),
            together=together if together > 1 else None,
            n=n,
            richer=richer.value if p_value <= CALLED else None,
            differ_percent=100 * abs(ratio - 1),
            between_units=spread,
        ),
    )
