//! Distortion, intermodulation and saturation.

use super::SIDES;
use crate::reading::figures::UnitKind::{Db, Dbfs, Percent};
use crate::reading::figures::frequency;
use crate::reading::{
    Distortion, DistortionStep, Intermodulation, IntermodulationStep, Pair, Saturation, SaturationStep,
};
use crate::show::page::{Cell, Measured, Rows, Section, Table, Tone, pair};

/// A step and one of its channels.
type OfSide<'a, S> = (&'a S, usize);

fn by_side<S>(steps: &[S]) -> Vec<OfSide<'_, S>> {
    steps.iter().flat_map(|step| [(step, 0), (step, 1)]).collect()
}

/// A product of distortion: what it is, its uncertainty, what it lies below.
fn product(side: usize, [value, uncertainty, limit]: [Pair; 3]) -> Measured {
    Measured::of(Percent, value[side], uncertainty[side]).sure().or_below(limit[side])
}

/// `distortion.csv`, one row a step and channel.
pub(in crate::show) fn distortion(distortion: &Distortion) -> Section {
    let rows = by_side(&distortion.steps);
    type Of<'a> = OfSide<'a, DistortionStep>;
    let table = Rows::of("distortion.csv", &rows)
        .key("part", |(step, _): &Of<'_>| step.part.as_str())
        .column(&["hz"], &["tone"], |(step, _)| Cell::Tone(step.hz))
        .column(&["programme_db"], &["programme"], |(step, _)| Cell::Programme(step.programme_db))
        .column(&["channel"], &["channel"], |(_, side)| SIDES[*side])
        .key("level_dbfs", |(step, side)| step.level_dbfs[*side])
        .column(&["k2_percent"], &["K2"], |(step, side)| {
            product(*side, [step.k2_percent, step.k2_uncertainty_percent, step.k2_limit_percent])
        })
        .column(&["k3_percent"], &["K3"], |(step, side)| {
            product(*side, [step.k3_percent, step.k3_uncertainty_percent, step.k3_limit_percent])
        })
        .column(&["k5_percent"], &["K5"], |(step, side)| {
            product(*side, [step.k5_percent, [None; 2], step.k5_limit_percent])
        })
        .column(&["thd_percent"], &["all"], |(step, side)| {
            product(*side, [step.thd_percent, step.thd_uncertainty_percent, step.thd_limit_percent])
        })
        .key("k2_uncertainty_percent", |(step, side)| step.k2_uncertainty_percent[*side])
        .key("k3_uncertainty_percent", |(step, side)| step.k3_uncertainty_percent[*side])
        .key("thd_uncertainty_percent", |(step, side)| step.thd_uncertainty_percent[*side])
        .key("k2_limit_percent", |(step, side)| step.k2_limit_percent[*side])
        .key("k3_limit_percent", |(step, side)| step.k3_limit_percent[*side])
        .key("k5_limit_percent", |(step, side)| step.k5_limit_percent[*side])
        .key("thd_limit_percent", |(step, side)| step.thd_limit_percent[*side]);
    let tone = frequency(distortion.k3_3percent_hz);
    let below = [0, 1].map(|k| match distortion.k3_3percent_at_db[k] {
        Some(db) => {
            let at = Db.of(db, distortion.k3_3percent_uncertainty_db[k]).signed().full();
            let output = distortion.k3_3percent_output_db[k].map_or(String::new(), |db| {
                format!(", output there {} (maximum output level, MOL)", Db.of(db, None).signed())
            });
            format!("{}: K3 = 3 % at {at} of the programme at {tone}{output}.", SIDES[k])
        }
        None => {
            let why = distortion.k3_3percent_why[k].as_deref().unwrap_or("was not found");
            format!("{}: K3 = 3 % at {tone}: {why}.", SIDES[k])
        }
    });
    Section::new("Distortion")
        .say(format!("In % of {}; all: harmonics 2 to {}.", distortion.relative_to, distortion.highest_order))
        .table(table.table())
        .say_all(Tone::Plain, below)
}

/// `intermodulation.csv`, one row a step and channel.
pub(in crate::show) fn intermodulation(found: &Intermodulation) -> Section {
    let rows = by_side(&found.steps);
    type Of<'a> = OfSide<'a, IntermodulationStep>;
    let table = Rows::of("intermodulation.csv", &rows)
        .key("part", |(step, _): &Of<'_>| step.part.as_str())
        .head("tones", |(step, _)| step.hz.map(frequency).join(" + "))
        .key("low_hz", |(step, _)| step.hz[0])
        .key("high_hz", |(step, _)| step.hz[1])
        .column(&["programme_db"], &["programme"], |(step, _)| Cell::Programme(step.programme_db))
        .column(&["channel"], &["channel"], |(_, side)| SIDES[*side])
        .key("level_dbfs", |(step, side)| step.level_dbfs[*side])
        .column(&["second_percent"], &["2nd order"], |(step, side)| {
            product(*side, [step.second_percent, step.second_uncertainty_percent, step.second_limit_percent])
        })
        .column(&["third_percent"], &["3rd order"], |(step, side)| {
            product(*side, [step.third_percent, step.third_uncertainty_percent, step.third_limit_percent])
        })
        .key("second_uncertainty_percent", |(step, side)| step.second_uncertainty_percent[*side])
        .key("third_uncertainty_percent", |(step, side)| step.third_uncertainty_percent[*side])
        .key("second_limit_percent", |(step, side)| step.second_limit_percent[*side])
        .key("third_limit_percent", |(step, side)| step.third_limit_percent[*side]);
    Section::new("Intermodulation of two tones")
        .say(format!("In % of {}.", found.relative_to))
        .table(table.table())
}

/// `saturation.csv`: a section for each tone.
pub(in crate::show) fn saturation(found: &Saturation) -> Vec<Section> {
    let main = found.hz.map(|hz| {
        let most = [found.max_output_db, found.max_output_uncertainty_db, found.max_output_at_db];
        ladder(hz, &found.steps, most, &found.max_output_why, &found.reference)
    });
    let others = found.others.iter().map(|other| {
        let most = [other.max_output_db, other.max_output_uncertainty_db, other.max_output_at_db];
        ladder(other.hz, &other.steps, most, &other.max_output_why, &found.reference)
    });
    main.into_iter().chain(others).collect()
}

fn ladder(
    hz: f64,
    steps: &[SaturationStep],
    [output_db, uncertainty_db, at_db]: [Pair; 3],
    why: &[Option<String>; 2],
    reference: &str,
) -> Section {
    let keys = ["left_gain_db", "right_gain_db", "left_uncertainty_db", "right_uncertainty_db"];
    let table: Table = Rows::of("saturation.csv", steps)
        .key("hz", |_: &SaturationStep| hz)
        .column(&["programme_db"], &["programme"], |step| Cell::Programme(step.programme_db))
        .column(&keys, &["gain left", "right"], |step| {
            pair(Db, step.gain_db, step.uncertainty_db).map(Measured::signed)
        })
        .column(&["left_return_dbfs", "right_return_dbfs"], &["dBFS left", "right"], |step| {
            pair(Dbfs, step.return_dbfs, step.uncertainty_db)
        })
        .table();
    let below = [0, 1].map(|k| match (output_db[k], at_db[k]) {
        (Some(db), Some(at_db)) => format!(
            "{}: maximum output (SOL) {}, at {} of the programme.",
            SIDES[k],
            Db.of(db, uncertainty_db[k]).signed().full(),
            Db.of(at_db, None).signed()
        ),
        _ => format!("{}: maximum output: {}.", SIDES[k], why[k].as_deref().unwrap_or("was not found")),
    });
    Section::new(format!("Saturation at {}", frequency(hz)))
        .say(format!("Gain in dB against the lowest step; maximum output against {reference}."))
        .table(table)
        .say_all(Tone::Plain, below)
}
