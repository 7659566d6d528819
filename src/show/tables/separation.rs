//! Separation of the channels, and erasing.

use super::SIDES;
use crate::reading::figures::UnitKind::{Db, Seconds};
use crate::reading::figures::{frequency, programme_level};
use crate::reading::{Erasing, Separation};
use crate::show::page::{Cell, Measured, Rows, Section, pair};

/// `separation.csv`, one row a tone.
pub(in crate::show) fn separation(rows: &[Separation]) -> Section {
    let keys = [
        "left_into_right_db",
        "right_into_left_db",
        "left_into_right_uncertainty_db",
        "right_into_left_uncertainty_db",
        "left_into_right_noise_limit_db",
        "right_into_left_noise_limit_db",
    ];
    let table = Rows::of("separation.csv", rows)
        .column(&["hz"], &["tone"], |row| Cell::Tone(row.hz))
        .column(&["programme_db"], &["programme"], |row| Cell::Programme(row.programme_db))
        .column(&keys, &["left into right, dB", "right into left, dB"], |row| {
            let [left, right] = [
                (row.left_into_right_db, row.left_into_right_uncertainty_db, row.noise_limit_db[0]),
                (row.right_into_left_db, row.right_into_left_uncertainty_db, row.noise_limit_db[1]),
            ]
            .map(|(db, uncertainty, limit)| Measured::of(Db, db, uncertainty).sure().or_below(limit));
            [left, right]
        })
        .head("noise limit", |row| pair(Db, row.noise_limit_db, [None; 2]));
    Section::new("Separation")
        .say(
            "Leakage of the driven channel into the other, measured selectively; noise limit: what could still be told from \
             noise, left into right / right into left.",
        )
        .table(table.table())
}

/// `erasing.csv`, one row a channel.
pub(in crate::show) fn erasing(erasing: &Erasing) -> Section {
    let place = match (erasing.erased_from_s, erasing.erased_to_s) {
        (Some(from), Some(to)) => {
            format!(
                "Erased stretch: {} to {} of the return.",
                Seconds.of(from.seconds(), None),
                Seconds.of(to.seconds(), None)
            )
        }
        _ => format!("Cannot tell: {}.", erasing.why.as_deref().unwrap_or("no erased stretch was found")),
    };
    let table = Rows::of("erasing.csv", &[0, 1])
        .key("hz", |_: &usize| erasing.hz)
        .key("programme_db", |_| erasing.programme_db)
        .column(&["channel"], &["channel"], |&k| SIDES[k])
        .column(&["residual_db", "uncertainty_db", "noise_limit_db"], &["left of the tone, dB"], |&k| {
            let limit = erasing.noise_limit_db[k];
            Measured::of(Db, erasing.residual_db[k], erasing.uncertainty_db[k]).sure().or_below(limit)
        })
        .head("noise limit, dB", |&k| Measured::of(Db, erasing.noise_limit_db[k], None));
    Section::new(format!("Erasing of {} at {}", frequency(erasing.hz), programme_level(erasing.programme_db)))
        .say(place)
        .table(table.table())
}
