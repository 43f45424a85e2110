"""Reads each file in a process of its own, and prints a line of JSON: what came of it, seconds, megabytes."""

from __future__ import annotations

import json
import os
import resource
import sys
import time
from pathlib import Path

ADDRESS_SPACE = 3 * 1024**3
SECONDS = 60


def told(path: Path) -> dict[str, object]:
    """What reading a file comes to; a traceback is an end that nobody declared."""
    from qc.problems import InputProblems
    from qc.readers.options import ReadOptions
    from qc.readers.read import read_batch

    try:
        batch = read_batch(path, options=ReadOptions(form="suppositories"))
    except InputProblems as refused:
        return {"end": "refused", "told": str(refused)[:300]}
    except BaseException as failure:
        return {"end": "undeclared", "told": repr(failure)[:300]}
    return {
        "end": "read",
        "told": f"{len(batch.units)} units",
        "masses": [str(unit.mass_g) for unit in batch.units][:30],
    }


def measured(path: Path) -> dict[str, object]:
    """The same, of a forked process with limits."""
    into, out = os.pipe()
    begun = time.monotonic()
    child = os.fork()
    if child == 0:
        os.close(into)
        resource.setrlimit(resource.RLIMIT_AS, (ADDRESS_SPACE, ADDRESS_SPACE))
        resource.setrlimit(resource.RLIMIT_CPU, (SECONDS, SECONDS))
        with os.fdopen(out, "w") as pipe:
            json.dump(told(path), pipe)
        os._exit(0)
    os.close(out)
    with os.fdopen(into) as pipe:
        text = pipe.read()
    _, status, used = os.wait4(child, 0)
    found = json.loads(text) if text else {"end": "undeclared", "told": f"the process ended with {status}"}
    seconds = min(time.monotonic() - begun, used.ru_utime + used.ru_stime)
    return {"file": path.name, **found, "seconds": round(seconds, 2), "megabytes": used.ru_maxrss // 1024}


if __name__ == "__main__":
    import openpyxl  # noqa: F401  # loaded once for all

    import qc.readers.finding.find
    import qc.readers.ods
    import qc.readers.xls
    import qc.readers.xlsx  # noqa: F401

    for name in sys.argv[1:]:
        print(json.dumps(measured(Path(name))), flush=True)
