"""The record of the harmonised rule on uniformity of dosage units, about the label claim."""

from __future__ import annotations

from decimal import Decimal
from enum import StrEnum
from typing import Annotated

from qc.rules.records import FormRow, Rule
from qc.rules.schema import About

_STAGE = "The sizes of the stages belong to the counts and constants of the rule"
_REFERENCE = "A narrower range moves the centre of the bound on single units, and could let one pass that fails"
_ROUTE = "Another route can turn a failure into a pass; content uniformity may always be chosen by giving assays"


class Route(StrEnum):
    """How the content of a unit is found for the dosage-unit test."""

    CONTENT = "content uniformity"
    MASS = "mass variation"


class RouteRow(FormRow, frozen=True, kw_only=True):
    """A row of the table of forms: which route a form takes at or above the dose threshold, and otherwise."""

    at_threshold: Route
    otherwise: Route

    def said(self, rule: Rule) -> str:
        """Both routes."""
        return f"{self.at_threshold}, {self.otherwise}"


class AcceptanceRule(Rule, frozen=True, kw_only=True):
    """What every test by an acceptance value states: its limits [% of label], the range of M, and its rounding."""

    l1_percent: Decimal
    l2_percent: Decimal
    reference_low_percent: Decimal
    reference_high_percent: Decimal
    rounding_decimals: int

    @property
    def l1_below(self) -> Decimal:
        """What an acceptance value stays below that is at most L1 once it is rounded, a five going up [% of label]."""
        return self.l1_percent + Decimal(1).scaleb(-self.rounding_decimals) / 2

    def reference_ends(self, target_percent: Decimal) -> tuple[Decimal, Decimal]:
        """The least and the greatest M [% of label]; the upper end is the target T where that lies higher."""
        return self.reference_low_percent, max(self.reference_high_percent, target_percent)


class DosageUnitRule(AcceptanceRule, frozen=True, kw_only=True):
    """Harmonised uniformity of dosage units: AV = |M - mean| + k s against L1, single units against L2 at stage 2."""

    first_size: Annotated[int, About("units of the first stage", fixed=_STAGE)]
    second_size: Annotated[int, About("further units of the second stage", fixed=_STAGE)]
    first_k: Annotated[Decimal, About("constant k, first stage", fixed=_STAGE)]
    second_k: Annotated[Decimal, About("constant k, all stages", fixed=_STAGE, not_above="first_k")]
    l1_percent: Annotated[
        Decimal, About("greatest acceptance value L1", tighter="less", positive=True, below="l2_percent")
    ]
    l2_percent: Annotated[Decimal, About("bound on single units L2", "% of M", tighter="less")]
    reference_low_percent: Annotated[
        Decimal, About("reference range from", "% of label", fixed=_REFERENCE, below="reference_high_percent")
    ]
    reference_high_percent: Annotated[Decimal, About("reference range to", "% of label", fixed=_REFERENCE)]
    rounding_decimals: Annotated[int, About("decimals of AV", fixed="Lower l1_percent instead")]
    mass_route_dose_mg: Annotated[Decimal, About("threshold: dose from", "mg", fixed=_ROUTE)]
    mass_route_fraction_percent: Annotated[Decimal, About("threshold: share from", "% of the mass", fixed=_ROUTE)]
    routes: Annotated[
        tuple[RouteRow, ...], About("routes, by form: at or above both thresholds, and otherwise", fixed=_ROUTE)
    ]


def route_for(rule: DosageUnitRule, *, form: str, at_threshold: bool) -> Route | None:
    """How the table of forms lets the contents of an active be found.

    Parameters
    ----------
    rule : DosageUnitRule
        The record with the table.
    form : str
        Canonical name of the dosage form.
    at_threshold : bool
        Whether the active reaches both the dose and the share of mass that the rule names.

    Returns
    -------
    Route or None
        None where the table does not name the form. Content uniformity may be used for every form, so a reader who
        finds None uses that.
    """
    for row in rule.routes:
        if form in row.forms:
            return row.at_threshold if at_threshold else row.otherwise
    return None
