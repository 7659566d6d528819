"""Makes the readings in this folder. All values, names and files are invented; no deck was measured.

Run: python3 make.py (Python 3.11 or later, no packages). The findings are filled in by
`DECKPROOF_BLESS=1 cargo test --lib findings_and_work_of`, and were read through by a person after that.
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


def harmonics(k3_at_0db, hz=315.0):
    """Third harmonic by a square law, second by a line; below 0.05 % it is lost in noise."""
    steps = []
    for level in [-10.0, -6.0, -4.0, -2.0, 0.0, 2.0, 4.0, 6.0, 8.0]:
        k3 = [round(k * 10 ** (level / 10), 4) for k in k3_at_0db]
        k2 = [round(0.1 * k * 10 ** (level / 20), 4) for k in k3_at_0db]

        def told(values):
            return [k if k >= 0.05 else None for k in values]

        def uncertainty(values):
            return [None if k is None else round(0.008 + 0.01 * k, 4) for k in told(values)]

        def limit(values):
            return [0.05 if k is None else None for k in told(values)]

        total = [round(math.hypot(a, b), 4) for a, b in zip(k2, k3)]
        steps.append(
            {
                "part": f"mol{level:+g}dB",
                "hz": hz,
                "programme_db": level,
                "level_dbfs": [round(level - 12.1, 2), round(level - 12.3, 2)],
                "k2_percent": told(k2),
                "k3_percent": told(k3),
                "k5_percent": [None, None],
                "thd_percent": told(total),
                "k2_uncertainty_percent": uncertainty(k2),
                "k3_uncertainty_percent": uncertainty(k3),
                "thd_uncertainty_percent": uncertainty(total),
                "k2_limit_percent": limit(k2),
                "k3_limit_percent": limit(k3),
                "k5_limit_percent": [0.05, 0.05],
                "thd_limit_percent": limit(total),
            }
        )
    at = [10 * math.log10(3 / k) for k in k3_at_0db]
    found = [db <= 8 for db in at]
    return {
        "relative_to": "the whole tone as returned",
        "highest_order": 7,
        "steps": steps,
        "k3_3percent_hz": hz,
        "k3_3percent_at_db": [round(db, 2) if ok else None for db, ok in zip(at, found)],
        "k3_3percent_uncertainty_db": [0.06 if ok else None for ok in found],
        "k3_3percent_output_db": [round(db - 0.2, 2) if ok else None for db, ok in zip(at, found)],
        "k3_3percent_why": [None if ok else "above the highest step" for ok in found],
    }


def twins():
    def step(level):
        third = round(4.0 * 10 ** (level / 10), 4)
        return {
            "part": f"twin{level:+g}dB",
            "hz": [10000.0, 10930.0],
            "programme_db": level,
            "level_dbfs": [round(level - 12.6, 2), round(level - 12.4, 2)],
            "second_percent": [0.21, None],
            "third_percent": [third, round(0.7 * third, 4)],
            "second_uncertainty_percent": [0.03, None],
            "third_uncertainty_percent": [0.05, 0.05],
            "second_limit_percent": [None, 0.09],
            "third_limit_percent": [None, None],
        }

    return {"relative_to": "the sum of both tones as returned", "steps": [step(level) for level in [-12.0, -6.0, 0.0]]}


def ladder(hz, summits):
    """Output along a parabola to its summit (level in the programme, output); no summit: it still rises."""
    levels = [-20.0, -15.0, -10.0, -8.0, -6.0, -4.0, -2.0, 0.0, 2.0, 4.0]

    def gain(level, summit):
        at, _ = summit
        bend = 0.06 if at is not None else 0.01
        return round(-bend * max(0.0, level + 16) ** 2 * 0.45, 3)

    steps = [
        {
            "programme_db": level,
            "gain_db": [gain(level, summit) for summit in summits],
            "uncertainty_db": [None, None] if level == levels[0] else [0.03, 0.03],
            "return_dbfs": [round(level - 12.5 + gain(level, summit), 3) for summit in summits],
        }
        for level in levels
    ]
    known = [at is not None for at, _ in summits]
    return {
        "hz": hz,
        "steps": steps,
        "max_output_db": [output for _, output in summits],
        "max_output_uncertainty_db": [0.05 if ok else None for ok in known],
        "max_output_at_db": [at for at, _ in summits],
        "max_output_why": [None if ok else "the output still rises at the highest step" for ok in known],
    }


def surer(row):
    """What sweep and noise do for a step that they agree with."""
    halved = [None if u is None else round(0.5 * u, 4) for u in row["uncertainty_db"]]
    return {**row, "uncertainty_db": halved}


def saturation():
    return {
        **ladder(10000.0, [(2.52, -6.91), (None, None)]),
        "reference": "the level tone as returned, converted to 0 dB of the programme",
        "others": [ladder(14000.0, [(2.5, -7.4), (2.5, -7.2)])],
        "noise": [],
    }


def leakage(left_at_1k, right_at_1k):
    def row(hz, level, more):
        return {
            "hz": hz,
            "programme_db": level,
            "left_into_right_db": round(left_at_1k + more, 2),
            "right_into_left_db": round(right_at_1k + more, 2),
            "left_into_right_uncertainty_db": 0.2,
            "right_into_left_uncertainty_db": 0.2,
            "noise_limit_db": [-78.2, -77.5],
        }

    return [row(315.0, 0.0, -1.5), row(1000.0, 0.0, 0.0), row(10000.0, -10.0, 6.0)]


ERASED = {
    "hz": 1000.0,
    "programme_db": 0.0,
    "erased_from_s": 55.1,
    "erased_to_s": 75.6,
    "residual_db": [None, -46.2],
    "uncertainty_db": [None, 0.3],
    "noise_limit_db": [-74.3, -74.1],
    "why": None,
}
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


def course(lines, floor, wobble):
    """Deviation over time: the named lines and a little else, in 120 pieces of half a second."""
    pieces = []
    for k in range(120):
        at = 96.65 + 0.5 * k
        values = []
        for n in range(11):
            t = at - 0.25 + 0.05 * n
            values.append(sum(line["percent_peak"] * math.sin(2 * math.pi * line["hz"] * t) for line in lines if line["hz"] < 20))
        values = [value + floor * (2 * wobble(k) - 1) for value in values]
        pieces.append([round(at, 3), round(min(values), 5), round(max(values), 5)])
    return {"band_hz": [0.1, 20.0], "piece_s": 0.5, "pieces": pieces}


def hiss(a_weighted, hum):
    """Third octaves of hiss that rises 3 dB an octave up to 8 kHz, and two of hum in theirs."""
    bands = []
    for n in range(-17, 14):
        hz = 1000 * 10 ** (n / 10)
        power = 10 ** ((a_weighted - 9.5 + 8 * math.log10(min(hz, 8000) / 4000)) / 10)
        lines = {-13: hum - 0.7, -8: hum - 9.0}
        louder = [power + 10 ** (lines[n] / 10) if n in lines else power, power + 10 ** ((lines[n] - 1) / 10) if n == -13 else power]
        u = round(math.hypot(0.05, 2 * 4.343 / math.sqrt(0.2316 * hz * 20 / 1.139)), 3)
        bands.append(
            {
                "hz": round(hz, 4),
                "db": [round(10 * math.log10(louder[0]), 2), round(10 * math.log10(louder[1]) - 0.4, 2)],
                "uncertainty_db": [u, u],
            }
        )
    return bands


SHARES = [40.0, 100.0, 1000.0, 5000.0, 10000.0, 15000.0]
CURVE = [40.0, *[round(10 ** (k / 20), 4) for k in range(33, 84)], 16000.0]


def causes_of(data):
    """Azimuth by the delay, as much spacing as the treble lacks at 10 kHz besides, and a bass corner on the left."""

    def azimuth(hz):
        x = math.pi * 0.6 * hz * data["azimuth"]["delay_us"] * 1e-6 / 0.9
        return 20 * math.log10(math.sin(x) / x)

    causes, unexplained = [], []
    for side, channel in enumerate(["left", "right"]):
        steps = {row["hz"]: row["db"][side] for row in data["response"]["steps"]}
        spacing_um = (azimuth(10000) - steps[10000]) / (54.575 * 9600 / 47625)
        shapes = [
            ("azimuth", azimuth, data["azimuth"]["delay_us"], "us", "follows from the measured delay; set azimuth before anything else"),
            ("spacing", lambda hz: -54.575 * spacing_um * hz / 47625, spacing_um, "um", "falls in proportion to frequency, as if the tape ran so far off the head"),
        ]
        if side == 0:
            shapes.append(("coupling", lambda hz: -10 * math.log10(1 + (22 / hz) ** 2), 22.0, "Hz", "a coupling capacitor, 3 dB down at this corner"))

        def db(shape, hz):
            return round(shape(hz) - shape(400), 3)

        for cause, shape, value, unit, why in shapes:
            causes.append(
                {
                    "channel": channel,
                    "cause": cause,
                    "value": round(value, 3),
                    "uncertainty": round(0.06 * abs(value), 3),
                    "unit": unit,
                    "height_db": None,
                    "shares_db": [[hz, db(shape, hz), round(0.02 + 0.06 * abs(db(shape, hz)), 3)] for hz in SHARES],
                    "curve_db": [[hz, db(shape, hz)] for hz in CURVE],
                    "probability": None if cause == "azimuth" else 0.97,
                    "instead": [],
                    "why": why,
                }
            )
        left = [[hz, round(steps[hz] - sum(db(shape[1], hz) for shape in shapes), 3)] for hz in STEPS]
        unexplained.append(
            {
                "channel": channel,
                "ripple_db": 0.4,
                "most_hz": max(left, key=lambda row: abs(row[1]))[0],
                "left_db": left,
                "points": len(left),
                "perhaps": [],
            }
        )
    return causes, unexplained


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
            "difference_uncertainty_db": None,
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
            "loopback": None,
        },
        "circumstances": told,
        "found": [],
        "tape": None,
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
            "combined": [surer(row(hz, False)) for hz in STEPS],
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
            "spectrum_widths_hz": [0.5] * len(spectrum),
            "speed_against_time": course(flutter["lines"], flutter["floor"], wobble),
        },
        "noise": {
            "reference": "the level tone (400 Hz, 0 dB in the programme)",
            "reference_dbfs": [round(-12 + gain[0], 3), round(-12 + gain[1], 3)],
            "unweighted_db": [noise + 3.6, noise + 3.2],
            "a_weighted_db": [noise, round(noise - 0.4, 2)],
            "itu468_db": [noise + 10.4, round(noise + 10.1, 2)],
            "itu468_spread_db": [0.31, 0.29],
            "uncertainty_db": [0.25, 0.25],
            "itu468_uncertainty_db": [0.2, 0.2],
            "unweighted_without_hum_db": [noise + 3.3, round(noise + 3.0, 2)],
            "a_weighted_without_hum_db": [round(noise - 0.1, 2), round(noise - 0.5, 2)],
            "mains": {
                "hz": 50.02,
                "uncertainty_hz": 0.006,
                "nominal_hz": 50.0,
                "origin": "playback",
                "origin_why": "it stands at the mains' own frequency; on the tape it would be 49.10 Hz",
                "hum_db": [hum, hum - 1.1],
                "uncertainty_db": [0.1, 0.1],
                "lines": [[50.02, hum - 0.7, hum - 1.6], [150.06, hum - 9.0, None]],
            },
            "bands": hiss(noise, hum),
        },
        "distortion": None,
        "intermodulation": None,
        "saturation": None,
        "separation": [],
        "erasing": None,
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
healthy["distortion"] = harmonics([0.4, 0.45])
healthy["separation"] = leakage(-44.1, -43.2)
faulty["distortion"] = harmonics([2.2, 1.1])
faulty["intermodulation"] = twins()
faulty["saturation"] = saturation()
faulty["separation"] = leakage(-38.3, -30.2)
faulty["erasing"] = ERASED
faulty["causes"], faulty["unexplained"] = causes_of(faulty)
faulty["dropouts"] = [
    {"at_s": 61.24, "part": "step-3150", "depth_db": 7.4, "length_ms": 38.0, "channel": "left"},
    {"at_s": 118.9, "part": "flutter", "depth_db": 4.1, "length_ms": 22.0, "channel": "both"},
]
faulty["warnings"] = [
    {"id": "dropouts", "text": "2 dropouts in steady tones; clean the heads and try another stretch of tape"},
    {"id": "hum", "text": "mains hum stands 10 dB above the noise; check the ground between deck and PC"},
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



def heard(kind, from_s, to_s, dbfs, hz=None, nominal=None, by=None, serves="nothing", part=None, to_hz=None):
    return {
        "kind": kind,
        "from_s": from_s,
        "to_s": to_s,
        "hz": hz,
        "to_hz": to_hz,
        "return_dbfs": dbfs,
        "serves": serves,
        "nominal_hz": nominal,
        "nominal_by": by,
        "part": part,
    }


unslated = json.loads(json.dumps(healthy))
unslated["recipe"] = None
unslated["capture"].update(file="tape-3.wav", slates_found=0, first_slate_s=None)
unslated["found"] = [
    heard("other", 0.4, 6.2, [-21.3, -21.4]),
    heard("tone", 7.11, 15.12, [-10.92, -11.08], 315.71, 315.0, "tape", "level, speed", "tone-315"),
    heard("silence", 15.2, 18.4, [-66.1, -66.4], serves="noise", part="silence"),
    heard("tone", 18.5, 78.44, [-21.0, -21.2], 3157.1, 3150.0, "guess", "flutter, speed", "tone-3150"),
    heard("tone", 80.02, 90.0, [-31.9, None], 10023.2, 10000.0, "known", "response, azimuth, speed", "tone-10000"),
    heard("tone", 91.3, 95.2, [-30.0, -30.1], 2698.7),
    heard("sweep", 97.0, 127.0, [None, None], 20.0, serves="response", part="sweep", to_hz=20040.0),
    heard("nothing", 127.1, 130.0, [None, None]),
]
unslated["tape"] = {
    "name": "reference tape 3 of the Lantern Lane bench (invented)",
    "certificate": True,
    "certificate_date": "2019-04-02",
    "track": "stereo",
    "reference_nwb_m": 250.0,
    "reference_stated": "open-circuit",
    "deck_standard_nwb_m": 200.0,
    "deck_standard_stated": "short-circuit",
    "level_tone_hz": 315.0,
    "level_tone_nwb_m": 252.9,
    "level_tone_against_standard_db": 1.21,
    "level_tone_uncertainty_db": 0.2,
    "standard_dbfs": [-12.13, -12.29],
    "recorded_for_us": 120.0,
    "played_at_us": 120.0,
}
unslated["warnings"] = [
    {"id": "no-slate", "text": "Read without slates: 4 steady tones, 1 sweep were found by listening"}
]

for name, data in [("healthy", healthy), ("faulty", faulty), ("empty", empty), ("unslated", unslated)]:
    (HERE / f"{name}.json").write_text(json.dumps(data, indent=2) + "\n")
