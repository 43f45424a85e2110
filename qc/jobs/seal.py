"""The seal of a result: digests of the input, the result and the rules, who entered what, and how it was asked for.

The digest of a result is that of the bytes which `--json` writes, so that it can be had again with a general program.
Whoever rewrites every file and every digest leaves no trace here; the seal finds what does not belong together.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from pathlib import Path

from msgspec import Struct

from qc import __version__
from qc.document import as_text
from qc.readers.options import ReadOptions
from qc.results import JudgedBatch
from qc.rules.rule_books import is_house_file, rule_digests, set_digest

SEAL = "seal"


class Asked(Struct, frozen=True, kw_only=True):
    """How a batch was to be read and by which rules it was to be judged: what a second judging needs to be the same.

    `rules` is what was meant in the end: what the call says, else what the batch names, else None for the default set.
    """

    options: ReadOptions
    rules: str | Path | None


def result_sha256(document: Mapping[str, object]) -> str:
    """SHA-256 of a result document, of the bytes that `--json` writes; a seal in it is left out.

    Examples
    --------
    >>> result_sha256({"verdict": "complies", "seal": {}}) == result_sha256({"verdict": "complies"})
    True
    """
    bare = {key: value for key, value in document.items() if key != SEAL}
    return hashlib.sha256(as_text(bare).encode()).hexdigest()


def sealed(document: Mapping[str, object], *, judged: JudgedBatch, asked: Asked) -> dict[str, object]:
    """A result document with its seal.

    Parameters
    ----------
    document : mapping
        The result document, with its `input` part.
    judged : JudgedBatch
        What it tells of.
    asked : Asked
        How it was asked for.

    Returns
    -------
    dict
        The document with `seal`: input, result_sha256, rule_set, rules, asked, qc_version, entered_by.

    Raises
    ------
    qc.rules.strict_records.RuleProblem
        When the file of the house rules is not there any more.
    """
    digests = rule_digests((rule.id for rule in judged.rules_used), rules=asked.rules)
    asked_for = set_digest(asked.rules)
    batch = judged.batch
    seal = {
        "input": document.get("input"),
        "result_sha256": result_sha256(document),
        "rule_set": {"id": judged.rule_set, "file": asked_for.file, "sha256": asked_for.sha256},
        "rules": {
            one.id: {
                "edition": one.edition,
                "file": one.file,
                "sha256": one.sha256,
                **({"builds_on": one.builds_on} if one.builds_on else {}),
            }
            for one in digests
        },
        "asked": _asked(asked),
        "qc_version": __version__,
        "entered_by": {
            "made_by": batch.made_by,
            "weighed_by": batch.weighed_by,
            "checked_by": batch.checked_by,
        },
    }
    return {**document, SEAL: seal}


def _asked(asked: Asked) -> dict[str, object]:
    """The call in plain values; a house file by its name alone, because its digest says which one it was."""
    rules = asked.rules
    options = asked.options
    return {
        "form": options.form,
        "label_mg": None if options.label_mg is None else str(options.label_mg),
        "displacement": None if options.displacement is None else str(options.displacement),
        "decimal": options.decimal,
        "separator": options.separator,
        "rules": None if rules is None else Path(rules).name if is_house_file(rules) else str(rules),
    }
