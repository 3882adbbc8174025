"""All that a worker imports, for the process that is copied for each of them (multiprocessing's forkserver)."""

import gc

import pandas as pd

from analysis import season_worker

NEEDED = (season_worker, pd)  # pyarrow imports pandas at the first column that it hands to numpy
gc.freeze()  # these stay for good: the collector need not look at them for every match
