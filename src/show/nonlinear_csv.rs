//! Distortion, intermodulation, saturation and separation as CSV.

use super::csv::{Csv, cell};
use crate::judge::Reading;
use crate::reading::SaturationStep;

/// The tables that the reading can fill, each with a file name.
pub(super) fn tables(reading: &Reading) -> Vec<(&'static str, String)> {
    let mut tables = Vec::new();
    if let Some(distortion) = reading.distortion.as_ref().filter(|found| !found.steps.is_empty()) {
        let mut csv = Csv::new(&[
            "part",
            "hz",
            "programme_db",
            "channel",
            "level_dbfs",
            "k2_percent",
            "k3_percent",
            "k5_percent",
            "thd_percent",
            "k2_uncertainty_percent",
            "k3_uncertainty_percent",
            "thd_uncertainty_percent",
            "k2_limit_percent",
            "k3_limit_percent",
            "k5_limit_percent",
            "thd_limit_percent",
        ]);
        for step in &distortion.steps {
            for (k, side) in SIDES.into_iter().enumerate() {
                csv.row([
                    step.part.clone(),
                    step.hz.to_string(),
                    step.programme_db.to_string(),
                    side.to_owned(),
                    cell(step.level_dbfs[k]),
                    cell(step.k2_percent[k]),
                    cell(step.k3_percent[k]),
                    cell(step.k5_percent[k]),
                    cell(step.thd_percent[k]),
                    cell(step.k2_uncertainty_percent[k]),
                    cell(step.k3_uncertainty_percent[k]),
                    cell(step.thd_uncertainty_percent[k]),
                    cell(step.k2_limit_percent[k]),
                    cell(step.k3_limit_percent[k]),
                    cell(step.k5_limit_percent[k]),
                    cell(step.thd_limit_percent[k]),
                ]);
            }
        }
        tables.push(("distortion.csv", csv.text));
    }
    if let Some(found) = reading.intermodulation.as_ref().filter(|found| !found.steps.is_empty()) {
        let mut csv = Csv::new(&[
            "part",
            "low_hz",
            "high_hz",
            "programme_db",
            "channel",
            "level_dbfs",
            "second_percent",
            "third_percent",
            "second_uncertainty_percent",
            "third_uncertainty_percent",
            "second_limit_percent",
            "third_limit_percent",
        ]);
        for step in &found.steps {
            for (k, side) in SIDES.into_iter().enumerate() {
                csv.row([
                    step.part.clone(),
                    step.hz[0].to_string(),
                    step.hz[1].to_string(),
                    step.programme_db.to_string(),
                    side.to_owned(),
                    cell(step.level_dbfs[k]),
                    cell(step.second_percent[k]),
                    cell(step.third_percent[k]),
                    cell(step.second_uncertainty_percent[k]),
                    cell(step.third_uncertainty_percent[k]),
                    cell(step.second_limit_percent[k]),
                    cell(step.third_limit_percent[k]),
                ]);
            }
        }
        tables.push(("intermodulation.csv", csv.text));
    }
    if let Some(saturation) = &reading.saturation {
        let mut csv = Csv::new(&[
            "hz",
            "programme_db",
            "left_gain_db",
            "right_gain_db",
            "left_uncertainty_db",
            "right_uncertainty_db",
            "left_return_dbfs",
            "right_return_dbfs",
        ]);
        let main = saturation.hz.map(|hz| (hz, &saturation.steps));
        let ladders = main.into_iter().chain(saturation.others.iter().map(|other| (other.hz, &other.steps)));
        let rows: Vec<(f64, &SaturationStep)> =
            ladders.flat_map(|(hz, steps)| steps.iter().map(move |step| (hz, step))).collect();
        for (hz, step) in &rows {
            csv.row([
                hz.to_string(),
                step.programme_db.to_string(),
                cell(step.gain_db[0]),
                cell(step.gain_db[1]),
                cell(step.uncertainty_db[0]),
                cell(step.uncertainty_db[1]),
                cell(step.return_dbfs[0]),
                cell(step.return_dbfs[1]),
            ]);
        }
        if !rows.is_empty() {
            tables.push(("saturation.csv", csv.text));
        }
    }
    if !reading.separation.is_empty() {
        let mut csv = Csv::new(&[
            "hz",
            "programme_db",
            "left_into_right_db",
            "right_into_left_db",
            "left_into_right_uncertainty_db",
            "right_into_left_uncertainty_db",
            "left_into_right_noise_limit_db",
            "right_into_left_noise_limit_db",
        ]);
        for row in &reading.separation {
            csv.row([
                row.hz.to_string(),
                row.programme_db.to_string(),
                cell(row.left_into_right_db),
                cell(row.right_into_left_db),
                cell(row.left_into_right_uncertainty_db),
                cell(row.right_into_left_uncertainty_db),
                cell(row.noise_limit_db[0]),
                cell(row.noise_limit_db[1]),
            ]);
        }
        tables.push(("separation.csv", csv.text));
    }
    if let Some(erasing) = &reading.erasing {
        let mut csv =
            Csv::new(&["hz", "programme_db", "channel", "residual_db", "uncertainty_db", "noise_limit_db"]);
        for (k, side) in SIDES.into_iter().enumerate() {
            csv.row([
                erasing.hz.to_string(),
                erasing.programme_db.to_string(),
                side.to_owned(),
                cell(erasing.residual_db[k]),
                cell(erasing.uncertainty_db[k]),
                cell(erasing.noise_limit_db[k]),
            ]);
        }
        tables.push(("erasing.csv", csv.text));
    }
    tables
}

const SIDES: [&str; 2] = ["left", "right"];
