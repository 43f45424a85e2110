"""The seal of a result: digests of the input, the result and the rules, who entered what, and how it was asked for.

The digest of a result is that of the bytes which `--json` writes, so that it can be had again with a general program.
Whoever rewrites every file and every digest leaves no trace here; the seal finds what does not belong together.
"""

from __future__ import annotations

import hashlib
import json
from base64 import b64decode, b64encode
from collections.abc import Mapping
from datetime import datetime
from decimal import Decimal
from pathlib import Path
from typing import Annotated, Any
from zlib import compress, decompressobj
from zlib import error as zlib_error

from msgspec import Meta, Struct, ValidationError, convert, to_builtins

from qc import __version__
from qc.batch import Source, Superseded
from qc.document import as_text
from qc.fields.words import MassUnit
from qc.history.kept import kept, read_back
from qc.readers.options import DecimalMark, ReadOptions, RowOrder
from qc.results import JudgedBatch
from qc.rules.rule_books import RuleDigest, SetDigest, is_house_file, rule_digests, set_digest

SEAL = "seal"
MOST_BYTES = 2**29
"""Of a judged batch out of a seal; one of 50,000 units takes a tenth of it."""
OPTIONS = ("form", "label_mg", "displacement", "decimal", "separator", "sheet", "order", "mass_unit", "batch", "ignore")
_Value = str | int | float | bool | None


class SealedCall(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """How a batch was asked to be read and judged; a house file by its name, because its digest says which it was."""

    form: str | None
    label_mg: Decimal | None
    displacement: Decimal | None
    decimal: DecimalMark | None
    separator: str | None
    rules: str | None
    sheet: str | None = None
    order: RowOrder | None = None
    mass_unit: MassUnit | None = None
    batch: str | None = None
    ignore: tuple[str, ...] = ()
    blind: bool = False
    confirmed: Mapping[str, int] = {}
    """How often each cause was confirmed in the history that the causes were weighed with."""
    superseded: Superseded | None = None
    """What superseded the report of the input when it was judged, as far as that was known."""

    def options(self) -> ReadOptions:
        """The facts that the call gave, for a second reading."""
        return ReadOptions(**{name: getattr(self, name) for name in OPTIONS})


def call_of(
    options: ReadOptions,
    *,
    rules: str | None,
    blind: bool = False,
    confirmed: Mapping[str, int] = {},
    superseded: Superseded | None = None,
) -> SealedCall:
    """The facts of a call as they are kept."""
    facts = {name: getattr(options, name) for name in OPTIONS}
    return SealedCall(**facts, rules=rules, blind=blind, confirmed=confirmed, superseded=superseded)


class EnteredBy(Struct, frozen=True, kw_only=True):
    """Who made the batch, weighed its units, and checked the entries."""

    made_by: str | None
    weighed_by: str | None
    checked_by: str | None


class Seal(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """What belongs to a result.

    Parameters
    ----------
    input : Source or None
        The file that was judged; None for a batch that was read from none.
    result_sha256 : str
        Digest of the result document without the seal.
    rule_set : SetDigest
    rules : dict of RuleDigest
        By id.
    asked : SealedCall
    qc_version : str
    entered_by : EnteredBy
    judged_at : str
        When it was judged, with the difference to universal time: 2026-11-26T14:03:00+01:00.
    drawn_from : str
        What the pages of a report were drawn from, as `packed` makes it; empty beside a result that has no pages.
    """

    input: Source | None
    result_sha256: str
    rule_set: SetDigest
    rules: dict[str, RuleDigest]
    asked: SealedCall
    qc_version: str
    entered_by: EnteredBy
    judged_at: str = ""
    drawn_from: str = ""


class Asked(Struct, frozen=True, kw_only=True):
    """How a batch was to be read and by which rules it was to be judged: what a second judging needs to be the same.

    `rules` is what was meant in the end: what the call says, else what the batch names, else None for the default set.
    `at` is when it was judged, `blind` whether the causes were left out, `confirmed` what the history knew of them.
    """

    options: ReadOptions
    rules: str | Path | None
    at: datetime
    blind: bool = False
    confirmed: Mapping[str, int] = {}


def result_sha256(document: Mapping[str, object]) -> str:
    """SHA-256 of a result document, of the bytes that `--json` writes; a seal in it is left out.

    Examples
    --------
    >>> result_sha256({"verdict": "complies", "seal": {}}) == result_sha256({"verdict": "complies"})
    True
    """
    bare = {key: value for key, value in document.items() if key != SEAL}
    return hashlib.sha256(as_text(bare).encode()).hexdigest()


def packed(judged: JudgedBatch) -> str:
    """A judged batch as text that `unpacked` gives back equal."""
    return b64encode(compress(json.dumps(kept(judged)).encode(), level=9)).decode()


def unpacked(text: str) -> JudgedBatch:
    """The judged batch of a seal.

    Raises
    ------
    ValueError
        When it is none that this version knows.
    """
    opened = decompressobj()
    try:
        found = read_back(json.loads(opened.decompress(b64decode(text, validate=True), MOST_BYTES)))
    except (zlib_error, TypeError, LookupError, ArithmeticError, ImportError, RecursionError) as fault:
        raise ValueError(str(fault)) from fault
    if not isinstance(found, JudgedBatch):
        raise ValueError("it holds no judged batch")
    return found


def sealed(
    document: Mapping[str, object], *, judged: JudgedBatch, asked: Asked, drawn: JudgedBatch | None = None
) -> dict[str, object]:
    """A result document with its seal.

    Parameters
    ----------
    document : mapping
        The result document, with its `input` part.
    judged : JudgedBatch
        The judged batch of that document.
    asked : Asked
        How it was asked for.
    drawn : JudgedBatch, optional
        What the pages of its report are drawn from.

    Returns
    -------
    dict
        The document with `seal`, the fields of `Seal`.

    Raises
    ------
    qc.rules.strict_records.RuleProblem
        When the file of the house rules is not there any more.
    """
    batch, options, rules = judged.batch, asked.options, asked.rules
    seal = Seal(
        input=batch.source if "input" in document else None,
        result_sha256=result_sha256(document),
        rule_set=set_digest(rules),
        rules=rule_digests((rule.id for rule in judged.rules_used), rules=rules),
        asked=call_of(
            options,
            rules=None if rules is None else Path(rules).name if is_house_file(rules) else str(rules),
            blind=asked.blind,
            confirmed=asked.confirmed,
            superseded=batch.superseded,
        ),
        qc_version=__version__,
        entered_by=convert(batch, EnteredBy, from_attributes=True),
        judged_at=asked.at.isoformat(timespec="seconds"),
        drawn_from="" if drawn is None else packed(drawn),
    )
    return {**document, SEAL: to_builtins(seal)}


class _FiledUnit(Struct):
    unit: str
    contents: dict[str, dict[str, Any]] = {}


class _FiledTest(Struct):
    id: str
    rule: str
    verdict: str
    figures: dict[str, Any]
    sample: list[Any]
    outside: list[_FiledUnit]
    active: str | None
    subject: str | None = None


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
    """The parts of a result that are read again; others are not looked at."""

    schema: str
    qc_version: str
    batch: dict[str, Any]
    rule_set: str
    seed: Annotated[int, Meta(ge=0)]
    verdict: str
    tests: list[_FiledTest]
    units: list[_FiledUnit]
    planned_mass: dict[str, Any] | None
    seal: Seal
    input: dict[str, Any] | None = None
    supersedes: _FiledSupersedes | None = None


def seal_of(document: Mapping[str, Any]) -> Seal | None:
    """The seal of a document read from a file; None where the document has not the form of a sealed result."""
    try:
        return convert(document, _FiledResult).seal
    except ValidationError:
        return None
