"""The clauses of the rules: as the report cites them, and those that say how a house differs."""

from __future__ import annotations

SENTENCES = {
    "clause": "{clause.number}. {clause.text}« [{mark}]»",
    "band": "Limit of {band.forms:listed}, {band.masses}: {band.limit_percent:plain} %, outer "
    "{band.outer_percent:plain} %« [{mark}]».",
    "house_first": "Where a clause of the house differs from a published one below, the clause of the house holds.",
    "figure_set": "{figure:opening}: {after}« for {where}» in this house; {base} has {before}.",
    "form_added": "Added in this house: {line}.",
}
