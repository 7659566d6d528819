"""Makes injected.json in this folder: a playback amplifier fed without a tape, drifted on the left, its switch stuck on the
right. All values are invented; no deck was measured.

Run: python3 make_injected.py (Python 3.11 or later, no packages) after make.py. The findings are filled in by
`DECKPROOF_BLESS=1 cargo test --lib findings_and_work_of`, and were read through by a person after that.
"""

import json
import math
import pathlib

HERE = pathlib.Path(__file__).parent
reading = json.loads((HERE / "healthy.json").read_text())
for key in ["azimuth", "speed", "flutter", "distortion", "intermodulation", "saturation", "erasing"]:
    reading[key] = None
reading["separation"] = []
reading["recipe"] = {"name": "injection", "code": "ac36"}
reading["capture"]["file"] = "return-injected.wav"
reading["capture"]["slates_found"] = 8
reading["circumstances"].update(recorded_on="injected", heads=None)
reading["findings"] = []
reading["level"] = reading["level"][:1]
HZ = [20, 28, 40, 55, 70, 80, 110, 130, 165, 210, 270, 315, 400, 500, 630, 800, 1000, 1250, 1600, 2000, 2500, 3150, 4000]
HZ += [5000, 6300, 8000, 10000, 12500, 14000, 16000, 18000, 20000]


def size(hz, us):
    return 10 * math.log10(1 + (2 * math.pi * hz * us * 1e-6) ** 2)


def off(hz, real_us, nominal_us):
    """Deviation against 400 Hz (IEC 60094-1)."""
    at = [size(f, real_us) - size(f, nominal_us) for f in (hz, 400)]
    return round(at[0] - at[1], 3)


def position(nominal_us, real_us, low):
    steps = []
    for hz in HZ:
        db = [off(hz, us, nominal_us) for us in real_us]
        steps.append(
            {
                "hz": hz,
                "db": db,
                "uncertainty_db": [0.03, 0.03],
                "difference_db": round(0.2 + db[0] - db[1], 3),
            }
        )
    return {
        "equalisation_us": nominal_us,
        "low_equalisation_us": 3180,
        "reference_hz": 400,
        "programme_db": -20,
        "gain_db": [-0.1, -0.3],
        "steps": steps,
        "high_us": real_us,
        "high_uncertainty_us": [1.4, 1.8],
        "low_us": low,
        "low_uncertainty_us": [260 if low[0] else None, None],
        "rest_db": [0.01, 0.02],
        "fitted_hz": [[20, 20000], [20, 20000]],
        "why": [None, None],
    }


reading["amplifier"] = {
    "fed_into": "amplifier-input",
    "positions": [position(120, [96.0, 121.0], [3120, None]), position(70, [71.0, 120.4], [None, None])],
    "switched": [True, False],
}
first = reading["amplifier"]["positions"][0]
reading["response"].update(steps=first["steps"], sweep=[], noise=[], combined=[], low_3db_hz=[None, None], high_3db_hz=[None, None])
(HERE / "injected.json").write_text(json.dumps(reading, indent=2) + "\n")
