"""The windows of many clients at once with numpy and scipy, on request.

Reads a file of int32 days (one row of lifts per client, newest last) and a word per line: `share` finds
each client's edges from the shares by vectorised bisection; `days` finds the edges of the parameter set
once, as the program does, and adds them to the lifts. Answers with the sum of all edges."""
import sys

import numpy as np
from scipy import special

MEAN, CV, FLOOR, TWO, THREE, DUE, LAPSED = 90.0, 0.3, 42, 0.5, 0.2, 0.4, 0.1
K = 1 / CV**2
lifts = np.fromfile(sys.argv[1], dtype=np.int32).reshape(-1, int(sys.argv[2])).astype(np.int64)


def share(days):
    x = K * days / MEAN
    return special.gammaincc(K + 1, x) - x / K * special.gammaincc(K, x)


def first_day(limit, shape):
    """The first whole day on which the share is at most the limit, for each client."""
    low, high = np.zeros(shape, dtype=np.int64), np.full(shape, 1024, dtype=np.int64)
    while (high - low > 1).any():
        middle = (low + high) // 2
        reached = share(middle) <= limit
        low, high = np.where(reached, low, middle), np.where(reached, middle, high)
    return high


def edges(shape):
    last, before = lifts[:, -1], lifts[:, -2]
    opens = np.maximum(np.maximum(last + FLOOR, last + first_day(TWO, shape)), before + first_day(THREE, shape))
    due = np.maximum(opens, last + first_day(DUE, shape))
    lapsed = np.maximum(due, last + first_day(LAPSED, shape))
    return int(opens.sum() + due.sum() + lapsed.sum())


print("ready", flush=True)
for word in sys.stdin:
    print(edges(len(lifts) if word.strip() == "share" else 1), flush=True)
