//! Several playings of one recording: whose flutter it is.

use crate::reading::figures::UnitKind::{Hertz, LineHertz, Percent, Seconds, SpeedPercent};
use crate::reading::figures::given;
use crate::reading::{FlutterBand, FlutterShare, SameTape, SharedFigure, SharedLine, Whose};
use crate::show::page::{Cell, Measured, Printed, Rows, Section, Table, Tone};

type Share = (&'static str, fn(&FlutterShare) -> &SharedFigure);

const SHARES: [Share; 4] = [
    ("weighted", |share| &share.weighted_rms),
    ("unweighted", |share| &share.unweighted_rms),
    ("wow", |share| &share.wow_rms),
    ("flutter", |share| &share.flutter_rms),
];

/// `0.052 +- 0.004`, or what it lies below.
fn measured(figure: &SharedFigure) -> Measured {
    Measured::of(Percent, figure.percent, figure.uncertainty_percent)
        .sure()
        .or_below(Some(figure.below_percent))
}

/// Shares, bands and lines: `whose-flutter.csv`, `whose-flutter-lines.csv`.
pub(in crate::show) fn same_tape(found: &SameTape) -> Section {
    let own =
        found.playings.iter().enumerate().map(|(k, playing)| (format!("playing {}", k + 1), &playing.own));
    let both = [("recording".to_owned(), &found.recording), ("playback, mean".to_owned(), &found.playback)];
    let all: Vec<(String, &FlutterShare)> = both.into_iter().chain(own).collect();
    let shares = Rows::of("", &all).head("whose", |row| row.0.as_str());
    let shares =
        SHARES.into_iter().fold(shares, |rows, (name, of)| rows.head(name, move |row| measured(of(row.1))));
    let bands = Rows::of("", &found.bands)
        .titled("By rate: third octaves, unweighted")
        .head("rate", |band: &FlutterBand| Measured::of(Hertz, Some(band.hz), None).named())
        .head("recording", |band| measured(&band.recording))
        .head("playback", |band| measured(&band.playback));
    let files = found.playings.iter().enumerate().map(|(k, playing)| {
        format!(
            "Playback {}: {}, speed {} against the recording, all its flutter {} unweighted rms.",
            k + 1,
            playing.file,
            SpeedPercent.of(playing.speed_error_percent, None).signed(),
            Percent.of(playing.all_unweighted_rms_percent, None)
        )
    });
    Section::new("Whose flutter")
        .say(format!(
            "In % rms, from {} to {} of the programme: what repeats with the tape is the recording's, what does not is the \
             playback's.",
            Seconds.of(found.from_s, None),
            Seconds.of(found.to_s, None)
        ))
        .table(shares.table())
        .say_all(Tone::Plain, files)
        .say_all(Tone::Plain, found.assumed.iter().map(|assumed| format!("Assumed: {}.", assumed.trim_end_matches('.'))))
        .tables(bands.any())
        .tables(lines(&found.lines))
        .table(filed(found, &all))
}

/// Every figure in a row of its own.
fn filed(found: &SameTape, all: &[(String, &FlutterShare)]) -> Table {
    type Row<'a> = (&'static str, Option<f64>, &'a str, &'a SharedFigure);
    let shares = all.iter().flat_map(|(whose, share)| {
        SHARES.map(|(quantity, of)| -> Row<'_> { (quantity, None, whose.as_str(), of(share)) })
    });
    let bands = found.bands.iter().flat_map(|band| {
        [("recording", &band.recording), ("playback, mean", &band.playback)]
            .map(|(whose, figure)| -> Row<'_> { ("unweighted, third octave", Some(band.hz), whose, figure) })
    });
    let rows: Vec<Row<'_>> = shares.chain(bands).collect();
    Rows::of("whose-flutter.csv", &rows)
        .printed(Printed::Nowhere)
        .key("quantity", |row| row.0)
        .key("hz", |row| row.1)
        .key("whose", |row| row.2)
        .column(&["percent_rms", "uncertainty_percent", "below_percent"], &[], |row| measured(row.3))
        .table()
}

fn lines(lines: &[SharedLine]) -> Option<Table> {
    Rows::of("whose-flutter-lines.csv", lines)
        .titled(
            "Steady lines: rate in the programme's time, peak as measured. By chance: how often playings with nothing in \
             common agree as well",
        )
        .column(&["hz"], &["rate"], |line| Measured::of(LineHertz, Some(line.hz), None).named())
        .column(&["percent_peak"], &["% peak"], |line| Measured::of(Percent, Some(line.percent_peak), None))
        .column(&["whose"], &["whose"], |line| match line.whose {
            Whose::Recording => "recording",
            Whose::Playback => "playback",
            Whose::CannotTell => "cannot tell",
        })
        .key("by_chance", |line| line.by_chance)
        .head("by chance", |line| Cell::from(given(line.by_chance, 3)))
        .any()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_cannot_be_told_from_nothing_is_a_limit_rounded_up() {
        let line = |figure: SharedFigure| Cell::from(measured(&figure)).shown(1)[0].line();
        let told =
            SharedFigure { percent: Some(0.0512), uncertainty_percent: Some(0.004), below_percent: 0.06 };
        assert_eq!(line(told), "0.051 +- 0.004");
        let not = SharedFigure { percent: None, uncertainty_percent: None, below_percent: 0.01211 };
        assert_eq!(line(not), "< 0.0122");
    }
}
