//! The built-in limits are those of the common-practice table: rules of thumb, no standard, no conformance.

use crate::tsv;
use deckproof::internals::trade::common_practice::{Basis, Bound, G_CM_IN_MN_M, LIMITS, limit};

const TABLE: &str = include_str!("tables/common-practice.tsv");

/// The numbers of a cell in the order in which they stand.
fn numbers(cell: &str) -> Vec<f64> {
    let is_number = |c: char| c.is_ascii_digit() || c == '.' || c == '-';
    cell.replace("+-", "").split(|c: char| !is_number(c)).filter_map(|word| word.parse().ok()).collect()
}

fn assert_bound(bound: Bound, cell: &str, row: &tsv::Row) {
    let found = numbers(cell);
    match bound {
        Bound::PlusMinus(limit) | Bound::AtMost(limit) | Bound::AtLeast(limit) => {
            assert_eq!(found.last(), Some(&limit), "{row}");
        }
        Bound::Between(low, high) => assert_eq!(found, [low, high], "{row}"),
    }
    let sign = cell.starts_with("+-");
    assert!(!sign || matches!(bound, Bound::PlusMinus(_)), "{row}: {bound:?} has lost its sign");
}

#[test]
fn every_limit_stands_in_the_table_with_its_basis() {
    let rows = tsv::rows(TABLE, 31);
    let mut matched = 0;
    for row in &rows {
        let Some(limit) = limit(row.text("id")) else { continue };
        matched += 1;
        assert_bound(limit.full_size, row.text("good"), row);
        match limit.portable {
            Some(portable) => assert_bound(portable, row.text("modest"), row),
            None => assert_eq!(row.text("modest"), "-", "{row}"),
        }
        assert_eq!(limit.unit, row.text("unit"), "{row}");
        assert_eq!(limit.basis.text(), row.text("basis"), "{row}");
    }
    // All but the two rows that record-playback-hf is split into.
    assert_eq!(matched, LIMITS.len() - 2);
}

#[test]
fn rows_that_hold_more_than_one_limit_are_split() {
    let rows = tsv::rows(TABLE, 31);
    let row = |id: &str| rows.iter().find(|row| row.text("id") == id).unwrap();
    // "20000 (type II, IV), 16000 (type I)", portable 12500 for all.
    let hf = row("record-playback-hf");
    assert_eq!(numbers(hf.text("good")), [20_000.0, 16_000.0]);
    let [type_1, type_2_4] =
        ["record-playback-hf-type-1", "record-playback-hf-type-2-4"].map(|id| limit(id).unwrap());
    assert_eq!((type_2_4.full_size, type_1.full_size), (Bound::AtLeast(20_000.0), Bound::AtLeast(16_000.0)));
    for limit in [type_1, type_2_4] {
        assert_eq!(limit.portable, Some(Bound::AtLeast(hf.number("modest"))));
        assert_eq!(limit.basis, Basis::CommonPractice);
    }
    assert_eq!(row("torque-unit").number("good"), G_CM_IN_MN_M);
}
