//! A silent part as its meter heard it: spectra, indications, and components of hum.

use crate::measure::noise::hum::HumComponents;
use crate::signal::spectrum::Density;
use crate::signal::statistics::Steady;
use crate::trade::a_weighting;

/// Limits of the unweighted measurement, Hz (the design's; nominal 22.4 Hz to 22.4 kHz).
pub const UNWEIGHTED_HZ: (f64, f64) = (22.4, 22_400.0);

/// The spectra and indications of a silent part.
#[derive(Debug, Clone)]
pub struct Silence {
    pub(crate) densities: [Density; 2],
    pub(crate) rate_hz: f64,
    pub(crate) unweighted: [Option<Steady>; 2],
    pub(crate) a_weighted: [Option<Steady>; 2],
    pub(crate) shown: [Option<Steady>; 2],
    /// Those that stand out.
    pub(crate) components: Option<HumComponents>,
}

/// A-weight of a power.
pub(crate) fn weight(hz: f64) -> f64 {
    10f64.powf(a_weighting::a_weighting_db(hz) / 10.0)
}

impl Silence {
    /// Mean square of hiss and hum of `channel` between two frequencies.
    pub(crate) fn band_power(&self, channel: usize, low_hz: f64, high_hz: f64) -> f64 {
        self.densities[channel].power(low_hz, high_hz, |_| 1.0)
    }

    /// Independent values (of mean square) that hiss in a band of this width gave: bandwidth times time, less what the
    /// Hann window and the overlap of the segments cost.
    pub(crate) fn independent(&self, width_hz: f64) -> f64 {
        // Over one segment the variance is that of 1.944 of them (sum of w^4 over the square of the sum of w^2, times the
        // length); half-overlapping segments share 0.0857 of theirs, so it is 1.944 (1 + 2 x 0.0857) for many.
        let density = &self.densities[0];
        width_hz / density.step_hz * density.segments as f64 / 2.277
    }

    /// Mean square of `channel` in the unweighted band, or A-weighted.
    pub(crate) fn power(&self, channel: usize, weighted: bool) -> f64 {
        let (low, high) = (UNWEIGHTED_HZ.0, UNWEIGHTED_HZ.1.min(self.rate_hz / 2.0));
        self.densities[channel].power(low, high, |hz| if weighted { weight(hz) } else { 1.0 })
    }
}
