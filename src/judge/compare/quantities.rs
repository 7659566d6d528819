//! The quantities of a reading one by one, under names by which two readings can be held against each other.

use crate::judge::Reading;
use crate::judge::findings::flutter_varies::{Kind, flutter_uncertainty};
use crate::judge::quantities::Key;
use crate::reading::figures::{frequency, programme_level};
use crate::reading::{
    Azimuth, ComparedChannel, Distortion, Flutter, MeasuredBy, Pair, RecordedOn, Response, ResponsePoint,
    Saturation,
};

/// One quantity of one reading.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Compared {
    /// Name, as the findings have it.
    pub quantity: &'static str,
    /// Which of them.
    pub what: String,
    /// `left`, `right`, `left minus right`.
    pub channel: Option<ComparedChannel>,
    /// Frequency, where it is one of a row of them, Hz, and how it was measured.
    pub point: Option<(f64, MeasuredBy)>,
    /// Unit of the value.
    pub unit: &'static str,
    /// The value.
    pub value: Option<f64>,
    /// Its expanded uncertainty.
    pub uncertainty: Option<f64>,
    /// The limit that a change is weighed by, and how many times; `None`: the usual one of the quantity.
    pub limit: Option<(Key, f64)>,
}

impl Compared {
    /// Whether `other` is the same quantity.
    pub fn is(&self, other: &Self) -> bool {
        self.quantity == other.quantity && self.what == other.what && self.channel == other.channel
    }
}

/// Names of the origins of a tape.
pub(crate) fn recorded_on(on: RecordedOn) -> &'static str {
    match on {
        RecordedOn::Calibrated => "calibrated tape",
        RecordedOn::House => "house tape",
        RecordedOn::OtherDeck => "another deck's tape",
        RecordedOn::ThisDeck => "this deck's own recording",
        RecordedOn::Injected => "injected",
        RecordedOn::Loopback => "loopback capture",
    }
}

/// Collects rows.
struct List(Vec<Compared>);

impl List {
    fn one(
        &mut self,
        quantity: &'static str,
        what: &str,
        unit: &'static str,
        value: Option<f64>,
        u: Option<f64>,
    ) {
        self.row(quantity, (what, None), None, unit, (value, u));
    }

    fn row(
        &mut self,
        quantity: &'static str,
        (what, point): (&str, Option<(f64, MeasuredBy)>),
        channel: Option<ComparedChannel>,
        unit: &'static str,
        (value, uncertainty): (Option<f64>, Option<f64>),
    ) {
        if value.is_some() {
            let what = what.to_owned();
            self.0.push(Compared { quantity, what, channel, point, unit, value, uncertainty, limit: None });
        }
    }

    /// Left, right, and left minus right.
    fn pair(
        &mut self,
        quantity: &'static str,
        what: &str,
        unit: &'static str,
        values: Pair,
        uncertainties: Pair,
    ) {
        let difference = values[0].zip(values[1]).map(|(left, right)| left - right);
        self.three(quantity, (what, None), unit, values, uncertainties, difference);
    }

    fn three(
        &mut self,
        quantity: &'static str,
        at: (&str, Option<(f64, MeasuredBy)>),
        unit: &'static str,
        values: Pair,
        uncertainties: Pair,
        difference: Option<f64>,
    ) {
        let both = uncertainties[0].zip(uncertainties[1]).map(|(left, right)| left.hypot(right));
        for (channel, value, uncertainty) in [
            (ComparedChannel::Left, values[0], uncertainties[0]),
            (ComparedChannel::Right, values[1], uncertainties[1]),
            (ComparedChannel::Difference, difference, both),
        ] {
            self.row(quantity, at, Some(channel), unit, (value, uncertainty));
        }
    }
}

/// Every quantity that `reading` has, in the order of work.
pub(crate) fn quantities(reading: &Reading) -> Vec<Compared> {
    let mut list = List(Vec::new());
    if let Some(speed) = &reading.speed {
        list.one("speed", "mean", "percent", Some(speed.error_percent), Some(speed.uncertainty_percent));
        list.one("speed", "drift", "percent per minute", speed.drift_percent_per_min, None);
    }
    if let Some(flutter) = &reading.flutter {
        flutter_rows(&mut list, flutter);
    }
    if let Some(azimuth) = &reading.azimuth {
        azimuth_rows(&mut list, azimuth);
    }
    if let Some(response) = &reading.response {
        response_rows(&mut list, response);
    }
    for level in &reading.level {
        let what = format!("{} at {}", frequency(level.hz), programme_level(level.programme_db));
        list.pair("playback-level", &what, "dBFS", level.return_dbfs, [Some(level.uncertainty_db); 2]);
    }
    for row in reading.output.iter().flat_map(|output| &output.levels) {
        let quantity = if row.round.is_some() { "record-level" } else { "playback-level" };
        let what = format!("output, {}, {}", row.part, frequency(row.hz));
        for (k, channel) in [ComparedChannel::Left, ComparedChannel::Right].into_iter().enumerate() {
            let mv = (row.mv[k], row.uncertainty_mv[k]);
            list.row(quantity, (&what, None), Some(channel), "mV", mv);
        }
    }
    for row in &reading.rounds {
        let what = format!("level, round {}", row.round);
        list.pair("record-level", &what, "dB", row.level_db, row.level_uncertainty_db);
    }
    for row in &reading.bias {
        let (low, high) = (frequency(row.low_hz), frequency(row.high_hz));
        let what = format!("{high} against {low}, round {}", row.round);
        list.pair("bias", &what, "dB", row.difference_db, row.uncertainty_db);
    }
    noise_rows(&mut list, reading);
    if let Some(distortion) = &reading.distortion {
        distortion_rows(&mut list, distortion);
    }
    if let Some(twins) = &reading.intermodulation {
        for row in &twins.steps {
            let of = format!("{} and {}", frequency(row.hz[0]), frequency(row.hz[1]));
            let what = |order: &str| {
                format!("difference tone, {order} order, {of} at {}", programme_level(row.programme_db))
            };
            let (second, third) = (what("2nd"), what("3rd"));
            list.pair("distortion", &second, "percent", row.second_percent, row.second_uncertainty_percent);
            list.pair("distortion", &third, "percent", row.third_percent, row.third_uncertainty_percent);
        }
    }
    if let Some(saturation) = &reading.saturation {
        saturation_rows(&mut list, saturation);
    }
    for row in &reading.separation {
        for (way, value, uncertainty) in [
            ("left into right", row.left_into_right_db, row.left_into_right_uncertainty_db),
            ("right into left", row.right_into_left_db, row.right_into_left_uncertainty_db),
        ] {
            list.one("separation", &format!("{way} at {}", frequency(row.hz)), "dB", value, uncertainty);
        }
    }
    if let Some(erasing) = &reading.erasing {
        let what = format!("left after erasing {}", frequency(erasing.hz));
        list.pair("erasing", &what, "dB", erasing.residual_db, erasing.uncertainty_db);
    }
    list.0
}

/// Kinds of flutter, each with its figure and with the limit that a change is weighed by, and how many times.
const KINDS: [(&str, Kind, Key, f64); 7] = [
    ("weighted rms", |f| f.weighted_rms_percent, Key::FlutterRms, 1.0),
    // Twice the standard deviation.
    ("2-sigma", |f| f.two_sigma_percent, Key::FlutterRms, 2.0),
    ("weighted quasi-peak", |f| f.weighted_quasi_peak_percent, Key::FlutterQuasiPeak, 1.0),
    (UNWEIGHTED_PEAK, |f| f.unweighted_peak_percent, Key::FlutterQuasiPeak, 1.0),
    ("unweighted rms", |f| f.unweighted_rms_percent, Key::FlutterRms, 1.0),
    ("wow rms", |f| f.wow_rms_percent, Key::FlutterRms, 1.0),
    ("flutter rms", |f| f.flutter_rms_percent, Key::FlutterRms, 1.0),
];
const UNWEIGHTED_PEAK: &str = "unweighted peak";

fn flutter_rows(list: &mut List, flutter: &Flutter) {
    for (kind, of, limit, times) in KINDS {
        // One stretch alone does not tell how the deck's flutter varies.
        let uncertainty = flutter_uncertainty(flutter, of, kind == UNWEIGHTED_PEAK)
            .filter(|_| flutter.stretches.len() >= 2);
        let before = list.0.len();
        list.one("flutter", kind, "percent", of(&flutter.figures()), uncertainty);
        list.0[before..].iter_mut().for_each(|row| row.limit = Some((limit, times)));
    }
}

fn azimuth_rows(list: &mut List, azimuth: &Azimuth) {
    list.one("azimuth", "delay", "us", azimuth.delay_us, azimuth.uncertainty_us);
    let scale = azimuth.delay_us.zip(azimuth.angle_arcmin).filter(|(us, _)| us.abs() > 1e-6);
    let uncertainty = azimuth
        .uncertainty_us
        .zip(scale)
        .map(|(uncertainty, (us, arcmin))| (uncertainty * arcmin / us).abs());
    list.one("azimuth", "angle", "minutes of arc", azimuth.angle_arcmin, uncertainty);
    list.one("azimuth", "wander, rms", "us", azimuth.wander_us_rms, None);
}

fn response_rows(list: &mut List, response: &Response) {
    let mut rows = |points: &[ResponsePoint], by: MeasuredBy, words: &str| {
        for point in points.iter().filter(|point| (point.hz / response.reference_hz - 1.0).abs() > 1e-6) {
            let what = format!("{}, {words}", frequency(point.hz));
            list.three(
                "playback-response",
                (&what, Some((point.hz, by))),
                "dB",
                point.db,
                point.uncertainty_db,
                point.difference_db,
            );
        }
    };
    rows(&response.steps, MeasuredBy::Steps, &format!("steps at {}", programme_level(response.programme_db)));
    rows(&response.sweep, MeasuredBy::Sweep, "sweep");
    rows(&response.noise, MeasuredBy::Noise, "noise");
    list.pair("playback-response", "-3 dB at the low end", "Hz", response.low_3db_hz, [None; 2]);
    list.pair("playback-response", "-3 dB at the high end", "Hz", response.high_3db_hz, [None; 2]);
}

fn noise_rows(list: &mut List, reading: &Reading) {
    let Some(noise) = &reading.noise else { return };
    let u = noise.uncertainty_db;
    list.pair("noise", "A-weighted", "dB", noise.a_weighted_db, u);
    list.pair("noise", "ITU-R 468", "dB", noise.itu468_db, noise.itu468_uncertainty_db);
    list.pair("noise", "unweighted", "dB", noise.unweighted_db, u);
    if let Some(mains) = &noise.mains {
        list.pair("hum", "all its lines", "dB", mains.hum_db, mains.uncertainty_db);
    }
}

fn distortion_rows(list: &mut List, distortion: &Distortion) {
    for step in &distortion.steps {
        let at = format!("{} at {}", frequency(step.hz), programme_level(step.programme_db));
        let kinds = [
            ("K2", step.k2_percent, step.k2_uncertainty_percent),
            ("K3", step.k3_percent, step.k3_uncertainty_percent),
            ("THD", step.thd_percent, step.thd_uncertainty_percent),
        ];
        for (kind, values, uncertainties) in kinds {
            list.pair("distortion", &format!("{kind}, {at}"), "percent", values, uncertainties);
        }
    }
    let what = format!("level of 3 % K3, {}", frequency(distortion.k3_3percent_hz));
    list.pair("distortion", &what, "dB", distortion.k3_3percent_at_db, distortion.k3_3percent_uncertainty_db);
}

fn saturation_rows(list: &mut List, saturation: &Saturation) {
    let main = saturation.hz.map(|hz| (hz, saturation.max_output_db, saturation.max_output_uncertainty_db));
    let others = saturation.others.iter().map(|l| (l.hz, l.max_output_db, l.max_output_uncertainty_db));
    for (hz, values, uncertainties) in main.into_iter().chain(others) {
        list.pair("saturation", &format!("maximum output, {}", frequency(hz)), "dB", values, uncertainties);
    }
}
