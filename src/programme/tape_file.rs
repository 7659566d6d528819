//! The tape's own values: what lies on a reference tape that carries no slates, as a technician copies it from its label
//! and its certificate.
//!
//! ```toml
//! name = "reference tape 3 of the Lantern Lane bench (invented)"
//! certificate = true                 # its corrections are in this file; false: the makes and years disagree
//! certificate_date = "2019-04-02"
//! track = "stereo"                   # what was recorded: full (the whole width), half (both tracks of a side as one), stereo
//! equalisation_us = 120              # 120 or 70
//! reference_flux_nwb_m = 250         # what level_db below counts from
//! flux_stated = "open-circuit"       # short-circuit (as 200), open-circuit (the same mark as 218 to 220), or unknown
//! speed_error_percent = 0.0          # of the recording, from the certificate; positive: recorded so that it plays back sharp
//! frequency_uncertainty_percent = 0.05
//!
//! deck_standard_nwb_m = 200          # what the deck's manual calls 0 dB or its level mark
//! deck_standard_stated = "short-circuit"
//! played_at_us = 120               # how the deck's equalisation stood, if not as the tape type says
//!
//! [[tone]]
//! hz = 315
//! level_db = 0                       # against reference_flux_nwb_m
//! correction_db = 0.1                # from the certificate: by how much more than level_db is on the tape
//! uncertainty_db = 0.2
//! ```

use super::ProgrammeError;
use super::keys::{Keys, Source};
use crate::trade::{Equalisation, FluxStatement, StatedFlux};

/// The example that is built in, of an invented workshop.
pub const TAPE_EXAMPLE: &str = include_str!("../../tones/tapes/lantern-lane.toml");

/// Which tracks the tape carries.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Track {
    /// One track over the whole width of the tape.
    Full,
    /// One track over both stereo tracks of a side.
    Half,
    /// Two stereo tracks with guard band.
    Stereo,
}

/// One tone of the tape.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TapeTone {
    /// Nominal frequency, Hz.
    pub hz: f64,
    /// Nominal level, dB re the tape's reference flux; `None` if not told.
    pub level_db: Option<f64>,
    /// How much more than its nominal level is on the tape by the certificate, dB.
    pub correction_db: f64,
    /// Expanded uncertainty of that, dB.
    pub uncertainty_db: f64,
}

/// A reference tape as its file describes it.
#[derive(Debug, Clone, PartialEq)]
pub struct TapeFile {
    /// What it is called.
    pub name: String,
    /// A certificate stands behind the values.
    pub certificate: bool,
    /// Its date, as written.
    pub certificate_date: Option<String>,
    /// Which tracks it carries; `None` if not told.
    pub track: Option<Track>,
    /// For which equalisation it was recorded; `None` if not told.
    pub equalisation: Option<Equalisation>,
    /// How the deck's equalisation stood; `None`: as the tape type says.
    pub played_at: Option<Equalisation>,
    /// What levels count from; `None` if not told.
    pub reference: Option<StatedFlux>,
    /// What the deck's manual calls its standard; `None` if not told.
    pub deck_standard: Option<StatedFlux>,
    /// Speed error of the recording, percent: positive if it plays back sharp at the right speed.
    pub speed_error_percent: f64,
    /// How well its frequencies are known, percent (k = 2); `None` if not told.
    pub frequency_uncertainty_percent: Option<f64>,
    /// Its tones.
    pub tones: Vec<TapeTone>,
}

const HEAD: [&str; 13] = [
    "name",
    "certificate",
    "certificate_date",
    "track",
    "equalisation_us",
    "reference_flux_nwb_m",
    "flux_stated",
    "speed_error_percent",
    "frequency_uncertainty_percent",
    "deck_standard_nwb_m",
    "deck_standard_stated",
    "played_at_us",
    "tone",
];

impl TapeFile {
    /// The tape that `text` describes; `file` is its name for messages.
    ///
    /// # Errors
    /// [`ProgrammeError::NotToml`] or [`ProgrammeError::Recipe`], both with line, key and remedy.
    pub fn parse(text: &str, file: &str) -> Result<Self, ProgrammeError> {
        let source = Source { file, text };
        let document = source.document()?;
        let keys = Keys::new(source, 0..0, document.get_ref());
        keys.only("the head of a tape's file", &HEAD)?;
        let name = keys.text("name")?;
        let name = keys.required("name", name, "what the tape is called")?;
        let certificate = keys.flag("certificate")?;
        let certificate = keys.required("certificate", certificate, "true or false")?;
        let tracks = [("full", Track::Full), ("half", Track::Half), ("stereo", Track::Stereo)];
        let reference = flux(&keys, "reference_flux_nwb_m", "flux_stated")?;
        let tones = keys.tables("tone")?.iter().map(tone).collect::<Result<Vec<_>, _>>()?;
        for (k, tone) in tones.iter().enumerate() {
            if tones[..k].iter().any(|other| other.hz == tone.hz && other.level_db == tone.level_db) {
                let found = format!("{} Hz twice at the same level", tone.hz);
                return Err(keys.refuse("tone", found, "each tone once", "take one of them out"));
            }
        }
        Ok(Self {
            name,
            certificate,
            certificate_date: keys.text("certificate_date")?,
            track: keys.word("track", &tracks)?,
            equalisation: equalisation(&keys, "equalisation_us")?,
            played_at: equalisation(&keys, "played_at_us")?,
            reference,
            deck_standard: flux(&keys, "deck_standard_nwb_m", "deck_standard_stated")?,
            speed_error_percent: keys.number("speed_error_percent", -5.0, 5.0, "percent")?.unwrap_or(0.0),
            frequency_uncertainty_percent: keys.number(
                "frequency_uncertainty_percent",
                0.0,
                5.0,
                "percent",
            )?,
            tones,
        })
    }

    /// The tone of the file that is meant by a tone of nominally `hz`; of several levels the one nearest to
    /// `about_db`.
    pub fn tone(&self, hz: f64, about_db: Option<f64>) -> Option<&TapeTone> {
        let away = |tone: &&TapeTone| match (tone.level_db, about_db) {
            (Some(level), Some(about)) => (level - about).abs(),
            _ => 0.0,
        };
        let same = self.tones.iter().filter(|tone| (tone.hz / hz - 1.0).abs() < 0.004);
        same.min_by(|a, b| away(a).total_cmp(&away(b)))
    }
}

fn flux(keys: &Keys, number: &str, stated: &str) -> Result<Option<StatedFlux>, ProgrammeError> {
    let nwb_m = keys.number(number, 50.0, 1000.0, "nWb/m")?;
    let word = keys.word(stated, &FluxStatement::WORDS)?;
    match (nwb_m, word) {
        (Some(nwb_m), Some(stated)) => Ok(Some(StatedFlux { nwb_m, stated })),
        (None, None) => Ok(None),
        (Some(_), None) => {
            let allowed = "short-circuit, open-circuit or unknown";
            keys.required(stated, None, allowed).map(Some)
        }
        (None, Some(_)) => keys.required(number, None, "50 to 1000 nWb/m").map(Some),
    }
}

fn equalisation(keys: &Keys, key: &str) -> Result<Option<Equalisation>, ProgrammeError> {
    match keys.number(key, 0.0, 10_000.0, "us")? {
        None => Ok(None),
        Some(us) => match Equalisation::ALL.iter().find(|known| known.high_time_constant_us() == us) {
            Some(known) => Ok(Some(*known)),
            None => {
                Err(keys.refuse(key, format!("{us} us"), "120 or 70", "take the one on the tape's label"))
            }
        },
    }
}

fn tone(keys: &Keys) -> Result<TapeTone, ProgrammeError> {
    keys.only("a tone", &["hz", "level_db", "correction_db", "uncertainty_db"])?;
    let hz = keys.number("hz", 15.0, 24_000.0, "Hz")?;
    Ok(TapeTone {
        hz: keys.required("hz", hz, "15 to 24000 Hz")?,
        level_db: keys.number("level_db", -60.0, 20.0, "dB")?,
        correction_db: keys.number("correction_db", -20.0, 20.0, "dB")?.unwrap_or(0.0),
        uncertainty_db: keys.number("uncertainty_db", 0.0, 10.0, "dB")?.unwrap_or(0.0),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use FluxStatement::OpenCircuit;

    #[test]
    fn the_example_is_read_whole() {
        let tape = TapeFile::parse(TAPE_EXAMPLE, "tape.toml").unwrap();
        assert!(tape.name.contains("invented") && tape.certificate && tape.tones.len() > 8);
        assert_eq!(tape.reference, Some(StatedFlux { nwb_m: 250.0, stated: OpenCircuit }));
        assert_eq!(tape.equalisation, Some(Equalisation::Us120));
        assert_eq!(tape.tone(10_000.0, Some(-19.0)).unwrap().level_db, Some(-20.0));
        assert_eq!(tape.tone(9_000.0, None), None);
    }

    #[test]
    fn mistakes_are_answered_with_line_key_and_remedy() {
        let head = "name = \"t\"\ncertificate = true\n";
        for (more, words) in [
            ("certificat = 1", "line 3: certificat: found a key"),
            ("equalisation_us = 90", "equalisation_us: found 90 us; allowed: 120 or 70"),
            ("reference_flux_nwb_m = 250", "flux_stated: found nothing; allowed: short-circuit"),
            ("reference_flux_nwb_m = 5\nflux_stated = \"unknown\"", "allowed: 50 to 1000 nWb/m"),
            ("track = \"quarter\"", "allowed: full, half, stereo"),
            ("[[tone]]\nlevel_db = 0", "hz: found nothing"),
            ("[[tone]]\nhz = nan", "hz: found the number nan"),
            ("[[tone]]\nhz = 315\n[[tone]]\nhz = 315", "315 Hz twice"),
            ("track = ", "this is not TOML"),
        ] {
            let error = TapeFile::parse(&format!("{head}{more}"), "tape.toml").unwrap_err().to_string();
            assert!(
                error.contains(words) && error.starts_with("tape.toml") && !error.contains('\n'),
                "{error}"
            );
        }
        let error = TapeFile::parse("name = \"t\"\ncertificate = 1", "t").unwrap_err().to_string();
        assert!(error.contains("true or false"), "{error}");
    }
}
