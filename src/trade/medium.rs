//! The medium: tape speed and track geometry, as data.
//!
//! The compact cassette is the default; half-speed and double-speed decks and open reel are other values of the same
//! type. Dimensions: IEC 60094-7 and the 1970 description of the format.

/// Radians in one minute of arc.
pub const RADIANS_PER_ARCMIN: f64 = std::f64::consts::PI / (180.0 * 60.0);

/// Tape speed and the geometry of one stereo pair of tracks.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Medium {
    /// Nominal tape speed, mm/s, above 0.
    pub speed_mm_s: f64,
    /// Width of one channel's track, mm, above 0.
    pub track_width_mm: f64,
    /// Distance between the centres of the left and the right track of one side, mm, above 0.
    pub pair_centre_distance_mm: f64,
    /// Usual distance between the gaps of the record and the playback head where a deck has both, mm, above 0. Decks
    /// differ (two gaps in one shell are a few mm apart).
    pub head_distance_mm: f64,
    /// Name in words of the trade.
    pub name: &'static str,
}

impl Medium {
    /// Compact cassette: 47.625 mm/s (1 7/8 in/s exactly, printed as 4.76 cm/s), two tracks 0.6 mm wide with 0.3 mm
    /// between them (IEC 60094-7), so 0.9 mm between the centres. Heads 15 mm apart: common practice, no source.
    pub const COMPACT_CASSETTE: Self = Self {
        speed_mm_s: 47.625,
        track_width_mm: 0.6,
        pair_centre_distance_mm: 0.9,
        head_distance_mm: 15.0,
        name: "compact cassette",
    };
    /// Compact cassette in a deck that runs at half the nominal speed. The speed is half of 47.625 mm/s by definition;
    /// that such decks exist is common practice, no source.
    pub const COMPACT_CASSETTE_HALF_SPEED: Self =
        Self { speed_mm_s: 23.8125, name: "compact cassette at half speed", ..Self::COMPACT_CASSETTE };
    /// Compact cassette in a deck that runs at twice the nominal speed (95.25 mm/s, 3 3/4 in/s).
    pub const COMPACT_CASSETTE_DOUBLE_SPEED: Self =
        Self { speed_mm_s: 95.25, name: "compact cassette at double speed", ..Self::COMPACT_CASSETTE };
    /// Open reel, 6.3 mm tape, two tracks over the full width at 190.5 mm/s (7 1/2 in/s): tracks of 2.0 mm, centres
    /// 4.0 mm apart. The speed is exact; the track dimensions and the 35 mm between the heads are from memory.
    pub const OPEN_REEL_TWO_TRACK_190: Self = Self {
        speed_mm_s: 190.5,
        track_width_mm: 2.0,
        pair_centre_distance_mm: 4.0,
        head_distance_mm: 35.0,
        name: "open reel, two tracks, 190.5 mm/s",
    };
    /// Everything that is built in, the default first.
    pub const ALL: [Self; 4] = [
        Self::COMPACT_CASSETTE,
        Self::COMPACT_CASSETTE_HALF_SPEED,
        Self::COMPACT_CASSETTE_DOUBLE_SPEED,
        Self::OPEN_REEL_TWO_TRACK_190,
    ];

    /// Recorded wavelength in um of a tone of `hz` (above 0): v / f. Infinite at 0 Hz.
    pub fn wavelength_um(&self, hz: f64) -> f64 {
        wavelength_um(hz, self.speed_mm_s)
    }

    /// Inter-channel delay in us of an azimuth angle of `arcmin` minutes of arc: s tan(a) / v, with the sign of the
    /// angle. Meaningful for angles well below 90 degrees.
    pub fn delay_us_from_arcmin(&self, arcmin: f64) -> f64 {
        self.pair_centre_distance_mm * (arcmin * RADIANS_PER_ARCMIN).tan() / self.speed_mm_s * 1e6
    }

    /// Azimuth angle in minutes of arc of an inter-channel delay of `delay_us`, with the sign of the delay; the
    /// inverse of [`Self::delay_us_from_arcmin`].
    pub fn arcmin_from_delay_us(&self, delay_us: f64) -> f64 {
        (self.speed_mm_s * delay_us * 1e-6 / self.pair_centre_distance_mm).atan() / RADIANS_PER_ARCMIN
    }

    /// Phase between the channels in degrees (right minus left, not wrapped) of a tone of `hz` at an azimuth angle of
    /// `arcmin`. A right channel that lags has a positive delay and so a negative phase: -360 f delay.
    pub fn phase_degrees_from_arcmin(&self, arcmin: f64, hz: f64) -> f64 {
        -360.0 * hz * self.delay_us_from_arcmin(arcmin) * 1e-6
    }

    /// Azimuth angle in minutes of arc, above 0, at which a tone of `hz` (above 0) reaches 180 degrees between the
    /// channels: beyond it the phase alone is ambiguous.
    pub fn first_phase_wrap_arcmin(&self, hz: f64) -> f64 {
        self.arcmin_from_delay_us(0.5e6 / hz)
    }

    /// Length of tape in m that passes in `seconds` at nominal speed.
    pub fn tape_length_m(&self, seconds: f64) -> f64 {
        self.speed_mm_s * seconds / 1e3
    }

    /// Rate in Hz at whose multiples flutter cancels when the tape is played while it is recorded: the heads' distance
    /// is then a whole number of its periods long. Half-way between, it doubles.
    pub fn simultaneous_null_hz(&self) -> f64 {
        self.speed_mm_s / self.head_distance_mm
    }

    /// Turns per second of a rotating part of `diameter_mm` (above 0) whose surface moves with the tape: v / (pi d),
    /// Hz. A line in the flutter spectrum at this frequency points to that part.
    pub fn rotation_hz(&self, diameter_mm: f64) -> f64 {
        self.speed_mm_s / (std::f64::consts::PI * diameter_mm)
    }
}

impl Default for Medium {
    /// [`Medium::COMPACT_CASSETTE`].
    fn default() -> Self {
        Self::COMPACT_CASSETTE
    }
}

/// Recorded wavelength in um of a tone of `hz` (above 0) at `speed_mm_s` (above 0): v / f. Infinite at 0 Hz.
pub fn wavelength_um(hz: f64, speed_mm_s: f64) -> f64 {
    speed_mm_s * 1e3 / hz
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn half_and_double_speed_scale_the_wavelength() {
        let hz = 6300.0;
        let nominal_um = Medium::COMPACT_CASSETTE.wavelength_um(hz);
        // Rounding of f64 only.
        assert_within!(
            Medium::COMPACT_CASSETTE_HALF_SPEED.wavelength_um(hz),
            nominal_um / 2.0,
            1e-12,
            "um",
            "half"
        );
        assert_within!(
            Medium::COMPACT_CASSETTE_DOUBLE_SPEED.wavelength_um(hz),
            nominal_um * 2.0,
            1e-12,
            "um",
            "double"
        );
    }

    #[test]
    fn a_lagging_right_channel_has_negative_phase() {
        let cassette = Medium::default();
        assert!(cassette.delay_us_from_arcmin(3.0) > 0.0);
        assert!(cassette.phase_degrees_from_arcmin(3.0, 10_000.0) < 0.0);
    }

    proptest! {
        #[test]
        fn delay_and_angle_are_inverse(arcmin in -600.0..600.0f64, which in 0usize..Medium::ALL.len()) {
            let medium = Medium::ALL[which];
            let back = medium.arcmin_from_delay_us(medium.delay_us_from_arcmin(arcmin));
            // tan and atan each round in the last bits; a part in 1e12 of ten degrees is far below any use.
            prop_assert!((back - arcmin).abs() <= 1e-9, "{arcmin} came back as {back} on {}", medium.name);
        }

        #[test]
        fn delay_is_odd_and_grows_with_the_angle(arcmin in 0.001..600.0f64) {
            let cassette = Medium::COMPACT_CASSETTE;
            prop_assert_eq!(cassette.delay_us_from_arcmin(-arcmin), -cassette.delay_us_from_arcmin(arcmin));
            prop_assert!(cassette.delay_us_from_arcmin(arcmin * 1.01) > cassette.delay_us_from_arcmin(arcmin));
        }
    }
}
