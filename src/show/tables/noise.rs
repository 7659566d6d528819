//! Noise and hum.

use crate::reading::figures::UnitKind::{Db, Dbfs, LineHertz};
use crate::reading::figures::programme_level;
use crate::reading::{Mains, Noise, Origin, Pair, SaturationNoise, SilenceBand, SilentPart};
use crate::show::page::{Cell, Measured, Printed, Quantities, Rows, Section, Table, pair};

const AGAINST: &str = "dB re 0 dB";
/// Levels of noise beside each other in the table of noise at high levels.
const MOST_LEVELS: usize = 4;

/// Noise and hum of the silent parts: `noise.csv`, `noise-bands.csv`, `hum.csv`.
pub(in crate::show) fn noise(noise: &Noise) -> Section {
    let mut found = Quantities::default();
    let sure = noise.uncertainty_db;
    found.pair("reference of the noise", "dBFS", pair(Dbfs, noise.reference_dbfs, [None; 2]));
    found.pair("noise, unweighted", AGAINST, pair(Db, noise.unweighted_db, sure));
    found.pair("noise, A-weighted", AGAINST, pair(Db, noise.a_weighted_db, sure));
    if noise.itu468_db != [None; 2] {
        found.pair(
            "noise, ITU-R 468 quasi-peak",
            AGAINST,
            pair(Db, noise.itu468_db, noise.itu468_uncertainty_db),
        );
        found.pair("its needle moves by (rms)", "dB", pair(Db, noise.itu468_spread_db, [None; 2]));
    }
    if let Some(mains) = &noise.mains {
        found.filed("hum, fundamental", "Hz", Measured::of(LineHertz, Some(mains.hz), mains.uncertainty_hz));
        let hum = [0, 1].map(|k| mains.uncertainty_db[k].or(sure[k]));
        found.pair("hum, all components", AGAINST, pair(Db, mains.hum_db, hum));
        for (name, values) in [
            ("noise, unweighted, hum subtracted", noise.unweighted_without_hum_db),
            ("noise, A-weighted, hum subtracted", noise.a_weighted_without_hum_db),
        ] {
            found.pair(name, AGAINST, pair(Db, values, sure));
        }
    }
    let section = Section::new("Noise")
        .say(format!("dB re 0 dB: against {}. Unweighted: 22.4 Hz to 22.4 kHz.", noise.reference))
        .tables(found.tables());
    let section = match &noise.mains {
        Some(mains) => section.say(origin(mains)).tables(hum(mains, sure)),
        None => section.say("No mains hum stands out."),
    };
    section.tables((!noise.parts.is_empty()).then(|| parts(&noise.parts))).tables(bands(&noise.bands))
}

/// Where the hum gets in.
fn origin(mains: &Mains) -> String {
    let at = match mains.origin {
        Origin::Playback => "gets in after the head (playback, leads, sound card)",
        Origin::Recorded => "lies on the tape",
        Origin::CannotTell => "cannot tell whether it lies on the tape",
    };
    let why = if mains.origin_why.is_empty() { String::new() } else { format!(" ({})", mains.origin_why) };
    format!("Hum at {}: {at}{why}.", LineHertz.of(mains.hz, mains.uncertainty_hz))
}

/// `hum.csv`.
fn hum(mains: &Mains, sure: Pair) -> Option<Table> {
    Rows::of("hum.csv", &mains.lines)
        .titled("Components of hum, dB re 0 dB")
        .column(&["hz"], &["line"], |line| {
            // A multiple is as many times less sure as its fundamental.
            let uncertainty = mains.uncertainty_hz.map(|u| u * line.0 / mains.hz);
            Measured::of(LineHertz, Some(line.0), uncertainty).named()
        })
        .column(&["left_db", "right_db"], &["left", "right"], |line| pair(Db, [line.1, line.2], sure))
        .any()
}

/// `noise.csv`, one row a silent part.
fn parts(parts: &[SilentPart]) -> Table {
    type Of = fn(&SilentPart) -> Pair;
    let columns: [([&str; 2], &str, Of); 4] = [
        (["unweighted_left_db", "unweighted_right_db"], "unweighted", |part| part.unweighted_db),
        (["a_weighted_left_db", "a_weighted_right_db"], "A-weighted", |part| part.a_weighted_db),
        (["itu468_left_db", "itu468_right_db"], "ITU-R 468", |part| part.itu468_db),
        (["hum_left_db", "hum_right_db"], "hum", |part| part.hum_db),
    ];
    let rows = Rows::of("noise.csv", parts).titled("Silent parts, left / right, dB re 0 dB").column(
        &["part"],
        &["part"],
        |part| part.part.as_str(),
    );
    columns
        .into_iter()
        .fold(rows, |rows, (keys, head, of)| {
            rows.column(&keys, &[head], move |part| {
                pair(Db, of(part), part.uncertainty_db).map(|one| one.or_say("none"))
            })
        })
        .table()
}

/// `noise-bands.csv`, one row a third octave.
fn bands(bands: &[SilenceBand]) -> Option<Table> {
    Rows::of("noise-bands.csv", bands)
        .titled("Noise in third octaves, hum included, dB re 0 dB")
        .abreast(2)
        .column(&["hz"], &["band"], |band| Cell::Tone(band.hz))
        .column(
            &["left_db", "right_db", "left_uncertainty_db", "right_uncertainty_db"],
            &["left", "right"],
            |band| pair(Db, band.db, band.uncertainty_db).map(Measured::sure),
        )
        .any()
}

/// `saturation-noise.csv`, and for people one table a colour with a column for each level.
pub(in crate::show) fn at_high_levels(rows: &[SaturationNoise]) -> Option<Section> {
    let bands: Vec<_> = rows.iter().flat_map(|row| row.bands.iter().map(move |band| (row, band))).collect();
    if bands.is_empty() {
        return None;
    }
    let filed = Rows::of("saturation-noise.csv", &bands)
        .printed(Printed::Nowhere)
        .key("part", |(row, _)| row.part.as_str())
        .key("colour", |(row, _)| row.colour.as_str())
        .key("programme_db", |(row, _)| row.programme_db)
        .key("hz", |(_, band)| band.hz)
        .column(&["left_db", "right_db", "left_uncertainty_db", "right_uncertainty_db"], &[], |(_, band)| {
            pair(Db, band.db, band.uncertainty_db)
        });
    let mut section = Section::new("Noise at high levels")
        .say(
            "Return against programme, in dB against the gain of the level tone, left / right. Where a value falls from \
             column to column, the tape takes no more.",
        )
        .table(filed.table());
    for colour in ["white", "pink"] {
        let levels: Vec<&SaturationNoise> =
            rows.iter().filter(|row| row.colour == colour).take(MOST_LEVELS).collect();
        let Some(first) = levels.first() else { continue };
        let table = Rows::of("", &first.bands)
            .titled(format!("{colour} noise"))
            .head("band", |band| Cell::Tone(band.hz));
        let table = levels.into_iter().fold(table, |table, level| {
            table.head(&programme_level(level.programme_db), |band| {
                let same = level.bands.iter().find(|other| (other.hz / band.hz - 1.0).abs() < 1e-6);
                let (db, uncertainty) =
                    same.map_or(([None; 2], [None; 2]), |same| (same.db, same.uncertainty_db));
                pair(Db, db, uncertainty).map(Measured::signed)
            })
        });
        section = section.table(table.table());
    }
    Some(section)
}
