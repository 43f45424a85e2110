"""Where the command `qc` begins: Ctrl-C is listened for before anything that takes time is loaded."""

from __future__ import annotations

from qc.cli import stopping


def run() -> None:
    """Run the command line and end the process."""
    stopping.listen()
    from qc.cli.main import run as run_command

    run_command()


if __name__ == "__main__":
    run()
