//! What was found in a return without slates, and what is known of its tape, as tables of words for text and report alike.

use super::nonlinear::Table;
use crate::judge::Reading;
use crate::judge::{frequency, signed, unsigned};
use crate::reading::{Found, FoundKind, NominalBy, TapeSection};

/// The tables that the reading can fill: what was found, then the tape.
pub(super) fn tables(reading: &Reading) -> Vec<Table> {
    let mut tables = Vec::new();
    tables.extend((!reading.found.is_empty()).then(|| found(&reading.found)));
    tables.extend(reading.tape.as_ref().map(tape));
    tables
}

/// The kind in one word.
fn kind(kind: FoundKind) -> &'static str {
    match kind {
        FoundKind::Tone => "tone",
        FoundKind::Sweep => "sweep",
        FoundKind::Silence => "silence",
        FoundKind::Noise => "noise",
        FoundKind::Nothing => "no signal",
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

fn found(found: &[Found]) -> Table {
    let level = |row: &Found, side: usize| row.return_dbfs[side].map_or(String::new(), |db| unsigned(db, 1));
    let heard = |row: &Found| match (row.hz, row.to_hz) {
        (Some(from), Some(to)) => format!("{} to {}", frequency(from.round()), frequency(to.round())),
        (Some(hz), None) => format!("{} Hz", unsigned(hz, 1)),
        _ => String::new(),
    };
    let serves = |row: &Found| if row.serves == "nothing" { String::new() } else { row.serves.clone() };
    Table {
        title: "Found by listening, without slates".to_owned(),
        notes: vec![
            "Times in s of the return, levels in dBFS (0 is the rms of a full-scale sine), left and right as in the file. Other is \
             speech, music or whatever else moves."
                .to_owned(),
        ],
        heads: vec!["from", "to", "what", "heard", "meant", "left", "right", "serves"],
        rows: found
            .iter()
            .map(|row| {
                vec![
                    unsigned(row.from_s.seconds(), 2),
                    unsigned(row.to_s.seconds(), 2),
                    kind(row.kind).to_owned(),
                    heard(row),
                    nominal(row),
                    level(row, 0),
                    level(row, 1),
                    serves(row),
                ]
            })
            .collect(),
        below: vec![],
    }
}

fn tape(tape: &TapeSection) -> Table {
    let mut rows: Vec<Vec<String>> = Vec::new();
    let mut add =
        |name: &str, value: Option<String>| rows.extend(value.map(|value| vec![name.to_owned(), value]));
    let flux = |nwb_m: Option<f64>, stated: &Option<String>| {
        let stated = stated.as_deref().map_or(String::new(), |word| match word {
            "unknown" => ", not told whether short-circuit or open-circuit".to_owned(),
            word => format!(", {word}"),
        });
        nwb_m.map(|nwb_m| format!("{} nWb/m{stated}", unsigned(nwb_m, 0)))
    };
    let certificate = match (tape.certificate, &tape.certificate_date) {
        (Some(true), Some(date)) => Some(format!("yes, of {date}")),
        (Some(true), None) => Some("yes, without a date".to_owned()),
        (Some(false), _) => Some("none".to_owned()),
        (None, _) => None,
    };
    // A line holds no more.
    add("tape", tape.name.as_ref().map(|name| name.chars().take(48).collect()));
    add("certificate", certificate);
    add("track", tape.track.clone());
    add("levels count from", flux(tape.reference_nwb_m, &tape.reference_stated));
    let microseconds = |us: Option<f64>| us.map(|us| format!("{} us", unsigned(us, 0)));
    add("recorded for", microseconds(tape.recorded_for_us));
    add("played back at", microseconds(tape.played_at_us));
    add("the deck's standard", flux(tape.deck_standard_nwb_m, &tape.deck_standard_stated));
    let mut below = Vec::new();
    if let (Some(hz), Some(nwb_m)) = (tape.level_tone_hz, tape.level_tone_nwb_m) {
        add("level tone", Some(format!("{}, {} nWb/m", frequency(hz), unsigned(nwb_m, 1))));
    }
    if let Some(db) = tape.level_tone_against_standard_db {
        let spread =
            tape.level_tone_uncertainty_db.map_or(String::new(), |u| format!(" +- {}", unsigned(u, 2)));
        add("level tone against the deck's standard", Some(format!("{}{spread} dB", signed(db, 2))));
    }
    let side = |k: usize| tape.standard_dbfs[k].map_or("cannot tell".to_owned(), |db| unsigned(db, 2));
    if tape.standard_dbfs != [None; 2] {
        add(
            "the deck's standard comes back at, left / right",
            Some(format!("{} / {} dBFS", side(0), side(1))),
        );
        below.push("Levels in programme, below, are dB against the deck's standard.".to_owned());
    }
    Table { title: "The tape".to_owned(), notes: vec![], heads: vec!["what", "value"], rows, below }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::reading::FileClock;

    #[test]
    fn a_guess_is_said_to_be_a_guess_and_nothing_is_left_out() {
        let row = |kind, hz: Option<f64>, nominal_hz: Option<f64>, by| Found {
            kind,
            from_s: FileClock::default().at(1.0),
            to_s: FileClock::default().at(4.25),
            hz,
            to_hz: None,
            return_dbfs: [Some(-12.04), None],
            serves: "level, speed".into(),
            nominal_hz,
            nominal_by: by,
            part: None,
        };
        let rows = [
            row(FoundKind::Tone, Some(318.2), Some(315.0), Some(NominalBy::Guess)),
            row(FoundKind::Tone, Some(2698.7), None, None),
            row(FoundKind::Other, None, None, None),
        ];
        let table = found(&rows);
        assert_eq!(
            table.rows[0],
            ["1.00", "4.25", "tone", "318.2 Hz", "315 Hz (guess)", "-12.0", "", "level, speed"]
        );
        assert_eq!(table.rows[1][4], "none near");
        assert_eq!(table.rows[2][2], "other");
    }
}
