//! The sound card subtracted: what a loopback capture (the programme recorded without a deck) says of the card, subtracted
//! from the reading of a return that went through the same card.
//!
//! Gains in dB and delays add along the chain, noises add as powers, all of them independent of each other; so
//! uncertainties add as squares. What the card makes itself (noise) can be subtracted only as long as the deck's own is
//! not much smaller: below [`LEAST_EXCESS_DB`] nothing is stated.
//!
//! A loopback capture goes through the card's output and its input. A tape that was recorded elsewhere only went through
//! the input: all is subtracted all the same, because a slope or a skew belongs mostly to one of the two, but half of it
//! is added to the uncertainty.
//!
//! What the card's response takes from the deck's noise is not made up for.

use crate::measure::azimuth::delay::{PlayedDifference, azimuth};
use crate::measure::azimuth::delay_fit::{Difference, fit_delay};
use crate::measure::corrections::between::{Estimate, between, difference, nearest_difference, neighbours};
use crate::measure::response::steps::corner_hz;
use crate::reading::{
    Amplifier, AmplifierPosition, Facts, Level, Noise, Pair, RecordedOn, Response, ResponsePoint, Warning,
    WarningId,
};
use crate::trade::Medium;
use thiserror::Error;

/// Where the card passes this much less than at the reference frequency, its own slope limits what can be said, dB.
const CARD_STEEP_DB: f64 = -6.0;
/// Noise of deck and card together must be this far above the card's alone, dB: at 1 dB the deck's own is 6 dB below the
/// card's, and its uncertainty four times that of the measured powers.
const LEAST_EXCESS_DB: f64 = 1.0;
/// Flutter or hum of the card is named if it is more than this share of what was measured with the deck: a third adds
/// 5 % to an rms.
/// Warnings of the loopback capture that touch what it is subtracted from.
const CARRIED_OVER: [WarningId; 7] = [
    WarningId::Clipped,
    WarningId::TooQuiet,
    WarningId::Mono,
    WarningId::GainRiding,
    WarningId::Lossy,
    WarningId::CutStart,
    WarningId::CutEnd,
];
const NAMED_SHARE: f64 = 1.0 / 3.0;
/// A loopback capture has no tape: more weighted rms flutter than this was made by one, percent. Two sound cards' clocks
/// and dither leave some millionths.
const NO_TAPE_FLUTTER_PERCENT: f64 = 0.003;

/// Why a loopback capture cannot be used.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum LoopbackError {
    /// There is a tape in it.
    #[error(
        "its steady tone has {percent:.3} % of weighted flutter, which no sound card makes: a tape was in the path. \
         Connect the sound card's output straight to its input and record the programme again"
    )]
    Flutters {
        /// Weighted rms flutter, percent.
        percent: f64,
    },
    /// Neither level nor response was measured in it.
    #[error(
        "nothing was measured in it that could be subtracted; record the whole programme, both channels, again"
    )]
    Empty,
}

/// What a loopback capture gave.
#[derive(Debug, Clone, PartialEq)]
pub struct LoopbackCapture {
    /// Its facts.
    pub facts: Facts,
    /// How the channels differed at each tone.
    pub differences: Vec<PlayedDifference>,
}

/// Takes the card, as `loopback` shows it, off `reading`, whose azimuth was told from `differences`.
///
/// Off comes: the card's gain (from the level tones; holds as long as nobody touched the card's level in between, channel
/// differences hold anyway), its response, its delay between the channels, its noise, and, where this deck recorded the
/// tape, what its clocks add to the speed. What the card limits is named in a warning `card-limited`; values that drown
/// in the card's noise become `None`. Gives the residual of `differences`, all of them if the card's could not be subtracted.
///
/// # Errors
/// [`LoopbackError`] if `loopback` is no loopback capture, or an empty one; `reading` is left as it was.
pub fn subtract(
    reading: &mut Facts,
    differences: &[PlayedDifference],
    loopback: &LoopbackCapture,
    medium: &Medium,
) -> Result<Vec<PlayedDifference>, LoopbackError> {
    let LoopbackCapture { facts: loopback, differences: own } = loopback;
    let flutter = loopback.flutter.as_ref().and_then(|flutter| flutter.weighted_rms_percent);
    if let Some(percent) = flutter.filter(|&percent| percent > NO_TAPE_FLUTTER_PERCENT) {
        return Err(LoopbackError::Flutters { percent });
    }
    if loopback.level.is_empty() && loopback.response.is_none() {
        return Err(LoopbackError::Empty);
    }
    let mut limits = Vec::new();
    let elsewhere =
        !matches!(reading.circumstances.recorded_on, Some(RecordedOn::ThisDeck | RecordedOn::Injected));
    let crossed = reading.capture.channels_swapped != loopback.capture.channels_swapped;
    let card = Card { loopback, differences: own, crossed, elsewhere };
    if card.crossed {
        reading.warnings.push(Warning::new(
            WarningId::LoopbackCrossed,
            "Left and right are exchanged in only one of return and loopback capture: which input of the sound card \
             belongs to which channel is not known. The mean of its inputs was subtracted, its channel difference and \
             delay were not. Record both with the same cables.",
        ));
    }
    card.off_noise(reading, &mut limits);
    for level in &mut reading.level {
        card.off_level(level);
    }
    if let Some(response) = &mut reading.measured.response {
        let ratio = reading.measured.speed.as_ref().map_or(1.0, |speed| 1.0 + speed.error_percent / 100.0);
        card.off_response(response, ratio, &mut limits);
    }
    if let Some(amplifier) = &mut reading.amplifier {
        card.off_amplifier(amplifier);
    }
    let residual = card.off_azimuth(reading, differences, medium);
    card.off_clocks(reading);
    card.look_at_flutter(reading, &mut limits);
    if !limits.is_empty() {
        reading.warnings.push(Warning::new(
            WarningId::CardLimited,
            format!("The sound card limits what can be told: {}.", limits.join("; ")),
        ));
    }
    for warning in &loopback.warnings {
        if CARRIED_OVER.contains(&warning.id) {
            reading.warnings.push(Warning::new(
                WarningId::LoopbackCapture,
                format!("In the loopback capture: {}", warning.text),
            ));
        }
    }
    Ok(residual.unwrap_or_else(|| differences.to_vec()))
}

struct Card<'a> {
    loopback: &'a Facts,
    /// How its channels differed, by rising frequency.
    differences: &'a [PlayedDifference],
    /// The channels were exchanged in only one of the two captures.
    crossed: bool,
    /// The tape was recorded elsewhere: the card's output was not in its path.
    elsewhere: bool,
}

impl Card<'_> {
    /// Uncertainty of `value` as the card's share in this return.
    fn widened(&self, value: f64, uncertainty: f64) -> f64 {
        if self.elsewhere { uncertainty.hypot(value / 2.0) } else { uncertainty }
    }

    /// What belongs to each channel of the return, or to both the mean if that is not known.
    fn for_return(&self, pair: [Option<Estimate>; 2]) -> [Option<Estimate>; 2] {
        if !self.crossed {
            return pair;
        }
        let [left, right] = pair;
        let mean =
            left.zip(right).map(|(l, r)| ((l.0 + r.0) / 2.0, l.1.max(r.1).max((l.0 - r.0).abs() / 2.0)));
        [mean; 2]
    }

    /// Gain of the card near `hz`, from the level tone nearest in frequency.
    fn gain(&self, hz: f64) -> [Option<Estimate>; 2] {
        let distance = |level: &&Level| (level.hz / hz).ln().abs();
        let nearest = self.loopback.level.iter().min_by(|a, b| distance(a).total_cmp(&distance(b)));
        let gain =
            nearest.map_or([None; 2], |level| level.gain_db.map(|db| Some((db?, level.uncertainty_db))));
        self.for_return(gain)
    }

    fn off_level(&self, level: &mut Level) {
        let gain = self.gain(level.hz);
        let mut uncertainty_db: f64 = 0.0;
        for (db, gain) in level.gain_db.iter_mut().zip(gain) {
            *db = db.zip(gain).map(|(db, gain)| db - gain.0);
            uncertainty_db = uncertainty_db.max(gain.map_or(0.0, |gain| gain.1));
        }
        level.uncertainty_db = level.uncertainty_db.hypot(uncertainty_db);
        level.difference_db = difference(level.gain_db);
    }

    /// Tone by tone where the card played the same ones, else by its response.
    fn off_amplifier(&self, amplifier: &mut Amplifier) {
        let own = self.loopback.amplifier.as_ref();
        for position in &mut amplifier.positions {
            let alike = |other: &&AmplifierPosition| other.equalisation_us == position.equalisation_us;
            let same = own.and_then(|own| own.positions.iter().find(alike)).map(|own| own.steps.as_slice());
            let response = self.loopback.response.as_ref().map(|response| response.steps.as_slice());
            let Some(points) = same.or(response) else { continue };
            for row in &mut position.steps {
                let at = |channel| between(points, channel, row.hz);
                let card = [at(0), at(1)];
                let apart = nearest_difference(points, row.hz);
                row.difference_db = match (row.difference_db, apart) {
                    (Some(db), Some(card)) if !self.crossed => Some(db - card),
                    _ => None,
                };
                self.off_point(row, card, position.reference_hz);
            }
            let gain = self.gain(position.reference_hz);
            for (db, gain) in position.gain_db.iter_mut().zip(gain) {
                *db = db.zip(gain).map(|(db, gain)| db - gain.0);
            }
        }
    }

    /// `ratio` is the speed of the tape: what the input adds, it adds at the frequency that came off the tape.
    fn off_response(&self, response: &mut Response, ratio: f64, limits: &mut Vec<String>) {
        let Some(card) = &self.loopback.response else { return };
        let mut steep = (f64::INFINITY, f64::NEG_INFINITY);
        for (rows, same) in [
            (&mut response.steps, &card.steps),
            (&mut response.sweep, &card.sweep),
            (&mut response.noise, &card.noise),
            (&mut response.combined, &card.steps),
        ] {
            // Where the loopback capture was made with another recipe, the nearest way of measuring serves.
            let card_points = if same.is_empty() { [&card.steps, &card.sweep] } else { [same, same] };
            let card_points = card_points.into_iter().find(|points| !points.is_empty());
            for row in rows.iter_mut() {
                let at = |channel| card_points.and_then(|points| between(points, channel, row.hz * ratio));
                let own = [at(0), at(1)];
                // Left minus right of the card's gains themselves, not of its relative responses.
                let apart = card_points.and_then(|points| nearest_difference(points, row.hz));
                if own.iter().flatten().any(|own| own.0 < CARD_STEEP_DB) {
                    steep = (steep.0.min(row.hz), steep.1.max(row.hz));
                }
                row.difference_db = match (row.difference_db, apart) {
                    (Some(_), _) if self.crossed => None,
                    (Some(db), Some(card)) => Some(db - card),
                    _ => None,
                };
                self.off_point(row, own, response.reference_hz);
            }
        }
        if steep.0.is_finite() {
            limits.push(format!(
                "its own response is more than {:.0} dB down at {:.0} to {:.0} Hz, where the deck's is uncertain",
                -CARD_STEEP_DB, steep.0, steep.1
            ));
        }
        let points = if response.steps.is_empty() { &response.sweep } else { &response.steps };
        response.low_3db_hz = [0, 1].map(|channel| corner_hz(points, channel, response.reference_hz, false));
        response.high_3db_hz = [0, 1].map(|channel| corner_hz(points, channel, response.reference_hz, true));
    }

    fn off_point(&self, row: &mut ResponsePoint, own: [Option<Estimate>; 2], reference_hz: f64) {
        // The response at the reference frequency is 0 by definition, with or without a card.
        if (row.hz / reference_hz).ln().abs() < 1e-9 {
            return;
        }
        for (channel, own) in self.for_return(own).into_iter().enumerate() {
            row.db[channel] = row.db[channel].zip(own).map(|(db, own)| db - own.0);
            row.uncertainty_db[channel] =
                row.uncertainty_db[channel].zip(own).map(|(u, own)| u.hypot(self.widened(own.0, own.1)));
        }
    }

    /// The delay is told anew from the residual of the differences once the card's are subtracted: the card's own delay
    /// and networks cannot be told apart as well as they can be subtracted.
    fn off_azimuth(
        &self,
        reading: &mut Facts,
        differences: &[PlayedDifference],
        medium: &Medium,
    ) -> Option<Vec<PlayedDifference>> {
        let before = reading.azimuth.as_ref().filter(|_| !self.crossed)?;
        let plain: Vec<Difference> = self.differences.iter().map(|row| row.difference).collect();
        let fit = fit_delay(&plain, self.loopback.capture.rate_hz);
        let unwrapped_rad = fit.as_ref().map(|fit| fit.unwrapped_rad.as_slice()).unwrap_or_default();
        let residual: Vec<PlayedDifference> = differences
            .iter()
            .filter_map(|row| {
                // What the input adds, it adds at the frequency that came off the tape.
                let own = card_difference(self.differences, unwrapped_rad, row.difference.hz)?;
                let difference = Difference {
                    level_db: row.difference.level_db - own.level_db,
                    level_sigma_db: row.difference.level_sigma_db.hypot(own.level_sigma_db),
                    phase_rad: row.difference.phase_rad - own.phase_rad,
                    phase_sigma_rad: row.difference.phase_sigma_rad.hypot(own.phase_sigma_rad),
                    ..row.difference
                };
                Some(PlayedDifference { difference, ..row.clone() })
            })
            .collect();
        let Some(after) = azimuth(&residual, before.wander_us_rms, reading.capture.rate_hz, medium) else {
            reading.warnings.push(Warning::new(
                WarningId::LoopbackNoPhases,
                "The loopback capture holds too few of the tones in both channels: the sound card's delay between the \
                 channels was not subtracted. Record the same programme without the deck.",
            ));
            return None;
        };
        let moved_us =
            after.azimuth.delay_us.zip(before.delay_us).map_or(0.0, |(after, before)| after - before);
        let mut azimuth = after.azimuth;
        azimuth.uncertainty_us = azimuth.uncertainty_us.map(|us| self.widened(moved_us, us));
        reading.warnings.retain(|warning| warning.id != WarningId::PhaseUnresolved || after.unresolved);
        reading.azimuth = Some(azimuth);
        Some(residual)
    }

    /// One capstan records and plays back: what differs from the programme's time is slip and the clocks, and the loopback
    /// capture knows the clocks.
    fn off_clocks(&self, reading: &mut Facts) {
        if reading.circumstances.recorded_on != Some(RecordedOn::ThisDeck) {
            return;
        }
        if let (Some(speed), Some(clocks)) = (&mut reading.speed, &self.loopback.speed) {
            speed.error_percent -= clocks.error_percent;
            speed.uncertainty_percent = speed.uncertainty_percent.hypot(clocks.uncertainty_percent);
        }
    }

    fn off_noise(&self, reading: &mut Facts, limits: &mut Vec<String>) {
        let (Some(noise), Some(card)) = (&mut reading.noise, &self.loopback.noise) else { return };
        let reference_dbfs = noise.reference_dbfs;
        let mut uncertainty_db = noise.uncertainty_db;
        let mut drowned = Vec::new();
        let mut off = |values: &mut Pair, own: &Pair, name: &str| {
            let own_dbfs = [0, 1].map(|channel| {
                let uncertainty = card.uncertainty_db[channel]?;
                Some((own[channel]? + card.reference_dbfs[channel]?, uncertainty))
            });
            let own_dbfs = self.for_return(own_dbfs);
            for channel in 0..2 {
                let (Some(db), Some(reference)) = (values[channel], reference_dbfs[channel]) else {
                    continue;
                };
                let Some((own_dbfs, own_uncertainty_db)) = own_dbfs[channel] else { continue };
                let total = noise.uncertainty_db[channel].unwrap_or(0.0);
                match without(db, own_dbfs - reference, total, own_uncertainty_db) {
                    Some((left_db, uncertainty)) => {
                        values[channel] = Some(left_db);
                        let widest = uncertainty_db[channel].unwrap_or(0.0).max(uncertainty);
                        uncertainty_db[channel] = Some(widest);
                    }
                    None => {
                        values[channel] = None;
                        drowned.push(format!(
                            "{name} noise on the {} is the card's own ({db:.1} dB), the deck's is lower",
                            ["left", "right"][channel]
                        ));
                    }
                }
            }
        };
        off(&mut noise.unweighted_db, &card.unweighted_db, "unweighted");
        off(&mut noise.a_weighted_db, &card.a_weighted_db, "A-weighted");
        noise.uncertainty_db = uncertainty_db;
        limits.extend(drowned);
        self.look_at_hum(noise, card, limits);
    }

    /// Hum of the card adds by its phase, which nobody knows: it is named, not subtracted.
    fn look_at_hum(&self, noise: &Noise, card: &Noise, limits: &mut Vec<String>) {
        let (Some(mains), Some(own)) = (&noise.mains, &card.mains) else { return };
        for (channel, side) in ["left", "right"].into_iter().enumerate() {
            let levels = (|| {
                let with_deck = mains.hum_db[channel]? + noise.reference_dbfs[channel]?;
                Some((with_deck, own.hum_db[channel]? + card.reference_dbfs[channel]?))
            })();
            if levels.is_some_and(|(with_deck, alone)| alone - with_deck > 20.0 * NAMED_SHARE.log10()) {
                limits.push(format!("hum on the {side} is there without the deck, too"));
            }
        }
    }

    fn look_at_flutter(&self, reading: &Facts, limits: &mut Vec<String>) {
        let rms = |reading: &Facts| reading.flutter.as_ref()?.weighted_rms_percent;
        if let (Some(both), Some(card)) = (rms(reading), rms(self.loopback))
            && card > NAMED_SHARE * both
        {
            limits.push(format!("{card:.4} % of the weighted flutter is the card's own"));
        }
    }
}

/// `db` less noise at `own_db`, with its uncertainty, dB; `None` if the residual is too small.
fn without(db: f64, own_db: f64, uncertainty_db: f64, own_uncertainty_db: f64) -> Option<Estimate> {
    if db - own_db < LEAST_EXCESS_DB {
        return None;
    }
    let (total, own) = (10f64.powf(db / 10.0), 10f64.powf(own_db / 10.0));
    let rest = total - own;
    let uncertainty = (total * uncertainty_db).hypot(own * own_uncertainty_db) / rest;
    Some((10.0 * rest.log10(), uncertainty))
}

/// How the card's channels differ at `hz`, straight between the tones; phases are those of `unwrapped_rad`, one for each
/// of `rows`.
fn card_difference(rows: &[PlayedDifference], unwrapped_rad: &[f64], hz: f64) -> Option<Difference> {
    let hz_of_rows: Vec<f64> = rows.iter().map(|row| row.difference.hz).collect();
    let (a, b, share) = neighbours(&hz_of_rows, hz)?;
    let between = |a: f64, b: f64| a + (b - a) * share;
    let (low, high) = (&rows[a].difference, &rows[b].difference);
    Some(Difference {
        hz,
        at_s: None,
        level_db: between(low.level_db, high.level_db),
        level_sigma_db: low.level_sigma_db.max(high.level_sigma_db),
        phase_rad: between(*unwrapped_rad.get(a)?, *unwrapped_rad.get(b)?),
        phase_sigma_rad: low.phase_sigma_rad.max(high.phase_sigma_rad),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn powers_are_taken_off_and_what_drowns_is_not_stated() {
        // Two equal powers are 3.01 dB above one; of the rest, each uncertainty counts twice or once.
        let (db, uncertainty) = without(-50.0 + 10.0 * 2f64.log10(), -50.0, 0.1, 0.1).unwrap();
        crate::assert_within!(db, -50.0, 1e-9, "dB");
        crate::assert_within!(uncertainty, 0.1 * 5f64.sqrt(), 1e-9, "dB");
        assert_eq!(without(-50.0, -50.9, 0.1, 0.1), None);
        assert_eq!(without(-50.0, -40.0, 0.1, 0.1), None);
    }
}
