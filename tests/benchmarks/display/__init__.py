"""Measures the display reader, on one thread."""

import os

for _name in ("OMP_NUM_THREADS", "OMP_THREAD_LIMIT", "OPENBLAS_NUM_THREADS"):  # before anything heavy is imported
    os.environ.setdefault(_name, "1")
