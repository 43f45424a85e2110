"""Settings that hold for every test."""

from __future__ import annotations

import os

# As the command does: small matrices, one thread each. It counts before numpy is loaded.
for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(name, "1")

from hypothesis import settings  # noqa: E402

# As the command does: matrices here are small, and threads that wait for each other cost more than they bring.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

# No test asserts on wall time, so no example has a deadline; an integration run draws the same examples every time.
settings.register_profile("house", deadline=None, max_examples=50, derandomize="CI" in os.environ)
settings.load_profile("house")
