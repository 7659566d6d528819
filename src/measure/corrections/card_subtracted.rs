//! The card of a house tape subtracted from a reading: the residual is the deck's own.
//!
//! The reverse of how the card was made (`card.rs`). Uncertainties of reading and card add as squares, with how one playing
//! of a cassette differs from another, and with what the treble may have lost in the passes since the card was made.

use crate::measure::azimuth::delay::{PlayedDifference, azimuth};
use crate::measure::azimuth::delay_fit::Difference;
use crate::measure::corrections::between::{
    Estimate, SAME_TONE, difference, estimate_at, nearest_difference, slope_db,
};
use crate::measure::corrections::card::{
    PIECES_ROOT, comparison_points, delay_estimate, phase_at, tilt_loss,
};
use crate::measure::corrections::card_at_tone::{card_level, card_used};
use crate::measure::response::steps::corner_hz;
use crate::reading::{
    Card, CardAzimuth, CardResponse, CardUsed, Facts, Level, Response, ResponsePoint, Subtracted, Warning,
    WarningId,
};
use crate::trade::house_tape::{REPEAT_DELAY_US, REPEAT_SPEED_PERCENT, repeat_response_db, wear_db};
use crate::trade::{Medium, playback_losses};

/// Takes `card`, which was read from `file`, off `reading`.
///
/// Off come levels, response, delay (with angle, loss and phases) and speed, as far as the card has them;
/// `reading.circumstances.card` says which. Tones that are not on the card become `None`, with a warning `card-range`.
///
/// `differences` are how the channels differed at each tone, from which azimuth was told.
pub fn subtract_card(
    reading: &mut Facts,
    differences: &[PlayedDifference],
    card: &Card,
    file: &str,
    medium: &Medium,
) {
    let since = (card.history.len() as u32).saturating_sub(card.passes_of_making);
    // Only what is subtracted stands in it.
    let mut used = CardUsed {
        level: vec![],
        response: false,
        delay_us: None,
        speed_percent: None,
        ..card_used(card, file)
    };
    let seen = 1.0 + reading.speed.as_ref().map_or(0.0, |speed| speed.error_percent / 100.0);
    let mut deck = seen;
    if let (Some(speed), Some(own)) = (&mut reading.speed, &card.speed) {
        deck = seen / (1.0 + own.error_percent / 100.0);
        speed.error_percent = (deck - 1.0) * 100.0;
        speed.uncertainty_percent =
            speed.uncertainty_percent.hypot(own.uncertainty_percent).hypot(REPEAT_SPEED_PERCENT);
        used.speed_percent = Some(own.error_percent);
    }
    let both = delay_estimate(&reading.azimuth);
    if let Some(own) = &card.azimuth {
        let off_us = own.delay_us / deck;
        used.delay_us = off_phases(reading, differences, card, own, medium)
            .or_else(|| off_delay(reading, own, off_us, seen, medium))
            .map(|()| off_us);
    }
    let mut missing = Vec::new();
    if let (Some(response), Some(own)) = (&mut reading.response, &card.response) {
        let tilts = card.azimuth.as_ref().map(|own| Tilts {
            both,
            own: (own.delay_us / deck, own.uncertainty_us),
            medium,
        });
        off_response(response, &Off { own, tilts, ratio: seen / deck, since }, &mut missing);
        used.response = true;
    }
    if !card.level.is_empty() {
        for level in &mut reading.level {
            match off_level(level, card) {
                Some(db) => used.level.push(Subtracted { part: level.part.clone(), db }),
                None => {
                    (level.gain_db, level.difference_db) = ([None; 2], None);
                    missing.push(level.hz);
                }
            }
        }
    }
    if !missing.is_empty() {
        missing.sort_by(f64::total_cmp);
        missing.dedup();
        let hz: Vec<String> = missing.iter().map(|hz| format!("{hz:.0}")).collect();
        reading.warnings.push(Warning::new(
            WarningId::CardRange,
            format!(
                "Not on the card, or too uncertain there, and therefore not stated: {} Hz. Read a return of the programme \
                 that the card was made from.",
                hz.join(", ")
            ),
        ));
    }
    reading.circumstances.card = Some(used);
}

/// Takes the recording's phases off the return's and tells the delay anew from the residual; `None`, with nothing done, if
/// too few tones are on the card.
fn off_phases(
    reading: &mut Facts,
    differences: &[PlayedDifference],
    card: &Card,
    own: &CardAzimuth,
    medium: &Medium,
) -> Option<()> {
    let before = reading.azimuth.as_ref()?;
    let points = card
        .response
        .as_ref()
        .and_then(|response| comparison_points(&response.steps, [&response.sweep, &response.noise, &[]]))
        .unwrap_or_default();
    let residual: Vec<PlayedDifference> = differences
        .iter()
        .filter_map(|row| {
            let phase = phase_at(&own.phase, row.hz)?;
            // Right minus left here, left minus right in a response.
            let level_db = row.difference.level_db + nearest_difference(points, row.hz).unwrap_or(0.0);
            let difference = Difference {
                level_db,
                phase_rad: row.difference.phase_rad - phase.deg.to_radians(),
                phase_sigma_rad: row
                    .difference
                    .phase_sigma_rad
                    .hypot(phase.spread_deg.to_radians() / PIECES_ROOT),
                ..row.difference
            };
            Some(PlayedDifference { difference, ..row.clone() })
        })
        .collect();
    let after = azimuth(&residual, before.wander_us_rms, reading.capture.rate_hz, medium)?;
    if after.unresolved {
        return None;
    }
    let mut azimuth = after.azimuth;
    azimuth.uncertainty_us =
        azimuth.uncertainty_us.map(|us| us.hypot(own.phase_uncertainty_us).hypot(REPEAT_DELAY_US));
    reading.warnings.retain(|warning| warning.id != WarningId::PhaseUnresolved);
    reading.azimuth = Some(azimuth);
    Some(())
}

/// Takes the tape's delay off as a whole, where the tones cannot be corrected one by one.
fn off_delay(reading: &mut Facts, own: &CardAzimuth, off_us: f64, seen: f64, medium: &Medium) -> Option<()> {
    let azimuth = reading.azimuth.as_mut()?;
    let delay_us = azimuth.delay_us? - off_us;
    azimuth.delay_us = Some(delay_us);
    azimuth.uncertainty_us =
        azimuth.uncertainty_us.map(|us| us.hypot(own.uncertainty_us).hypot(REPEAT_DELAY_US));
    let angle_arcmin = medium.arcmin_from_delay_us(delay_us);
    azimuth.angle_arcmin = Some(angle_arcmin);
    let loss =
        playback_losses::azimuth_loss_db(angle_arcmin, medium.track_width_mm, 10_000.0, medium.speed_mm_s);
    azimuth.loss_at_10k_db = loss.is_finite().then_some(loss);
    for row in &mut azimuth.phase {
        row.deg += 360e-6 * row.hz * seen * off_us;
    }
    Some(())
}

/// What a return's tilt is made of.
#[derive(Clone, Copy)]
struct Tilts<'a> {
    /// Delay of tape and deck together; `None` if it was not measured.
    both: Option<Estimate>,
    /// The tape's own.
    own: Estimate,
    medium: &'a Medium,
}

impl Tilts<'_> {
    /// What the response gains when only the deck's tilt is left, dB.
    fn change(&self, hz: f64) -> Option<Estimate> {
        let loss = |delay_us| tilt_loss(self.medium, (delay_us, 0.0), hz).map(|loss| loss.0);
        let Some((both, uncertainty)) = self.both else {
            // Not known how the two tilts add: what the tape's own would cost on an upright head may be missed.
            return Some((0.0, loss(self.own.0.abs() + self.own.1)?.abs()));
        };
        let change =
            |both_us: f64, own_us: f64| -> Option<f64> { Some(loss(both_us - own_us)? - loss(both_us)?) };
        let db = change(both, self.own.0)?;
        // The uncertainty of the whole moves both losses alike, that of the tape's share only one.
        let by_both = change(both + uncertainty, self.own.0)? - change(both - uncertainty, self.own.0)?;
        let by_own = change(both, self.own.0 + self.own.1)? - change(both, self.own.0 - self.own.1)?;
        Some((db, (by_both / 2.0).hypot(by_own / 2.0)))
    }
}

struct Off<'a> {
    own: &'a CardResponse,
    tilts: Option<Tilts<'a>>,
    /// Speed of the recording, 1 if right: by this much the tones came past the deck higher.
    ratio: f64,
    /// Passes since the card was made.
    since: u32,
}

fn off_response(response: &mut Response, off: &Off, missing: &mut Vec<f64>) {
    let own = off.own;
    let reference_hz = response.reference_hz;
    for (rows, same) in [
        (&mut response.steps, &own.steps),
        (&mut response.sweep, &own.sweep),
        (&mut response.noise, &own.noise),
        (&mut response.combined, &own.steps),
    ] {
        let points = comparison_points(same, [&own.steps, &own.sweep, &own.noise]).unwrap_or_default();
        let before = rows.clone();
        for row in rows.iter_mut() {
            row.difference_db = row
                .difference_db
                .and_then(|db| Some(db - nearest_difference(points, row.hz).filter(|db| db.is_finite())?));
            // At the reference frequency the response is 0 by definition.
            if (row.hz / reference_hz).ln().abs() < 1e-9 {
                continue;
            }
            let told = row.db != [None; 2];
            for channel in 0..2 {
                let (Some(db), Some(uncertainty)) = (row.db[channel], row.uncertainty_db[channel]) else {
                    continue;
                };
                let residual = off.share(points, channel, row.hz, reference_hz).map(|share| {
                    let slip = slope_db(&before, channel, row.hz) * off.ratio.ln();
                    (db - share.0, uncertainty.hypot(share.1).hypot(slip))
                });
                row.db[channel] = residual.map(|residual| residual.0);
                row.uncertainty_db[channel] = residual.map(|residual| residual.1);
            }
            if told && row.db == [None; 2] {
                missing.push(row.hz);
            }
        }
    }
    let points = [&response.steps, &response.sweep, &response.noise];
    let points = points.into_iter().find(|points| !points.is_empty()).unwrap_or(&response.noise);
    response.low_3db_hz = [0, 1].map(|channel| corner_hz(points, channel, reference_hz, false));
    response.high_3db_hz = [0, 1].map(|channel| corner_hz(points, channel, reference_hz, true));
}

impl Off<'_> {
    /// The tape's share of the response at `hz`, dB.
    fn share(
        &self,
        points: &[ResponsePoint],
        channel: usize,
        hz: f64,
        reference_hz: f64,
    ) -> Option<Estimate> {
        let (db, uncertainty) = estimate_at(points, channel, hz)?;
        let (zero_db, zero_uncertainty) = if (self.own.reference_hz / reference_hz).ln().abs() < SAME_TONE {
            (0.0, 0.0)
        } else {
            estimate_at(points, channel, reference_hz)?
        };
        let (tilt_db, tilt_uncertainty) = match &self.tilts {
            Some(tilts) => tilts.change(hz)?,
            None => (0.0, 0.0),
        };
        let uncertainty =
            [zero_uncertainty, tilt_uncertainty, repeat_response_db(hz), wear_db(hz, self.since)]
                .into_iter()
                .fold(uncertainty, f64::hypot);
        Some((db - zero_db - tilt_db, uncertainty))
    }
}

/// Takes the tape's level off one level tone; gives what was subtracted, dB.
fn off_level(level: &mut Level, card: &Card) -> Option<[Option<f64>; 2]> {
    let (db, uncertainty_db) = card_level(card, level.hz, level.programme_db)?;
    for (gain, db) in level.gain_db.iter_mut().zip(db) {
        *gain = gain.zip(db).map(|(gain, db)| gain - db);
    }
    level.difference_db = level.difference_db.zip(difference(db)).map(|(level, own)| level - own);
    level.uncertainty_db = level.uncertainty_db.hypot(uncertainty_db);
    Some(db)
}
