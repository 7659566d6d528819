//! The card of a house tape made: what the tape's recording is off, from readings of it and of a calibrated tape on one deck.
//!
//! The deck is the same in both, so the difference of the two readings is the tape's own. Level, response and speed simply
//! subtract. The tilts of recording and head add to one angle, and the loss that this angle makes is not the sum of two
//! losses: it is subtracted from both responses first, by the formula for the track's width. Of the azimuth the phases of the tones
//! are kept beside the delay: networks that differ between the recorder's channels turn phases, too, and come off another
//! deck's phases with the tilt, without having been told apart from it.
//!
//! Uncertainties of both readings add as squares, and so does how a cassette differs from playing to playing: as remembered
//! ([`house_tape`]), or, from three readings of the house tape on, by their spread.
//!
//! A speed of the tape moves its tones along the deck's slopes; that goes into the uncertainty.
//! `tests/truth/house_truth.rs` plays the whole chain with three decks and playings that differ.

use crate::measure::azimuth::delay_fit::{Difference, fit_delay};
use crate::measure::corrections::between::{
    Estimate, SAME_TONE, difference, estimate_at, nearest_difference, neighbours, slope_db,
};
use crate::reading::{
    Azimuth, CardAzimuth, CardLevel, CardPhase, CardResponse, CardSpeed, Facts, Level, NoiseReduction,
    RecordedOn, Response, ResponsePoint,
};
use crate::trade::house_tape::{self, REPEAT_DELAY_US, REPEAT_LEVEL_DB, REPEAT_SPEED_PERCENT};
use crate::trade::student::mean_and_deviation;
use crate::trade::{Medium, playback_losses};
use thiserror::Error;

/// Why no card can be made of a reading.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum CardError {
    /// The reading that should be of a calibrated tape is of something else.
    #[error(
        "it was not read as one of a calibrated tape, from which a card descends; give the reading of one"
    )]
    NotCalibrated,
    /// The reading that should be of the house tape is of something else.
    #[error("it was read as {told}: give the reading of the house tape itself, read as a house tape")]
    NotHouse {
        /// What was told.
        told: &'static str,
    },
    /// A card was subtracted already.
    #[error("a card was subtracted from it already; read the return of the house tape again without a card")]
    CardSubtracted,
    /// Noise reduction was on.
    #[error("noise reduction was on: level and response are not the tape's; switch it off and record again")]
    NoiseReduction,
    /// The recording itself is bad.
    #[error("its capture cannot be trusted ({why}); record the return again")]
    BadCapture {
        /// What its finding says.
        why: String,
    },
    /// The two tapes are of different types.
    #[error(
        "its tape type is {house}, the calibrated tape's is {calibrated}: the deck played back them with different \
         equalisation; compare tapes of one type"
    )]
    TapeType {
        /// Of the house tape.
        house: String,
        /// Of the calibrated tape.
        calibrated: String,
    },
    /// The two readings are of different decks.
    #[error(
        "it was read on \"{house}\", the calibrated tape on \"{calibrated}\": both must be played on one deck, and \
         read with its name"
    )]
    Deck {
        /// Of the house tape.
        house: String,
        /// Of the calibrated tape.
        calibrated: String,
    },
    /// The readings of the house tape are of different programmes.
    #[error(
        "it is of the recipe {one}, another of {other}: give readings of one tape with one programme on it"
    )]
    Recipes {
        /// Of this reading.
        one: String,
        /// Of the first.
        other: String,
    },
    /// One reading was given twice.
    #[error("this reading was given twice; each must be a playing of its own")]
    Twice,
    /// No reading of the house tape.
    #[error("no reading of the house tape; give at least one")]
    None,
    /// Nothing was measured in both.
    #[error(
        "level, response, azimuth and speed: none was measured both in it and with the calibrated tape; read returns \
         that hold at least one of them"
    )]
    NothingCommon,
}

/// What a card says of the recording.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct CardFigures {
    /// Level tones.
    pub level: Vec<CardLevel>,
    /// Response, without the loss by the tape's own tilt where `azimuth` is known.
    pub response: Option<CardResponse>,
    /// Tilt.
    pub azimuth: Option<CardAzimuth>,
    /// Speed.
    pub speed: Option<CardSpeed>,
    /// Weighted rms flutter, percent: the lowest of the readings.
    pub flutter_at_most_percent: Option<f64>,
}

fn check(reading: &Facts) -> Result<(), CardError> {
    if reading.circumstances.noise_reduction == NoiseReduction::On {
        return Err(CardError::NoiseReduction);
    }
    Ok(())
}

/// Whether `reading` can stand for the calibrated tape.
///
/// # Errors
/// [`CardError`] with what is wrong.
pub fn check_calibrated(reading: &Facts) -> Result<(), CardError> {
    if reading.circumstances.recorded_on != Some(RecordedOn::Calibrated) {
        return Err(CardError::NotCalibrated);
    }
    check(reading)
}

/// Whether `reading` can be of a house tape that was played on the deck of `calibrated`.
///
/// # Errors
/// [`CardError`] with what is wrong.
pub fn check_house(reading: &Facts, calibrated: &Facts) -> Result<(), CardError> {
    let told = &reading.circumstances;
    let not_house = match told.recorded_on {
        Some(RecordedOn::Calibrated) => Some("calibrated"),
        Some(RecordedOn::Injected) => Some("injected"),
        Some(RecordedOn::Loopback) => Some("loopback"),
        Some(RecordedOn::House | RecordedOn::OtherDeck | RecordedOn::ThisDeck) | None => None,
    };
    if let Some(told) = not_house {
        return Err(CardError::NotHouse { told });
    }
    if told.card.is_some() {
        return Err(CardError::CardSubtracted);
    }
    check(reading)?;
    if let (Some(house), Some(calibrated)) = (told.tape_type, calibrated.circumstances.tape_type)
        && house != calibrated
    {
        let [house, calibrated] = [house, calibrated].map(|tape| format!("{tape:?}"));
        return Err(CardError::TapeType { house, calibrated });
    }
    let deck = |reading: &Facts| reading.made.as_ref().and_then(|made| made.deck.clone());
    match (deck(reading), deck(calibrated)) {
        (Some(house), Some(calibrated)) if house != calibrated => Err(CardError::Deck { house, calibrated }),
        _ => Ok(()),
    }
}

/// What the recording of a house tape is off, from one reading or more of it and one of a calibrated tape on the same deck.
///
/// # Errors
/// [`CardError`] if nothing was measured in both. Check the readings first ([`check_calibrated`], [`check_house`]).
pub fn card_figures(house: &[Facts], calibrated: &Facts, medium: &Medium) -> Result<CardFigures, CardError> {
    let mut calibrated = calibrated.clone();
    let Some(first) = house.first() else { return Err(CardError::None) };
    if let Some(response) = &mut calibrated.response {
        for points in [&mut response.steps, &mut response.sweep, &mut response.noise] {
            points.sort_by(|a, b| a.hz.total_cmp(&b.hz));
        }
    }
    let pairs: Vec<Playing> =
        house.iter().map(|house| Playing { house, calibrated: &calibrated, medium }).collect();
    let with_tilt = pairs.iter().all(|pair| pair.azimuth().is_some());
    let all = |one: &dyn Fn(&Playing) -> Option<Estimate>, repeat: f64| {
        let values: Vec<Estimate> = pairs.iter().filter_map(one).collect();
        together(&values, repeat)
    };
    let azimuth = all(&|pair| pair.azimuth(), REPEAT_DELAY_US).and_then(|(delay_us, uncertainty_us)| {
        // How the readings tell a delay from networks does not matter to the phases, only how surely they were measured.
        let measured = |pair: &Playing| Some((pair.azimuth()?.0, 0.0));
        let phase_uncertainty_us = all(&measured, REPEAT_DELAY_US)?.1;
        Some(CardAzimuth { delay_us, uncertainty_us, phase: phases(&pairs), phase_uncertainty_us })
    });
    let speed = all(&|pair| pair.speed(), REPEAT_SPEED_PERCENT)
        .map(|(error_percent, uncertainty_percent)| CardSpeed { error_percent, uncertainty_percent });
    let level: Vec<CardLevel> = first
        .level
        .iter()
        .filter_map(|tone| {
            let sure = [0, 1].map(|channel| all(&|pair| pair.level(tone, channel), REPEAT_LEVEL_DB));
            let db = sure.map(|sure| sure.map(|sure| sure.0));
            let uncertainty_db = sure.iter().flatten().map(|sure| sure.1).reduce(f64::max)?;
            let difference_db = difference(db);
            Some(CardLevel {
                hz: tone.hz,
                programme_db: tone.programme_db,
                db,
                uncertainty_db,
                difference_db,
                fluxivity_nwb_per_m: [None; 2],
            })
        })
        .collect();
    let response = first.response.as_ref().and_then(|response| {
        let kind = |rows: fn(&Response) -> &Vec<ResponsePoint>| -> Vec<ResponsePoint> {
            let mut points: Vec<ResponsePoint> = rows(response)
                .iter()
                .filter_map(|row| {
                    let repeat = house_tape::repeat_response_db(row.hz);
                    let sure = [0, 1]
                        .map(|channel| all(&|pair| pair.response(rows, row.hz, channel, with_tilt), repeat));
                    let apart: Vec<Estimate> =
                        pairs.iter().filter_map(|pair| Some((pair.apart(rows, row.hz)?, 0.0))).collect();
                    sure.iter().any(Option::is_some).then(|| ResponsePoint {
                        hz: row.hz,
                        db: sure.map(|sure| sure.map(|sure| sure.0)),
                        uncertainty_db: sure.map(|sure| sure.map(|sure| sure.1)),
                        difference_db: together(&apart, 0.0).map(|sure| sure.0),
                        difference_uncertainty_db: None,
                    })
                })
                .collect();
            points.sort_by(|a, b| a.hz.total_cmp(&b.hz));
            points
        };
        let [steps, sweep, noise] = [kind(|r| &r.steps), kind(|r| &r.sweep), kind(|r| &r.noise)];
        let empty = steps.is_empty() && sweep.is_empty() && noise.is_empty();
        (!empty).then_some(CardResponse { reference_hz: response.reference_hz, steps, sweep, noise })
    });
    if level.is_empty() && response.is_none() && azimuth.is_none() && speed.is_none() {
        return Err(CardError::NothingCommon);
    }
    let flutters = house.iter().filter_map(|reading| reading.flutter.as_ref()?.weighted_rms_percent);
    let flutter_at_most_percent = flutters.reduce(f64::min);
    Ok(CardFigures { level, response, azimuth, speed, flutter_at_most_percent })
}

/// A tone of a second and more holds some ten independent pieces: its mean phase is surer than one piece by their root.
pub(crate) const PIECES_ROOT: f64 = 3.0;
/// Standard deviation of a channel difference of one tone, dB; readings do not state it.
const LEVEL_SIGMA_DB: f64 = 0.03;

/// Mean phase of the recording at each tone of the first playing.
fn phases(pairs: &[Playing]) -> Vec<CardPhase> {
    let Some(first) = pairs.first().and_then(|pair| pair.house.azimuth.as_ref()) else { return vec![] };
    let mut rows: Vec<CardPhase> = first
        .phase
        .iter()
        .filter_map(|row| {
            let each: Vec<CardPhase> = pairs.iter().filter_map(|pair| pair.phase(row.hz)).collect();
            let turn = each.first()?.deg;
            // Each playing was unwrapped for itself.
            let deg =
                each.iter().map(|one| one.deg - 360.0 * ((one.deg - turn) / 360.0).round()).sum::<f64>();
            let spread = each.iter().map(|one| one.spread_deg.powi(2)).sum::<f64>();
            let count = each.len() as f64;
            Some(CardPhase { hz: row.hz, deg: deg / count, spread_deg: (spread / count).sqrt() })
        })
        .collect();
    rows.sort_by(|a, b| a.hz.total_cmp(&b.hz));
    rows.dedup_by(|a, b| a.hz == b.hz);
    rows
}

/// Phase of `rows` by rising frequency at `hz`: that of the tone itself, or straight between two.
pub(crate) fn phase_at(rows: &[CardPhase], hz: f64) -> Option<CardPhase> {
    let all: Vec<f64> = rows.iter().map(|row| row.hz).collect();
    let (a, b, share) = neighbours(&all, hz)?;
    let (low, high) = (rows[a], rows[b]);
    let deg = low.deg + (high.deg - low.deg) * share;
    Some(CardPhase { hz, deg, spread_deg: low.spread_deg.max(high.spread_deg) })
}

/// Student's factor for 95 %, by degrees of freedom from 2 to 9 (handbook table); beyond that 2.26 stays on the safe side.
const STUDENT: [f64; 8] = [4.30, 3.18, 2.78, 2.57, 2.45, 2.36, 2.31, 2.26];

/// Mean of several playings; `repeat` is how far one playing may be off.
///
/// In it are the uncertainty of a single reading (what all share with the calibrated tape's does not average out), how well
/// the mean of the playings is known, and the one playing of the calibrated tape.
fn together(values: &[Estimate], repeat: f64) -> Option<Estimate> {
    let n = values.len();
    if n == 0 {
        return None;
    }
    let count = n as f64;
    let (mean, deviation) = mean_and_deviation(&values.iter().map(|value| value.0).collect::<Vec<_>>());
    let each = values.iter().map(|value| value.1).fold(0.0, f64::max);
    let own = match n {
        1 => repeat,
        2 => (repeat / count.sqrt()).max(deviation),
        // A quarter stays: few playings are sometimes alike by chance.
        _ => (repeat / 4.0).max(STUDENT[(n - 3).min(STUDENT.len() - 1)] * deviation / count.sqrt()),
    };
    Some((mean, each.hypot(own).hypot(repeat)))
}

/// One playing of the house tape beside the calibrated tape.
struct Playing<'a> {
    house: &'a Facts,
    calibrated: &'a Facts,
    medium: &'a Medium,
}

impl Playing<'_> {
    /// Speed error of the recording, percent.
    fn speed(&self) -> Option<Estimate> {
        let (house, calibrated) = (self.house.speed.as_ref()?, self.calibrated.speed.as_ref()?);
        let ratio = (1.0 + house.error_percent / 100.0) / (1.0 + calibrated.error_percent / 100.0);
        Some(((ratio - 1.0) * 100.0, house.uncertainty_percent.hypot(calibrated.uncertainty_percent)))
    }

    /// Delay at nominal speed, us, told from the residual of the phases and levels once the deck's are subtracted; by the
    /// difference of the delays where too few tones are common.
    fn azimuth(&self) -> Option<Estimate> {
        self.azimuth_by_tones().or_else(|| self.azimuth_by_delays())
    }

    fn azimuth_by_tones(&self) -> Option<Estimate> {
        let ratio = self.speed().map_or(1.0, |speed| 1.0 + speed.0 / 100.0);
        let mut rows: Vec<Difference> = self
            .house
            .azimuth
            .as_ref()?
            .phase
            .iter()
            .filter_map(|row| {
                let phase = self.phase(row.hz)?;
                Some(Difference {
                    hz: row.hz * ratio,
                    at_s: None,
                    level_db: -self.apart(|response| &response.steps, row.hz)?,
                    level_sigma_db: LEVEL_SIGMA_DB,
                    phase_rad: phase.deg.to_radians(),
                    phase_sigma_rad: phase.spread_deg.to_radians() / PIECES_ROOT,
                })
            })
            .collect();
        rows.sort_by(|a, b| a.hz.total_cmp(&b.hz));
        let fit = fit_delay(&rows, self.house.capture.rate_hz)?;
        let sure = fit.resolved && fit.delay_us.is_finite() && fit.uncertainty_us.is_finite();
        sure.then_some((fit.delay_us, fit.uncertainty_us))
    }

    /// A fast deck shortens a delay.
    fn azimuth_by_delays(&self) -> Option<Estimate> {
        let [house, calibrated] =
            [self.house, self.calibrated].map(|reading| delay_estimate(&reading.azimuth));
        let (house, calibrated) = (house?, calibrated?);
        let deck = self.calibrated.speed.as_ref().map_or(1.0, |speed| 1.0 + speed.error_percent / 100.0);
        Some(((house.0 - calibrated.0) * deck, house.1.hypot(calibrated.1)))
    }

    /// Phase of the recording at a tone, degrees: the deck's own subtracted.
    fn phase(&self, hz: f64) -> Option<CardPhase> {
        let row = self.house.azimuth.as_ref()?.phase.iter().find(|row| row.hz == hz)?;
        let own: Vec<CardPhase> = {
            let rows = self.calibrated.azimuth.as_ref()?.phase.iter();
            let mut rows: Vec<CardPhase> =
                rows.map(|row| CardPhase { hz: row.hz, deg: row.deg, spread_deg: row.spread_deg }).collect();
            rows.sort_by(|a, b| a.hz.total_cmp(&b.hz));
            rows
        };
        let own = phase_at(&own, hz)?;
        // A tape at another speed has shorter or longer waves, on which the deck's tilt turns the phase more or less.
        let ratio = self.speed().map_or(1.0, |speed| 1.0 + speed.0 / 100.0);
        Some(CardPhase {
            hz,
            deg: row.deg - own.deg * ratio,
            spread_deg: row.spread_deg.hypot(own.spread_deg),
        })
    }

    /// How far the tone of the house tape lies above the calibrated tape's, dB.
    fn level(&self, tone: &Level, channel: usize) -> Option<Estimate> {
        let same = |level: &&Level| {
            (level.hz / tone.hz).ln().abs() < SAME_TONE && level.programme_db == tone.programme_db
        };
        let house = self.house.level.iter().find(same)?;
        // Of the calibrated tape's tones of this frequency the one nearest in level.
        let near =
            self.calibrated.level.iter().filter(|level| (level.hz / tone.hz).ln().abs() < 5.0 * SAME_TONE);
        let apart = |level: &&Level| (level.programme_db - tone.programme_db).abs();
        let calibrated = near.min_by(|a, b| apart(a).total_cmp(&apart(b)))?;
        let own = |level: &Level| Some(level.return_dbfs[channel]? - level.programme_db);
        Some((own(house)? - own(calibrated)?, house.uncertainty_db.hypot(calibrated.uncertainty_db)))
    }

    /// Response of the recording at `hz`, dB.
    fn response(
        &self,
        rows: fn(&Response) -> &Vec<ResponsePoint>,
        hz: f64,
        channel: usize,
        with_tilt: bool,
    ) -> Option<Estimate> {
        let (house, calibrated) = (self.house.response.as_ref()?, self.calibrated.response.as_ref()?);
        let row = rows(house).iter().find(|row| row.hz == hz)?;
        let (db, uncertainty) = (row.db[channel]?, row.uncertainty_db[channel]?);
        let points =
            comparison_points(rows(calibrated), [&calibrated.steps, &calibrated.sweep, &calibrated.noise])?;
        let (own_db, own_uncertainty) = estimate_at(points, channel, hz)?;
        // The calibrated tape's response against the frequency that counts as 0 on the house tape.
        let (zero_db, zero_uncertainty) =
            if (house.reference_hz / calibrated.reference_hz).ln().abs() < SAME_TONE {
                (0.0, 0.0)
            } else {
                estimate_at(points, channel, house.reference_hz)?
            };
        let mut db = db - (own_db - zero_db);
        let mut uncertainty = uncertainty.hypot(own_uncertainty).hypot(zero_uncertainty);
        // A tape at another speed brings its tones past the deck at other frequencies.
        let off = self.speed().map_or(0.0, |speed| (1.0 + speed.0 / 100.0).ln());
        uncertainty = uncertainty.hypot(slope_db(points, channel, hz) * off);
        if with_tilt {
            for (reading, sign) in [(self.house, -1.0), (self.calibrated, 1.0)] {
                let (loss_db, uncertainty_db) =
                    tilt_loss(self.medium, delay_estimate(&reading.azimuth)?, hz)?;
                db += sign * loss_db;
                uncertainty = uncertainty.hypot(uncertainty_db);
            }
        }
        Some((db, uncertainty))
    }

    /// Left minus right of the recording's gains at `hz`, dB.
    fn apart(&self, rows: fn(&Response) -> &Vec<ResponsePoint>, hz: f64) -> Option<f64> {
        let (house, calibrated) = (self.house.response.as_ref()?, self.calibrated.response.as_ref()?);
        let row = rows(house).iter().find(|row| row.hz == hz)?;
        let points =
            comparison_points(rows(calibrated), [&calibrated.steps, &calibrated.sweep, &calibrated.noise])?;
        Some(row.difference_db? - nearest_difference(points, hz)?)
    }
}

/// The points to compare with: those measured in the same way, or the first kind that there is.
pub(crate) fn comparison_points<'a>(
    same: &'a [ResponsePoint],
    others: [&'a [ResponsePoint]; 3],
) -> Option<&'a [ResponsePoint]> {
    std::iter::once(same).chain(others).find(|points| !points.is_empty())
}

/// Delay with its uncertainty, us.
pub(crate) fn delay_estimate(azimuth: &Option<Azimuth>) -> Option<Estimate> {
    let azimuth = azimuth.as_ref()?;
    Some((azimuth.delay_us?, azimuth.uncertainty_us?))
}

/// Where tilt takes more than this, its share can no longer be told well, dB.
const MOST_TILT_LOSS_DB: f64 = -8.0;

/// Loss by a tilt that makes the given delay, dB, with its uncertainty; `None` where it is too large to be made up for.
pub(crate) fn tilt_loss(medium: &Medium, delay_us: Estimate, hz: f64) -> Option<Estimate> {
    let loss = |delay_us: f64| {
        let arcmin = medium.arcmin_from_delay_us(delay_us);
        playback_losses::azimuth_loss_db(arcmin, medium.track_width_mm, hz, medium.speed_mm_s)
    };
    let (db, wider_db) = (loss(delay_us.0), loss(delay_us.0.abs() + delay_us.1));
    (wider_db > MOST_TILT_LOSS_DB).then_some((db, db - wider_db))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn several_playings_replace_the_remembered_repeatability_by_their_spread() {
        // One: the reading, its playing, the calibrated tape's playing.
        let (mean, uncertainty) = together(&[(1.0, 0.3)], 0.4).unwrap();
        crate::assert_within!(mean, 1.0, 1e-12, "dB");
        crate::assert_within!(uncertainty, (0.09f64 + 0.16 + 0.16).sqrt(), 1e-12, "dB");
        // Three, 1 dB apart: s = 1, 4.30 / sqrt 3.
        let (mean, uncertainty) = together(&[(0.0, 0.0), (1.0, 0.0), (2.0, 0.0)], 0.4).unwrap();
        crate::assert_within!(mean, 1.0, 1e-12, "dB");
        crate::assert_within!(uncertainty, (4.30f64 / 3f64.sqrt()).hypot(0.4), 1e-12, "dB");
        // Three alike are still no proof.
        let (_, uncertainty) = together(&[(1.0, 0.0); 3], 0.4).unwrap();
        crate::assert_within!(uncertainty, 0.1f64.hypot(0.4), 1e-12, "dB");
        assert_eq!(together(&[], 0.4), None);
        assert!(together(&[(1.0, 0.0); 40], 0.4).is_some());
    }

    #[test]
    fn tilt_loss_is_the_handbooks_and_has_an_end() {
        let medium = Medium::COMPACT_CASSETTE;
        // 6 minutes of arc are 32.98 us; sin x / x with x = pi 0.6 mm tan(0.1 deg) / 4.7625 um = 0.6908: -0.70 dB.
        let (db, uncertainty) = tilt_loss(&medium, (32.983, 0.0), 10_000.0).unwrap();
        let x = std::f64::consts::PI * 0.6e-3 * 0.1f64.to_radians().tan() / 4.7625e-6;
        crate::assert_within!(db, 20.0 * (x.sin() / x).log10(), 1e-3, "dB");
        assert_eq!(uncertainty, 0.0);
        assert!(tilt_loss(&medium, (32.983, 1.0), 10_000.0).unwrap().1 > 0.02);
        assert_eq!(tilt_loss(&medium, (120.0, 1.0), 10_000.0), None);
    }
}
