"""The notebook among the samples: every cell runs, in order, without a warning."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

SAMPLES = Path(__file__).parents[1] / "sample_data"


def test_every_cell_of_the_notebook_runs() -> None:
    notebook = json.loads((SAMPLES / "notebook.ipynb").read_text(encoding="utf-8"))
    cells = ["".join(cell["source"]) for cell in notebook["cells"] if cell["cell_type"] == "code"]
    assert len(cells) >= 8
    program = "import matplotlib\nmatplotlib.use('agg')\n" + "\n".join(cells)
    call = [sys.executable, "-W", "error", "-c", program]
    done = subprocess.run(call, cwd=SAMPLES, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert done.stdout.startswith("DOES NOT COMPLY")
    assert all(cell.get("outputs") in (None, []) for cell in notebook["cells"])
