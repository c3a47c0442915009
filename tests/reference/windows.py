"""Windows found by walking day by day, without solving for any edge. Prints JSON cases with inputs
(lifts as days from an origin, oldest first) and opens, due, lapsed as days from it."""
import json

import numpy as np
from scipy import special


def survival(mean, cv, days):
    k = 1 / cv**2
    x = k * days / mean
    return special.gammaincc(k + 1, x) - x / k * special.gammaincc(k, x)


def case(random):
    mean = float(random.choice([90, 150, 240, random.uniform(40, 400)]))
    cv = float(random.choice([0.3, random.uniform(0.05, 1)]))
    age = float(random.choice([0, 0, random.uniform(0, 0.3 * mean)]))
    two, three, due = (float(random.uniform(low, 0.9)) for low in (0.2, 0.02, 0.1))
    lapsed = float(random.uniform(0.01, due))
    floor = int(random.integers(0, 90))
    lifts = np.cumsum(random.integers(1, 120, size=random.integers(1, 9))).tolist()

    def share(m, day):
        if m > len(lifts):
            return 0.0
        return survival(mean, cv, day - lifts[-m] + age) / survival(mean, cv, age)

    def first(holds):
        day = lifts[-1]
        while not holds(day):
            day += 1
        return day

    opens = first(lambda d: d - lifts[-1] >= floor and share(1, d) <= two and share(2, d) <= three)
    due_day = max(opens, first(lambda d: share(1, d) <= due))
    return {"mean": mean, "cv": cv, "liftable_age": age, "two": two, "three": three, "due": due, "lapsed": lapsed,
            "floor": floor, "lifts": lifts, "opens": opens, "due_day": due_day,
            "lapsed_day": max(due_day, first(lambda d: share(1, d) <= lapsed))}


random = np.random.default_rng(20260401)
print(json.dumps([case(random) for _ in range(300)]))
