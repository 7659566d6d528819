//! Jobs in rounds: record level and bias, the bias sweep, noise reduction in against out.

use super::SIDES;
use crate::reading::figures::UnitKind::{Db, Dbfs, Percent, Rounds, Seconds};
use crate::reading::figures::frequency;
use crate::reading::{
    BiasHigh, BiasPair, BiasStep, BiasSweep, FileTime, MonitorSwitch, Pair, ReductionRow, ReductionTracking,
    Round, SourceStretch,
};
use crate::show::page::{Block, Cell, Measured, Printed, Quantities, Rows, Section, Table, pair};

/// Changes smaller than this are not worth a line, dB.
const WORTH_A_LINE_DB: f64 = 0.15;
const SURE: [&str; 2] = ["left_uncertainty_db", "right_uncertainty_db"];

/// Levels and pairs of tones round by round, `rounds.csv` and `bias.csv`, and what each turn did.
pub(in crate::show) fn rounds(
    source: Option<&SourceStretch>,
    rounds: &[Round],
    bias: &[BiasPair],
) -> Section {
    let switched = source.is_some_and(|source| source.monitor == MonitorSwitch::Switched);
    let gain = if switched { "tape minus source" } else { "return minus programme" };
    let keys = ["left_level_db", "right_level_db", SURE[0], SURE[1]];
    let levels = Rows::of("rounds.csv", rounds)
        .titled(format!("Level tone, {gain}, dB"))
        .column(&["round"], &["round"], |row| row.round)
        .column(&["at_s"], &["at, s"], |row| Measured::of(Seconds, Some(row.at_s.seconds()), None))
        .key("level_hz", |row| row.level_hz)
        .head("tone", |row| row.level_hz.map_or(String::new(), frequency))
        .column(&keys, &["left", "right"], |row| {
            pair(Db, row.level_db, row.level_uncertainty_db).map(|one| one.signed().sure())
        })
        .column(&["difference_db"], &["left minus right"], |row| {
            let less = row.level_uncertainty_db.into_iter().flatten().reduce(f64::max);
            Measured::of(Db, row.level_difference_db, less).signed()
        })
        .key("moved_at_s", |row| row.moved_at_s.map(FileTime::seconds));
    let mut section = Section::new("Rounds");
    if let Some(source) = source {
        section = section.say(monitor(source)).table(at_source(source));
    }
    section = section.table(levels.table());
    for (high_hz, low_hz) in high_tones(bias) {
        let keys = ["left_difference_db", "right_difference_db", SURE[0], SURE[1]];
        let pairs = Rows::of("bias.csv", bias.iter().filter(|pair| pair.high_hz == high_hz))
            .titled(format!("{} minus {}, {gain}, dB", frequency(high_hz), frequency(low_hz)))
            .column(&["round"], &["round"], |row| row.round)
            .head("at, s", |row| Measured::of(Seconds, Some(row.at_s.seconds()), None))
            .key("low_hz", |row| row.low_hz)
            .key("high_hz", |row| row.high_hz)
            .column(&keys, &["left", "right"], |row| {
                pair(Db, row.difference_db, row.uncertainty_db).map(|one| one.signed().sure())
            });
        section = section.table(pairs.table());
    }
    let changes = changes(rounds, bias);
    if changes.is_empty() {
        section.say("No round differs from the one before it by 0.15 dB or more.")
    } else {
        section.say("What each turn did:").block(Block::List(changes))
    }
}

/// What the monitor switch did, and by what it is told.
fn monitor(source: &SourceStretch) -> String {
    let told = match source.monitor {
        MonitorSwitch::Switched => {
            "The monitor was switched from source to tape: the rounds are tape minus source."
        }
        MonitorSwitch::NotSwitched => {
            "The monitor was not switched: source and tape read alike. The rounds are return minus programme."
        }
        MonitorSwitch::OtherWayRound => {
            "The monitor was switched from tape to source. The rounds are return minus programme."
        }
        MonitorSwitch::CannotTell => {
            "Whether the monitor was switched cannot be told. The rounds are return minus programme."
        }
    };
    match source.behind_ms {
        Some(ms) => format!("{told} After the switch, sound comes {ms:.1} ms later."),
        None => told.to_owned(),
    }
}

/// `source.csv`: the tones with the monitor switch at SOURCE.
fn at_source(source: &SourceStretch) -> Table {
    let keys = ["left_gain_db", "right_gain_db", SURE[0], SURE[1]];
    Rows::of("source.csv", &source.tones)
        .titled("Monitor switch at source: gain, return minus programme, dB")
        .column(&["hz"], &["tone"], |tone| Cell::Tone(tone.hz))
        .column(&["programme_db"], &["programme"], |tone| Cell::Programme(tone.programme_db))
        .column(&keys, &["left", "right"], |tone| {
            pair(Db, tone.gain_db, tone.uncertainty_db).map(|one| one.signed().sure())
        })
        .table()
}

/// The high tones, in the order in which they were played.
fn high_tones(pairs: &[BiasPair]) -> Vec<(f64, f64)> {
    let mut found: Vec<(f64, f64)> = Vec::new();
    for pair in pairs {
        if !found.iter().any(|high| high.0 == pair.high_hz) {
            found.push((pair.high_hz, pair.low_hz));
        }
    }
    found
}

/// `left +0.80 dB, right -0.20 dB`, as far as it is worth saying.
fn moved_by(change: Pair, uncertainty: Pair) -> Option<String> {
    let sides: Vec<String> = (0..2)
        .filter_map(|k| {
            let db = change[k].filter(|db| db.abs() >= WORTH_A_LINE_DB)?;
            // Two levels, each with this uncertainty.
            let uncertainty = uncertainty[k].map(|u| u * std::f64::consts::SQRT_2);
            Some(format!("{} {}", SIDES[k], Db.of(db, uncertainty).signed()))
        })
        .collect();
    (!sides.is_empty()).then(|| sides.join(", "))
}

/// What each round did, one line a round that did anything.
fn changes(rounds: &[Round], bias: &[BiasPair]) -> Vec<String> {
    let mut lines = Vec::new();
    let mut before: Option<u32> = None;
    for round in rounds {
        let level =
            moved_by(round.change_db, round.level_uncertainty_db).map(|moved| format!("level {moved}"));
        let pairs = bias.iter().filter(|pair| pair.round == round.round).filter_map(|pair| {
            let moved = moved_by(pair.change_db, pair.uncertainty_db)?;
            Some(format!("{} minus {} {moved}", frequency(pair.high_hz), frequency(pair.low_hz)))
        });
        let said: Vec<String> = level.into_iter().chain(pairs).collect();
        if let (Some(before), false) = (before, said.is_empty()) {
            lines.push(format!("round {} against round {before}: {}", round.round, said.join("; ")));
        }
        lines.extend(round.moved.as_ref().map(|moved| format!("round {}: {moved}", round.round)));
        before = Some(round.round);
    }
    lines
}

/// `round 7.3 +- 0.2` or why there is none.
fn place(round: Option<f64>, uncertainty: Option<f64>) -> Cell {
    match round.zip(uncertainty) {
        Some((round, uncertainty)) => Cell::from(Rounds.of(round, uncertainty).full()),
        None => Cell::from("not within the sweep"),
    }
}

/// Name and both channels' places of all that a sweep finds.
fn places(sweep: &BiasSweep) -> Vec<(String, [Cell; 2])> {
    let both = |round: Pair, uncertainty: Pair| [0, 1].map(|side| place(round[side], uncertainty[side]));
    let peaks = sweep.peaks.iter().map(|peak| {
        (format!("peak of sensitivity at {}", frequency(peak.hz)), both(peak.round, peak.uncertainty_rounds))
    });
    let mut places: Vec<(String, [Cell; 2])> = peaks.collect();
    for balance in &sweep.balance {
        let high = frequency(balance.high_hz);
        let level = both(balance.round, balance.uncertainty_rounds);
        places.push((format!("{high} level with {}", frequency(sweep.low_hz)), level));
        let best = balance.best_round.map(|round| {
            Cell::from(round.map_or("cannot tell".to_owned(), |round| format!("round {round}")))
        });
        places.push((format!("best compromise by {high}"), best));
    }
    let k3 = both(sweep.lowest_k3_round, sweep.lowest_k3_uncertainty_rounds);
    places.push(("lowest third harmonic".to_owned(), k3));
    places
}

/// The high tone of a step at this frequency.
fn at(step: &BiasStep, hz: f64, of: impl Fn(&BiasHigh) -> [Measured; 2]) -> Cell {
    let high = step.high.iter().find(|high| high.hz == hz);
    Cell::from(high.map_or(pair(Db, [None; 2], [None; 2]), of))
}

/// `bias-sweep.csv`, and for people one table a kind of figure.
pub(in crate::show) fn bias_sweep(sweep: &BiasSweep) -> Section {
    let highs: Vec<f64> =
        sweep.steps.iter().take(1).flat_map(|step| step.high.iter().map(|high| high.hz)).collect();
    let table = |title: &str| Rows::of("", &sweep.steps).titled(title).head("round", |step| step.round);
    let gains = table("Sensitivity: gain, return minus programme, dB, left / right")
        .head(&frequency(sweep.low_hz), |step| {
            pair(Db, step.low_db, step.low_uncertainty_db).map(Measured::signed)
        });
    let gains = highs.iter().fold(gains, |table, &hz| {
        table.head(&frequency(hz), move |step| {
            at(step, hz, |high| pair(Db, high.db, high.uncertainty_db).map(Measured::signed))
        })
    });
    let past = table("Overbias: dB past the peak of sensitivity, negative before it, left / right");
    let past = highs.iter().fold(past, |table, &hz| {
        table.head(&frequency(hz), move |step| {
            at(step, hz, |high| pair(Db, high.past_peak_db, high.uncertainty_db).map(Measured::signed))
        })
    });
    let tone = sweep.level_hz.map_or("the loud tone".to_owned(), frequency);
    let others = table("Distortion and noise")
        .column(&[], &["K3 left, %", "K3 right, %"], |step| {
            pair(Percent, step.k3_percent, step.k3_uncertainty_percent)
        })
        .column(&[], &["noise left, dB", "noise right, dB"], |step| {
            pair(Db, step.noise_a_weighted_db, step.noise_uncertainty_db)
        });
    let places = places(sweep);
    let places = Rows::of("", &places)
        .titled("Places in rounds; fractions lie between two rounds")
        .head("what", |row| row.0.as_str())
        .head("left", |row| row.1[0].clone())
        .head("right", |row| row.1[1].clone());
    let direction = match sweep.rising {
        Some(true) => "Bias rose from round to round.",
        Some(false) => "Bias fell from round to round.",
        None => "The rounds do not show that the bias was stepped.",
    };
    Section::new("Bias sweep")
        .say(direction)
        .say(format!(
            "K3: third harmonic of {tone}, percent. Noise: A-weighted, dB against {}.",
            sweep.noise_reference
        ))
        .tables([gains.table(), past.table(), others.table(), places.table(), filed(sweep)])
}

/// Every figure of every step in a row of its own.
fn filed(sweep: &BiasSweep) -> Table {
    type Row = (u32, &'static str, Option<f64>, &'static str, [Measured; 2]);
    let db = |values: Pair| pair(Db, values, [None; 2]);
    let rows: Vec<Row> = sweep
        .steps
        .iter()
        .flat_map(|step| {
            let round = step.round;
            let mut rows: Vec<Row> = vec![
                (round, "level", sweep.level_hz, "dB", db(step.level_db)),
                (round, "sensitivity", Some(sweep.low_hz), "dB", db(step.low_db)),
            ];
            for high in &step.high {
                rows.push((round, "sensitivity", Some(high.hz), "dB", db(high.db)));
                rows.push((round, "overbias", Some(high.hz), "dB", db(high.past_peak_db)));
            }
            rows.push((round, "third harmonic", sweep.level_hz, "percent", db(step.k3_percent)));
            rows.push((round, "noise, A-weighted", None, "dB", db(step.noise_a_weighted_db)));
            rows
        })
        .collect();
    Rows::of("bias-sweep.csv", &rows)
        .printed(Printed::Nowhere)
        .key("round", |row| row.0)
        .key("quantity", |row| row.1)
        .key("hz", |row| row.2)
        .key("unit", |row| row.3)
        .column(&["left", "right"], &[], |row| row.4)
        .table()
}

/// `noise-reduction.csv`, the bands, and how far the noise is lowered.
pub(in crate::show) fn reduction(found: &ReductionTracking) -> Section {
    let keys = ["left_mistracking_db", "right_mistracking_db", SURE[0], SURE[1]];
    let rows = Rows::of("noise-reduction.csv", &found.rows)
        .titled("Mistracking: gain with it in minus gain with it out, dB")
        .column(&["programme_db"], &["programme"], |row: &ReductionRow| Cell::Programme(row.programme_db))
        .column(&["hz"], &["tone"], |row| Cell::Tone(row.hz))
        .column(&["left_out_db", "right_out_db"], &[], |row| pair(Db, row.out_db, [None; 2]))
        .column(&["left_in_db", "right_in_db"], &[], |row| pair(Db, row.in_db, [None; 2]))
        .column(&keys, &["left", "right"], |row| {
            pair(Db, row.mistracking_db, row.uncertainty_db).map(|one| one.signed().sure())
        });
    let worst = |db: Option<f64>, hz: Option<f64>| match db.zip(hz) {
        Some((db, hz)) => format!("{} at {}", Db.of(db, None).signed().number(), frequency(hz)),
        None => "cannot tell".to_owned(),
    };
    let bands = Rows::of("", &found.bands)
        .titled("By level and band: mean, and the worst with its tone, dB")
        .head("programme", |band| Cell::Programme(band.programme_db))
        .head("band", |band| format!("{} to {}", frequency(band.from_hz), frequency(band.to_hz)))
        .column(&[], &["left", "right"], |band| pair(Db, band.mean_db, [None; 2]).map(Measured::signed))
        .head("worst left", move |band| worst(band.worst_db[0], band.worst_hz[0]))
        .head("worst right", move |band| worst(band.worst_db[1], band.worst_hz[1]));
    let mut noise = Quantities::default();
    noise.pair("A-weighted noise with it out", "dBFS", pair(Dbfs, found.noise_out_dbfs, [None; 2]));
    noise.pair("A-weighted noise with it in", "dBFS", pair(Dbfs, found.noise_in_dbfs, [None; 2]));
    let lowered = pair(Db, found.noise_lowered_db, found.noise_uncertainty_db);
    noise.pair("A-weighted noise lowered by", "dB", lowered);
    let switched = match found.switched {
        Some(true) => "The two halves differ as they do when noise reduction is switched.",
        Some(false) => "Nothing was switched: both halves are the same, noise included.",
        None => "Whether anything was switched cannot be told.",
    };
    Section::new("Noise reduction, in against out")
        .say(switched)
        .tables([rows.table(), bands.table()])
        .tables(noise.tables())
}
