//! Jobs in rounds as text: record level and bias, the bias sweep, noise reduction in against out.

use super::text::{Page, cell};
use crate::judge::Reading;
use crate::judge::{decimals, frequency, signed, unsigned};
use crate::reading::{BiasPair, BiasSweep, Pair, ReductionTracking};
use crate::trade::TRIMMER_CAUTIONS;

/// Changes smaller than this are not worth a line, dB.
const WORTH_A_LINE_DB: f64 = 0.15;
/// The channels' names.
const SIDES: [&str; 2] = ["left", "right"];

/// The tables of the jobs in rounds; nothing if there were none.
pub(super) fn rounds(page: &mut Page, reading: &Reading) {
    if !reading.rounds.is_empty() {
        round_table(page, reading);
        changes(page, reading);
    }
    if let Some(sweep) = &reading.bias_sweep {
        sweep_tables(page, sweep);
    }
    if let Some(found) = &reading.noise_reduction {
        reduction(page, found);
    }
}

/// The cautions of whoever turns trimmers, if some were to be turned.
pub(super) fn trimmer_cautions(reading: &Reading) -> &'static [&'static str] {
    if reading.rounds.is_empty() { &[] } else { &TRIMMER_CAUTIONS }
}

fn pair(values: Pair, digits: usize, width: usize, sign: bool) -> String {
    values.map(|value| cell(value, digits, width, sign)).concat()
}

/// Digits that suit the less sure of many.
pub(super) fn digits(uncertainties: impl Iterator<Item = Pair>) -> (usize, Option<f64>) {
    let most = uncertainties.flatten().flatten().filter(|u| u.is_finite()).reduce(f64::max);
    (decimals(most, 2).min(2), most)
}

/// The high tones, in the order in which they were played.
pub(super) fn high_tones(pairs: &[BiasPair]) -> Vec<(f64, f64)> {
    let mut found: Vec<(f64, f64)> = Vec::new();
    for pair in pairs {
        if !found.iter().any(|high| high.0 == pair.high_hz) {
            found.push((pair.high_hz, pair.low_hz));
        }
    }
    found
}

fn round_table(page: &mut Page, reading: &Reading) {
    page.head("ROUNDS, level (gain: return minus programme)");
    let (level_digits, level_most) = digits(reading.rounds.iter().map(|round| round.level_uncertainty_db));
    page.line(&format!(
        "  {:>5}{:>10}{:>10}{:>15}{:>15}{:>15}",
        "round", "at", "tone", "left, dB", "right, dB", "L - R, dB"
    ));
    for round in &reading.rounds {
        page.line(&format!(
            "  {:>5}{:>8} s{:>10}{}{}",
            round.round,
            unsigned(round.at_s.seconds(), 1),
            round.level_hz.map(frequency).unwrap_or_default(),
            pair(round.level_db, level_digits, 15, true),
            cell(round.level_difference_db, level_digits, 15, true)
        ));
    }
    for (high_hz, low_hz) in high_tones(&reading.bias) {
        page.head(&format!("ROUNDS, {} minus {}", frequency(high_hz), frequency(low_hz)));
        let rows: Vec<&BiasPair> = reading.bias.iter().filter(|pair| pair.high_hz == high_hz).collect();
        let (pair_digits, pair_most) = digits(rows.iter().map(|pair| pair.uncertainty_db));
        page.line(&format!("  {:>5}{:>10}{:>15}{:>15}", "round", "at", "left, dB", "right, dB"));
        for row in rows {
            page.line(&format!(
                "  {:>5}{:>8} s{}",
                row.round,
                unsigned(row.at_s.seconds(), 1),
                pair(row.difference_db, pair_digits, 15, true)
            ));
        }
        if let Some(most) = pair_most {
            page.line(&format!(
                "  uncertainty (k = 2): at most {} dB",
                unsigned(most, decimals(Some(most), 2))
            ));
        }
    }
    if let Some(most) = level_most {
        page.line(&format!(
            "  uncertainty of the levels: at most {} dB",
            unsigned(most, decimals(Some(most), 2))
        ));
    }
}

/// `left +0.8 dB, right -0.2 dB`, as far as it is worth saying.
fn moved_by(change: Pair, digits: usize) -> Option<String> {
    let sides: Vec<String> = SIDES
        .iter()
        .zip(change)
        .filter_map(|(side, db)| {
            let db = db.filter(|db| db.abs() >= WORTH_A_LINE_DB)?;
            Some(format!("{side} {} dB", signed(db, digits)))
        })
        .collect();
    (!sides.is_empty()).then(|| sides.join(", "))
}

/// What each round did, one line a round that did anything, for [`super::html`] as well.
pub(super) fn change_lines(reading: &Reading) -> Vec<String> {
    let mut lines = Vec::new();
    let mut before: Option<u32> = None;
    for round in &reading.rounds {
        let mut said = Vec::new();
        if let Some(level) = moved_by(round.change_db, 2) {
            said.push(format!("level {level}"));
        }
        for pair in reading.bias.iter().filter(|pair| pair.round == round.round) {
            if let Some(change) = moved_by(pair.change_db, 2) {
                said.push(format!("{} minus {} {change}", frequency(pair.high_hz), frequency(pair.low_hz)));
            }
        }
        if let (Some(before), false) = (before, said.is_empty()) {
            lines.push(format!("round {} against round {before}: {}", round.round, said.join("; ")));
        }
        if let Some(moved) = &round.moved {
            lines.push(format!("round {}: {moved}", round.round));
        }
        before = Some(round.round);
    }
    lines
}

fn changes(page: &mut Page, reading: &Reading) {
    page.head("ROUNDS, what each turn did");
    let lines = change_lines(reading);
    if lines.is_empty() {
        page.line("  no round differs from the one before it by 0.15 dB or more");
    }
    for line in lines {
        page.wrapped(2, "", &line);
    }
}

/// `round 7.3 +- 0.2` or why there is none.
pub(super) fn place(round: Option<f64>, uncertainty: Option<f64>) -> String {
    match (round, uncertainty) {
        (Some(round), Some(uncertainty)) => {
            let digits = decimals(Some(uncertainty), 1).min(1);
            format!("round {} +- {}", unsigned(round, 1), unsigned(uncertainty, digits.max(1)))
        }
        _ => "not within the sweep".to_owned(),
    }
}

/// Name and both channels' places of all that a sweep finds, for [`super::html`] as well.
pub(super) fn sweep_places(sweep: &BiasSweep) -> Vec<(String, [String; 2])> {
    let both = |round: Pair, uncertainty: Pair| [0, 1].map(|side| place(round[side], uncertainty[side]));
    let mut places: Vec<(String, [String; 2])> = sweep
        .peaks
        .iter()
        .map(|peak| {
            (
                format!("peak of sensitivity at {}", frequency(peak.hz)),
                both(peak.round, peak.uncertainty_rounds),
            )
        })
        .collect();
    for balance in &sweep.balance {
        let name = format!("{} level with {}", frequency(balance.high_hz), frequency(sweep.low_hz));
        places.push((name, both(balance.round, balance.uncertainty_rounds)));
        let best =
            balance.best_round.map(|round| round.map_or("cannot tell".to_owned(), |n| format!("round {n}")));
        places.push((format!("best compromise by {}", frequency(balance.high_hz)), best));
    }
    places.push((
        "lowest third harmonic".to_owned(),
        both(sweep.lowest_k3_round, sweep.lowest_k3_uncertainty_rounds),
    ));
    places
}

/// How the bias ran along the sweep, in words.
pub(super) fn direction(sweep: &BiasSweep) -> &'static str {
    match sweep.rising {
        Some(true) => "bias rose from round to round",
        Some(false) => "bias fell from round to round",
        None => "the rounds do not show that the bias was stepped",
    }
}

fn sweep_tables(page: &mut Page, sweep: &BiasSweep) {
    page.head("BIAS SWEEP, sensitivity (gain: return minus programme, dB)");
    page.line(&format!("  {}", direction(sweep)));
    let tones: Vec<f64> = std::iter::once(sweep.low_hz)
        .chain(sweep.steps.iter().take(1).flat_map(|s| s.high.iter().map(|h| h.hz)))
        .collect();
    let head = |names: &[String]| {
        let names: String =
            names.iter().map(|name| format!("{:>26}", format!("{name}, left / right"))).collect();
        format!("  {:>5}{names}", "round")
    };
    page.line(&head(&tones.iter().copied().map(frequency).collect::<Vec<_>>()));
    for step in &sweep.steps {
        let (digits, _) = digits(
            std::iter::once(step.low_uncertainty_db).chain(step.high.iter().map(|h| h.uncertainty_db)),
        );
        let high: String = step.high.iter().map(|high| pair(high.db, digits, 13, true)).collect();
        page.line(&format!("  {:>5}{}{high}", step.round, pair(step.low_db, digits, 13, true)));
    }
    page.head("BIAS SWEEP, overbias (dB past the peak of sensitivity; negative: before it)");
    page.line(&head(&tones[1..].iter().copied().map(frequency).collect::<Vec<_>>()));
    for step in &sweep.steps {
        let past: String = step.high.iter().map(|high| pair(high.past_peak_db, 2, 13, true)).collect();
        page.line(&format!("  {:>5}{past}", step.round));
    }
    page.head("BIAS SWEEP, distortion and noise");
    let tone = sweep.level_hz.map_or("the loud tone".to_owned(), frequency);
    page.wrapped(
        2,
        "K3: ",
        &format!(
            "third harmonic of {tone}, percent. Noise: A-weighted, dB against {}",
            sweep.noise_reference
        ),
    );
    page.line(&head(&["K3, %".to_owned(), "noise, dB".to_owned()]));
    for step in &sweep.steps {
        let (k3_digits, _) = digits(std::iter::once(step.k3_uncertainty_percent));
        page.line(&format!(
            "  {:>5}{}{}",
            step.round,
            pair(step.k3_percent, k3_digits, 13, false),
            pair(step.noise_a_weighted_db, 1, 13, false)
        ));
    }
    page.head("BIAS SWEEP, where what lies (in rounds; fractions lie between two)");
    page.line(&format!("  {:<38}{:>24}{:>24}", "", "left", "right"));
    for (name, [left, right]) in sweep_places(sweep) {
        page.line(&format!("  {name:<38}{left:>24}{right:>24}"));
    }
}

/// Whether anything was switched, in words.
pub(super) fn switching(found: &ReductionTracking) -> &'static str {
    match found.switched {
        Some(true) => "the two halves differ as switching makes them",
        Some(false) => "nothing was switched: both halves are the same, noise included",
        None => "whether anything was switched cannot be told",
    }
}

fn reduction(page: &mut Page, found: &ReductionTracking) {
    page.head("NOISE REDUCTION, mistracking (gain with it in minus gain with it out, dB)");
    page.line(&format!("  {}", switching(found)));
    page.line(&format!(
        "  {:>9}{:>10}{:>13}{:>8}{:>13}{:>8}",
        "programme", "tone", "left", "+-", "right", "+-"
    ));
    for row in &found.rows {
        let side = |k: usize| {
            let digits = decimals(row.uncertainty_db[k], 2).min(2);
            let spread = row.uncertainty_db[k].map(|u| unsigned(u, digits)).unwrap_or_default();
            format!("{}{spread:>8}", cell(row.mistracking_db[k], digits, 13, true))
        };
        let level = format!("{} dB", signed(row.programme_db, 0));
        page.line(&format!("  {level:>9}{:>10}{}{}", frequency(row.hz), side(0), side(1)));
    }
    page.head("NOISE REDUCTION, by level and band (mean, and the worst with its tone, dB)");
    page.line(&format!(
        "  {:>9}{:>20}{:>12}{:>20}{:>12}{:>20}",
        "programme", "band", "left", "worst", "right", "worst"
    ));
    for band in &found.bands {
        let side = |k: usize| {
            let worst = band.worst_db[k].zip(band.worst_hz[k]);
            let worst = worst.map_or("cannot tell".to_owned(), |(db, hz)| {
                format!("{} at {}", signed(db, 2), frequency(hz))
            });
            format!("{}{worst:>20}", cell(band.mean_db[k], 2, 12, true))
        };
        let level = format!("{} dB", signed(band.programme_db, 0));
        let name = format!("{} - {}", frequency(band.from_hz), frequency(band.to_hz));
        page.line(&format!("  {level:>9}{name:>20}{}{}", side(0), side(1)));
    }
    page.head("NOISE REDUCTION, A-weighted noise");
    page.line(&format!("  {:<34}{:>14}{:>14}", "", "left", "right"));
    let mut row = |name: &str, values: Pair, digits: usize| {
        page.line(&format!("  {name:<34}{}", pair(values, digits, 14, false)));
    };
    row("with it out, dBFS", found.noise_out_dbfs, 1);
    row("with it in, dBFS", found.noise_in_dbfs, 1);
    row("lowered by, dB", found.noise_lowered_db, 1);
    row("uncertainty (k = 2), dB", found.noise_uncertainty_db, 1);
}
