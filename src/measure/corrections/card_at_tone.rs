//! What a house tape's card says of one tone: how far it is off on the tape.

use crate::measure::corrections::between::{Estimate, SAME_TONE, estimate_at};
use crate::measure::corrections::card::{comparison_points, phase_at, tilt_loss};
use crate::reading::{Card, CardLevel, CardUsed, Pair, Subtracted};
use crate::trade::Medium;
use crate::trade::house_tape::{
    REPEAT_DELAY_US, REPEAT_LEVEL_DB, REPEAT_SPEED_PERCENT, repeat_response_db, wear_db,
};

/// What a tone at another level than that of the card may be off, dB: the tape was compared at one level only.
const OTHER_LEVEL_DB: f64 = 0.2;

/// How far a tone of `hz`, recorded at `programme_db`, lies above where it would on the calibrated tape, dB `[left, right]`, and
/// its expanded uncertainty, dB; `None` if the card does not tell.
pub(crate) fn card_level(card: &Card, hz: f64, programme_db: f64) -> Option<(Pair, f64)> {
    let distance = |own: f64| (own / hz).ln().abs();
    let apart_db = |own: &CardLevel| (own.programme_db - programme_db).abs();
    let own = card
        .level
        .iter()
        .min_by(|a, b| distance(a.hz).total_cmp(&distance(b.hz)).then(apart_db(a).total_cmp(&apart_db(b))))?;
    let mut uncertainty_db = own.uncertainty_db.hypot(REPEAT_LEVEL_DB);
    if apart_db(own) > 0.5 {
        uncertainty_db = uncertainty_db.hypot(OTHER_LEVEL_DB);
    }
    let mut db = own.db;
    if distance(own.hz) >= SAME_TONE {
        // Another frequency: the response leads there, if the card has it. Octaves are no tenths of a decibel.
        let response = card.response.as_ref()?;
        let points = comparison_points(&response.steps, [&response.sweep, &response.noise, &[]])?;
        for (channel, db) in db.iter_mut().enumerate() {
            let at = |hz| estimate_at(points, channel, hz);
            *db = (|| {
                let (there, here) = (at(hz)?, at(own.hz)?);
                uncertainty_db = uncertainty_db.hypot(there.1).hypot(here.1);
                Some((*db)? + there.0 - here.0)
            })();
        }
    }
    (db != [None; 2]).then_some((db, uncertainty_db))
}

/// The same where nobody knows the deck's tilt: what the tape's own would cost on an upright head is in the uncertainty, and so
/// are how playings differ and what the passes since may have cost.
pub fn recorded_level(card: &Card, hz: f64, programme_db: f64, medium: &Medium) -> Option<(Pair, f64)> {
    let (db, uncertainty_db) = card_level(card, hz, programme_db)?;
    let tilt_db = match &card.azimuth {
        Some(own) => tilt_loss(medium, (own.delay_us.abs() + own.uncertainty_us, 0.0), hz)?.0,
        None => 0.0,
    };
    let since = (card.history.len() as u32).saturating_sub(card.passes_of_making);
    let more = [tilt_db, repeat_response_db(hz), wear_db(hz, since)];
    Some((db, more.into_iter().fold(uncertainty_db, f64::hypot)))
}

/// Delay of the recording and its expanded uncertainty in one playing, us; `None` if the card does not tell.
pub fn recorded_delay(card: &Card) -> Option<Estimate> {
    card.azimuth.as_ref().map(|own| (own.delay_us, own.uncertainty_us.hypot(REPEAT_DELAY_US)))
}

/// Speed error of the recording and its expanded uncertainty in one playing, percent; `None` if the card does not tell.
pub fn recorded_speed(card: &Card) -> Option<Estimate> {
    card.speed.map(|own| (own.error_percent, own.uncertainty_percent.hypot(REPEAT_SPEED_PERCENT)))
}

/// Phase of the recording at a tone of `hz`, right minus left, and its expanded uncertainty in one playing, rad; `None` if the
/// card does not tell. Between tones of the card and beyond them the delay leads there.
pub fn recorded_phase(card: &Card, hz: f64) -> Option<Estimate> {
    let own = card.azimuth.as_ref()?;
    let per_us = 360e-6 * hz;
    let told = phase_at(&own.phase, hz)
        .map(|phase| (phase.deg, (2.0 * phase.spread_deg).hypot(per_us * own.phase_uncertainty_us)));
    let (deg, uncertainty_deg) = told.unwrap_or((-per_us * own.delay_us, per_us * own.uncertainty_us));
    Some((deg.to_radians(), uncertainty_deg.hypot(per_us * REPEAT_DELAY_US).to_radians()))
}

/// What can be subtracted by `card`, which was read from `file`.
pub fn card_used(card: &Card, file: &str) -> CardUsed {
    let level = card.level.iter().map(|level| Subtracted { part: format!("{} Hz", level.hz), db: level.db });
    CardUsed {
        file: file.to_owned(),
        name: card.name.clone(),
        made_at: card.made.at.clone(),
        calibrated: card.calibrated.clone(),
        passes: card.passes_before.saturating_add(card.history.len() as u32),
        level: level.collect(),
        response: card.response.is_some(),
        delay_us: card.azimuth.as_ref().map(|azimuth| azimuth.delay_us),
        speed_percent: card.speed.map(|speed| speed.error_percent),
        flutter_at_most_percent: card.flutter_at_most_percent,
    }
}
