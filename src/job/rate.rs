//! Finding the slates, even when the file's header names a wrong sample rate.
//!
//! No deck is off by 8 %, and a 44.1 kHz file labelled 48 kHz is: so a wrong rate is not simply a speed error.

use crate::capture::{CaptureError, FoundSlate, Scan, Source, assemble, scan};
use crate::reading::FileClock;

/// A source whose samples are taken to have another rate than its header says.
pub(super) struct Relabelled<'a> {
    pub inner: &'a dyn Source,
    pub rate_hz: f64,
}

impl Source for Relabelled<'_> {
    fn rate_hz(&self) -> f64 {
        self.rate_hz
    }

    fn frames(&self) -> u64 {
        self.inner.frames()
    }

    fn read(&self, from: u64, to: u64, sink: &mut dyn FnMut([&[f64]; 2])) -> Result<(), CaptureError> {
        self.inner.read(from, to, sink)
    }
}

/// Rates that are taken for each other, as true rate over rate in the header.
const MISLABELLED: [f64; 6] = [44.1 / 48.0, 48.0 / 44.1, 2.0, 0.5, 96.0 / 44.1, 44.1 / 96.0];

/// Speed error of a deck, at most; a wrong rate is off by 8 or 9 %.
const MOST_OFF: f64 = 0.065;

/// Finds the slates; if there are none, or they run at a speed that only a wrong sample rate explains, the samples
/// are taken to have another rate. The clock that comes with them knows that rate over the header's.
pub(super) fn find_slates(
    source: &dyn Source,
    codes: &[u16],
) -> Result<(Scan, Vec<FoundSlate>, FileClock), CaptureError> {
    let first = scan(source)?;
    let found = assemble(&first.chirps, codes);
    let tries: Vec<f64> = if found.is_empty() {
        MISLABELLED[2..].to_vec()
    } else {
        let ratio = mean_ratio(&found);
        if (ratio - 1.0).abs() < MOST_OFF {
            return Ok((first, found, FileClock::default()));
        }
        MISLABELLED[..2].iter().copied().filter(|rate| (ratio * rate - 1.0).abs() < MOST_OFF).collect()
    };
    for rate in tries {
        let again = scan(&Relabelled { inner: source, rate_hz: source.rate_hz() * rate })?;
        let slates = assemble(&again.chirps, codes);
        if !slates.is_empty() {
            return Ok((again, slates, FileClock::new(rate)));
        }
    }
    Ok((first, found, FileClock::default()))
}

fn mean_ratio(found: &[FoundSlate]) -> f64 {
    found.iter().map(|slate| slate.ratio).sum::<f64>() / found.len().max(1) as f64
}
