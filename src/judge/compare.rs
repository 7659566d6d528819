//! Readings against each other: what really changed, and how well a deck repeats itself.

use super::capture::SPOILING;
use super::compared::{Compared, quantities};
use crate::reading::{
    COMPARISON_FORMAT, ComparedReading, ComparedRow, Comparison, Finding, FindingChange, NoiseReduction,
    Reading, Warning,
};

/// A reading with its name and its file.
#[derive(Debug, Clone, Copy)]
pub struct Named<'a> {
    /// What it is called, such as `as found`.
    pub name: &'a str,
    /// Its file.
    pub file: &'a str,
    /// The reading.
    pub reading: &'a Reading,
}

/// Holds `readings` against each other, the first against the last; of three and more the spread is stated as well.
///
/// The uncertainty of a difference is that of both values in quadrature. Readings that share an error (one calibrated tape,
/// one sound card) differ by less than that, so that `changed` errs towards "not shown".
pub fn compare(readings: &[Named<'_>]) -> Comparison {
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
    let rows = keys
        .into_iter()
        .map(|key| {
            let found: Vec<Option<&Compared>> =
                each.iter().map(|list| list.iter().find(|one| one.is(key))).collect();
            row(
                key,
                found.iter().map(|one| one.and_then(|one| one.value)).collect(),
                found.iter().map(|one| one.and_then(|one| one.uncertainty)).collect(),
            )
        })
        .collect();
    let ends = readings.first().zip(readings.last());
    Comparison {
        format: COMPARISON_FORMAT.to_owned(),
        readings: readings.iter().map(described).collect(),
        rows,
        findings: ends.map_or_else(Vec::new, |(first, last)| changes(first.reading, last.reading)),
        warnings: caveats(readings),
    }
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

fn row(key: &Compared, values: Vec<Option<f64>>, uncertainties: Vec<Option<f64>>) -> ComparedRow {
    let ends = |list: &[Option<f64>]| Some(((*list.first()?)?, (*list.last()?)?));
    let change = ends(&values).map(|(first, last)| last - first);
    let change_uncertainty = change.and(ends(&uncertainties)).map(|(first, last)| first.hypot(last));
    let changed = change.zip(change_uncertainty).map(|(change, doubt)| change.abs() > doubt);
    let told: Vec<f64> = values.iter().flatten().copied().collect();
    let spread = (told.len() >= 3).then(|| deviation(&told));
    let doubts: Vec<f64> = values.iter().zip(&uncertainties).filter_map(|(value, u)| value.and(*u)).collect();
    let spread_is_real = spread.filter(|_| doubts.len() == told.len()).map(|spread| {
        let expected = (doubts.iter().map(|u| u * u / 4.0).sum::<f64>() / doubts.len() as f64).sqrt();
        spread > expected * spread_by_chance(told.len())
    });
    ComparedRow {
        quantity: key.quantity.to_owned(),
        what: key.what.clone(),
        channel: key.channel.map(str::to_owned),
        hz: key.hz,
        unit: key.unit.to_owned(),
        values,
        uncertainties,
        change,
        change_uncertainty,
        changed,
        spread,
        spread_is_real,
    }
}

/// Standard deviation of a sample.
fn deviation(values: &[f64]) -> f64 {
    let n = values.len() as f64;
    let mean = values.iter().sum::<f64>() / n;
    (values.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / (n - 1.0)).sqrt()
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
    let one = |before: Option<&Finding>, after: Option<&Finding>| {
        let any = after.or(before)?;
        Some(FindingChange {
            id: any.id.clone(),
            kind: any.kind.clone(),
            channel: any.channel.clone(),
            before: before.and_then(|finding| finding.value),
            after: after.and_then(|finding| finding.value),
            uncertainties: [before, after].map(|finding| finding.and_then(|finding| finding.uncertainty)),
            unit: any.unit.clone(),
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

/// Differences between the readings that are none of the deck.
fn caveats(readings: &[Named<'_>]) -> Vec<Warning> {
    let mut warnings = Vec::new();
    let differs = |of: &dyn Fn(&Reading) -> String| {
        let each: Vec<String> = readings.iter().map(|named| of(named.reading)).collect();
        let all = || {
            let pairs = readings.iter().zip(&each);
            pairs.map(|(named, value)| format!("{}: {value}", named.name)).collect::<Vec<_>>().join("; ")
        };
        each.windows(2).any(|pair| pair[0] != pair[1]).then(all)
    };
    let mut warn = |id: &str, found: Option<String>, text: &str| {
        if let Some(found) = found {
            warnings.push(Warning::new(id, format!("{text} ({found}).")));
        }
    };
    let told = |value: Option<String>| value.unwrap_or_else(|| "not told".to_owned());
    warn(
        "other-deck",
        differs(&|r| told(r.made.as_ref().and_then(|made| made.deck.clone()))),
        "The readings name different decks: differences are those of the decks, too",
    );
    warn(
        "other-recording",
        differs(&|r| told(r.circumstances.recorded_on.map(|on| super::compared::recorded_on(on).to_owned()))),
        "The tapes are of different origin: levels, response, azimuth and speed mean different things",
    );
    warn(
        "other-heads",
        differs(&|r| told(r.circumstances.heads.map(|heads| u8::from(heads).to_string()))),
        "The numbers of heads differ: flutter and azimuth mean different things",
    );
    warn(
        "other-tape-type",
        differs(&|r| told(r.circumstances.tape_type.map(|kind| format!("{kind:?}")))),
        "The tape types differ",
    );
    warn(
        "other-noise-reduction",
        differs(&|r| match r.circumstances.noise_reduction {
            NoiseReduction::On => "on".to_owned(),
            NoiseReduction::Off => "off".to_owned(),
        }),
        "Noise reduction was on in some and off in others: response and noise cannot be compared",
    );
    warn(
        "other-card",
        differs(&|r| if r.capture.direct.is_some() { "taken off" } else { "not taken off" }.to_owned()),
        "The sound card was taken off some of the readings only",
    );
    let faults = |r: &Reading| {
        let spoils = |id: &str| SPOILING.iter().any(|(spoiling, _)| *spoiling == id);
        let ids: Vec<&str> = r.warnings.iter().map(|w| w.id.as_str()).filter(|id| spoils(id)).collect();
        ids.join(", ")
    };
    for named in readings {
        let ids = faults(named.reading);
        if !ids.is_empty() {
            warnings.push(Warning::new(
                "bad-capture",
                format!("{}: its capture is not sound ({ids}); what differs may be the capture.", named.name),
            ));
        }
    }
    warnings
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
            hz: None,
            unit: "dB",
            value: None,
            uncertainty: None,
        };
        let of = |values: &[f64], doubts: &[f64]| {
            row(&key, values.iter().map(|v| Some(*v)).collect(), doubts.iter().map(|v| Some(*v)).collect())
        };
        assert_eq!(of(&[0.0, 0.49], &[0.3, 0.4]).changed, Some(false));
        assert_eq!(of(&[0.0, -0.51], &[0.3, 0.4]).changed, Some(true));
        assert_eq!(of(&[0.0, 0.51], &[0.3, 0.4]).spread, None);
        let steady = of(&[0.0, 0.1, -0.1], &[0.2, 0.2, 0.2]);
        crate::assert_within!(steady.spread.unwrap(), 0.1, 1e-12, "dB");
        assert_eq!(steady.spread_is_real, Some(false));
        assert_eq!(of(&[0.0, 0.5, -0.5], &[0.2, 0.2, 0.2]).spread_is_real, Some(true));
        let gap = row(&key, vec![Some(1.0), None], vec![Some(0.1), None]);
        assert_eq!((gap.change, gap.changed), (None, None));
    }
}
