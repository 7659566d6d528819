"""Spread of few readings by numpy and scipy: what `compare` states of three and more.

Versions: Python 3.11.7, numpy 2.4.6, scipy 1.17.1 (requirements.txt). Run from the repository's root:

    python3 tests/reference/spread_reference.py

It writes spread_reference.tsv beside itself, always the same bytes with the same versions. How it was looked at: the
factors repeatability / deviation of the rows with 3, 5 and 11 readings are 4.53, 2.87 and 2.28, which is the column for
95.45 % of JCGM 100:2008, table G.2.

  deviation      numpy.std(values, ddof=1)
  repeatability  deviation * scipy.stats.t.ppf(scipy.stats.norm.cdf(2), n - 1): how far one reading may lie from the mean
  is_real        whether the sum of squares over (uncertainty / 2)^2 exceeds what chance does once in a hundred, by
                 scipy.stats.chi2.sf, n - 1 degrees of freedom
"""

import pathlib

import numpy as np
from scipy import stats

SETS = [(3, 0.2, 0.1), (3, 0.1, 0.4), (4, 0.3, 0.15), (5, 0.2, 0.1), (5, 0.2, 0.35), (8, 0.1, 0.05), (11, 0.4, 0.5), (40, 0.1, 0.05)]

out = ["values\tuncertainty\tdeviation\trepeatability\tis_real"]
for k, (count, uncertainty, scatter) in enumerate(SETS):
    values = np.round(np.random.default_rng(100 + k).normal(0.3, scatter, count), 4)
    deviation = np.std(values, ddof=1)
    repeatability = deviation * stats.t.ppf(stats.norm.cdf(2), count - 1)
    chance = stats.chi2.sf((count - 1) * deviation**2 / (uncertainty / 2) ** 2, count - 1)
    assert abs(chance - 0.01) > 0.003, "too close to tell an approximation by"
    row = [",".join(f"{value:.4f}" for value in values), f"{uncertainty}", f"{deviation:.9f}", f"{repeatability:.9f}"]
    out.append("\t".join(row + [str(bool(chance < 0.01)).lower()]))
head = "# By spread_reference.py, numpy %s: see there.\n" % np.__version__
pathlib.Path(__file__).with_suffix(".tsv").write_text(head + "\n".join(out) + "\n")
