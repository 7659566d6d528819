//! Values for left and right, and the choice of a channel.

use serde::de::{Error, SeqAccess, Visitor};
use serde::{Deserialize, Deserializer, Serialize, Serializer};
use std::fmt;

/// One value for each channel. In a file: one number for both, or `[left, right]`.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Sides {
    /// Left channel.
    pub left: f64,
    /// Right channel.
    pub right: f64,
}

impl Sides {
    /// The same value on both channels.
    pub const fn both(value: f64) -> Self {
        Self { left: value, right: value }
    }

    /// The values in the order left, right.
    pub const fn to_array(self) -> [f64; 2] {
        [self.left, self.right]
    }

    /// The value of channel 0 (left) or any other (right).
    pub(crate) const fn of(self, channel: usize) -> f64 {
        if channel == 0 { self.left } else { self.right }
    }
}

impl Serialize for Sides {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        self.to_array().serialize(serializer)
    }
}

impl<'de> Deserialize<'de> for Sides {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct NumberOrTwo;
        impl<'de> Visitor<'de> for NumberOrTwo {
            type Value = Sides;
            fn expecting(&self, f: &mut fmt::Formatter) -> fmt::Result {
                f.write_str("one number for both channels, or [left, right]")
            }
            fn visit_f64<E: Error>(self, value: f64) -> Result<Sides, E> {
                Ok(Sides::both(value))
            }
            fn visit_i64<E: Error>(self, value: i64) -> Result<Sides, E> {
                Ok(Sides::both(value as f64))
            }
            fn visit_u64<E: Error>(self, value: u64) -> Result<Sides, E> {
                Ok(Sides::both(value as f64))
            }
            fn visit_seq<A: SeqAccess<'de>>(self, mut seq: A) -> Result<Sides, A::Error> {
                let left = seq.next_element()?.ok_or_else(|| A::Error::invalid_length(0, &self))?;
                let right = seq.next_element()?.ok_or_else(|| A::Error::invalid_length(1, &self))?;
                match seq.next_element::<f64>()? {
                    Some(_) => Err(A::Error::invalid_length(3, &self)),
                    None => Ok(Sides { left, right }),
                }
            }
        }
        deserializer.deserialize_any(NumberOrTwo)
    }
}

/// Which channels something concerns.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum On {
    /// Both channels alike.
    #[default]
    Both,
    /// The left channel.
    Left,
    /// The right channel.
    Right,
}

impl On {
    /// Whether channel 0 (left) or 1 (right) is meant.
    pub const fn holds(self, channel: usize) -> bool {
        matches!((self, channel), (Self::Both, _) | (Self::Left, 0) | (Self::Right, 1))
    }
}
