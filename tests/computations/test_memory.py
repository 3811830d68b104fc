"""100,000 visits in bounded memory: measured in a process of its own, the interpreter and numpy included.

And a server that derives visit after visit while they grow: their layouts do not stay for good.
"""

import gc
import itertools
import json
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

from computations import layout
from computations.derivation import derive
from tests.computations.visits import full_visit

ROOT = Path(__file__).resolve().parents[2]
VISITS = 100_000
MOST_MB = 600
PROGRAM = """
import json
from computations.benchmarks import BATCH, _table
from computations.derivation import derive_columns

visit, table = _table(BATCH)
found = derive_columns(visit, table, 8.0)
# Of this program alone: what getrusage tells counts the process too from which it was started.
peak_kb = next(int(line.split()[1]) for line in open("/proc/self/status") if line.startswith("VmHWM"))
print(json.dumps({"visits": found.values.shape[1], "dimensions": len(found.outcomes), "peak_mb": peak_kb / 1024}))
"""


def test_a_hundred_thousand_visits_stay_under_600_mb() -> None:
    done = subprocess.run([sys.executable, "-c", PROGRAM], cwd=ROOT, capture_output=True, text=True, check=True)
    found = json.loads(done.stdout)
    assert found["visits"] == VISITS
    assert found["dimensions"] >= 31
    # Readings and answers themselves are the greater part: 58 and 64 numbers a visit.
    assert found["peak_mb"] < MOST_MB, found


def test_layouts_used_long_ago_are_let_go() -> None:
    visit = full_visit()
    made = layout._located.cache_info().misses
    for few in itertools.islice(itertools.combinations(visit.readings, 3), layout.KEPT * 2 + 50):
        _ = derive(replace(visit, readings=few)).details
    assert layout._located.cache_info().misses - made > layout.KEPT * 2  # all of them are different
    gc.collect()
    alive = sum(type(one) is layout.Layout for one in gc.get_objects())
    assert alive <= layout.KEPT * 2, "two of the caches may hold different ones"
