"""What is seen on moulded units: the words of the trade, each with its grade, usual causes and the remedy, as data.

No published grading of these defects was found, so every built-in grade is marked as our own reading; a house file sets
its own with a `[[defect]]` table. A word that is not known is answered with the nearest; nothing is guessed.
"""

from __future__ import annotations

import functools
from collections.abc import Mapping, Sequence
from types import MappingProxyType

from msgspec import Struct
from msgspec.structs import asdict, replace

from qc.batch import Batch
from qc.results import Message, Remark, SeenClass, SeenDefect, VisualInspection, message
from qc.rules.built_in import DEFECTS_FILE, RULES_FOLDER
from qc.rules.forms import stem
from qc.rules.kinds.visual import Grade
from qc.rules.records import Mark
from qc.rules.strict_records import Findings, nearest_words, read_record


class HouseDefect(Struct, frozen=True, kw_only=True):
    """A `[[defect]]` table of a house file: the grade the house gives a defect, or a defect of its own.

    Parameters
    ----------
    name : str
        The word used for it here.
    grade : Grade
    source : str
        From where the usual causes are known, or the grade of the house.
    synonyms : tuple of str
        Other words people write for it.
    causes : tuple of str
        Usual causes, in words.
    remedy : str
    """

    name: str
    grade: Grade
    source: str
    synonyms: tuple[str, ...] = ()
    causes: tuple[str, ...] = ()
    remedy: str = ""


class Defect(HouseDefect, frozen=True, kw_only=True):
    """One defect of moulded units.

    Parameters
    ----------
    mark : Mark
        How the usual causes are known; `source` says from where.
    speaks_for : tuple of str
        Ids of the causes of the analysis that it speaks for.
    grade_mark : Mark
        How the grade is known.
    """

    mark: Mark
    speaks_for: tuple[str, ...] = ()
    grade_mark: Mark = Mark.OUR_READING


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

    def nearest(self, word: str) -> tuple[str, ...]:
        """The words that one which is not known is most like; empty where it is like none.

        Examples
        --------
        >>> defect_words().nearest("chiped")
        ('chipped',)
        """
        every = [name for defect in self.defects for name in (defect.name, *defect.synonyms)]
        return nearest_words(word.casefold(), every)


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
    file = read_record(_File, RULES_FOLDER / f"{DEFECTS_FILE}.toml")
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


def note_bad_defects(house: Sequence[HouseDefect], findings: Findings) -> None:
    """Note what cannot stand in the `[[defect]]` tables of a house file.

    Parameters
    ----------
    house : sequence of HouseDefect
    findings : Findings
        Takes the problems: a defect that is graded twice, or less gravely than here; a synonym that names another one.
    """
    taken: dict[str, str] = {}
    for number, own in enumerate(house, start=1):
        at, known = findings.within(f"defect[{number}]"), defect_words().find(own.name)
        name = known.name if known is not None else own.name
        if known is not None and list(Grade).index(own.grade) > list(Grade).index(known.grade):
            found = f'"{own.name}" is {known.grade} here, and this makes it {own.grade}'
            at.add("grade", found, f"A house may grade it graver: leave {known.grade}")
        if stem(name) in taken:
            at.add("name", f'"{own.name}" is graded twice', "Keep one of the tables")
        for word in own.synonyms:
            other = defect_words().find(word)
            whose = other.name if other is not None else taken.get(stem(word), name)
            if whose != name:
                found = f'"{word}" is a word for "{whose}" already'
                at.add("synonyms", found, "Leave it out")
        taken |= {stem(word): name for word in (name, *own.synonyms)}


def inspect(batch: Batch, *, words: DefectWords) -> VisualInspection | None:
    """Read the column Seen; None when nobody wrote anything there.

    Parameters
    ----------
    batch : Batch
    words : DefectWords
        The vocabulary, with the grades of the house.

    Notes
    -----
    Where a word such as "none" marks the sound units, only units with an entry were looked at. Otherwise every unit
    entered was, and an empty cell says that nothing was seen. The reading is our own. The batch has as many units as
    were obtained, else poured, and never fewer than are entered.
    """
    entries = [(word, unit.name) for unit in batch.units for word in unit.seen]
    if not entries:
        return None
    marked = any(words.says_sound(word) for word, _ in entries)
    found: dict[Defect, list[tuple[str, str]]] = {}
    unknown: dict[str, tuple[str, ...]] = {}
    for word, unit in entries:
        defect = words.find(word)
        if defect is not None:
            found.setdefault(defect, []).append((word, unit))
        elif not words.says_sound(word):
            unknown[word] = (*unknown.get(word, ()), unit)
    grades = list(Grade)
    defects = sorted(
        (_seen(defect, rows) for defect, rows in found.items()),
        key=lambda one: (grades.index(Grade(one.grade)), -len(one.units)),
    )
    hit = {grade: {unit for one in defects if one.grade == grade for unit in one.units} for grade in Grade}
    lot = batch.units_obtained if batch.units_obtained is not None else batch.units_poured
    return VisualInspection(
        lot=max(lot or 0, len(batch.units)),
        looked_at=sum(1 for unit in batch.units if unit.seen or not marked),
        defects=tuple(defects),
        classes=tuple(
            SeenClass(grade=grade.value, units=tuple(unit.name for unit in batch.units if unit.name in hit[grade]))
            for grade in Grade
        ),
        unknown=unknown,
    )


def _seen(defect: Defect, rows: Sequence[tuple[str, str]]) -> SeenDefect:
    """A defect with the words that were typed for it and the units they stand beside, both once each."""
    return SeenDefect(
        defect=defect.name,
        entered_as=tuple(dict.fromkeys(word for word, _ in rows)),
        grade=defect.grade.value,
        grade_mark=defect.grade_mark.value,
        units=tuple(dict.fromkeys(unit for _, unit in rows)),
        causes=defect.causes,
        remedy=defect.remedy,
        mark=defect.mark.value,
        source=defect.source,
        speaks_for=defect.speaks_for,
    )


def notices_of(seen: VisualInspection, *, words: DefectWords) -> tuple[Remark, ...]:
    """A remark for each word that is not known, with the nearest."""
    known = [one.name for one in words.defects]
    said = [
        message("visual.unknown_word", word=word, units=units, nearest=words.nearest(word), known=known)
        for word, units in seen.unknown.items()
    ]
    return tuple(Remark(where="Units, Seen", text=one) for one in said)


def defect_evidence(batch: Batch) -> dict[str, Message]:
    """Which causes the defects seen on the units speak for, each with the defects and the number of units.

    The defects add what no balance shows (an enriched tip, mottling). They are usual companions of a cause and prove
    none; their marks stand in the data file.

    Parameters
    ----------
    batch : Batch

    Returns
    -------
    dict
        By id of the cause; empty when nothing was seen, or nothing that speaks for a cause.
    """
    seen = inspect(batch, words=defect_words())
    spoken: dict[str, list[SeenDefect]] = {}
    for one in () if seen is None else seen.defects:
        for cause in one.speaks_for:
            spoken.setdefault(cause, []).append(one)
    return {
        cause: message(
            "causes.seen_on",
            defects=tuple(one.defect for one in shown),
            units=len({unit for one in shown for unit in one.units}),
            of_units=len(batch.units),
        )
        for cause, shown in spoken.items()
    }
