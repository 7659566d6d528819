//! Delay between channels against scipy 1.17.1 (signal.correlate, signal.csd), made by tests/reference/skew_reference.py.

use crate::{signals, tsv};
use deckproof::assert_within;
use deckproof::internals::measure::{Content, Meter, SkewMeter, coarse_delay_us, skew};
use deckproof::internals::signal::cross_spectra::CrossSpectra;

const REFERENCE: &str = include_str!("reference/skew_reference.tsv");
const RATE_HZ: f64 = 48_000.0;
const COUNT: usize = 576_000;
const ROWS: usize = 11;
/// First samples of the left channel, from the table's head: the library is fed what scipy was fed.
const FIRST: [f64; 4] = [-7.38387432, -0.21684323, 3.71677262, 4.59335107];

/// Sums of 16 neighbours.
fn summed(x: &[f64]) -> Vec<f64> {
    let mut total = vec![0.0];
    for value in x {
        total.push(total[total.len() - 1] + value);
    }
    total[16..].iter().zip(&total).map(|(later, earlier)| later - earlier).collect()
}

/// Left, and right for each shift, as the head of the script says.
struct Sound {
    fine: Vec<f64>,
    own: [Vec<f64>; 2],
}

impl Sound {
    fn new() -> Self {
        let mut fine = signals::noise(8 * COUNT + 256, 1);
        for _ in 0..3 {
            fine = summed(&fine);
        }
        fine.iter_mut().for_each(|x| *x *= 64.0 / 4096.0);
        Self { fine, own: [2, 3].map(|seed| signals::noise(COUNT, seed)) }
    }

    fn channel(&self, channel: usize, shift: f64) -> Vec<f64> {
        let from = 64 - shift as i64;
        self.own[channel]
            .iter()
            .enumerate()
            .map(|(n, own)| self.fine[(8 * n as i64 + from) as usize] + 0.02 * own)
            .collect()
    }
}

#[test]
fn the_delay_is_the_lag_that_scipys_correlation_finds() {
    let sound = Sound::new();
    let left = sound.channel(0, 0.0);
    // Running sums round at 1e-10 of what they hold.
    let scaled: Vec<f64> = left[..4].iter().map(|x| (x * 1e8).round() / 1e8).collect();
    assert_eq!(scaled, FIRST);
    let rows = tsv::rows(REFERENCE, ROWS);
    for row in rows.iter().filter(|row| row.text("what") == "correlation") {
        let right = sound.channel(1, row.number("shift"));
        let cells = |undone_us: f64| {
            let mut meter = SkewMeter::new(RATE_HZ, undone_us).unwrap();
            for (left, right) in left.chunks(4096).zip(right.chunks(4096)) {
                meter.feed([left, right]);
            }
            meter.finish()
        };
        let found = skew(&cells(coarse_delay_us(&cells(0.0))), RATE_HZ);
        let delay = found.delay.unwrap_or_else(|| panic!("{row}: {:?}", found.content));
        assert_eq!(found.content, Content::Mono, "{row}");
        // Noise of the estimates: scipy's own is within 0.01 us of the truth.
        assert_within!(delay.delay_us, row.number("correlation_us"), 0.05, "us", "{row}");
        assert!((delay.delay_us - row.number("true_us")).abs() <= delay.uncertainty_us, "{row}: {delay:?}");
    }
}

#[test]
fn bands_have_the_phase_and_coherence_that_scipy_computes() {
    let sound = Sound::new();
    let (left, right) = (sound.channel(0, 0.0), sound.channel(1, 13.0));
    let rows = tsv::rows(REFERENCE, ROWS);
    for row in rows.iter().filter(|row| row.text("what") == "band") {
        let edges = [row.number("low_hz"), row.number("high_hz")];
        let mut spectra = CrossSpectra::new(RATE_HZ, 1920, 24, &edges, 0.0);
        let mut first = None;
        spectra.feed([&left, &right], |bands| {
            first.get_or_insert(bands[0]);
        });
        let first = first.unwrap();
        // Printed with 12 digits; running sums of 4.6 million values round at 1e-10.
        assert_within!(first.cross.arg(), row.number("phase_rad"), 1e-8, "rad", "{row}");
        assert_within!(first.coherence(), row.number("coherence"), 1e-8, "", "{row}");
    }
}
