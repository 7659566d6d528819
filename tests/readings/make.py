"""Makes the readings in this folder. All values, names and files are invented; no deck was measured.

Run: python3 make.py (Python 3.11 or later, no packages). The findings are filled in by
`DECKPROOF_BLESS=1 cargo test --test show findings_in_the_sample_readings`, and were read through by a person after that.
"""

import json
import math
import pathlib

HERE = pathlib.Path(__file__).parent
STEPS = [40, 63, 100, 125, 250, 400, 1000, 2000, 3150, 5000, 6300, 8000, 10000, 12500, 14000, 16000]
THIRDS = [1000 * 10 ** (n / 10) for n in range(-14, 13)]


def ripple(hz, depth):
    """A head's bass ripple and nothing else."""
    return depth * math.sin(6 * math.log(hz / 60)) * math.exp(-hz / 150)


FLUTTER_KINDS = [
    "weighted_quasi_peak_percent",
    "weighted_rms_percent",
    "two_sigma_percent",
    "unweighted_peak_percent",
    "unweighted_rms_percent",
    "wow_rms_percent",
    "flutter_rms_percent",
]


def flutter_figures(flutter, share):
    """All kinds of flutter figures, by made-up shares of two of them."""
    qp, rms = flutter["qp"] * share, flutter["rms"] * share
    values = [qp, rms, qp * 0.94, qp * 1.8, rms * 1.7, rms * 1.2, rms * 1.2]
    return dict(zip(FLUTTER_KINDS, [round(value, 4) for value in values]))


def median(values):
    values = sorted(values)
    return values[(len(values) - 1) // 2]


def reading(file, seed, bass, treble, delay, gain, speed, flutter, noise, hum, told):
    def db(hz, side):
        return round(
            ripple(hz, bass)
            + treble[side] * (hz / 12500) ** 2
            - treble[side] * (400 / 12500) ** 2
            - ripple(400, bass),
            3,
        )

    def row(hz, coarse):
        left, right = db(hz, 0), db(hz, 1)
        u = round(0.04 + 0.06 * (hz / 16000) ** 2 + (0.1 if coarse else 0), 3)
        return {
            "hz": round(hz, 3),
            "db": [left, right],
            "uncertainty_db": [u, u],
            "difference_db": round(left - right + gain[0] - gain[1], 3),
        }

    def wobble(k):
        return 0.5 + 0.5 * math.sin(12.9898 * (k + seed) % 7)

    spectrum = []
    for k in range(1, 121):
        hz = round(k * 0.5, 2)
        value = flutter["floor"] * (0.4 + wobble(k)) / (1 + hz / 25)
        for line in flutter["lines"]:
            if abs(hz - line["hz"]) < 0.3:
                value = line["percent_peak"] / math.sqrt(2)
        spectrum.append([hz, round(value, 5)])
    loss_x = math.pi * 0.6 * 10000 * delay * 1e-6 / 0.9
    loss = 20 * math.log10(math.sin(loss_x) / loss_x) if loss_x else 0.0
    stretches = [
        {
            "from_s": round(96.4 + 5 * k, 1),
            "to_s": round(101.4 + 5 * k, 1),
            "figures": flutter_figures(flutter, 1 + 0.12 * math.sin(1.9 * k + seed)),
        }
        for k in range(11)
    ]
    return {
        "format": "deckproof-reading/1",
        "recipe": {"name": "full", "code": "3C5A"},
        "capture": {
            "file": file,
            "rate_hz": 48000.0,
            "depth": "24",
            "duration_s": 431.2,
            "peak_dbfs": [-3.1, -3.4],
            "clipped_samples": [0, 0],
            "slates_found": 9,
            "first_slate_s": 2.318,
            "channels_swapped": False,
            "inverted": [False, False],
            "mono": False,
            "direct": None,
        },
        "circumstances": told,
        "level": [
            {
                "part": name,
                "hz": hz,
                "programme_db": level,
                "return_dbfs": [round(level - 12 + gain[0], 3), round(level - 12 + gain[1], 3)],
                "gain_db": gain,
                "difference_db": round(gain[0] - gain[1], 3),
                "uncertainty_db": 0.03,
            }
            for name, hz, level in [("level-0", 400.0, 0.0), ("level-20", 400.0, -20.0)]
        ],
        "response": {
            "reference_hz": 400.0,
            "programme_db": -20.0,
            "steps": [row(hz, False) for hz in STEPS],
            "sweep": [row(hz, True) for hz in THIRDS],
            "noise": [],
            "low_3db_hz": [None, None],
            "high_3db_hz": [round(12500 * math.sqrt(-3 / t), 1) if t < -2 else None for t in treble],
        },
        "azimuth": {
            "delay_us": delay,
            "uncertainty_us": 0.24,
            "angle_arcmin": round(math.degrees(math.atan(47.625 * delay * 1e-6 / 0.9)) * 60, 3),
            "wander_us_rms": 0.61,
            "loss_at_10k_db": round(loss, 3),
            "phase": [
                {
                    "hz": hz,
                    "deg": round(-360e-6 * hz * delay + 1.5 * math.sin(hz / 900), 2),
                    "spread_deg": round(0.4 + 360e-6 * hz * 0.61, 2),
                    "response_deg": round(0.2 * math.sin(hz / 3000), 2),
                }
                for hz in STEPS
            ],
        },
        "speed": {"error_percent": speed, "uncertainty_percent": 0.0021, "drift_percent_per_min": 0.0042},
        "flutter": {
            "carrier_hz": 3150.0,
            "measured_from_s": 96.4,
            "measured_to_s": 156.2,
            "weighted_quasi_peak_percent": flutter["qp"],
            "weighted_rms_percent": flutter["rms"],
            "two_sigma_percent": round(flutter["qp"] * 0.94, 4),
            "unweighted_peak_percent": round(flutter["qp"] * 1.8, 4),
            "unweighted_rms_percent": round(flutter["rms"] * 1.7, 4),
            "wow_rms_percent": round(flutter["rms"] * 1.2, 4),
            "flutter_rms_percent": round(flutter["rms"] * 1.2, 4),
            "uncertainty_percent": 0.0012,
            "uncertainties": dict(zip(FLUTTER_KINDS, [0.0006, 0.0004, 0.0007, 0.0041, 0.0012, 0.0009, 0.0011])),
            "stretches": stretches,
            "spread": {
                "stretch_s": 5.0,
                **{
                    name: {kind: pick([s["figures"][kind] for s in stretches]) for kind in FLUTTER_KINDS}
                    for name, pick in [("lowest", min), ("median", median), ("highest", max)]
                },
            },
            "drift_percent_per_min": 0.0052,
            "bridged_percent": flutter.get("bridged", 0.0),
            "channel_shares": [0.53, 0.47],
            "simultaneous_null_hz": 3.175,
            "band_hz": [0.3, 6.0, 200.0],
            "lines": flutter["lines"],
            "spectrum": spectrum,
        },
        "noise": {
            "reference": "the level tone (400 Hz, 0 dB in the programme)",
            "reference_dbfs": [round(-12 + gain[0], 3), round(-12 + gain[1], 3)],
            "unweighted_db": [noise + 3.6, noise + 3.2],
            "a_weighted_db": [noise, round(noise - 0.4, 2)],
            "uncertainty_db": [0.25, 0.25],
            "mains": {"hz": 50.0, "hum_db": [hum, hum - 1.1], "lines": [[50.0, hum - 0.7, hum - 1.6], [150.0, hum - 9.0, None]]},
        },
        "dropouts": [],
        "findings": [],
        "warnings": [],
    }


healthy = reading(
    "return-good.wav", 1, 0.35, [-0.4, -0.5], 1.13, [-0.1, -0.3], -0.0834,
    {"qp": 0.0456, "rms": 0.0231, "floor": 0.002,
     "lines": [{"hz": 6.06, "percent_peak": 0.0154, "part": "capstan"}, {"hz": 2.5, "percent_peak": 0.0112, "part": None}]},
    -54.2, -67.0,
    {"recorded_on": "calibrated", "heads": 3, "tape_type": "I", "noise_reduction": "off"},
)
faulty = reading(
    "return-worn.wav", 4, 1.1, [-2.6, -3.4], 17.0, [-1.92, -0.3], 1.8342,
    {"qp": 0.3127, "rms": 0.1418, "floor": 0.006, "bridged": 1.3,
     "lines": [{"hz": 1.52, "percent_peak": 0.182, "part": "pinch roller"}, {"hz": 6.06, "percent_peak": 0.071, "part": "capstan"},
               {"hz": 27.5, "percent_peak": 0.034, "width_hz": 0.9, "part": None}]},
    -51.3, -41.0,
    {"recorded_on": "calibrated", "heads": 2, "tape_type": "I", "noise_reduction": "off"},
)
faulty["dropouts"] = [
    {"at_s": 61.24, "part": "step-3150", "depth_db": 7.4, "length_ms": 38.0, "channel": "left"},
    {"at_s": 118.9, "part": "flutter", "depth_db": 4.1, "length_ms": 22.0, "channel": "both"},
]
faulty["warnings"] = [
    {"id": "dropouts", "text": "2 dropouts in steady tones; clean the heads and try another stretch of tape"},
    {"id": "hum", "text": "power-line hum stands 10 dB above the noise; check the ground between deck and PC"},
]
empty = reading(
    "return-of-nothing.wav", 1, 0, [0, 0], 1.0, [0, 0], 0,
    {"qp": 0, "rms": 0, "floor": 0, "lines": []}, 0, 0,
    {"recorded_on": None, "heads": None, "tape_type": None, "noise_reduction": "off"},
)
empty["recipe"] = None
empty["capture"].update(slates_found=0, first_slate_s=None, duration_s=12.0, peak_dbfs=[-61.2, -60.9])
empty["level"] = []
for key in ["response", "azimuth", "speed", "flutter", "noise"]:
    empty[key] = None
empty["warnings"] = [
    {"id": "no-slate", "text": "no slate was found in 12.0 s"}
]

for name, data in [("healthy", healthy), ("faulty", faulty), ("empty", empty)]:
    (HERE / f"{name}.json").write_text(json.dumps(data, indent=2) + "\n")
