"""The sums that a script would begin with: reads every event, adds up strokes, prints seconds."""

import json
import sqlite3
import sys
import time
from collections import Counter

began = time.perf_counter()
strokes = Counter()
for (body,) in sqlite3.connect(sys.argv[1]).execute("SELECT body FROM event ORDER BY position"):
    event = json.loads(body)
    strokes[event.get("stencil")] += event.get("count", 0)
print(time.perf_counter() - began)
