"""What a house may change in a published rule, and in which direction: only so that fewer samples comply."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from enum import Enum
from types import MappingProxyType
from typing import Any

from msgspec import Struct
from msgspec.structs import replace

from qc.rules.mass_bands import range_in_words
from qc.rules.records import (
    AnyRule,
    AssayRule,
    CheckRule,
    ContentRule,
    DosageUnitRule,
    Mark,
    MassBand,
    MassRule,
    MeanMassRule,
    PackingRule,
    ReconciliationRule,
    SamplingRule,
    StatedCheckRule,
)
from qc.rules.strict_records import Findings


class Tighter(Enum):
    """Which way a figure may be moved."""

    SMALLER = "or less"
    GREATER = "or more"


# One row a figure that a house may set: which way is tighter, and its name in a clause.
# With a larger mass sample the mean is that of more units, so the promise there is on the counts: as many units as
# before may lie beyond, among more.
TIGHTER: Mapping[type[AnyRule], Mapping[str, tuple[Tighter, str]]] = MappingProxyType(
    {
        MassRule: MappingProxyType(
            {
                "limit_percent": (Tighter.SMALLER, "limit on a single mass, in per cent,"),
                "outer_percent": (Tighter.SMALLER, "outer limit on a single mass, in per cent,"),
                "sample_size": (Tighter.GREATER, "number of units weighed"),
                "most_beyond_limit": (Tighter.SMALLER, "number of units that may lie beyond the limit"),
                "most_beyond_outer": (Tighter.SMALLER, "number of units that may lie beyond the outer limit"),
            }
        ),
        ContentRule: MappingProxyType(
            {
                "inner_percent": (Tighter.SMALLER, "inner limit on a single content, in per cent of the average,"),
                "outer_percent": (Tighter.SMALLER, "outer limit on a single content, in per cent of the average,"),
                "passes_with": (Tighter.SMALLER, "number outside the inner limits with which the first stage passes"),
                "continues_with": (Tighter.SMALLER, "number outside up to which a second stage follows"),
                "second_passes_with": (Tighter.SMALLER, "number outside with which the second stage passes"),
                "mean_low_percent": (Tighter.GREATER, "lower bound of the average, in per cent of label,"),
                "mean_high_percent": (Tighter.SMALLER, "upper bound of the average, in per cent of label,"),
            }
        ),
        DosageUnitRule: MappingProxyType(
            {
                "l1_percent": (Tighter.SMALLER, "greatest acceptance value (L1)"),
                "l2_percent": (Tighter.SMALLER, "bound on single units at the second stage (L2)"),
            }
        ),
        MeanMassRule: MappingProxyType(
            {"limit_percent": (Tighter.SMALLER, "limit on the mean mass, in per cent of the planned mass,")}
        ),
        AssayRule: MappingProxyType(
            {
                "low_percent": (Tighter.GREATER, "lower limit of the assay, in per cent of label,"),
                "high_percent": (Tighter.SMALLER, "upper limit of the assay, in per cent of label,"),
            }
        ),
        SamplingRule: MappingProxyType(
            {
                "inspection_level": (Tighter.GREATER, "general inspection level"),
                "aql_critical_percent": (Tighter.SMALLER, "acceptable quality limit of critical defects, in per cent,"),
                "aql_major_percent": (Tighter.SMALLER, "acceptable quality limit of major defects, in per cent,"),
                "aql_minor_percent": (Tighter.SMALLER, "acceptable quality limit of minor defects, in per cent,"),
            }
        ),
        ReconciliationRule: MappingProxyType(
            {
                "yield_low_percent": (Tighter.GREATER, "least yield, in per cent of the theoretical yield,"),
                "yield_high_percent": (Tighter.SMALLER, "greatest yield, in per cent of the theoretical yield,"),
                "unaccounted_percent": (Tighter.SMALLER, "part of the melt not accounted for, in per cent,"),
                "recovery_low_percent": (Tighter.GREATER, "least active found, in per cent of that weighed,"),
                "recovery_high_percent": (Tighter.SMALLER, "most active found, in per cent of that weighed,"),
            }
        ),
        CheckRule: MappingProxyType({}),
        StatedCheckRule: MappingProxyType({}),
        PackingRule: MappingProxyType({}),
    }
)

_STAGE = "The sizes of the stages belong to the counts and constants of the rule"
_REFERENCE = "A narrower range moves the centre of the bound on single units, and could let one pass that fails"
_ROUTE = "Another route can turn a failure into a pass; content uniformity may always be chosen by giving assays"

# Figures that a house may not set, each with the reason.
FIXED: Mapping[type[AnyRule], Mapping[str, str]] = MappingProxyType(
    {
        MassRule: MappingProxyType(
            {
                "basis": "Another basis is another test",
                "bands": 'Set limit_percent for "forms"; a form without a row is added under adds_form',
                "exemptions": "What the book leaves to another test stays there",
            }
        ),
        ContentRule: MappingProxyType(
            {
                "first_size": _STAGE,
                "second_size": _STAGE,
                "inner_applies": "Another set of limits is another test",
            }
        ),
        DosageUnitRule: MappingProxyType(
            {
                "first_size": _STAGE,
                "second_size": _STAGE,
                "first_k": _STAGE,
                "second_k": _STAGE,
                "reference_low_percent": _REFERENCE,
                "reference_high_percent": _REFERENCE,
                "rounding_decimals": "Lower l1_percent instead",
                "mass_route_dose_mg": _ROUTE,
                "mass_route_fraction_percent": _ROUTE,
                "routes": _ROUTE,
            }
        ),
        MeanMassRule: MappingProxyType({}),
        AssayRule: MappingProxyType({}),
        SamplingRule: MappingProxyType(
            dict.fromkeys(("letters", "codes", "columns"), "The tables of the standard belong together")
            | {"inspect_all_up_to": "Look at more units instead; all that were looked at count"}
        ),
        ReconciliationRule: MappingProxyType({}),
        CheckRule: MappingProxyType(
            dict.fromkeys(("limits", "sample_size"), "Enter the tighter limit beside the result; it is met besides")
        ),
        StatedCheckRule: MappingProxyType({}),
        PackingRule: MappingProxyType({"items": "Add a line with a [[packing]] table"}),
    }
)


class Change(Struct, frozen=True, kw_only=True):
    """One figure that a house set: where it holds, what it was, what it is."""

    name: str
    words: str
    where: str
    before: Decimal | int | None
    after: Decimal | int

    @property
    def short(self) -> str:
        """As a line, for example "limit_percent of suppositories: 5 -> 4"."""
        place = f" of {self.where}" if self.where else ""
        return f"{self.name}{place}: {_figure(self.before)} -> {_figure(self.after)}"

    def sentence(self, *, base: str) -> str:
        """As a clause in words, naming the rule that it tightens."""
        place = f" for {self.where}" if self.where else ""
        before = f"{base} has {_figure(self.before)}" if self.before is not None else f"{base} has none"
        return f"The {self.words} is {_figure(self.after)}{place} in this house; {before}."


class Wish(Struct, frozen=True, kw_only=True):
    """The figures a house asks for, each at its key, and the forms a mass limit is for (empty: all of them)."""

    figures: Mapping[str, Decimal | int]
    forms: tuple[str, ...] = ()


def tighten(base: AnyRule, wish: Wish, *, at: str, findings: Findings) -> tuple[AnyRule, tuple[Change, ...]]:
    """A rule with the figures that a house asks for, and what has changed by them.

    Parameters
    ----------
    base : AnyRule
        The rule to tighten.
    wish : Wish
        The figures asked for.
    at : str
        Key of the house rule in its file.
    findings : Findings
        Takes a problem for every figure that is looser or that this kind of rule does not have.

    Returns
    -------
    tuple of AnyRule and tuple of Change
        The rule still bears the id and clauses of the base. Figures with a problem are as in the base.
    """
    table = TIGHTER[type(base)]
    changes: list[Change] = []
    fields: dict[str, Any] = {}
    for name, after in wish.figures.items():
        key = f"{at}.{name}"
        if name not in table:
            mend = f"It can set: {', '.join(table)}" if table else "Leave it out; no figure of this rule can be set"
            findings.add(key, f'a rule on {base.test} has no "{name}" that a house can set', mend)
        elif isinstance(base, MassRule) and name in _OF_A_BAND:
            bands, made = _tighter_bands(
                fields.get("bands", base.bands), name, wish, base=base, key=key, findings=findings
            )
            fields["bands"] = bands
            changes += made
        elif isinstance(base, ContentRule) and name == "inner_percent" and not base.inner_applies:
            findings.add(key, f"{base.id} bounds single contents by the outer limit alone", "Set outer_percent")
        else:
            before: Decimal | int | None = getattr(base, name)
            if _is_tighter(table[name][0], before, after, whose=base.id, key=key, findings=findings):
                fields[name] = after
                changes.append(Change(name=name, words=table[name][1], where="", before=before, after=after))
    if isinstance(base, ContentRule) and not base.inner_applies and "outer_percent" in fields:
        fields["inner_percent"] = fields["outer_percent"]
    return replace(base, **fields), tuple(changes)


_OF_A_BAND = ("limit_percent", "outer_percent")


def _tighter_bands(
    bands: tuple[MassBand, ...],
    name: str,
    wish: Wish,
    *,
    base: MassRule,
    key: str,
    findings: Findings,
) -> tuple[tuple[MassBand, ...], list[Change]]:
    """The rows with one limit lowered for the forms of the house; a row of several forms is split where it must be."""
    direction, words = TIGHTER[MassRule][name]
    after = Decimal(wish.figures[name])
    rows: list[MassBand] = []
    changes: list[Change] = []
    for band in bands:
        inside = tuple(form for form in band.forms if not wish.forms or form in wish.forms)
        outside = tuple(form for form in band.forms if form not in inside)
        before: Decimal = getattr(band, name)
        mass = range_in_words(band)
        where = ", ".join(inside) + ("" if mass == "every mass" else f" ({mass})")
        whose = f"{base.id} for {where}"
        if not inside or not _is_tighter(direction, before, after, whose=whose, key=key, findings=findings):
            rows.append(band)
            continue
        if outside:
            rows.append(replace(band, forms=outside))
        changed: dict[str, Any] = {name: after}
        rows.append(replace(band, forms=inside, mark=Mark.HOUSE, **changed))
        changes.append(Change(name=name, words=words, where=where, before=before, after=after))
    return tuple(rows), changes


def _is_tighter(
    direction: Tighter,
    before: Decimal | int | None,
    after: Decimal | int,
    *,
    whose: str,
    key: str,
    findings: Findings,
) -> bool:
    """Whether a figure moves in the tight direction; one that stays is no change, one that is looser is a problem."""
    if before is None:
        return True
    if after == before:
        return False
    if (after < before) is (direction is Tighter.SMALLER):
        return True
    found = f"{_figure(after)} is looser than the {_figure(before)} of {whose}"
    findings.add(key, found, f"Give {_figure(before)} {direction.value}")
    return False


def _figure(value: Decimal | int | None) -> str:
    return "none" if value is None else f"{value:f}" if isinstance(value, Decimal) else str(value)
