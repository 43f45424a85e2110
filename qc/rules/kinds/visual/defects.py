"""What is seen on moulded units: the words of the trade, each with its grade, usual causes and the remedy, as data.

No published grading of these defects was found, so every built-in grade is marked as our own reading; a house file sets
its own with a `[[defect]]` table. A word that is not known is answered with the nearest; nothing is guessed.
"""

from __future__ import annotations

import functools
from collections.abc import Mapping, Sequence
from enum import StrEnum
from types import MappingProxyType

from msgspec import Struct
from msgspec.structs import asdict, replace

from qc.batch import Batch
from qc.rules.built_in import DEFECTS_FILE, RULES_FOLDER
from qc.rules.forms import stem
from qc.rules.records import Mark
from qc.rules.strict_records import Findings, did_you_mean, read_toml, record_from


class Grade(StrEnum):
    """How grave a defect is: harm may come of it, the unit may not serve, or it is a blemish."""

    CRITICAL = "critical"
    MAJOR = "major"
    MINOR = "minor"


class Defect(Struct, frozen=True, kw_only=True):
    """One defect of moulded units.

    Parameters
    ----------
    name : str
        The word used for it here.
    synonyms : tuple of str
        Other words people write for it.
    grade : Grade
    causes : tuple of str
        Usual causes, in words.
    remedy : str
    mark : Mark
        How the usual causes are known; `source` says from where.
    speaks_for : tuple of str
        Ids of the causes of the analysis that it speaks for.
    grade_mark : Mark
        How the grade is known.
    """

    name: str
    grade: Grade
    mark: Mark
    source: str
    synonyms: tuple[str, ...] = ()
    causes: tuple[str, ...] = ()
    remedy: str = ""
    speaks_for: tuple[str, ...] = ()
    grade_mark: Mark = Mark.OUR_READING


class HouseDefect(Struct, frozen=True, kw_only=True):
    """A `[[defect]]` table of a house file: the grade the house gives a defect, or a defect of its own."""

    name: str
    grade: Grade
    source: str
    synonyms: tuple[str, ...] = ()
    causes: tuple[str, ...] = ()
    remedy: str = ""


class _File(Struct, frozen=True, kw_only=True):
    sound_words: tuple[str, ...]
    defects: tuple[Defect, ...]


class DefectWords(Struct, frozen=True, kw_only=True):
    """The vocabulary that a batch is read with.

    `sound_words` say that a unit was looked at and nothing was seen.
    """

    defects: tuple[Defect, ...]
    sound_words: tuple[str, ...]

    def find(self, word: str) -> Defect | None:
        """The defect that a word names; case, spaces, hyphens and the plural do not matter.

        Examples
        --------
        >>> defect_words().find("Air bubbles").name
        'air bubble'
        >>> defect_words().find("wobbly") is None
        True
        """
        return _by_stem(self).get(stem(word))

    def says_sound(self, word: str) -> bool:
        """Whether a word says that nothing was seen.

        Examples
        --------
        >>> defect_words().says_sound("None")
        True
        """
        return word.casefold().strip() in self.sound_words

    def nearest(self, word: str) -> str:
        """What to type in place of a word that is not known.

        Examples
        --------
        >>> defect_words().nearest("chiped")
        'Did you mean chipped?'
        """
        every = [name for defect in self.defects for name in (defect.name, *defect.synonyms)]
        mend = did_you_mean(word.casefold(), every, every="Words")
        return mend if mend.startswith("Did") else f"The words are: {', '.join(one.name for one in self.defects)}."


@functools.cache
def _by_stem(words: DefectWords) -> Mapping[str, Defect]:
    return MappingProxyType({stem(word): one for one in words.defects for word in (one.name, *one.synonyms)})


@functools.cache
def defect_words(house: tuple[HouseDefect, ...] = ()) -> DefectWords:
    """The built-in vocabulary with the grades and words of a house laid over it.

    Parameters
    ----------
    house : tuple of HouseDefect
        As a house file has them.

    Raises
    ------
    RuleProblem
        When the built-in file is not sound.
    """
    path = RULES_FOLDER / f"{DEFECTS_FILE}.toml"
    findings = Findings(path.name)
    file = record_from(_File, read_toml(path), at="", findings=findings)
    findings.stop_if_any()
    assert file is not None
    words = DefectWords(defects=file.defects, sound_words=file.sound_words)
    for own in house:
        words = _with_house(words, own)
    return words


def _with_house(words: DefectWords, own: HouseDefect) -> DefectWords:
    known = words.find(own.name)
    if known is None:
        made = Defect(**asdict(own), mark=Mark.HOUSE, grade_mark=Mark.HOUSE)
        return replace(words, defects=(*words.defects, made))
    changed = replace(
        known,
        grade=own.grade,
        grade_mark=Mark.HOUSE,
        synonyms=(*known.synonyms, *own.synonyms),
        causes=own.causes or known.causes,
        remedy=own.remedy or known.remedy,
    )
    return replace(words, defects=tuple(changed if one.name == known.name else one for one in words.defects))


def note_bad_defects(house: Sequence[HouseDefect], *, findings: Findings) -> None:
    """Note what cannot stand in the `[[defect]]` tables of a house file.

    Parameters
    ----------
    house : sequence of HouseDefect
    findings : Findings
        Takes the problems: a defect that is graded twice, a synonym that names another one.
    """
    taken: dict[str, str] = {}
    for number, own in enumerate(house, start=1):
        known = defect_words().find(own.name)
        name = known.name if known is not None else own.name
        if stem(name) in taken:
            findings.add(f"defect[{number}].name", f'"{own.name}" is graded twice', "Keep one of the tables")
        for word in own.synonyms:
            other = defect_words().find(word)
            whose = other.name if other is not None else taken.get(stem(word), name)
            if whose != name:
                found = f'"{word}" is a word for "{whose}" already'
                findings.add(f"defect[{number}].synonyms", found, "Leave it out")
        taken |= {stem(word): name for word in (name, *own.synonyms)}


class DefectSeen(Struct, frozen=True, kw_only=True):
    """One defect as it was entered: the words that were typed, and the units they stand beside, both once each."""

    defect: Defect
    entered_as: tuple[str, ...]
    units: tuple[str, ...]


def read_seen(batch: Batch, *, words: DefectWords) -> tuple[tuple[DefectSeen, ...], Mapping[str, tuple[str, ...]]]:
    """What stands in the column Seen.

    Parameters
    ----------
    batch : Batch
    words : DefectWords

    Returns
    -------
    tuple of DefectSeen, and mapping
        The defects in the order in which they were first seen; and the words that are not known, each with its units.
    """
    typed: dict[str, dict[str, None]] = {}
    units: dict[str, dict[str, None]] = {}
    unknown: dict[str, tuple[str, ...]] = {}
    for unit in batch.units:
        for word in unit.seen:
            defect = words.find(word)
            if defect is not None:
                typed.setdefault(defect.name, {})[word] = None
                units.setdefault(defect.name, {})[unit.name] = None
            elif not words.says_sound(word):
                unknown[word] = (*unknown.get(word, ()), unit.name)
    known = {one.name: one for one in words.defects}
    seen = tuple(
        DefectSeen(defect=known[name], entered_as=tuple(typed[name]), units=tuple(units[name])) for name in typed
    )
    return seen, unknown


class DefectEvidence(Struct, frozen=True, kw_only=True):
    """What was seen that speaks for a cause.

    Parameters
    ----------
    cause : str
        Id of the cause.
    defects : tuple of str
        Names of the defects.
    units : tuple of str
        Units on which they were seen, in the order of the batch.
    of_units : int
        How many units were entered.
    """

    cause: str
    defects: tuple[str, ...]
    units: tuple[str, ...]
    of_units: int


def defect_evidence(batch: Batch) -> tuple[DefectEvidence, ...]:
    """Which causes the defects seen on the units speak for, in order of the number of units.

    The defects add what no balance shows (an enriched tip, mottling). They are usual companions of a cause and prove
    none; their marks stand in the data file.

    Parameters
    ----------
    batch : Batch

    Returns
    -------
    tuple of DefectEvidence
        Empty when nothing was seen, or nothing that speaks for a cause.
    """
    if not any(unit.seen for unit in batch.units):
        return ()
    spoken: dict[str, list[DefectSeen]] = {}
    for one in read_seen(batch, words=defect_words())[0]:
        for cause in one.defect.speaks_for:
            spoken.setdefault(cause, []).append(one)
    made = []
    for cause, shown in spoken.items():
        kinds = tuple(one.defect.name for one in shown)
        hit = {name for one in shown for name in one.units}
        seen_on = tuple(unit.name for unit in batch.units if unit.name in hit)
        made.append(DefectEvidence(cause=cause, defects=kinds, units=seen_on, of_units=len(batch.units)))
    return tuple(sorted(made, key=lambda one: -len(one.units)))
