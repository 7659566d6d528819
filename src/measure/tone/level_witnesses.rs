//! What the programme holds alike several times, as witnesses of how far the level of a channel moved meanwhile.
//!
//! Slates are all of one level, and many a tone is played twice. What lies between two of them has moved as far as they have, if it
//! lies behind a jump; nothing tells behind which side, so it counts as uncertainty.
//!
//! In the fit of the delay a jump is one more hypothesis. Where levels are moved on purpose (rounds, noise reduction,
//! erasing, injection) nothing is said; injected tones went through no tape and keep their own scatter.

use crate::capture::FoundSlate;
use crate::measure::response::steps::PlayedTone;
use crate::measure::tone::level_moves::{LevelMoves, Move};
use crate::measure::tone::level_wander::{LevelWander, Sounded};
use crate::programme::{Serves, Timeline, slate};

/// Weaker slates drown in noise, full scale 1.
const LEAST_AMPLITUDE: f64 = 1e-4;
/// A level moved if it did by so many times what wander and noise make (k = 2).
const MOVED: f64 = 1.25;
/// The level of a tone without noise is read to this, dB.
const LEAST_DB: f64 = 0.02;
/// Frequencies in the return are those of one tone within this share, levels in the programme within so many dB.
const ALIKE: (f64, f64) = (1e-6, 0.01);

/// One of those that are alike.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Witness {
    sounded: Sounded,
    db: f64,
    /// Expanded uncertainty (k = 2) without wander, dB.
    own_db: f64,
}

/// Those of `channel` by slates and tones; `swapped` if left and right are exchanged in the file.
///
/// Nothing is said of a programme during which levels are to be moved.
pub(crate) fn level_moves(
    timeline: &Timeline,
    slates: &[FoundSlate],
    tones: &[PlayedTone<'_>],
    channel: usize,
    swapped: bool,
    wander: &LevelWander,
) -> LevelMoves {
    if is_adjusted(timeline) {
        return LevelMoves::default();
    }
    let of_file = if swapped { 1 - channel } else { channel };
    let slates: Vec<Witness> = slates
        .iter()
        .filter(|slate| slate.amplitude[of_file] > LEAST_AMPLITUDE)
        .map(|slate| Witness {
            sounded: Sounded {
                at_s: slate.start_s + slate::LENGTH_S / 2.0,
                length_s: slate::LENGTH_S,
                excess: 1.0,
            },
            db: 20.0 * slate.amplitude[of_file].log10(),
            own_db: (2.0 * slate.amplitude_sigma_db[of_file]).hypot(LEAST_DB),
        })
        .collect();
    let mut groups = vec![slates];
    for (k, tone) in tones.iter().enumerate() {
        let alike = |other: &PlayedTone<'_>| {
            (other.hz / tone.hz - 1.0).abs() < ALIKE.0
                && (other.programme_db - tone.programme_db).abs() < ALIKE.1
        };
        if !tones[..k].iter().any(alike) {
            let own = tones.iter().filter(|other| alike(other));
            groups.push(own.filter_map(|tone| witness(tone, channel, wander)).collect());
        }
    }
    let mut moves: Vec<Move> = groups.iter().flat_map(|group| moves(group, wander)).collect();
    moves.sort_by(|a, b| (a.to_s - a.from_s).total_cmp(&(b.to_s - b.from_s)));
    LevelMoves::new(moves)
}

/// Whether levels are moved on purpose while this is recorded.
fn is_adjusted(timeline: &Timeline) -> bool {
    use Serves as S;
    timeline.parts.iter().any(|part| {
        part.round().is_some()
            || matches!(part.serves, S::Source | S::BiasSweep | S::ReductionOut | S::ReductionIn | S::Erasing)
            || matches!(part.serves, S::Injected(..))
    })
}

fn witness(tone: &PlayedTone<'_>, channel: usize, wander: &LevelWander) -> Option<Witness> {
    let level = tone.tone.levels[channel]?;
    let sounded = wander.sounded(tone.tone, channel, tone.at_s);
    let own_db = wander.without(&level, sounded.length_s).hypot(LEAST_DB);
    Some(Witness { sounded, db: level.dbfs, own_db })
}

/// Every two of a `group` that are further apart than they should be.
fn moves(group: &[Witness], wander: &LevelWander) -> Vec<Move> {
    let mut found = Vec::new();
    for (k, a) in group.iter().enumerate() {
        for b in &group[k + 1..] {
            let uncertainty_db =
                wander.of_difference_db(a.sounded, b.sounded).hypot(a.own_db).hypot(b.own_db);
            let db = b.db - a.db;
            if db.abs() > MOVED * uncertainty_db {
                let [from_s, to_s] = [a.sounded.at_s, b.sounded.at_s];
                found.push(Move { from_s, to_s, db, uncertainty_db });
            }
        }
    }
    found
}
