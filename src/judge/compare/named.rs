//! A reading as a comparison takes it.

use crate::judge::Reading;

/// A reading with its name and its file.
#[derive(Debug, Clone, Copy)]
pub struct Named<'a> {
    /// What it is called, such as `as found`.
    pub name: &'a str,
    /// Its file.
    pub file: &'a str,
    /// The reading.
    pub reading: &'a Reading,
}
