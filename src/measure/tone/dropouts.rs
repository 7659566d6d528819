//! Short losses of level within a steady tone.

use crate::reading::{Channel, Dropout, FileClock};
use crate::signal::baseband::Band;
use crate::signal::statistics::median;

/// A loss of at least this much is a dropout, dB.
const LEAST_DEPTH_DB: f64 = 3.0;
/// Shorter losses are clicks or noise, s.
const LEAST_LENGTH_S: f64 = 0.004;
/// Level of the tone over the noise around it, below which noise alone makes holes.
const LEAST_CLEARANCE: f64 = 100.0;

/// Dropouts in the two channels' bands of one tone; `clock` starts at the first sample fed.
///
/// `noise` is the noise power over the tone's in the whole band, for each channel. Losses of both channels that
/// overlap are one dropout of `both`. A tone that is unsteady all the time (more than a tenth of it "lost") has none.
pub fn dropouts(bands: &[Band; 2], noise: [f64; 2], part: &str, clock: FileClock) -> Vec<Dropout> {
    let mut found: Vec<(usize, usize, f64, usize)> = Vec::new();
    for (channel, band) in bands.iter().enumerate() {
        if noise[channel] * LEAST_CLEARANCE > 1.0 {
            continue;
        }
        let powers: Vec<f64> = band.samples.iter().map(|z| z.norm_sqr()).collect();
        let usual = median(&powers);
        if !(usual > 0.0) {
            continue;
        }
        let limit = usual * 10f64.powf(-LEAST_DEPTH_DB / 10.0);
        let lost = powers.iter().filter(|&&power| power < limit).count();
        if lost * 10 > powers.len() {
            continue;
        }
        let mut k = 0;
        while k < powers.len() {
            if powers[k] >= limit {
                k += 1;
                continue;
            }
            let end = (k..powers.len()).find(|&m| powers[m] >= limit).unwrap_or(powers.len());
            let least = powers[k..end].iter().copied().fold(f64::INFINITY, f64::min);
            let depth_db = 10.0 * (usual / least.max(usual * 1e-6)).log10();
            // Length where more than half of the loss (in dB) is there.
            let half = usual * 10f64.powf(-depth_db / 20.0);
            let from = (0..=k).rev().find(|&m| powers[m] >= half).map_or(0, |m| m + 1);
            let to = (k..powers.len())
                .find(|&m| powers[m] >= half && m >= end.saturating_sub(1))
                .unwrap_or(powers.len());
            if (to - from.min(to)) as f64 / band.rate_hz >= LEAST_LENGTH_S {
                found.push((from, to, depth_db, channel));
            }
            k = end;
        }
    }
    found.sort_by_key(|dropout| dropout.0);
    let mut merged: Vec<(usize, usize, f64, Option<usize>)> = Vec::new();
    for (from, to, depth_db, channel) in found {
        match merged.last_mut() {
            Some(last) if from < last.1 && last.3 != Some(channel) => {
                last.1 = last.1.max(to);
                last.2 = last.2.max(depth_db);
                last.3 = None;
            }
            _ => merged.push((from, to, depth_db, Some(channel))),
        }
    }
    merged
        .into_iter()
        .map(|(from, to, depth_db, channel)| Dropout {
            at_s: clock.at(bands[0].time_s(from)),
            part: part.to_owned(),
            depth_db,
            length_ms: 1000.0 * (to - from) as f64 / bands[0].rate_hz,
            channel: match channel {
                Some(0) => Channel::Left,
                Some(_) => Channel::Right,
                None => Channel::Both,
            },
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::signal::baseband::Baseband;
    use crate::signal::test_signals::sampled;
    use std::f64::consts::TAU;

    #[test]
    fn place_depth_and_length_are_read() {
        let rate_hz = 48_000.0;
        let bands = [0, 1].map(|channel| {
            let mut meter = Baseband::new(rate_hz, 3150.0, 400.0, 150.0);
            let samples = sampled(rate_hz, 96_000, |t| {
                let lost = channel == 0 && (0.8..0.84).contains(&t) || (1.5..1.52).contains(&t);
                (if lost { 0.25 } else { 0.5 }) * (TAU * 3150.0 * t).sin()
            });
            meter.feed(&samples);
            meter.finish()
        });
        let found = dropouts(&bands, [0.0; 2], "flutter", FileClock::default().starting_at(100.0));
        assert_eq!(found.len(), 2, "{found:?}");
        for (dropout, (at_s, length_ms, channel)) in
            found.iter().zip([(100.8, 40.0, Channel::Left), (101.5, 20.0, Channel::Both)])
        {
            crate::assert_within!(dropout.at_s.seconds(), at_s, 0.003, "s", "{channel}");
            // Overshoot of the band's edge at a sudden step.
            crate::assert_within!(dropout.depth_db, 6.02, 1.2, "dB", "{channel}");
            crate::assert_within!(dropout.length_ms, length_ms, 3.0, "ms", "{channel}");
            assert_eq!(dropout.channel, channel);
        }
    }
}
