//! Finding the slates, even when the file's header names a wrong sample rate.

use crate::capture::{CaptureError, FoundSlate, Scan, Source, assemble, is_read, scan, true_rates};
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

/// Finds the slates; if there are none, or they run at a speed that only a wrong sample rate explains, the samples
/// are taken to have another rate. The clock that comes with them knows that rate over the header's.
pub(super) fn find_slates(
    source: &dyn Source,
    codes: &[u16],
) -> Result<(Scan, Vec<FoundSlate>, FileClock), CaptureError> {
    let first = scan(source)?;
    let found = assemble(&first.chirps, codes);
    let rates = true_rates((!found.is_empty()).then(|| mean_ratio(&found)));
    for rate in rates.into_iter().filter(|rate| is_read(source.rate_hz() * rate)) {
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
