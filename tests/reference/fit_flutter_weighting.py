"""Fits a rational model with real poles and zeros to the flutter weighting table.

Made with Python 3.11.7, numpy 2.4.6, scipy 1.17.1 (requirements.txt). Run from the repository's root:

    python3 tests/reference/fit_flutter_weighting.py

It prints the constants for src/trade/flutter_weighting.rs and the residual at every row, and writes
tests/reference/flutter_weighting_fit.tsv: the model's response by scipy.signal.freqs_zpk at frequencies on and
between the rows, for the test that the Rust code computes the same.

How it was looked at: the residuals below were read row by row, and the curve on a dense grid from 0.05 to 400 Hz has a
single maximum (0.02 dB near 3.6 Hz), so the fit does not wiggle between the rows.

What limits the fit: the table (from memory, see tests/tables/iec-60386-flutter-weighting.tsv) is not smooth at the top:
its slope goes 4.5, 5.8, 4.7, 5.7 dB an octave from 20 to 200 Hz, and no network with real poles follows that. Least
squares and minimax fits of many orders (3 zeros at DC; 0 to 5 further zeros; 4 to 8 poles) reach at best, as largest
residual from 0.2 to 200 Hz: order 4: 0.81 dB, 5: 0.49, 6: 0.27, 7: 0.24, 8: 0.19 dB. The aim of 0.1 dB at every row
is therefore not met with real poles (nor, in a separate trial, with complex pairs: 0.16 dB at order 8); the order 8
least-squares model below stays within 0.25 dB. The option --orders repeats the search over orders from random starts
(some minutes; a start may stop early, so it shows what is reachable, not a bound).

Free fits of order 8 drive four poles onto one value and two onto another (they would like to be complex). The model
therefore has a fourfold and a twofold pole from the start, which keeps the problem well conditioned.
"""

import pathlib
import sys

import numpy as np
from scipy.optimize import least_squares
from scipy.signal import freqs_zpk

HERE = pathlib.Path(__file__).resolve().parent
TABLE = HERE.parent / "tables" / "iec-60386-flutter-weighting.tsv"
ZEROS_AT_DC = 3
MULTIPLICITY = np.array([4, 2, 1, 1])
# The row at 0.1 Hz has no tolerance and weighs nothing in any reading (-48 dB): it steers the fit a little only.
WEIGHT_OF_0_1_HZ = 0.1


def read_table():
    rows = [line.split("\t") for line in TABLE.read_text().splitlines() if line and not line.startswith("#")]
    return np.array([float(r[0]) for r in rows[1:]]), np.array([float(r[1]) for r in rows[1:]])


def raw_db(hz, zeros, poles):
    """Not normalised. 10 lg of products, written out so that it shares nothing with freqs_zpk."""
    db = 20 * ZEROS_AT_DC * np.log10(hz)
    for zero in zeros:
        db = db + 10 * np.log10(hz**2 + zero**2)
    for pole, times in zip(poles, MULTIPLICITY):
        db = db - 10 * times * np.log10(hz**2 + pole**2)
    return db


def model_db(hz, log_hz):
    zeros, poles = np.exp(log_hz[:4]), np.exp(log_hz[4:])
    return raw_db(hz, zeros, poles) - raw_db(4.0, zeros, poles)


def search_orders():
    """Largest residual of the best minimax fit of each order, free real zeros and poles, 3 zeros at DC."""
    hz, want_db = (column[1:] for column in read_table())
    rng = np.random.default_rng(2)
    bounds = (np.log(1e-2), np.log(2e3))

    def free_db(f, x, zeros):
        def raw(f):
            corner = np.exp(x)[:, None]
            terms = 10 * np.log10(np.atleast_1d(f) ** 2 + corner**2)
            return 20 * ZEROS_AT_DC * np.log10(f) + terms[:zeros].sum(axis=0) - terms[zeros:].sum(axis=0)
        return raw(f) - raw(4.0)

    for zeros, poles in [(0, 4), (1, 5), (2, 5), (2, 6), (3, 6), (3, 7), (4, 7), (3, 8), (4, 8), (5, 8)]:
        best = np.inf
        for _ in range(12):
            x = rng.uniform(np.log(0.1), np.log(200), zeros + poles)
            for power in (1, 2, 4, 8, 12):
                x = least_squares(lambda x: np.abs((free_db(hz, x, zeros) - want_db) / 0.2) ** power, x, bounds=bounds).x
            best = min(best, np.abs(free_db(hz, x, zeros) - want_db).max())
        print(f"3 + {zeros} zeros, {poles} poles: largest residual {best:.3f} dB", flush=True)


def main():
    hz, want_db = read_table()
    weight = np.where(hz < 0.15, WEIGHT_OF_0_1_HZ, 1.0)
    start = np.log([0.17, 1.5, 6.7, 74.0, 0.44, 3.4, 13.5, 91.0])
    fit = least_squares(lambda x: weight * (model_db(hz, x) - want_db), start, xtol=1e-15, ftol=1e-15, gtol=1e-15)
    assert fit.success, fit.message
    zeros, poles = np.exp(fit.x[:4]), np.exp(fit.x[4:])
    all_poles = np.repeat(poles, MULTIPLICITY)

    print("ZEROS_HZ", ", ".join(f"{z:.10}" for z in np.sort(zeros)))
    print("POLES_HZ", ", ".join(f"{p:.10}" for p in np.sort(all_poles)))
    # As printed, so that the written constants and the reference are the same numbers.
    zeros = np.array([float(f"{z:.10}") for z in np.sort(zeros)])
    all_poles = np.array([float(f"{p:.10}") for p in np.sort(all_poles)])
    z = -np.concatenate([np.zeros(ZEROS_AT_DC), zeros])

    def response_db(f):
        _, h = freqs_zpk(z, -all_poles, 1.0, worN=np.append(f, 4.0))
        db = 20 * np.log10(np.abs(h))
        return db[:-1] - db[-1]

    got_db = response_db(hz)
    residual = got_db - want_db
    for row in zip(hz, want_db, got_db, residual):
        print("{:8} Hz  table {:6.1f}  model {:8.3f}  residual {:6.3f} dB".format(*row))
    print(f"rms {np.sqrt(np.mean(residual[1:] ** 2)):.3f} dB, largest {np.abs(residual[1:]).max():.3f} dB (0.2 to 200 Hz)")
    dense = np.geomspace(0.05, 400, 20001)
    dense_db = response_db(dense)
    print(f"maximum {dense_db.max():.4f} dB at {dense[dense_db.argmax()]:.2f} Hz; turning points:",
          int(np.sum(np.diff(np.sign(np.diff(dense_db))) != 0)))

    grid = np.unique(np.concatenate([hz, np.round(np.geomspace(0.05, 400, 40), 4)]))
    with open(HERE / "flutter_weighting_fit.tsv", "w") as out:
        out.write("# Response of the rational flutter weighting model, 0 dB at 4 Hz. Made by fit_flutter_weighting.py with numpy 2.4.6\n"
                  "# and scipy 1.17.1 (scipy.signal.freqs_zpk), which says how it was looked at. Do not edit by hand.\n"
                  "hz\tmodel_db\n")
        for f, db in zip(grid, response_db(grid)):
            out.write(f"{f:.10g}\t{db:.9f}\n")


if __name__ == "__main__":
    search_orders() if sys.argv[1:] == ["--orders"] else main()
