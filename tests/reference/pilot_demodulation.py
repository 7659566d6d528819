"""Measures the speed wander of the pilot tone of a real data cassette's recording with numpy and scipy.

Versions: Python 3.11.7, numpy 2.4.6, scipy 1.17.1 (requirements.txt). Run from the repository's root:

    python3 tests/reference/pilot_demodulation.py PATH/c64file.wav

The recording is src/test/testFiles/c64file.wav of the public repository eightbitjim/cassette-nibbler (GNU GPL version 3),
commit 788a04b49fe3d4c0905bd26109994d4952ad5db2: mono, 44.1 kHz, 16 bit, 18.1 s. It is not part of this project, whose
licence is another: only the numbers measured from it are kept, in pilot_demodulation.tsv.

Method: times exp(-j 2 pi 2700 t), Butterworth low-pass of order 4 at 250 Hz run forwards and backwards over the whole
file, unwrapped angle, difference of neighbours, from 2.5 to 5.5 s (the pilot is steady there). The deviation is
relative to the mean frequency; its rms is taken over all of it (so 0 to about 250 Hz, and slow drift included). Lines:
local maxima of the amplitude spectrum (periodic Hann over the 3 s, so 0.33 Hz a bin and about 1.3 Hz of resolution)
between 1 and 200 Hz, amplitude corrected for the window's mean, the ten largest.

How it was looked at: the mean and the least amplitude of each half second of that stretch were printed once: 2706.7,
2708.0, 2699.0, 2697.9, 2693.5 and 2686.7 Hz; amplitude never below 0.15. So the pilot is there throughout and sinks by
about 8 Hz a second: without the best parabola the rms would be 0.541 %. The rms from 1 to 200 Hz is given beside it.
"""

import hashlib
import pathlib
import sys

import numpy as np
from scipy import signal
from scipy.io import wavfile

HERE = pathlib.Path(__file__).resolve().parent
CARRIER_HZ, LOW_PASS_HZ, FROM_S, TO_S, LINES = 2700.0, 250.0, 2.5, 5.5, 10


def main(path):
    rate, x = wavfile.read(path)
    assert x.ndim == 1 and rate == 44100, "another recording"
    digest = hashlib.sha256(pathlib.Path(path).read_bytes()).hexdigest()
    x = x / 32768.0
    t = np.arange(len(x)) / rate
    sos = signal.butter(4, LOW_PASS_HZ, fs=rate, output="sos")
    base = signal.sosfiltfilt(sos, x * np.exp(-2j * np.pi * CARRIER_HZ * t))
    hz = CARRIER_HZ + np.diff(np.unwrap(np.angle(base))) * rate / (2 * np.pi)
    part = hz[round(FROM_S * rate):round(TO_S * rate)]
    mean_hz = part.mean()
    deviation = 100 * (part / mean_hz - 1)
    window = signal.get_window("hann", len(deviation))
    spectrum = 2 * np.abs(np.fft.rfft(deviation * window)) / window.sum()
    at_hz = np.fft.rfftfreq(len(deviation), 1 / rate)
    peaks, _ = signal.find_peaks(spectrum)
    peaks = [p for p in peaks if 1.0 <= at_hz[p] <= 200.0]
    peaks = sorted(peaks, key=lambda p: -spectrum[p])[:LINES]
    inside = (at_hz >= 1.0) & (at_hz <= 200.0)
    plain = np.abs(np.fft.rfft(deviation)) / len(deviation)
    rows = [("mean_hz", mean_hz, "Hz"), ("deviation_rms", deviation.std(), "percent"),
            ("deviation_rms_1_to_200_hz", np.sqrt(2 * np.sum(plain[inside] ** 2)), "percent")]
    rows += [(f"line_{at_hz[p]:.3f}_hz", spectrum[p], "percent peak") for p in peaks]
    with open(HERE / "pilot_demodulation.tsv", "w") as out:
        out.write("# Made by pilot_demodulation.py (numpy 2.4.6, scipy 1.17.1), which names the recording and the method.\n"
                  f"# The recording's sha256: {digest}. Do not edit by hand.\n"
                  "quantity\tvalue\tunit\n")
        for what, value, unit in rows:
            out.write(f"{what}\t{value:.6g}\t{unit}\n")
            print(what, f"{value:.6g}", unit)


if __name__ == "__main__":
    if len(sys.argv) != 2:
        sys.exit("usage: pilot_demodulation.py RECORDING.wav")
    main(sys.argv[1])
