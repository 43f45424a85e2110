"""What differs between two results: verdicts, figures, facts of the batch, and what was found of each unit."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Any

from msgspec import Struct

from qc.say.names import TEST, in_words
from qc.show.sections.of_document import shown, spelt

Document = Mapping[str, Any]
_OF_THE_OTHERS = ("unit", "deviation_percent", "contents")
"""What a record of a unit holds beside what was measured and seen: its name, and what others go into."""


class Difference(Struct, frozen=True, kw_only=True):
    """One place in which two results differ.

    Parameters
    ----------
    where : str
        "batch", a test with its active, "planned mass", or a unit.
    what : str
        The fact or figure by its name in the result document.
    before, after : text, number, truth value or None
        What each result says, unrounded; None where it says nothing.
    """

    where: str
    what: str
    before: object
    after: object

    def __str__(self) -> str:
        was, now = shown(self.before, beside=self.after), shown(self.after, beside=self.before)
        return f"{self.where}, {spelt(self.what)}: {was} -> {now}"


def result_differences(before: Document, after: Document) -> tuple[Difference, ...]:
    """The differences between two result documents.

    Parameters
    ----------
    before, after : mapping
        Two result documents.

    Returns
    -------
    tuple of Difference
        The verdict first, then tests, planned mass, facts of the batch, units and the version.

    Examples
    --------
    >>> str(result_differences({"verdict": "complies"}, {"verdict": "undecided"})[0])
    'batch, verdict: complies -> undecided'
    """
    return (
        *verdict_differences(before, after),
        *_of_records("batch", _part(before, "batch"), _part(after, "batch")),
        *_units(before, after),
        *_of_records("qc", {"version": before.get("qc_version")}, {"version": after.get("qc_version")}),
    )


def sealed_differences(before: Document, after: Document) -> tuple[Difference, ...]:
    """The differences between two sealed documents, their rules among them."""
    rules = (one["seal"]["rules"] for one in (before, after))
    return (*result_differences(before, after), *rule_differences(*rules))


def rule_differences(before: Document, after: Document) -> tuple[Difference, ...]:
    """The differences between the rules of two seals: their editions, and the digests of their records.

    Parameters
    ----------
    before, after : mapping
        The `rules` part of each seal.
    """

    def flat(rule: Document) -> Document:
        return {"edition": rule.get("edition"), "SHA-256 of its record": rule.get("sha256")}

    return tuple(_of_each("rule ", before, after, flat=flat, only_one=flat))


def verdict_differences(before: Document, after: Document) -> tuple[Difference, ...]:
    """The differences in verdicts and figures only: what two judgings of one input must have in common."""
    heads = ({what: one.get(what) for what in ("verdict", "rule_set")} for one in (before, after))
    tests = (_tests_by_name(one) for one in (before, after))
    return (
        *_of_records("batch", *heads),
        *_of_each("", *tests, flat=_flat_test, only_one=lambda test: {"verdict": test.get("verdict")}),
        *_of_records("planned mass", _part(before, "planned_mass"), _part(after, "planned_mass")),
    )


def _part(document: Document, name: str) -> Document:
    part = document.get(name)
    return part if isinstance(part, Mapping) else {}


def _of_records(where: str, before: Document, after: Document) -> Iterator[Difference]:
    """Differences between two flat records, field by field; lists are told as their members."""
    for what in dict.fromkeys((*before, *after)):
        was, now = _told(before.get(what)), _told(after.get(what))
        if was != now:
            yield Difference(where=where, what=what, before=was, after=now)


def _of_each(
    where: str,
    before: Mapping[str, Document],
    after: Mapping[str, Document],
    *,
    flat: Callable[[Document], Document],
    only_one: Callable[[Document], Document],
) -> Iterator[Difference]:
    """Differences between records of one name, as `flat` has them; of a name in one result only, as `only_one` has."""
    for name in dict.fromkeys((*before, *after)):
        sides = before.get(name), after.get(name)
        told = only_one if None in sides else flat
        yield from _of_records(f"{where}{name}", *({} if side is None else told(side) for side in sides))


def _told(value: object) -> object:
    if isinstance(value, Sequence) and not isinstance(value, str):
        return ", ".join(str(item) for item in value) or None
    return value


def _tests_by_name(document: Document) -> dict[str, Document]:
    """The tests under the name that people know them by; one that stands twice is counted."""
    found: dict[str, Document] = {}
    for test in document.get("tests", ()):
        parts = (in_words(test["id"], TEST), test.get("active"), test.get("subject"))
        name = ", ".join(part for part in parts if part)
        count = 1 + sum(known == name or known.startswith(f"{name} (") for known in found)
        found[name if count == 1 else f"{name} ({count})"] = test
    return found


def _flat_test(test: Document) -> Document:
    return {
        "verdict": test.get("verdict"),
        "rule": test.get("rule"),
        "n": test.get("n"),
        **test.get("figures", {}),
        "units outside": [unit["unit"] for unit in test.get("outside", ())],
        "sample": test.get("sample", ()),
    }


def _units(before: Document, after: Document) -> Iterator[Difference]:
    """What was found of each unit, where both results tell it."""
    if "units" not in before or "units" not in after:
        return
    units = ({unit["unit"]: unit for unit in document["units"]} for document in (before, after))
    yield from _of_each("unit ", *units, flat=_flat_unit, only_one=lambda unit: {"record": "entered"})


def _flat_unit(unit: Document) -> Document:
    """What was measured and seen of a unit; what is worked out from the others too is told by the tests."""
    flat = {what: value for what, value in unit.items() if what not in _OF_THE_OTHERS}
    for active, content in unit.get("contents", {}).items():
        scale = "percent_of_label" if content.get("mg") is None else "mg"
        flat[f"{active} {scale}"] = content.get(scale)
    return flat
