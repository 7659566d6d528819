//! Distortion, intermodulation, saturation, separation and erasing as tables of words, for text and report alike.

use super::words::row_frequency;
use crate::judge::Reading;
use crate::judge::{decimals, frequency, signed, unsigned};
use crate::reading::{Distortion, Erasing, Intermodulation, Pair, SaturationStep, Separation};

/// One table: what is above it, its heads, its rows, and what must be said below it.
pub(super) struct Table {
    pub(super) title: String,
    pub(super) notes: Vec<String>,
    pub(super) heads: Vec<&'static str>,
    pub(super) rows: Vec<Vec<String>>,
    pub(super) below: Vec<String>,
}

/// The tables that the reading can fill.
pub(super) fn tables(reading: &Reading) -> Vec<Table> {
    let mut tables = Vec::new();
    tables.extend(reading.distortion.as_ref().map(distortion));
    tables.extend(reading.intermodulation.as_ref().map(intermodulation));
    if let Some(saturation) = &reading.saturation {
        let main = saturation.hz.map(|hz| {
            ladder(
                hz,
                &saturation.steps,
                [saturation.max_output_db, saturation.max_output_uncertainty_db, saturation.max_output_at_db],
                &saturation.max_output_why,
                &saturation.reference,
            )
        });
        tables.extend(main);
        tables.extend(saturation.others.iter().map(|other| {
            ladder(
                other.hz,
                &other.steps,
                [other.max_output_db, other.max_output_uncertainty_db, other.max_output_at_db],
                &other.max_output_why,
                &saturation.reference,
            )
        }));
    }
    tables.extend((!reading.separation.is_empty()).then(|| separation(&reading.separation)));
    tables.extend(reading.erasing.as_ref().map(erasing));
    tables
}

const SIDES: [&str; 2] = ["left", "right"];

/// A percentage with digits by its uncertainty, or what it lies below.
fn percent(value: Option<f64>, uncertainty: Option<f64>, limit: Option<f64>) -> String {
    match (value, limit) {
        (Some(value), _) => unsigned(value, decimals(uncertainty, 2)),
        (None, Some(limit)) => format!("< {}", ceiling(limit)),
        (None, None) => "cannot tell".to_owned(),
    }
}

/// A limit with two digits, rounded up: rounded down it would say more than is known.
fn ceiling(limit: f64) -> String {
    if !(limit > 1e-4) {
        return "0.0001".to_owned();
    }
    let digits = (1.0 - limit.log10().floor()).clamp(0.0, 4.0);
    let scale = 10f64.powf(digits);
    unsigned((limit * scale).ceil() / scale, digits as usize)
}

fn spread(value: Option<f64>, uncertainty: Option<f64>, limit: Option<f64>) -> String {
    let text = percent(value, uncertainty, limit);
    match value.and(uncertainty) {
        Some(uncertainty) => format!("{text} +- {}", unsigned(uncertainty, decimals(Some(uncertainty), 2))),
        None => text,
    }
}

fn decibels(value: Option<f64>, uncertainty: Option<f64>) -> String {
    value.map_or("cannot tell".to_owned(), |db| signed(db, decimals(uncertainty, 2)))
}

fn distortion(distortion: &Distortion) -> Table {
    let rows =
        distortion.steps.iter().map(|step| {
            let mut row = vec![row_frequency(step.hz), format!("{} dB", signed(step.programme_db, 1))];
            row.extend([0, 1].map(|k| {
                percent(step.k2_percent[k], step.k2_uncertainty_percent[k], step.k2_limit_percent[k])
            }));
            row.extend([0, 1].map(|k| {
                spread(step.k3_percent[k], step.k3_uncertainty_percent[k], step.k3_limit_percent[k])
            }));
            row.extend([0, 1].map(|k| {
                percent(step.thd_percent[k], step.thd_uncertainty_percent[k], step.thd_limit_percent[k])
            }));
            row
        });
    let below = [0, 1].map(|k| {
        let tone = frequency(distortion.k3_3percent_hz);
        match (distortion.k3_3percent_at_db[k], &distortion.k3_3percent_why[k]) {
            (Some(db), _) => {
                let uncertainty = distortion.k3_3percent_uncertainty_db[k];
                let digits = decimals(uncertainty, 1);
                let uncertainty = uncertainty
                    .map(|uncertainty| format!(" +- {}", unsigned(uncertainty, digits)))
                    .unwrap_or_default();
                let output = distortion.k3_3percent_output_db[k]
                    .map(|db| format!(", output there {} dB (maximum output level, MOL)", signed(db, 2)))
                    .unwrap_or_default();
                format!(
                    "{}: K3 = 3 % at {}{uncertainty} dB of the programme at {tone}{output}",
                    SIDES[k],
                    signed(db, digits)
                )
            }
            (None, why) => {
                let why = why.as_deref().unwrap_or("was not found");
                format!("{}: K3 = 3 % at {tone}: {why}", SIDES[k])
            }
        }
    });
    Table {
        title: "Distortion".to_owned(),
        notes: vec![format!(
            "In % of {}; all: harmonics 2 to {}.",
            distortion.relative_to, distortion.highest_order
        )],
        heads: vec!["tone", "programme", "K2 left", "right", "K3 left", "right", "all left", "right"],
        rows: rows.collect(),
        below: below.to_vec(),
    }
}

fn intermodulation(found: &Intermodulation) -> Table {
    let rows = found.steps.iter().map(|step| {
        let [low, high] = step.hz.map(|hz| unsigned(hz / 1000.0, 2));
        let mut row = vec![format!("{low} + {high} kHz"), format!("{} dB", signed(step.programme_db, 1))];
        row.extend([0, 1].map(|k| {
            spread(step.second_percent[k], step.second_uncertainty_percent[k], step.second_limit_percent[k])
        }));
        row.extend([0, 1].map(|k| {
            spread(step.third_percent[k], step.third_uncertainty_percent[k], step.third_limit_percent[k])
        }));
        row
    });
    Table {
        title: "Intermodulation of two tones".to_owned(),
        notes: vec![format!("In % of {}.", found.relative_to)],
        heads: vec!["tones", "programme", "2nd left", "right", "3rd left", "right"],
        rows: rows.collect(),
        below: vec![],
    }
}

fn ladder(
    hz: f64,
    steps: &[SaturationStep],
    [output_db, uncertainty_db, at_db]: [Pair; 3],
    why: &[Option<String>; 2],
    reference: &str,
) -> Table {
    let rows = steps.iter().map(|step| {
        let mut row = vec![format!("{} dB", signed(step.programme_db, 1))];
        row.extend([0, 1].map(|k| decibels(step.gain_db[k], step.uncertainty_db[k])));
        row.extend([0, 1].map(|k| decibels(step.return_dbfs[k], step.uncertainty_db[k])));
        row
    });
    let below = [0, 1].map(|k| match (output_db[k], at_db[k]) {
        (Some(db), Some(at_db)) => {
            let digits = decimals(uncertainty_db[k], 2);
            let uncertainty =
                uncertainty_db[k].map(|u| format!(" +- {}", unsigned(u, digits))).unwrap_or_default();
            format!(
                "{}: maximum output (SOL) {}{uncertainty} dB, at {} dB of the programme",
                SIDES[k],
                signed(db, digits),
                signed(at_db, 1)
            )
        }
        _ => format!("{}: maximum output: {}", SIDES[k], why[k].as_deref().unwrap_or("was not found")),
    });
    Table {
        title: format!("Saturation at {}", frequency(hz)),
        notes: vec![format!("Gain in dB against the lowest step; maximum output against {reference}.")],
        heads: vec!["programme", "gain left", "right", "dBFS left", "right"],
        rows: rows.collect(),
        below: below.to_vec(),
    }
}

fn separation(rows: &[Separation]) -> Table {
    let way = |db: Option<f64>, uncertainty: Option<f64>, limit: Option<f64>| match (db, limit) {
        (Some(db), _) => {
            let digits = decimals(uncertainty, 1);
            let uncertainty = uncertainty
                .map(|uncertainty| format!(" +- {}", unsigned(uncertainty, digits)))
                .unwrap_or_default();
            format!("{}{uncertainty} dB", unsigned(db, digits))
        }
        (None, Some(limit)) => format!("better than {} dB", unsigned(limit.ceil(), 0)),
        (None, None) => "cannot tell".to_owned(),
    };
    let limit =
        |limit: Option<f64>| limit.map_or("cannot tell".to_owned(), |db| format!("{} dB", unsigned(db, 0)));
    Table {
        title: "Separation".to_owned(),
        notes: vec![
            "Leakage of the driven channel into the other, measured selectively; noise limit: what could still be told from \
             noise, left into right / right into left."
                .to_owned(),
        ],
        heads: vec!["tone", "programme", "left into right", "right into left", "noise limit"],
        rows: rows
            .iter()
            .map(|row| {
                vec![
                    row_frequency(row.hz),
                    format!("{} dB", signed(row.programme_db, 1)),
                    way(row.left_into_right_db, row.left_into_right_uncertainty_db, row.noise_limit_db[0]),
                    way(row.right_into_left_db, row.right_into_left_uncertainty_db, row.noise_limit_db[1]),
                    row.noise_limit_db.map(limit).join(" / "),
                ]
            })
            .collect(),
        below: vec![],
    }
}

fn erasing(erasing: &Erasing) -> Table {
    let place = match (erasing.erased_from_s, erasing.erased_to_s) {
        (Some(from), Some(to)) => {
            let [from, to] = [from, to].map(|time| unsigned(time.seconds(), 1));
            format!("Erased stretch: {from} s to {to} s of the return.")
        }
        _ => format!("Cannot tell: {}.", erasing.why.as_deref().unwrap_or("no erased stretch was found")),
    };
    let rows = [0, 1].map(|k| {
        let left = match (erasing.residual_db[k], erasing.noise_limit_db[k]) {
            (Some(db), _) => {
                let digits = decimals(erasing.uncertainty_db[k], 1);
                let uncertainty = erasing.uncertainty_db[k].map(|u| format!(" +- {}", unsigned(u, digits)));
                format!("{}{} dB", unsigned(db, digits), uncertainty.unwrap_or_default())
            }
            (None, Some(limit)) => format!("better than {} dB", unsigned(limit.ceil(), 0)),
            (None, None) => "cannot tell".to_owned(),
        };
        let limit = erasing.noise_limit_db[k];
        let limit = limit.map_or("cannot tell".to_owned(), |db| format!("{} dB", unsigned(db, 0)));
        vec![SIDES[k].to_owned(), left, limit]
    });
    Table {
        title: format!("Erasing of {} at {} dB", frequency(erasing.hz), signed(erasing.programme_db, 1)),
        notes: vec![place],
        heads: vec!["channel", "left of the tone", "noise limit"],
        rows: rows.to_vec(),
        below: vec![],
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_limit_is_never_rounded_down() {
        for (limit, want) in [(0.0123, "0.013"), (0.5, "0.50"), (1.21, "1.3"), (12.1, "13"), (0.0, "0.0001")]
        {
            assert_eq!(ceiling(limit), want, "{limit}");
        }
    }

    #[test]
    fn what_is_not_known_is_said_in_words() {
        assert_eq!(percent(None, None, None), "cannot tell");
        assert_eq!(percent(None, None, Some(0.021)), "< 0.021");
        assert_eq!(spread(Some(1.234), Some(0.02), None), "1.234 +- 0.020");
    }
}
