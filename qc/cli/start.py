"""Where the command `qc` begins: Ctrl-C is listened for before anything that takes time is loaded."""

from __future__ import annotations

import gc

from qc.cli import stopping


def run() -> None:
    """Run the command line and end the process."""
    stopping.listen()
    # A call ends before its cycles fill memory; to search for them as often as usual takes 4 % of the time of a check.
    gc.set_threshold(1_000_000)
    from qc.cli.main import run as run_command

    run_command()


if __name__ == "__main__":
    run()
