//! How long a part has to be so that the reader can measure it.
//!
//! These are the needs of the meters, stated as rules that the parser can refuse by; `measure` holds its meters against
//! them by a test. What is longer than its rule may still be cut off or lost in the return.

use super::Serves;
use crate::trade::octave_bands::third_octaves;

/// Fades at both ends, and the uncertainty of a part's place in a sound return, s.
const ENDS_S: f64 = 0.06;

/// Least width of the edge of a tone's wide filter, Hz: a filter of 1.6 s.
const LEAST_TRANSITION_HZ: f64 = 4.0;

/// Shortest tone of `hz` that can be measured for what it serves, s; 0 if nobody measures it.
///
/// A tone is measured in a band of 8 Hz + 2 % on either side: two filters have to be full, and three blocks have to be
/// left. Flutter needs 3 s of a tone that its filter has passed.
pub fn shortest_tone_s(hz: f64, serves: Serves) -> f64 {
    let half_band_hz = 8.0 + 0.02 * hz;
    let flat_hz = 3.2 * half_band_hz;
    // Below some 30 Hz the wide filter has to be steep to leave the tone's own mirror image out.
    let transition_hz = (half_band_hz + 30.0).min((2.0 * hz - flat_hz).max(LEAST_TRANSITION_HZ));
    // Lengths by Kaiser's formula, of the filters of 100 dB and of 60 dB.
    let filters_s = 6.41 / transition_hz + 3.63 / half_band_hz;
    let blocks_s = 3.0 * f64::max(0.02, 1.0 / half_band_hz);
    // The band is sampled at about twice its whole width; filters and blocks are whole numbers of those samples, and what
    // halves the rate before them has to settle.
    let rounding_s = 4.6 / (flat_hz + transition_hz);
    match serves {
        Serves::Nothing | Serves::Place => 0.0,
        Serves::Flutter => 3.0 + 0.2 + ENDS_S,
        _ => filters_s + blocks_s + rounding_s + ENDS_S,
    }
}

/// Half a frame of the sweep's meter below and above [`TAKE_OVER_HZ`], s.
const HALF_FRAME_S: [f64; 2] = [0.19, 0.048];
/// Where the short frames take over, Hz.
const TAKE_OVER_HZ: f64 = 700.0;

/// Shortest sweep from `from_hz` to `to_hz` that can be measured in every third octave within it, s; 0 if there is none.
///
/// Two frames have to begin in each third octave (they overlap by half), wholly within the sweep.
pub fn shortest_sweep_s(from_hz: f64, to_hz: f64) -> f64 {
    let (low, high) = (from_hz.min(to_hz), from_hz.max(to_hz));
    let place = |hz: f64| {
        let share = (hz / low).ln() / (high / low).ln();
        if from_hz < to_hz { share } else { 1.0 - share }
    };
    third_octaves(low, high)
        .filter(|band| band.lower_hz >= low && band.upper_hz <= high)
        .map(|band| {
            let (a, b) = (place(band.lower_hz), place(band.upper_hz));
            let (begin, end) = (a.min(b), a.max(b));
            let half_s = HALF_FRAME_S[usize::from(band.lower_hz >= TAKE_OVER_HZ)];
            // Two steps of half a frame within the band, and within what is left of it at the sweep's own ends.
            let within = 2.0 * half_s / (end - begin);
            let after_start = 3.0 * half_s / end;
            let before_end = 3.0 * half_s / (1.0 - begin);
            within.max(after_start).max(before_end)
        })
        .fold(0.0, f64::max)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn low_tones_need_longer_and_what_serves_nothing_needs_no_length() {
        let lengths =
            [20.0, 40.0, 100.0, 400.0, 1000.0, 3150.0].map(|hz| shortest_tone_s(hz, Serves::Response));
        assert!(lengths.windows(2).all(|pair| pair[0] > pair[1]), "{lengths:?}");
        assert_eq!(shortest_tone_s(20.0, Serves::Nothing), 0.0);
    }

    #[test]
    fn a_sweep_is_ruled_by_its_lowest_bands_either_way() {
        let up = shortest_sweep_s(20.0, 20_000.0);
        crate::assert_within!(up, shortest_sweep_s(20_000.0, 20.0), 1e-9, "s");
        // 3 decades in 30 third octaves of twice 0.19 s.
        crate::assert_within!(up, 11.4, 0.1, "s");
        assert!(shortest_sweep_s(1000.0, 20_000.0) < 2.0);
        assert_eq!(shortest_sweep_s(1000.0, 1010.0), 0.0);
    }
}
