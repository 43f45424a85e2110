"""Whether a document has the form of a sealed result, so that what reads it afterwards need not doubt every part."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from msgspec import Struct, ValidationError, convert

_Value = str | int | float | bool | None


class _FiledFile(Struct):
    name: str
    sha256: str


class _FiledTest(Struct):
    id: str
    rule: str
    verdict: str
    figures: dict[str, Any]
    sample: list[Any]
    outside: list[_FiledUnit]
    active: str | None
    subject: str | None = None


class _FiledUnit(Struct):
    unit: str
    contents: dict[str, dict[str, Any]] = {}


class _FiledRuleSet(Struct):
    id: str
    file: str
    sha256: str


class _FiledRule(Struct):
    edition: str
    file: str
    sha256: str


class _FiledCall(Struct):
    form: str | None
    label_mg: str | None
    displacement: str | None
    decimal: str | None
    separator: str | None
    rules: str | None


class _FiledNames(Struct):
    made_by: str | None
    weighed_by: str | None
    checked_by: str | None


class _FiledSeal(Struct):
    input: _FiledFile | None
    result_sha256: str
    rule_set: _FiledRuleSet
    rules: dict[str, _FiledRule]
    asked: _FiledCall
    qc_version: str
    entered_by: _FiledNames


class _FiledDifference(Struct):
    where: str
    what: str
    before: _Value
    after: _Value


class _FiledSupersedes(Struct):
    result_sha256: str
    verdict: str
    because: str
    differences: list[_FiledDifference]


class _FiledResult(Struct):
    schema: str
    qc_version: str
    batch: dict[str, Any]
    rule_set: str
    seed: int
    verdict: str
    tests: list[_FiledTest]
    units: list[_FiledUnit]
    planned_mass: dict[str, Any] | None
    seal: _FiledSeal
    input: dict[str, Any] | None = None
    supersedes: _FiledSupersedes | None = None


def is_sealed_result(document: Mapping[str, Any]) -> bool:
    """Whether every part that is read again has its kind; parts that are not named here are not looked at.

    Parameters
    ----------
    document : mapping
        A document read from a file.
    """
    try:
        convert(document, _FiledResult)
    except ValidationError:
        return False
    return True
