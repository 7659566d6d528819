//! Puts chirps together to slates and reads what they say.

use super::chirps::Chirp;
use crate::programme::slate::{self, SLOT_S, SLOTS, SYNC, Slate, shift_s};
use crate::signal::DB_PER_NEPER;
use crate::signal::fit::Line;
use crate::signal::statistics::{median, rms};
use std::collections::HashMap;

/// Speed ratios that are tried: the widest are sample rates taken for each other on a deck that is off as well.
const RATIOS: (f64, f64, f64) = (0.85, 1.17, 0.004);
/// How far a chirp may stand from where it is expected, s (1 % wow moves it by up to 3 ms).
const TOLERANCE_S: f64 = 0.0035;

/// A slate found in the return.
#[derive(Debug, Clone, PartialEq)]
pub struct FoundSlate {
    /// What it says.
    pub slate: Slate,
    /// Where its first sample lies, s of the return.
    pub start_s: f64,
    /// Mean time ratio over the slate: above 1 the return runs fast.
    pub ratio: f64,
    /// Chirps that were found, as (slot, place of the chirp's true start in s of the return).
    pub marks: Vec<(usize, f64)>,
    /// Rms distance of the marks from a steady speed, s.
    pub scatter_s: f64,
    /// Amplitude of the left-only slot in channels 0 and 1 of the file.
    pub left_only: [f64; 2],
    /// Amplitude of the right-only slot in channels 0 and 1 of the file.
    pub right_only: [f64; 2],
    /// Median amplitude of the other chirps in channels 0 and 1 of the file.
    pub amplitude: [f64; 2],
    /// Standard uncertainty of these by how far the chirps scatter, dB.
    pub amplitude_sigma_db: [f64; 2],
    /// Mean phase of the chirps in channels 0 and 1, rad, and how much they agree (0 to 1).
    pub phase: [(f64, f64); 2],
}

/// Reads all slates out of the chirps of the file's two channels.
///
/// `codes` are the codes of the programmes that may be expected; they help to read a slate that lost some chirps, but
/// any code is read.
pub fn assemble(chirps: &[Vec<Chirp>; 2], codes: &[u16]) -> Vec<FoundSlate> {
    let mut starts: Vec<Start> = chirps.iter().flat_map(|list| starts(list)).collect();
    starts.sort_by(|a, b| b.score.total_cmp(&a.score).then(a.start_s.total_cmp(&b.start_s)));
    let mut found: Vec<FoundSlate> = Vec::new();
    let mut half_read: Vec<(Start, Track)> = Vec::new();
    let overlaps = |found: &[FoundSlate], start_s: f64| {
        found.iter().any(|other: &FoundSlate| (other.start_s - start_s).abs() < slate::LENGTH_S * 0.8)
    };
    for start in starts {
        if overlaps(&found, start.start_s) {
            continue;
        }
        let track = follow(chirps, &start);
        match track.read(&[]) {
            Some(slate) => found.push(track.into_found(chirps, slate)),
            None => half_read.push((start, track)),
        }
    }
    // What could not be read alone may be read knowing which codes are about.
    let mut known: Vec<u16> = found.iter().map(|slate| slate.slate.code).collect();
    known.extend(codes);
    for (start, track) in half_read {
        if !overlaps(&found, start.start_s)
            && let Some(slate) = track.read(&known)
        {
            found.push(track.into_found(chirps, slate));
        }
    }
    found.sort_by(|a, b| a.start_s.total_cmp(&b.start_s));
    found
}

/// A place where the opening bits of a slate seem to lie.
#[derive(Debug, Clone, Copy)]
struct Start {
    start_s: f64,
    ratio: f64,
    score: f64,
}

fn apparent_s(start_s: f64, ratio: f64, slot: usize, rising: bool) -> f64 {
    start_s + slot as f64 * SLOT_S / ratio + shift_s(ratio, rising)
}

/// The best chirp of a kind within `TOLERANCE_S` of `at_s`.
fn nearest(chirps: &[Chirp], at_s: f64, rising: bool) -> Option<&Chirp> {
    let from = chirps.partition_point(|chirp| chirp.at_s < at_s - TOLERANCE_S);
    chirps[from..]
        .iter()
        .take_while(|chirp| chirp.at_s <= at_s + TOLERANCE_S)
        .filter(|chirp| chirp.rising == rising)
        .max_by(|a, b| a.correlation.total_cmp(&b.correlation))
}

/// A chirp that opens a search must be the likeliest one within this, s: a steady tone in the chirps' band resembles a
/// little chirp all the time, and no two chirps of a slate are that close.
const SEED_APART_S: f64 = 0.25 * SLOT_S;
/// Least correlation of a chirp that opens a search.
const SEED_CORRELATION: f64 = 0.3;

/// The chirps that are likelier than all their neighbours of either kind.
fn seeds(chirps: &[Chirp]) -> Vec<Chirp> {
    let likely: Vec<&Chirp> = chirps.iter().filter(|chirp| chirp.correlation > SEED_CORRELATION).collect();
    let mut seeds = Vec::new();
    for (i, chirp) in likely.iter().enumerate() {
        let near = |other: &&&Chirp| (other.at_s - chirp.at_s).abs() < SEED_APART_S;
        let before =
            likely[..i].iter().rev().take_while(near).all(|other| other.correlation < chirp.correlation);
        let after =
            likely[i + 1..].iter().take_while(near).all(|other| other.correlation <= chirp.correlation);
        if before && after {
            seeds.push(**chirp);
        }
    }
    seeds
}

fn starts(chirps: &[Chirp]) -> Vec<Start> {
    let (low, high, step) = RATIOS;
    let ratios: Vec<f64> =
        (0..).map(|k| low + f64::from(k) * step).take_while(|&ratio| ratio <= high).collect();
    let mut found: Vec<Start> = Vec::new();
    for chirp in seeds(chirps) {
        for (slot, _) in SYNC.iter().enumerate().filter(|(_, rising)| **rising == chirp.rising) {
            for &ratio in &ratios {
                let start_s = chirp.at_s - slot as f64 * SLOT_S / ratio - shift_s(ratio, chirp.rising);
                if let Some(score) = score(chirps, start_s, ratio) {
                    found.push(Start { start_s, ratio, score });
                }
            }
        }
    }
    thin_out(found)
}

/// How well the opening bits of a slate fit at this place and speed; `None` if hardly.
fn score(chirps: &[Chirp], start_s: f64, ratio: f64) -> Option<f64> {
    let mut score = 0.0;
    let mut misses = 0;
    for (k, &rising) in SYNC.iter().enumerate() {
        let at_s = apparent_s(start_s, ratio, k, rising);
        if let Some(hit) = nearest(chirps, at_s, rising) {
            // A hit in place counts more than one at the edge: it tells the ratios apart.
            let off = (hit.at_s - at_s) / TOLERANCE_S;
            score += hit.correlation * (1.0 - 0.5 * off * off);
        } else {
            misses += 1;
            if misses > SYNC.len() - 5 {
                return None;
            }
        }
    }
    (score > 1.8).then_some(score)
}

/// Keeps the best of each neighbourhood, and a few others in case the best one leads nowhere.
fn thin_out(mut found: Vec<Start>) -> Vec<Start> {
    const NEIGHBOURHOOD_S: f64 = 0.5 * SLOT_S;
    found.sort_by(|a, b| b.score.total_cmp(&a.score));
    let mut kept: HashMap<i64, Vec<Start>> = HashMap::new();
    for start in found {
        let cell = (start.start_s / NEIGHBOURHOOD_S).floor() as i64;
        let around = (cell - 1..=cell + 1).filter_map(|cell| kept.get(&cell)).flatten();
        let (mut near, mut same) = (0, false);
        for other in around {
            let apart_s = (other.start_s - start.start_s).abs();
            near += usize::from(apart_s < NEIGHBOURHOOD_S);
            same |= apart_s < 0.004 && (other.ratio - start.ratio).abs() < 0.012;
        }
        if near < 4 && !same {
            kept.entry(cell).or_default().push(start);
        }
    }
    // The caller sorts: the order of a map is not to be relied on.
    kept.into_values().flatten().collect()
}

/// Chirps that decide where the next one is expected.
const MEMORY_SLOTS: usize = 6;

/// The row of slots, followed from the opening bits on.
#[derive(Debug, Clone)]
struct Track {
    start_s: f64,
    ratio: f64,
    /// Slot, kind and place of each chirp found.
    hits: Vec<(usize, bool, f64)>,
    /// How surely each of the payload bits is 1 (positive) or 0 (negative); 0 where nothing was found.
    bits: Vec<f64>,
}

fn follow(chirps: &[Vec<Chirp>; 2], start: &Start) -> Track {
    let mut track = Track { start_s: start.start_s, ratio: start.ratio, hits: Vec::new(), bits: Vec::new() };
    let either = |at_s: f64, rising: bool| {
        chirps
            .iter()
            .filter_map(|list| nearest(list, at_s, rising))
            // Correlation ends at 1, so that good chirps tie: then the louder one, whichever channel it is on.
            .max_by(|a, b| a.correlation.total_cmp(&b.correlation).then(a.amplitude.total_cmp(&b.amplitude)))
    };
    for slot in 0..SLOTS {
        // Local speed: the last half second decides where the next chirp is expected. A longer memory is carried off
        // its way by slow wow, which bends the row of chirps.
        let (origin, ratio) = local_fit(&track.hits, MEMORY_SLOTS).unwrap_or((track.start_s, track.ratio));
        let at = |rising| either(apparent_s(origin, ratio, slot, rising), rising);
        let known = SYNC.get(slot).copied().or((slot < 9).then_some(true));
        match known {
            Some(rising) => {
                if let Some(hit) = at(rising) {
                    track.hits.push((slot, rising, hit.at_s));
                }
            }
            None => {
                let (up, down) = (at(true), at(false));
                let correlation = |chirp: Option<&Chirp>| chirp.map_or(0.0, |chirp| chirp.correlation);
                let bit = correlation(up) - correlation(down);
                let sure = bit.abs() > 0.1;
                track.bits.push(if sure { bit } else { 0.0 });
                if sure && let Some(hit) = if bit > 0.0 { up } else { down } {
                    track.hits.push((slot, bit > 0.0, hit.at_s));
                }
            }
        }
    }
    if let Some((start_s, ratio)) = local_fit(&track.hits, SLOTS) {
        (track.start_s, track.ratio) = (start_s, ratio);
    }
    track
}

/// Start and ratio that fit the last `count` hits best; `None` for fewer than 4.
fn local_fit(hits: &[(usize, bool, f64)], count: usize) -> Option<(f64, f64)> {
    let hits = &hits[hits.len().saturating_sub(count)..];
    if hits.len() < 4 {
        return None;
    }
    let mut ratio = 1.0;
    let mut start_s = 0.0;
    // The shift depends on the ratio, a little: three rounds are plenty.
    for _ in 0..4 {
        let line = Line::through(
            hits.iter().map(|&(slot, rising, at_s)| (slot as f64, at_s - shift_s(ratio, rising))),
        );
        start_s = line.at(0.0);
        let next = SLOT_S / line.slope;
        if !(0.7..1.4).contains(&next) {
            return None;
        }
        ratio = next;
    }
    Some((start_s, ratio))
}

impl Track {
    /// What the payload says. With `codes`, up to two wrong bits are borne; without, none.
    fn read(&self, codes: &[u16]) -> Option<Slate> {
        let bits: Vec<bool> = self.bits.iter().map(|&bit| bit > 0.0).collect();
        let unsure = self.bits.iter().filter(|&&bit| bit == 0.0).count();
        if unsure == 0
            && let Some(slate) = Slate::from_bits(&bits)
        {
            return Some(slate);
        }
        if unsure > 9 {
            return None;
        }
        let mut best: Option<(usize, Slate)> = None;
        let mut tie = false;
        for &code in codes {
            for index in 0..slate::MAX_SLATES as u8 {
                let candidate = Slate { code, index };
                let wrong = candidate.slots()[9..]
                    .iter()
                    .zip(&self.bits)
                    .filter(|(slot, bit)| **bit != 0.0 && slot.rising != (**bit > 0.0))
                    .count();
                match best {
                    Some((least, slate)) if slate != candidate => {
                        if wrong < least {
                            (best, tie) = (Some((wrong, candidate)), false);
                        } else if wrong == least {
                            tie = true;
                        }
                    }
                    None => best = Some((wrong, candidate)),
                    _ => {}
                }
            }
        }
        best.filter(|(wrong, _)| *wrong <= 2 && !tie).map(|(_, slate)| slate)
    }

    fn into_found(self, chirps: &[Vec<Chirp>; 2], slate: Slate) -> FoundSlate {
        let slots = slate.slots();
        let marks: Vec<(usize, f64)> = self
            .hits
            .iter()
            .filter(|(slot, rising, _)| slots[*slot].rising == *rising)
            .map(|&(slot, rising, at_s)| (slot, at_s - shift_s(self.ratio, rising)))
            .collect();
        let off = |&(slot, at_s): &(usize, f64)| at_s - self.start_s - slot as f64 * SLOT_S / self.ratio;
        let scatter_s = rms(marks.iter().map(off));
        let at = |channel: usize, slot: usize| {
            let rising = slots[slot].rising;
            // Where the wow has moved the slot to, as far as a neighbour tells.
            let moved = marks.iter().min_by_key(|mark| mark.0.abs_diff(slot)).map_or(0.0, off);
            nearest(&chirps[channel], apparent_s(self.start_s, self.ratio, slot, rising) + moved, rising)
        };
        let amplitude_at = |channel, slot| at(channel, slot).map_or(0.0, |chirp: &Chirp| chirp.amplitude);
        let both: Vec<usize> = (0..SLOTS).filter(|slot| !(7..9).contains(slot)).collect();
        let amplitudes =
            [0, 1].map(|channel| both.iter().map(|&slot| amplitude_at(channel, slot)).collect::<Vec<f64>>());
        let amplitude = [0, 1].map(|channel| median(&amplitudes[channel]));
        // The standard deviation of a normal distribution is 1.48 times its median deviation, that of a median 1.25 over the root.
        let amplitude_sigma_db = [0, 1].map(|channel| {
            let (all, middle) = (&amplitudes[channel], amplitude[channel].max(1e-9));
            let off = median(all.iter().map(|one| (one / middle - 1.0).abs()));
            1.48 * 1.25 * DB_PER_NEPER * off / (all.len() as f64).sqrt()
        });
        // A chirp played fast keeps its shape but starts at another phase (see `slate::chirp`), a falling one at
        // the opposite phase: the residual of a wrong ratio cancels between them.
        let cycles = slate::CHIRP_S * slate::LOW_HZ * slate::HIGH_HZ / (slate::HIGH_HZ - slate::LOW_HZ);
        let constant = std::f64::consts::TAU * cycles * self.ratio.ln();
        let phase = [0, 1].map(|channel| {
            let sum: num_complex::Complex64 = both
                .iter()
                .filter_map(|&slot| at(channel, slot))
                .map(|chirp| {
                    let turn = if chirp.rising { constant } else { -constant };
                    num_complex::Complex64::from_polar(1.0, chirp.phase + turn)
                })
                .sum();
            let mean = sum / both.len() as f64;
            (mean.arg(), mean.norm())
        });
        FoundSlate {
            slate,
            start_s: self.start_s,
            ratio: self.ratio,
            scatter_s,
            left_only: [0, 1].map(|channel| amplitude_at(channel, 7)),
            right_only: [0, 1].map(|channel| amplitude_at(channel, 8)),
            amplitude,
            amplitude_sigma_db,
            phase,
            marks,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::chirps::ChirpFinder;
    use super::*;
    use crate::programme::slate::Side;
    use crate::signal::test_signals::Random;

    /// The slate, warped in time by `displace(t)` and with noise of rms `noise` against amplitude 0.25.
    fn play(slate: Slate, rate_hz: f64, noise: f64, warp: impl Fn(f64) -> f64) -> [Vec<f64>; 2] {
        let slots = slate.slots();
        let value = |t_s: f64, side: Side| {
            let slot = (t_s / SLOT_S).floor();
            if slot < 0.0 || slot >= SLOTS as f64 {
                return 0.0;
            }
            let this = slots[slot as usize];
            let heard = this.side == Side::Both || this.side == side;
            if heard { 0.25 * slate::chirp(t_s - slot * SLOT_S, this.rising) } else { 0.0 }
        };
        let mut random = Random(12345);
        let frames = (rate_hz * 6.0) as usize;
        let mut out = [Vec::with_capacity(frames), Vec::with_capacity(frames)];
        for n in 0..frames {
            let t_s = warp(n as f64 / rate_hz);
            out[0].push(value(t_s, Side::Left) + noise * random.normal());
            out[1].push(value(t_s, Side::Right) + noise * random.normal());
        }
        out
    }

    fn read(channels: &[Vec<f64>; 2], rate_hz: f64) -> Vec<FoundSlate> {
        let chirps = [0, 1].map(|channel| {
            let mut finder = ChirpFinder::new(rate_hz);
            finder.feed(&channels[channel]);
            finder.finish()
        });
        assemble(&chirps, &[])
    }

    #[test]
    fn place_ratio_and_code_are_read_at_every_speed() {
        let slate = Slate { code: 0x9A3D, index: 5 };
        for ratio in [0.94, 0.97, 1.0, 1.02, 1.06, 48.0 / 44.1, 44.1 / 48.0] {
            let channels = play(slate, 48_000.0, 0.001, |t| (t - 1.0) * ratio);
            let found = read(&channels, 48_000.0);
            assert_eq!(found.len(), 1, "ratio {ratio}: {found:?}");
            assert_eq!(found[0].slate, slate, "ratio {ratio}");
            crate::assert_within!(found[0].start_s, 1.0, 0.0003, "s", "ratio {ratio}");
            crate::assert_within!(found[0].ratio / ratio, 1.0, 2e-4, "", "ratio {ratio}");
        }
    }

    #[test]
    fn heavy_wow_and_hiss_do_not_hide_it() {
        let slate = Slate { code: 0x0102, index: 31 };
        // Hiss 35 dB below the reference level, in full bandwidth: rms 0.25 / sqrt 2 / 56.
        let hiss = 0.25 / 2f64.sqrt() / 56.2;
        let rates_hz = [0.3, 0.5, 0.75, 1.1, 1.6, 2.3, 4.0, 9.0];
        for (wow_hz, start) in
            rates_hz.into_iter().flat_map(|hz| [0.1, 1.7, 3.3, 4.9].map(|start| (hz, start)))
        {
            let depth = 0.01 / (std::f64::consts::TAU * wow_hz);
            let warp = |t: f64| (t - 1.0) * 1.03 + depth * (std::f64::consts::TAU * wow_hz * t + start).sin();
            let found = read(&play(slate, 44_100.0, hiss, warp), 44_100.0);
            assert_eq!(found.len(), 1, "wow {wow_hz} Hz from {start} rad");
            assert_eq!(found[0].slate, slate, "wow {wow_hz} Hz from {start} rad");
            // 1 % of 0.3 Hz moves the tape by 5.3 ms; the straight line through the slate lies within twice that.
            crate::assert_within!(found[0].start_s, 1.0, 0.011, "s", "wow {wow_hz} Hz from {start} rad");
        }
    }

    #[test]
    fn noise_alone_makes_no_slate() {
        let channels = play(Slate { code: 1, index: 0 }, 48_000.0, 0.1, |_| -1.0);
        assert!(read(&channels, 48_000.0).is_empty());
    }

    #[test]
    fn polarity_and_sides_are_seen() {
        let slate = Slate { code: 0x7777, index: 0 };
        let [left, right] = play(slate, 48_000.0, 0.002, |t| (t - 1.0) * 1.01);
        // Swapped, and what is now channel 1 inverted.
        let channels = [right, left.iter().map(|x| -x).collect()];
        let found = read(&channels, 48_000.0);
        let found = &found[0];
        assert!(found.left_only[1] > 5.0 * found.left_only[0], "{found:?}");
        assert!(found.right_only[0] > 5.0 * found.right_only[1], "{found:?}");
        assert!(found.phase[0].0.abs() < 0.5 && found.phase[0].1 > 0.8, "{found:?}");
        assert!(found.phase[1].0.abs() > 2.6 && found.phase[1].1 > 0.8, "{found:?}");
    }
}
