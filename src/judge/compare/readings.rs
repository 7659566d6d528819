//! Readings against each other: what really changed, and how well a deck repeats itself.
//!
//! Something has changed when the difference is larger than both uncertainties in quadrature. Two readings with one calibrated tape
//! share its errors; they are counted twice all the same, because nothing in a reading says which share it is. The spread of the
//! stretches is part of the uncertainty of flutter, or every second reading would be "changed". A spread of several readings is
//! marked when chi-square would exceed it once in a hundred.

use crate::judge::Reading;
use crate::judge::compare::caveats::caveats;
use crate::judge::compare::named::Named;
use crate::judge::compare::quantities::{Compared, quantities};
use crate::judge::compare::weight::{remarks, summary, tolerance, weigh, without_meaning};
use crate::reading::{COMPARISON_FORMAT, ComparedReading, ComparedRow, Comparison, Finding, FindingChange};
use crate::trade::student::{coverage_factor, mean_and_deviation};

/// Holds `readings` against each other, the first against the last; of three and more the spread is stated as well.
///
/// The uncertainty of a difference is that of both values in quadrature. Readings that share an error (one calibrated tape,
/// one sound card) differ by less than that, so that `changed` errs towards "not shown".
pub fn compare(readings: &[Named<'_>]) -> Comparison {
    compare_repeated(readings, &[])
}

/// As [`compare`], with how well the deck repeats itself: `repeats` are readings of it between which nothing was touched, three
/// or more. Their spread, times Student's factor for so few, adds to the uncertainty of a difference, once for either reading.
pub fn compare_repeated(readings: &[Named<'_>], repeats: &[Named<'_>]) -> Comparison {
    let repeated: Vec<Vec<Compared>> = repeats.iter().map(|named| quantities(named.reading)).collect();
    let each: Vec<Vec<Compared>> = readings.iter().map(|named| quantities(named.reading)).collect();
    let mut keys: Vec<&Compared> = Vec::new();
    for (place, list) in each.iter().enumerate() {
        let mut at = 0;
        for one in list {
            match keys.iter().position(|known| known.is(one)) {
                Some(found) => at = found + 1,
                // What only a later reading has stands where it stands there.
                None if place == 0 => keys.push(one),
                None => {
                    keys.insert(at, one);
                    at += 1;
                }
            }
        }
    }
    let repeats_of = |key: &Compared| {
        let values: Vec<f64> =
            repeated.iter().filter_map(|list| list.iter().find(|one| one.is(key))?.value).collect();
        (values.len() >= 3).then(|| coverage_factor(values.len()) * mean_and_deviation(&values).1)
    };
    let mut rows: Vec<ComparedRow> = keys
        .into_iter()
        .map(|key| {
            let found: Vec<Option<&Compared>> =
                each.iter().map(|list| list.iter().find(|one| one.is(key))).collect();
            row(
                key,
                found.iter().map(|one| one.and_then(|one| one.value)).collect(),
                found.iter().map(|one| one.and_then(|one| one.uncertainty)).collect(),
                repeats_of(key),
            )
        })
        .collect();
    weigh(&mut rows);
    let ends = readings.first().zip(readings.last());
    let mut warnings = caveats(readings);
    warnings.extend(crate::judge::compare::caveats::repeats(readings, repeats));
    let mut comparison = Comparison {
        format: COMPARISON_FORMAT.to_owned(),
        readings: readings.iter().map(described).collect(),
        repeats: repeats.iter().map(described).collect(),
        summary: summary(&rows),
        rows,
        remarks: Vec::new(),
        findings: ends.map_or_else(Vec::new, |(first, last)| changes(first.reading, last.reading)),
        warnings,
    };
    let told: Vec<_> = readings.iter().map(|named| &named.reading.circumstances).collect();
    without_meaning(&mut comparison.summary, &told);
    let loss = |named: &Named<'_>| named.reading.azimuth.as_ref()?.loss_at_10k_db;
    comparison.remarks = remarks(&comparison, ends.and_then(|(first, last)| loss(first).zip(loss(last))));
    comparison
}

fn described(named: &Named<'_>) -> ComparedReading {
    ComparedReading {
        name: named.name.to_owned(),
        file: named.file.to_owned(),
        capture: named.reading.capture.file.clone(),
        made: named.reading.made.clone(),
        recipe: named.reading.recipe.clone(),
        circumstances: named.reading.circumstances.clone(),
    }
}

fn row(
    key: &Compared,
    values: Vec<Option<f64>>,
    uncertainties: Vec<Option<f64>>,
    repeats: Option<f64>,
) -> ComparedRow {
    let ends = |list: &[Option<f64>]| Some(((*list.first()?)?, (*list.last()?)?));
    let change = ends(&values).map(|(first, last)| last - first);
    let own = change.and(ends(&uncertainties)).map(|(first, last)| first.hypot(last));
    // Where a reading states no uncertainty, the repeats alone can tell.
    let change_uncertainty = match (own, change.and(repeats)) {
        (Some(own), Some(repeats)) => Some(own.hypot(repeats * std::f64::consts::SQRT_2)),
        (None, Some(repeats)) => Some(repeats * std::f64::consts::SQRT_2),
        (own, None) => own,
    };
    let changed = change.zip(change_uncertainty).map(|(change, uncertainty)| change.abs() > uncertainty);
    let told: Vec<f64> = values.iter().flatten().copied().collect();
    let spread = (told.len() >= 3).then(|| mean_and_deviation(&told).1);
    let stated: Vec<f64> = values.iter().zip(&uncertainties).filter_map(|(value, u)| value.and(*u)).collect();
    let spread_is_real = spread.filter(|_| stated.len() == told.len()).map(|spread| {
        let expected = (stated.iter().map(|u| u * u / 4.0).sum::<f64>() / stated.len() as f64).sqrt();
        spread > expected * spread_by_chance(told.len())
    });
    ComparedRow {
        quantity: key.quantity.to_owned(),
        what: key.what.clone(),
        channel: key.channel,
        hz: key.point.map(|point| point.0),
        by: key.point.map(|point| point.1),
        unit: key.unit.to_owned(),
        values,
        uncertainties,
        change,
        change_uncertainty,
        changed,
        tolerance: tolerance(key),
        really: None,
        spread,
        repeatability: spread.map(|spread| coverage_factor(told.len()) * spread),
        spread_is_real,
    }
}

/// Standard deviation of `count` values, in units of their own, that chance exceeds once in a hundred.
///
/// sqrt(chi-square / degrees of freedom), chi-square by Wilson and Hilferty (1931): within 0.5 % of tables from 2 degrees on.
fn spread_by_chance(count: usize) -> f64 {
    const NORMAL_99: f64 = 2.326_348;
    let free = (count - 1) as f64;
    let part = 2.0 / (9.0 * free);
    (1.0 - part + NORMAL_99 * part.sqrt()).powf(1.5)
}

fn changes(first: &Reading, last: &Reading) -> Vec<FindingChange> {
    let same = |a: &Finding, b: &Finding| a.id == b.id && a.kind == b.kind && a.channel == b.channel;
    // The worst of other frequencies is another figure.
    let same_programme = first.recipe == last.recipe;
    let one = |before: Option<&Finding>, after: Option<&Finding>| {
        let any = after.or(before)?;
        let change =
            before.zip(after).filter(|_| same_programme).and_then(|(b, a)| Some(a.value? - b.value?));
        let uncertainty = before.zip(after).and_then(|(b, a)| Some(a.uncertainty?.hypot(b.uncertainty?)));
        let change_uncertainty = change.and(uncertainty);
        Some(FindingChange {
            change,
            change_uncertainty,
            changed: change.zip(change_uncertainty).map(|(by, uncertainty)| by.abs() > uncertainty),
            id: any.id.clone(),
            kind: any.kind.clone(),
            channel: any.channel,
            before: before.and_then(|finding| finding.value),
            after: after.and_then(|finding| finding.value),
            uncertainties: [before, after].map(|finding| finding.and_then(|finding| finding.uncertainty)),
            unit: any.unit,
            verdict_before: before.map(|finding| finding.verdict),
            verdict_after: after.map(|finding| finding.verdict),
            limit: any.limit.clone().or_else(|| before.and_then(|finding| finding.limit.clone())),
        })
    };
    let mut found: Vec<FindingChange> = Vec::new();
    for before in &first.findings {
        found.extend(one(Some(before), last.findings.iter().find(|after| same(before, after))));
    }
    for after in last.findings.iter().filter(|after| !first.findings.iter().any(|b| same(b, after))) {
        found.extend(one(None, Some(after)));
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn chance_alone_spreads_as_tables_of_chi_square_say() {
        // Chi-square exceeded by 1 %: 9.210, 11.345, 21.666 for 2, 3, 9 degrees of freedom (scipy.stats.chi2.isf).
        for (count, chi_square) in [(3, 9.2103), (4, 11.3449), (10, 21.666)] {
            let want = (chi_square / (count - 1) as f64).sqrt();
            crate::assert_within!(spread_by_chance(count), want, 0.015 * want, "", "{count}");
        }
    }

    #[test]
    fn a_change_counts_only_beyond_both_uncertainties() {
        let key = Compared {
            quantity: "level",
            what: "x".into(),
            channel: None,
            point: None,
            unit: "dB",
            value: None,
            uncertainty: None,
            limit: None,
        };
        let of = |values: &[f64], uncertainties: &[f64]| {
            row(
                &key,
                values.iter().map(|v| Some(*v)).collect(),
                uncertainties.iter().map(|v| Some(*v)).collect(),
                None,
            )
        };
        assert_eq!(of(&[0.0, 0.49], &[0.3, 0.4]).changed, Some(false));
        assert_eq!(of(&[0.0, -0.51], &[0.3, 0.4]).changed, Some(true));
        assert_eq!(of(&[0.0, 0.51], &[0.3, 0.4]).spread, None);
        let steady = of(&[0.0, 0.1, -0.1], &[0.2, 0.2, 0.2]);
        crate::assert_within!(steady.spread.unwrap(), 0.1, 1e-12, "dB");
        assert_eq!(steady.spread_is_real, Some(false));
        assert_eq!(of(&[0.0, 0.5, -0.5], &[0.2, 0.2, 0.2]).spread_is_real, Some(true));
        let gap = row(&key, vec![Some(1.0), None], vec![Some(0.1), None], None);
        assert_eq!((gap.change, gap.changed), (None, None));
    }
}
