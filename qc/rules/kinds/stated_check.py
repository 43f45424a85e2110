"""A check with a limit of the laboratory's own, entered as a row of the Checks sheet."""

from __future__ import annotations

from typing import Annotated

from qc.rules.kind import Kind
from qc.rules.records import Rule
from qc.rules.schema import About
from qc.rules.strict_records import Findings


class StatedCheckRule(Rule, frozen=True, kw_only=True):
    """A check with a limit of the laboratory's own: the words that say it was met, and that it was not."""

    complies_words: Annotated[tuple[str, ...], About("words that say it was met")]
    fails_words: Annotated[tuple[str, ...], About("words that say it was not")]


class _StatedCheck(Kind[StatedCheckRule], frozen=True, kw_only=True):
    def note_misshapen(self, rule: StatedCheckRule, findings: Findings) -> None:
        both = sorted(set(rule.complies_words) & set(rule.fails_words))
        if both:
            findings.add(
                "fails_words",
                f'"{both[0]}" says both that a limit was met and was not',
                "Keep the word in one of the lists",
            )


KIND = _StatedCheck(record=StatedCheckRule, tests=("release-check",), place=7, of_units=False)
