//! What a recording of music looks like for the azimuth: mono on two tracks, partly common, or one track doubled.
//!
//! Mono is told by what differs once the delay is undone: hiss of two tracks is equally strong at any loudness, stereo
//! grows with the programme. Only for mono is the difference of levels known as well, so networks are told from delay
//! as with tones.

use crate::measure::skew::cells::SkewCells;
use crate::signal::statistics::{median, quantile};

/// How much the channels have in common, and of what kind.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Content {
    /// One programme on both tracks, each with its own hiss.
    Mono,
    /// Some of it is common to both channels.
    PartlyCommon,
    /// Too little is common, or what is common does not agree on one delay.
    Wide,
    /// Both channels are one track: even the hiss is the same.
    OneTrackDoubled,
    /// One channel carries next to nothing.
    OneChannel,
    /// Next to nothing in both channels.
    Silence,
    /// Too short.
    TooShort,
    /// One programme on both tracks, but too noisy or too narrow to tell its delay.
    Unclear,
}

/// Least length of a recording, s.
pub const LEAST_S: f64 = 10.0;
/// Mean square below which a recording is silent, full scale 1: -70 dBFS.
const SILENT: f64 = 0.5e-7;
/// A channel so much weaker than the other carries nothing, power ratio: 40 dB.
const ONE_CHANNEL: f64 = 1e-4;
/// Bands in which mono is looked for, Hz: above, wander of the azimuth within half a second makes channels differ.
const MONO_BANDS_HZ: (f64, f64) = (600.0, 5000.0);
/// Most that may differ in a loud window of a mono programme, beyond what hiss is, share of its power: 20 dB.
const MONO_SHARE: f64 = 0.01;
/// Most that hiss may be, share of the power of loud windows: 26 dB.
const MONO_HISS: f64 = 2.5e-3;
/// Loud windows that must be mono.
const MONO_WINDOWS: f64 = 0.75;
/// Less of a difference than any two tracks have, share of the power of loud windows: 72 dB.
const DOUBLED_SHARE: f64 = 6e-8;
/// Coherence of hiss in pauses, above which it is the same hiss.
const DOUBLED_COHERENCE: f64 = 0.9;
/// Two channels that carry one track's signal have no delay, us.
const DOUBLED_US: f64 = 0.5;
/// How far a pause lies below loud windows, power ratio: 20 dB.
const PAUSE: f64 = 0.01;

/// What the recording looks like; `delay_us` as it was found, if any.
pub(crate) fn content(cells: &SkewCells, delay_us: Option<f64>) -> Content {
    let [left, right] = cells.mean_square;
    if cells.length_s < LEAST_S {
        return Content::TooShort;
    }
    if !(left.max(right) > SILENT) || cells.windows.is_empty() {
        return Content::Silence;
    }
    if left < ONE_CHANNEL * right || right < ONE_CHANNEL * left {
        return Content::OneChannel;
    }
    let apart = Apart::new(cells);
    if apart.least_share < DOUBLED_SHARE
        || pauses_are_alike(cells) && delay_us.is_some_and(|d| d.abs() < DOUBLED_US)
    {
        return Content::OneTrackDoubled;
    }
    if apart.mono_windows >= MONO_WINDOWS && apart.hiss_share < MONO_HISS {
        return Content::Mono;
    }
    Content::PartlyCommon
}

/// How far the channels differ once the delay is undone.
struct Apart {
    /// Share of loud windows that are mono.
    mono_windows: f64,
    /// What always differs, share of the power of loud windows.
    hiss_share: f64,
    /// The same over all bands.
    least_share: f64,
}

impl Apart {
    fn new(cells: &SkewCells) -> Self {
        let bands = cells.bands_hz.len();
        let inside = |band: &usize| {
            let hz = cells.bands_hz[*band];
            hz > MONO_BANDS_HZ.0 && hz < MONO_BANDS_HZ.1
        };
        // What differs, as a power of the left channel: independent noise makes it the same at any loudness.
        let differs = |window: usize, band: usize| {
            let power = cells.windows[window][band];
            power.left * (1.0 - power.coherence())
        };
        let windows = 0..cells.windows.len();
        let hiss: Vec<f64> = (0..bands)
            .map(|band| quantile(windows.clone().map(|window| differs(window, band)), 0.2))
            .collect();
        let power =
            |window: usize| (0..bands).filter(inside).map(|b| cells.windows[window][b].left).sum::<f64>();
        let all = |window: usize| cells.windows[window].iter().map(|power| power.left).sum::<f64>();
        let powers: Vec<f64> = windows.clone().map(power).collect();
        let loud_power = quantile(&powers, 0.95);
        let loud_all = quantile(windows.clone().map(all), 0.95);
        let hiss_inside: f64 = (0..bands).filter(inside).map(|band| hiss[band]).sum();
        // Loud: well over the hiss, and not far below what is usual.
        let usual = median(&powers);
        let loud: Vec<usize> =
            windows.filter(|&w| powers[w] > 20.0 * hiss_inside && powers[w] >= 0.5 * usual).collect();
        let mono = loud
            .iter()
            .filter(|&&w| {
                let beyond: f64 = (0..bands).filter(inside).map(|b| (differs(w, b) - hiss[b]).max(0.0)).sum();
                beyond < MONO_SHARE * powers[w]
            })
            .count();
        Self {
            mono_windows: if loud.is_empty() { 0.0 } else { mono as f64 / loud.len() as f64 },
            hiss_share: hiss_inside / loud_power.max(f64::MIN_POSITIVE),
            least_share: hiss.iter().sum::<f64>() / loud_all.max(f64::MIN_POSITIVE),
        }
    }
}

/// Whether there are pauses, and the channels are alike in them, too.
fn pauses_are_alike(cells: &SkewCells) -> bool {
    let mut coherences = Vec::new();
    let high = (0..cells.bands_hz.len()).filter(|&band| cells.bands_hz[band] > 4000.0);
    let mut looked_at = 0;
    for band in high {
        looked_at += 1;
        let column = || cells.windows.iter().map(|window| window[band]);
        let powers: Vec<f64> = column().map(|power| power.left).collect();
        let quiet = quantile(&powers, 0.05);
        if quiet < PAUSE * quantile(&powers, 0.95) {
            let alike = column().filter(|p| p.left > 0.0 && p.left <= quiet).map(|p| p.coherence());
            coherences.push(median(alike));
        }
    }
    2 * coherences.len() > looked_at && median(coherences) > DOUBLED_COHERENCE
}
