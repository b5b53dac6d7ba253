"""Measurements that print tables: run by hand, asserted nowhere."""

import os

# small matrices: several threads of the linear algebra only get in each other's way
for _threads in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_threads, "1")
