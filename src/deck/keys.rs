//! How the tables of a deck file are declared: each key once, with its range, by which its documentation and its check go.

use super::check::Check;
use super::{DeckError, Sides};

/// Lowest and highest number that is allowed.
pub(super) type Range = Option<(f64, f64)>;
/// Nothing, or what is not allowed.
pub(super) type Checked = Result<(), DeckError>;

/// Structs of a deck file. Behind the type of a key stands what is allowed, if it is a number (or several): `= low to high`.
/// Each is read and written by serde and refuses a key that it does not know.
macro_rules! tables {
    (@range) => { None };
    (@range $low:literal $high:literal) => { Some(($low, $high)) };
    ($(
        $(#[$about:meta])*
        pub struct $table:ident {
            $( $(#[$of_key:meta])* pub $key:ident: $type:ty $(= $low:literal to $high:literal)?, )*
        }
    )*) => { $(
        #[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
        #[serde(deny_unknown_fields)]
        $(#[$about])*
        pub struct $table {
            $(
                $(#[$of_key])*
                $(#[doc = concat!("Allowed: ", stringify!($low), " to ", stringify!($high), ".")])?
                pub $key: $type,
            )*
        }

        impl Value for $table {
            fn check(&self, path: &str, _: Range, check: &Check<'_>) -> Checked {
                $( check.value(path, stringify!($key), &self.$key, tables!(@range $($low $high)?))?; )*
                Ok(())
            }
        }
    )* };
    ($(#[$about:meta])* pub enum $table:ident { $(
        $(#[$of_kind:meta])*
        $kind:ident { $( $(#[$of_key:meta])* $key:ident: $type:ty $(= $low:literal to $high:literal)?, )* },
    )* }) => {
        #[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
        #[serde(deny_unknown_fields)]
        $(#[$about])*
        pub enum $table { $(
            $(#[$of_kind])*
            $kind { $(
                $(#[$of_key])*
                $(#[doc = concat!("Allowed: ", stringify!($low), " to ", stringify!($high), ".")])?
                $key: $type,
            )* },
        )* }

        impl Value for $table {
            fn check(&self, path: &str, _: Range, check: &Check<'_>) -> Checked {
                match self { $(
                    Self::$kind { $($key,)* } => {
                        $( check.value(path, stringify!($key), $key, tables!(@range $($low $high)?))?; )*
                    }
                )* }
                Ok(())
            }
        }
    };
}
pub(super) use tables;

/// What may stand behind a key.
pub(super) trait Value {
    /// Whether every number in it is allowed; those of a table have ranges of their own.
    fn check(&self, path: &str, range: Range, check: &Check<'_>) -> Checked;
}

impl Value for f64 {
    fn check(&self, path: &str, range: Range, check: &Check<'_>) -> Checked {
        let (low, high) = range.unwrap_or((f64::MIN, f64::MAX));
        check.range(path, *self, low, high)
    }
}

impl Value for Sides {
    fn check(&self, path: &str, range: Range, check: &Check<'_>) -> Checked {
        self.to_array().iter().try_for_each(|side| side.check(path, range, check))
    }
}

impl<V: Value> Value for Option<V> {
    fn check(&self, path: &str, range: Range, check: &Check<'_>) -> Checked {
        self.iter().try_for_each(|value| value.check(path, range, check))
    }
}

impl<V: Value> Value for Vec<V> {
    fn check(&self, path: &str, range: Range, check: &Check<'_>) -> Checked {
        self.iter().try_for_each(|value| value.check(path, range, check))
    }
}

/// Words, of which every one that can be read is allowed.
macro_rules! words {
    ($($word:ty),*) => { $(
        impl Value for $word {
            fn check(&self, _: &str, _: Range, _: &Check<'_>) -> Checked {
                Ok(())
            }
        }
    )* };
}
words!(
    bool,
    String,
    super::On,
    super::Shape,
    super::HissColour,
    super::NoiseReductionOn,
    super::Mono,
    super::LeadInKind,
    super::Input
);

/// A default that is a whole number.
pub(super) fn number<const NUMBER: i64>() -> f64 {
    NUMBER as f64
}

/// A default in tenths.
pub(super) fn tenths<const TENTHS: i64>() -> f64 {
    TENTHS as f64 / 10.0
}

/// A default spectrum.
pub(super) fn flat() -> super::Shape {
    super::Shape::Flat
}
