"""The accuracy page: measured once in a while, kept as figures, and written from them.

`python -m tests.benchmarks.accuracy` writes `docs/accuracy.md` from the figures in `docs/accuracy/`;
with `--measure` or `--take` it renews the figures first.
"""
