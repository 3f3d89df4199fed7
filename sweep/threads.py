"""One thread for the libraries: more would use cores that were not given, and sums may depend on how many there are."""

from __future__ import annotations

#: what to set before numpy is imported
ONE_THREAD = dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "NUMBA_NUM_THREADS"), "1")
