//! Several playings of one recording: whose flutter it is, as tables of words.

use super::nonlinear::Table;
use crate::judge::Reading;
use crate::judge::{decimals, frequency, signed, unsigned};
use crate::reading::{FlutterShare, SameTape, SharedFigure, Whose};

/// The tables that the reading can fill.
pub(super) fn tables(reading: &Reading) -> Vec<Table> {
    let Some(found) = &reading.same_tape else { return vec![] };
    let mut tables = vec![shares(found), bands(found)];
    tables.extend((!found.lines.is_empty()).then(|| lines(found)));
    tables
}

/// `0.052 +- 0.004`, or what it lies below.
fn figure(figure: &SharedFigure) -> String {
    match (figure.percent, figure.uncertainty_percent) {
        (Some(percent), uncertainty) => {
            let digits = decimals(uncertainty, 3);
            let within = uncertainty.map(|u| format!(" +- {}", unsigned(u, digits))).unwrap_or_default();
            format!("{}{within}", unsigned(percent, digits))
        }
        // Rounded up: rounded down it would say more than is known.
        (None, _) => format!("< {}", unsigned((figure.below_percent * 1e3).ceil() / 1e3, 3)),
    }
}

fn shares(found: &SameTape) -> Table {
    let row = |name: String, share: &FlutterShare| {
        let kinds = [&share.weighted_rms, &share.unweighted_rms, &share.wow_rms, &share.flutter_rms];
        std::iter::once(name).chain(kinds.into_iter().map(figure)).collect::<Vec<_>>()
    };
    let mut rows = vec![
        row("the recording".to_owned(), &found.recording),
        row("the playback, mean".to_owned(), &found.playback),
    ];
    rows.extend(
        found.playings.iter().enumerate().map(|(k, playing)| row(format!("playing {}", k + 1), &playing.own)),
    );
    let files = found.playings.iter().enumerate().map(|(k, playing)| {
        format!(
            "playback {}: {}, speed {} % against the recording, all its flutter {} % unweighted rms",
            k + 1,
            playing.file,
            signed(playing.speed_error_percent, 3),
            unsigned(playing.all_unweighted_rms_percent, 4)
        )
    });
    Table {
        title: "Whose flutter".to_owned(),
        notes: vec![format!(
            "In % rms, from {} s to {} s of the programme: what repeats with the tape is the recording's, what does not is the \
             playback's.",
            unsigned(found.from_s, 1),
            unsigned(found.to_s, 1)
        )],
        heads: vec!["part", "weighted", "unweighted", "wow", "flutter"],
        rows,
        below: files.chain(found.assumed.iter().map(|assumed| format!("assumed: {assumed}"))).collect(),
    }
}

fn bands(found: &SameTape) -> Table {
    Table {
        title: "Whose flutter, by rate".to_owned(),
        notes: vec!["In % rms, third octaves of the rate, unweighted.".to_owned()],
        heads: vec!["rate", "recording", "playback"],
        rows: found
            .bands
            .iter()
            .map(|band| vec![frequency(band.hz), figure(&band.recording), figure(&band.playback)])
            .collect(),
        below: vec![],
    }
}

fn lines(found: &SameTape) -> Table {
    Table {
        title: "Whose flutter, steady lines".to_owned(),
        notes: vec![
            "Rate in the programme's time, peak deviation as seen; by chance: how often playings that have nothing in common would \
             agree as well."
                .to_owned(),
        ],
        heads: vec!["rate", "% peak", "whose", "by chance"],
        rows: found
            .lines
            .iter()
            .map(|line| {
                let whose = match line.whose {
                    Whose::Recording => "recording",
                    Whose::Playback => "playback",
                    Whose::CannotTell => "cannot tell",
                };
                vec![
                    frequency(line.hz),
                    unsigned(line.percent_peak, 4),
                    whose.to_owned(),
                    unsigned(line.by_chance, 3),
                ]
            })
            .collect(),
        below: vec![],
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_cannot_be_told_from_nothing_is_a_limit_rounded_up() {
        let told =
            SharedFigure { percent: Some(0.0512), uncertainty_percent: Some(0.004), below_percent: 0.06 };
        assert_eq!(figure(&told), "0.051 +- 0.004");
        let not = SharedFigure { percent: None, uncertainty_percent: None, below_percent: 0.0121 };
        assert_eq!(figure(&not), "< 0.013");
    }
}
