//! Flutter: its figures, its lines, its course and its spectrum.

use crate::judge::{flutter_uncertainty, part_words};
use crate::reading::figures::UnitKind::{
    Hertz, HertzPerMinute, LineHertz, Percent, PercentPerMinute, Seconds,
};
use crate::reading::figures::{frequency, given};
use crate::reading::{FileTime, Flutter, FlutterFigures, FlutterLine, FlutterStretch, MeanSpeed};
use crate::show::page::{Measured, Printed, Quantities, Rows, Section, Table, Tone};

/// Shortest tone that a flutter reading should rest on, s (common practice, no source).
const LEAST_S: f64 = 30.0;
/// Share of a tone that may be bridged before it is said, percent.
const BRIDGED_PERCENT: f64 = 1.0;

/// One kind of flutter: its name, its key, its band and how to get it.
type Kind = (&'static str, &'static str, Band, fn(&FlutterFigures) -> Option<f64>);

/// Which part of the band is in a figure.
#[derive(Clone, Copy)]
enum Band {
    Weighted,
    All,
    Low,
    High,
}

/// The key of the one kind that is one moment's.
const PEAK: &str = "unweighted_peak_percent";

const KINDS: [Kind; 7] = [
    ("flutter, weighted rms", "weighted_rms_percent", Band::Weighted, |f| f.weighted_rms_percent),
    ("flutter, weighted 2-sigma", "two_sigma_percent", Band::Weighted, |f| f.two_sigma_percent),
    ("flutter, weighted quasi-peak", "weighted_quasi_peak_percent", Band::Weighted, |f| {
        f.weighted_quasi_peak_percent
    }),
    ("flutter, unweighted peak", PEAK, Band::All, |f| f.unweighted_peak_percent),
    ("flutter, unweighted rms", "unweighted_rms_percent", Band::All, |f| f.unweighted_rms_percent),
    ("wow, unweighted rms", "wow_rms_percent", Band::Low, |f| f.wow_rms_percent),
    ("flutter above the split, unweighted rms", "flutter_rms_percent", Band::High, |f| f.flutter_rms_percent),
];

/// A mean speed that wanders by more than this from second to second is said, percent.
const WANDERS_PERCENT: f64 = 0.1;
/// Up to here flutter is read where the tone shows it, Hz.
const FULL_BAND_HZ: f64 = 200.0;

/// Figures and lines for people; everything that has a course or a spectrum for machines.
pub(in crate::show) fn flutter(flutter: &Flutter) -> Section {
    let over = flutter
        .measured_over_s
        .map_or(String::new(), |over_s| format!("{} of it, between ", Seconds.of(over_s, None)));
    let (from, to) = if over.is_empty() { ("from ", "to") } else { ("", "and") };
    let mut section = Section::new("Flutter").say(format!(
        "Tone {}, measured {over}{from}{} {to} {} of the return.",
        frequency(flutter.carrier_hz),
        Seconds.of(flutter.measured_from_s.seconds(), None),
        Seconds.of(flutter.measured_to_s.seconds(), None)
    ));
    section = section.tables(figures(flutter));
    if let Some(spread) = &flutter.spread {
        let (count, length) = (flutter.stretches.len(), given(spread.stretch_s, 1));
        section = section.say(format!(
            "The range after each figure: lowest and highest of {count} stretches of {length} s; what they differ by is in \
             the uncertainty."
        ));
    }
    section.say_all(Tone::Plain, notes(flutter)).tables(lines(&flutter.lines)).tables(courses(flutter))
}

fn figures(flutter: &Flutter) -> [Table; 2] {
    let [low, split, high] = flutter.band_hz.map(frequency);
    let band = |band: Band| match band {
        Band::Weighted => String::new(),
        Band::All => format!("{low} to {high}"),
        Band::Low => format!("{low} to {split}"),
        Band::High => format!("{split} to {high}"),
    };
    let range = |of: fn(&FlutterFigures) -> Option<f64>| {
        let spread = flutter.spread.as_ref()?;
        let (lowest, highest) = (of(&spread.lowest)?, of(&spread.highest)?);
        Some(format!("{} to {}", Percent.of(lowest, None).number(), Percent.of(highest, None).number()))
    };
    let mut found = Quantities::default();
    for (name, key, part, of) in KINDS {
        let uncertainty = flutter_uncertainty(flutter, of, key == PEAK);
        let remark: Vec<String> =
            range(of).into_iter().chain([band(part)]).filter(|said| !said.is_empty()).collect();
        found.one(
            name,
            "percent",
            Measured::of(Percent, of(&flutter.figures()), uncertainty),
            remark.join("; "),
        );
    }
    let drift = Measured::of(PercentPerMinute, flutter.drift_percent_per_min, None);
    found.filed("drift of the tone, subtracted", "percent per minute", drift);
    let ends = ["flutter band, low end", "wow and flutter split", "flutter band, high end"];
    for (name, hz) in ends.into_iter().zip(flutter.band_hz) {
        found.filed(name, "Hz", Measured::of(Hertz, Some(hz), None));
    }
    found.tables()
}

/// What must be known about the figures, a sentence each.
fn notes(flutter: &Flutter) -> Vec<String> {
    let mut notes = vec![
        "Rms and 2-sigma (the value exceeded 5 % of the time) are the figures to compare. The quasi-peak figure depends on \
         the indicator below 1 Hz: indicators that all keep the pulse table differ there by up to 30 %."
            .to_owned(),
        "No standard fixes the band limits and the split between wow and flutter; the weighting table is from memory."
            .to_owned(),
    ];
    let length_s = flutter.over_s();
    if length_s < LEAST_S {
        let length = Seconds.of(length_s, None);
        notes.push(format!(
            "Measured over {length} only. For a good figure take {LEAST_S} s or more (recipe flutter)."
        ));
    }
    if let Some(drift) = flutter.drift_percent_per_min {
        notes.push(format!(
            "The tone drifted by {} while it played; this was subtracted. It is the drift of this tone alone.",
            PercentPerMinute.of(drift, None).signed()
        ));
    }
    let highest = flutter.mean_speed.iter().max_by(|a, b| a.percent.total_cmp(&b.percent));
    let lowest = flutter.mean_speed.iter().min_by(|a, b| a.percent.total_cmp(&b.percent));
    if let (Some(highest), Some(lowest)) = (highest, lowest)
        && highest.percent - lowest.percent > WANDERS_PERCENT
    {
        let place = |mean: &MeanSpeed| {
            let at = Seconds.of(mean.at_s.seconds(), None);
            format!("{} at {at} ({})", Percent.of(mean.percent, None).signed(), Hertz.of(mean.hz, None))
        };
        notes.push(format!(
            "Second by second the mean speed lies between {} and {} of its mean.",
            place(lowest),
            place(highest)
        ));
    }
    if flutter.band_hz[2] < FULL_BAND_HZ {
        notes.push(format!(
            "A tone of {} shows no flutter faster than {}; what is faster is in none of the figures.",
            frequency(flutter.carrier_hz),
            frequency(flutter.band_hz[2])
        ));
    }
    if let Some(bridged) = flutter.bridged_percent.filter(|percent| *percent > BRIDGED_PERCENT) {
        let bridged = given(bridged, 1);
        notes.push(format!("For {bridged} % of the time the tone was too weak; these gaps were bridged."));
    }
    notes
}

/// `flutter-lines.csv`.
fn lines(lines: &[FlutterLine]) -> Option<Table> {
    Rows::of("flutter-lines.csv", lines)
        .titled("Lines of the spectrum, the strongest first")
        .column(&["hz"], &["rate"], |line| Measured::of(LineHertz, Some(line.hz), None).named())
        .column(&["percent_peak"], &["% peak"], |line| Measured::of(Percent, Some(line.percent_peak), None))
        .key("width_hz", |line| line.width_hz)
        .key("drift_hz_per_min", |line| line.drift_hz_per_min)
        .key("part", |line| line.part.clone().unwrap_or_default())
        .key("harmonic", |line| line.harmonic.map(f64::from))
        .key("could_be", |line| line.could_be.to_string())
        .head("part that turns at this rate", |line| {
            let moves = line.width_hz.map(|hz| format!("moves, smeared over {}", LineHertz.of(hz, None)));
            let said: Vec<String> = [part_words(line)].into_iter().chain(moves).chain(drift(line)).collect();
            said.join("; ")
        })
        .any()
}

/// How a line's rate moves, where it does by more than its uncertainty.
fn drift(line: &FlutterLine) -> Option<String> {
    let (drift, uncertainty) = (line.drift_hz_per_min?, line.drift_uncertainty_hz_per_min?);
    let moves = HertzPerMinute.of(drift, uncertainty).signed().full();
    (drift.abs() > uncertainty).then(|| format!("rate moves {moves}"))
}

/// `flutter-spectrum.csv`, `speed-against-time.csv`, `mean-speed.csv` and `flutter-stretches.csv`, which figures draw.
fn courses(flutter: &Flutter) -> Vec<Table> {
    let widths = flutter.spectrum_widths_hz.iter().map(|width| Some(*width)).chain(std::iter::repeat(None));
    let rows: Vec<([f64; 2], Option<f64>)> = flutter.spectrum.iter().copied().zip(widths).collect();
    let spectrum = Rows::of("flutter-spectrum.csv", &rows)
        .printed(Printed::Nowhere)
        .key("hz", |row: &([f64; 2], Option<f64>)| row.0[0])
        .key("percent_rms", |row| row.0[1])
        .key("width_hz", |row| row.1);
    let pieces = flutter.speed_against_time.iter().flat_map(|course| &course.pieces);
    let course = Rows::of("speed-against-time.csv", pieces)
        .printed(Printed::Nowhere)
        .key("at_s", |piece: &(FileTime, f64, f64)| piece.0.seconds())
        .key("lowest_percent", |piece| piece.1)
        .key("highest_percent", |piece| piece.2);
    let means = Rows::of("mean-speed.csv", &flutter.mean_speed)
        .printed(Printed::Nowhere)
        .key("at_s", |mean: &MeanSpeed| mean.at_s.seconds())
        .key("hz", |mean| mean.hz)
        .key("percent", |mean| mean.percent);
    let stretches = Rows::of("flutter-stretches.csv", &flutter.stretches)
        .printed(Printed::Nowhere)
        .key("from_s", |stretch: &FlutterStretch| stretch.from_s.seconds())
        .key("to_s", |stretch| stretch.to_s.seconds());
    // The file has had the quasi-peak first from the beginning.
    let stretches = [2, 0, 1, 3, 4, 5, 6].into_iter().fold(stretches, |rows, kind: usize| {
        let (_, key, _, of) = KINDS[kind];
        rows.key(key, move |stretch| of(&stretch.figures))
    });
    [spectrum.any(), course.any(), means.any(), stretches.any()].into_iter().flatten().collect()
}
