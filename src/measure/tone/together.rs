//! One tone from two channels.

use crate::signal::baseband::Band;
use num_complex::Complex64;

/// Both channels in phase, each weighed by its amplitude: hiss of one is halved by the other.
pub(crate) fn together(bands: &[Band; 2]) -> (Vec<Complex64>, f64) {
    let cross: Complex64 =
        bands[0].samples.iter().zip(&bands[1].samples).map(|(left, right)| right.conj() * left).sum();
    let power = [0, 1].map(|channel| bands[channel].samples.iter().map(Complex64::norm_sqr).sum::<f64>());
    let strongest = power[0].max(power[1]).max(1e-300);
    let weight = power.map(|power| if power > 0.01 * strongest { (power / strongest).sqrt() } else { 0.0 });
    let turn = if cross.norm() > 0.0 { cross / cross.norm() } else { Complex64::new(1.0, 0.0) };
    let both = bands[0]
        .samples
        .iter()
        .zip(&bands[1].samples)
        .map(|(left, right)| left * weight[0] + right * turn * weight[1])
        .collect();
    (both, bands[0].first_s)
}
