//! Speed and dropouts.

use crate::reading::figures::UnitKind::{
    Db, Milliseconds, PercentPerMinute, Seconds, SpeedPercent, TapeSpeed,
};
use crate::reading::figures::given;
use crate::reading::{Dropout, Speed, SpeedFromLength};
use crate::show::page::{Measured, Quantities, Rows, Section};

/// Dropouts that the report names one by one: a bad tape has hundreds.
const MOST_DROPOUTS: usize = 30;

/// Error and drift. `has_slates`: a player was in the chain.
pub(in crate::show) fn speed(speed: &Speed, has_slates: bool) -> Section {
    let mut found = Quantities::default();
    let error = Measured::of(SpeedPercent, Some(speed.error_percent), Some(speed.uncertainty_percent));
    let drift = Measured::of(PercentPerMinute, speed.drift_percent_per_min, None);
    found.one("speed error", "percent", error.signed(), "");
    found.one("drift of the speed", "percent per minute", drift.signed(), "");
    let clocks = if has_slates {
        "Positive: fast. Clocks of player and sound card are not included."
    } else {
        "Positive: fast. The sound card's clock and what is known of the tones are included."
    };
    let section = Section::new("Speed").say(clocks).tables(found.tables());
    match &speed.from_length {
        Some(length) => section.say(from_length(length)),
        None => section,
    }
}

/// A speed from a measured length in one sentence.
fn from_length(length: &SpeedFromLength) -> String {
    format!(
        "From a measured length {}, absolute: {} mm +- {} mm of tape in {}, {} against {} mm/s ({}).",
        SpeedPercent.of(length.error_percent, length.uncertainty_percent).signed().full(),
        given(length.length_mm, 1),
        given(length.length_uncertainty_mm, 1),
        Seconds.of(length.time_s(), length.time_uncertainty_s),
        TapeSpeed.of(length.speed_mm_s, None),
        given(length.nominal_mm_s, 3),
        length.marks
    )
}

/// `dropouts.csv`.
pub(in crate::show) fn dropouts(rows: &[Dropout]) -> Section {
    let section = Section::new("Dropouts in steady tones");
    let table = Rows::of("dropouts.csv", rows)
        .at_most(MOST_DROPOUTS)
        .column(&["at_s"], &["at, s"], |row| Measured::of(Seconds, Some(row.at_s.seconds()), None))
        .column(&["part"], &["part"], |row| row.part.as_str())
        .column(&["depth_db"], &["depth, dB"], |row| Measured::of(Db, Some(row.depth_db), None))
        .column(&["length_ms"], &["length, ms"], |row| Measured::of(Milliseconds, Some(row.length_ms), None))
        .column(&["channel"], &["channel"], |row| row.channel.as_str());
    match table.any() {
        Some(table) => section.table(table),
        None => section.say("None found."),
    }
}
