//! Twelve invented decks with the normal hiss and flutter that the targets are for, each with faults of its own.

/// Name and description.
pub const TWELVE: [(&str, &str); 12] = [
    (
        "plain",
        concat!(
            "tape = { hiss = { db = -52 } }\n",
            "speed = { flutter = [{ hz = 4.1, percent_peak = 0.1 }] }"
        ),
    ),
    (
        "6 % fast",
        "[speed]\nerror_percent = 6\nflutter = [{ hz = 2.3, percent_peak = 0.1 }]\n[tape]\nhiss = { db = -52 }\n\
         [capture]\nclock_ppm = -80",
    ),
    (
        "6 % slow, drifting",
        "[speed]\nerror_percent = -5.9\ndrift_percent_per_min = 0.02\nflutter = [{ hz = 8.7, percent_peak = 0.08 }]\n\
         [tape]\nhiss = { db = -50 }\n[azimuth]\nangle_arcmin = 1.5",
    ),
    (
        "tilted by 5'",
        "[azimuth]\nangle_arcmin = 5\n[speed]\nrandom = { percent_rms = 0.1, low_hz = 0.3, high_hz = 150 }\n[tape]\n\
         hiss = { db = -52 }\n[electronics]\nleft_into_right_db = -42\nright_into_left_db = -40",
    ),
    (
        "tilted by -12' and dull",
        "[azimuth]\nangle_arcmin = -12\n[head]\nspacing_um = [0.3, 0.1]\ngap_um = 1.4\n[speed]\n\
         flutter = [{ hz = 5.5, percent_peak = 0.1 }]\n[tape]\nhiss = { db = -52 }",
    ),
    (
        "dirty left",
        "[head]\nspacing_um = [0.7, 0.05]\ngap_um = 1.2\n[azimuth]\nangle_arcmin = 0.6\n[speed]\n\
         flutter = [{ hz = 4.1, percent_peak = 0.06 }]\n[tape]\nhiss = { db = -54 }\n[electronics]\n\
         left_into_right_db = -42\nright_into_left_db = -42",
    ),
    (
        "70 for 120 us on the right, capacitors dried out on the left",
        "[playback]\nsections = [{ kind = \"shelf\", pole_us = 70, zero_us = 120, channel = \"right\" }]\n[head]\n\
         coupling_hz = [45, 8]\n[speed]\nflutter = [{ hz = 4.1, percent_peak = 0.06 }]\n[tape]\nhiss = { db = -52 }\n\
         [azimuth]\nangle_arcmin = -0.8",
    ),
    (
        "saturating, uneven",
        "[tape]\nsaturation = { k3_percent_at_0db = 3, k2_percent_at_0db = 0.4 }\nhiss = { db = -50 }\n[playback]\n\
         gain_db = [1.5, -2.5]\n[speed]\nflutter = [{ hz = 0.7, percent_peak = 0.1 }, { hz = 11, percent_peak = 0.04 }]",
    ),
    (
        "hissing",
        "[tape]\nhiss = { db = -46 }\nmodulation_noise = { db = -46 }\n[speed]\n\
         random = { percent_rms = 0.1, low_hz = 0.3, high_hz = 150 }\n[azimuth]\nangle_arcmin = 1",
    ),
    (
        "humming a little, offset",
        "[electronics]\nhum = { hz = 60, level_db = [-58, -54], harmonics_db = [-6, -9, -20] }\n\
         dc_offset = [0.01, -0.02]\n[tape]\nhiss = { db = -52 }\n[speed]\nflutter = [{ hz = 6.6, percent_peak = 0.1 }]",
    ),
    (
        "crossed and inverted, fluttering",
        "[electronics]\nswapped = true\ninverted = [\"left\"]\n[speed]\nerror_percent = -1.2\n\
         random = { percent_rms = 0.2, low_hz = 0.3, high_hz = 150 }\n[tape]\nhiss = { db = -52 }\n[azimuth]\n\
         angle_arcmin = 2",
    ),
    (
        "dead right",
        "[electronics]\ndead = \"right\"\n[speed]\nerror_percent = 0.4\nflutter = [{ hz = 4.1, percent_peak = 0.08 }]\n\
         [tape]\nhiss = { db = -52 }\n[head]\nbump = { hz = 60, db = 1.5, q = 1.5 }",
    ),
];
