//! How far the level of a channel moved in the course of a return, and when.

/// From so many times the uncertainty on, and so many dB, it is said: the level jumped.
const SAID: f64 = 2.0;
const SAID_DB: f64 = 0.25;

/// A level that moved.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Move {
    /// It was one level until here and another from there on, s of the return.
    pub from_s: f64,
    pub to_s: f64,
    /// By how much it rose, dB.
    pub db: f64,
    /// What wander and noise make of it (k = 2), dB.
    pub uncertainty_db: f64,
}

/// How far the level of one channel moved, and when.
#[derive(Debug, Clone, Default, PartialEq)]
pub(crate) struct LevelMoves {
    /// Pairs of witnesses that are further apart than wander and noise make them.
    moves: Vec<Move>,
}

impl LevelMoves {
    pub(crate) fn new(moves: Vec<Move>) -> Self {
        Self { moves }
    }

    /// How far the level moved, as far as is known, between two times of the return in any order, dB.
    pub(crate) fn between_db(&self, a_s: f64, b_s: f64) -> f64 {
        let [from_s, to_s] = [a_s.min(b_s), a_s.max(b_s)];
        let beside = self.moves.iter().filter(|moved| moved.from_s < to_s && moved.to_s > from_s);
        beside.map(|moved| moved.db.abs() + moved.uncertainty_db).fold(0.0, f64::max)
    }

    /// The furthest that it moved at all, dB.
    pub(crate) fn most_db(&self) -> f64 {
        self.between_db(f64::NEG_INFINITY, f64::INFINITY)
    }

    /// The move that is surest and placed best, if it is worth a word.
    pub(crate) fn told(&self) -> Option<Move> {
        let sure = |moved: &&Move| moved.db.abs() > SAID_DB.max(SAID * moved.uncertainty_db);
        self.moves.iter().find(sure).copied()
    }
}
