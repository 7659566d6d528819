//! What a slow recording leaves out of a noise figure.
//!
//! A capture's own filter begins at 0.42 of its sample rate. A figure is stated if white hiss, as bright as that of any
//! deck, loses at most 0.6 dB above; that loss is in its uncertainty. By the formulas of both documents:
//!
//! | sample rate, Hz | A-weighted, dB | ITU-R BS.468-4, dB |
//! | --- | --- | --- |
//! | 32000 | 0.56 | 0.03 |
//! | 24000 | 1.17 | 0.36 |
//! | 22050 | 1.39 | 0.65 |
//! | 16000 | 2.43 | 2.65 |
//! | 11025 | 3.99 | 6.30 |
//!
//! Unweighted noise to 22.4 kHz loses 2.2 dB at 32 kHz already: it is stated from 44 kHz on.

use crate::measure::noise::silence::{UNWEIGHTED_HZ, weight};
use crate::trade::itu_r_468::network;
use crate::trade::sound_card::top_hz;

/// Most that may be missing of a figure that is stated, dB.
const MOST_MISSING_DB: f64 = 0.6;
/// Step and end of the sum over frequency, Hz: what the network lets through above is nothing.
const STEP_HZ: f64 = 10.0;
const END_HZ: f64 = 40_000.0;

/// What is missing of A-weighted white hiss at `rate_hz`, dB; `None` where it is too much. 0 at the usual rates.
pub(crate) fn a_weighted_db(rate_hz: f64) -> Option<f64> {
    missing_db(rate_hz, |hz| if hz <= UNWEIGHTED_HZ.1 { weight(hz) } else { 0.0 })
}

/// The same for ITU-R BS.468-4.
pub(crate) fn itu468_db(rate_hz: f64) -> Option<f64> {
    missing_db(rate_hz, |hz| network(hz).norm_sqr())
}

fn missing_db(rate_hz: f64, weight: impl Fn(f64) -> f64) -> Option<f64> {
    let top_hz = top_hz(rate_hz);
    if top_hz.is_infinite() {
        return Some(0.0);
    }
    let (mut below, mut all) = (0.0, 0.0);
    for hz in (1..).map(|k| f64::from(k) * STEP_HZ).take_while(|&hz| hz < END_HZ) {
        let power = weight(hz);
        all += power;
        below += if hz <= top_hz { power } else { 0.0 };
    }
    Some(10.0 * f64::log10(all / below)).filter(|&db| db <= MOST_MISSING_DB)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn weighted_figures_are_stated_where_little_of_white_hiss_is_missing() {
        // Computed with numpy from the formulas of IEC 61672-1 and ITU-R BS.468-4, in steps of 0.1 Hz to 60 kHz.
        for rate_hz in [44_100.0, 48_000.0, 96_000.0] {
            assert_eq!((a_weighted_db(rate_hz), itu468_db(rate_hz)), (Some(0.0), Some(0.0)), "{rate_hz}");
        }
        crate::assert_within!(a_weighted_db(32_000.0).unwrap(), 0.56, 0.01, "dB");
        crate::assert_within!(itu468_db(32_000.0).unwrap(), 0.03, 0.01, "dB");
        crate::assert_within!(itu468_db(24_000.0).unwrap(), 0.36, 0.01, "dB");
        assert_eq!(a_weighted_db(24_000.0), None);
        for rate_hz in [11_025.0, 16_000.0, 22_050.0] {
            assert_eq!((a_weighted_db(rate_hz), itu468_db(rate_hz)), (None, None), "{rate_hz}");
        }
    }
}
