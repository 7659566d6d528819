//! Ordinary music as cells: what the channels have in common, by bands of a sixth of an octave and half seconds.

use crate::capture::{extend_mended, is_sound};
use crate::measure::meter::Meter;
use crate::signal::cross_spectra::{CrossPower, CrossSpectra};
use crate::signal::next_fast_length;

/// Lowest edge of the bands, Hz: below, phase says little about delay.
const LOWEST_HZ: f64 = 600.0;
/// Bands in an octave.
const IN_OCTAVE: f64 = 6.0;
/// Bands at most: to 13.6 kHz.
const BANDS: i32 = 27;
/// Highest edge of a band, share of the sample rate.
const HIGHEST_SHARE: f64 = 0.45;
/// About the length of a transform, s.
const TRANSFORM_S: f64 = 0.04;
/// Transforms in a window of about half a second.
const TRANSFORMS: usize = 24;
/// Independent pairs that a bin gives in a window: half-overlapping Hann windows resemble their neighbours in time by
/// 1/36, in frequency by 4/9 and 1/36 (squared correlations of white noise, computed from the window).
const PAIRS_OF_BIN: f64 = TRANSFORMS as f64 / (1.0 + 2.0 / 36.0) / (1.0 + 2.0 * (4.0 / 9.0 + 1.0 / 36.0));

/// All cells of one recording.
#[derive(Debug, Clone, PartialEq)]
pub struct SkewCells {
    /// Distance of the windows, s.
    pub window_s: f64,
    /// Delay that was undone before the bands were summed, us (see [`CrossSpectra`]).
    pub undone_us: f64,
    /// Middle of each band (geometric), Hz.
    pub bands_hz: Vec<f64>,
    /// Independent pairs of transforms in a cell of each band.
    pub pairs: Vec<f64>,
    /// The windows in order; each has one value a band.
    pub windows: Vec<Vec<CrossPower>>,
    /// Mean square of each channel over all samples, full scale 1.
    pub mean_square: [f64; 2],
    /// Length of the recording, s.
    pub length_s: f64,
}

/// Collects the cells of a stereo stream. It keeps about 2 kB a second.
pub struct SkewMeter {
    rate_hz: f64,
    spectra: CrossSpectra,
    mended: [Vec<f64>; 2],
    frames: u64,
    squares: [f64; 2],
    cells: SkewCells,
}

impl Meter for SkewMeter {
    /// About the delay that is there, us; 0 if nothing is known of it.
    type Plan = f64;
    type Output = SkewCells;

    fn new(rate_hz: f64, undone_us: f64) -> Option<Self> {
        let length = 2 * next_fast_length((rate_hz * TRANSFORM_S / 2.0) as usize);
        let edges_hz: Vec<f64> = (0..=BANDS)
            .map(|k| LOWEST_HZ * 2f64.powf(f64::from(k) / IN_OCTAVE))
            .take_while(|&hz| hz <= HIGHEST_SHARE * rate_hz)
            .collect();
        let spectra = CrossSpectra::new(rate_hz, length, TRANSFORMS, &edges_hz, undone_us * 1e-6);
        let cells = SkewCells {
            window_s: spectra.window_s(),
            undone_us,
            bands_hz: edges_hz.windows(2).map(|edges| (edges[0] * edges[1]).sqrt()).collect(),
            pairs: spectra.bins().iter().map(|&bins| bins as f64 * PAIRS_OF_BIN).collect(),
            windows: Vec::new(),
            mean_square: [0.0; 2],
            length_s: 0.0,
        };
        let mended = [Vec::new(), Vec::new()];
        Some(Self { rate_hz, spectra, mended, frames: 0, squares: [0.0; 2], cells })
    }

    /// What is no number counts as 0.
    fn feed(&mut self, block: [&[f64]; 2]) {
        self.frames += block[0].len().min(block[1].len()) as u64;
        let windows = &mut self.cells.windows;
        let mut push = |window: &[CrossPower]| windows.push(window.to_vec());
        if block.iter().all(|samples| is_sound(samples)) {
            sum_squares(&mut self.squares, block);
            self.spectra.feed(block, &mut push);
            return;
        }
        for (mended, samples) in self.mended.iter_mut().zip(block) {
            mended.clear();
            extend_mended(mended, samples);
        }
        let block = [&self.mended[0][..], &self.mended[1][..]];
        sum_squares(&mut self.squares, block);
        self.spectra.feed(block, &mut push);
    }

    /// The cells of all whole windows.
    fn finish(mut self) -> SkewCells {
        self.cells.mean_square = self.squares.map(|sum| sum / self.frames.max(1) as f64);
        self.cells.length_s = self.frames as f64 / self.rate_hz;
        self.cells
    }
}

fn sum_squares(squares: &mut [f64; 2], block: [&[f64]; 2]) {
    for (sum, samples) in squares.iter_mut().zip(block) {
        *sum += samples.iter().map(|x| x * x).sum::<f64>();
    }
}
