//! Minimum-phase sections of the record and playback side: first and second order, and what they do at a frequency.

use super::{DeckFile, Section};
use biquad::{Biquad as _, Coefficients, DirectForm2Transposed};
use rustfft::num_complex::Complex64;
use std::f64::consts::{PI, TAU};

/// One digital section of at most second order. The crate runs it; its coefficients are designed here, because several of
/// them are exact at a frequency of their own, and because [`super::Truth`] asks for responses.
#[derive(Debug, Clone)]
pub(crate) struct Biquad {
    of: Coefficients<f64>,
    filter: DirectForm2Transposed<f64>,
}

impl Biquad {
    fn new(b: [f64; 3], a: [f64; 2]) -> Self {
        let of = Coefficients { a1: a[0], a2: a[1], b0: b[0], b1: b[1], b2: b[2] };
        Self { of, filter: DirectForm2Transposed::new(of) }
    }

    /// (n0 + n1 s) / (d0 + d1 s) by the bilinear transform; exact at `exact_hz`, or at 0 Hz if that is 0.
    fn first_order(n: [f64; 2], d: [f64; 2], exact_hz: f64, rate_hz: f64) -> Self {
        let k = if exact_hz > 0.0 { TAU * exact_hz / (PI * exact_hz / rate_hz).tan() } else { 2.0 * rate_hz };
        let d0 = d[0] + d[1] * k;
        Self::new([(n[0] + n[1] * k) / d0, (n[0] - n[1] * k) / d0, 0.0], [(d[0] - d[1] * k) / d0, 0.0])
    }

    /// Shelf with 0 dB in the bass and 20 lg(zero/pole) dB in the treble.
    pub(crate) fn shelf(zero_us: f64, pole_us: f64, rate_hz: f64) -> Self {
        Self::first_order([1.0, zero_us * 1e-6], [1.0, pole_us * 1e-6], 0.0, rate_hz)
    }

    /// Shelf with 0 dB in the bass and `db` in the treble, half of it about `about_hz`.
    pub(crate) fn treble_shelf(db: f64, about_hz: f64, rate_hz: f64) -> Self {
        let pole_us = 1e6 / (TAU * about_hz);
        // The pole stands where the shelf ends for a fall, the zero for a rise, so that the middle stays.
        let half = super::ratio_of_db(db / 2.0);
        Self::shelf(pole_us * half, pole_us / half, rate_hz)
    }

    /// First-order low-pass, -3 dB at `hz`.
    pub(crate) fn low_pass_1(hz: f64, rate_hz: f64) -> Self {
        let hz = hz.min(0.45 * rate_hz);
        Self::first_order([1.0, 0.0], [1.0, 1.0 / (TAU * hz)], hz, rate_hz)
    }

    /// First-order low-pass that loses `db` at `hz`.
    fn loss_at(db: f64, hz: f64, rate_hz: f64) -> Self {
        let over = (10f64.powf(db / 10.0) - 1.0).sqrt();
        Self::first_order([1.0, 0.0], [1.0, over / (TAU * hz)], hz, rate_hz)
    }

    /// First-order high-pass, -3 dB at `hz`.
    pub(crate) fn high_pass_1(hz: f64, rate_hz: f64) -> Self {
        let t = 1.0 / (TAU * hz);
        Self::first_order([0.0, t], [1.0, t], hz, rate_hz)
    }

    /// Second-order low-pass (bilinear, exact at `hz`).
    fn low_pass_2(hz: f64, q: f64, rate_hz: f64) -> Self {
        let w = TAU * hz.min(0.45 * rate_hz) / rate_hz;
        let (alpha, cos) = (w.sin() / (2.0 * q), w.cos());
        let half = (1.0 - cos) / 2.0;
        Self::normalised([half, 2.0 * half, half], [1.0 + alpha, -2.0 * cos, 1.0 - alpha])
    }

    /// Resonance or dip of `db` at `hz` (bilinear, exact at `hz`).
    fn peaking(hz: f64, db: f64, q: f64, rate_hz: f64) -> Self {
        let w = TAU * hz.min(0.45 * rate_hz) / rate_hz;
        let (alpha, cos, a) = (w.sin() / (2.0 * q), w.cos(), 10f64.powf(db / 40.0));
        Self::normalised(
            [1.0 + alpha * a, -2.0 * cos, 1.0 - alpha * a],
            [1.0 + alpha / a, -2.0 * cos, 1.0 - alpha / a],
        )
    }

    fn normalised(b: [f64; 3], a: [f64; 3]) -> Self {
        Self::new(b.map(|b| b / a[0]), [a[1] / a[0], a[2] / a[0]])
    }

    /// The section with zeros and poles exchanged; only for sections whose zeros lie inside the unit circle.
    pub(crate) fn inverse(&self) -> Self {
        Self::normalised([1.0, self.of.a1, self.of.a2], [self.of.b0, self.of.b1, self.of.b2])
    }

    /// Goes on with the coefficients of `other`.
    pub(crate) fn retune(&mut self, other: &Self) {
        self.of = other.of;
        self.filter.update_coefficients(other.of);
    }

    /// Filters in place.
    pub(crate) fn run(&mut self, samples: &mut [f64]) {
        samples.iter_mut().for_each(|x| *x = self.filter.run(*x));
        // Denormals would slow digital silence down.
        for state in [&mut self.filter.s1, &mut self.filter.s2] {
            if state.abs() < 1e-30 {
                *state = 0.0;
            }
        }
    }

    /// Complex response at `hz`.
    pub(crate) fn response(&self, hz: f64, rate_hz: f64) -> Complex64 {
        let z = Complex64::from_polar(1.0, -TAU * hz / rate_hz);
        let numerator = (z * self.of.b2 + self.of.b1) * z + self.of.b0;
        let denominator = (z * self.of.a2 + self.of.a1) * z + 1.0;
        numerator / denominator
    }
}

/// Sections in series with a gain.
#[derive(Debug, Clone)]
pub(crate) struct Series {
    sections: Vec<Biquad>,
    gain: f64,
}

impl Series {
    /// What the recording side does to `channel`.
    pub(crate) fn record(file: &DeckFile, channel: usize, rate_hz: f64) -> Self {
        let sections = digital(&file.record.sections, channel, rate_hz);
        Self { sections, gain: super::ratio_of_db(file.record.gain_db.of(channel)) }
    }

    /// What the playback side does to `channel`, without the losses of zero phase.
    pub(crate) fn playback(file: &DeckFile, channel: usize, rate_hz: f64) -> Self {
        let mut sections = Vec::new();
        let coupling_hz = file.head.coupling_hz.of(channel);
        if coupling_hz > 0.0 {
            sections.push(Biquad::high_pass_1(coupling_hz, rate_hz));
        }
        if let Some(bump) = file.head.bump {
            sections.push(Biquad::peaking(bump.hz, bump.db, bump.q, rate_hz));
        }
        let dull_db = file.head.dull_8k_db.of(channel);
        if dull_db > 0.0 {
            sections.push(Biquad::loss_at(dull_db, 8000.0, rate_hz));
        }
        sections.extend(digital(&file.playback.sections, channel, rate_hz));
        let dead = file.electronics.dead.is_some_and(|on| on.holds(channel));
        let gain = if dead { 0.0 } else { super::ratio_of_db(file.playback.gain_db.of(channel)) };
        Self { sections, gain }
    }

    /// Filters in place.
    pub(crate) fn run(&mut self, samples: &mut [f64]) {
        for section in &mut self.sections {
            section.run(samples);
        }
        if self.gain != 1.0 {
            samples.iter_mut().for_each(|x| *x *= self.gain);
        }
    }

    /// Complex response at `hz`, gain included.
    #[cfg(feature = "internals")]
    pub(crate) fn response(&self, hz: f64, rate_hz: f64) -> Complex64 {
        self.sections.iter().map(|section| section.response(hz, rate_hz)).product::<Complex64>() * self.gain
    }
}

fn digital(sections: &[Section], channel: usize, rate_hz: f64) -> Vec<Biquad> {
    let concerned = sections.iter().filter(|section| section.channel().holds(channel));
    concerned
        .map(|section| match *section {
            Section::Shelf { zero_us, pole_us, .. } => Biquad::shelf(zero_us, pole_us, rate_hz),
            Section::LowPass1 { hz, .. } => Biquad::low_pass_1(hz, rate_hz),
            Section::LowPass2 { hz, q, .. } => Biquad::low_pass_2(hz, q, rate_hz),
            Section::HighPass1 { hz, .. } => Biquad::high_pass_1(hz, rate_hz),
            Section::Peaking { hz, db, q, .. } => Biquad::peaking(hz, db, q, rate_hz),
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn db(z: Complex64) -> f64 {
        20.0 * z.norm().log10()
    }

    #[test]
    fn a_120_us_tape_at_70_us_is_as_dull_as_the_table_says() {
        // Table after IEC 60094-1:1981 clause 15: 20 lg of (1 + (w 70 us)^2)/(1 + (w 120 us)^2) halves; -4.54 dB at
        // 10 kHz. At 96 kHz the bilinear error there is below 0.02 dB.
        let shelf = Biquad::shelf(70.0, 120.0, 96_000.0);
        assert_within!(db(shelf.response(10_000.0, 96_000.0)), -4.54, 0.02, "dB");
        assert_within!(db(shelf.response(1.0, 96_000.0)), 0.0, 1e-4, "dB");
    }

    #[test]
    fn sections_do_at_their_own_frequency_what_their_names_say() {
        for rate_hz in [44_100.0, 48_000.0, 96_000.0] {
            let at = |section: Biquad, hz: f64| db(section.response(hz, rate_hz));
            let half = -10.0 * 2f64.log10();
            assert_within!(at(Biquad::low_pass_1(9000.0, rate_hz), 9000.0), half, 1e-9, "dB");
            assert_within!(at(Biquad::high_pass_1(25.0, rate_hz), 25.0), half, 1e-9, "dB");
            assert_within!(at(Biquad::loss_at(6.0, 8000.0, rate_hz), 8000.0), -6.0, 1e-9, "dB");
            assert_within!(
                at(Biquad::low_pass_2(12_000.0, 2.0, rate_hz), 12_000.0),
                20.0 * 2f64.log10(),
                1e-9,
                "dB"
            );
            assert_within!(at(Biquad::peaking(80.0, 2.5, 1.5, rate_hz), 80.0), 2.5, 1e-9, "dB");
            assert_within!(at(Biquad::peaking(80.0, 2.5, 1.5, rate_hz), 4000.0), 0.0, 1e-2, "dB");
        }
    }

    #[test]
    fn filtering_does_what_the_response_says() {
        let mut section = Biquad::peaking(3000.0, -8.0, 1.0, 48_000.0);
        let z = section.response(2500.0, 48_000.0);
        let tone = |n: usize| TAU * 2500.0 * n as f64 / 48_000.0;
        let mut samples: Vec<f64> = (0..4800).map(|n| tone(n).sin()).collect();
        section.run(&mut samples);
        for (n, got) in samples.iter().enumerate().skip(2400) {
            let want = z.norm() * (tone(n) + z.arg()).sin();
            assert_within!(*got, want, 1e-9, "", "sample {n}");
        }
    }

    #[test]
    fn the_inverse_undoes_a_shelf() {
        let mut shelf = Biquad::shelf(50.0, 15.0, 48_000.0);
        let mut inverse = shelf.inverse();
        let mut samples: Vec<f64> = (0..500).map(|n| f64::from(n * 7919 % 101) - 50.0).collect();
        let before = samples.clone();
        shelf.run(&mut samples);
        inverse.run(&mut samples);
        for (got, want) in samples.iter().zip(before) {
            assert_within!(*got, want, 1e-9, "");
        }
    }
}
