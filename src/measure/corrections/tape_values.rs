//! What is known to be on the tape, subtracted from the figures; what is not known of it, added to their uncertainty.

use crate::programme::{TapeFile, TapeTone, Track};
use crate::reading::{Level, Pair, Response, ResponsePoint, TapeSection, TapeType};
use crate::trade::tape_equalisation::wrong_switch_db;
use crate::trade::test_tapes::eras_db;
use crate::trade::{Equalisation, StatedFlux};

/// What the tape's file says of one frequency.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Told {
    /// Nominal frequency, Hz.
    pub hz: f64,
    /// Its values.
    pub tone: TapeTone,
}

/// Everything that is known of a tape that somebody else recorded.
#[derive(Debug, Clone, PartialEq)]
pub struct TapeValues<'a> {
    /// The tape's file, if there is one.
    pub file: Option<&'a TapeFile>,
    /// The values of the tones in the ladder.
    pub ladder: Vec<Told>,
    /// The values of the level tones, by identifier of the part.
    pub levels: Vec<(String, TapeTone)>,
    /// How the deck's equalisation stood; `None` if nobody knows.
    pub played_at: Option<Equalisation>,
    /// The deck's standard.
    pub deck_standard: Option<StatedFlux>,
    /// The tape is said to be a reference; then makes and years disagree, unless there is a certificate.
    pub is_reference: bool,
}

/// Equalisation that goes with a tape type: 120 us for type I, 70 us for the others (IEC 60094-1 clause 15.1).
pub fn deck_equalisation(tape_type: TapeType) -> Equalisation {
    match tape_type {
        TapeType::I => Equalisation::Us120,
        TapeType::II | TapeType::III | TapeType::IV => Equalisation::Us70,
    }
}

impl TapeValues<'_> {
    /// Whether the disagreement of makes and years is in the uncertainty.
    pub fn eras_disagree(&self) -> bool {
        self.is_reference && !self.file.is_some_and(|file| file.certificate)
    }

    /// The equalisations, recorded and played back, if they differ.
    pub fn switched(&self) -> Option<(Equalisation, Equalisation)> {
        let recorded = self.file?.equalisation?;
        self.played_at.filter(|played| *played != recorded).map(|played| (recorded, played))
    }

    /// What lies on the tape at `hz` more than at `reference_hz`, dB, and its expanded uncertainty, dB; tones between those
    /// of the file have what their neighbours lead to.
    fn on_tape(&self, hz: f64, reference_hz: f64) -> (f64, f64) {
        let at = |hz: f64| {
            let value = |told: &Told| {
                (told.tone.level_db.unwrap_or(0.0) + told.tone.correction_db, told.tone.uncertainty_db)
            };
            let mut rows: Vec<&Told> = self.ladder.iter().collect();
            rows.sort_by(|a, b| a.hz.total_cmp(&b.hz));
            let after = rows.partition_point(|told| told.hz < hz * 0.999);
            match (after.checked_sub(1).map(|k| rows[k]), rows.get(after)) {
                (_, Some(told)) if (told.hz / hz - 1.0).abs() < 0.001 => value(told),
                (Some(a), Some(b)) => {
                    let share = (hz / a.hz).ln() / (b.hz / a.hz).ln();
                    let (x, y) = (value(a), value(b));
                    (x.0 + share * (y.0 - x.0), x.1.max(y.1))
                }
                (Some(only), None) => value(only),
                (None, Some(only)) => value(only),
                (None, None) => (0.0, 0.0),
            }
        };
        let (own, reference) = (at(hz), at(reference_hz));
        let same = (hz / reference_hz - 1.0).abs() < 0.001;
        let mut db = own.0 - reference.0;
        if let Some((recorded, played)) = self.switched() {
            db += wrong_switch_db(recorded, played, hz, reference_hz);
        }
        let mut uncertainty = if same { 0.0 } else { own.1.hypot(reference.1) };
        if self.eras_disagree() {
            uncertainty = uncertainty.hypot((eras_db(hz) - eras_db(reference_hz)).abs());
        }
        (db, uncertainty)
    }

    /// Takes what lies on the tape off a response.
    pub fn correct_response(&self, response: &mut Response) {
        let reference_hz = response.reference_hz;
        let correct = |points: &mut Vec<ResponsePoint>| {
            for point in points {
                let (db, uncertainty) = self.on_tape(point.hz, reference_hz);
                // Both channels hear the same tape.
                point.difference_uncertainty_db = point.uncertainty_db[0]
                    .zip(point.uncertainty_db[1])
                    .map(|(left, right)| left.hypot(right));
                point.db = point.db.map(|value| value.map(|value| value - db));
                point.uncertainty_db =
                    point.uncertainty_db.map(|value| value.map(|value| value.hypot(uncertainty)));
            }
        };
        correct(&mut response.steps);
        correct(&mut response.sweep);
        correct(&mut response.combined);
        let points = if response.steps.is_empty() { &response.sweep } else { &response.steps };
        let corner = |rising| {
            [0, 1].map(|side| crate::measure::response::steps::corner_hz(points, side, reference_hz, rising))
        };
        (response.low_3db_hz, response.high_3db_hz) = (corner(false), corner(true));
    }

    /// Level of `tone` against the deck's standard (else against the tape's own reference flux), dB, with its expanded
    /// uncertainty, dB.
    fn against_standard(&self, tone: &TapeTone) -> Option<(f64, f64)> {
        let own = tone.level_db? + tone.correction_db;
        let standard = match (self.file.and_then(|file| file.reference), self.deck_standard) {
            (Some(reference), Some(standard)) => reference.against(&standard),
            _ => (0.0, 0.0),
        };
        Some((own + standard.0, tone.uncertainty_db.hypot(standard.1)))
    }

    /// Puts the tape's levels into the level rows: `programme_db` is then dB against the deck's standard. A gain is not
    /// known: nobody knows what was recorded.
    pub fn correct_levels(&self, levels: &mut [Level]) {
        for level in levels {
            level.gain_db = [None; 2];
            let told = self.levels.iter().find(|(part, _)| *part == level.part);
            if let Some((db, uncertainty)) = told.and_then(|(_, tone)| self.against_standard(tone)) {
                level.programme_db = db;
                level.programme_uncertainty_db = Some(uncertainty);
            }
        }
    }

    /// The section of the reading; `levels` are those that were corrected.
    pub fn section(&self, levels: &[Level]) -> Option<TapeSection> {
        let reference = self.file.and_then(|file| file.reference);
        if self.file.is_none() && self.deck_standard.is_none() {
            return None;
        }
        let flux = self.levels.iter().find_map(|(part, tone)| {
            let level = levels.iter().find(|level| level.part == *part)?;
            let (against, uncertainty) = self.against_standard(tone)?;
            // The level tone that is nearest to the standard says it best.
            Some((level, tone, against, uncertainty))
        });
        let known = reference.is_some() && self.deck_standard.is_some();
        let standard_dbfs: Pair = match flux {
            Some((level, _, against, _)) if known => {
                level.return_dbfs.map(|dbfs| dbfs.map(|dbfs| dbfs - against))
            }
            _ => [None; 2],
        };
        let word = |flux: StatedFlux| (flux.nwb_m, flux.stated.word().to_owned());
        Some(TapeSection {
            name: self.file.map(|file| file.name.clone()),
            certificate: self.file.map(|file| file.certificate),
            certificate_date: self.file.and_then(|file| file.certificate_date.clone()),
            track: self.file.and_then(|file| file.track).map(|track| {
                match track {
                    Track::Full => "full",
                    Track::Half => "half",
                    Track::Stereo => "stereo",
                }
                .to_owned()
            }),
            reference_nwb_m: reference.map(|flux| flux.nwb_m),
            reference_stated: reference.map(|flux| word(flux).1),
            deck_standard_nwb_m: self.deck_standard.map(|flux| flux.nwb_m),
            deck_standard_stated: self.deck_standard.map(|flux| word(flux).1),
            level_tone_hz: flux.map(|flux| flux.0.hz),
            level_tone_nwb_m: flux.zip(reference).map(|((_, tone, ..), reference)| {
                reference.nwb_m * 10f64.powf((tone.level_db.unwrap_or(0.0) + tone.correction_db) / 20.0)
            }),
            level_tone_against_standard_db: flux.filter(|_| known).map(|flux| flux.2),
            level_tone_uncertainty_db: flux.filter(|_| known).map(|flux| flux.3),
            standard_dbfs,
            recorded_for_us: self
                .file
                .and_then(|file| file.equalisation)
                .map(Equalisation::high_time_constant_us),
            played_at_us: self.played_at.map(Equalisation::high_time_constant_us),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::trade::FluxStatement;

    fn file(text: &str) -> TapeFile {
        TapeFile::parse(&format!("name = \"t\"\n{text}"), "t").unwrap()
    }

    fn values(file: &TapeFile, played_at: Option<Equalisation>) -> TapeValues<'_> {
        let ladder = file.tones.iter().map(|tone| Told { hz: tone.hz, tone: *tone }).collect();
        TapeValues {
            file: Some(file),
            ladder,
            levels: file.tones.iter().map(|tone| (format!("tone-{}", tone.hz), *tone)).collect(),
            played_at,
            deck_standard: None,
            is_reference: true,
        }
    }

    fn flat(hz: &[f64]) -> Response {
        let point = |&hz: &f64| ResponsePoint {
            hz,
            db: [Some(0.0), None],
            uncertainty_db: [Some(0.05), None],
            difference_db: None,
            difference_uncertainty_db: None,
        };
        Response {
            reference_hz: 315.0,
            programme_db: -20.0,
            steps: hz.iter().map(point).collect(),
            sweep: vec![],
            noise: vec![],
            combined: vec![],
            low_3db_hz: [None; 2],
            high_3db_hz: [None; 2],
        }
    }

    #[test]
    fn a_70_us_tape_on_a_120_us_deck_that_reads_flat_lacks_treble() {
        // IEC 60094-1: at 10 kHz 120 us against 70 us differ by 10 lg((1 + (w 120 us)^2) / (1 + (w 70 us)^2)).
        let tape = file("certificate = true\nequalisation_us = 70");
        let mut response = flat(&[315.0, 10_000.0]);
        values(&tape, Some(Equalisation::Us120)).correct_response(&mut response);
        let term = |us: f64, hz: f64| 10.0 * (1.0 + (std::f64::consts::TAU * hz * us * 1e-6).powi(2)).log10();
        let want = |hz| term(120.0, hz) - term(70.0, hz);
        assert_within!(response.steps[1].db[0].unwrap(), -(want(10_000.0) - want(315.0)), 1e-9, "dB");
        assert_within!(response.steps[1].db[0].unwrap(), -4.3, 0.3, "dB");
        assert_eq!(response.steps[0].db[0], Some(0.0));
        assert!(response.high_3db_hz[0].is_some_and(|hz| hz < 10_000.0));
        let mut same = flat(&[315.0, 10_000.0]);
        values(&tape, Some(Equalisation::Us70)).correct_response(&mut same);
        assert_eq!(same.steps[1].db[0], Some(0.0));
    }

    #[test]
    fn the_certificate_is_taken_off_and_without_one_the_makes_disagree() {
        let tones = "[[tone]]\nhz = 315\ncorrection_db = 0.1\nuncertainty_db = 0.2\n[[tone]]\nhz = 16000\ncorrection_db = -0.9\n\
                     uncertainty_db = 0.8";
        let tape = file(&format!("certificate = true\n{tones}"));
        let mut response = flat(&[315.0, 16_000.0]);
        values(&tape, None).correct_response(&mut response);
        assert_within!(response.steps[1].db[0].unwrap(), 1.0, 1e-9, "dB");
        assert_within!(
            response.steps[1].uncertainty_db[0].unwrap(),
            0.05f64.hypot(0.8).hypot(0.2),
            1e-9,
            "dB"
        );
        assert_eq!(response.steps[0].uncertainty_db[0], Some(0.05));
        let old = file("certificate = false");
        let mut response = flat(&[315.0, 16_000.0]);
        values(&old, None).correct_response(&mut response);
        assert_within!(response.steps[1].uncertainty_db[0].unwrap(), 4.0, 0.02, "dB");
        assert_eq!(response.steps[1].db[0], Some(0.0));
    }

    #[test]
    fn levels_count_from_the_decks_standard() {
        let tape = file(
            "certificate = true\nreference_flux_nwb_m = 250\nflux_stated = \"open-circuit\"\n[[tone]]\nhz = 315\nlevel_db = 0",
        );
        let mut known = values(&tape, None);
        known.deck_standard = Some(StatedFlux { nwb_m: 200.0, stated: FluxStatement::ShortCircuit });
        let mut levels = [Level {
            part: "tone-315".into(),
            hz: 315.0,
            programme_db: 0.0,
            return_dbfs: [Some(-10.0), None],
            gain_db: [Some(2.0), None],
            difference_db: None,
            uncertainty_db: 0.02,
            programme_uncertainty_db: None,
        }];
        known.correct_levels(&mut levels);
        // 250 open-circuit are 227 short-circuit: 1.11 dB above 200.
        assert_within!(levels[0].programme_db, 1.11, 0.01, "dB");
        assert_eq!(levels[0].gain_db, [None; 2]);
        let section = known.section(&levels).unwrap();
        assert_within!(section.standard_dbfs[0].unwrap(), -11.11, 0.01, "dBFS");
        assert_within!(section.level_tone_nwb_m.unwrap(), 250.0, 1e-9, "nWb/m");
    }
}
