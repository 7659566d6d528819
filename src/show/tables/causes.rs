//! Causes of the response.

use crate::judge::{cause_name, cause_size};
use crate::reading::figures::UnitKind::Db;
use crate::reading::figures::{frequency, given};
use crate::reading::{Cause, CauseKind, Instead, Unexplained};
use crate::show::page::{Cell, Measured, Printed, Rows, Section, Table, Tone};

/// Columns of shares, Hz; those of the reading.
const COLUMNS_HZ: [f64; 6] = [40.0, 100.0, 1000.0, 5000.0, 10_000.0, 15_000.0];

/// The causes of both channels; `None` if none were looked for. `reference_hz` is that of the response.
pub(in crate::show) fn causes(
    causes: &[Cause],
    unexplained: &[Unexplained],
    reference_hz: Option<f64>,
) -> Option<Section> {
    if causes.is_empty() && unexplained.is_empty() {
        return None;
    }
    let against = reference_hz.map(|hz| format!(" against {}", frequency(hz))).unwrap_or_default();
    let section = Section::new("Causes of the response").say(format!(
        "What each cause does to the response in dB{against}, with its expanded uncertainty. Azimuth follows from the delay. \
         The others are fitted together, beside ripple that no cause explains."
    ));
    Some(
        section
            .tables(shares(causes))
            .say_all(Tone::Plain, sentences(causes))
            .say_all(Tone::Plain, unexplained.iter().map(residual))
            .tables(filed(causes))
            .tables(left_over(unexplained)),
    )
}

/// Shares with their uncertainty below, which six columns leave no room for beside them.
fn shares(causes: &[Cause]) -> Option<Table> {
    let told = causes.iter().filter(|cause| cause.cause != CauseKind::None);
    let rows: Vec<(&Cause, bool)> = told.flat_map(|cause| [(cause, true), (cause, false)]).collect();
    let table = Rows::of("", &rows)
        .head("cause", |(cause, is_share)| if *is_share { title(cause) } else { "+-".to_owned() });
    let table = COLUMNS_HZ.into_iter().fold(table, |table, hz| {
        table.head(&frequency(hz), move |(cause, is_share)| {
            match (cause.shares_db.iter().find(|share| share[0] == hz), is_share) {
                (Some([_, db, uncertainty]), true) => {
                    Cell::from(Measured::of(Db, Some(*db), Some(*uncertainty)).signed())
                }
                (Some([_, _, uncertainty]), false) => Cell::Spread(Db, *uncertainty),
                (None, true) => Cell::from("not known"),
                (None, false) => Cell::from(""),
            }
        })
    });
    table.any()
}

/// `left spacing`, or `left gap or spacing` for what could not be told apart.
fn title(cause: &Cause) -> String {
    format!("{} {}", cause.channel, name(cause))
}

/// `spacing`, or `gap or spacing`.
pub(in crate::show) fn name(cause: &Cause) -> String {
    match &cause.instead[..] {
        [] => cause_name(cause.cause).to_owned(),
        [one] => cause_name(one.cause).to_owned(),
        [one, other] => format!("{} or {}", cause_name(one.cause), cause_name(other.cause)),
        [one, ..] => format!("{} or others", cause_name(one.cause)),
    }
}

/// A sentence for each cause; channels of which the same is to be said share one.
fn sentences(causes: &[Cause]) -> Vec<String> {
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
    let high = cause.height_db.map(|db| format!("{} high", Db.of(db, None)));
    let facts: Vec<String> = size.into_iter().chain(high).chain(cause.probability.map(sure)).collect();
    format!("{}, {}", title(cause), facts.join(", "))
}

/// A probability; nothing that rests on measuring is quite certain.
fn sure(probability: f64) -> String {
    if probability > 0.995 {
        "more than 99 % sure".to_owned()
    } else {
        format!("{} % sure", given(100.0 * probability, 0))
    }
}

fn residual(left: &Unexplained) -> String {
    let most = left.left_db.iter().find(|row| row[0] == left.most_hz).map_or(0.0, |row| row[1]);
    let perhaps: Vec<String> = left.perhaps.iter().map(open).collect();
    let perhaps = if perhaps.is_empty() {
        String::new()
    } else {
        format!("; may be there as well, but too weak to tell: {}", perhaps.join(", "))
    };
    let (most, at) = (Db.of(most, None).signed(), frequency(left.most_hz));
    format!("{}: the largest residual of {} points is {most} at {at}{perhaps}.", left.channel, left.points)
}

fn open(cause: &Instead) -> String {
    let size = cause_size(cause.value, None, cause.unit).unwrap_or_default();
    format!("{} ({size}, {} %)", cause_name(cause.cause), given(100.0 * cause.probability, 0))
}

/// `causes.csv`, one row a cause and frequency.
fn filed(causes: &[Cause]) -> Option<Table> {
    type Row<'a> = (&'a Cause, Option<&'a [f64; 3]>);
    let rows: Vec<Row<'_>> = causes
        .iter()
        .flat_map(|cause| {
            let none = cause.shares_db.is_empty().then_some((cause, None));
            none.into_iter().chain(cause.shares_db.iter().map(move |share| (cause, Some(share))))
        })
        .collect();
    let table = Rows::of("causes.csv", &rows)
        .printed(Printed::Nowhere)
        .key("channel", |(cause, _)| cause.channel.as_str())
        .key("cause", |(cause, _)| cause_name(cause.cause))
        .key("instead", |(cause, _)| {
            let instead: Vec<&str> = cause.instead.iter().map(|other| cause_name(other.cause)).collect();
            instead.join(" or ")
        })
        .key("value", |(cause, _)| cause.value)
        .key("uncertainty", |(cause, _)| cause.uncertainty)
        .key("unit", |(cause, _)| cause.unit.as_str())
        .key("height_db", |(cause, _)| cause.height_db)
        .key("probability", |(cause, _)| cause.probability);
    ["hz", "share_db", "share_uncertainty_db"]
        .into_iter()
        .enumerate()
        .fold(table, |table, (k, key)| table.key(key, move |(_, share)| share.map(|share| share[k])))
        .any()
}

/// `unexplained.csv`.
fn left_over(unexplained: &[Unexplained]) -> Option<Table> {
    let rows: Vec<(&str, &[f64; 2])> = unexplained
        .iter()
        .flat_map(|left| left.left_db.iter().map(|row| (left.channel.as_str(), row)))
        .collect();
    Rows::of("unexplained.csv", &rows)
        .printed(Printed::Nowhere)
        .key("channel", |row| row.0)
        .key("hz", |row| row.1[0])
        .key("db", |row| row.1[1])
        .any()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::reading::{Channel, Unit};
    use crate::show::page::Shown;

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

    fn both() -> (Vec<Cause>, Vec<Unexplained>) {
        let other =
            |kind, probability| Instead { cause: kind, value: Some(0.9), unit: Unit::Um, probability };
        let mut open = cause(Channel::Right, CauseKind::Gap, "could not be told apart");
        (open.value, open.uncertainty) = (None, None);
        open.instead = vec![other(CauseKind::Gap, 0.6), other(CauseKind::Spacing, 0.5)];
        let causes = vec![
            cause(Channel::Left, CauseKind::Spacing, "dirt"),
            cause(Channel::Right, CauseKind::Spacing, "dirt"),
            open,
        ];
        let unexplained = vec![Unexplained {
            channel: Channel::Left,
            ripple_db: 0.1,
            most_hz: 63.0,
            left_db: vec![[63.0, -0.31], [400.0, 0.02]],
            points: 2,
            perhaps: vec![other(CauseKind::Gap, 0.3)],
        }];
        (causes, unexplained)
    }

    #[test]
    fn shares_stand_over_their_uncertainty_and_what_is_alike_is_said_once() {
        let (causes, unexplained) = both();
        let rows: Vec<Vec<String>> =
            shares(&causes).unwrap().rows().iter().map(|row| row.iter().map(Shown::line).collect()).collect();
        assert_eq!(rows[0][..2], ["left spacing", "+0.12"]);
        assert_eq!([&rows[0][5], &rows[1][5], &rows[0][2]], ["-3.46", "0.23", "not known"]);
        assert_eq!(rows[4][0], "right gap or spacing");
        let said: Vec<String> =
            sentences(&causes).into_iter().chain(unexplained.iter().map(residual)).collect();
        assert_eq!(
            said,
            [
                "left spacing, 0.312 +- 0.021 um, 97 % sure; right spacing, 0.312 +- 0.021 um, 97 % sure: dirt.",
                "right gap or spacing, 97 % sure: could not be told apart.",
                "left: the largest residual of 2 points is -0.3 dB at 63 Hz; may be there as well, but too weak to tell: \
                 gap (0.90 um, 30 %)."
            ]
        );
        assert_eq!(filed(&causes).unwrap().raw().len(), 6);
        assert_eq!(left_over(&unexplained).unwrap().raw().len(), 2);
    }
}
