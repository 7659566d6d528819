//! What ordinary music says of azimuth.

use crate::reading::figures::UnitKind::{self, ArcMinutes, Microseconds};
use crate::reading::{SkewContent, SkewReading, SkewTape, SkewVerdict};
use crate::show::page::{Block, Entry, Page, Section, Tone};
use crate::trade::CAUTIONS;

/// Tape by tape, then what they say together.
pub(in crate::show) fn skew_page(reading: &SkewReading) -> Page {
    let mut page = Page::new("Azimuth", "delay between the channels from ordinary music");
    let made = reading.made.as_ref();
    page.fact("Read", made.map(|made| format!("{}, Deckproof {}", made.at, made.version)));
    page.fact("Signs", Some("positive: the right channel lags; uncertainties: k = 2".to_owned()));
    let tapes = reading.tapes.iter().map(one).collect();
    page.sections.push(Section::new("Tapes").block(Block::Entries(tapes)));
    page.sections.push(consensus(reading));
    page.sections.push(Section::cautions(&CAUTIONS));
    page
}

fn consensus(reading: &SkewReading) -> Section {
    let all = &reading.consensus;
    let spread = all.spread_us.map(|us| format!("standard deviation {}", Microseconds.of(us, None)));
    let left_out: Vec<&str> =
        reading.tapes.iter().filter(|tape| tape.outlier).map(|tape| tape.file.as_str()).collect();
    let left_out = (!left_out.is_empty()).then(|| format!("left out: {}", left_out.join(", ")));
    let count = format!("{} of {}", all.tapes, reading.tapes.len());
    let tapes: Vec<String> = [Some(count), spread, left_out].into_iter().flatten().collect();
    let facts = [
        ("delay", Some(value(Microseconds, all.delay_us, all.uncertainty_us))),
        ("angle", Some(value(ArcMinutes, all.angle_arcmin, all.angle_uncertainty_arcmin))),
        ("tapes", Some(tapes.join("; "))),
        ("says", Some(all.says.clone())),
        ("turn", all.turn.clone()),
    ];
    let told = facts.into_iter().filter_map(|(name, text)| Some((name.to_owned(), text?)));
    Section::new("Consensus").block(Block::Facts(told.collect()))
}

fn one(tape: &SkewTape) -> Entry {
    let mut entry = Entry::new(tape.file.clone());
    let is_usable = tape.verdict == SkewVerdict::Usable;
    let verdict = if is_usable { "usable" } else { "cannot tell" };
    let length = format!("{}:{:02}", tape.duration_s as u64 / 60, tape.duration_s as u64 % 60);
    entry.line("verdict", Tone::Plain, Some(format!("{verdict}; {}, {length}", content(tape.content))));
    if is_usable {
        entry.line("delay", Tone::Plain, Some(delay(tape)));
        let angle = value(ArcMinutes, tape.angle_arcmin, tape.angle_uncertainty_arcmin);
        entry.line("angle", Tone::Plain, Some(angle));
        entry.line("wander", Tone::Plain, tape.wander_us_rms.map(|us| along(tape, us)));
    }
    entry.line("why", Tone::Plain, Some(tape.why.clone()));
    for warning in &tape.warnings {
        entry.line("warning", Tone::Warning, Some(format!("{}: {}", warning.id, warning.text)));
    }
    entry
}

/// The delay; where a production may have added to it, both as it lies on the tape and with that.
fn delay(tape: &SkewTape) -> String {
    let all = value(Microseconds, tape.delay_us, tape.uncertainty_us);
    match tape.content {
        SkewContent::PartlyCommon => {
            let common = value(Microseconds, tape.delay_us, tape.common_uncertainty_us);
            format!("{all} ({common} as it lies on the tape)")
        }
        _ => all,
    }
}

/// Rms, and the ends of the course.
fn along(tape: &SkewTape, wander_us: f64) -> String {
    let ends = match (tape.along.first(), tape.along.last()) {
        (Some(first), Some(last)) => {
            let uncertainty = first.uncertainty_us.max(last.uncertainty_us);
            let [first, last] = [first, last].map(|end| Microseconds.of(end.delay_us, uncertainty).signed());
            let sure = first.spread().unwrap_or_default();
            format!(
                "; {first} at the start, {last} at the end, each +- {sure} us and less sure than the mean"
            )
        }
        _ => String::new(),
    };
    format!("{} rms along the tape, slower than 0.1 Hz{ends}", Microseconds.of(wander_us, None))
}

fn value(unit: UnitKind, value: Option<f64>, uncertainty: Option<f64>) -> String {
    match value.zip(uncertainty) {
        Some((value, uncertainty)) => unit.of(value, uncertainty).signed().full(),
        None => "cannot tell".to_owned(),
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
