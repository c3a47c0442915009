"""The posterior of one client's mean cycle, by adaptive quadrature and root finding.

Prior: ln(mean) normal about ln(centre). Likelihood: binomial with S(days; mean, cv), the share still
lifted. Prints JSON cases with their inputs and the 5 %, 50 % and 95 % quantiles of the mean."""
import json

import numpy as np
from scipy import integrate, optimize, special, stats

# centre, cv, log_sd, liftable_age, [[days, lifted, seen], ...]
CASES = [
    [90, 0.3, 0.25, 0, [[49, 31, 60]]],
    [90, 0.3, 0.25, 0, [[49, 31, 60], [42, 35, 58], [56, 20, 61]]],
    [90, 0.3, 0.25, 0, [[49, 0, 60]]],
    [90, 0.3, 0.25, 0, [[49, 60, 60]]],
    [90, 0.3, 0.25, 0, [[1, 5, 5]]],
    [150, 0.3, 0.25, 0, [[70, 30, 70]]],
    [240, 0.5, 0.4, 0, [[60, 50, 70], [100, 30, 66]]],
    [90, 0.05, 0.25, 0, [[49, 31, 60]]],
    [90, 1.0, 0.25, 0, [[49, 31, 60], [30, 40, 55]]],
    [90, 0.3, 0.05, 0, [[49, 10, 60]]],
    [90, 0.3, 0.25, 1 / 0.12, [[49, 25, 60]]],
    [90, 0.3, 0.25, 0, [[45, 30 + i % 3, 60] for i in range(20)]],
    [90, 0.3, 0.25, 0, [[50, 440, 1000]]],
]


def survival(mean, cv, days):
    k = 1 / cv**2
    x = k * days / mean
    return special.gammaincc(k + 1, x) - x / k * special.gammaincc(k, x)


def quantiles(centre, cv, log_sd, liftable_age, counts):
    def log_density(shift):
        mean = centre * np.exp(shift)
        share = [survival(mean, cv, d + liftable_age) / survival(mean, cv, liftable_age) for d, _, _ in counts]
        share = np.clip(share, 1e-300, 1)
        likelihood = sum(stats.binom.logpmf(k, n, s) for (_, k, n), s in zip(counts, share))
        return stats.norm.logpdf(shift, scale=log_sd) + likelihood

    fit = optimize.minimize_scalar(lambda s: -log_density(s), bounds=(-4, 4), method="bounded",
                                   options={"xatol": 1e-9})
    mode, top = fit.x, -fit.fun

    def density(shift):
        return np.exp(log_density(shift) - top)

    def foot(direction):
        reach = 1e-3
        while log_density(mode + direction * reach) > top - 40:
            reach *= 1.3
        return mode + direction * reach

    low, high = foot(-1), foot(1)
    cuts = np.linspace(low, high, 25)
    pieces = [integrate.quad(density, a, b, epsabs=0, epsrel=1e-11)[0] for a, b in zip(cuts, cuts[1:])]
    below = np.concatenate([[0], np.cumsum(pieces)])
    total = below[-1]

    def quantile(share):
        i = int(np.searchsorted(below, share * total)) - 1
        wanted = share * total - below[i]
        rest = lambda s: integrate.quad(density, cuts[i], s, epsabs=0, epsrel=1e-11)[0] - wanted
        return centre * np.exp(optimize.brentq(rest, cuts[i], cuts[i + 1], xtol=1e-13))

    return [quantile(share) for share in (0.05, 0.5, 0.95)]


print(json.dumps([
    {"centre": c, "cv": cv, "log_sd": sd, "liftable_age": age, "counts": counts,
     "quantiles": quantiles(c, cv, sd, age, counts)}
    for c, cv, sd, age, counts in CASES
]))
