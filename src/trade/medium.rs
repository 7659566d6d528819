//! The medium: speed and track geometry, as data.

/// A tape format at one speed. Every meter takes it as a value; nothing asks which one it is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Medium {
    /// Name for people.
    pub name: &'static str,
    /// Tape speed, mm/s.
    pub speed_mm_s: f64,
    /// Width of one channel's track, mm.
    pub track_width_mm: f64,
    /// Distance between the centres of the stereo pair's tracks, mm.
    pub pair_centre_distance_mm: f64,
}

impl Medium {
    /// Compact cassette: 1 7/8 in/s exactly, tracks of 0.6 mm, 0.3 mm apart (IEC 60094-7 dimensions, as quoted in
    /// encyclopaedias; the centre distance follows: 0.6 / 2 + 0.3 + 0.6 / 2).
    pub const COMPACT_CASSETTE: Self = Self {
        name: "compact cassette",
        speed_mm_s: 47.625,
        track_width_mm: 0.6,
        pair_centre_distance_mm: 0.9,
    };

    /// Compact cassette on a deck that runs at half speed (15/16 in/s).
    pub const HALF_SPEED_CASSETTE: Self =
        Self { name: "compact cassette at half speed", speed_mm_s: 23.8125, ..Self::COMPACT_CASSETTE };

    /// Compact cassette on a deck that runs at double speed (3 3/4 in/s).
    pub const DOUBLE_SPEED_CASSETTE: Self =
        Self { name: "compact cassette at double speed", speed_mm_s: 95.25, ..Self::COMPACT_CASSETTE };

    /// Quarter-track open reel at 7 1/2 in/s: tracks of 1.0 mm, centres 3.4 mm apart (from memory).
    pub const QUARTER_TRACK_REEL_19: Self = Self {
        name: "quarter-track open reel at 19.05 cm/s",
        speed_mm_s: 190.5,
        track_width_mm: 1.0,
        pair_centre_distance_mm: 3.4,
    };

    /// Wavelength on the tape of a tone of `hz`, um.
    pub fn wavelength_um(&self, hz: f64) -> f64 {
        self.speed_mm_s * 1000.0 / hz
    }

    /// Inter-channel delay that a head tilted by `arcmin` makes, us: s tan(a) / v.
    pub fn delay_us_from_arcmin(&self, arcmin: f64) -> f64 {
        self.pair_centre_distance_mm * (arcmin / 60.0).to_radians().tan() / self.speed_mm_s * 1e6
    }

    /// Tilt that stands for an inter-channel delay, minutes of arc: tan(a) = v delay / s.
    pub fn arcmin_from_delay_us(&self, delay_us: f64) -> f64 {
        (self.speed_mm_s * delay_us * 1e-6 / self.pair_centre_distance_mm).atan().to_degrees() * 60.0
    }
}
