"""The rules as pages of plain text: all of them in a table, one of them clause by clause, a set line by line."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Mapping
from decimal import Decimal
from itertools import groupby
from types import MappingProxyType

from qc.rules.built_in import load_rule, load_set, rule_ids, set_ids
from qc.rules.display import plain
from qc.rules.mass_bands import range_in_words
from qc.rules.records import (
    AnyRule,
    Asks,
    ContentRule,
    DosageUnitRule,
    Mark,
    MassRule,
    MeanMassRule,
    Reference,
    Route,
    RuleSet,
)
from qc.rules.release_listing import release_figures

WIDTH = 80
_INDENT = 2

# A mark keeps together at the end of a line; the gap becomes a plain space once the text is wrapped.
_GAP = "\N{NO-BREAK SPACE}"

_MARKS_EXPLAINED = (
    "seen: read in a copy of the text. from memory: not read, to be checked before anything rests on it. "
    "our reading: the text leaves it open. The pharmacopoeia in force always goes before these records."
)

TEST_NAMES: Mapping[str, str] = MappingProxyType(
    {
        "mass-uniformity": "Uniformity of mass",
        "content-uniformity": "Uniformity of content, about the sample's own average",
        "dosage-unit-uniformity": "Uniformity of dosage units, about the label claim",
        "mean-mass": "Mean mass, against the planned mass",
        "disintegration": "Disintegration",
        "softening-time": "Softening time",
        "resistance-to-rupture": "Resistance to rupture",
        "batch-assay": "Assay of a pooled sample",
        "release-check": "Other checks, with a limit of the laboratory",
        "visual-inspection": "Visual inspection, by an attribute sampling plan",
        "packing-checklist": "Packing and label",
        "reconciliation": "Reconciliation: what went in, what came out",
    }
)


def list_rules() -> str:
    """All built-in rules with source and mark, test by test, and all rule sets, in 80 columns."""
    rules = [load_rule(id) for id in rule_ids()]
    lines: list[str] = []
    for test, name in TEST_NAMES.items():
        lines += [f"{name} ({test})"]
        for rule in rules:
            if rule.test == test:
                source = f"{rule.reference.work}, {rule.reference.section}"
                lines += _row((rule.id, 18), (source, 42), (rule.reference.mark.value, 12))
        lines.append("")
    lines += ["Rule sets: which rules judge a batch"]
    for id in set_ids():
        lines += _row((id, 18), (load_set(id).title, 56))
    lines += [
        "",
        *_paragraph(_MARKS_EXPLAINED),
        "",
        *_paragraph('"qc rules ID" shows a rule or a set clause by clause.'),
    ]
    return "\n".join(lines) + "\n"


def show_rule(id: str) -> str:
    """One built-in rule, clause by clause, with its limits and sources.

    Raises
    ------
    RuleProblem
        When no rule has that id; the message names the nearest.
    """
    return rule_page(load_rule(id))


def show_set(id: str) -> str:
    """One built-in rule set, line by line.

    Raises
    ------
    RuleProblem
        When no set has that id; the message names the nearest.
    """
    return set_page(load_set(id))


def rule_page(rule: AnyRule) -> str:
    """A rule, built-in or of a house, as a page of 80 columns: source, clauses, limits."""
    lines = [rule.id, *_paragraph(rule.title, indent=0), "", *_source(rule.reference)]
    lines += _row(("Judged as", 9), (rule.test, 65))
    if rule.builds_on:
        lines += _row(("Builds on", 9), (rule.builds_on, 65))
        for number, change in enumerate(rule.differs):
            lines += _row(("Differs" if number == 0 else "", 9), (change, 65))
    lines += ["", "Clauses"]
    for clause in rule.clauses:
        lines += _row((clause.number, 3), (f"{clause.text} {_marked(clause.mark)}", 71))
    lines += ["", *_figures(rule), "", *_paragraph(_MARKS_EXPLAINED)]
    return "\n".join(lines) + "\n"


def set_page(rule_set: RuleSet) -> str:
    """A rule set as a page of 80 columns: which rule it asks for, of which forms and doses."""
    lines = [rule_set.id, *_paragraph(rule_set.title, indent=0), ""]
    if rule_set.reference is not None:
        lines += [*_source(rule_set.reference), ""]
    lines += ["Asks for"]
    for ask in rule_set.asks:
        lines += _row((ask.rule, 18), (f"{_asked_in_words(ask)} {_marked(ask.mark)}", 56))
    if rule_set.notes:
        lines += ["", "Notes"]
        for note in rule_set.notes:
            lines += _paragraph(note)
    return "\n".join(lines) + "\n"


def _source(reference: Reference) -> list[str]:
    rows = (
        ("Work", reference.work),
        ("Section", reference.section),
        ("Edition", reference.edition),
        ("Read in", reference.read_in),
        ("Mark", reference.mark.value),
    )
    return [line for name, text in rows if text for line in _row((name, 9), (text, 65))]


def _figures(rule: AnyRule) -> list[str]:
    match rule:
        case MassRule():
            return _mass_figures(rule)
        case ContentRule():
            return _content_figures(rule)
        case DosageUnitRule():
            return _dosage_unit_figures(rule)
        case MeanMassRule():
            return [
                "Figures",
                *_pairs((("limit on the mean mass", f"{_percent(rule.limit_percent)} of the planned mass"),)),
            ]
        case _:
            return ["Figures", *_pairs(release_figures(rule))]


def _mass_figures(rule: MassRule) -> list[str]:
    lines = [
        "Figures",
        *_pairs(
            (
                ("units in the sample", str(rule.sample_size)),
                ("compared with", rule.basis.value),
                ("may lie beyond the limit", str(rule.most_beyond_limit)),
                ("may lie beyond the outer limit", str(rule.most_beyond_outer)),
            )
        ),
        "",
        "Limits, by form and mass",
    ]
    for forms, bands in groupby(rule.bands, key=lambda band: band.forms):
        lines += _paragraph(", ".join(forms))
        for band in bands:
            limits = f"{_percent(band.limit_percent):>7}, outer {_percent(band.outer_percent)}"
            lines += _row(("", 2), (range_in_words(band), 37), (f"{limits:<22} [{band.mark.value}]", 35))
    for exemption in rule.exemptions:
        lines += ["", "Left to another test"]
        mass = "at every mass" if exemption.up_to_mg is None else f"up to {plain(exemption.up_to_mg)} mg"
        lines += _paragraph(f"{', '.join(exemption.forms)}, {mass}: {exemption.reason} {_marked(exemption.mark)}")
    return lines


def _content_figures(rule: ContentRule) -> list[str]:
    pairs = [("forms", ", ".join(rule.forms)), ("units in the first stage", str(rule.first_size))]
    if rule.inner_applies:
        pairs.append(("inner limits", _about(rule.inner_percent, "average")))
    pairs.append(("outer limits", _about(rule.outer_percent, "average")))
    if rule.mean_low_percent is not None and rule.mean_high_percent is not None:
        bounds = f"{plain(rule.mean_low_percent)} to {plain(rule.mean_high_percent)} % of the label claim"
        pairs.append(("the average itself", bounds))
    if rule.inner_applies:
        pairs.append(("passes with", _allowed(rule.passes_with)))
    if rule.second_size:
        pairs += [
            ("a second stage follows with", f"up to {rule.continues_with} outside the inner limits"),
            ("units added at the second stage", str(rule.second_size)),
            (
                "all together pass with",
                f"up to {rule.second_passes_with} outside the inner limits, none outside the outer",
            ),
        ]
    else:
        pairs.append(("second stage", "none"))
    return ["Figures", *_pairs(pairs)]


def _allowed(number: int) -> str:
    inner = f"up to {number}" if number else "none"
    return f"{inner} outside the inner limits, none outside the outer"


def _dosage_unit_figures(rule: DosageUnitRule) -> list[str]:
    both = rule.first_size + rule.second_size
    low, high = plain(rule.reference_low_percent), plain(rule.reference_high_percent)
    lines = [
        "Figures",
        *_pairs(
            (
                ("units, first stage", f"{rule.first_size}, with k = {plain(rule.first_k)}"),
                (
                    "units, second stage",
                    f"{both} in all, with k = {plain(rule.second_k)}",
                ),
                ("greatest acceptance value L1", plain(rule.l1_percent)),
                ("single units at the second stage L2", f"{plain(rule.l2_percent)} % of M to either side"),
                ("the mean is its own reference", f"from {low} to {high} % of label"),
                ("rounded before comparison", f"to {rule.rounding_decimals} decimal"),
                ("threshold for mass variation", _threshold(rule)),
            )
        ),
        "",
        "Routes, by form: at or above that threshold, and otherwise",
    ]
    short = {Route.CONTENT: "content", Route.MASS: "mass"}
    for row in rule.routes:
        routes = f"{short[row.at_threshold]}, {short[row.otherwise]}"
        lines += _row((", ".join(row.forms), 42), (f"{routes:<17} [{row.mark.value}]", 32))
    return lines


def _threshold(rule: DosageUnitRule) -> str:
    dose, share = plain(rule.mass_route_dose_mg), plain(rule.mass_route_fraction_percent)
    return f"{dose} mg or more and {share} % or more of the mass"


def _asked_in_words(ask: Asks) -> str:
    """One line of a set as a sentence: whether it must be judged, of which forms, of which actives."""
    must = "required" if ask.required else "judged where its inputs are there"
    parts = [f"{must}; {', '.join(ask.forms) if ask.forms else 'every form'}"]
    under = _under_in_words(ask)
    if ask.actives == "under":
        parts.append(f"asked of actives of {under}")
    if ask.unless_all_under:
        parts.append(f"waived where every active is of {under}")
    return "; ".join(parts)


def _under_in_words(ask: Asks) -> str:
    words = [
        f"{_percent(value, unit=unit)} or less{of}" if ask.inclusive else f"less than {_percent(value, unit=unit)}{of}"
        for value, unit, of in (
            (ask.dose_below_mg, "mg", ""),
            (ask.fraction_below_percent, "%", " of the unit's mass"),
        )
        if value is not None
    ]
    return " or ".join(words)


def _percent(value: Decimal, *, unit: str = "%") -> str:
    return f"{plain(value)} {unit}"


def _about(half_width: Decimal, centre: str) -> str:
    return f"{plain(100 - half_width)} to {plain(100 + half_width)} % of the {centre}"


def _pairs(pairs: Iterable[tuple[str, str]]) -> list[str]:
    return [line for name, text in pairs for line in _row((name, 35), (text, 39))]


def _marked(mark: Mark) -> str:
    return f"[{mark.value}]".replace(" ", _GAP)


def _paragraph(text: str, *, indent: int = _INDENT) -> list[str]:
    return [" " * indent + line for line in _wrapped(text, WIDTH - indent)]


def _wrapped(text: str, width: int) -> list[str]:
    lines = textwrap.wrap(text, width, break_on_hyphens=False)
    return [line.replace(_GAP, " ") for line in lines] or [""]


def _row(*cells: tuple[str, int]) -> list[str]:
    """One row of a table, each cell wrapped to its width."""
    columns = [_wrapped(text, width) for text, width in cells]
    height = max(len(column) for column in columns)
    lines: list[str] = []
    for number in range(height):
        parts = [
            (column[number] if number < len(column) else "").ljust(width)
            for column, (_, width) in zip(columns, cells, strict=True)
        ]
        lines.append((" " * _INDENT + "  ".join(parts)).rstrip())
    return lines
