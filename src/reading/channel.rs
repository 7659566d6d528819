//! The channels of a stereo recording.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::fmt;

/// A channel, or both of them.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Channel {
    /// Left.
    Left,
    /// Right.
    Right,
    /// Left and right together, or one against the other.
    Both,
}

impl Channel {
    /// Left and right, in the order of every pair.
    pub const SIDES: [Self; 2] = [Self::Left, Self::Right];

    /// `left`, `right` or `both`.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Left => "left",
            Self::Right => "right",
            Self::Both => "both",
        }
    }

    /// Whether it is one channel alone.
    pub fn is_side(self) -> bool {
        self != Self::Both
    }
}

impl fmt::Display for Channel {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.as_str())
    }
}
