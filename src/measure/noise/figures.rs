//! The figures of a silent part: unweighted, A-weighted and quasi-peak, with the hum and without it.

use crate::measure::noise::missing;
use crate::measure::noise::reference::Reference;
use crate::measure::noise::silence::{Silence, UNWEIGHTED_HZ, weight};
use crate::measure::noise::spectrum::bands;
use crate::reading::{Noise, Pair, SilentPart};
use crate::trade::sound_card::top_hz;

/// Flatness of filters and edges, dB: what the spread of the noise does not show.
const FLATNESS_DB: f64 = 0.05;

impl Silence {
    /// The noise against `reference`.
    pub fn noise(&self, reference: &Reference) -> Noise {
        let db = |power: f64, channel: usize| reference.against_db(power, channel);
        let pair = |of: &dyn Fn(usize) -> f64| [0, 1].map(|channel| db(of(channel), channel));
        let plain = |channel: usize| self.power(channel, false);
        let weighted = |channel: usize| self.power(channel, true);
        let hum = |channel: usize, weighted: bool| {
            self.components.as_ref().map_or(0.0, |components| {
                let lines = components.lines.iter().filter(|line| line.hz >= UNWEIGHTED_HZ.0);
                lines.map(|line| line.power[channel] * if weighted { weight(line.hz) } else { 1.0 }).sum()
            })
        };
        let itu468_missing_db = missing::itu468_db(self.rate_hz);
        let a_missing_db = missing::a_weighted_db(self.rate_hz);
        let whole = top_hz(self.rate_hz).is_infinite();
        let only_if = |stated: bool, pair: Pair| if stated { pair } else { [None; 2] };
        let shown_db = |channel: usize| {
            itu468_missing_db?;
            let shown = self.shown[channel]?.mean;
            // The indication is an rms.
            db(shown * shown, channel)
        };
        Noise {
            reference: reference.words.clone(),
            reference_dbfs: reference.dbfs,
            unweighted_db: only_if(whole, pair(&plain)),
            a_weighted_db: only_if(a_missing_db.is_some(), pair(&weighted)),
            itu468_db: [0, 1].map(shown_db),
            itu468_spread_db: [0, 1].map(|channel| {
                shown_db(channel)?;
                self.shown[channel].map(|shown| 8.686 * shown.deviation / shown.mean)
            }),
            uncertainty_db: [0, 1].map(|channel| {
                db(plain(channel), channel)?;
                a_missing_db.map(|missing_db| self.uncertainty_db(channel, reference).hypot(missing_db))
            }),
            itu468_uncertainty_db: [0, 1].map(|channel| {
                shown_db(channel)?;
                let shown = self.shown[channel]?;
                // 0.15 dB: what the running network may be off by (it says so itself).
                let own_db =
                    (2.0 * 8.686 * shown.error / shown.mean).hypot(0.15).hypot(reference.uncertainty_db);
                itu468_missing_db.map(|missing_db| own_db.hypot(missing_db))
            }),
            unweighted_without_hum_db: only_if(whole, pair(&|channel| plain(channel) - hum(channel, false))),
            a_weighted_without_hum_db: only_if(
                a_missing_db.is_some(),
                pair(&|channel| weighted(channel) - hum(channel, true)),
            ),
            mains: self.components.as_ref().map(|components| components.mains(reference)),
            parts: Vec::new(),
            bands: bands(self, reference),
        }
    }

    /// The noise as a row among those of other silent parts.
    pub fn row(&self, part: &str, purpose: &str, reference: &Reference) -> SilentPart {
        let noise = self.noise(reference);
        SilentPart {
            part: part.to_owned(),
            purpose: purpose.to_owned(),
            unweighted_db: noise.unweighted_db,
            a_weighted_db: noise.a_weighted_db,
            itu468_db: noise.itu468_db,
            uncertainty_db: noise.uncertainty_db,
            hum_db: noise.mains.map_or([None; 2], |mains| mains.hum_db),
        }
    }

    /// Expanded uncertainty of the plain figures, dB: how they moved from segment to segment, and the reference's own.
    fn uncertainty_db(&self, channel: usize, reference: &Reference) -> f64 {
        let spread = [self.unweighted[channel], self.a_weighted[channel]]
            .into_iter()
            .flatten()
            .filter(|steady| steady.mean > 0.0)
            .map(|steady| 2.0 * 4.343 * steady.error / steady.mean)
            .fold(None, |worst: Option<f64>, db| Some(worst.map_or(db, |worst| worst.max(db))));
        // Too short to see it move: hiss alone, of some 2000 Hz of bandwidth over two seconds, and something for the rest.
        spread.unwrap_or(0.3).hypot(FLATNESS_DB).hypot(reference.uncertainty_db)
    }
}
