//! Where a tone begins and ends, to some ten milliseconds, in either channel.
//!
//! Both ends lie where the amplitude in the tone's own band is half. Tones of 31.5 and 40 Hz without a pause between
//! them are placed within a quarter of a second only.

use super::alignment::Stretch;
use super::error::CaptureError;
use super::source::{Source, extend_mended};
use crate::signal::baseband::block_powers;
use crate::signal::baseband::{Band, Baseband};
use crate::signal::statistics::median;

/// Read on either side of where an edge is believed, s.
const AROUND_S: f64 = 0.5;
/// So often the search goes on further out.
const MOST_WINDOWS: usize = 16;
/// Levels are looked at in steps of this, s.
const STEP_S: f64 = 0.01;
/// Weaker for fewer steps than these is a dropout.
const STEPS_GONE: usize = 8;
/// Half of the tone's amplitude, as a ratio of powers: a filter of linear phase keeps that point where it is.
const HALF: f64 = 0.25;

/// The band of the tone in both channels around `at_s`, and the time of its first sample in the return, s.
fn band(
    source: &dyn Source,
    hz: f64,
    from_s: f64,
    to_s: f64,
) -> Result<Option<([Band; 2], f64)>, CaptureError> {
    let rate_hz = source.rate_hz();
    let flat_hz = 8.0 + 0.02 * hz;
    let transition_hz = flat_hz.max(25.0);
    if hz + flat_hz + transition_hz > 0.495 * rate_hz {
        return Ok(None);
    }
    let mut channels = Baseband::pair(rate_hz, hz, flat_hz, transition_hz);
    let margin_s = channels[0].margin_s();
    let first = ((from_s - margin_s) * rate_hz).floor().max(0.0) as u64;
    let last = ((to_s + margin_s) * rate_hz).ceil().max(0.0) as u64;
    let mut mended = Vec::new();
    source.read(first, last, &mut |block| {
        for (channel, samples) in channels.iter_mut().zip(block) {
            mended.clear();
            extend_mended(&mut mended, samples);
            channel.feed(&mended);
        }
    })?;
    let bands = channels.map(Baseband::finish);
    Ok((bands[0].samples.len() > 20).then_some((bands, first as f64 / rate_hz)))
}

/// Mean power of the tone in steps of about 10 ms, and how long each is, s.
fn steps(band: &Band) -> (Vec<f64>, f64) {
    let size = ((STEP_S * band.rate_hz).round() as usize).max(1);
    (block_powers(&band.samples, size), size as f64 / band.rate_hz)
}

/// Edge of the tone in one channel, going outwards over `powers` (the innermost first); steps to the edge, `None` if it
/// goes on to the end.
fn edge(powers: impl Iterator<Item = f64> + Clone) -> Option<usize> {
    let powers: Vec<f64> = powers.collect();
    // The inner quarter surely holds the tone.
    let inside = median(&powers[..(powers.len() / 4).max(1)]);
    // A louder tone of the same frequency that follows without a pause is another one.
    let other = |power: f64| !(HALF * inside..inside / HALF).contains(&power);
    let gone = |k: usize| powers[k..].iter().take(STEPS_GONE).all(|power| other(*power));
    (0..powers.len()).find(|&k| gone(k))
}

/// The tone's stretch in each channel, from where it is believed, s of the return.
///
/// # Errors
/// If the source cannot be read.
pub(super) fn edges(source: &dyn Source, hz: f64, believed: Stretch) -> Result<[Stretch; 2], CaptureError> {
    let duration_s = source.frames() as f64 / source.rate_hz();
    let reach_s = AROUND_S.min(believed.length_s() / 2.0);
    let mut found = [believed; 2];
    // A channel that goes on while the other has ended is followed further out.
    let mut open = [true; 2];
    let (mut from_s, mut to_s) = (believed.from_s - AROUND_S, believed.from_s + reach_s);
    for _ in 0..MOST_WINDOWS {
        let Some((bands, first_s)) = band(source, hz, from_s.max(0.0), to_s)? else { break };
        for side in (0..2).filter(|&side| open[side]).collect::<Vec<_>>() {
            let (powers, step_s) = steps(&bands[side]);
            let start_s = first_s + bands[side].first_s;
            found[side].from_s = match edge(powers.iter().rev().copied()) {
                Some(k) => start_s + (powers.len() - k) as f64 * step_s,
                // The filter is blind at the very start of a recording.
                None if from_s <= 0.0 => 0.0,
                None => start_s,
            };
            open[side] = from_s > 0.0 && found[side].from_s == start_s;
        }
        // Where both go on, frames have seen the end: what follows there is something else.
        if open[0] == open[1] {
            break;
        }
        (from_s, to_s) = (from_s - AROUND_S, from_s + AROUND_S);
    }
    let mut open = [true; 2];
    let (mut from_s, mut to_s) = (believed.to_s - reach_s, believed.to_s + AROUND_S);
    for _ in 0..MOST_WINDOWS {
        let Some((bands, first_s)) = band(source, hz, from_s, to_s.min(duration_s))? else { break };
        let at_end = to_s >= duration_s;
        for side in (0..2).filter(|&side| open[side]).collect::<Vec<_>>() {
            let (powers, step_s) = steps(&bands[side]);
            let start_s = first_s + bands[side].first_s;
            let edge = edge(powers.iter().copied());
            found[side].to_s = match edge {
                Some(k) => start_s + k as f64 * step_s,
                None if at_end => duration_s,
                None => start_s + powers.len() as f64 * step_s,
            };
            open[side] = edge.is_none() && !at_end;
        }
        // Where both go on, frames have seen the end: what follows there is something else.
        if open[0] == open[1] {
            break;
        }
        (from_s, to_s) = (to_s - AROUND_S, to_s + AROUND_S);
    }
    Ok(found)
}
