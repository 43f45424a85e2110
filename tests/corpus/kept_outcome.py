"""What each kind of input comes to, in words that a table can hold."""

from __future__ import annotations

from pathlib import Path

from qc.jobs.verify.files import ReportFolder, result_and_seal
from qc.problems import InputProblems
from qc.readers.options import ReadOptions
from qc.readers.read import read_batch
from qc.rules.house_file import read_house_file


def outcome(path: Path) -> dict[str, object]:
    """`refused` with every message, or `read` with what was read."""
    try:
        if path.suffix == ".json":
            folder = ReportFolder(path=path.parent, files={"result.json": path.read_bytes()}, listed={}, fault="")
            _, lines = result_and_seal(folder)
            return {"refused": [f"{line.what} {line.told}" for line in lines if line.state == "broken"]}
        if path.suffix == ".toml":
            return {"read": sorted(read_house_file(path).rules)}
        batch = read_batch(path, options=ReadOptions(form="suppositories"))
    except InputProblems as refused:
        return {"refused": [str(problem) for problem in refused.problems]}
    return {"read": [f"{unit.name}: {unit.mass_g}" for unit in batch.units]}
