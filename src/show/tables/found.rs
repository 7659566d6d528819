//! What was found in a return without slates, and what is known of its tape.

use crate::reading::figures::UnitKind::{Db, Dbfs, Fluxivity, Hertz, Seconds};
use crate::reading::figures::{frequency, given};
use crate::reading::{Found, FoundKind, NominalBy, TapeSection};
use crate::show::page::{Block, Measured, Rows, Section, pair};

/// The kind in one word.
fn kind(row: &Found) -> &'static str {
    match row.kind {
        FoundKind::Tone => "tone",
        FoundKind::Sweep => "sweep",
        FoundKind::Silence => "silence",
        FoundKind::Noise => "noise",
        FoundKind::Nothing => "nothing",
        FoundKind::Other => "other",
    }
}

fn nominal(row: &Found) -> String {
    match (row.nominal_hz, row.nominal_by) {
        (Some(hz), Some(NominalBy::Guess)) => format!("{} (guess)", frequency(hz)),
        (Some(hz), Some(NominalBy::Known)) => format!("{} (known)", frequency(hz)),
        (Some(hz), _) => frequency(hz),
        (None, _) if row.kind == FoundKind::Tone => "none near".to_owned(),
        (None, _) => String::new(),
    }
}

fn heard(row: &Found) -> String {
    match (row.hz, row.to_hz) {
        (Some(from), Some(to)) => format!("{} to {}", frequency(from.round()), frequency(to.round())),
        (Some(hz), None) => Hertz.of(hz, None).to_string(),
        _ => String::new(),
    }
}

/// `found.csv`.
pub(in crate::show) fn found(rows: &[Found]) -> Section {
    let table = Rows::of("found.csv", rows)
        .column(&["kind"], &["what"], kind)
        .column(&["from_s"], &["from"], |row| Measured::of(Seconds, Some(row.from_s.seconds()), None))
        .column(&["to_s"], &["to"], |row| Measured::of(Seconds, Some(row.to_s.seconds()), None))
        .head("heard", heard)
        .head("meant", nominal)
        .key("hz", |row| row.hz)
        .key("to_hz", |row| row.to_hz)
        .key("nominal_hz", |row| row.nominal_hz)
        .column(&["left_dbfs", "right_dbfs"], &["left", "right"], |row| {
            pair(Dbfs, row.return_dbfs, [None; 2]).map(|one| one.or_say(""))
        })
        .key("serves", |row| row.serves.as_str())
        .head("serves", |row| if row.serves == "nothing" { "" } else { row.serves.as_str() })
        .key("part", |row| row.part.clone().unwrap_or_default());
    Section::new("Found by listening, without slates")
        .say(
            "Times in s of the return, levels in dBFS (0 is the rms of a full-scale sine), left and right as in the file. Other is \
             speech, music or whatever else moves.",
        )
        .table(table.table())
}

/// What is known of the tape.
pub(in crate::show) fn tape(tape: &TapeSection) -> Section {
    let mut facts: Vec<(String, String)> = Vec::new();
    let mut add =
        |name: &str, value: Option<String>| facts.extend(value.map(|value| (name.to_owned(), value)));
    let flux = |nwb_m: Option<f64>, stated: &Option<String>| {
        let stated = stated.as_deref().map_or(String::new(), |word| match word {
            "unknown" => ", not told whether short-circuit or open-circuit".to_owned(),
            word => format!(", {word}"),
        });
        nwb_m.map(|nwb_m| format!("{} nWb/m{stated}", given(nwb_m, 1)))
    };
    let certificate = match (tape.certificate, &tape.certificate_date) {
        (Some(true), Some(date)) => Some(format!("yes, of {date}")),
        (Some(true), None) => Some("yes, without a date".to_owned()),
        (Some(false), _) => Some("none".to_owned()),
        (None, _) => None,
    };
    let microseconds = |us: Option<f64>| us.map(|us| format!("{} us", given(us, 1)));
    add("tape", tape.name.clone());
    add("certificate", certificate);
    add("track", tape.track.clone());
    add("levels count from", flux(tape.reference_nwb_m, &tape.reference_stated));
    add("recorded for", microseconds(tape.recorded_for_us));
    add("played back at", microseconds(tape.played_at_us));
    add("the deck's standard", flux(tape.deck_standard_nwb_m, &tape.deck_standard_stated));
    if let (Some(hz), Some(nwb_m)) = (tape.level_tone_hz, tape.level_tone_nwb_m) {
        add("level tone", Some(format!("{}, {}", frequency(hz), Fluxivity.of(nwb_m, None))));
    }
    let against = tape.level_tone_against_standard_db;
    let against = against.map(|db| Db.of(db, tape.level_tone_uncertainty_db).signed().full());
    add("level tone against the deck's standard", against);
    let is_known = tape.standard_dbfs != [None; 2];
    let sides = tape.standard_dbfs.map(|db| {
        db.map_or("cannot tell".to_owned(), |db| Dbfs.of(db, tape.level_tone_uncertainty_db).number())
    });
    add(
        "the deck's standard comes back at, left / right",
        is_known.then(|| format!("{} dBFS", sides.join(" / "))),
    );
    let section = Section::new("The tape").block(Block::Facts(facts));
    if is_known {
        section.say("Levels in programme, below, are dB against the deck's standard.")
    } else {
        section
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::reading::FileClock;

    #[test]
    fn a_guess_is_said_to_be_a_guess() {
        let row = |kind, hz: Option<f64>, nominal_hz: Option<f64>, nominal_by| Found {
            kind,
            from_s: FileClock::default().at(1.0),
            to_s: FileClock::default().at(4.25),
            hz,
            to_hz: None,
            return_dbfs: [Some(-12.04), None],
            serves: "level, speed".into(),
            nominal_hz,
            nominal_by,
            part: None,
        };
        let tone = row(FoundKind::Tone, Some(318.2), Some(315.0), Some(NominalBy::Guess));
        assert_eq!([heard(&tone), nominal(&tone)], ["318.2 Hz", "315 Hz (guess)"]);
        assert_eq!(nominal(&row(FoundKind::Tone, Some(2698.7), None, None)), "none near");
        assert_eq!(nominal(&row(FoundKind::Other, None, None, None)), "");
    }
}
