#!/usr/bin/env python3
"""Figures of outside programs for seeded pulse trains, kept in oracles.json.

Run once with Debian bookworm's python3-scipy 1.10.1 and python3-astropy 5.2.1:

    /usr/bin/python3 tests/vectors/oracles/make_oracles.py > tests/vectors/oracles/oracles.json

The readings are made here and by tests/analysis/oracles.test.ts from the same integers (a linear congruential
generator, so that both languages give the same numbers to the last bit), and nothing else is shared.
"""
import json
import sys

import astropy
import numpy
import scipy
from astropy.timeseries import BoxLeastSquares, LombScargle
from scipy.signal import find_peaks, lombscargle

TRAINS = [
    # samples, samples a period, samples a pulse, height over the noise, seed
    {"n": 4000, "period": 37.25, "width": 3, "height": 12.0, "seed": 1},
    {"n": 6000, "period": 91.7, "width": 5, "height": 8.0, "seed": 2},
    {"n": 8000, "period": 23.61, "width": 2, "height": 15.0, "seed": 3},
]


def readings(train):
    """Pulses plus noise: the sum of four uniform numbers, less its mean, scaled to a deviation of 1."""
    state = train["seed"]
    out = []
    for i in range(train["n"]):
        total = 0.0
        for _ in range(4):
            state = (1103515245 * state + 12345) % 2147483648
            total += state / 2147483648
        noise = (total - 2.0) * 1.7320508075688772
        # Whole hundredths of a sample, so that no rounding decides where a pulse begins.
        since = (100 * i) % round(100 * train["period"])
        out.append((train["height"] if since < 100 * train["width"] else 0.0) + noise)
    return numpy.array(out)


def oracle(train):
    y = readings(train)
    t = numpy.arange(train["n"], dtype=float)
    truth = train["period"]
    periods = numpy.linspace(0.98 * truth, 1.02 * truth, 8001)
    power = LombScargle(t, y).power(1 / periods, method="cython", assume_regular_frequency=False)
    omega = 2 * numpy.pi / periods
    other = lombscargle(t, y - y.mean(), omega)
    box = BoxLeastSquares(t, y).power(periods, train["width"], oversample=10)
    peaks, _ = find_peaks(y, height=train["height"] / 2, distance=int(truth / 2))
    return {
        **train,
        "sum": float(y.sum()),
        "lombScargleAstropy": float(periods[power.argmax()]),
        "lombScargleScipy": float(periods[other.argmax()]),
        "boxLeastSquaresAstropy": float(periods[box.power.argmax()]),
        "findPeaksScipy": int(len(peaks)),
    }


json.dump(
    {
        "madeBy": "make_oracles.py",
        "scipy": scipy.__version__,
        "astropy": astropy.__version__,
        "numpy": numpy.__version__,
        "trains": [oracle(train) for train in TRAINS],
    },
    sys.stdout,
    indent=2,
)
print()
