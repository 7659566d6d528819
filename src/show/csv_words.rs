//! Findings and single figures as CSV.

use super::csv::{Csv, cell};
use super::words;
use crate::judge::Reading;
use crate::reading::{Flutter, FlutterFigures, Noise, Pair};

/// `findings.csv` and `figures.csv`, as far as the reading can fill them.
pub(super) fn tables(reading: &Reading) -> Vec<(&'static str, String)> {
    let mut tables = Vec::new();
    if !reading.findings.is_empty() {
        let heads = [
            "id",
            "channel",
            "kind",
            "verdict",
            "value",
            "uncertainty",
            "unit",
            "limit",
            "basis",
            "why",
            "turn",
        ];
        let mut csv = Csv::new(&heads);
        for finding in &reading.findings {
            csv.row([
                finding.id.clone(),
                finding.channel.map_or(String::new(), |channel| channel.to_string()),
                finding.kind.clone().unwrap_or_default(),
                words::verdict(finding.verdict).to_owned(),
                cell(finding.value),
                cell(finding.uncertainty),
                finding.unit.to_string(),
                finding.limit.clone().unwrap_or_default(),
                finding.basis.clone(),
                finding.why.clone(),
                finding.turn.clone().unwrap_or_default(),
            ]);
        }
        tables.push(("findings.csv", csv.text));
    }
    let mut figures =
        Figures { csv: Csv::new(&["quantity", "channel", "value", "uncertainty", "unit"]), count: 0 };
    if let Some(response) = &reading.response {
        figures.pair("response down 3 dB, low end", response.low_3db_hz, [None; 2], "Hz");
        figures.pair("response down 3 dB, high end", response.high_3db_hz, [None; 2], "Hz");
    }
    if let Some(azimuth) = &reading.azimuth {
        figures.one("delay", azimuth.delay_us, azimuth.uncertainty_us, "us");
        figures.one("head tilt", azimuth.angle_arcmin, None, "minutes of arc");
        figures.one("wander of the delay, rms", azimuth.wander_us_rms, None, "us");
        figures.one("response at 10 kHz by the tilt", azimuth.loss_at_10k_db, None, "dB");
    }
    if let Some(speed) = &reading.speed {
        figures.one("speed error", Some(speed.error_percent), Some(speed.uncertainty_percent), "percent");
        figures.one("drift of the speed", speed.drift_percent_per_min, None, "percent per minute");
    }
    if let Some(flutter) = &reading.flutter {
        figures.flutter(flutter);
    }
    if let Some(noise) = &reading.noise {
        figures.noise(noise);
    }
    if figures.count > 0 {
        tables.push(("figures.csv", figures.csv.text));
    }
    tables
}

struct Figures {
    csv: Csv,
    count: usize,
}

impl Figures {
    fn row(
        &mut self,
        quantity: &str,
        channel: &str,
        value: Option<f64>,
        uncertainty: Option<f64>,
        unit: &str,
    ) {
        self.count += usize::from(value.is_some());
        self.csv.row([
            quantity.to_owned(),
            channel.to_owned(),
            cell(value),
            cell(uncertainty),
            unit.to_owned(),
        ]);
    }

    fn one(&mut self, quantity: &str, value: Option<f64>, uncertainty: Option<f64>, unit: &str) {
        self.row(quantity, "", value, uncertainty, unit);
    }

    fn pair(&mut self, quantity: &str, values: Pair, uncertainties: Pair, unit: &str) {
        for (k, channel) in ["left", "right"].into_iter().enumerate() {
            self.row(quantity, channel, values[k], uncertainties[k], unit);
        }
    }

    fn flutter(&mut self, flutter: &Flutter) {
        let uncertainties = &flutter.uncertainties;
        type Kind = fn(&FlutterFigures) -> Option<f64>;
        let kinds: [(&str, Option<f64>, Kind); 7] = [
            ("flutter, weighted rms", flutter.weighted_rms_percent, |f| f.weighted_rms_percent),
            ("flutter, weighted 2-sigma", flutter.two_sigma_percent, |f| f.two_sigma_percent),
            ("flutter, weighted quasi-peak", flutter.weighted_quasi_peak_percent, |f| {
                f.weighted_quasi_peak_percent
            }),
            ("flutter, unweighted peak", flutter.unweighted_peak_percent, |f| f.unweighted_peak_percent),
            ("flutter, unweighted rms", flutter.unweighted_rms_percent, |f| f.unweighted_rms_percent),
            ("wow, unweighted rms", flutter.wow_rms_percent, |f| f.wow_rms_percent),
            ("flutter above the split, unweighted rms", flutter.flutter_rms_percent, |f| {
                f.flutter_rms_percent
            }),
        ];
        for (quantity, value, kind) in kinds {
            self.one(quantity, value, kind(uncertainties), "percent");
        }
        for (quantity, hz) in ["flutter band, low end", "wow and flutter split", "flutter band, high end"]
            .into_iter()
            .zip(flutter.band_hz)
        {
            self.one(quantity, Some(hz), None, "Hz");
        }
    }

    fn noise(&mut self, noise: &Noise) {
        self.pair("reference of the noise", noise.reference_dbfs, [None; 2], "dBFS");
        self.pair("noise, unweighted", noise.unweighted_db, noise.uncertainty_db, "dB re 0 dB");
        self.pair("noise, A-weighted", noise.a_weighted_db, noise.uncertainty_db, "dB re 0 dB");
        let itu = noise.itu468_uncertainty_db;
        self.pair("noise, ITU-R 468 quasi-peak", noise.itu468_db, itu, "dB re 0 dB");
        if let Some(mains) = &noise.mains {
            self.one("hum, fundamental", Some(mains.hz), mains.uncertainty_hz, "Hz");
            self.pair("hum, all components", mains.hum_db, mains.uncertainty_db, "dB re 0 dB");
            let off = [
                ("noise, unweighted, hum subtracted", noise.unweighted_without_hum_db),
                ("noise, A-weighted, hum subtracted", noise.a_weighted_without_hum_db),
            ];
            for (quantity, values) in off {
                self.pair(quantity, values, [None; 2], "dB re 0 dB");
            }
        }
    }
}
