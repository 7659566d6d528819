//! Reference levels: fluxivities of the trade and their ratios.
//!
//! Fluxivities are short-circuit values in nWb/m unless said otherwise; confidence stands at each.

use super::decibels::db_from_ratio;

/// Level mark of the common compander noise reduction, nWb/m, stated as short-circuit (ANSI) flux; 400 Hz (the
/// frequency is from memory).
pub const NOISE_REDUCTION_NWB_M: f64 = 200.0;
/// The same recording stated as open-circuit (DIN) flux, nWb/m; 218 is also printed (from memory).
pub const NOISE_REDUCTION_OPEN_NWB_M: f64 = 220.0;
/// Open-circuit over short-circuit statement of one flux: 220 / 200, derived from the two printed values of the
/// noise-reduction level.
pub const OPEN_OVER_SHORT_CIRCUIT: f64 = NOISE_REDUCTION_OPEN_NWB_M / NOISE_REDUCTION_NWB_M;
/// Level in dB of `nwb_m` above `reference_nwb_m` (both above 0, both stated the same way, short- or open-circuit).
pub fn level_db(nwb_m: f64, reference_nwb_m: f64) -> f64 {
    db_from_ratio(nwb_m / reference_nwb_m)
}

/// Fluxivity in nWb/m that lies `level_db` above `reference_nwb_m`; the inverse of [`level_db`].
pub fn fluxivity_nwb_m(level_db: f64, reference_nwb_m: f64) -> f64 {
    reference_nwb_m * 10f64.powf(level_db / 20.0)
}

/// How a fluxivity is stated.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FluxStatement {
    /// Short-circuit flux: the level mark of noise reduction is 200 nWb/m.
    ShortCircuit,
    /// Open-circuit flux: the same mark is 218 to 220 nWb/m.
    OpenCircuit,
    /// Nobody said.
    Unknown,
}

impl FluxStatement {
    /// The words in a file, with what they mean.
    pub const WORDS: [(&'static str, Self); 3] = [
        ("short-circuit", Self::ShortCircuit),
        ("open-circuit", Self::OpenCircuit),
        ("unknown", Self::Unknown),
    ];

    /// The statement that a word in a file means; `None` if it is none.
    pub fn of_word(word: &str) -> Option<Self> {
        Self::WORDS.iter().find(|known| known.0 == word).map(|known| known.1)
    }

    /// The word in a file.
    pub fn word(self) -> &'static str {
        match self {
            Self::ShortCircuit => "short-circuit",
            Self::OpenCircuit => "open-circuit",
            Self::Unknown => "unknown",
        }
    }
}

/// A fluxivity with the way in which it is stated.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StatedFlux {
    /// nWb/m, above 0.
    pub nwb_m: f64,
    /// How it is stated.
    pub stated: FluxStatement,
}

impl StatedFlux {
    /// Level of this flux against `other`, dB, and what is uncertain of it because a statement is not known, dB.
    pub fn against(&self, other: &Self) -> (f64, f64) {
        let bare = level_db(self.nwb_m, other.nwb_m);
        let step = 20.0 * OPEN_OVER_SHORT_CIRCUIT.log10();
        match (self.stated, other.stated) {
            (FluxStatement::ShortCircuit, FluxStatement::OpenCircuit) => (bare + step, 0.0),
            (FluxStatement::OpenCircuit, FluxStatement::ShortCircuit) => (bare - step, 0.0),
            (a, b) if a == b && a != FluxStatement::Unknown => (bare, 0.0),
            // Two unknown statements differ by one step at most, either way.
            _ => (bare, step),
        }
    }

    /// Parses `200` or `218,open-circuit`; without a word the statement is unknown.
    ///
    /// # Errors
    /// What is allowed, in words.
    pub fn parse(text: &str) -> Result<Self, String> {
        const ALLOWED: &str = "expected nWb/m from 50 to 1000, and how it is stated, such as 200,short-circuit or 250,open-circuit";
        let (number, stated) = match text.split_once(',') {
            Some((number, word)) => (number, FluxStatement::of_word(word.trim()).ok_or(ALLOWED)?),
            None => (text, FluxStatement::Unknown),
        };
        match number.trim().parse::<f64>() {
            Ok(nwb_m) if (50.0..=1000.0).contains(&nwb_m) => Ok(Self { nwb_m, stated }),
            _ => Err(ALLOWED.into()),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use FluxStatement::{OpenCircuit, ShortCircuit, Unknown};
    use proptest::prelude::*;

    #[test]
    fn the_same_mark_stated_in_two_ways_is_one_level() {
        let flux = |nwb_m, stated| StatedFlux { nwb_m, stated };
        // Where decks' meters print the mark of noise reduction: -1.2 dB on a meter of 250 nWb/m (tests/tables/
        // reference-levels.tsv, SEEN), which is stated open-circuit; the bare ratio 200/250 would be -1.94 dB.
        let (db, uncertainty) = flux(200.0, ShortCircuit).against(&flux(250.0, OpenCircuit));
        assert_within!(db, -1.2, 0.1, "dB");
        assert_eq!(uncertainty, 0.0);
        assert_within!(flux(220.0, OpenCircuit).against(&flux(200.0, ShortCircuit)).0, 0.0, 1e-9, "dB");
        // 20 lg(185/250) = -2.615, printed as -2.6 dB (SEEN); both stated alike.
        assert_within!(flux(185.0, ShortCircuit).against(&flux(250.0, ShortCircuit)).0, -2.615, 0.001, "dB");
        let (db, uncertainty) = flux(250.0, Unknown).against(&flux(200.0, Unknown));
        assert_within!(db, 1.938, 0.001, "dB");
        assert_within!(uncertainty, 0.83, 0.01, "dB");
    }

    #[test]
    fn a_flux_is_typed_with_its_statement() {
        assert_eq!(
            StatedFlux::parse("200,short-circuit"),
            Ok(StatedFlux { nwb_m: 200.0, stated: ShortCircuit })
        );
        assert_eq!(StatedFlux::parse("250"), Ok(StatedFlux { nwb_m: 250.0, stated: Unknown }));
        for wrong in ["", "0", "NaN", "200,din", "5000", "200 nWb/m"] {
            assert!(StatedFlux::parse(wrong).is_err(), "{wrong}");
        }
    }

    proptest! {
        #[test]
        fn level_and_fluxivity_are_inverse(db in -60.0..20.0f64, reference_nwb_m in 50.0..500.0f64) {
            let back_db = level_db(fluxivity_nwb_m(db, reference_nwb_m), reference_nwb_m);
            // Rounding of f64.
            prop_assert!((back_db - db).abs() < 1e-10);
        }
    }
}
