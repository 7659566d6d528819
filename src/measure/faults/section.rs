//! What the played parts show of the way into the file: gains that move, lossy codecs, a tape that does not run.

use crate::measure::faults::gain_riding::{gain_creep_db, gain_riding_db, ladder_riding_db};
use crate::measure::faults::level_dependence::{LevelDependence, level_dependence};
use crate::measure::faults::lossy::{LossySign, lossy_signs};
use crate::measure::faults::surroundings::Surroundings;
use crate::measure::response::steps::PlayedTone;
use crate::measure::tone::level_moves::Move;
use crate::measure::tone::level_wander::LevelWander;
use crate::measure::whole::played::{FlutterTone, Played, on_both};
use crate::programme::{Serves, Signal};
use crate::reading::figures::UnitKind;
use crate::reading::{Distortion, FileClock, FileTime, Level, Response, Warning, WarningId};

/// What gains and hiss show.
pub(crate) struct GainSigns {
    pub level_dependence: Option<LevelDependence>,
    pub lossy_signs: Vec<LossySign>,
    pub warnings: Vec<Warning>,
}

/// Gains that move with time or level, and hiss that no tape makes.
pub(crate) fn gain_signs(
    played: &Played<'_>,
    around: &Surroundings,
    distortion: Option<&Distortion>,
) -> GainSigns {
    // Where levels are taken from the return, a gain that differs says nothing.
    let known = played.timeline.levels_are_known();
    let alike: Vec<PlayedTone> = played.linear_tones().map(|(_, tone)| tone).collect();
    let riding_db = gain_riding_db(&alike).filter(|_| known);
    let creep_db = gain_creep_db(&alike).filter(|_| riding_db.is_none());
    let gain_rides = riding_db.is_some() || creep_db.is_some();
    let ladder_db = distortion.and_then(|distortion| ladder_riding_db(&distortion.steps));
    let placed: Vec<(f64, PlayedTone)> = played
        .tones()
        .filter(|(part, _)| on_both(part) && !matches!(part.serves, Serves::Injected(..)))
        .map(|(part, tone)| (part.start_s, tone))
        .collect();
    let slates_db = |programme_s: f64| played.alignment.slates_db(programme_s);
    let level_dependence = level_dependence(&placed, around, &slates_db).filter(|_| known);
    // Where treble is lifted more than low tones, it is a compander and no automatic level.
    let companded = matches!(level_dependence, Some(LevelDependence::Lifted(_)));
    let creeps = creep_db.map(|db| {
        format!(
            "While a steady tone played, the gain of both channels crept by {db:+.1} dB: a slow automatic level is \
             on, in the deck or in the sound card. Levels, response and noise are wrong. Switch it off and record \
             again."
        )
    });
    let rides = riding_db.filter(|_| !companded).map(|db| {
        format!(
            "A quiet tone came back with {db:.1} dB more gain than a loud one of about the same frequency: an \
             automatic level or a limiter is on, in the deck or in the sound card, or the loud tone overdrives \
             tape or input. Levels, response and noise are wrong. Switch it off, or record less loud, and record \
             again."
        )
    });
    let ladder_rides = ladder_db.filter(|_| !gain_rides).map(|db| {
        format!(
            "In the steps of level quiet tones came back with {db:.1} dB more gain than the distortion of the loud \
             ones explains: an automatic level or a limiter is on, in the deck or in the sound card. Levels, \
             distortion and maximum output are wrong. Switch it off and record again."
        )
    });
    let texts = [creeps, rides, ladder_rides].into_iter().flatten();
    GainSigns {
        level_dependence,
        lossy_signs: lossy_signs(around, gain_rides),
        warnings: texts.map(|text| Warning::new(WarningId::GainRiding, text)).collect(),
    }
}

/// The warning that the level of a channel, or of both, moved while the programme played.
pub(crate) fn level_moved(wander: &[LevelWander; 2], clock: FileClock) -> Option<Warning> {
    let said = |side: &str, moved: Move| {
        let way = if moved.db < 0.0 { "fell" } else { "rose" };
        format!(
            "the {side} channel {way} by {} between {} and {} of the return",
            UnitKind::Db.of(moved.db.abs(), moved.uncertainty_db),
            UnitKind::Seconds.of(clock.at(moved.from_s).seconds(), None),
            UnitKind::Seconds.of(clock.at(moved.to_s).seconds(), None),
        )
    };
    let sides = ["left", "right"].into_iter().zip(wander);
    let moves: Vec<String> =
        sides.filter_map(|(side, wander)| Some(said(side, wander.moves.told()?))).collect();
    (!moves.is_empty()).then(|| {
        Warning::new(
            WarningId::LevelMoved,
            format!(
                "The level moved while the programme played: {}. What is compared across it is uncertain by as much. Look for a \
                 loose plug, a tape that leaves the head, or a level that somebody turned, and record again.",
                moves.join("; ")
            ),
        )
    })
}

/// Where alone the tape ran in the flutter tone, from and to, if that is not all of it.
pub(crate) fn ran_s(played: &Played<'_>) -> Option<[FileTime; 2]> {
    const MOST_S: f64 = 0.3;
    let FlutterTone { bands: [band, _], stretch, .. } = played.flutter()?;
    let [from_s, to_s] = [band.first_s, band.time_s(band.samples.len())];
    let clock = played.clock(stretch);
    (from_s > MOST_S || stretch.length_s() - to_s > MOST_S).then(|| [clock.at(from_s), clock.at(to_s)])
}

/// End of the last slate that was found, if the next one is missing though the return goes on.
pub(crate) fn lost_from_s(played: &Played<'_>) -> Option<FileTime> {
    const MARGIN_S: f64 = 1.0;
    let alignment = played.alignment;
    let last = alignment.slates.iter().max_by(|a, b| a.start_s.total_cmp(&b.start_s))?;
    let slates = || played.timeline.parts.iter().filter(|part| matches!(part.signal, Signal::Slate { .. }));
    let used =
        slates().find(|part| matches!(part.signal, Signal::Slate { index } if index == last.slate.index))?;
    let next = slates().find(|part| part.start_s > used.start_s)?;
    (alignment.duration_s > alignment.map.to_return(next.start_s + next.length_s) + MARGIN_S)
        .then(|| alignment.clock.at(alignment.map.to_return(used.start_s + used.length_s)))
}

/// The warning that noise hides tones on a channel that is `there`.
pub(crate) fn noise_limited(
    level: &[Level],
    response: Option<&Response>,
    there: [bool; 2],
) -> Option<Warning> {
    let hidden = level.iter().any(|row| row.return_dbfs == [None; 2]);
    let mut steps = response.iter().flat_map(|response| &response.steps);
    (hidden || steps.any(|step| (0..2).any(|channel| there[channel] && step.db[channel].is_none()))).then(|| {
        Warning::new(
            WarningId::NoiseLimited,
            "Some tones lie so deep in noise that no level is stated for them (null). Raise the recording level, or \
             mend what makes them weak first.",
        )
    })
}
