//! What a usual sound card and player hide: nobody sees it in the file. From memory of data sheets; a loopback capture tells
//! the truth about the ones at hand.

/// Response of player and sound card together against their middle, either way: Hz and dB (k = 2), from memory.
const RESPONSE: [(f64, f64); 5] = [(20.0, 0.5), (40.0, 0.2), (100.0, 0.1), (10_000.0, 0.1), (20_000.0, 0.5)];

/// By how much one channel of player and sound card may differ from the other, dB (k = 2), from memory.
pub const MATCH_DB: f64 = 0.1;

/// By how much a usual player and sound card may be off at `hz`, dB (k = 2); straight lines over the logarithm of the
/// frequency, level beyond both ends.
pub fn response_db(hz: f64) -> f64 {
    let [first, .., last] = RESPONSE;
    let pair = RESPONSE.windows(2).find(|pair| pair[0].0 <= hz && hz <= pair[1].0);
    match pair {
        Some(pair) => {
            pair[0].1 + (pair[1].1 - pair[0].1) * (hz / pair[0].0).ln() / (pair[1].0 / pair[0].0).ln()
        }
        None if hz < first.0 => first.1,
        None => last.1,
    }
}

/// A converter is flat up to this share of its rate, Hz; slower ones than 44.1 kHz cut within the band that a deck has (common practice,
/// no source).
const FLAT_TO: f64 = 0.42;
/// Lowest rate at which nothing that a deck has is missing, Hz.
pub const USUAL_RATE_HZ: f64 = 44_000.0;

/// Up to where the capture's own filter does not touch a response at `rate_hz`; infinite at the usual rates.
pub fn top_hz(rate_hz: f64) -> f64 {
    if rate_hz < USUAL_RATE_HZ { FLAT_TO * rate_hz } else { f64::INFINITY }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_middle_is_a_tenth_and_the_ends_are_worse() {
        assert_within!(response_db(1000.0), 0.1, 1e-12, "dB");
        // Half-way in octaves from 10 to 20 kHz.
        assert_within!(response_db(14_142.0), 0.3, 1e-4, "dB");
        assert_eq!((response_db(10.0), response_db(22_000.0)), (0.5, 0.5));
    }
}
