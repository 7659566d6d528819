//! The tables of a reading as CSV (RFC 4180, point as decimal sign). A value that was not measured is an empty cell.

use super::{causes, csv_speed, csv_words, noise_bands, nonlinear_csv};
use crate::judge::Reading;
use crate::reading::{FileTime, Pair, ResponsePoint};

/// File names of all tables that there are.
pub const TABLES: [&str; 29] = [
    "response.csv",
    "level.csv",
    "phase.csv",
    "noise.csv",
    "saturation-noise.csv",
    "distortion.csv",
    "intermodulation.csv",
    "saturation.csv",
    "separation.csv",
    "rounds.csv",
    "bias.csv",
    "bias-sweep.csv",
    "noise-reduction.csv",
    "found.csv",
    "amplifier.csv",
    "causes.csv",
    "unexplained.csv",
    "findings.csv",
    "figures.csv",
    "erasing.csv",
    "noise-bands.csv",
    "hum.csv",
    "flutter-lines.csv",
    "flutter-spectrum.csv",
    "speed-against-time.csv",
    "flutter-stretches.csv",
    "whose-flutter.csv",
    "whose-flutter-lines.csv",
    "dropouts.csv",
];

/// The tables that the reading can fill, each with its file name, one of [`TABLES`].
pub fn tables(reading: &Reading) -> Vec<(&'static str, String)> {
    let mut tables = Vec::new();
    if !reading.found.is_empty() {
        tables.push((TABLES[13], found(reading)));
    }
    if let Some(response) = &reading.response {
        let mut csv = Csv::new(&[
            "kind",
            "hz",
            "left_db",
            "right_db",
            "left_uncertainty_db",
            "right_uncertainty_db",
            "difference_db",
        ]);
        let kinds: [(&str, &[ResponsePoint]); 3] =
            [("steps", &response.steps), ("sweep", &response.sweep), ("noise", &response.noise)];
        for (kind, rows) in kinds {
            for row in rows {
                csv.row([
                    kind.to_owned(),
                    row.hz.to_string(),
                    cell(row.db[0]),
                    cell(row.db[1]),
                    cell(row.uncertainty_db[0]),
                    cell(row.uncertainty_db[1]),
                    cell(row.difference_db),
                ]);
            }
        }
        tables.push((TABLES[0], csv.text));
    }
    if !reading.level.is_empty() {
        let mut csv = Csv::new(&[
            "part",
            "hz",
            "programme_db",
            "left_return_dbfs",
            "right_return_dbfs",
            "left_gain_db",
            "right_gain_db",
            "difference_db",
            "uncertainty_db",
        ]);
        for row in &reading.level {
            let [left, right] = pair(row.return_dbfs);
            let [left_gain, right_gain] = pair(row.gain_db);
            csv.row([
                row.part.clone(),
                row.hz.to_string(),
                row.programme_db.to_string(),
                left,
                right,
                left_gain,
                right_gain,
                cell(row.difference_db),
                row.uncertainty_db.to_string(),
            ]);
        }
        tables.push((TABLES[1], csv.text));
    }
    if let Some(noise) = reading.noise.as_ref().filter(|noise| !noise.parts.is_empty()) {
        let mut csv = Csv::new(&[
            "part",
            "unweighted_left_db",
            "unweighted_right_db",
            "a_weighted_left_db",
            "a_weighted_right_db",
            "itu468_left_db",
            "itu468_right_db",
            "hum_left_db",
            "hum_right_db",
        ]);
        for part in &noise.parts {
            let [unweighted, a, itu, hum] =
                [part.unweighted_db, part.a_weighted_db, part.itu468_db, part.hum_db].map(pair);
            let [u, v] = unweighted;
            let ([a, b], [c, d], [e, f]) = (a, itu, hum);
            csv.row([part.part.clone(), u, v, a, b, c, d, e, f]);
        }
        tables.push((TABLES[3], csv.text));
    }
    let by_level: Vec<_> = reading.saturation.iter().flat_map(|saturation| &saturation.noise).collect();
    if !by_level.is_empty() {
        let mut csv = Csv::new(&[
            "part",
            "colour",
            "programme_db",
            "hz",
            "left_db",
            "right_db",
            "left_uncertainty_db",
            "right_uncertainty_db",
        ]);
        for row in by_level {
            for band in &row.bands {
                let ([left, right], [u, v]) = (pair(band.db), pair(band.uncertainty_db));
                csv.row([
                    row.part.clone(),
                    row.colour.clone(),
                    row.programme_db.to_string(),
                    band.hz.to_string(),
                    left,
                    right,
                    u,
                    v,
                ]);
            }
        }
        tables.push((TABLES[4], csv.text));
    }
    if let Some(azimuth) = reading.azimuth.as_ref().filter(|azimuth| !azimuth.phase.is_empty()) {
        let mut csv = Csv::new(&["hz", "deg", "spread_deg", "response_deg"]);
        for row in &azimuth.phase {
            csv.row([
                row.hz.to_string(),
                row.deg.to_string(),
                row.spread_deg.to_string(),
                cell(row.response_deg),
            ]);
        }
        tables.push((TABLES[2], csv.text));
    }
    tables.extend(super::amplifier::csv(reading));
    tables.extend(nonlinear_csv::tables(reading));
    tables.extend(rounds(reading));
    tables.extend(causes::csv(reading));
    tables.extend(noise_bands::csv(reading));
    tables.extend(csv_speed::tables(reading));
    tables.extend(csv_words::tables(reading));
    tables
}

/// `rounds.csv`, `bias.csv`, `bias-sweep.csv` and `noise-reduction.csv`, as far as the reading has them.
fn rounds(reading: &Reading) -> Vec<(&'static str, String)> {
    let mut tables = Vec::new();
    if !reading.rounds.is_empty() {
        let mut csv = Csv::new(&[
            "round",
            "at_s",
            "level_hz",
            "left_level_db",
            "right_level_db",
            "left_uncertainty_db",
            "right_uncertainty_db",
            "difference_db",
            "moved_at_s",
        ]);
        for row in &reading.rounds {
            let [left, right] = pair(row.level_db);
            let [left_uncertainty, right_uncertainty] = pair(row.level_uncertainty_db);
            csv.row([
                row.round.to_string(),
                row.at_s.seconds().to_string(),
                cell(row.level_hz),
                left,
                right,
                left_uncertainty,
                right_uncertainty,
                cell(row.level_difference_db),
                cell(row.moved_at_s.map(FileTime::seconds)),
            ]);
        }
        tables.push(("rounds.csv", csv.text));
    }
    if !reading.bias.is_empty() {
        let mut csv = Csv::new(&[
            "round",
            "low_hz",
            "high_hz",
            "left_difference_db",
            "right_difference_db",
            "left_uncertainty_db",
            "right_uncertainty_db",
        ]);
        for row in &reading.bias {
            let [left, right] = pair(row.difference_db);
            let [left_uncertainty, right_uncertainty] = pair(row.uncertainty_db);
            let (low, high) = (row.low_hz.to_string(), row.high_hz.to_string());
            csv.row([row.round.to_string(), low, high, left, right, left_uncertainty, right_uncertainty]);
        }
        tables.push(("bias.csv", csv.text));
    }
    if let Some(sweep) = &reading.bias_sweep {
        let mut csv = Csv::new(&["round", "quantity", "hz", "unit", "left", "right"]);
        let mut row = |round: u32, quantity: &str, hz: Option<f64>, unit: &str, values| {
            let [left, right] = pair(values);
            csv.row([round.to_string(), quantity.to_owned(), cell(hz), unit.to_owned(), left, right]);
        };
        for step in &sweep.steps {
            row(step.round, "level", sweep.level_hz, "dB", step.level_db);
            row(step.round, "sensitivity", Some(sweep.low_hz), "dB", step.low_db);
            for high in &step.high {
                row(step.round, "sensitivity", Some(high.hz), "dB", high.db);
                row(step.round, "overbias", Some(high.hz), "dB", high.past_peak_db);
            }
            row(step.round, "third harmonic", sweep.level_hz, "percent", step.k3_percent);
            row(step.round, "noise, A-weighted", None, "dB", step.noise_a_weighted_db);
        }
        tables.push(("bias-sweep.csv", csv.text));
    }
    if let Some(found) = &reading.noise_reduction {
        let mut csv = Csv::new(&[
            "programme_db",
            "hz",
            "left_out_db",
            "right_out_db",
            "left_in_db",
            "right_in_db",
            "left_mistracking_db",
            "right_mistracking_db",
            "left_uncertainty_db",
            "right_uncertainty_db",
        ]);
        for row in &found.rows {
            let [left_out, right_out] = pair(row.out_db);
            let [left_in, right_in] = pair(row.in_db);
            let [left, right] = pair(row.mistracking_db);
            let [left_uncertainty, right_uncertainty] = pair(row.uncertainty_db);
            csv.row([
                row.programme_db.to_string(),
                row.hz.to_string(),
                left_out,
                right_out,
                left_in,
                right_in,
                left,
                right,
                left_uncertainty,
                right_uncertainty,
            ]);
        }
        tables.push(("noise-reduction.csv", csv.text));
    }
    tables
}

pub(super) fn cell(value: Option<f64>) -> String {
    value.map(|value| value.to_string()).unwrap_or_default()
}

fn pair(pair: Pair) -> [String; 2] {
    pair.map(cell)
}

/// What was found without slates.
fn found(reading: &Reading) -> String {
    let heads =
        ["kind", "from_s", "to_s", "hz", "to_hz", "nominal_hz", "left_dbfs", "right_dbfs", "serves", "part"];
    let mut csv = Csv::new(&heads);
    for row in &reading.found {
        let [left, right] = pair(row.return_dbfs);
        csv.row([
            format!("{:?}", row.kind).to_lowercase(),
            row.from_s.seconds().to_string(),
            row.to_s.seconds().to_string(),
            cell(row.hz),
            cell(row.to_hz),
            cell(row.nominal_hz),
            left,
            right,
            row.serves.clone(),
            row.part.clone().unwrap_or_default(),
        ]);
    }
    csv.text
}

pub(super) struct Csv {
    pub(super) text: String,
}

impl Csv {
    pub(super) fn new(heads: &[&str]) -> Self {
        Self { text: heads.join(",") + "\r\n" }
    }

    pub(super) fn row<const N: usize>(&mut self, cells: [String; N]) {
        let cells = cells.map(|cell| {
            if cell.contains([',', '"', '\r', '\n']) {
                format!("\"{}\"", cell.replace('"', "\"\""))
            } else {
                cell
            }
        });
        self.text += &cells.join(",");
        self.text += "\r\n";
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sample(text: &str) -> Reading {
        serde_json::from_str(text).unwrap()
    }

    #[test]
    fn each_table_has_one_row_a_point_and_empty_cells_for_what_is_missing() {
        let mut reading = sample(include_str!("../../tests/readings/faulty.json"));
        reading.azimuth.as_mut().unwrap().phase[0].response_deg = None;
        reading.level[0].part = "a \"loud\", long one".to_owned();
        let tables = tables(&reading);
        assert_eq!(
            tables.iter().map(|table| table.0).collect::<Vec<_>>(),
            [
                "response.csv",
                "level.csv",
                "phase.csv",
                "distortion.csv",
                "intermodulation.csv",
                "saturation.csv",
                "separation.csv",
                "erasing.csv",
                "causes.csv",
                "unexplained.csv",
                "noise-bands.csv",
                "hum.csv",
                "flutter-lines.csv",
                "flutter-spectrum.csv",
                "speed-against-time.csv",
                "flutter-stretches.csv",
                "dropouts.csv",
                "findings.csv",
                "figures.csv"
            ]
        );
        assert_eq!(tables[0].1.lines().count(), 1 + 16 + 27);
        assert!(
            tables[1]
                .1
                .lines()
                .nth(1)
                .unwrap()
                .starts_with("\"a \"\"loud\"\", long one\",400,0,-13.92,-12.3,")
        );
        assert!(tables[2].1.lines().nth(1).unwrap().ends_with(','));
        for (name, text) in tables.iter().filter(|table| !table.1.contains('"')) {
            let width = text.lines().next().unwrap().matches(',').count();
            assert!(text.lines().all(|line| line.matches(',').count() == width), "{name}");
        }
    }

    #[test]
    fn jobs_in_rounds_have_their_tables() {
        let tables = tables(&sample(include_str!("../../tests/readings/rounds.json")));
        let names: Vec<&str> = tables.iter().map(|table| table.0).collect();
        let all = [
            "level.csv",
            "rounds.csv",
            "bias.csv",
            "bias-sweep.csv",
            "noise-reduction.csv",
            "findings.csv",
            "figures.csv",
        ];
        assert_eq!(names, all);
        let lines: Vec<usize> = tables[..5].iter().map(|table| table.1.lines().count()).collect();
        assert_eq!(lines, [2, 11, 21, 1 + 10 * 8, 29]);
        let width = |text: &str| text.lines().map(|line| line.matches(',').count()).collect::<Vec<_>>();
        for (name, text) in tables.iter().filter(|table| !table.1.contains('"')) {
            assert!(width(text).windows(2).all(|pair| pair[0] == pair[1]), "{name}");
        }
    }

    #[test]
    fn nothing_measured_gives_the_findings_only() {
        let tables = tables(&sample(include_str!("../../tests/readings/empty.json")));
        assert_eq!(tables.iter().map(|table| table.0).collect::<Vec<_>>(), ["findings.csv"]);
    }
}
