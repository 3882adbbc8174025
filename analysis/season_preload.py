"""All that a worker imports, for the process that is copied for each of them (multiprocessing's forkserver)."""

import gc

from analysis import season_worker

NEEDED = season_worker
gc.freeze()  # these stay for good: the collector need not look at them for every match
