//! Levels, response and the phase between the channels.

use crate::reading::figures::UnitKind::{ArcMinutes, Db, Dbfs, Fluxivity, Hertz, Microseconds, Millivolts};
use crate::reading::figures::{UnitKind, frequency, programme_level};
use crate::reading::{Azimuth, Level, Output, OutputLevel, Pair, PhasePoint, Response, ResponsePoint};
use crate::show::page::{Block, Cell, Measured, Printed, Quantities, Rows, Section, Table, pair};

const KEYS: [&str; 4] = ["left_db", "right_db", "left_uncertainty_db", "right_uncertainty_db"];

/// `level.csv`: one row a level tone.
pub(in crate::show) fn level(rows: &[Level]) -> Section {
    let table = Rows::of("level.csv", rows)
        .column(&["part"], &["part"], |row| row.part.as_str())
        .column(&["hz"], &["tone"], |row| Cell::Tone(row.hz))
        .column(&["programme_db"], &["programme"], |row| Cell::Programme(row.programme_db))
        .column(&["left_return_dbfs", "right_return_dbfs"], &["left, dBFS", "right, dBFS"], |row| {
            pair(Dbfs, row.return_dbfs, [Some(row.uncertainty_db); 2])
        })
        .column(&["left_gain_db", "right_gain_db"], &[], |row| pair(Db, row.gain_db, [None; 2]))
        .column(&["difference_db"], &["difference, dB"], |row| {
            Measured::of(Db, row.difference_db, Some(row.uncertainty_db)).signed()
        })
        .column(&["uncertainty_db"], &["+- dB"], |row| Cell::Spread(Db, row.uncertainty_db));
    Section::new("Level")
        .say("Return in dBFS: 0 is the rms of a full-scale sine. Difference: left minus right.")
        .table(table.table())
}

/// `output.csv`: the level tones against the deck's 0, in mV at its output and in dBFS, each as far as it is known.
pub(in crate::show) fn output(output: &Output) -> Section {
    let (has_zero, has_mv) = (output.zero_dbfs != [None; 2], output.full_scale_mv != [None; 2]);
    let sides = |unit: UnitKind, pair: Pair, sure: Pair| {
        let [left, right] =
            [0, 1].map(|k| pair[k].map_or("cannot tell".into(), |one| unit.of(one, sure[k]).number()));
        format!("{left} / {right} {}", unit.word())
    };
    let mut facts = Vec::new();
    if has_zero {
        let zero = sides(Dbfs, output.zero_dbfs, output.zero_uncertainty_db);
        facts.push(("0 of the deck".to_owned(), format!("{}; in the return {zero}", output.zero_by)));
    }
    if has_mv {
        let full = sides(Millivolts, output.full_scale_mv, output.full_scale_uncertainty_mv);
        facts.push(("millivolts".to_owned(), format!("{}; 0 dBFS is {full}", output.read_as)));
    }
    let rows = Rows::of("output.csv", &output.levels).key("part", |row| row.part.as_str());
    let rows = if output.levels.iter().any(|row| row.round.is_some()) {
        rows.head("round", |row: &OutputLevel| row.round.map_or(String::new(), |round| round.to_string()))
    } else {
        rows
    };
    let rows = rows
        .column(&["hz"], &["tone"], |row| Cell::Tone(row.hz))
        .column(&["left_tape_nwb_m", "right_tape_nwb_m"], &[], |row| {
            pair(Fluxivity, row.tape_nwb_m, [None; 2])
        })
        .column(&["left_tape_db", "right_tape_db"], &[], |row| pair(Db, row.tape_db, [None; 2]));
    let is_known = output.levels.iter().any(|row| row.tape_db != [None; 2]);
    let mut rows = if is_known {
        rows.head("on the tape, dB", |row: &OutputLevel| {
            pair(Db, row.tape_db, [Some(0.01); 2]).map(Measured::signed)
        })
    } else {
        rows
    };
    let heads = |is: bool, heads: &'static [&'static str]| if is { heads } else { &[][..] };
    rows = rows
        .column(
            &["left_against_zero_db", "right_against_zero_db", "left_uncertainty_db", "right_uncertainty_db"],
            heads(has_zero, &["left, dB", "right, dB"]),
            |row| pair(Db, row.against_zero_db, row.against_zero_uncertainty_db).map(Measured::signed),
        )
        .column(
            &["left_mv", "right_mv", "left_uncertainty_mv", "right_uncertainty_mv"],
            heads(has_mv, &["left, mV", "right, mV"]),
            |row| pair(Millivolts, row.mv, row.uncertainty_mv),
        )
        .column(&["left_return_dbfs", "right_return_dbfs"], &["left, dBFS", "right, dBFS"], |row| {
            pair(Dbfs, row.return_dbfs, [Some(row.uncertainty_db); 2])
        });
    Section::new("Level at the deck's output")
        .say("dB: against the deck's 0, the level mark of its meter.")
        .block(Block::Facts(facts))
        .table(rows.table())
}

/// A table of a response's points, with a column more for machines in front: its key and what stands there.
pub(in crate::show) fn points<'a, C: Into<Cell>>(
    file: &'static str,
    rows: &'a [ResponsePoint],
    key: &'static str,
    of: impl Fn() -> C,
    differs: &[&str],
) -> Rows<'a, ResponsePoint> {
    let rows = Rows::of(file, rows);
    let rows = if key.is_empty() { rows } else { rows.key(key, |_| of()) };
    rows.column(&["hz"], &["tone"], |row| Cell::Tone(row.hz))
        .column(&KEYS, &["left", "right"], |row| {
            pair(Db, row.db, row.uncertainty_db).map(|one| one.signed().sure())
        })
        .column(&["difference_db"], differs, |row| {
            // As sure as the less sure of both.
            let less = row.uncertainty_db.into_iter().flatten().reduce(f64::max);
            Measured::of(Db, row.difference_db, row.difference_uncertainty_db.or(less)).signed()
        })
}

/// Ways of measuring a response, with their words and those of the CSV.
fn ways<'a>(
    combined: &'a [ResponsePoint],
    steps: &'a [ResponsePoint],
    sweep: &'a [ResponsePoint],
    noise: &'a [ResponsePoint],
) -> impl Iterator<Item = (&'static str, &'static str, &'a [ResponsePoint])> {
    let all = [
        ("together, at the stepped tones", "combined", combined),
        ("stepped tones", "steps", steps),
        ("sweep, third octaves", "sweep", sweep),
        ("noise, third octaves", "noise", noise),
    ];
    all.into_iter().filter(|way| !way.2.is_empty())
}

/// Tables of points alone, titled by their way of measuring.
pub(in crate::show) fn by_way(
    steps: &[ResponsePoint],
    sweep: &[ResponsePoint],
    noise: &[ResponsePoint],
) -> Vec<Table> {
    ways(&[], steps, sweep, noise)
        .map(|(title, _, rows)| points("", rows, "", || "", &[]).titled(title).table())
        .collect()
}

/// `response.csv`: one table a way of measuring.
pub(in crate::show) fn response(response: &Response) -> Section {
    let mut section = Section::new("Response").say(format!(
        "In dB against {}, at {}. Difference of the gains: left minus right.",
        frequency(response.reference_hz),
        programme_level(response.programme_db)
    ));
    for (title, kind, rows) in ways(&response.combined, &response.steps, &response.sweep, &response.noise) {
        section = section
            .table(points("response.csv", rows, "kind", || kind, &["difference"]).titled(title).table());
    }
    let reached = |pair: Pair| pair.map(|hz| hz.map_or("not reached".to_owned(), frequency)).join(" / ");
    let mut ends = Quantities::default();
    for (name, hz) in [
        ("response down 3 dB, low end", response.low_3db_hz),
        ("response down 3 dB, high end", response.high_3db_hz),
    ] {
        ends.filed_pair(name, "Hz", pair(Hertz, hz, [None; 2]));
    }
    let [_, filed] = ends.tables();
    section
        .say(format!(
            "Down 3 dB, left / right: low end {}, high end {}.",
            reached(response.low_3db_hz),
            reached(response.high_3db_hz)
        ))
        .table(filed)
}

/// Delay and what follows from it, and `phase.csv`.
pub(in crate::show) fn azimuth(azimuth: &Azimuth) -> Section {
    let mut found = Quantities::default();
    let mut one = |name: &str, csv, unit: UnitKind, value, uncertainty, is_signed: bool| {
        let figure = Measured::of(unit, value, uncertainty);
        found.one(name, csv, if is_signed { figure.signed() } else { figure }, "");
    };
    one("delay", "us", Microseconds, azimuth.delay_us, azimuth.uncertainty_us, true);
    one("head tilt", "minutes of arc", ArcMinutes, azimuth.angle_arcmin, None, true);
    one("wander of the delay, rms", "us", Microseconds, azimuth.wander_us_rms, None, false);
    one("response at 10 kHz by the tilt", "dB", Db, azimuth.loss_at_10k_db, None, true);
    let phase = Rows::of("phase.csv", &azimuth.phase)
        .printed(Printed::Nowhere)
        .key("hz", |row: &PhasePoint| row.hz)
        .key("deg", |row| row.deg)
        .key("spread_deg", |row| row.spread_deg)
        .key("response_deg", |row| row.response_deg);
    Section::new("Azimuth")
        .say("Delay positive: right lags. Wander: 0.1 to 10 Hz.")
        .tables(found.tables())
        .tables(phase.any())
}
