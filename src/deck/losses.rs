//! Azimuth, spacing and gap loss of the playback head: one filter of zero phase a channel, by overlap-save.
//!
//! While the azimuth screw or the motor is turned, each block fades from the filter at its begin to that at its end. Between
//! turns, and on a deck that nobody turns, there is one filter.

use super::turned::Turned;
use super::{BLOCK_FRAMES, DeckFile, TAPE_SPEED_MM_S, TRACK_WIDTH_MM, azimuth};
use realfft::{ComplexToReal, RealToComplex};
use rustfft::num_complex::Complex64;
use std::f64::consts::{PI, TAU};
use std::sync::Arc;

/// Length of the Fourier transforms; a block and the filter's tail fit in.
const FFT_LENGTH: usize = 4096;
/// The filter has as many taps before as behind its middle; the tape noise and signal are delayed by them.
pub(crate) const HALF_TAPS: usize = (FFT_LENGTH - BLOCK_FRAMES) / 2;

/// How the tape passes the head.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Pass {
    /// Angle of the head without wander, arc minutes.
    pub angle_arcmin: f64,
    /// Speed without drift and flutter; 1 is nominal.
    pub speed: f64,
}

/// How the tape passes the head against time, while screw and motor are turned.
#[derive(Debug, Clone)]
pub(crate) struct Passes {
    built: Pass,
    screw: Turned,
    motor: Turned,
}

impl Passes {
    /// Those of `file`.
    pub(crate) fn new(file: &DeckFile) -> Self {
        Self {
            built: Pass {
                angle_arcmin: file.azimuth.angle_arcmin,
                speed: 1.0 + file.speed.error_percent / 100.0,
            },
            screw: Turned::new(file, |turn| turn.azimuth_arcmin),
            motor: Turned::new(file, |turn| turn.speed_percent),
        }
    }

    /// Whether nothing is turned.
    pub(crate) fn idle(&self) -> bool {
        self.screw.idle() && self.motor.idle()
    }

    /// At `t_s` of the capture's clock.
    pub(crate) fn at(&self, t_s: f64) -> Pass {
        if self.idle() {
            return self.built;
        }
        Pass {
            angle_arcmin: self.built.angle_arcmin + self.screw.at(t_s),
            speed: self.built.speed + self.motor.at(t_s) / 100.0,
        }
    }
}

/// The filter of one channel.
pub(crate) struct Losses {
    spectrum: Vec<Complex64>,
    /// The filter to which the next block fades.
    next: Option<Vec<Complex64>>,
    forward: Arc<dyn RealToComplex<f64>>,
    backward: Arc<dyn ComplexToReal<f64>>,
    window: Vec<f64>,
    scratch_time: Vec<f64>,
    scratch: Vec<Complex64>,
}

/// Losses beyond 12 dB are not made up for.
const LEAST_MADE_UP: f64 = 0.25;

/// What the head loses of a wavelength, as an amplitude ratio; `hz` in the return.
pub(crate) fn loss(file: &DeckFile, channel: usize, hz: f64, pass: Pass) -> f64 {
    let per_mm = hz / (TAPE_SPEED_MM_S * pass.speed);
    let tan = azimuth::tan_of_arcmin(pass.angle_arcmin);
    let spacing = (-TAU * file.head.spacing_um.of(channel) * 1e-3 * per_mm).exp();
    let gap = sinc(file.head.gap_um.of(channel) * 1e-3 * per_mm);
    spacing * gap * sinc(TRACK_WIDTH_MM * tan * per_mm) * made_up(file, hz)
}

/// What the amplifier adds for the losses of a sound head; it knows frequencies, not wavelengths.
fn made_up(file: &DeckFile, hz: f64) -> f64 {
    let Some(sound) = file.head.made_up_for else { return 1.0 };
    let per_mm = hz / TAPE_SPEED_MM_S;
    let lost = (-TAU * sound.spacing_um * 1e-3 * per_mm).exp() * sinc(sound.gap_um * 1e-3 * per_mm).max(0.0);
    1.0 / lost.max(LEAST_MADE_UP)
}

/// sin(pi x) / (pi x).
fn sinc(x: f64) -> f64 {
    if x.abs() < 1e-9 { 1.0 } else { (PI * x).sin() / (PI * x) }
}

/// Whether any channel of the deck loses anything.
pub(crate) fn any(file: &DeckFile) -> bool {
    file.azimuth.angle_arcmin != 0.0
        || file.technician.turns.iter().any(|turn| turn.azimuth_arcmin.is_some())
        || file.head.made_up_for.is_some()
        || [file.head.spacing_um, file.head.gap_um].iter().any(|sides| sides.to_array() != [0.0; 2])
}

/// Taps of a filter of zero phase with this gain against frequency.
pub(crate) fn taps(gain: impl Fn(f64) -> f64, rate_hz: f64) -> Vec<f64> {
    let backward = inner_loops::real_inverse(FFT_LENGTH);
    // Frequency sampling, then cut to the taps with a window that leaves the middle alone.
    let mut spectrum: Vec<Complex64> =
        (0..=FFT_LENGTH / 2).map(|k| Complex64::from(gain(k as f64 * rate_hz / FFT_LENGTH as f64))).collect();
    let mut impulse = vec![0.0; FFT_LENGTH];
    let mut scratch = backward.make_scratch_vec();
    // Lengths are the planner's own, so this cannot fail.
    let _ = backward.process_with_scratch(&mut spectrum, &mut impulse, &mut scratch);
    (0..=2 * HALF_TAPS)
        .map(|k| {
            let from_middle = k as f64 - HALF_TAPS as f64;
            let window = 0.5 + 0.5 * (PI * from_middle / (HALF_TAPS + 1) as f64).cos();
            impulse[(k + FFT_LENGTH - HALF_TAPS) % FFT_LENGTH] / FFT_LENGTH as f64 * window
        })
        .collect()
}

/// Response of a filter with these taps as it is, at `hz`, without its delay.
#[cfg(feature = "internals")]
pub(crate) fn response(taps: &[f64], hz: f64, rate_hz: f64) -> f64 {
    let w = TAU * hz / rate_hz;
    let value = |(k, tap): (usize, &f64)| tap * (w * (k as f64 - HALF_TAPS as f64)).cos();
    taps.iter().enumerate().map(value).sum()
}

impl Losses {
    /// The filter for `channel` at `rate_hz`, with the tape passing as `pass` says.
    pub(crate) fn new(file: &DeckFile, channel: usize, rate_hz: f64, pass: Pass) -> Self {
        Self::of_taps(taps(|hz| loss(file, channel, hz, pass), rate_hz))
    }

    /// Fades to another pass within the next block.
    pub(crate) fn turn_to(&mut self, file: &DeckFile, channel: usize, rate_hz: f64, pass: Pass) {
        self.next = Some(Self::new(file, channel, rate_hz, pass).spectrum);
    }

    /// The filter with these taps.
    pub(crate) fn of_taps(mut taps: Vec<f64>) -> Self {
        let forward = <f64 as inner_loops::Precision>::real_forward(FFT_LENGTH);
        let backward = inner_loops::real_inverse(FFT_LENGTH);
        taps.resize(FFT_LENGTH, 0.0);
        let mut spectrum = forward.make_output_vec();
        let mut scratch = forward.make_scratch_vec();
        let _ = forward.process_with_scratch(&mut taps, &mut spectrum, &mut scratch);
        spectrum.iter_mut().for_each(|z| *z /= FFT_LENGTH as f64);
        let most = forward.get_scratch_len().max(backward.get_scratch_len());
        Self {
            spectrum,
            next: None,
            forward,
            backward,
            window: vec![0.0; FFT_LENGTH],
            scratch_time: vec![0.0; FFT_LENGTH],
            scratch: vec![Complex64::default(); most],
        }
    }

    /// Filters one block of [`BLOCK_FRAMES`] in place; what comes out is [`HALF_TAPS`] late.
    pub(crate) fn run(&mut self, block: &mut [f64]) {
        debug_assert_eq!(block.len(), BLOCK_FRAMES);
        self.window.copy_within(BLOCK_FRAMES.., 0);
        self.window[FFT_LENGTH - BLOCK_FRAMES..].copy_from_slice(block);
        self.scratch_time.copy_from_slice(&self.window);
        let mut lines = self.forward.make_output_vec();
        let _ = self.forward.process_with_scratch(&mut self.scratch_time, &mut lines, &mut self.scratch);
        let Some(next) = self.next.take() else { return self.filtered(lines, block) };
        self.filtered(lines.clone(), block);
        self.spectrum = next;
        let mut faded_to = vec![0.0; BLOCK_FRAMES];
        self.filtered(lines, &mut faded_to);
        for (k, (x, to)) in block.iter_mut().zip(faded_to).enumerate() {
            *x += (to - *x) * k as f64 / BLOCK_FRAMES as f64;
        }
    }

    /// The block whose window has these lines, through the filter.
    fn filtered(&mut self, mut lines: Vec<Complex64>, block: &mut [f64]) {
        lines.iter_mut().zip(&self.spectrum).for_each(|(line, h)| *line *= h);
        // Rounding may leave an imaginary part where a real transform has none.
        lines[0].im = 0.0;
        lines[FFT_LENGTH / 2].im = 0.0;
        let _ = self.backward.process_with_scratch(&mut lines, &mut self.scratch_time, &mut self.scratch);
        block.copy_from_slice(&self.scratch_time[FFT_LENGTH - BLOCK_FRAMES..]);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::deck::{MadeUpFor, Sides};

    #[test]
    fn losses_match_the_published_formulas() {
        let mut file = DeckFile::default();
        let db = |file: &DeckFile, hz| 20.0 * loss(file, 0, hz, Passes::new(file).at(0.0)).log10();
        // -54.575 d/wavelength dB (Wallace 1951): 0.1 um at 10 kHz is -1.146 dB, at 16 kHz -1.833 dB.
        file.head.spacing_um = Sides::both(0.1);
        assert_within!(db(&file, 10_000.0), -1.146, 5e-4, "dB");
        assert_within!(db(&file, 16_000.0), -1.833, 5e-4, "dB");
        // sin x/x by hand: gap 1 um, wavelength 2.9765625 um (16 kHz): x = 1.05545, 20 lg(0.82433) = -1.678 dB.
        file.head.spacing_um = Sides::both(0.0);
        file.head.gap_um = Sides::both(1.0);
        assert_within!(db(&file, 16_000.0), -1.678, 2e-3, "dB");
        // Made up for: what is left is nothing; 12 dB at most, whatever the head loses.
        file.head.made_up_for = Some(MadeUpFor { spacing_um: 0.0, gap_um: 1.0 });
        assert_within!(db(&file, 16_000.0), 0.0, 1e-9, "dB");
        file.head.gap_um = Sides::both(0.0);
        file.head.made_up_for = Some(MadeUpFor { spacing_um: 2.0, gap_um: 0.0 });
        assert_within!(db(&file, 16_000.0), 12.04, 0.002, "dB");
        file.head.made_up_for = None;
        // Azimuth: w = 0.6 mm, 10 arcmin at 10 kHz: x = pi 0.6 tan(10')/0.0047625 = 1.15131, sin x/x = 0.79316.
        file.head.gap_um = Sides::both(0.0);
        file.azimuth.angle_arcmin = 10.0;
        assert_within!(db(&file, 10_000.0), 20.0 * (0.91330f64 / 1.15131).log10(), 2e-3, "dB");
    }

    #[test]
    fn the_filter_follows_the_formula_and_says_what_it_does() {
        let mut file = DeckFile::default();
        file.head.spacing_um = Sides { left: 0.8, right: 0.0 };
        file.head.gap_um = Sides::both(1.5);
        file.azimuth.angle_arcmin = 6.0;
        file.speed.error_percent = 2.0;
        let pass = Passes::new(&file).at(0.0);
        for rate_hz in [44_100.0, 48_000.0, 96_000.0] {
            let mut filter = Losses::new(&file, 0, rate_hz, pass);
            let taps = taps(|hz| loss(&file, 0, hz, pass), rate_hz);
            for hz in [40.0, 400.0, 3150.0, 10_000.0, 16_000.0] {
                let want = loss(&file, 0, hz, pass);
                // The cut of the taps costs most in the bass: the loss has a corner at 0 Hz.
                let error_db = 20.0 * (response(&taps, hz, rate_hz) / want).log10();
                assert_within!(error_db, 0.0, 0.03, "dB", "{hz} Hz at {rate_hz} Hz");
            }
            let w = TAU * 5000.0 / rate_hz;
            for part in 0..3 {
                let start = part * BLOCK_FRAMES;
                let mut block: Vec<f64> =
                    (start..start + BLOCK_FRAMES).map(|n| (w * n as f64).sin()).collect();
                filter.run(&mut block);
                for (k, got) in block.iter().enumerate().filter(|(k, _)| start + k > 2 * HALF_TAPS) {
                    let want = response(&taps, 5000.0, rate_hz)
                        * (w * ((start + k) as f64 - HALF_TAPS as f64)).sin();
                    assert_within!(*got, want, 1e-9, "", "sample {k}");
                }
            }
        }
    }
}
