"""What a spot check must open and what it proves; a fitter's history across jobs.

Pure functions: no clock, no files. `recorded.py` and `gather.py` are the edges towards the record.
"""
