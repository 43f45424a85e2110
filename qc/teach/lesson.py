"""Teaching batches: a batch that went wrong in a known way, a workbook that does not say which, and its answer key."""

from __future__ import annotations

import difflib
import hashlib
import json
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

from msgspec import Struct
from msgspec.structs import replace

from qc.batch import Source
from qc.causes.drawing import Drawn, draw_batch, random_recipe
from qc.causes.model import TAUGHT
from qc.causes.priors import builtin_priors
from qc.fields.entries import entries_of
from qc.results import JudgedBatch
from qc.say.numbers import plain_limit
from qc.show.filing import file_whole
from qc.simulate.pouring import Recipe
from qc.teach.key import key_of
from qc.workbook.entry import workbook_bytes

ANY = "any"
ALL = "all"

FEWEST_UNITS = 4
MOST_UNITS = 1000
GREATEST_STRENGTH = 3.0


class LessonProblem(ValueError):
    """The lesson cannot be made as it was asked for."""


class Tray(Struct, frozen=True, kw_only=True):
    """How the batch is poured and what is measured of it.

    Parameters
    ----------
    moulds, cavities : int
        Moulds, and cavities a mould; filled one after the other and again from the first.
    assays, cut_units, base_pours : int
        Whole units assayed, units cut into tip, middle and end, base-only pours a cavity. Of a small batch fewer.
    """

    moulds: int = 1
    cavities: int = 6
    assays: int = 10
    cut_units: int = 3
    base_pours: int = 2


class Lesson(Struct, frozen=True, kw_only=True):
    """A teaching batch before it is written: its faults, the batch as drawn, the bytes of its workbook."""

    faults: tuple[str, ...]
    seed: int
    strength: float
    drawn: Drawn
    workbook: bytes

    @property
    def fault(self) -> str:
        """What is wrong with it, in one word: the id of its fault, two joined by a plus sign."""
        return "+".join(self.faults)

    @property
    def number(self) -> str:
        """The batch number, which gives neither seed nor fault away."""
        return self.drawn.batch.number or ""

    def key(self) -> dict[str, Any]:
        """The answer key as a document."""
        return key_of(self.drawn, faults=self.faults, seed=self.seed, strength=self.strength)

    def judged(self) -> JudgedBatch:
        """The batch as it is judged from its workbook."""
        from qc.judging.judge import judge_batch
        from qc.rules.rule_books import rule_book

        return judge_batch(self.drawn.batch, book=rule_book(None))

    def write(self, out: str | Path) -> tuple[Path, ...]:
        """Write workbook and answer key into a folder, as `qc lesson` does."""
        return _file(Path(out), lesson_files(self))


def write_lesson(
    fault: str,
    *,
    units: int = 24,
    seed: int,
    out: Path,
    strength: float = 1.0,
    tray: Tray | None = None,
    physics: Mapping[str, float] | None = None,
    progress: Callable[[str], None] | None = None,
) -> tuple[Path, ...]:
    """Write a teaching batch with its answer key into a folder.

    Parameters
    ----------
    fault : str
        A cause id, two joined by a plus sign, `any` for one drawn by the seed, or `all` for every cause with a gallery
        page.
    units : int
        Units poured.
    seed : int
        The same seed, units, strength and tray give the same files, byte for byte.
    out : Path
        The folder; made when it is not there.
    strength : float
        1 for the usual strength of the fault [-].
    tray : Tray, optional
        Moulds and cavities, and what is measured.
    physics : mapping of str to float, optional
        What of the suspension is set and not drawn; see `make_lesson`.
    progress : callable, optional
        Told which fault is being made, for `all`.

    Returns
    -------
    tuple of Path
        The files: `batch.xlsx`, `key.json` and `key.html`, or for `all` a folder of these a cause and `gallery.html`.

    Raises
    ------
    LessonProblem
        When the fault is not known (the message names the nearest), or units, strength or tray cannot be.
    qc.show.filing.ReportExists
        When other files of that name are there already.
    """
    tray = tray or Tray()
    if fault != ALL:
        lesson = make_lesson(fault.split("+"), units=units, seed=seed, strength=strength, tray=tray, physics=physics)
        return lesson.write(out)
    from qc.teach.page import gallery_page

    made: list[tuple[str, Drawn]] = []
    written: list[Path] = []
    for place, id in enumerate(TAUGHT, start=1):
        if progress is not None:
            progress(f"{place} of {len(TAUGHT)}: {id}")
        lesson = make_lesson(id, units=units, seed=seed, strength=strength, tray=tray)
        written += _file(out / id, lesson_files(lesson))
        made.append((id, lesson.drawn))
    return (*written, *_file(out, {"gallery.html": gallery_page(made).encode("utf-8")}))


def make_lesson(
    fault: str | Sequence[str],
    *,
    units: int = 24,
    seed: int = 1,
    strength: float = 1.0,
    tray: Tray | None = None,
    physics: Mapping[str, float] | None = None,
) -> Lesson:
    """Draw a teaching batch and its workbook; nothing is written.

    Parameters
    ----------
    fault : str or sequence of str
        A cause id, several that happen together, or `any`.
    units, seed, strength, tray
        As for `write_lesson`.
    physics : mapping of str to float, optional
        Of a fault that settles: `particle_um`, `viscosity_mpas`, `minutes_since_stir`, `pour_minutes`, `stir_every` and
        the like, by the names of `qc.simulate.melt.Melt` and `qc.simulate.settling.SettingUnit`.

    Raises
    ------
    LessonProblem
        When it cannot be made as it was asked for.
    """
    tray, faults, physics = tray or Tray(), (fault,) if isinstance(fault, str) else tuple(fault), physics or {}
    for one in faults:
        _check(one, units=units, seed=seed, strength=strength, tray=tray)
    faults = tuple(_drawn_fault(seed) if one == ANY else one for one in faults)
    recipe = lesson_recipe(units=units, seed=seed, tray=tray)
    drawn = draw_batch(faults, recipe=recipe, seed=seed, strength=strength, physics=physics)
    if unused := sorted(set(physics) - set(drawn.physics)):
        raise LessonProblem(f'"{unused[0]}" means nothing to {", ".join(faults)}: set it for a fault that settles.')
    # Names that say nothing of the fault, and that no other lesson has.
    asked = repr((faults, units, seed, strength, tray, sorted(physics.items())))
    number = f"T-{int(hashlib.sha256(asked.encode()).hexdigest(), 16) % 10**6:06d}"
    product = f"Teaching suppositories {plain_limit(recipe.ingredients[0].label_mg)} mg"
    batch = replace(drawn.batch, number=number, product=product, made_by="Class", weighed_by="Class")
    workbook = workbook_bytes(entries_of(batch))
    # The key judges the batch as if it had been read from the workbook, random choices included.
    source = Source(name="batch.xlsx", sha256=hashlib.sha256(workbook).hexdigest())
    drawn = replace(drawn, batch=replace(batch, source=source))
    return Lesson(faults=faults, seed=seed, strength=strength, drawn=drawn, workbook=workbook)


def lesson_files(lesson: Lesson) -> dict[str, bytes]:
    """The files of one teaching batch by name."""
    from qc.teach.page import key_page

    key = lesson.key()
    return {
        "batch.xlsx": lesson.workbook,
        "key.json": (json.dumps(key, indent=2, ensure_ascii=False) + "\n").encode("utf-8"),
        "key.html": key_page(lesson.drawn, key=key, judged=lesson.judged()).encode("utf-8"),
    }


def lesson_recipe(*, units: int, seed: int, tray: Tray) -> Recipe:
    """The recipe of a seed: dose, displacement value and background spreads drawn, the tray as asked for."""
    import numpy as np

    cut = min(tray.cut_units, max(1, units // 8)) if tray.cut_units else 0
    recipe = random_recipe(
        np.random.default_rng([seed, 100]),
        priors=builtin_priors(),
        units=units,
        assays=min(tray.assays, units - cut),
        cut_units=cut,
        base_pours=tray.base_pours,
    )
    return replace(recipe, moulds=tray.moulds, cavities=tray.cavities)


def _drawn_fault(seed: int) -> str:
    import numpy as np

    return TAUGHT[int(np.random.default_rng([seed, 200]).integers(len(TAUGHT)))]


def _check(fault: str, *, units: int, seed: int, strength: float, tray: Tray) -> None:
    known = [*TAUGHT, ANY, ALL]
    if fault not in known:
        near = difflib.get_close_matches(fault, known, n=1, cutoff=0.0)[0]
        raise LessonProblem(f'"{fault}" is not a known fault. Did you mean {near}? Known are: {", ".join(known)}.')
    if not FEWEST_UNITS <= units <= MOST_UNITS:
        raise LessonProblem(f"{units} units cannot be a lesson: choose {FEWEST_UNITS} to {MOST_UNITS}, for example 24.")
    if seed < 0:
        raise LessonProblem(f"the seed {seed} is negative: choose a whole number from 0 up.")
    if not 0.0 < strength <= GREATEST_STRENGTH:
        raise LessonProblem(
            f"a strength of {plain_limit(strength)} cannot be poured: choose above 0, at most "
            f"{plain_limit(GREATEST_STRENGTH)}; 1 is usual."
        )
    for name in tray.__struct_fields__:
        value, least = getattr(tray, name), 1 if name in ("moulds", "cavities") else 0
        if value < least:
            raise LessonProblem(f"{value} {name.replace('_', ' ')} cannot be: choose at least {least}.")


def _file(folder: Path, files: Mapping[str, bytes]) -> tuple[Path, ...]:
    """Put the files there, unless the very same ones stand there already."""
    paths = tuple(folder / name for name in files)
    same = all(path.is_file() and path.read_bytes() == files[path.name] for path in paths)
    if not same:
        file_whole(folder, files)
    return paths
