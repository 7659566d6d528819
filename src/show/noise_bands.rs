//! The noise in third octaves as a table of words, for text and report alike, and as CSV.

use super::csv::{Csv, cell};
use super::nonlinear::Table;
use super::words::row_frequency;
use crate::judge::Reading;
use crate::judge::{decimals_db, unsigned};
use crate::reading::SilenceBand;

/// Bands beside each other in the table.
const ABREAST: usize = 3;

/// Third octaves of the silent part; `None` if there are none.
pub(super) fn table(reading: &Reading) -> Option<Table> {
    let noise = reading.noise.as_ref().filter(|noise| !noise.bands.is_empty())?;
    let rows = noise.bands.len().div_ceil(ABREAST);
    let cells = |band: Option<&SilenceBand>| -> [String; 3] {
        let Some(band) = band else { return Default::default() };
        let side = |k: usize| {
            let digits = decimals_db(band.uncertainty_db[k], 1).min(1);
            band.db[k].map_or("cannot tell".to_owned(), |db| unsigned(db, digits))
        };
        [row_frequency(band.hz), side(0), side(1)]
    };
    let uncertainties = || noise.bands.iter().flat_map(|band| band.uncertainty_db).flatten();
    let sure = uncertainties().reduce(f64::max).zip(uncertainties().reduce(f64::min)).map_or(
        String::new(),
        |(most, least)| {
            format!(
                " Uncertainty (k = 2): {} dB at the lowest band to {} dB.",
                unsigned(most, 1),
                unsigned(least, 1)
            )
        },
    );
    Some(Table {
        title: "Noise in third octaves".to_owned(),
        notes: vec![format!("Of the silent part, hum and all, in dB against {}.{sure}", noise.reference)],
        heads: ["band", "left", "right"].repeat(ABREAST),
        rows: (0..rows)
            .map(|row| (0..ABREAST).flat_map(|k| cells(noise.bands.get(k * rows + row))).collect())
            .collect(),
        below: vec![],
    })
}

/// `noise-bands.csv`, one row a third octave, and `hum.csv`, one row a line.
pub(super) fn csv(reading: &Reading) -> Vec<(&'static str, String)> {
    let mut tables = Vec::new();
    let Some(noise) = &reading.noise else { return tables };
    if !noise.bands.is_empty() {
        let mut csv = Csv::new(&["hz", "left_db", "right_db", "left_uncertainty_db", "right_uncertainty_db"]);
        for band in &noise.bands {
            let ([left, right], [u, v]) = (band.db.map(cell), band.uncertainty_db.map(cell));
            csv.row([band.hz.to_string(), left, right, u, v]);
        }
        tables.push(("noise-bands.csv", csv.text));
    }
    if let Some(mains) = noise.mains.as_ref().filter(|mains| !mains.lines.is_empty()) {
        let mut csv = Csv::new(&["hz", "left_db", "right_db"]);
        for &(hz, left, right) in &mains.lines {
            csv.row([hz.to_string(), cell(left), cell(right)]);
        }
        tables.push(("hum.csv", csv.text));
    }
    tables
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bands_run_down_the_columns_and_none_is_lost() {
        let reading: Reading =
            serde_json::from_str(include_str!("../../tests/readings/healthy.json")).unwrap();
        let table = table(&reading).unwrap();
        assert_eq!(table.rows.len(), 11);
        assert!(table.rows.iter().all(|row| row.len() == table.heads.len()));
        let bands: Vec<&str> =
            (0..3).flat_map(|k| table.rows.iter().map(move |row| row[3 * k].as_str())).collect();
        assert_eq!(bands[..3], ["20 Hz", "25 Hz", "31.5 Hz"]);
        assert_eq!(
            bands.iter().filter(|band| !band.is_empty()).count(),
            reading.noise.as_ref().unwrap().bands.len()
        );
        assert_eq!(csv(&reading)[0].1.lines().count(), 1 + 31);
    }
}
