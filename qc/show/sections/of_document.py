"""The parts made from the result document: what a correction changed in the report that it supersedes, and the seal."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from qc.results import BatchVerdict, Verdict
from qc.say.numbers import NOTHING, told_apart
from qc.say.text import counted, sentence, shortened
from qc.show.pieces import Lines, Piece, Prose, Section, column, facts, section, table

DIGITS_OF_DIGEST = 12
LONGEST_REASON = 200
TITLE = "What the correction changed"
NO_DIFFERENCE = "No verdict, figure, fact or unit differs."
HOW_TO_CHECK = (
    "qc verify with this folder checks all and evaluates it anew; sha256sum -c SHA256SUMS checks the files alone. "
    "Whoever rewrites every file and digest leaves no trace: keep the signed paper or SHA256SUMS elsewhere."
)
_VERDICTS = frozenset(verdict.value for verdict in (*BatchVerdict, *Verdict))
_NAMES = {
    "n": "units judged",
    "mean_g": "mean mass [g]",
    "sd_g": "SD of mass [g]",
    "mean_mg": "mean content [mg]",
    "sd_mg": "SD of content [mg]",
    "mean_percent": "mean content [% of label]",
    "sd_percent": "SD of content [% of label]",
    "rsd_percent": "relative SD [%]",
    "beyond_limit": "units beyond the limit",
    "beyond_double": "units beyond the outer limit",
    "beyond_inner": "units outside the inner limits",
    "beyond_outer": "units outside the outer limits",
    "inner_percent": "inner limit [%]",
    "outer_percent": "outer limit [%]",
    "k": "acceptability constant k",
    "reference_percent": "reference value M [% of label]",
    "target_percent": "target content T [% of label]",
    "acceptance_value": "acceptance value AV, unrounded",
    "acceptance_value_rounded": "acceptance value AV, rounded as the rule states",
    "l1_percent": "limit L1 [%]",
    "l2_percent": "limit L2 [%]",
    "single_low_percent": "lowest content allowed to one unit [% of label]",
    "single_high_percent": "highest content allowed to one unit [% of label]",
    "difference_percent": "difference from the planned mass [%]",
    "planned_g": "planned mass [g]",
    "in_mass_sample": "in the sample of the mass test",
}
_UNITS_OF_MEASURE = (("_percent", " [%]"), ("_mg", " [mg]"), (" mg", " [mg]"), ("_g", " [g]"))


def spelt(what: str) -> str:
    """A name of the result document in words, its unit of measure in brackets.

    Examples
    --------
    >>> spelt("sd_g"), spelt("nominal_mass_g"), spelt("weighed_by")
    ('SD of mass [g]', 'nominal mass [g]', 'weighed by')
    """
    if what in _NAMES:
        return _NAMES[what]
    for ending, unit in _UNITS_OF_MEASURE:
        if what.endswith(ending):
            return f"{what.removesuffix(ending).replace('_', ' ')}{unit}"
    return what.replace("_", " ")


def shown(value: object, *, beside: object) -> str:
    """A value of the result document rounded for reading, with as many digits as tell it from the one beside it.

    Examples
    --------
    >>> shown(2.0123456789, beside=2.5), shown(2.0123456789, beside=2.0123456788), shown(None, beside=2.5)
    ('2.012', '2.0123456789', 'nothing')
    >>> shown(2.4, beside=2.5), shown(12345.678, beside=None), shown(0.1 + 0.2, beside=0.3)
    ('2.4', '12346', '0.30000000000000004')
    """
    if value is None:
        return "nothing"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return told_apart(value, beside=beside)
    text = str(value)
    return text.replace("-", " ") if text in _VERDICTS else text


def superseded_block(document: Mapping[str, Any]) -> tuple[Lines, ...]:
    """The lines of page one on what this report supersedes; none where it supersedes nothing."""
    record = document.get("supersedes")
    if not isinstance(record, Mapping):
        return ()
    count = len(record["differences"])
    told = f"{counted(count, 'difference')}, listed on the next pages." if count else NO_DIFFERENCE
    return (Lines(title="This report supersedes", items=(*which(record, most=LONGEST_REASON), told)),)


def which(record: Mapping[str, Any], *, most: int | None = None) -> tuple[str, str]:
    """Which report is superseded, and why; a reason longer than `most` characters is cut."""
    because = record["because"] if most is None else shortened(record["because"], most=most)
    verdict = shown(record["verdict"], beside=None)
    told = f"Report {record['result_sha256'][:DIGITS_OF_DIGEST]}, whose verdict was: {verdict}."
    return told, sentence(f"Why: {because}")


def changes(document: Mapping[str, Any]) -> tuple[Section, ...]:
    """The part of the later pages that lists every difference to the superseded report."""
    record = document.get("supersedes")
    if not isinstance(record, Mapping):
        return ()
    differences = table(
        f"{counted(len(record['differences']), 'difference')} to the superseded report",
        record["differences"],
        column("Where", lambda one: one["where"]),
        column("What", lambda one: spelt(one["what"])),
        column("Before", lambda one: shown(one["before"], beside=one["after"])),
        column("Now", lambda one: shown(one["after"], beside=one["before"])),
    )
    return section(
        "changes",
        TITLE,
        Lines(items=which(record)),
        differences if record["differences"] else Prose(text=NO_DIFFERENCE),
    )


def day_and_minute(at: str) -> str:
    """A time of a seal as page one has it.

    Examples
    --------
    >>> day_and_minute("2026-11-26T12:00:00+00:00"), day_and_minute("")
    ('2026-11-26 12:00 UTC', '')
    """
    return f"{datetime.fromisoformat(at):%Y-%m-%d %H:%M %Z}" if at else ""


def seal_pieces(document: Mapping[str, Any], *, file_sha256: str) -> tuple[Piece, ...]:
    """The seal of a result document; nothing where it carries none.

    Parameters
    ----------
    document : mapping
        The result document.
    file_sha256 : str
        SHA-256 of the file result.json.
    """
    seal = document.get("seal")
    if not isinstance(seal, Mapping):
        return ()
    source: Mapping[str, Any] = seal["input"] or {}
    digests = [
        (f"Input: {source.get('name', 'made in memory')}", source.get("sha256", NOTHING)),
        ("Result: what --json writes", seal["result_sha256"]),
        ("File result.json", file_sha256),
        (f"Rules asked for: {seal['rule_set']['file']}", seal["rule_set"]["sha256"]),
        *((f"Rule {id}", record["sha256"]) for id, record in seal["rules"].items()),
    ]
    return (
        Prose(text=HOW_TO_CHECK),
        facts("Digests (SHA-256)", digests, what="Of what", value="SHA-256"),
        Lines(items=(_asked(seal),)),
    )


def _asked(seal: Mapping[str, Any]) -> str:
    given = [f"{name.replace('_', ' ')} {value}" for name, value in seal["asked"].items() if value is not None]
    at = seal.get("judged_at") or "a time not on record"
    return f"Asked for with: {', '.join(given)}; judged at {at}." if given else f"Judged at {at}."
