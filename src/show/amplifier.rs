//! The injected playback amplifier: tables of words, CSV, and the figure of its deviation from the curve.

use super::axes::{Axis, Frame};
use super::csv::{Csv, cell};
use super::nonlinear::Table;
use super::plots::Figure;
use super::svg::Stroke;
use super::words::row_frequency;
use crate::judge::Reading;
use crate::judge::{decimals, frequency, signed, unsigned};
use crate::reading::{Amplifier, AmplifierPosition, FedInto};
use crate::trade::INJECTION_CAUTIONS;

const SIDES: [&str; 2] = ["left", "right"];

/// The cautions of whoever feeds an open deck.
pub(super) fn cautions(reading: &Reading) -> &'static [&'static str] {
    if reading.amplifier.is_some() { &INJECTION_CAUTIONS } else { &[] }
}

/// `120 us`.
fn name(position: &AmplifierPosition) -> String {
    format!("{} us", position.equalisation_us)
}

fn fed_into(amplifier: &Amplifier) -> &'static str {
    match amplifier.fed_into {
        FedInto::AmplifierInput => "amplifier input",
        FedInto::FluxLoop => "flux loop",
    }
}

/// The time constants, and the deviation of each position.
pub(super) fn tables(reading: &Reading) -> Vec<Table> {
    let Some(amplifier) = &reading.amplifier else { return vec![] };
    let mut tables = vec![time_constants(amplifier)];
    tables.extend(amplifier.positions.iter().map(|position| deviation(amplifier, position)));
    tables
}

fn constant(us: Option<f64>, uncertainty_us: Option<f64>) -> String {
    let Some(us) = us else { return "cannot tell".to_owned() };
    let digits = decimals(uncertainty_us, 1);
    let uncertainty = uncertainty_us.map(|u| format!(" +- {}", unsigned(u, digits))).unwrap_or_default();
    format!("{}{uncertainty} us", unsigned(us, digits))
}

fn time_constants(amplifier: &Amplifier) -> Table {
    let rows = amplifier.positions.iter().flat_map(|position| {
        SIDES.iter().enumerate().map(move |(side, channel)| {
            let rest = position.rest_db[side].map_or(String::new(), |db| format!("{} dB", unsigned(db, 2)));
            vec![
                name(position),
                (*channel).to_owned(),
                constant(position.high_us[side], position.high_uncertainty_us[side]),
                constant(position.low_us[side], position.low_uncertainty_us[side]),
                rest,
            ]
        })
    });
    let mut below = Vec::new();
    for (side, channel) in SIDES.iter().enumerate() {
        match amplifier.switched[side] {
            Some(false) => {
                below.push(format!("{channel}: both positions are the same: the switch does not switch"))
            }
            Some(true) => below.push(format!("{channel}: the switch switches")),
            None => {}
        }
        for position in &amplifier.positions {
            if let Some(why) = &position.why[side] {
                below.push(format!("{channel}, {}: {why}", name(position)));
            }
        }
    }
    Table {
        title: "Playback equalisation".to_owned(),
        notes: vec![format!(
            "Fed into: {}. Time constants that the amplifier really has, against those of IEC 60094-1; a coupling capacitor \
             and the amplifier's bandwidth are told apart from them as far as the tones allow. Rest: what no time constant \
             explains.",
            fed_into(amplifier)
        )],
        heads: vec!["position", "channel", "high", "low", "rest"],
        rows: rows.collect(),
        below,
    }
}

fn deviation(amplifier: &Amplifier, position: &AmplifierPosition) -> Table {
    let value = |db: Option<f64>, uncertainty: Option<f64>| {
        db.map_or("cannot tell".to_owned(), |db| signed(db, decimals(uncertainty, 2)))
    };
    let within =
        |uncertainty: Option<f64>| uncertainty.map_or(String::new(), |u| unsigned(u, decimals(Some(u), 2)));
    let rows = position.steps.iter().map(|step| {
        vec![
            row_frequency(step.hz),
            value(step.db[0], step.uncertainty_db[0]),
            within(step.uncertainty_db[0]),
            value(step.db[1], step.uncertainty_db[1]),
            within(step.uncertainty_db[1]),
        ]
    });
    Table {
        title: format!("Deviation from the curve, {}", name(position)),
        notes: vec![format!(
            "In dB against {}, fed into the {}: a right amplifier has 0 everywhere.",
            frequency(position.reference_hz),
            fed_into(amplifier)
        )],
        heads: vec!["tone", "left", "+-", "right", "+-"],
        rows: rows.collect(),
        below: vec![],
    }
}

/// `amplifier.csv`: one row a tone and position.
pub(super) fn csv(reading: &Reading) -> Option<(&'static str, String)> {
    let amplifier = reading.amplifier.as_ref()?;
    let mut csv = Csv::new(&[
        "equalisation_us",
        "hz",
        "left_db",
        "right_db",
        "left_uncertainty_db",
        "right_uncertainty_db",
        "difference_db",
    ]);
    for position in &amplifier.positions {
        for row in &position.steps {
            csv.row([
                position.equalisation_us.to_string(),
                row.hz.to_string(),
                cell(row.db[0]),
                cell(row.db[1]),
                cell(row.uncertainty_db[0]),
                cell(row.uncertainty_db[1]),
                cell(row.difference_db),
            ]);
        }
    }
    Some(("amplifier.csv", csv.text))
}

/// Deviation from the curve in every position.
pub(super) fn figure(reading: &Reading) -> Option<Figure> {
    let amplifier = reading.amplifier.as_ref()?;
    let points = |position: &AmplifierPosition, side: usize| -> Vec<(f64, f64)> {
        let told = position.steps.iter();
        told.filter_map(|step| Some((step.hz, step.db[side].filter(|db| db.is_finite())?))).collect()
    };
    type Points = Vec<(f64, f64)>;
    let lines: Vec<(String, [Points; 2])> = amplifier
        .positions
        .iter()
        .map(|position| (name(position), [points(position, 0), points(position, 1)]))
        .collect();
    let all = || lines.iter().flat_map(|line| line.1.iter().flatten().map(|point| point.1));
    all().next()?;
    let (low, high) = (all().fold(-1.0, f64::min).max(-30.0), all().fold(1.0, f64::max).min(30.0));
    let caption = "Deviation of the playback amplifier from the curve in each position: left solid with discs, right dashed \
                   with squares. A right amplifier runs along 0 dB."
        .to_owned();
    let mut frame = Frame::new(
        &caption,
        Axis::frequency("frequency, Hz", 20.0, 20_000.0),
        Axis::linear("deviation from the curve, dB", low - 0.2, high + 0.2, true),
    );
    for (name, sides) in &lines {
        let short = name.replace(" us", "");
        for ((points, stroke), letter) in sides.iter().zip([Stroke::Left, Stroke::Right]).zip(["L", "R"]) {
            frame.line(points, stroke, &format!("{short} us {letter}"));
            frame.marks(points, stroke);
        }
    }
    Some(Figure { name: "amplifier", caption, svg: frame.finish() })
}
