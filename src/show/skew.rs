//! What ordinary music says of azimuth: for the terminal, and for other programs.

use super::text::Page;
use crate::judge::{decimals, signed, unsigned};
use crate::reading::{SkewContent, SkewReading, SkewTape, SkewVerdict};
use crate::trade::CAUTIONS;

/// The reading in plain text, lines of at most [`super::COLUMNS`] characters.
///
/// File names have their control characters replaced by U+FFFD.
pub fn skew_summary(reading: &SkewReading) -> String {
    let mut page = Page::default();
    let made = reading.made.as_ref().map(|made| format!(" ({}, Deckproof {})", made.at, made.version));
    page.line(&format!("Delay between the channels from ordinary music{}", made.unwrap_or_default()));
    page.line("Positive: the right channel lags. Uncertainties: k = 2.");
    page.head("TAPES");
    for tape in &reading.tapes {
        one(&mut page, tape);
    }
    let all = &reading.consensus;
    page.head("CONSENSUS");
    let delay = value(all.delay_us, all.uncertainty_us, "us");
    let angle = value(all.angle_arcmin, all.angle_uncertainty_arcmin, "minutes of arc");
    page.wrapped(2, "delay    ", &delay);
    page.wrapped(2, "angle    ", &angle);
    let spread =
        all.spread_us.map_or(String::new(), |us| format!("; standard deviation {} us", unsigned(us, 1)));
    let left_out: Vec<&str> =
        reading.tapes.iter().filter(|tape| tape.outlier).map(|tape| tape.file.as_str()).collect();
    let left_out =
        if left_out.is_empty() { String::new() } else { format!("; left out: {}", left_out.join(", ")) };
    page.wrapped(2, "tapes    ", &format!("{} of {}{spread}{left_out}", all.tapes, reading.tapes.len()));
    page.wrapped(2, "says     ", &all.says);
    if let Some(turn) = &all.turn {
        page.wrapped(2, "turn     ", turn);
    }
    page.head("CAUTIONS");
    for caution in CAUTIONS {
        page.wrapped(2, "", caution);
    }
    page.into_text()
}

fn one(page: &mut Page, tape: &SkewTape) {
    page.wrapped(2, "", &tape.file);
    let verdict = match tape.verdict {
        SkewVerdict::Usable => "usable",
        SkewVerdict::CannotTell => "cannot tell",
    };
    let length = format!("{}:{:02}", tape.duration_s as u64 / 60, tape.duration_s as u64 % 60);
    page.wrapped(6, "verdict  ", &format!("{verdict}; {}, {length}", content(tape.content)));
    if tape.verdict == SkewVerdict::Usable {
        page.wrapped(6, "delay    ", &delay(tape));
        page.wrapped(
            6,
            "angle    ",
            &value(tape.angle_arcmin, tape.angle_uncertainty_arcmin, "minutes of arc"),
        );
        if let Some(wander) = tape.wander_us_rms {
            page.wrapped(6, "wander   ", &along(tape, wander));
        }
    }
    page.wrapped(6, "why      ", &tape.why);
    for warning in &tape.warnings {
        page.wrapped(6, "warning  ", &format!("{}: {}", warning.id, warning.text));
    }
}

/// The delay; where a production may have added to it, both as it lies on the tape and with that.
fn delay(tape: &SkewTape) -> String {
    let all = value(tape.delay_us, tape.uncertainty_us, "us");
    match tape.content {
        SkewContent::PartlyCommon => format!(
            "{all} ({} as it lies on the tape)",
            value(tape.delay_us, tape.common_uncertainty_us, "us")
        ),
        _ => all,
    }
}

/// Rms, and the ends of the course.
fn along(tape: &SkewTape, wander_us: f64) -> String {
    let ends = match (tape.along.first(), tape.along.last()) {
        (Some(first), Some(last)) => format!(
            "; {} us at the start, {} us at the end, each +- {} us and less sure than the mean",
            signed(first.delay_us, 1),
            signed(last.delay_us, 1),
            unsigned(first.uncertainty_us.max(last.uncertainty_us), 1)
        ),
        _ => String::new(),
    };
    format!("{} us rms along the tape, slower than 0.1 Hz{ends}", unsigned(wander_us, 1))
}

fn value(value: Option<f64>, uncertainty: Option<f64>, unit: &str) -> String {
    match (value, uncertainty) {
        (Some(value), Some(uncertainty)) => {
            let digits = decimals(Some(uncertainty), 1);
            format!("{} +- {} {unit}", signed(value, digits), unsigned(uncertainty, digits))
        }
        _ => "cannot tell".to_owned(),
    }
}

/// What the recording looks like, as the reading writes it.
fn content(content: SkewContent) -> &'static str {
    match content {
        SkewContent::Mono => "mono",
        SkewContent::PartlyCommon => "partly common",
        SkewContent::Wide => "wide",
        SkewContent::OneTrackDoubled => "one track doubled",
        SkewContent::MonoFile => "mono file",
        SkewContent::OneChannel => "one channel",
        SkewContent::Silence => "silence",
        SkewContent::TooShort => "too short",
        SkewContent::Unclear => "unclear",
    }
}

/// The reading as pretty JSON (`deckproof-skew/1`), with a line feed at the end. No number may be NaN or infinite, which a
/// debug build asserts.
pub fn skew_to_json(reading: &SkewReading) -> String {
    // Cannot fail: no map has keys other than strings, and no `Serialize` here is our own.
    let mut json = serde_json::to_string_pretty(reading).unwrap_or_default();
    json.push('\n');
    debug_assert!(
        serde_json::from_str::<SkewReading>(&json).is_ok_and(|back| back == *reading),
        "a number that is not finite got into the reading"
    );
    json
}

/// JSON Schema of [`skew_to_json`], pretty, with a line feed at the end.
pub fn skew_schema() -> String {
    let mut json = serde_json::to_string_pretty(&schemars::schema_for!(SkewReading)).unwrap_or_default();
    json.push('\n');
    json
}
