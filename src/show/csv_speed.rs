//! Flutter and dropouts as CSV.

use super::csv::{Csv, cell};
use crate::judge::Reading;
use crate::reading::{FlutterShare, SameTape, SharedFigure, Whose};

/// The tables that the reading can fill, each with a file name.
pub(super) fn tables(reading: &Reading) -> Vec<(&'static str, String)> {
    let mut tables = Vec::new();
    if let Some(flutter) = &reading.flutter {
        if !flutter.lines.is_empty() {
            let mut csv = Csv::new(&[
                "hz",
                "percent_peak",
                "width_hz",
                "drift_hz_per_min",
                "part",
                "harmonic",
                "could_be",
            ]);
            for line in &flutter.lines {
                csv.row([
                    line.hz.to_string(),
                    line.percent_peak.to_string(),
                    cell(line.width_hz),
                    cell(line.drift_hz_per_min),
                    line.part.clone().unwrap_or_default(),
                    line.harmonic.map(|harmonic| harmonic.to_string()).unwrap_or_default(),
                    line.could_be.to_string(),
                ]);
            }
            tables.push(("flutter-lines.csv", csv.text));
        }
        if !flutter.spectrum.is_empty() {
            let mut csv = Csv::new(&["hz", "percent_rms"]);
            for [hz, percent] in &flutter.spectrum {
                csv.row([hz.to_string(), percent.to_string()]);
            }
            tables.push(("flutter-spectrum.csv", csv.text));
        }
        if let Some(course) = &flutter.speed_against_time {
            let mut csv = Csv::new(&["at_s", "lowest_percent", "highest_percent"]);
            for (at_s, low, high) in &course.pieces {
                csv.row([at_s.seconds(), *low, *high].map(|value| value.to_string()));
            }
            tables.push(("speed-against-time.csv", csv.text));
        }
        if !flutter.stretches.is_empty() {
            let mut csv = Csv::new(&[
                "from_s",
                "to_s",
                "weighted_quasi_peak_percent",
                "weighted_rms_percent",
                "two_sigma_percent",
                "unweighted_peak_percent",
                "unweighted_rms_percent",
                "wow_rms_percent",
                "flutter_rms_percent",
            ]);
            for stretch in &flutter.stretches {
                let figures = &stretch.figures;
                csv.row([
                    stretch.from_s.seconds().to_string(),
                    stretch.to_s.seconds().to_string(),
                    cell(figures.weighted_quasi_peak_percent),
                    cell(figures.weighted_rms_percent),
                    cell(figures.two_sigma_percent),
                    cell(figures.unweighted_peak_percent),
                    cell(figures.unweighted_rms_percent),
                    cell(figures.wow_rms_percent),
                    cell(figures.flutter_rms_percent),
                ]);
            }
            tables.push(("flutter-stretches.csv", csv.text));
        }
    }
    tables.extend(reading.same_tape.iter().flat_map(whose));
    if !reading.dropouts.is_empty() {
        let mut csv = Csv::new(&["at_s", "part", "depth_db", "length_ms", "channel"]);
        for dropout in &reading.dropouts {
            csv.row([
                dropout.at_s.seconds().to_string(),
                dropout.part.clone(),
                dropout.depth_db.to_string(),
                dropout.length_ms.to_string(),
                dropout.channel.to_string(),
            ]);
        }
        tables.push(("dropouts.csv", csv.text));
    }
    tables
}

/// `whose-flutter.csv`, one row a figure, and `whose-flutter-lines.csv`.
fn whose(found: &SameTape) -> Vec<(&'static str, String)> {
    let mut csv =
        Csv::new(&["quantity", "hz", "whose", "percent_rms", "uncertainty_percent", "below_percent"]);
    let mut row = |quantity: &str, hz: Option<f64>, whose: &str, figure: &SharedFigure| {
        csv.row([
            quantity.to_owned(),
            cell(hz),
            whose.to_owned(),
            cell(figure.percent),
            cell(figure.uncertainty_percent),
            figure.below_percent.to_string(),
        ]);
    };
    let playings =
        found.playings.iter().enumerate().map(|(k, playing)| (format!("playing {}", k + 1), &playing.own));
    let all: Vec<(String, &FlutterShare)> =
        [("recording".to_owned(), &found.recording), ("playback, mean".to_owned(), &found.playback)]
            .into_iter()
            .chain(playings)
            .collect();
    for (whose, share) in all {
        row("weighted", None, &whose, &share.weighted_rms);
        row("unweighted", None, &whose, &share.unweighted_rms);
        row("wow", None, &whose, &share.wow_rms);
        row("flutter", None, &whose, &share.flutter_rms);
    }
    for band in &found.bands {
        row("unweighted, third octave", Some(band.hz), "recording", &band.recording);
        row("unweighted, third octave", Some(band.hz), "playback, mean", &band.playback);
    }
    let mut tables = vec![("whose-flutter.csv", csv.text)];
    if !found.lines.is_empty() {
        let mut csv = Csv::new(&["hz", "percent_peak", "whose", "by_chance"]);
        for line in &found.lines {
            let whose = match line.whose {
                Whose::Recording => "recording",
                Whose::Playback => "playback",
                Whose::CannotTell => "cannot tell",
            };
            csv.row([
                line.hz.to_string(),
                line.percent_peak.to_string(),
                whose.to_owned(),
                line.by_chance.to_string(),
            ]);
        }
        tables.push(("whose-flutter-lines.csv", csv.text));
    }
    tables
}
