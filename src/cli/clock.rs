//! Date and time, for the head of a report.

use crate::reading::Made;
use std::time::{SystemTime, UNIX_EPOCH};

/// What a reading made now says of itself; `deck` in the words of the command line.
pub fn made_now(deck: Option<String>) -> Made {
    // The usual variable of builds that shall give the same bytes each time.
    let told = std::env::var("SOURCE_DATE_EPOCH").ok().and_then(|seconds| seconds.parse().ok());
    let now = || SystemTime::now().duration_since(UNIX_EPOCH).map_or(0, |since| since.as_secs());
    // At most the year 9999.
    let seconds = told.unwrap_or_else(now).min(253_402_300_799);
    Made { at: utc(seconds), version: env!("CARGO_PKG_VERSION").to_owned(), deck, job: None }
}

/// Date and time of so many seconds after 1970 began, UTC, as `2026-11-26 09:30 UTC`.
fn utc(seconds: u64) -> String {
    let minutes = seconds / 60;
    let (hour, minute) = (minutes / 60 % 24, minutes % 60);
    let mut days = seconds / 86_400;
    let mut year = 1970;
    while days >= days_in_year(year) {
        days -= days_in_year(year);
        year += 1;
    }
    let february = days_in_year(year) - 337;
    let mut month = 1;
    for length in [31, february, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31] {
        if days < length {
            break;
        }
        days -= length;
        month += 1;
    }
    format!("{year}-{month:02}-{:02} {hour:02}:{minute:02} UTC", days + 1)
}

/// Gregorian calendar.
fn days_in_year(year: u64) -> u64 {
    let leap = year.is_multiple_of(4) && (!year.is_multiple_of(100) || year.is_multiple_of(400));
    if leap { 366 } else { 365 }
}

#[cfg(test)]
mod tests {
    use super::utc;

    #[test]
    fn dates_are_those_of_the_calendar() {
        // `date -u -d @SECONDS`, GNU coreutils.
        for (seconds, want) in [
            (0, "1970-01-01 00:00 UTC"),
            (951_782_399, "2000-02-28 23:59 UTC"),
            (951_782_400, "2000-02-29 00:00 UTC"),
            (951_868_800, "2000-03-01 00:00 UTC"),
            (1_735_689_599, "2024-12-31 23:59 UTC"),
            (1_735_689_600, "2025-01-01 00:00 UTC"),
            (4_107_542_400, "2100-03-01 00:00 UTC"),
        ] {
            assert_eq!(utc(seconds), want);
        }
    }
}
