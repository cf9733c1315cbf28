"""Figures from counts, scores and intervals: SciPy, scikit-learn and statsmodels.

    python checks/python/learning.py OUT.csv

Made from random numbers with a fixed seed; read by checks/tests/learning.rs.
"""

import csv
import sys

import numpy as np
from scipy import stats
from sklearn.metrics import brier_score_loss, log_loss
from statsmodels.stats.proportion import proportion_confint

RANDOM = np.random.default_rng(20261125)


def several(numbers):
    return ";".join(repr(float(n)) for n in numbers)


def rows():
    for _ in range(12):
        before, worth = RANDOM.uniform(0.01, 0.99), RANDOM.choice([4.0, 8.0, 20.0, 50.0])
        of = int(RANDOM.integers(1, 400))
        yes = int(RANDOM.integers(0, of + 1))
        after = stats.beta(worth * before + yes, worth * (1 - before) + of - yes)
        yield "beta", repr(before), repr(float(worth)), yes, of, repr(float(after.mean()))
    for _ in range(6):
        share = RANDOM.dirichlet(np.ones(5))
        counts = RANDOM.integers(0, 30, size=5)
        after = stats.dirichlet.mean(25.0 * share + counts)
        yield "dirichlet", several(share), several(counts), several(after)
    for k, n in [(0, 1), (1, 1), (0, 12), (3, 12), (12, 12), (41, 97), (1, 400)]:
        low, high = proportion_confint(k, n, alpha=0.1, method="wilson")
        yield "wilson", k, n, repr(float(low)), repr(float(high))
    for jobs in (1, 7, 60):
        classes = 4
        said = RANDOM.dirichlet(np.full(classes, 0.7), size=jobs)
        truth = np.array([RANDOM.choice(classes, p=p) for p in said])
        # The last class is *any other*.
        labels = list(range(classes))
        brier = brier_score_loss(truth, said, labels=labels, scale_by_half=False)
        log = -log_loss(truth, said, labels=labels)
        yield "scores", "|".join(several(p) for p in said), several(truth), repr(float(brier)), repr(float(log))


def main():
    with open(sys.argv[1], "w", newline="") as file:
        out = csv.writer(file)
        file.write("# checks/python/learning.py: SciPy 1.17.1, scikit-learn 1.9.1, statsmodels 0.15.0.\n")
        out.writerows(rows())


if __name__ == "__main__":
    main()
