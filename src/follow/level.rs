//! Level view: left, right and their difference; against the deck's 0, millivolts, what was held, and the source.

use super::hearing::SteadyTone;
use super::options::{FollowOptions, verdict};
use super::tones::{HeardTone, Tones};
use crate::judge::Key;
use crate::reading::{Figure, LevelNow, Meters, Pair, Shown, minus};

/// What is known of a level that is not a tone's, dB: how music and noise move.
const MOVING_DB: f64 = 1.0;

/// The level held while no tone played, dBFS.
#[derive(Default)]
pub(crate) struct LevelView {
    pub held_dbfs: Pair,
    pub source_dbfs: Pair,
}

impl LevelView {
    /// The figures now: of the strongest tone that sounds, else of the whole signal.
    pub fn shown(
        &self,
        tones: &Tones,
        sounding: &[SteadyTone],
        meters: &Meters,
        now_s: f64,
        options: &FollowOptions,
    ) -> (Shown, Option<Figure>) {
        let tone = sounding.first().and_then(|tone| tones.fresh(tone.hz, now_s));
        let (hz, dbfs, uncertainty_db) = match tone {
            Some(tone) => (Some(tone.newest.hz), tone.newest.dbfs, tone.uncertainty_db()),
            None => (None, meters.dbfs, meters.dbfs.map(|dbfs| dbfs.map(|_| MOVING_DB))),
        };
        if dbfs == [None; 2] {
            let why = "Play a tone or anything else: nothing is heard.".to_owned();
            return (Shown::Nothing { why }, None);
        }
        let between = !meters.one_signal;
        let limit = |key: Key| options.limits.get(key).map(|limit| limit.value);
        let source = tone.map_or(self.source_dbfs, |tone| tone.source_dbfs);
        let held = tone.map_or(self.held_dbfs, |tone| tone.held_dbfs);
        let against_source_db = minus(dbfs, source);
        // A tone of a programme stands at its own level against the deck's 0.
        let on_tape_db = tone.map_or([None; 2], HeardTone::on_tape_db);
        let target_dbfs = [0, 1].map(|channel| Some(options.zero_dbfs[channel]? + on_tape_db[channel]?));
        let apart_db = on_tape_db[0].zip(on_tape_db[1]).map_or(0.0, |(left, right)| left - right);
        let by_source = against_source_db != [None; 2];
        let now = LevelNow {
            hz,
            dbfs,
            uncertainty_db,
            deck_db: minus(dbfs, options.zero_dbfs),
            mv: [0, 1]
                .map(|channel| Some(options.full_scale_mv[channel]? * 10f64.powf(dbfs[channel]? / 20.0))),
            difference_db: dbfs[0]
                .zip(dbfs[1])
                .filter(|_| between)
                .map(|(left, right)| left - right - apart_db),
            target_dbfs,
            limit_db: limit(if by_source { Key::RecordLevel } else { Key::PlaybackLevel }),
            match_limit_db: limit(Key::ChannelMatch),
            against_held_db: minus(dbfs, held),
            against_source_db,
        };
        let figure = figure(&now, tone);
        (Shown::Level(now), figure)
    }
}

/// What is turned by: tape against source, level against its target, or the difference between the channels, in this order.
fn figure(now: &LevelNow, tone: Option<&HeardTone>) -> Option<Figure> {
    tone?;
    let against_target = minus(now.dbfs, now.target_dbfs);
    let worst = |pair: Pair| {
        let of = |channel: usize| pair[channel].map(|value| (value, channel));
        [of(0), of(1)].into_iter().flatten().max_by(|a, b| a.0.abs().total_cmp(&b.0.abs()))
    };
    let side = ["left", "right"];
    let (name, value, uncertainty, limit) = if let Some((value, channel)) = worst(now.against_source_db) {
        let name = format!("tape minus source, {}", side[channel]);
        (name, value, now.uncertainty_db[channel], now.limit_db)
    } else if let Some((value, channel)) = worst(against_target) {
        (
            format!("level against its target, {}", side[channel]),
            value,
            now.uncertainty_db[channel],
            now.limit_db,
        )
    } else {
        let both = now.uncertainty_db[0].zip(now.uncertainty_db[1]).map(|(a, b)| a.hypot(b));
        ("left minus right".to_owned(), now.difference_db?, both, now.match_limit_db)
    };
    let target = Some(0.0);
    let verdict = verdict(value, uncertainty, target, limit);
    Some(Figure { name, value, uncertainty, unit: "dB".to_owned(), target, limit, verdict })
}
