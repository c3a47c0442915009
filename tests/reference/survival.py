"""S(t) of gamma lifetimes on a grid, twice: by the closed form on scipy's incomplete gamma, and by
integrating the gamma survival function without the closed form. Prints JSON rows
[mean_days, cv, days, closed, integrated]."""
import json

import numpy as np
from scipy import special

MEANS = [10, 17.3, 30, 55.5, 90, 150, 240, 400, 700, 1000]
SPREADS = [0.001, 0.01, 0.05, 0.1, 0.15, 0.2, 0.25, 0.3, 1 / 3, 0.4, 0.5, 0.4**0.5, 0.75, 1.0]
RATIOS = [0, 1e-6, 1e-3, 0.01, 0.05, 0.1, 0.2, 0.31, 0.4, 0.47, 0.6, 0.75, 0.9, 0.99, 1, 1.01, 1.1,
          1.25, 1.5, 1.8, 2.2, 2.7, 3.4, 4.4, 6]
NODES, WEIGHTS = np.polynomial.legendre.leggauss(60)


def closed(mean, cv, days):
    k = 1 / cv**2
    x = k * days / mean
    return special.gammaincc(k + 1, x) - x / k * special.gammaincc(k, x)


def integrated(mean, cv, days):
    k = 1 / cv**2
    end = mean / k * special.gammainccinv(k, 1e-30)
    if days >= end:
        return 0.0
    cuts = mean * (1 + cv * np.linspace(-12, 12, 49))
    # Near 0 the survival function of a wide law bends like a power of u: pieces that halve towards it.
    cuts = np.concatenate([cuts, mean * 0.5 ** np.arange(1, 30), np.linspace(days, end, 40)])
    cuts = np.unique(np.concatenate([[days, end], cuts[(cuts > days) & (cuts < end)]]))
    half, middle = np.diff(cuts) / 2, (cuts[1:] + cuts[:-1]) / 2
    u = middle[:, None] + half[:, None] * NODES
    return float((special.gammaincc(k, k * u / mean) @ WEIGHTS) @ half / mean)


print(json.dumps([
    [mean, cv, ratio * mean, float(closed(mean, cv, ratio * mean)), integrated(mean, cv, ratio * mean)]
    for mean in MEANS for cv in SPREADS for ratio in RATIOS
]))
