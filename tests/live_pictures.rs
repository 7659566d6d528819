//! Invented pictures of a deck that is followed live, one of every view: no deck was heard for them.

use deckproof::reading::{
    AzimuthNow, BestPassed, BiasNow, Figure, FlutterNow, HeardNow, HighNow, LIVE_FORMAT, LevelNow, LineNow,
    Meters, NoiseNow, PhaseTurn, Picture, PointNow, ProgrammePlace, ResponseNow, Shown, Sound, SpeedNow,
    Verdict, View,
};

fn figure(
    name: &str,
    (value, uncertainty): (f64, f64),
    unit: &str,
    target: Option<f64>,
    limit: Option<f64>,
    verdict: Option<Verdict>,
) -> Option<Figure> {
    let (name, unit) = (name.to_owned(), unit.to_owned());
    Some(Figure { name, value, uncertainty: Some(uncertainty), unit, target, limit, verdict })
}

fn picture(view: View, hz: &[f64], sound: Sound, shown: Shown, figure: Option<Figure>) -> Picture {
    Picture {
        format: LIVE_FORMAT.to_owned(),
        at_s: 754.2,
        view,
        asked: false,
        playing: HeardNow { sound, hz: hz.to_vec(), programme: None },
        meters: Meters {
            dbfs: [Some(-18.31), Some(-18.72)],
            peak_dbfs: [Some(-12.1), Some(-12.6)],
            clipped: [false, false],
            one_signal: false,
        },
        shown,
        troubles: Vec::new(),
        done: None,
        figure,
    }
}

/// A programme that plays.
fn placed(mut picture: Picture, part: &str, purpose: &str, left_s: f64) -> Picture {
    let (recipe, part, purpose) = ("playback".to_owned(), part.to_owned(), purpose.to_owned());
    picture.playing.programme = Some(ProgrammePlace { recipe, part, purpose, left_s });
    picture
}

/// Azimuth off by more than the limit, past its best place.
pub fn azimuth() -> Picture {
    // An ellipse of 14 degrees.
    let xy = (0..240).map(|k| {
        let phase = f32::from(k as u8) * std::f32::consts::TAU / 240.0;
        [0.92 * phase.sin(), 0.86 * (phase + 0.244).sin()]
    });
    let now = AzimuthNow {
        hz: Some(10_000.0),
        phase_deg: Some(14.2),
        phase_uncertainty_deg: Some(0.3),
        delay_us: Some(-3.94),
        delay_uncertainty_us: Some(0.09),
        angle_arcmin: Some(-0.71),
        turn: PhaseTurn::Known { hz: vec![1000.0, 3150.0, 10_000.0] },
        at_10k_deg: Some(14.2),
        limit_deg: Some(10.0),
        limit_us: Some(2.8),
        best: Some(BestPassed { value: 2.1, ago_s: 4.2 }),
        level_dbfs: [Some(-22.41), Some(-22.86)],
        below_highest_db: [Some(-0.2), Some(-0.31)],
        xy: xy.collect(),
    };
    let turned =
        figure("phase at 10 kHz", (14.2, 0.3), "degrees", Some(0.0), Some(10.0), Some(Verdict::Outside));
    let shown = Shown::Azimuth(now);
    let mut picture = picture(View::Azimuth, &[10_003.1], Sound::Tone, shown, turned);
    picture.done = Some("best place and peaks forgotten".to_owned());
    placed(picture, "azimuth-10k", "azimuth: the phase between the channels at 10 kHz", 23.4)
}

/// Azimuth by one tone, far off, with troubles.
pub fn azimuth_far() -> Picture {
    let mut picture = azimuth();
    if let Shown::Azimuth(now) = &mut picture.shown {
        now.phase_deg = Some(-131.0);
        now.delay_us = Some(36.4);
        now.angle_arcmin = Some(6.6);
        now.turn = PhaseTurn::Unknown { period_us: 100.0 };
        now.at_10k_deg = None;
        now.best = None;
        now.below_highest_db = [Some(-7.2), Some(-6.8)];
        for point in &mut now.xy {
            point[1] = -0.6 * point[0] + 0.6 * point[1];
        }
    }
    picture.figure =
        figure("phase at 10 kHz", (-131.0, 1.0), "degrees", Some(0.0), Some(10.0), Some(Verdict::Outside));
    picture.playing.programme = None;
    picture.asked = true;
    picture.done = None;
    picture.meters.clipped[1] = true;
    picture.troubles = vec![
        "right channel is clipped: turn the sound card's input down by 3 dB or more".to_owned(),
        "the signal stopped for 0.2 s: the sound card lost samples".to_owned(),
    ];
    picture
}

/// Level at the deck's output, left above its target.
pub fn level() -> Picture {
    let now = LevelNow {
        hz: Some(400.0),
        dbfs: [Some(-11.34), Some(-12.12)],
        uncertainty_db: [Some(0.02), Some(0.02)],
        deck_db: [Some(0.66), Some(-0.12)],
        mv: [Some(625.0), Some(571.0)],
        difference_db: Some(0.78),
        target_dbfs: [Some(-12.0), Some(-12.0)],
        limit_db: Some(1.0),
        match_limit_db: Some(0.5),
        against_held_db: [Some(0.32), Some(0.01)],
        against_source_db: [Some(-0.41), Some(-1.2)],
    };
    let turned = figure("left minus right", (0.78, 0.03), "dB", Some(0.0), Some(0.5), Some(Verdict::Outside));
    placed(
        picture(View::Level, &[400.1], Sound::Tone, Shown::Level(now), turned),
        "level-400",
        "playback level",
        11.0,
    )
}

/// Level of whatever plays, with nothing known of the deck.
pub fn level_bare() -> Picture {
    let now = LevelNow {
        hz: None,
        dbfs: [Some(-18.31), None],
        uncertainty_db: [Some(0.4), None],
        deck_db: [None, None],
        mv: [None, None],
        difference_db: None,
        target_dbfs: [None, None],
        limit_db: None,
        match_limit_db: None,
        against_held_db: [None, None],
        against_source_db: [None, None],
    };
    let mut picture = picture(View::Level, &[], Sound::Music, Shown::Level(now), None);
    picture.meters.dbfs[1] = None;
    picture.meters.peak_dbfs[1] = None;
    picture.asked = true;
    picture
}

/// Bias, raised past the peak.
pub fn bias() -> Picture {
    let high = |hz, difference: [f64; 2], past: [f64; 2], change: [f64; 2], ago_s| HighNow {
        hz,
        high_db: [Some(-20.2 + difference[0]), Some(-20.1 + difference[1])],
        difference_db: difference.map(Some),
        uncertainty_db: [Some(0.11), Some(0.12)],
        past_peak_db: past.map(Some),
        change_db: change.map(Some),
        ago_s,
    };
    let now = BiasNow {
        low_hz: 400.0,
        low_db: [Some(-0.21), Some(-0.14)],
        high: vec![
            high(10_000.0, [-1.62, 0.34], [2.1, 1.4], [-0.31, 0.02], 0.6),
            high(12_500.0, [-2.1, 0.1], [2.8, 1.9], [-0.41, 0.0], 1.4),
            high(16_000.0, [-3.3, -0.6], [4.1, 2.7], [-0.62, 0.21], 2.2),
        ],
        k3_percent: [Some(0.84), Some(0.71)],
        k3_hz: Some(400.0),
        against_source: true,
        limit_db: Some(1.5),
    };
    let turned = figure(
        "left, 10 kHz against 400 Hz",
        (-1.62, 0.11),
        "dB",
        Some(0.0),
        Some(1.5),
        Some(Verdict::Marginal),
    );
    let tones = [400.0, 10_000.0, 12_500.0, 16_000.0];
    picture(View::Bias, &tones, Sound::AtOnce, Shown::Bias(now), turned)
}

/// Speed a little fast, with flutter.
pub fn speed() -> Picture {
    let spectrum = (0..300).map(|k| {
        let hz = 0.2 * 1000f64.powf(f64::from(k) / 299.0);
        let line = |at: f64, size: f64| size / (1.0 + ((hz - at) / (0.03 * at)).powi(2));
        [hz, 0.003 + 0.006 / hz + line(0.52, 0.05) + line(6.1, 0.03) + line(25.1, 0.012)]
    });
    let line = |hz, percent_peak, part: &str| LineNow { hz, percent_peak, part: part.to_owned() };
    let flutter = FlutterNow {
        to_hz: 200.0,
        over_s: 28.0,
        needle_percent: Some(0.081),
        weighted_quasi_peak_percent: Some(0.0874),
        weighted_rms_percent: Some(0.0461),
        limit_percent: Some(0.15),
        lines: vec![
            line(6.06, 0.041, "pinch roller of 25 mm or so"),
            line(0.52, 0.03, "reel hub of the take-up side"),
            line(25.12, 0.011, ""),
        ],
        spectrum: spectrum.collect(),
    };
    let now = SpeedNow {
        hz_1s: 3158.42,
        hz_10s: Some(3157.9),
        nominal_hz: Some(3150.0),
        nominal_is_known: true,
        error_1s_percent: Some(0.267),
        error_10s_percent: Some(0.251),
        uncertainty_percent: Some(0.02),
        limit_percent: Some(0.5),
        flutter: Some(flutter),
    };
    let turned = figure("speed error", (0.267, 0.02), "%", Some(0.0), Some(0.5), Some(Verdict::Within));
    placed(
        picture(View::Speed, &[3158.4], Sound::Tone, Shown::Speed(now), turned),
        "speed-3150",
        "speed and flutter",
        41.0,
    )
}

/// A tone whose frequency nobody told.
pub fn speed_unknown() -> Picture {
    let mut picture = speed();
    if let Shown::Speed(now) = &mut picture.shown {
        now.nominal_is_known = false;
        now.flutter = None;
        now.limit_percent = None;
    }
    picture.playing.programme = None;
    picture.figure = None;
    picture
}

/// Response that falls on the left.
pub fn response() -> Picture {
    let points = |off: [f64; 2]| -> Vec<PointNow> {
        let each = (-17..=13).map(|k| {
            let hz = 1000.0 * 10f64.powf(f64::from(k) / 10.0);
            let treble = (hz / 16_000.0).powi(2);
            let bass = (40.0 / hz).powi(2);
            let wave = 0.3 * (f64::from(k) * 0.9).sin();
            let db = [0, 1].map(|c: usize| wave * (1.0 - c as f64 * 0.6) - off[c] * treble - 0.8 * bass);
            PointNow { hz, db: db.map(Some), uncertainty_db: [Some(0.3); 2] }
        });
        each.collect()
    };
    let now = ResponseNow {
        reference_hz: 400.0,
        points: points([3.4, 0.9]),
        held: points([5.2, 2.9]),
        limit_db: Some(3.0),
        limit_from_hz: Some(40.0),
        limit_to_hz: Some(16_000.0),
        worst: Some((16_000.0, -3.55, 0)),
        against_source: false,
        over_s: 31.0,
    };
    let turned =
        figure("worst of the response", (-3.55, 0.3), "dB", Some(0.0), Some(3.0), Some(Verdict::Marginal));
    placed(
        picture(View::Response, &[], Sound::Noise, Shown::Response(now), turned),
        "noise-response",
        "response in third octaves",
        112.0,
    )
}

/// Noise with hum on the left.
pub fn noise() -> Picture {
    let line = |hz, db: [f64; 2]| PointNow { hz, db: db.map(Some), uncertainty_db: [Some(0.3); 2] };
    let now = NoiseNow {
        reference: "re 0 dB of the deck at 400 Hz".to_owned(),
        a_weighted_db: [Some(-52.4), Some(-55.8)],
        unweighted_db: [Some(-41.1), Some(-49.7)],
        uncertainty_db: [Some(0.2), Some(0.2)],
        mains_hz: Some(50.01),
        hum_db: [Some(-44.2), Some(-61.0)],
        lines: vec![
            line(50.01, [-45.1, -63.0]),
            line(100.02, [-52.7, -66.4]),
            line(150.03, [-58.2, -71.9]),
            line(250.05, [-70.3, -80.1]),
        ],
        limit_db: Some(-52.0),
        hum_limit_db: Some(-55.0),
        lowest_db: [Some(-53.9), Some(-55.9)],
    };
    let turned = figure("hum, left", (-44.2, 0.2), "dB", None, None, Some(Verdict::Outside));
    picture(View::Noise, &[], Sound::Silence, Shown::Noise(now), turned)
}

/// Nothing that a figure could come from.
pub fn nothing() -> Picture {
    let why = "Play a tone of 10 kHz, or a programme with azimuth tones.".to_owned();
    let mut picture = picture(View::Azimuth, &[], Sound::Silence, Shown::Nothing { why }, None);
    picture.asked = true;
    picture.meters.dbfs = [Some(-71.3), Some(-70.8)];
    picture.meters.peak_dbfs = [Some(-58.0), Some(-58.4)];
    picture
}

/// All of them with their names.
pub fn all() -> Vec<(&'static str, Picture)> {
    vec![
        ("azimuth", azimuth()),
        ("azimuth-far", azimuth_far()),
        ("level", level()),
        ("level-bare", level_bare()),
        ("bias", bias()),
        ("speed", speed()),
        ("speed-unknown", speed_unknown()),
        ("response", response()),
        ("noise", noise()),
        ("nothing", nothing()),
    ]
}
