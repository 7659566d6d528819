//! Whether the return went through a lossy codec, by what such codecs do to hiss.
//!
//! Four signs, each enough: the hiss ends like a wall below the end of any converter's band; it has holes in time and
//! frequency; its treble is one and the same on both channels; it is gone beside a loud tone and there in the silence.
//! Hiss of tape does none of this. A codec that leaves the hiss alone below 18.6 kHz is not noticed; it leaves the
//! figures alone, too.
//!
//! Trial: returns of two virtual decks went through a general-purpose converter (ffmpeg 5.1) and back. Named: MP3 64 to
//! 192 kbit/s, MP2 192, AAC 64 and 128, Vorbis q0, q2, q4 and q8, Opus 48 to 96, SBC 229. Unnamed were MP3 256 and 320,
//! AAC 192 and Opus 160; their worst: response 0.04 dB, azimuth 0.02 minutes of arc, noise 0.34 dB unweighted. Opus at
//! 48 kbit/s moved azimuth by 1.5 minutes, MP3 at 64 by 0.4, and neither has holes. Not accused: all virtual decks, 16
//! bit with and without dither, resampled to 22.05, 32, 44.1, 96 and 192 kHz, and FLAC. The trial read 4.5 s of each
//! stretch; now 2 s are read, for speed. A codec's overshoot may be clipped in the file: then holes and dips do not
//! count, wall and coherence do.

use crate::measure::faults::cells::{Cells, LEAST_POWER};
use crate::measure::faults::surroundings::Surroundings;
use crate::signal::statistics::{median, nth};

/// Drop over the width of the wall, dB.
const WALL_DB: f64 = 15.0;
/// How much the hiss may slope over the two kilohertz before a wall, dB: gap and spacing losses slope before they end.
const SLOPE_DB: f64 = 8.0;
/// Walls are looked for between these, Hz: a telephone's ends at 3.4 kHz, converters at 44.1 kHz end at 20 kHz, careless
/// ones at 19 kHz.
const WALL_HZ: (f64, f64) = (2800.0, 18_600.0);
/// Share of a wall's frequency from which on its slope is in what is measured.
const BEFORE_WALL: f64 = 0.85;
/// A codec with loss changes what lies above this, Hz.
const CHANGES_HZ: f64 = 8000.0;
/// The same, as a share of the sample rate.
const WALL_SHARE: f64 = 0.43;
/// Share of holes that no hiss has: 0 of some ten thousand cells was seen in uncompressed returns of every virtual deck.
const HOLES: f64 = 0.01;
/// Hiss beside a loud tone against hiss alone, dB: magnetic tape has more of it there, not less.
const DIP_DB: f64 = -10.0;
/// Two tracks' hiss has nothing in common; a codec that saves on stereo makes one of both in the treble.
const ALIKE: f64 = 0.8;
/// Below, it must have next to nothing in common: otherwise the noise is not of tape.
const UNLIKE: f64 = 0.2;
/// Width of the treble that must be alike, Hz, and where it may begin.
const ALIKE_HZ: (f64, f64) = (2000.0, 7000.0);
/// Where holes and dips are looked for, Hz.
const HISS_HZ: (f64, f64) = (5000.0, 16_000.0);

/// A sign of a lossy codec.
#[derive(Debug, Clone, PartialEq)]
pub struct LossySign {
    /// What was seen, in words.
    pub text: String,
    /// Clipping makes it as well.
    pub by_clipping: bool,
    /// From here on responses are not relied on, Hz.
    pub from_hz: f64,
}

/// The signs of a lossy codec in words; empty if there are none. `gain_rides`: an automatic gain lowers hiss beside loud
/// tones as well, so that this sign does not count.
pub(crate) fn lossy_signs(around: &Surroundings, gain_rides: bool) -> Vec<LossySign> {
    let channels = || [0, 1].into_iter().filter(|&channel| around.there[channel]);
    let mut signs = Vec::new();
    let mut sign = |by_clipping: bool, text: String, from_hz: f64| {
        signs.push(LossySign { text, by_clipping, from_hz });
    };
    let quiet = [around.silence.as_ref(), around.quiet_low.as_ref().map(|low| &low.0)];
    // Both stretches must have the wall, as far as both are there.
    let walls: Vec<Option<f64>> = quiet
        .iter()
        .flatten()
        .map(|cells| channels().filter_map(|channel| wall_hz(cells, channel)).reduce(f64::min))
        .collect();
    if let Some(Some(hz)) = walls.first().copied()
        && walls.iter().all(|wall| wall.is_some_and(|other| (other / hz - 1.0).abs() < 0.1))
    {
        let from_hz = CHANGES_HZ.min(BEFORE_WALL * hz);
        sign(false, format!("the hiss ends like a wall at {:.1} kHz", hz / 1000.0), from_hz);
    }
    let loud = around.loud_treble.as_ref().map(|tone| &tone.cells);
    let tone_hz = around.loud_treble.as_ref().map(|tone| tone.seen_hz);
    let holes = [(around.silence.as_ref(), None), (loud, tone_hz), (around.loud_low.as_ref(), None)]
        .into_iter()
        .filter_map(|(cells, tone_hz)| Some((cells?, tone_hz)))
        .flat_map(|(cells, tone_hz)| {
            let end_hz = HISS_HZ.1.min(0.8 * cells.end_hz());
            channels().filter_map(move |channel| cells.holes(channel, HISS_HZ.0, end_hz, tone_hz))
        })
        .fold(0.0, f64::max);
    if holes > HOLES {
        let text = format!("{:.0} % of the hiss are holes in time and frequency", (100.0 * holes).ceil());
        sign(true, text, CHANGES_HZ);
    }
    if around.there == [true; 2]
        && let Some(hz) = around.silence.as_ref().and_then(alike_from_hz)
    {
        let text = format!("from {:.0} kHz on both channels have one and the same hiss", hz / 1000.0);
        sign(false, text, CHANGES_HZ);
    }
    if !gain_rides && let (Some(silence), Some(loud)) = (&around.silence, loud) {
        let dips: Vec<f64> = channels().filter_map(|channel| dip_db(silence, loud, channel)).collect();
        let deepest = dips.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        if !dips.is_empty() && deepest < DIP_DB {
            let text = format!("beside a loud tone hiss is lower than in the silence by {:.0} dB", -deepest);
            sign(true, text, CHANGES_HZ);
        }
    }
    signs
}

fn db(ratio: f64) -> f64 {
    10.0 * ratio.max(1e-30).log10()
}

/// Where the noise of a channel ends within half a kilohertz; `None` if it does not.
fn wall_hz(cells: &Cells, channel: usize) -> Option<f64> {
    let noise = &cells.medians[channel];
    let range = cells.between(WALL_HZ.0, WALL_HZ.1.min(2.0 * WALL_SHARE * cells.end_hz()));
    let least = |values: &[f64]| values.iter().copied().fold(f64::INFINITY, f64::min);
    let mut best: Option<(f64, f64)> = None;
    for k in range {
        if k < 15 || k + 8 > noise.len() {
            continue;
        }
        // The weakest of three neighbours, so that a component of hum or of a screen is no edge.
        let (before, edge) = (least(&noise[k - 14..k - 11]), least(&noise[k - 3..k]));
        // Two kilohertz beyond it, but for a line or two.
        let mut beyond = noise[k + 3..(k + 14).min(noise.len())].to_vec();
        let second = beyond.len().saturating_sub(2);
        let beyond = nth(&mut beyond, second)?;
        let drop_db = db(edge / beyond.max(1e-18));
        if edge > LEAST_POWER / 3.0
            && drop_db > WALL_DB
            && db(before / edge) < SLOPE_DB
            && best.is_none_or(|best| drop_db > best.0)
        {
            best = Some((drop_db, k as f64 * cells.cell_hz));
        }
    }
    best.map(|best| best.1)
}

/// Where the hiss of both channels begins to be the same, Hz, though lower down it is not.
fn alike_from_hz(silence: &Cells) -> Option<f64> {
    let coherence = silence.coherence();
    let middle = |from_hz: f64, to_hz: f64| {
        let cells = silence.between(from_hz, to_hz);
        (cells.len() >= 8).then(|| median(&coherence[cells]))
    };
    let loud_enough = |from_hz: f64, to_hz: f64| {
        silence
            .between(from_hz, to_hz)
            .all(|k| silence.medians.iter().all(|medians| medians[k] > LEAST_POWER))
    };
    let (width_hz, first_hz) = ALIKE_HZ;
    if middle(3000.0, 5000.0)? > UNLIKE {
        return None;
    }
    (0..8)
        .map(|k| first_hz + width_hz * 0.75 * f64::from(k))
        .filter(|from_hz| from_hz + width_hz < WALL_HZ.1.min(0.8 * silence.end_hz()) + 500.0)
        .find(|&from_hz| {
            loud_enough(from_hz, from_hz + width_hz)
                && middle(from_hz, from_hz + width_hz).is_some_and(|alike| alike > ALIKE)
        })
}

/// Noise beside a loud tone over noise in silence, where it is lowest (the lowest eighth of the cells), dB.
fn dip_db(silence: &Cells, loud: &Cells, channel: usize) -> Option<f64> {
    let mut ratios_db: Vec<f64> = silence
        .between(HISS_HZ.0 + 1000.0, HISS_HZ.1 - 1000.0)
        .filter(|&k| silence.medians[channel][k] > LEAST_POWER)
        .filter_map(|k| Some(db(loud.medians[channel].get(k)? / silence.medians[channel][k])))
        .collect();
    let eighth = ratios_db.len() / 8;
    nth(&mut ratios_db, eighth).filter(|_| eighth >= 2)
}
