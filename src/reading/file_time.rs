//! Times of the file, and the one clock that makes them.

use schemars::{JsonSchema, Schema, SchemaGenerator};
use serde::{Deserialize, Serialize};
use std::borrow::Cow;
use std::ops::Sub;

/// A time of the file: seconds from its first sample, by the sample rate in its header.
///
/// Meters work in true seconds of the return. Only a [`FileClock`] turns those into times of the file, so that none gets into a
/// reading without it.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Serialize, Deserialize)]
#[serde(transparent)]
pub struct FileTime(f64);

impl FileTime {
    /// The time, s.
    pub fn seconds(self) -> f64 {
        self.0
    }
}

impl Sub for FileTime {
    type Output = f64;

    /// Seconds of the file between two times.
    fn sub(self, earlier: Self) -> f64 {
        self.0 - earlier.0
    }
}

/// As the number that it is.
impl JsonSchema for FileTime {
    fn inline_schema() -> bool {
        true
    }

    fn schema_name() -> Cow<'static, str> {
        "FileTime".into()
    }

    fn json_schema(generator: &mut SchemaGenerator) -> Schema {
        f64::json_schema(generator)
    }
}

/// Tells the time of the file from true seconds of the return. By default the header's sample rate is right.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FileClock {
    rate: f64,
    from_s: f64,
}

impl Default for FileClock {
    fn default() -> Self {
        Self::new(1.0)
    }
}

impl FileClock {
    /// The clock of a file whose true sample rate is `rate` times the one in its header.
    pub fn new(rate: f64) -> Self {
        Self { rate, from_s: 0.0 }
    }

    /// Seconds of the file to a true second: 1 unless the header names a wrong sample rate.
    pub fn rate(self) -> f64 {
        self.rate
    }

    /// The same clock for times counted from `from_s`, s of this clock: from the first sample that a meter is fed.
    #[must_use]
    pub fn starting_at(self, from_s: f64) -> Self {
        Self { from_s: self.from_s + from_s, ..self }
    }

    /// The time of the file at `true_s`.
    pub fn at(self, true_s: f64) -> FileTime {
        FileTime((self.from_s + true_s) * self.rate)
    }

    /// Seconds of the file in `true_s`.
    pub fn span_s(self, true_s: f64) -> f64 {
        true_s * self.rate
    }

    /// True seconds at `file_s` of the file.
    pub fn true_s(self, file_s: f64) -> f64 {
        file_s / self.rate - self.from_s
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_clock_undoes_a_wrong_rate_and_back() {
        // 48 kHz labelled 44.1 kHz: 441 true seconds are 480 of the file.
        let clock = FileClock::new(48.0 / 44.1);
        crate::assert_within!(clock.at(441.0).seconds(), 480.0, 1e-9, "s");
        crate::assert_within!(clock.starting_at(41.0).at(400.0).seconds(), 480.0, 1e-9, "s");
        crate::assert_within!(clock.starting_at(41.0).true_s(480.0), 400.0, 1e-9, "s");
        crate::assert_within!(clock.span_s(441.0), 480.0, 1e-9, "s");
        crate::assert_within!(clock.at(882.0) - clock.at(441.0), 480.0, 1e-9, "s");
    }

    #[test]
    fn json_has_the_number_alone() {
        let at = FileClock::default().at(12.25);
        assert_eq!(serde_json::to_string(&at).unwrap(), "12.25");
        assert_eq!(serde_json::from_str::<FileTime>("12.25").unwrap(), at);
    }
}
