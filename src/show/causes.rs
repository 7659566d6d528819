//! Causes of the response as a table of words, for text and report alike, and as CSV.

use super::csv::{Csv, cell};
use super::nonlinear::Table;
use crate::judge::Reading;
use crate::judge::{cause_name, cause_size, decimals, frequency, signed, unsigned};
use crate::reading::{Cause, CauseKind, Instead, Unexplained};

/// Columns of shares, Hz; those of the reading.
const COLUMNS_HZ: [f64; 6] = [40.0, 100.0, 1000.0, 5000.0, 10_000.0, 15_000.0];

/// The causes of both channels; `None` if none were looked for.
pub(super) fn table(reading: &Reading) -> Option<Table> {
    if reading.causes.is_empty() && reading.unexplained.is_empty() {
        return None;
    }
    let reference = reading.response.as_ref().map(|response| frequency(response.reference_hz));
    let against = reference.map(|hz| format!(" against {hz}")).unwrap_or_default();
    let mut rows = Vec::new();
    for cause in reading.causes.iter().filter(|cause| cause.cause != CauseKind::None) {
        let share = |hz: f64| cause.shares_db.iter().find(|share| share[0] == hz);
        let digits = |share: &[f64; 3]| decimals(Some(share[2]), 2).min(2);
        let row = |name: String, cell: &dyn Fn(&[f64; 3]) -> String| -> Vec<String> {
            let cells = COLUMNS_HZ.map(|hz| share(hz).map_or("not known".to_owned(), cell));
            std::iter::once(name).chain(cells).collect()
        };
        rows.push(row(title(cause), &|share| signed(share[1], digits(share))));
        rows.push(row("+-".to_owned(), &|share| unsigned(share[2], digits(share))));
    }
    let mut below = words(&reading.causes);
    below.extend(reading.unexplained.iter().map(left));
    Some(Table {
        title: "Causes of the response".to_owned(),
        notes: vec![format!(
            "What each cause does to the response in dB{against}, with its expanded uncertainty. Azimuth follows from the \
             delay; the others are weighed against each other, and against ripple that no cause explains."
        )],
        heads: vec!["cause", "40 Hz", "100 Hz", "1 kHz", "5 kHz", "10 kHz", "15 kHz"],
        rows,
        below,
    })
}

/// `left spacing`, or `left gap or spacing` for what could not be told apart.
fn title(cause: &Cause) -> String {
    format!("{} {}", cause.channel, name(cause))
}

/// `spacing`, or `gap or spacing`.
pub(super) fn name(cause: &Cause) -> String {
    match &cause.instead[..] {
        [] => cause_name(cause.cause).to_owned(),
        [one] => cause_name(one.cause).to_owned(),
        [one, other] => format!("{} or {}", cause_name(one.cause), cause_name(other.cause)),
        [one, ..] => format!("{} or others", cause_name(one.cause)),
    }
}

/// A sentence for each cause; channels of which the same is to be said share one.
fn words(causes: &[Cause]) -> Vec<String> {
    let mut said: Vec<(String, &str)> = Vec::new();
    for cause in causes {
        match said.iter_mut().find(|(_, why)| *why == cause.why) {
            Some((who, _)) => *who += &format!("; {}", sized(cause)),
            None => said.push((sized(cause), &cause.why)),
        }
    }
    said.into_iter().map(|(who, why)| format!("{who}: {why}.")).collect()
}

fn sized(cause: &Cause) -> String {
    if cause.cause == CauseKind::None {
        return cause.channel.to_string();
    }
    let size = cause_size(cause.value, cause.uncertainty, cause.unit);
    let high = cause.height_db.map(|db| format!("{} dB high", unsigned(db, 1)));
    let sure = cause.probability.map(percent);
    let facts: Vec<String> = size.into_iter().chain(high).chain(sure).collect();
    format!("{}, {}", title(cause), facts.join(", "))
}

/// A probability; nothing that rests on measuring is quite certain.
fn percent(probability: f64) -> String {
    if probability > 0.995 {
        "more than 99 % sure".to_owned()
    } else {
        format!("{} % sure", unsigned(100.0 * probability, 0))
    }
}

fn left(left: &Unexplained) -> String {
    let most = left.left_db.iter().find(|row| row[0] == left.most_hz).map_or(0.0, |row| row[1]);
    let perhaps: Vec<String> = left.perhaps.iter().map(open).collect();
    let perhaps = if perhaps.is_empty() {
        String::new()
    } else {
        format!("; may be there as well, too weak to say: {}", perhaps.join(", "))
    };
    format!(
        "{}: not explained are {} dB at {}, the most of {} points{perhaps}.",
        left.channel,
        signed(most, 2),
        frequency(left.most_hz),
        left.points
    )
}

fn open(cause: &Instead) -> String {
    let size = cause_size(cause.value, None, cause.unit).unwrap_or_default();
    format!("{} ({size}, {} %)", cause_name(cause.cause), unsigned(100.0 * cause.probability, 0))
}

/// `causes.csv`, one row a cause and frequency, and `unexplained.csv`; nothing if no cause was looked for.
pub(super) fn csv(reading: &Reading) -> Vec<(&'static str, String)> {
    let mut tables = Vec::new();
    if !reading.causes.is_empty() {
        let mut csv = Csv::new(&[
            "channel",
            "cause",
            "instead",
            "value",
            "uncertainty",
            "unit",
            "height_db",
            "probability",
            "hz",
            "share_db",
            "share_uncertainty_db",
        ]);
        for cause in &reading.causes {
            let instead: Vec<&str> = cause.instead.iter().map(|other| cause_name(other.cause)).collect();
            let mut row = |share: Option<&[f64; 3]>| {
                csv.row([
                    cause.channel.to_string(),
                    cause_name(cause.cause).to_owned(),
                    instead.join(" or "),
                    cell(cause.value),
                    cell(cause.uncertainty),
                    cause.unit.to_string(),
                    cell(cause.height_db),
                    cell(cause.probability),
                    cell(share.map(|share| share[0])),
                    cell(share.map(|share| share[1])),
                    cell(share.map(|share| share[2])),
                ]);
            };
            if cause.shares_db.is_empty() {
                row(None);
            }
            cause.shares_db.iter().for_each(|share| row(Some(share)));
        }
        tables.push(("causes.csv", csv.text));
    }
    if !reading.unexplained.is_empty() {
        let mut csv = Csv::new(&["channel", "hz", "db"]);
        for left in &reading.unexplained {
            for row in &left.left_db {
                csv.row([left.channel.to_string(), row[0].to_string(), row[1].to_string()]);
            }
        }
        tables.push(("unexplained.csv", csv.text));
    }
    tables
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::reading::{Channel, Unit};

    fn cause(channel: Channel, kind: CauseKind, why: &str) -> Cause {
        Cause {
            channel,
            cause: kind,
            value: Some(0.3123),
            uncertainty: Some(0.021),
            unit: Unit::Um,
            height_db: None,
            digital: false,
            second_hz: None,
            shares_db: vec![[40.0, 0.12, 0.01], [10_000.0, -3.456, 0.23]],
            curve_db: vec![],
            probability: Some(0.97),
            instead: vec![],
            why: why.to_owned(),
        }
    }

    fn reading() -> Reading {
        let mut reading: Reading =
            serde_json::from_str(include_str!("../../tests/readings/healthy.json")).unwrap();
        let other =
            |kind, probability| Instead { cause: kind, value: Some(0.9), unit: Unit::Um, probability };
        let mut open = cause(Channel::Right, CauseKind::Gap, "could not be told apart");
        (open.value, open.uncertainty) = (None, None);
        open.instead = vec![other(CauseKind::Gap, 0.6), other(CauseKind::Spacing, 0.5)];
        reading.causes = vec![
            cause(Channel::Left, CauseKind::Spacing, "dirt"),
            cause(Channel::Right, CauseKind::Spacing, "dirt"),
            open,
        ];
        reading.unexplained = vec![Unexplained {
            channel: Channel::Left,
            ripple_db: 0.1,
            most_hz: 63.0,
            left_db: vec![[63.0, -0.31], [400.0, 0.02]],
            points: 2,
            perhaps: vec![other(CauseKind::Gap, 0.3)],
        }];
        reading
    }

    #[test]
    fn shares_stand_over_their_uncertainty_and_what_is_alike_is_said_once() {
        let table = table(&reading()).unwrap();
        assert_eq!(table.rows[0][..2], ["left spacing", "+0.12"]);
        assert_eq!(table.rows[0][5], "-3.46");
        assert_eq!(table.rows[1][5], "0.23");
        assert_eq!(table.rows[0][2], "not known");
        assert_eq!(table.rows[4][0], "right gap or spacing");
        assert_eq!(
            table.below,
            [
                "left spacing, 0.312 +- 0.021 um, 97 % sure; right spacing, 0.312 +- 0.021 um, 97 % sure: dirt.",
                "right gap or spacing, 97 % sure: could not be told apart.",
                "left: not explained are -0.31 dB at 63 Hz, the most of 2 points; may be there as well, too weak to say: \
                 gap (0.90 um, 30 %)."
            ]
        );
    }

    #[test]
    fn tables_have_a_row_for_every_share() {
        let tables = csv(&reading());
        let lines: Vec<usize> = tables.iter().map(|table| table.1.lines().count()).collect();
        assert_eq!(lines, [7, 3]);
        for (name, text) in &tables {
            let width = text.lines().next().unwrap().matches(',').count();
            assert!(text.lines().all(|line| line.matches(',').count() == width), "{name}");
        }
    }

    #[test]
    fn nothing_looked_for_is_nothing_shown() {
        let reading: Reading = serde_json::from_str(include_str!("../../tests/readings/empty.json")).unwrap();
        assert!(table(&reading).is_none() && csv(&reading).is_empty());
    }
}
